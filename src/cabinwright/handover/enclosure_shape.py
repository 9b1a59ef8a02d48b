"""The shape of a box on its page: measured drawing, volumes, gaps, opening, walls."""

from __future__ import annotations

from typing import Any

from cabinwright.stages.enclosure.radiators import Placed
from cabinwright.stages.enclosure.shape_result import Gate, ShapeResult
from cabinwright.stages.enclosure.walls import Wall

__all__ = ["box_shape"]

NONE = "–"
GAPS = {
    "beside_m": "room beside the loudspeaker",
    "behind_m": "room behind its magnet",
    "before_m": "room before its cone at its farthest",
    "rim_m": "baffle left around its frame",
}
TAKEN = {
    "speakers": "drive unit",
    "radiators": "passive radiators",
    "braces": "braces",
    "posts": "posts",
    "port": "port",
    "second_board": "second board",
}


def box_shape(result: ShapeResult, length: Any) -> dict[str, Any]:
    """What the template shows beside the box's pictures."""
    return {
        "rows": _rows(result, length),
        "walls": [_wall(item, length) for item in result.walls],
    }


def _litres(volume_m3: float | None) -> str:
    return NONE if volume_m3 is None else f"{1e3 * volume_m3:.1f} L"


def _rows(result: ShapeResult, length: Any) -> list[tuple[str, str]]:
    body = result.body
    rings = sum(run.count for run in body.runs if run.role == "ring")
    made = f"{rings} rings, floor and top of {length(body.board_m)} {result.material}" if rings else ""
    rows = [
        ("made of", made or f"flat walls of {length(body.board_m)} {result.material}"),
        ("outside", _litres(body.outer_volume_m3)),
        ("inside, empty", _litres(body.inside_volume_m3)),
    ]
    rows += [
        (f"less {words}", _litres(result.displaced_m3[key])) for key, words in TAKEN.items() if result.displaced_m3[key]
    ]
    rows.append(("net volume of the shape", _litres(result.net_volume_m3)))
    if result.stated_volume_m3 is not None:
        rows.append(("net volume stated, and used", _litres(result.stated_volume_m3)))
    rows.append(("mass of the boards", f"{result.mass_kg:.1f} kg"))
    rows += [(GAPS[key], length(gap)) for key, gap in result.clearances_m.items() if gap is not None]
    rows += [
        (f"passive radiator {number}", _radiator(row, length))
        for number, row in enumerate(result.radiators, 1)
        if row is not None
    ]
    if result.gate is not None:
        rows += _gate(result.gate, length)
    rows += [
        (f"air around {item.name}", f"{length(item.gap_m)} of {length(item.wanted_m)}") for item in result.amplifiers
    ]
    return rows


def _radiator(row: Placed, length: Any) -> str:
    wall = f"wall {row.wall}" if row.wall.isdigit() else row.wall
    hole = "its hole is not cut" if row.cut_out_m is None else f"cut-out ⌀ {length(row.cut_out_m)}"
    at = f"{length(row.at.real)}, {length(row.at.imag)}"
    return f"{wall}, at {at}; {hole}, {length(row.behind_m)} left behind it at its farthest"


def _gate(gate: Gate, length: Any) -> list[tuple[str, str]]:
    straight, way = gate.passage, gate.way
    if gate.verdict != "fits":
        missing = "" if straight.fits else f": straight through {length(-straight.margin_m)} are missing"
        rows = [("through its opening", f"{gate.verdict}{missing}")]
        if gate.smaller_by_m is not None:
            rows.append(
                (
                    "largest that passes, smaller all round",
                    f"by {length(gate.smaller_by_m)}, {_litres(gate.smaller_net_m3)}",
                )
            )
        if gate.lower_height_m is not None:
            rows.append(
                ("largest that passes, lower", f"{length(gate.lower_height_m)} high, {_litres(gate.lower_net_m3)}")
            )
        return rows
    if way is None or straight.fits:
        held = (
            "level"
            if straight.tilt_deg == 0.0
            else f"tilted by {straight.tilt_deg:.0f}° about an axis at {straight.axis_deg:.0f}° in plan"
        )
        rows = [("through its opening", f"{held}, {length(straight.margin_m)} to spare all round")]
    else:
        rows = [("through its opening", f"tilted on the way, along {way.direction_deg:.0f}° in plan")]
    if way is None:
        return [*rows, ("behind the opening", "not looked at")]
    lifted = "straight down" if way.tilt_deg < 0.5 else f"tilted by up to {way.tilt_deg:.0f}° on the way"
    room = "" if way.clearance_m is None else f", {length(way.clearance_m)} from the walls at least"
    return [*rows, ("into its place", f"{lifted}{room}")]


def _wall(wall: Wall, length: Any) -> list[str]:
    hertz = [NONE if value is None else f"{value:.0f} Hz" for value in (wall.resonance_hz, wall.clamped_hz)]
    ribs = (
        [str(len(wall.ribs)), f"{wall.with_ribs_hz:.0f} Hz"]
        if wall.ribs and wall.with_ribs_hz is not None
        else [NONE, NONE]
    )
    size = f"{length(wall.length_m)} × {length(wall.width_m)}"
    return [wall.name, size if wall.resonance_hz is not None else f"{size}, curved", *hertz, *ribs]
