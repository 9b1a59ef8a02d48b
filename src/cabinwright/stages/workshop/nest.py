"""Laying parts on sheets: rectangles by the room that is left, true shapes where those would need a sheet less.

Every piece is taken as the rectangle round it, put where it leaves the shortest side of a free rectangle (best short side
fit, Jylänki 2010), in several orders, and the order with the fewest sheets and the largest off-cut wins. The same build
always gives the same sheets. Only where whole shapes could save a sheet are they packed as they are, by spyrrow, which searches
for some seconds. Whatever was found is measured afterwards: no two pieces nearer than the gap, none over the rim.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from shapely import Polygon, STRtree, affinity, box

from cabinwright.build.workshop import Sheet, Workshop
from cabinwright.stages.workshop.result import Nesting, Offcut, Part, Placed

__all__ = ["Piece", "nest", "pieces_of"]

TURNS = {"along x": (0.0, 180.0), "along y": (90.0, 270.0), "any": (0.0, 90.0, 180.0, 270.0)}
FREE_TURNS = tuple(15.0 * k for k in range(24))
SHAPE_M = 1e-4  #: chords of the shapes that are packed lie within this of the outline
SEARCH_S = 2  #: for each strip of true shapes
MOST_STRIPS = 3
MOST_SHAPES = 80  #: pieces beyond which true shapes are not tried
USUAL_YIELD = 0.8  #: what packing of whole shapes reaches at best, common practice

Box = tuple[float, float, float, float]  #: x, y, length, width


@dataclass(frozen=True)
class Piece:
    """One piece to lay: where its outline stands, and how it may be turned."""

    part: str
    number: int
    polygon: Polygon
    turns: tuple[float, ...]


def pieces_of(parts: Sequence[Part], sheet: Sheet) -> list[Piece]:
    """Every piece of the parts that are cut from ``sheet``."""
    rows = []
    for part in parts:
        grown = part.outline.as_polygon(SHAPE_M)
        turns = TURNS[part.grain if sheet.grained else "any"]
        if sheet.grained and part.grain == "any":
            turns = (0.0, 90.0, 180.0, 270.0)
        rows += [Piece(part.name, number, grown, turns) for number in range(1, part.count + 1)]
    return rows


def nest(pieces: Sequence[Piece], sheet: Sheet, settings: Workshop) -> tuple[tuple[Nesting, ...], tuple[Piece, ...]]:
    """Sheets with their pieces and off-cuts, and the pieces for which there is no room."""
    gap = max(settings.gap_m, sheet.kerf_m, (sheet.cutter_diameter_m or 0.0)) + 2.0 * SHAPE_M
    room = (sheet.length_m - 2.0 * settings.border_m, sheet.width_m - 2.0 * settings.border_m)
    best = _rectangles(pieces, room, gap, sheet.count)
    sheets = [_finished(layout, sheet, settings, gap, "rectangles") for layout in best[0]]
    left = best[1]
    if _may_save(pieces, sheets, sheet):
        shaped = _true_shapes(pieces, room, gap, sheet)
        if shaped is not None and len(shaped) < len(sheets) + (1 if left else 0):
            sheets, left = [_finished(layout, sheet, settings, gap, "true shapes") for layout in shaped], []
    return tuple(replace(item, number=number) for number, item in enumerate(sheets, 1)), tuple(left)


Layout = list[tuple[Piece, float, float, float]]  #: piece, turn in degrees, x and y of its bounds' lower left corner


def _rectangles(
    pieces: Sequence[Piece], room: tuple[float, float], gap: float, count: int | None
) -> tuple[list[Layout], list[Piece]]:
    """The best of several orders."""
    sizes = {id(piece): _size(piece.polygon) for piece in pieces}
    orders = (
        lambda p: (-max(sizes[id(p)]), -min(sizes[id(p)])),
        lambda p: (-sizes[id(p)][0] * sizes[id(p)][1],),
        lambda p: (-min(sizes[id(p)]), -max(sizes[id(p)])),
        lambda p: (-sum(sizes[id(p)]),),
    )
    tried = []
    for key in orders:
        layouts, left = _pack(sorted(pieces, key=key), room, gap, count)
        spare = max((row[2] * row[3] for row in _free(layouts[-1], room, gap)), default=0.0) if layouts else 0.0
        tried.append(((len(left), len(layouts), -spare), layouts, left))
    _, layouts, left = min(tried, key=lambda item: item[0])
    return layouts, left


def _pack(
    pieces: Sequence[Piece], room: tuple[float, float], gap: float, count: int | None
) -> tuple[list[Layout], list[Piece]]:
    layouts: list[Layout] = []
    free: list[list[Box]] = []
    left = []
    whole: Box = (0.0, 0.0, room[0] + gap, room[1] + gap)  # each piece brings a gap to its right and above
    for piece in pieces:
        spot = _spot(piece, free, gap)
        if spot is None and (count is None or len(layouts) < count) and _spot(piece, [[whole]], gap) is not None:
            layouts.append([])
            free.append([whole])
            spot = _spot(piece, free[-1:], gap)
            assert spot is not None
            spot = (len(layouts) - 1, *spot[1:])
        if spot is None:
            left.append(piece)
            continue
        index, turn, taken = spot
        layouts[index].append((piece, turn, taken[0], taken[1]))
        free[index] = _without(free[index], taken)
    return layouts, left


def _spot(piece: Piece, free: Sequence[Sequence[Box]], gap: float) -> tuple[int, float, Box] | None:
    """Sheet, turn and room of the place that leaves the shortest side; on the first sheet that has any."""
    width, height = _size(piece.polygon)
    for index, boxes in enumerate(free):
        best: tuple[tuple[float, float, float, float], float, Box] | None = None
        for turn in piece.turns:
            across, up = (width, height) if turn % 180.0 == 0.0 else (height, width)
            across, up = across + gap, up + gap
            for x, y, length, wide in boxes:
                if across <= length + 1e-9 and up <= wide + 1e-9:
                    score = (min(length - across, wide - up), max(length - across, wide - up), x, y)
                    if best is None or score < best[0]:
                        best = (score, turn, (x, y, across, up))
        if best is not None:
            return index, best[1], best[2]
    return None


def _without(boxes: Sequence[Box], taken: Box) -> list[Box]:
    """The largest free rectangles once ``taken`` is gone."""
    x0, y0, length, width = taken
    x1, y1 = x0 + length, y0 + width
    fresh: list[Box] = []
    for x, y, across, up in boxes:
        if x >= x1 - 1e-9 or y >= y1 - 1e-9 or x + across <= x0 + 1e-9 or y + up <= y0 + 1e-9:
            fresh.append((x, y, across, up))
            continue
        fresh += [
            row
            for row in (
                (x, y, x0 - x, up),
                (x1, y, x + across - x1, up),
                (x, y, across, y0 - y),
                (x, y1, across, y + up - y1),
            )
            if row[2] > 1e-6 and row[3] > 1e-6
        ]
    return [
        row
        for n, row in enumerate(fresh)
        if not any(_inside(row, other, n > m) for m, other in enumerate(fresh) if m != n)
    ]


def _inside(a: Box, b: Box, later: bool) -> bool:
    """Whether ``a`` lies within ``b``; of two alike the later one does."""
    within = (
        a[0] >= b[0] - 1e-9
        and a[1] >= b[1] - 1e-9
        and a[0] + a[2] <= b[0] + b[2] + 1e-9
        and a[1] + a[3] <= b[1] + b[3] + 1e-9
    )
    same = all(abs(p - q) < 1e-9 for p, q in zip(a, b, strict=True))
    return within and (not same or later)


def _free(layout: Layout, room: tuple[float, float], gap: float) -> list[Box]:
    """Rectangles that are left over beside the pieces, largest first, none over another."""
    boxes: list[Box] = [(0.0, 0.0, *room)]
    for piece, turn, x, y in layout:
        width, height = _size(_turned(piece.polygon, turn))
        boxes = _without(boxes, (x - gap, y - gap, width + 2.0 * gap, height + 2.0 * gap))
    found: list[Box] = []
    while boxes:
        largest = max(boxes, key=lambda row: (row[2] * row[3], -row[0], -row[1]))
        found.append(largest)
        boxes = _without(boxes, largest)
    return found


def _may_save(pieces: Sequence[Piece], sheets: Sequence[Nesting], sheet: Sheet) -> bool:
    """Whether shapes that are no rectangles could do with a sheet less."""
    if not 1 < len(pieces) <= MOST_SHAPES or len(sheets) < 2:
        return False
    area = sum(piece.polygon.area for piece in pieces)
    full = sum(math.prod(_size(piece.polygon)) for piece in pieces)
    return bool(area < 0.9 * full) and math.ceil(area / (USUAL_YIELD * sheet.length_m * sheet.width_m)) < len(sheets)


def _true_shapes(pieces: Sequence[Piece], room: tuple[float, float], gap: float, sheet: Sheet) -> list[Layout] | None:
    """Strips as wide as the sheet, one after another: what reaches beyond its length goes on to the next."""
    import spyrrow

    left, layouts = list(pieces), []
    for _ in range(MOST_STRIPS):
        items = []
        for number, piece in enumerate(left):
            turns = piece.turns if sheet.grained else FREE_TURNS
            corners = [(float(x), float(y)) for x, y in piece.polygon.exterior.coords[:-1]]
            items.append(spyrrow.Item(str(number), corners, 1, list(turns)))
        config = spyrrow.StripPackingConfig(
            min_items_separation=gap, total_computation_time=SEARCH_S, num_workers=1, seed=1
        )
        try:
            solved = spyrrow.StripPackingInstance("sheet", room[1], items).solve(config)
        except (ValueError, RuntimeError):
            return None  # a piece is wider than the sheet: rectangles have said so
        here: Layout = []
        for item in solved.placed_items:
            piece = left[int(item.id)]
            shape = affinity.translate(_turned(piece.polygon, item.rotation), *item.translation)
            x0, y0, x1, y1 = shape.bounds
            if x0 >= -1e-9 and y0 >= -1e-9 and x1 <= room[0] + 1e-9 and y1 <= room[1] + 1e-9:
                here.append((piece, float(item.rotation), x0, y0))
        if not here:
            return None
        layouts.append(here)
        placed = {id(row[0]) for row in here}
        left = [piece for piece in left if id(piece) not in placed]
        if not left:
            return layouts if sheet.count is None or len(layouts) <= sheet.count else None
    return None


def _finished(layout: Layout, sheet: Sheet, settings: Workshop, gap: float, way: str) -> Nesting:
    border = settings.border_m
    placed, shapes = [], []
    for piece, turn, x, y in layout:
        turned = _turned(piece.polygon, turn)
        shift = (x + border - turned.bounds[0], y + border - turned.bounds[1])
        placed.append(Placed(piece.part, piece.number, turn, shift))
        shapes.append(affinity.translate(turned, *shift))
    room = (sheet.length_m - 2.0 * border, sheet.width_m - 2.0 * border)
    spare = [
        Offcut((x + border, y + border), length, width)
        for x, y, length, width in _free(layout, room, gap)
        if min(length, width) >= settings.offcut_m
    ]
    used = sum(piece.polygon.area for piece, *_ in layout) / (sheet.length_m * sheet.width_m)
    _inside_rim(shapes, sheet, border)
    return Nesting(
        sheet=sheet.name,
        number=0,
        length_m=sheet.length_m,
        width_m=sheet.width_m,
        placed=tuple(placed),
        offcuts=tuple(spare),
        yield_share=used,
        way=way,
        least_gap_m=_least_gap(shapes, gap - 2.0 * SHAPE_M),
    )


def _least_gap(shapes: Sequence[Polygon], wanted: float) -> float | None:
    """Least distance of two pieces, measured; raises where it is less than wanted, for then the search is wrong."""
    if len(shapes) < 2:
        return None
    tree = STRtree(shapes)
    first, second = tree.query_nearest(list(shapes), exclusive=True)
    gaps = [shapes[i].distance(shapes[j]) for i, j in zip(first, second, strict=True)]
    least = float(np.min(gaps))
    if least < wanted - 1e-6:
        raise RuntimeError(f"two pieces lie {1e3 * least:.3f} mm apart where {1e3 * wanted:.3f} mm were asked for")
    return least


def _inside_rim(shapes: Sequence[Polygon], sheet: Sheet, border: float) -> None:
    rim = box(border - 1e-6, border - 1e-6, sheet.length_m - border + 1e-6, sheet.width_m - border + 1e-6)
    if not all(rim.contains(shape) for shape in shapes):
        raise RuntimeError("a piece lies over the rim of its sheet")


def _turned(polygon: Polygon, turn_deg: float) -> Polygon:
    return affinity.rotate(polygon, turn_deg, origin=(0, 0)) if turn_deg else polygon


def _size(polygon: Polygon) -> tuple[float, float]:
    x0, y0, x1, y1 = polygon.bounds
    return x1 - x0, y1 - y0
