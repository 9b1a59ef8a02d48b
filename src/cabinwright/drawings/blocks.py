"""A block diagram: blocks with a title and small lines of text, joined from left to right, with a label on each join.

Knows words only. Whoever feeds it decides what is written; it is drawn so that no line runs through a block or a label.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from cabinwright.drawings.diagram import PAGES_MM, Box, Item, Line, Pin, Sheet, Symbol, Text, moved
from cabinwright.drawings.diagram_flow import flow
from cabinwright.drawings.diagram_layers import GAP_MM, Cell, Net
from cabinwright.drawings.diagram_text import ASCENT, LEADING, width_mm, wrapped

__all__ = ["TEXT_MM", "Block", "Join", "block_diagram"]

TEXT_MM, TITLE_MM, HEAD_MM = 3.1, 3.6, 5.0  #: sizes of the font; capitals are 2.26 mm and more
BLOCK_MM = 46.0  #: widest text inside a block
LABEL_MM = 34.0  #: widest text on a join
PAD_MM = 2.0
MARGIN_MM = 12.0
ARROW_MM = 2.2


@dataclass(frozen=True, slots=True)
class Block:
    """One block. ``name`` is what joins call it."""

    name: str
    title: str
    lines: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Join:
    """One line from the right side of a block to the left side of another. ``label`` may hold line breaks."""

    start: str
    end: str
    label: str = ""


def block_diagram(blocks: Sequence[Block], joins: Sequence[Join], *, title: str, notes: Sequence[str] = ()) -> Sheet:
    """All blocks on one sheet: A3 lying, or the next larger size of paper that holds it with its text at full height.

    Args:
        blocks: at least one; names are distinct.
        joins: between blocks that exist; they run in no circle.
        title: stands above the diagram.
        notes: sentences below it.

    Raises:
        KeyError: a join names no block.
        ValueError: no blocks, or joins that run in a circle.
    """
    if not blocks:
        raise ValueError("a diagram needs at least one block")
    _check(blocks, joins)
    coming, going = _pins(joins)
    cells, nets = _boxes(blocks, joins, coming, going)
    first = flow(cells, nets).axis_mm
    for side in (coming, going):  # pins in the order of what they lead to, so that fewer lines cross
        for numbers in side.values():
            numbers.sort(key=lambda number: first[f"join {number}"])
    cells, nets = _boxes(blocks, joins, coming, going)
    placed = flow(cells, nets)
    foot = [line for note in notes for line in wrapped(note, TEXT_MM, max(placed.width_mm, 380.0))]
    above, below = MARGIN_MM + 2.0 * HEAD_MM, MARGIN_MM + (len(foot) + 1) * TEXT_MM * LEADING
    paper = _paper(placed.width_mm + 2.0 * MARGIN_MM, placed.height_mm + above + below)
    across = (paper[0] - placed.width_mm) / 2.0
    down = above + (paper[1] - above - below - placed.height_mm) / 2.0
    items, symbols = moved(placed.items(), across, down), []
    for block in blocks:
        name = f"block {block.name}"
        x, y = placed.left_mm[name] + across, placed.axis_mm[name] + down
        drawn, symbol = _draw(block, cells[name], x, y)
        items += drawn
        symbols.append(symbol)
    for number, join in enumerate(joins):
        name = f"join {number}"
        x, y = placed.left_mm[name] + across, placed.axis_mm[name] + down
        drawn, symbol = _draw_join(join, cells[name], x, y)
        items += drawn
        symbols.append(symbol)
    items.append(Text((MARGIN_MM, MARGIN_MM + HEAD_MM * ASCENT), title, HEAD_MM, bold=True))
    top = paper[1] - MARGIN_MM - (len(foot) - 1) * TEXT_MM * LEADING
    items += [Text((MARGIN_MM, top + k * TEXT_MM * LEADING), line, TEXT_MM) for k, line in enumerate(foot)]
    says = f"{title}: block diagram with {len(blocks)} blocks and {len(joins)} joins."
    return Sheet(says, *paper, tuple(items), tuple(symbols))


def _boxes(
    blocks: Sequence[Block], joins: Sequence[Join], coming: dict[str, list[int]], going: dict[str, list[int]]
) -> tuple[dict[str, Cell], list[Net]]:
    """A box for each block and each label, and what joins them."""
    labels = {f"join {number}": _label_cell(join) for number, join in enumerate(joins)}
    tall = [cell.above_mm + cell.below_mm + GAP_MM for cell in labels.values()]
    cells = {
        f"block {item.name}": _cell(item, *([tall[k] for k in side[item.name]] for side in (coming, going)))
        for item in blocks
    }
    nets = []
    for number, join in enumerate(joins):
        out, into = going[join.start].index(number), coming[join.end].index(number)
        nets.append(Net(((f"block {join.start}", out),), ((f"join {number}", 0),)))
        nets.append(Net(((f"join {number}", 0),), ((f"block {join.end}", into),)))
    return cells | labels, nets


def _check(blocks: Sequence[Block], joins: Sequence[Join]) -> None:
    names = {item.name for item in blocks}
    if len(names) < len(blocks):
        raise ValueError("two blocks have one name")
    for join in joins:
        for name in (join.start, join.end):
            if name not in names:
                raise KeyError(name)
    left, after = set(names), {name: {j.end for j in joins if j.start == name} for name in names}
    while left:
        ends = {name for name in left if not after[name] & left}
        if not ends:
            raise ValueError(f"the joins run in a circle through {', '.join(sorted(left))}")
        left -= ends


def _pins(joins: Sequence[Join]) -> tuple[dict[str, list[int]], dict[str, list[int]]]:
    """For each block, its joins from the top: those that come in, those that go out."""
    coming: dict[str, list[int]] = defaultdict(list)
    going: dict[str, list[int]] = defaultdict(list)
    for number, join in enumerate(joins):
        going[join.start].append(number)
        coming[join.end].append(number)
    return coming, going


def _texts(block: Block) -> tuple[tuple[str, ...], tuple[str, ...]]:
    title = wrapped(block.title, TITLE_MM, BLOCK_MM, bold=True)
    return title, tuple(part for line in block.lines for part in wrapped(line, TEXT_MM, BLOCK_MM))


def _cell(block: Block, coming: Sequence[float], going: Sequence[float]) -> Cell:
    """``coming`` and ``going`` are the heights that the labels on its two sides take."""
    title, small = _texts(block)
    words = [width_mm(line, TITLE_MM, bold=True) for line in title] + [width_mm(line, TEXT_MM) for line in small]
    written = LEADING * (len(title) * TITLE_MM + len(small) * TEXT_MM) + 2.0 * PAD_MM
    height = max(written, *(max(side, default=0.0) * len(side) for side in (coming, going)))
    left, right = (tuple((k - (len(side) - 1) / 2.0) * max(side) for k in range(len(side))) for side in (coming, going))
    return Cell(max(words, default=0.0) + 2.0 * PAD_MM, height / 2.0, height / 2.0, left, right)


def _label(join: Join) -> list[str]:
    return [part for line in join.label.splitlines() for part in wrapped(line, TEXT_MM, LABEL_MM)]


def _label_cell(join: Join) -> Cell:
    lines = _label(join)
    above = 1.2 + len(lines) * TEXT_MM * LEADING if lines else 1.0
    return Cell(max((width_mm(line, TEXT_MM) for line in lines), default=0.0) + 2.0, above, 1.2)


def _draw(block: Block, cell: Cell, x: float, y: float) -> tuple[list[Item], Symbol]:
    box = Box(x, y - cell.above_mm, x + cell.width_mm, y + cell.below_mm)
    corners = ((box.left, box.top), (box.right, box.top), (box.right, box.bottom), (box.left, box.bottom))
    items: list[Item] = [Line(corners, "block", closed=True)]
    title, small = _texts(block)
    middle = x + cell.width_mm / 2.0
    top = y - LEADING * (len(title) * TITLE_MM + len(small) * TEXT_MM) / 2.0
    for lines, size, bold in ((title, TITLE_MM, True), (small, TEXT_MM, False)):
        for line in lines:
            items.append(Text((middle, top + size * (ASCENT + 0.1)), line, size, "middle", bold))
            top += size * LEADING
    for pin in cell.left:
        tip = (x, y + pin)
        wings = [(x - ARROW_MM, y + pin + side * ARROW_MM / 3.0) for side in (1.0, -1.0)]
        items.append(Line((tip, *wings), "dot", closed=True))
    pins = [Pin(f"in {k}", (x, y + pin)) for k, pin in enumerate(cell.left)]
    pins += [Pin(f"out {k}", (box.right, y + pin)) for k, pin in enumerate(cell.right)]
    return items, Symbol("block", block.name, box, tuple(pins))


def _draw_join(join: Join, cell: Cell, x: float, y: float) -> tuple[list[Item], Symbol]:
    right = x + cell.width_mm
    items: list[Item] = [Line(((x, y), (right, y)), "wire")]
    lines = _label(join)
    for k, line in enumerate(reversed(lines)):
        items.append(Text(((x + right) / 2.0, y - 1.4 - k * TEXT_MM * LEADING), line, TEXT_MM, "middle"))
    box = Box(x, y - cell.above_mm, right, y + cell.below_mm)
    pins = (Pin("start", (x, y)), Pin("end", (right, y)))
    return items, Symbol("join", f"{join.start} to {join.end}", box, pins)


def _paper(width_mm: float, height_mm: float) -> tuple[float, float]:
    """The smallest lying sheet from A3 up that holds so much; beyond A0, a sheet of its own size."""
    for name in ("A3", "A2", "A1", "A0"):
        short, long = PAGES_MM[name]
        if width_mm <= long and height_mm <= short:
            return long, short
    return max(width_mm, PAGES_MM["A0"][1]), max(height_mm, PAGES_MM["A0"][0])
