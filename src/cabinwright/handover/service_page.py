"""``service.html``: what comes out before what, the floor under its load, what holds in a crash, what all of it weighs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import isfinite
from typing import Any

from markupsafe import Markup

from cabinwright.build.document import Build
from cabinwright.drawings.blocks import Block, Join, block_diagram
from cabinwright.drawings.diagram import Sheet, Text, moved
from cabinwright.drawings.diagram_svg import sheets_svg
from cabinwright.drawings.floor_view import floor_view
from cabinwright.handover.pages import page
from cabinwright.handover.report import finding_groups
from cabinwright.stages.workshop.result import WorkshopResult
from cabinwright.stages.workshop.service import ServicePart, ServiceResult
from cabinwright.stages.workshop.service_result import FixingResult, FloorResult, MassResult

__all__ = ["service_html", "service_sheet"]

NONE = "–"
CODES = ("workshop.service", "workshop.floor", "workshop.fixing", "workshop.mass", "workshop.payload", "workshop.axle")
TITLE = "What comes out before what"
EDGE_MM = 4.0
LEAST_PX, MOST_PX = 2.9, 4.4  #: a millimetre of the diagram is shown between these
Words = Callable[[float], str]


def service_html(build: Build, result: WorkshopResult, length: Words) -> str | None:
    """The page; None where the build has none of it."""
    service, mass = result.service, result.mass
    if service is None and not result.floors and not result.fixings and mass is None:
        return None
    sheet = None if service is None else service_sheet(service)
    return page(
        "service",
        styles=("report", "signal", "workshop", "service"),
        title=build.title,
        findings=finding_groups([item for item in result.findings if item.code.startswith(CODES)]),
        diagram=None if sheet is None else _diagram(sheet),
        deep=[_way(part) for part in service.parts.values() if part.deep] if service else [],
        steps=[_step(number, part) for number, part in enumerate(service.parts.values(), 1)] if service else [],
        reached=[_reached(part) for part in service.parts.values()] if service else [],
        total=(_minutes(service.out_minutes), _minutes(service.back_minutes)) if service else None,
        floors=[_floor(name, floor, length) for name, floor in result.floors.items()],
        fixings=[_fixing(name, fixing) for name, fixing in result.fixings.items()],
        mass=None if mass is None else _mass(mass),
        assumptions=result.assumptions[-3:],
    )


def service_sheet(service: ServiceResult) -> Sheet:
    """What comes out first stands at the left; whatever a line leads to waits for where it begins."""
    blocks = []
    for number, part in enumerate(service.parts.values(), 1):
        said = [_minutes(part.minutes), ", ".join(part.tools)]
        kind = "" if part.kind == "part" else f"{part.kind}, {_away(part.steps)}" + (": too deep" if part.deep else "")
        blocks.append(Block(part.name, f"{number}. {part.name}", tuple(line for line in (kind, *said) if line)))
    joins = [Join(before, part.name) for part in service.parts.values() for before in part.direct]
    return _trimmed(block_diagram(blocks, joins, title=TITLE))


def _trimmed(sheet: Sheet) -> Sheet:
    """Without its title and the empty paper round it: the page has a heading of its own."""
    left, top = (min(getattr(item.box, side) for item in sheet.symbols) - EDGE_MM for side in ("left", "top"))
    right, bottom = (max(getattr(item.box, side) for item in sheet.symbols) + EDGE_MM for side in ("right", "bottom"))
    kept = [item for item in sheet.items if not (isinstance(item, Text) and item.text == TITLE)]
    return replace(
        sheet, width_mm=right - left, height_mm=bottom - top, items=tuple(moved(kept, -left, -top)), symbols=()
    )


def _diagram(sheet: Sheet) -> dict[str, Any]:
    return {
        "svg": Markup(sheets_svg((sheet,))),
        "least_px": round(LEAST_PX * sheet.width_mm),
        "most_px": round(MOST_PX * sheet.width_mm),
    }


def _steps(count: int) -> str:
    return f"{count} step{'' if count == 1 else 's'}"


def _away(count: int) -> str:
    return f"{_steps(count)} away" if count else "at once"


def _minutes(minutes: float) -> str:
    return f"{minutes:g} min"


def _step(number: int, part: ServicePart) -> tuple[str, ...]:
    return str(number), part.name, ", ".join(part.direct) or NONE, part.how or NONE, ", ".join(part.tools) or NONE, \
        _minutes(part.minutes), _minutes(part.minutes_back)  # fmt: skip


def _reached(part: ServicePart) -> dict[str, Any]:
    return {
        "name": part.name,
        "kind": part.kind,
        "deep": part.deep,
        "steps": _steps(part.steps) if part.steps else "at once",
        "first": ", then ".join(part.first) or NONE,
        "tools": ", ".join(part.way_tools) or NONE,
        "reach": _minutes(part.reach_minutes),
        "whole": _minutes(part.whole_minutes),
    }


def _way(part: ServicePart) -> str:
    return f"{part.kind} “{part.name}”: {_steps(part.steps)}, {_minutes(part.reach_minutes)}"


def _floor(name: str, floor: FloorResult, length: Words) -> dict[str, Any]:
    rows = [
        ("panel", f"{floor.part}, {floor.material} {length(floor.thickness_m)}, {floor.mass_kg:.1f} kg in all"),
        ("opens", {"lift-out": "lifts out", "hinged": "on hinges", "fixed": "not"}[floor.how]
         + (f", {floor.lift_n:.0f} N to lift" if floor.how != "fixed" else "")
         + (f", {floor.opens_deg:.0f}° at most" if floor.opens_deg is not None else "")),
        ("worked out by", floor.way),
    ]  # fmt: skip
    cases = [
        (load, f"{case.mass_kg:g} kg", length(case.bent.most_m), length(case.limit_m),
         f"{1e-6 * case.bent.most_pa:.1f} MPa", f"{1e-6 * case.allowed_pa:.1f} MPa", f"{1e-6 * case.strength_pa:.0f} MPa")
        for load, case in floor.cases.items()
    ]  # fmt: skip
    load, worst = max(floor.cases.items(), key=lambda item: item[1].bent.most_m, default=(None, None))
    picture = "" if worst is None else floor_view(name, floor, worst, length=length)
    return {"name": name, "rows": rows, "cases": cases, "load": load, "picture": Markup(picture)}


def _fixing(name: str, fixing: FixingResult) -> dict[str, Any]:
    share = fixing.used_share
    bolts = (
        f"{len(fixing.spots)} × {fixing.size}, class {fixing.property_class}" if fixing.size else "nothing up to M12"
    )
    rows = [
        ("holds", f"{', '.join(fixing.holds) or name}: {fixing.mass_kg:.1f} kg"),
        ("is pulled with", ", ".join(f"{1e-3 * force:.1f} kN {way}" for way, force in fixing.forces_n.items())),
    ]
    if fixing.kind != "bolt":
        rows.append(("bears", f"not worked out: {fixing.kind}"))
    elif share is not None and fixing.shear_n is not None and fixing.tension_n is not None:
        used = f"{100.0 * share:.0f} % of it" if isfinite(share) else "without limit"
        rows += [
            ("bolts", bolts),
            (
                "worst bolt",
                f"{1e-3 * fixing.shear_n:.2f} kN shear and {1e-3 * fixing.tension_n:.2f} kN tension, thrown {fixing.worst}",
            ),
            ("used of what it bears", f"{used} ({fixing.check})"),
            (
                "would bear it",
                ", ".join(f"{count} × {size}" for size, count in fixing.choices.items() if count) or NONE,
            ),
        ]
    return {"name": name, "rows": rows}


def _mass(mass: MassResult) -> dict[str, Any]:
    rows = [
        (row.name, row.kind, NONE if row.mass_kg is None else f"{row.mass_kg:.1f} kg",
         NONE if row.at_m is None else ", ".join(f"{part:.2f}" for part in row.at_m) + " m")
        for row in mass.rows
    ]  # fmt: skip
    facts = [("added in all", f"{mass.added_kg:.1f} kg")]
    if mass.centre_m is not None:
        at = ", ".join(f"{part:.2f}" for part in mass.centre_m)
        facts.append(("middle of what has a place", f"{at} m, of {mass.located_kg:.1f} kg"))
    if mass.left_kg is not None:
        facts.append(
            ("left of the payload", f"{mass.left_kg:.0f} kg of {mass.payload_kg:.0f} kg, beside people and luggage")
        )
    if mass.front_kg is not None and mass.rear_kg is not None:
        facts.append(("on the axles", f"{mass.front_kg:+.1f} kg front, {mass.rear_kg:+.1f} kg rear"))
    return {"rows": rows, "facts": facts}
