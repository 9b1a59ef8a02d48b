"""Flat parts of rings and pods, their trim and their jigs, as panels like any other. Seen along the axis from the front."""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator, Mapping
from dataclasses import replace

from cabinwright.build.document import Build
from cabinwright.build.mounts import Jig, Mount, Pod, Ring
from cabinwright.build.workshop import Drill, Panel, Sheet
from cabinwright.physics.arcs import Segment
from cabinwright.physics.outline import Contour, circle
from cabinwright.physics.wedge import Wedge, ellipse
from cabinwright.stages.workshop.box_board import Computed
from cabinwright.stages.workshop.joinery import Scribe
from cabinwright.stages.workshop.mount_result import MountResult
from cabinwright.stages.workshop.mount_shapes import (
    CLEAR_M,
    TEXT_M,
    Chain,
    Layer,
    angle_mark,
    layers_of,
    notched,
    number_mark,
    polygon,
    rib,
    rib_turns,
)
from cabinwright.stages.workshop.mounts import PILOT_DEEP_M, PILOT_M, outer_of, screws_of

__all__ = ["mount_panels"]

BORING = ("router", "saw")  #: cutters that can take half a board's thickness away
PLAY_M = 0.0002  #: between a covered frame and its rebate, all round
JIG_M = (0.12, 0.02)  #: length and lower end of an angle jig
Sheets = Mapping[str, Sheet]


def mount_panels(
    build: Build, mounts: Mapping[str, MountResult], taken: set[str]
) -> tuple[list[Computed], dict[str, MountResult]]:
    """Every flat part, and the mounts with the names of theirs. Names in ``taken`` are avoided, new ones added to it."""
    sheets = {sheet.name: sheet for sheet in build.sheets}
    rows: list[Computed] = []
    named: dict[str, MountResult] = {}
    for mount in (*build.rings, *build.pods):
        result = mounts.get(mount.name)
        if result is None:
            continue
        parts = [_kept(item, result.stopped, taken) for item in _parts(mount, result, sheets)]
        layers = 0
        if isinstance(mount, Ring) and mount.sheet is not None:
            layers = sum(1 for _ in layers_of(result.body, sheets[mount.sheet].thickness_m))
        named[mount.name] = replace(result, parts=tuple(item.panel.name for item in parts), layers=layers)
        rows += parts
    for jig in build.jigs:
        of = None if jig.of is None else mounts.get(jig.of)
        if of is None and jig.of is not None:
            continue
        rows.append(_kept(_jig(build, jig, of), of.stopped if of else (), taken))
    return rows, named


def _kept(item: Computed, stopped: tuple[str, ...], taken: set[str]) -> Computed:
    """With a name that no other panel has."""
    name, number = item.panel.name, 2
    while name in taken:
        name, number = f"{item.panel.name} ({number})", number + 1
    taken.add(name)
    return replace(item, panel=item.panel.model_copy(update={"name": name}), stopped=stopped)


def _parts(mount: Mount, result: MountResult, sheets: Sheets) -> Iterator[Computed]:
    if isinstance(mount, Pod):
        yield from _pod(mount, result, sheets)
    elif isinstance(mount, Ring) and mount.sheet is not None:
        yield from _stack(mount.name, mount.sheet, result, sheets[mount.sheet].thickness_m)
    if mount.trim is not None:
        yield from _trim(mount, result.body, sheets)


def _part(
    name: str,
    sheet: str,
    outline: Contour,
    openings: tuple[Contour, ...] = (),
    *,
    marks: tuple[Chain, ...] = (),
    scores: tuple[Scribe, ...] = (),
    drills: tuple[complex, ...] = (),
    count: int = 1,
) -> Computed:
    x0, _, x1, _ = outline.bounds
    holes = (Drill(at_m=tuple((at.real, at.imag) for at in drills), diameter_m=PILOT_M),) if drills else ()
    panel = Panel(name=name, sheet=sheet, diameter_m=max(x1 - x0, 1e-3), count=count, drills=holes)
    lines = (*(Scribe("mark", chain) for chain in marks), *scores)
    return Computed(panel, (outline, openings), lines=lines)


def _stack(name: str, sheet: str, result: MountResult, thickness_m: float) -> Iterator[Computed]:
    """Layers of a ring from the front; whole ones that are alike come together."""
    body, deg = result.body, result.angle_deg
    rows: list[tuple[int, int, Layer, bool]] = []
    for index, layer in enumerate(layers_of(body, thickness_m)):
        drilled = layer.whole and index * thickness_m < PILOT_DEEP_M
        if rows and layer.whole and not layer.planed_to and not rows[-1][2].planed_to and rows[-1][3] == drilled:
            rows[-1] = (rows[-1][0], index, rows[-1][2], drilled)
        else:
            rows.append((index, index, layer, drilled))
    for first, last, layer, drilled in rows:
        which = f"layer {first + 1}" if first == last else f"layers {first + 1} to {last + 1}"
        said = f" (planed {deg:.1f}°)" if layer.planed_to or not layer.whole else ""
        marks = angle_mark(deg, low_m=body.bore_m / 2.0, high_m=body.outer_m / 2.0, reach_m=layer.reach_m)
        yield _part(
            f"{name}, {which}{said}",
            sheet,
            layer.outline,
            layer.openings,
            marks=(*layer.planed_to, *marks),
            drills=result.screws if drilled else (),
            count=last - first + 1,
        )


def _pod(mount: Pod, result: MountResult, sheets: Sheets) -> Iterator[Computed]:
    body, deg = result.body, result.angle_deg
    board, ribs = sheets[mount.sheet].thickness_m, mount.rib_sheet or mount.sheet
    turns = rib_turns(mount.ribs, result.screws)
    hole, rim = body.bore_m / 2.0, body.outer_m / 2.0
    middle = (hole + rim) / 2.0
    size = min(0.004, 0.6 * (middle - hole))
    numbers = tuple(
        chain
        for number, turn in enumerate(turns, 1)
        for chain in number_mark(number, centre=cmath.rect((hole + middle) / 2.0, turn), height_m=size)
    )
    yield _part(
        f"{mount.name}, ring ({deg:.1f}°)",
        mount.sheet,
        notched(body.outer_m, turns, inner_m=middle, width_m=sheets[ribs].thickness_m + mount.fit_m),
        (circle(0j, body.bore_m),),
        marks=(*numbers, *angle_mark(deg, low_m=middle, high_m=rim)),
        drills=result.screws,
    )
    yield _foot(mount, result, board, turns)
    for number, turn in enumerate(turns, 1):
        outline = rib(body, turn, ring_m=board, foot_m=board)
        x0, y0, x1, y1 = outline.bounds
        inner = (x0 + body.outer_m / 2.0) / 2.0
        height = min(TEXT_M, 0.3 * (y1 - board - y0), 0.5 * (x1 - x0))
        low = max(outline.segments[0].start.imag, outline.segments[0].end.imag)
        mark = number_mark(number, centre=complex(inner, (low + body.height_m - board) / 2.0), height_m=height)
        yield _part(f"{mount.name}, rib {number} at {math.degrees(turn):.0f}°", ribs, outline, marks=mark)


def _foot(mount: Pod, result: MountResult, board: float, turns: tuple[float, ...]) -> Computed:
    """The board on the surface: where ribs stand is marked on its upper face, which the axis meets farther on."""
    body = result.body
    cos = math.cos(body.angle_rad)
    shift = board * body.slope
    inner = body.bore_m / 2.0 + CLEAR_M
    marks: list[Chain] = []
    for number, turn in enumerate(turns, 1):
        edge = rib(body, turn, ring_m=board, foot_m=board).segments[0]
        ends = [complex(r * math.cos(turn) / cos + shift, r * math.sin(turn)) for r in (inner, edge.end.real)]
        marks.append((Segment(ends[0], ends[1]),))
        beside = (ends[0] + ends[1]) / 2.0 + 0.006j * (ends[1] - ends[0]) / abs(ends[1] - ends[0])
        marks += number_mark(number, centre=beside, height_m=0.004)
    low, high = (body.bore_m / 2.0 / cos, body.foot_m / 2.0 / cos)
    return _part(
        f"{mount.name}, foot",
        mount.sheet,
        ellipse(across_m=body.foot_m / cos, up_m=body.foot_m),
        (ellipse(across_m=body.bore_m / cos + shift, up_m=body.bore_m, centre=shift / 2.0),),
        marks=(*marks, *angle_mark(result.angle_deg, low_m=(low + high) / 2.0, high_m=high)),
    )


def _trim(mount: Mount, body: Wedge, sheets: Sheets) -> Iterator[Computed]:
    """A ring with a rebate behind, and the frame that carries the cloth in it."""
    trim = mount.trim
    assert trim is not None
    sight, outer = trim.sight_diameter_m or body.bore_m, trim.outer_diameter_m or body.outer_m
    wide = sight + 2.0 * trim.rebate_m
    face = circle(0j, outer)
    if sheets[trim.sheet].cutter in BORING:
        name = f"{mount.name}, trim (rebate from behind to the line, half the board deep)"
        rebate = Scribe("score", circle(0j, wide).segments, sheets[trim.sheet].thickness_m / 2.0)
        yield _part(name, trim.sheet, face, (circle(0j, sight),), scores=(rebate,))
    else:
        yield _part(f"{mount.name}, trim face", trim.sheet, face, (circle(0j, sight),))
        yield _part(f"{mount.name}, trim back", trim.sheet, face, (circle(0j, wide),))
    cloth = wide - 2.0 * (trim.cloth_m + PLAY_M)
    yield _part(f"{mount.name}, cloth frame", trim.sheet, circle(0j, cloth), (circle(0j, sight),))


def _jig(build: Build, jig: Jig, of: MountResult | None) -> Computed:
    if jig.kind == "drill" or of is None:
        return _drill_jig(build, jig, of)
    body, deg = of.body, of.angle_deg
    if jig.kind == "surface":
        cos = math.cos(body.angle_rad)
        tick = angle_mark(deg, low_m=body.bore_m / 2.0 / cos, high_m=body.foot_m / 2.0 / cos)
        outline = ellipse(across_m=body.foot_m / cos, up_m=body.foot_m)
        return _part(jig.name, jig.sheet, outline, (ellipse(across_m=body.bore_m / cos, up_m=body.bore_m),), marks=tick)
    length, low = JIG_M
    high = low + length * body.slope
    marks = angle_mark(deg, low_m=0.0, high_m=0.03)
    moved = tuple(
        tuple(item.moved(turn=1j, shift=complex(0.75 * length, 0.5 * low + 0.015)) for item in chain)
        for chain in marks[1:]
    )
    return _part(
        jig.name, jig.sheet, polygon(0j, complex(length), complex(length, high), complex(0.0, low)), marks=moved
    )


def _drill_jig(build: Build, jig: Jig, of: MountResult | None) -> Computed:
    """To drill the screws and the middle through, the hole drawn round."""
    wanted = of.model if of is not None else jig.model
    model = next(item for item in build.speaker_models if item.name == wanted)
    outer = of.body.outer_m if of is not None else outer_of(model)
    hole = model.cut_out_m or 0.0
    marks: tuple[Chain, ...] = (circle(0j, hole).segments,)
    if of is not None:
        marks += angle_mark(of.angle_deg, low_m=hole / 2.0, high_m=outer / 2.0)
    return _part(jig.name, jig.sheet, circle(0j, outer), marks=marks, drills=(0j, *screws_of(model)))
