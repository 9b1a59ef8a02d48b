"""Reads a diagram back as a person would: which lines meet, what lies over what. Knows nothing of how it was drawn."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from itertools import combinations
from pathlib import Path

import matplotlib
from PIL import ImageFont

from cabinwright.drawings.diagram import Box, Circle, Line, Sheet, Symbol, Text

TOUCH_MM = 0.05
Segment = tuple[float, float, float, float]


@cache
def _font(bold: bool) -> ImageFont.FreeTypeFont:
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return ImageFont.truetype(str(Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name), 200)


def text_box(text: Text) -> Box:
    """The ink of a line of words, measured by Pillow."""
    scale = text.size_mm / 200.0
    left, top, right, bottom = (scale * side for side in _font(text.bold).getbbox(text.text, anchor="ls"))
    width = scale * _font(text.bold).getlength(text.text)
    x, y = text.at
    x -= {"start": 0.0, "middle": width / 2.0, "end": width}[text.anchor]
    return Box(x + left, y + top, x + right, y + bottom)


def over(a: Box, b: Box, *, by_mm: float = 0.0) -> bool:
    return (
        a.left < b.right - by_mm and b.left < a.right - by_mm and a.top < b.bottom - by_mm and b.top < a.bottom - by_mm
    )


def texts_over_texts(sheet: Sheet) -> list[tuple[str, str]]:
    boxes = [(item.text, text_box(item)) for item in sheet.items if isinstance(item, Text)]
    return [(a, b) for (a, first), (b, second) in combinations(boxes, 2) if over(first, second)]


def symbols_over_symbols(sheet: Sheet) -> list[tuple[str, str]]:
    pairs = combinations(sheet.symbols, 2)
    return [(a.name, b.name) for a, b in pairs if over(a.box, b.box, by_mm=0.01)]


def outside(sheet: Sheet) -> list[str]:
    paper = Box(0.0, 0.0, sheet.width_mm, sheet.height_mm)
    found = []
    for item in sheet.items:
        if isinstance(item, Text):
            box = text_box(item)
            inside = box.left >= 0 and box.top >= 0 and box.right <= paper.right and box.bottom <= paper.bottom
            found += [] if inside else [item.text]
        elif isinstance(item, Line):
            found += [str(p) for p in item.points if not (0 <= p[0] <= paper.right and 0 <= p[1] <= paper.bottom)]
    return found


def segments(sheet: Sheet, style: str = "conductor") -> list[Segment]:
    found = []
    for item in sheet.items:
        if isinstance(item, Line) and item.style == style:
            for (x0, y0), (x1, y1) in zip(item.points, item.points[1:], strict=False):
                assert abs(x0 - x1) < 1e-6 or abs(y0 - y1) < 1e-6, "orthogonal"
                found.append((min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)))
    return found


def lines_over_texts(sheet: Sheet, styles: Sequence[str]) -> list[str]:
    found = []
    lines = [line for style in styles for line in segments(sheet, style)]
    for item in sheet.items:
        if isinstance(item, Text):
            box = text_box(item)
            found += [item.text for line in lines if over(box, Box(*line))]
    return found


def lines_through_symbols(sheet: Sheet) -> list[str]:
    """Conductors inside a symbol's box other than those that begin or end at one of its pins."""
    found = []
    for symbol in sheet.symbols:
        for line in segments(sheet):
            ends = ((line[0], line[1]), (line[2], line[3]))
            own = any(_same(end, pin.at) for end in ends for pin in symbol.pins)
            inside = over(Box(line[0] - 1e-6, line[1] - 1e-6, line[2] + 1e-6, line[3] + 1e-6), symbol.box, by_mm=0.01)
            if inside and not own:
                found.append(f"{symbol.kind} {symbol.name}: {line}")
    return found


def nets(sheet: Sheet, symbols: Sequence[Symbol] | None = None) -> list[set[tuple[str, str, str]]]:
    """What the lines join: sets of (kind, name, pin). Lines that cross without a dot are not joined; a line that ends on
    another without a dot, two lines on one another, or a pin on no line are faults of the drawing.
    """
    lines = segments(sheet)
    dots = [item.centre for item in sheet.items if isinstance(item, Circle) and item.style == "dot"]
    parent = list(range(len(lines)))

    def root(k: int) -> int:
        while parent[k] != k:
            k = parent[k]
        return k

    for i, j in combinations(range(len(lines)), 2):
        a, b = lines[i], lines[j]
        meeting = _meeting(a, b)
        if meeting is None:
            continue
        assert not isinstance(meeting, str), f"{meeting}: {a} {b}"
        corner = _is_end(meeting, a) and _is_end(meeting, b)
        tee = _is_end(meeting, a) or _is_end(meeting, b)
        dot = any(_same(meeting, centre) for centre in dots)
        assert corner or dot or not tee, f"a line ends on another without a dot at {meeting}"
        if corner or dot:
            parent[root(i)] = root(j)
    joined: dict[int, set[tuple[str, str, str]]] = {}
    for symbol in sheet.symbols if symbols is None else symbols:
        for pin in symbol.pins:
            at = {root(k) for k, line in enumerate(lines) if _is_end(pin.at, line)}
            assert len(at) == 1, f"{symbol.kind} {symbol.name} {pin.name} at {pin.at}: on {len(at)} lines"
            joined.setdefault(at.pop(), set()).add((symbol.kind, symbol.name, pin.name))
    return list(joined.values())


def _meeting(a: Segment, b: Segment) -> tuple[float, float] | str | None:
    low = max(a[0], b[0]), max(a[1], b[1])
    high = min(a[2], b[2]), min(a[3], b[3])
    if low[0] > high[0] + TOUCH_MM or low[1] > high[1] + TOUCH_MM:
        return None
    if high[0] - low[0] > 3 * TOUCH_MM or high[1] - low[1] > 3 * TOUCH_MM:
        return "two lines on one another"
    return (low[0] + high[0]) / 2.0, (low[1] + high[1]) / 2.0


def _is_end(point: tuple[float, float], line: Segment) -> bool:
    return _same(point, line[:2]) or _same(point, line[2:])


def _same(a: tuple[float, float], b: tuple[float, ...]) -> bool:
    return abs(a[0] - b[0]) < 3 * TOUCH_MM and abs(a[1] - b[1]) < 3 * TOUCH_MM
