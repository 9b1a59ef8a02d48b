"""``workshop.html`` and the files in ``workshop/``: pictures for the customer, drawings, sheets, lists, files for machines."""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable
from fractions import Fraction
from typing import Any

from markupsafe import Markup

from cabinwright.build.document import Build
from cabinwright.drawings.cut import layer_of, part_drawing, sheet_drawing
from cabinwright.drawings.cut_dxf import dxf_text
from cabinwright.drawings.cut_pdf import template_pdf
from cabinwright.drawings.cut_svg import COLOURS, svg_text
from cabinwright.drawings.front_view import front_view, measured_view, sheet_view
from cabinwright.handover.assembly import Assembly, assemblies, assembly_files
from cabinwright.handover.csv_text import csv_text
from cabinwright.handover.goods import goods, goods_csv
from cabinwright.handover.mount_page import board_sections, jig_sections, mount_sections
from cabinwright.handover.pages import page
from cabinwright.handover.report import finding_groups
from cabinwright.handover.service_page import service_html
from cabinwright.handover.solids import made_solids
from cabinwright.stages.workshop.files import FOLDER, planned_files
from cabinwright.stages.workshop.result import LightResult, Nesting, PanelResult, Part, WorkshopResult

__all__ = ["inches", "length_words", "millimetres", "workshop_documents"]

NONE = "–"
NOTE_CODES = (
    "workshop.acrylic",
    "workshop.dust",
    "workshop.laser_fire",
    "workshop.laser_fumes",
    "workshop.laser_metal",
)
GENERAL = "The machine maker's instructions and local rules go before this file. Check the scale before cutting: units are mm."
Words = Callable[[float], str]


def millimetres(length_m: float) -> str:
    """A length in millimetres, to a tenth."""
    return f"{1e3 * length_m:.1f} mm" if math.isfinite(length_m) else NONE


def inches(length_m: float) -> str:
    """A length in inches with the nearest 32nd."""
    if not math.isfinite(length_m):
        return NONE
    whole = Fraction(round(length_m / 0.0254 * 32), 32)
    full, rest = divmod(whole, 1)
    return f"{full} in" if not rest else f"{rest} in" if not full else f"{full} {rest} in"


def workshop_documents(build: Build, result: WorkshopResult) -> dict[str, str | bytes]:
    """The page, the cut list and every file for a machine that nothing stands against."""
    result = made_solids(result)
    documents: dict[str, str | bytes] = {}
    together = assemblies(build, result, length_words(build))
    if build.panels or build.rings or build.pods or build.jigs or result.panels:
        documents = {"workshop.html": _html(build, result, together), f"{FOLDER}/cut-list.csv": _cut_csv(result)}
    besides = goods(build, result, length_words(build))
    if besides:
        documents[f"{FOLDER}/parts-list.csv"] = goods_csv(besides)
    put = assembly_files(together, title=build.title, paper=build.workshop.paper)
    documents |= {f"{FOLDER}/{name}": content for name, content in put.items()}
    service = service_html(build, result, length_words(build))
    if service is not None:
        documents["service.html"] = service
    parts = result.parts
    for planned in planned_files(result):
        if planned.part is None and planned.sheet is None:
            documents[planned.name] = (result.made or {})[planned.name]
            continue
        if planned.part is not None:
            part = parts[planned.part]
            drawing = part_drawing(part, (_pieces(part), *_notes(result, part.sheet), *_work(part, millimetres)))
        else:
            sheet = result.nesting[planned.sheet or 0]
            drawing = sheet_drawing(
                sheet, parts, (_places(sheet, result), *_notes(result, sheet.sheet), *_worked(sheet, result))
            )
        if planned.kind == "dxf":
            documents[planned.name] = dxf_text(drawing)
        elif planned.kind == "svg":
            documents[planned.name] = svg_text(drawing)
        else:
            documents[planned.name] = template_pdf(drawing, paper=build.workshop.paper)
    return documents


def _pieces(part: Part) -> str:
    """How many, and of what."""
    return f"{part.count} of it from {part.sheet}: {part.material}, {millimetres(part.thickness_m)} thick."


def _places(sheet: Nesting, result: WorkshopResult) -> str:
    """Which piece lies where on a sheet, by its middle."""
    said = []
    for item in sheet.placed:
        x0, y0, x1, y1 = result.parts[item.part].outline.bounds
        turn = cmath.rect(1.0, math.radians(item.turn_deg))
        at = 1e3 * (complex(x0 + x1, y0 + y1) / 2.0 * turn + complex(*item.shift_m))
        said.append(f"{item.part} at {at.real:.0f}, {at.imag:.0f} mm")
    return f"Pieces by their middle, from the lower left corner: {'; '.join(said)}."


def _notes(result: WorkshopResult, sheet: str) -> tuple[str, ...]:
    """What stands beside the material of a sheet, for the head of its files."""
    said = [
        f"{item.message}. {item.remedy}"
        for item in result.findings
        if item.code in NOTE_CODES and f"“{sheet}”" in item.where
    ]
    return (GENERAL, *said)


def _work(part: Part, length: Words) -> list[str]:
    """What is worked into a part besides what is cut through."""
    bent = {bend.cuts.depth_m for bend in part.joinery.bends}  # told with the bend
    deep = sorted({line.depth_m for line in part.lines if line.operation == "score" and line.depth_m} - bent)
    said = [f"lines on layer {layer_of('score', item)} are scored {length(item)} deep" for item in deep]
    return [*part.joinery.words(length, part.thickness_m, complex(*part.outline.bounds[:2])), *said]


def _worked(sheet: Nesting, result: WorkshopResult) -> tuple[str, ...]:
    """A word where parts of a sheet are worked part through."""
    parts = [result.parts[item.part] for item in sheet.placed]
    some = any(part.joinery.face or any(line.depth_m for line in part.lines) for part in parts)
    return ("Some holes and scores go part through: layers name their depths.",) if some else ()


def _cut_csv(result: WorkshopResult) -> str:
    head = ("part", "sheet", "material", "count", "thickness_mm", "width_mm", "height_mm", "cut_width_mm", "cut_height_mm",
            "grain", "banded", "banding_mm", "file_written", "work")  # fmt: skip
    return csv_text(head, [
        (row["part"], row["sheet"], row["material"], row["count"],
         *(1e3 * row[key] for key in ("thickness_m", "width_m", "height_m", "cut_width_m", "cut_height_m")),
         row["grain"], ", ".join(row["banded"]), 1e3 * row["banding_length_m"], "no" if row["refused"] else "yes",
         "; ".join(_work(result.parts[row["part"]], millimetres)))
        for row in result.cut_list
    ])  # fmt: skip


def length_words(build: Build) -> Words:
    """Lengths as the build's workshop reads them."""
    return inches if build.workshop.units == "US" else millimetres


def _html(build: Build, result: WorkshopResult, together: list[Assembly]) -> str:
    length = length_words(build)
    planned, drawn = planned_files(result), {panel.name for panel in build.panels}
    return page(
        "workshop",
        styles=("report", "workshop"),
        title=build.title,
        findings=finding_groups(list(result.findings)),
        panels=[
            _panel(number, name, panel, result, length)
            for number, (name, panel) in enumerate(result.panels.items(), 1)
            if panel.parts and name in drawn
        ],
        mounts=mount_sections(result, length),
        boards=board_sections(build, result, length),
        jigs=jig_sections(build, result, length),
        lights=[_light(name, light, length) for name, light in result.lights.items()],
        sheets=[_sheet(sheet, result, length) for sheet in result.nesting],
        cuts=_cuts(result, length),
        deep=layer_of("score", 0.0025),
        counted=_counted([item.kind for item in planned], result),
        together=together,
        files=[item.name for item in planned],
        refused=[(part.name, ", ".join(part.stopped)) for part in result.parts.values() if part.stopped],
        colours=[
            (operation, Markup(f'<span class="ink" style="background:{colour}"></span>'))
            for operation, colour in COLOURS.items()
        ],
        assumptions=result.assumptions,
    )


def _panel(number: int, name: str, panel: PanelResult, result: WorkshopResult, length: Words) -> dict[str, Any]:
    front = panel.parts[0]
    holes = panel.holes
    rows = [
        ("size", f"{length(front.size_m[0])} × {length(front.size_m[1])}"),
        ("tightest radius", length(panel.least_radius_m)),
        (
            "outline flows without a kink",
            "yes" if panel.tangent_continuous else "no, where a hard corner was asked for",
        ),
    ]
    if len(holes.centres):
        rows += [
            (
                "holes",
                f"{len(holes.centres)}, {1e3 * holes.diameters_m.min():.1f} to {1e3 * holes.diameters_m.max():.1f} mm",
            ),
            (
                "least web",
                f"{1e3 * (panel.least_web_m or 0.0):.2f} mm, asked for {1e3 * (panel.wanted_web_m or 0.0):.2f} mm",
            ),
            ("left out whole", f"{holes.left_out_edge} at edges, {holes.left_out_web} for webs"),
        ]
    rows.append(("open in all", f"{100.0 * panel.open_share:.1f} %"))
    lights = [light for light in result.lights.values() if light.panel == name]
    return {
        "name": name,
        "picture": Markup(front_view(name, panel, result.lights, number)),
        "drawing": Markup(measured_view(panel, lights, length=length)),
        "rows": rows,
        "behind": [
            {
                "speaker": item.speaker,
                "open": f"{100.0 * item.open_share:.0f} % ({1e4 * item.open_area_m2:.0f} cm²)",
                "loss": [f"{loss:.1f} dB" if math.isfinite(loss) else "shut" for loss in item.loss_db.values()],
                "air": NONE
                if item.air_speed_m_s is None or not math.isfinite(item.air_speed_m_s)
                else f"{item.air_speed_m_s:.1f} m/s at {item.air_speed_hz:.0f} Hz, limit {item.air_speed_limit_m_s:.0f}",
            }
            for item in panel.behind
        ],
    }


def _light(name: str, light: LightResult, length: Words) -> dict[str, Any]:
    hue = light.match
    rows = [
        ("length", f"{light.length_m:.2f} m, {light.emitters} emitters"),
        (
            "evenness",
            f"{100.0 * light.evenness:.0f} % (darkest over brightest); widest even pitch {length(light.widest_pitch_m)}",
        ),
        ("power", f"{light.power_w:.1f} W at full drive"),
    ]
    if light.bends:
        rows.append(("bends that are too tight", str(len(light.bends))))
    if hue is not None:
        drive = ", ".join(f"{primary} {step}" for primary, step in zip(light.primaries, hue.steps, strict=True))
        said = (
            f"ΔE {hue.delta_e:.1f} (CIEDE2000)"
            if hue.in_gamut
            else f"outside this strip's gamut, ΔE {hue.delta_e:.1f} at best"
        )
        rows += [("drive values", drive), ("hue", said)]
    load = light.load
    if not load["written"]:
        rows.append(("load to add to the wiring", f"[[loads]] name = “{load['name']}”, power_w = {load['power_w']}"))
    return {"name": name, "panel": light.panel, "along": light.along, "rows": rows, "picture": Markup(_even(light))}


def _even(light: LightResult) -> str:
    """Light along two pitches of the edge, as a band and as a curve."""
    top = max(float(light.light.max()), 1.05)
    x = [300.0 * k / (len(light.light) - 1) for k in range(len(light.light))]
    curve = "L".join(f"{a:.1f} {74.0 - 48.0 * float(b) / top:.1f}" for a, b in zip(x, light.light, strict=True))
    band = "".join(
        f'<rect x="{a:.1f}" y="0" width="3.2" height="14" fill="{light.colour}" fill-opacity="{min(1.0, float(b) / top):.3f}"/>'
        for a, b in zip(x[:-1], light.light, strict=False)
    )
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 300 92" role="img" aria-label="light along the edge over two '
        f'pitches"><rect width="300" height="14" fill="#0b0c0e"/>{band}<path d="M0 74H300" stroke="#cfd6da"/>'
        f'<path d="M{curve}" fill="none" stroke="#0a5f73" stroke-width="1.6"/>'
        '<text x="0" y="88" font-size="9" fill="#54616b">one pitch to the left</text>'
        '<text x="150" y="88" font-size="9" fill="#54616b" text-anchor="middle">opposite an emitter</text>'
        '<text x="300" y="88" font-size="9" fill="#54616b" text-anchor="end">one pitch to the right</text></svg>'
    )


def _sheet(sheet: Any, result: WorkshopResult, length: Words) -> dict[str, Any]:
    numbers = {row["part"]: number for number, row in enumerate(result.cut_list, 1)}
    gap = "" if sheet.least_gap_m is None else f", least gap {length(sheet.least_gap_m)}"
    return {
        "title": f"{sheet.sheet}, sheet {sheet.number}",
        "says": f"{length(sheet.length_m)} × {length(sheet.width_m)}, {100.0 * sheet.yield_share:.0f} % used{gap}",
        "picture": Markup(sheet_view(sheet, result.parts, numbers)),
        "offcuts": [f"{length(item.length_m)} × {length(item.width_m)}" for item in sheet.offcuts],
    }


def _cuts(result: WorkshopResult, length: Words) -> dict[str, Any]:
    """The rows of the cut list, and whether any part is cut at another size than it has in the end."""
    rows = []
    for number, row in enumerate(result.cut_list, 1):
        finished = f"{length(row['width_m'])} × {length(row['height_m'])}"
        cut = f"{length(row['cut_width_m'])} × {length(row['cut_height_m'])}"
        rows.append({
            "number": number, "part": row["part"], "sheet": row["sheet"], "count": row["count"], "grain": row["grain"],
            "thick": length(row["thickness_m"]), "finished": finished, "cut": "as finished" if cut == finished else cut,
            "band": f"{', '.join(row['banded'])}: {row['banding_length_m']:.2f} m" if row["banded"] else NONE,
        })  # fmt: skip
    return {"rows": rows, "differ": any(row["banded"] for row in result.cut_list)}


def _counted(kinds: list[str], result: WorkshopResult) -> str:
    """How many files there are of what."""
    solids = sum(kind in ("stl", "step") for kind in kinds)
    parts = sum(not part.stopped for part in result.parts.values())
    said = f"{parts} parts as DXF and SVG, {kinds.count('pdf')} of them as PDF too"
    said += f"; {len(result.nesting)} sheets with their parts laid out"
    return said + (f"; {solids} solids. The cut list is there as CSV." if solids else ". The cut list is there as CSV.")
