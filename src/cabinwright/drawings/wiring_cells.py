"""How each part of the wiring looks: its symbol on the line, words above and below it, and the room that all this takes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from cabinwright.drawings.diagram import Box, Circle, Item, Line, Pin, Point, Symbol, Text
from cabinwright.drawings.diagram_layers import Cell
from cabinwright.drawings.diagram_text import DESCENT, LEADING, width_mm, wrapped
from cabinwright.drawings.symbols import Glyph, frame, glyph
from cabinwright.drawings.wiring import CHASSIS, Placing

__all__ = ["TEXT_MM", "Drawn", "draw_frame", "draw_node", "draw_part", "frame_cell", "node_cell", "part_cell"]

TEXT_MM = 3.1  #: size of the font; capitals are 2.26 mm high
LINE_MM = TEXT_MM * LEADING
ROOM_MM = {"wire": 26.0, "node": 21.0, "load": 34.0, "amplifier": 34.0, "lamp": 26.0}
OTHER_ROOM_MM = 25.0
AIR_MM = 1.0  #: left and right of words
TERMINAL_MM = 1.0
TURN_ON_MM = 7.0  #: from a load's plus down to its third terminal
BLOCKS = ("load", "amplifier")
LOADS = (*BLOCKS, "lamp")  #: their name stands beside the number
WITH_SIZE = ("wire", "fuse")  #: their first line, size or rating, stands beside the number


@dataclass(frozen=True)
class Drawn:
    """What is drawn for one part."""

    items: tuple[Item, ...]
    symbol: Symbol


@dataclass(frozen=True)
class _Words:
    """Lines above the symbol, which are bold, and below it."""

    above: tuple[str, ...]
    below: tuple[str, ...]

    @property
    def width_mm(self) -> float:
        bold = [width_mm(line, TEXT_MM, bold=True) for line in self.above]
        return max([0.0, *bold, *(width_mm(line, TEXT_MM) for line in self.below)])


def _words(item: Placing, lines: Sequence[str]) -> _Words:
    part = item.part
    room = ROOM_MM.get(part.kind, OTHER_ROOM_MM)
    head, small = part.mark or part.name, list(lines)
    if part.kind in WITH_SIZE:
        head += f"  {small.pop(0)}"
    elif part.kind in LOADS:
        head = f"{part.mark}  {part.name}".strip()
    if part.mark and part.kind not in ("wire", *LOADS):  # a wire goes by its number; the harness table has its name
        small.insert(0, part.name)
    below = tuple(piece for line in small for piece in wrapped(line, TEXT_MM, room))
    return _Words(wrapped(head, TEXT_MM, room, bold=True), below)


def part_cell(item: Placing, lines: Sequence[str]) -> Cell:
    """The room of a part; ``lines`` are its figures with their references filled in."""
    if item.part.kind in BLOCKS:
        return _block_cell(item, lines)
    words = _words(item, lines)
    symbol = _glyph(item)
    above, below = (symbol.above_mm, symbol.below_mm) if symbol else (0.4, 0.4)
    width = max(words.width_mm + 2.0 * AIR_MM, symbol.width_mm if symbol else 0.0)
    return Cell(width, above + 0.8 + len(words.above) * LINE_MM, below + 0.6 + len(words.below) * LINE_MM, *_pins(item))


def _pins(item: Placing) -> tuple[tuple[float, ...], tuple[float, ...]]:
    left, right = (tuple(TURN_ON_MM * k for k in range(len(side))) for side in (item.left, item.right))
    return left, right


def _glyph(item: Placing) -> Glyph | None:
    return None if item.part.kind == "wire" else glyph(item.part.kind)


def draw_part(item: Placing, lines: Sequence[str], cell: Cell, x: float, y: float) -> Drawn:
    """A part with the left end of its line at (x, y)."""
    if item.part.kind in BLOCKS:
        return _draw_block(item, lines, cell, x, y)
    words, symbol = _words(item, lines), _glyph(item)
    middle, right = x + cell.width_mm / 2.0, x + cell.width_mm
    if symbol is None:
        items: list[Item] = [Line(((x, y), (right, y)), "wire")]
    else:
        start = middle - symbol.width_mm / 2.0
        items = [*symbol.at(start, y)]
        items += [Line(((x, y), (start, y)), "lead"), Line(((start + symbol.width_mm, y), (right, y)), "lead")]
    items += _stacked(words.above, middle, y - cell.above_mm, bold=True)
    items += _stacked(words.below, middle, y + cell.below_mm - len(words.below) * LINE_MM)
    if item.part.kind == "lamp":
        items += _polarity(item, x, right, y)
    return Drawn(tuple(items), _symbol(item, cell, x, y))


def _stacked(lines: Sequence[str], middle: float, top: float, *, bold: bool = False) -> list[Item]:
    return [
        Text((middle, top + (k + 1) * LINE_MM - DESCENT * TEXT_MM), line, TEXT_MM, "middle", bold)
        for k, line in enumerate(lines)
    ]


def _polarity(item: Placing, left: float, right: float, y: float) -> list[Item]:
    signs = ("+", "−") if item.left[0][0] == "a" else ("−", "+")
    return [Text((left + 0.3, y - 0.8), signs[0], TEXT_MM), Text((right - 0.3, y - 0.8), signs[1], TEXT_MM, "end")]


def _symbol(item: Placing, cell: Cell, x: float, y: float) -> Symbol:
    box = Box(x, y - cell.above_mm, x + cell.width_mm, y + cell.below_mm)
    pins = [Pin(item.left[k][0], (x, y + down)) for k, down in enumerate(cell.left)]
    pins += [Pin(item.right[k][0], (box.right, y + down)) for k, down in enumerate(cell.right)]
    return Symbol(item.part.kind, item.part.mark or item.part.name, box, tuple(pins))


def _block_cell(item: Placing, lines: Sequence[str]) -> Cell:
    words = _words(item, lines)
    left, right = _pins(item)
    third = TURN_ON_MM if max(len(left), len(right)) > 1 else 0.0
    written = (len(words.above) + len(words.below)) * LINE_MM
    width = max(words.width_mm + 2.0 * 2.0, 24.0)
    return Cell(width, 4.6, 4.6 + third + written + 0.6, left, right)


def _draw_block(item: Placing, lines: Sequence[str], cell: Cell, x: float, y: float) -> Drawn:
    """A load as a block: the terminals on its edges, amplifiers with their triangle, name and figures inside."""
    words = _words(item, lines)
    right, middle = x + cell.width_mm, x + cell.width_mm / 2.0
    top, bottom = y - cell.above_mm, y + cell.below_mm
    items: list[Item] = [Line(((x, top), (right, top), (right, bottom), (x, bottom)), "block", closed=True)]
    if item.part.kind == "amplifier":
        triangle = ((middle - 3.0, y - 3.2), (middle + 3.0, y), (middle - 3.0, y + 3.2))
        items.append(Line(triangle, "symbol open", closed=True))
    signs = {"a": "+", "b": "−", "turn-on": "turn-on"}
    for side, at, anchor in ((item.left, x + 1.2, "start"), (item.right, right - 1.2, "end")):
        for k, (terminal, _) in enumerate(side):
            items.append(Text((at, y + TURN_ON_MM * k + 1.1), signs[terminal], TEXT_MM, anchor))
    start = bottom - 0.6 - (len(words.above) + len(words.below)) * LINE_MM
    items += _stacked(words.above, middle, start, bold=True)
    items += _stacked(words.below, middle, start + len(words.above) * LINE_MM)
    return Drawn(tuple(items), _symbol(item, cell, x, y))


def node_cell(node: str, references: Sequence[str]) -> Cell:
    """A named terminal; ``references`` say where else it is drawn."""
    lines = wrapped(node, TEXT_MM, ROOM_MM["node"])
    width = max(width_mm(line, TEXT_MM) for line in (*lines, *references)) + 2.0 * AIR_MM
    return Cell(width, TERMINAL_MM + 0.8 + len(lines) * LINE_MM, TERMINAL_MM + 0.6 + len(references) * LINE_MM)


def draw_node(node: str, references: Sequence[str], cell: Cell, x: float, y: float, sides: tuple[bool, bool]) -> Drawn:
    """A named terminal with lines to the sides on which something is joined."""
    centre: Point = (x + cell.width_mm / 2.0, y)
    items: list[Item] = []
    if sides[0]:
        items.append(Line(((x, y), centre), "conductor"))
    if sides[1]:
        items.append(Line((centre, (x + cell.width_mm, y)), "conductor"))
    items.append(Circle(centre, TERMINAL_MM, "terminal"))
    items += _stacked(wrapped(node, TEXT_MM, ROOM_MM["node"]), centre[0], y - cell.above_mm)
    items += _stacked(references, centre[0], y + cell.below_mm - len(references) * LINE_MM)
    box = Box(x, y - cell.above_mm, x + cell.width_mm, y + cell.below_mm)
    return Drawn(tuple(items), Symbol("node", node, box, (Pin("", centre),)))


def frame_cell() -> Cell:
    """The chassis symbol."""
    shape = frame()
    return Cell(shape.width_mm, shape.above_mm, shape.below_mm)


def draw_frame(cell: Cell, x: float, y: float, *, mirrored: bool) -> Drawn:
    """The chassis at the end of a return."""
    box = Box(x, y - cell.above_mm, x + cell.width_mm, y + cell.below_mm)
    at = x + cell.width_mm if mirrored else x
    return Drawn(tuple(frame(mirrored=mirrored).at(x, y)), Symbol("node", CHASSIS, box, (Pin("", (at, y)),)))
