"""A box as a measured drawing: plan and section through its first loudspeaker, on one paper and to one scale."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from html import escape
from itertools import pairwise

from shapely import LineString

from cabinwright.build.loudspeaker import SpeakerModel
from cabinwright.build.shapes import BoxShape
from cabinwright.drawings.cut_svg import chain_path
from cabinwright.physics.outline import Contour
from cabinwright.stages.enclosure.shape_result import ShapeResult

__all__ = ["box_view"]

MM = 1e3
INK, BOARD, PAPER, AIR = "#1f2a33", "#cbb08a", "#ffffff", "#eef4f6"
UNIT, RIB, RADIATOR = "#0a5f73", "#a84a08", "#6b3f8f"
LEFT, RIGHT, TOP, GAP, FOOT = 78.0, 96.0, 34.0, 74.0, 62.0
LINE = f'fill="none" stroke="{INK}"'
HALO = 'paint-order="stroke" stroke="#fff" stroke-width="5"'

Words = Callable[[float], str]


def box_view(name: str, shape: BoxShape, result: ShapeResult, model: SpeakerModel, *, length: Words) -> str:
    """The drawing as one ``<svg>``; ``length`` words a length in metres."""
    body = result.body
    x0, y0, x1, y1 = body.plan.bounds
    wide, deep, high = MM * (x1 - x0), MM * (y1 - y0), MM * body.height_m
    before = MM * (shape.cover_gap_m or 0.0) + 14.0
    width, height = LEFT + wide + RIGHT, TOP + deep + GAP + before + high + FOOT
    corner = complex(MM * x0 - LEFT, MM * y1 + TOP)
    floor = TOP + deep + GAP + before + high
    cut = result.speakers[0].imag if body.wall is None and result.speakers else (y0 + y1) / 2.0
    rows = [
        *_plan(shape, result, model, corner, cut),
        *_section(shape, result, model, complex(MM * x0 - LEFT, floor), cut),
        *_dimensions(result, TOP, deep, floor, high, wide, length),
        _text(LEFT, 18.0, "plan, seen from above", anchor="start", bold=True),
        _text(LEFT, TOP + deep + GAP - 22.0, "section A–A", anchor="start", bold=True),
        *_notes(shape, result, model, LEFT + wide, TOP + deep + GAP + before, high, length),
    ]
    says = f"{name}: plan {length(x1 - x0)} by {length(y1 - y0)} and section {length(body.height_m)} high"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.1f} {height:.1f}" role="img" '
        f'aria-label="{escape(says)}">{"".join(rows)}</svg>'
    )


def _plan(shape: BoxShape, result: ShapeResult, model: SpeakerModel, corner: complex, cut: float) -> list[str]:
    """Boards at the height of the baffle's neighbour, what sits in the baffle over them, and where the section is cut."""
    body = result.body
    x0, _, x1, _ = body.plan.bounds
    rows = [f'<path d="{_path(body.plan, corner)}" fill="{BOARD}" stroke="{INK}" stroke-width="1.4"/>']
    order = sorted(body.hollow_runs, key=lambda run: -abs(run.opening.area_m2) if run.opening else 0.0)
    seen: list[Contour] = []
    for run in order:
        if run.opening is not None and all(run.opening.segments != item.segments for item in seen):
            first = not seen
            seen.append(run.opening)
            fill, dash = (AIR, "") if first else ("none", ' stroke-dasharray="5 3"')
            rows.append(
                f'<path d="{_path(run.opening, corner)}" fill="{fill}" stroke="{INK}" stroke-width=".8"{dash}/>'
            )
    for a, b in result.braces:
        rows.append(_stroke(a, b, corner, INK, MM * body.board_m, opacity=0.35))
    for at, diameter in result.posts:
        rows.append(_disc(at, diameter, corner, f'fill="{BOARD}" stroke="{INK}" stroke-width=".8"'))
    for wall in result.walls:
        if wall.name.startswith(("top", "bottom")):
            under = ' stroke-dasharray="8 4"' if wall.name.startswith("top") else ' stroke-dasharray="2 4"'
            rows += [_stroke(a, b, corner, RIB, 2.4, more=under) for a, b in wall.ribs]
    if body.wall is None:
        for at in result.speakers:
            rows += _unit(at, result, model, corner)
        for at in result.ports:
            if result.port_m is not None and result.port_round:
                rows.append(_disc(at, result.port_m[0], corner, f'fill="{PAPER}" stroke="{UNIT}" stroke-width="1.2"'))
            elif result.port_m is not None:
                w, h = (MM * side for side in result.port_m)
                x, y = MM * at.real - corner.real, corner.imag - MM * at.imag
                rows.append(
                    f'<rect x="{x - w / 2:.1f}" y="{y - h / 2:.1f}" width="{w:.1f}" height="{h:.1f}" fill="{PAPER}" '
                    f'stroke="{UNIT}" stroke-width="1.2"/>'
                )
    else:
        side = body.hollow_runs[0].outline.segments[body.wall]
        rows.append(_stroke(side.start, side.end, corner, UNIT, 4.0))
    rows += _tubes(result, corner)
    rows += _radiators(result, corner)
    y = corner.imag - MM * cut
    left, right = MM * x0 - corner.real, MM * x1 - corner.real
    rows.append(
        f'<path d="M{left - 14:.1f} {y:.1f}H{right + 14:.1f}" {LINE} stroke-width=".7" stroke-dasharray="14 3 2 3"/>'
    )
    rows += [_text(at, y - 5.0, "A", bold=True) for at in (left - 22.0, right + 22.0)]
    return rows


def _tubes(result: ShapeResult, corner: complex) -> list[str]:
    """Where ports run below the baffle: their middle, and their walls faintly."""
    rows = []
    for run in (item for item in result.port_runs if item is not None):
        spots = [complex(x, y) for x, y, _ in run.line_m]
        for a, b in pairwise(spots):
            if abs(b - a) > 1e-6 and result.port_m is not None:
                rows.append(_stroke(a, b, corner, UNIT, MM * min(result.port_m), opacity=0.12))
                rows.append(_stroke(a, b, corner, UNIT, 1.4, more=' stroke-dasharray="9 3 2 3"'))
    return rows


def _radiators(result: ShapeResult, corner: complex) -> Iterator[str]:
    """Passive radiators: cut-outs in top or bottom (dashed: the bottom), thick lines in walls; dotted where none is cut."""
    for row in (item for item in result.radiators if item is not None):
        line = ' stroke-dasharray="9 4"' if row.index == "bottom" else ""
        line = line if row.cut_out_m is not None else ' stroke-dasharray="2 4"'
        across = row.cut_out_m or row.frame_m
        if isinstance(row.index, str):
            yield _disc(row.at, across, corner, f'fill="none" stroke="{RADIATOR}" stroke-width="1.6"{line}')
            continue
        side = result.body.hollow_runs[0].outline.segments[row.index]
        way = side.chord / abs(side.chord)
        middle, half = side.start + way * row.at.real, way * across / 2.0
        yield _stroke(middle - half, middle + half, corner, RADIATOR, 4.0, more=line)


def _unit(at: complex, result: ShapeResult, model: SpeakerModel, corner: complex) -> list[str]:
    rows = []
    if result.cut_out_m is not None:
        rows.append(
            _disc(at, result.cut_out_m, corner, f'fill="{PAPER}" fill-opacity=".75" stroke="{UNIT}" stroke-width="1.6"')
        )
    if model.outer_diameter_m is not None:
        rows.append(
            _disc(
                at,
                model.outer_diameter_m,
                corner,
                f'fill="none" stroke="{UNIT}" stroke-width=".9" stroke-dasharray="6 3"',
            )
        )
    x, y = MM * at.real - corner.real, corner.imag - MM * at.imag
    rows.append(
        f'<path d="M{x - 10:.1f} {y:.1f}h20M{x:.1f} {y - 10:.1f}v20" fill="none" stroke="{UNIT}" stroke-width=".8"/>'
    )
    return rows


def _section(shape: BoxShape, result: ShapeResult, model: SpeakerModel, corner: complex, cut: float) -> list[str]:
    """Each run's boards where the line cuts them, layer by layer, and the loudspeakers that it meets."""
    body = result.body
    rows = []
    for run in body.runs:
        outer, inner = _spans(run.outline, cut), [] if run.opening is None else _spans(run.opening, cut)
        step = (run.high_m - run.low_m) / run.count
        for k in range(run.count):
            top = corner.imag - MM * (run.low_m + (k + 1) * step)
            for low, high in outer:
                rows.append(_rect(low, high, top, MM * step, corner, BOARD))
            for low, high in inner:
                rows.append(_rect(low, high, top - 0.4, MM * step + 0.8, corner, AIR, edge=False))
                rows.append(
                    f'<path d="M{MM * low - corner.real:.1f} {top:.1f}v{MM * step:.1f}M{MM * high - corner.real:.1f} {top:.1f}'
                    f'v{MM * step:.1f}" {LINE} stroke-width=".8"/>'
                )
    if body.wall is None and result.cut_out_m is not None:
        for at in result.speakers:
            if abs(at.imag - cut) < 0.45 * result.cut_out_m:
                rows += _profile(at, shape, result, model, corner)
    if shape.cover_gap_m is not None and body.wall is None and shape.baffle == "top":
        x0, _, x1, _ = body.plan.bounds
        y = corner.imag - MM * (body.height_m + shape.cover_gap_m)
        rows.append(
            f'<path d="M{MM * x0 - corner.real:.1f} {y:.1f}H{MM * x1 - corner.real:.1f}" {LINE} stroke-width="1" '
            'stroke-dasharray="10 4"/>'
        )
        rows.append(_text(MM * x1 - corner.real - 4.0, y - 5.0, "cover", anchor="end"))
    return rows


def _profile(at: complex, shape: BoxShape, result: ShapeResult, model: SpeakerModel, corner: complex) -> list[str]:
    """A loudspeaker from the side: frame, basket, magnet, and how far its cone comes out."""
    body = result.body
    up = shape.baffle != "bottom"
    sign = 1.0 if up else -1.0
    x = MM * at.real - corner.real
    face = corner.imag - (MM * body.height_m if up else 0.0)
    inner = corner.imag - MM * (body.inside_high_m if up else body.inside_low_m)
    wide = MM * (result.cut_out_m or 0.0)
    half, magnet = wide / 2.0, wide * 0.3
    rows = [
        f'<rect x="{x - half:.1f}" y="{min(face, inner):.1f}" width="{wide:.1f}" '
        f'height="{abs(face - inner):.1f}" fill="{PAPER}"/>'
    ]
    if model.depth_m is not None:
        end = inner + sign * MM * model.depth_m
        knee = inner + sign * 0.55 * MM * model.depth_m
        d = (
            f"M{x - half:.1f} {face:.1f}L{x - half:.1f} {inner:.1f}L{x - magnet:.1f} {knee:.1f}V{end:.1f}H{x + magnet:.1f}"
            f"V{knee:.1f}L{x + half:.1f} {inner:.1f}L{x + half:.1f} {face:.1f}"
        )
        rows.append(f'<path d="{d}" fill="{UNIT}" fill-opacity=".14" stroke="{UNIT}" stroke-width="1.4"/>')
    frame = MM * (model.outer_diameter_m or 0.0) / 2.0
    if frame:
        rows.append(f'<path d="M{x - frame:.1f} {face - sign:.1f}H{x + frame:.1f}" stroke="{UNIT}" stroke-width="3"/>')
    travel = model.xmech_m or model.xmax_m
    if travel is not None:
        y = face - sign * MM * travel
        rows.append(
            f'<path d="M{x - 0.8 * half:.1f} {y:.1f}H{x + 0.8 * half:.1f}" stroke="{RIB}" stroke-width="1.2" '
            'stroke-dasharray="3 2"/>'
        )
    return rows


def _spans(contour: Contour, y: float) -> list[tuple[float, float]]:
    """Where a line along x cuts an outline."""
    x0, _, x1, _ = contour.bounds
    cut = LineString([(x0 - 1.0, y), (x1 + 1.0, y)]).intersection(contour.polygon)
    pieces = [item for item in getattr(cut, "geoms", [cut]) if isinstance(item, LineString) and not item.is_empty]
    return [(float(item.bounds[0]), float(item.bounds[2])) for item in pieces]


def _dimensions(
    result: ShapeResult, top: float, deep: float, floor: float, high: float, wide: float, length: Words
) -> list[str]:
    x0, y0, x1, y1 = result.body.plan.bounds
    body = result.body
    rows = [
        *_across(LEFT, LEFT + wide, top + deep + 26.0, length(x1 - x0), top + deep + 4.0),
        *_up(LEFT - 40.0, top, top + deep, length(y1 - y0), LEFT - 4.0),
        *_up(LEFT - 40.0, floor - high, floor, length(body.height_m), LEFT - 4.0),
    ]
    inside = floor - MM * body.inside_high_m, floor - MM * body.inside_low_m
    return rows + _up(LEFT + wide + 34.0, *inside, length(body.inside_high_m - body.inside_low_m), LEFT + wide + 4.0)


def _across(left: float, right: float, y: float, words: str, start: float) -> list[str]:
    return [
        f'<path d="M{left:.1f} {start:.1f}V{y + 5:.1f}M{right:.1f} {start:.1f}V{y + 5:.1f}M{left:.1f} {y:.1f}H{right:.1f}" '
        f'{LINE} stroke-width=".6"/>',
        _arrow(left, y, 0),
        _arrow(right, y, 180),
        _text((left + right) / 2.0, y + 4.0, words),
    ]


def _up(x: float, top: float, foot: float, words: str, start: float) -> list[str]:
    return [
        f'<path d="M{start:.1f} {top:.1f}H{x:.1f}M{start:.1f} {foot:.1f}H{x:.1f}M{x:.1f} {top:.1f}V{foot:.1f}" {LINE} '
        'stroke-width=".6"/>',
        _arrow(x, top, 90),
        _arrow(x, foot, 270),
        f'<text transform="translate({x + 4:.1f} {(top + foot) / 2.0:.1f}) rotate(-90)" font-size="13" fill="{INK}" '
        f'text-anchor="middle" {HALO}>{escape(words)}</text>',
    ]


def _notes(
    shape: BoxShape, result: ShapeResult, model: SpeakerModel, right: float, top: float, high: float, length: Words
) -> list[str]:
    """Beneath the section: what the colours and lines stand for."""
    said = [f"board {length(result.body.board_m)}"]
    if result.cut_out_m is not None:
        said.append(f"cut-out ⌀ {length(result.cut_out_m)}")
    behind = result.clearances_m.get("behind_m")
    if behind is not None:
        said.append(f"{length(behind)} behind the magnet")
    y = top + high + 30.0
    rows = [_text(LEFT, y, "; ".join(said), anchor="start")]
    keys = []
    if any(wall.ribs for wall in result.walls if wall.name.startswith(("top", "bottom"))):
        keys.append("orange in plan: ribs proposed (dashed: under the top; dotted: on the floor)")
    if any(row is not None for row in result.radiators):
        keys.append("violet in plan: passive radiators (dashed: in the bottom; dotted: no hole is cut)")
    if model.xmech_m or model.xmax_m:
        keys.append("orange in the section: the cone at its farthest")
    return [*rows, _text(LEFT, y + 17.0, "; ".join(keys), anchor="start", size=10.5)] if keys else rows


def _path(contour: Contour, corner: complex) -> str:
    return chain_path(contour.segments, corner, closed=True)


def _stroke(
    a: complex, b: complex, corner: complex, colour: str, width: float, *, opacity: float = 1.0, more: str = ""
) -> str:
    ends = [(MM * at.real - corner.real, corner.imag - MM * at.imag) for at in (a, b)]
    return (
        f'<path d="M{ends[0][0]:.1f} {ends[0][1]:.1f}L{ends[1][0]:.1f} {ends[1][1]:.1f}" fill="none" stroke="{colour}" '
        f'stroke-width="{width:.1f}" stroke-opacity="{opacity}"{more}/>'
    )


def _disc(at: complex, diameter_m: float, corner: complex, look: str) -> str:
    x, y = MM * at.real - corner.real, corner.imag - MM * at.imag
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{MM * diameter_m / 2.0:.1f}" {look}/>'


def _rect(low: float, high: float, top: float, tall: float, corner: complex, fill: str, *, edge: bool = True) -> str:
    line = f' stroke="{INK}" stroke-width=".6"' if edge else ""
    x, wide = MM * low - corner.real, MM * (high - low)
    return f'<rect x="{x:.1f}" y="{top:.1f}" width="{wide:.1f}" height="{tall:.1f}" fill="{fill}"{line}/>'


def _arrow(x: float, y: float, turn: int) -> str:
    return f'<path d="M0 0l8 -2.4v4.8z" fill="{INK}" transform="translate({x:.1f} {y:.1f}) rotate({turn})"/>'


def _text(x: float, y: float, words: str, *, anchor: str = "middle", bold: bool = False, size: float = 13.0) -> str:
    weight = ' font-weight="bold"' if bold else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" fill="{INK}" text-anchor="{anchor}"{weight} {HALO}>'
        f"{escape(words)}</text>"
    )
