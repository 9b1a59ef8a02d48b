"""False floors: how far each sags under what it carries, how near to breaking it is, how it opens and where fingers go."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from shapely import Polygon

from cabinwright.build.document import Build
from cabinwright.build.floors import Floor, FloorLoad
from cabinwright.findings import Finding, finding
from cabinwright.physics.plate import Board
from cabinwright.physics.plate_bending import (
    GRAVITY_M_S2,
    Bent,
    Patch,
    Support,
    Unsupported,
    bend_outline,
    bend_rectangle,
)
from cabinwright.stages.workshop.result import PanelResult, Part
from cabinwright.stages.workshop.service_result import FloorCase, FloorResult
from cabinwright.tables import rows

__all__ = ["floors_of"]

CHORD_M = 5e-4
SAG_SHARE = 200.0  #: a floor may sag by so small a part of its shorter side; common practice
FINGER_M = 0.025  #: least gap that does not crush a finger, ISO 13854
LIFT_KG = 25.0  #: reference mass for lifting by hand, ISO 11228-1
OPEN_DEG = 60.0  #: less than this is awkward to reach under; common practice


def floors_of(build: Build, panels: Mapping[str, PanelResult], found: list[Finding]) -> dict[str, FloorResult]:
    """Every floor whose panel could be drawn; what is wrong with it goes to ``found``."""
    made = {}
    for floor in build.floors:
        panel = panels.get(floor.panel)
        part = None if panel is None else _part(floor, panel)
        if part is None:
            continue
        result = _floor(floor, part, panels[floor.panel], found)
        if result is not None:
            made[floor.name] = result
    return made


def _part(floor: Floor, panel: PanelResult) -> Part | None:
    """The layer that carries."""
    named = [part for part in panel.parts if floor.layer is None or part.layer == floor.layer]
    return max(named, key=lambda part: part.thickness_m, default=None)


def _floor(floor: Floor, part: Part, panel: PanelResult, found: list[Finding]) -> FloorResult | None:
    where = f"floor “{floor.name}”"
    board, strength, lasting, sure = _board(floor, part)
    outline = Polygon(
        part.outline.as_polygon(CHORD_M).exterior, [hole.as_polygon(CHORD_M).exterior for hole in part.openings]
    )
    x0, y0, x1, y1 = outline.bounds
    mass = sum(_mass(item) for item in panel.parts)
    own = Patch(mass * GRAVITY_M_S2)
    supports = [(complex(*item.from_m), complex(*(item.to_m or item.from_m))) for item in floor.supports]
    square = not part.openings and abs(outline.area / ((x1 - x0) * (y1 - y0)) - 1.0) < 1e-4
    series = square and floor.edge and not supports
    limit = floor.limit_m or min(x1 - x0, y1 - y0) / SAG_SHARE
    cases = {}
    for load in floor.loads:
        patch = _patch(load, outline)
        if patch.polygon(outline).is_empty:
            found.append(finding("workshop.floor_beside", where=f"{where}, {load.name}"))
            continue
        try:
            bent = _bent(board, outline, [own, patch], floor.edge, supports, series)
        except Unsupported:
            found.append(finding("workshop.floor_falls", where=f"panel “{floor.panel}”, as {where}"))
            return None
        except ValueError:
            found.append(finding("workshop.floor_mesh", where=where))
            return None
        cases[load.name] = FloorCase(load.mass_kg, bent, limit, strength, lasting * strength)
    result = FloorResult(
        panel=floor.panel,
        part=part.name,
        material=part.material,
        thickness_m=part.thickness_m,
        outline=outline,
        supports=tuple(supports),
        edge=floor.edge,
        way="series" if series else "finite elements",
        mass_kg=mass,
        cases=cases,
        how=floor.how,
        lift_n=_lift(floor, mass),
        opens_deg=_opens(floor, outline),
    )
    _judge(floor, result, where, found, sure=sure)
    return result


def _bent(
    board: Board, outline: Polygon, loads: list[Patch], edge: bool, supports: list[Support], series: bool
) -> Bent:
    if not series:
        return bend_outline(board, outline, loads=loads, edge=edge, supports=supports)
    x0, y0, x1, y1 = outline.bounds
    corner = complex(x0, y0)
    moved = [Patch(load.force_n, load.at_m - corner, load.size_m) for load in loads]
    bent = bend_rectangle(board, length_m=x1 - x0, width_m=y1 - y0, loads=moved)
    return Bent(bent.at_m + np.array([x0, y0]), bent.down_m, bent.triangles, bent.stress_pa)


def _board(floor: Floor, part: Part) -> tuple[Board, float, float, bool]:
    """The board, its strength, the share of that which it bears for years, and whether the strength can be relied on."""
    stiff = next(row for row in rows("panel_stiffness") if row["material"] == part.material)
    strong = next(row for row in rows("board_strength") if row["material"] == part.material)
    young = floor.young_pa or float(stiff["young_pa"])
    board = Board(part.thickness_m, young, 0.0, float(stiff["poisson"]))
    sure = floor.strength_pa is not None or strong["kind"] != "memory"
    return board, floor.strength_pa or float(strong["bending_pa"]), float(strong["lasting_share"]), sure


def _mass(part: Part) -> float:
    heavy = next(row for row in rows("sheet_goods") if row["material"] == part.material)
    return part.area_m2 * part.thickness_m * float(heavy["density_kg_m3"])


def _patch(load: FloorLoad, outline: Polygon) -> Patch:
    x0, y0, x1, y1 = outline.bounds
    at = complex(*load.at_m) if load.at_m is not None else complex((x0 + x1) / 2.0, (y0 + y1) / 2.0)
    return Patch(load.mass_kg * GRAVITY_M_S2, at, load.size_m)


def _lift(floor: Floor, mass_kg: float) -> float:
    """Force to lift it: all of it, or half at the edge opposite the hinge."""
    return {"lift-out": 1.0, "hinged": 0.5, "fixed": 0.0}[floor.how] * mass_kg * GRAVITY_M_S2


def _opens(floor: Floor, outline: Polygon) -> float | None:
    """How far it swings until its far edge meets what is above."""
    if floor.how != "hinged":
        return None
    x0, y0, x1, y1 = outline.bounds
    deep = y1 - y0 if floor.hinge in ("top", "bottom") else x1 - x0
    if floor.above_m is None or floor.above_m >= deep:
        return 90.0
    return math.degrees(math.asin(floor.above_m / deep))


def _judge(floor: Floor, result: FloorResult, where: str, found: list[Finding], *, sure: bool) -> None:
    for name, case in result.cases.items():
        at, sag = f"{where}, {name}", case.bent.most_m
        mega = [round(1e-6 * figure, 2) for figure in (case.bent.most_pa, case.allowed_pa, case.strength_pa)]
        if case.bent.most_pa > case.strength_pa:
            code = "workshop.floor_breaks" if sure else "workshop.floor_may_break"  # memory alone refuses nothing
            stop = f"panel “{floor.panel}”, as {at}"
            found.append(finding(code, where=stop, value=mega[0], limit=mega[2], unit="MPa"))
        elif case.bent.most_pa > case.allowed_pa:
            found.append(finding("workshop.floor_stress", where=at, value=mega[0], limit=mega[1], unit="MPa"))
        if sag > case.limit_m:
            value, limit = round(1e3 * sag, 1), round(1e3 * case.limit_m, 1)
            found.append(finding("workshop.floor_sag", where=at, value=value, limit=limit, unit="mm"))
        if floor.below_m is not None and sag > floor.below_m:
            value, limit = round(1e3 * sag, 1), round(1e3 * floor.below_m, 1)
            found.append(finding("workshop.floor_below", where=at, value=value, limit=limit, unit="mm"))
    if floor.how == "fixed":
        return
    least = round(1e3 * FINGER_M)
    if floor.grip_m is None:
        found.append(finding("workshop.floor_grip", where=where, limit=least, unit="mm"))
    else:
        narrow = min((*floor.grip_m, *(() if floor.grip_depth_m is None else (floor.grip_depth_m,))))
        if narrow < FINGER_M - 1e-9:
            value = round(1e3 * narrow, 1)
            found.append(finding("workshop.floor_fingers", where=where, value=value, limit=least, unit="mm"))
    if result.lift_n > LIFT_KG * GRAVITY_M_S2:
        value, limit = round(result.lift_n), round(LIFT_KG * GRAVITY_M_S2)
        found.append(finding("workshop.floor_heavy", where=where, value=value, limit=limit, unit="N"))
    if result.opens_deg is not None and result.opens_deg < OPEN_DEG:
        found.append(
            finding("workshop.floor_hinge", where=where, value=round(result.opens_deg), limit=OPEN_DEG, unit="°")
        )
