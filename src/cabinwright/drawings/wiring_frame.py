"""Border, zones, legend, cautions and title block of a wiring diagram on A3, lying (border and zones after ISO 5457)."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from cabinwright.drawings.diagram import Box, Item, Line, Text
from cabinwright.drawings.diagram_text import CAPITAL, LEADING, width_mm, wrapped
from cabinwright.drawings.symbols import SYMBOLS, glyph

__all__ = ["AREA", "CAUTIONS", "PAPER", "Titles", "frame_items", "zone"]

PAPER = Box(0.0, 0.0, 420.0, 297.0)
BORDER = Box(20.0, 10.0, 410.0, 287.0)  #: 20 mm on the left for filing, 10 mm elsewhere
FOOT_MM = 46.0
AREA = Box(BORDER.left + 3.0, BORDER.top + 3.0, BORDER.right - 3.0, BORDER.bottom - FOOT_MM - 3.0)
"""What the diagram itself may fill."""
FIELDS = (8, 6)  #: zones across and down
LEGEND_MM, CAUTIONS_MM = 180.0, 118.0
TEXT_MM, TITLE_MM, TITLE_LINES = 3.1, 3.8, 4
LINE_MM = TEXT_MM * LEADING
PAD_MM = 2.5
LEGEND_COLUMNS, SAMPLE_MM = 4, 15.0
ALWAYS = ("frame", "terminal", "junction", "crossing")

CAUTIONS = (
    "High direct current burns and starts fires: battery minus off while wiring, main fuse in last.",
    "Batteries give off explosive gas; lithium ones burn when abused.",
    "Never probe, cut or tap airbag wiring.",
    "Currents are peaks that were worked out, not measured; contacts are drawn at rest.",
    "The makers' instructions, local codes and licensed practice go before this drawing.",
)


@dataclass(frozen=True, slots=True)
class Titles:
    """What stands in the title block."""

    title: str
    subject: str  #: what is drawn
    notes: tuple[str, ...] = ()  #: further lines


def zone(x_mm: float, y_mm: float) -> str:
    """The field of the border that a point of the sheet is in: a letter from the top, a number from the left."""
    across = (x_mm - BORDER.left) / (BORDER.right - BORDER.left) * FIELDS[0]
    down = (y_mm - BORDER.top) / (BORDER.bottom - BORDER.top) * FIELDS[1]
    return f"{'ABCDEF'[min(max(int(down), 0), FIELDS[1] - 1)]}{min(max(int(across), 0), FIELDS[0] - 1) + 1}"


def frame_items(titles: Titles, number: int, count: int, kinds: Sequence[str]) -> list[Item]:
    """Everything on a sheet but the diagram; ``kinds`` are those of its parts, for the legend."""
    top = BORDER.bottom - FOOT_MM
    split = BORDER.left + LEGEND_MM, BORDER.left + LEGEND_MM + CAUTIONS_MM
    rules = [((BORDER.left, top), (BORDER.right, top)), *(((x, top), (x, BORDER.bottom)) for x in split)]
    return [
        *_border(),
        *(Line(rule, "frame") for rule in rules),
        *_legend(top, kinds),
        *_cautions(split[0], top),
        *_title(titles, number, count, split[1], top),
    ]


def _border() -> Iterator[Item]:
    left, top, right, bottom = BORDER.left, BORDER.top, BORDER.right, BORDER.bottom
    yield Line(((left, top), (right, top), (right, bottom), (left, bottom)), "frame", closed=True)
    depth = 5.0
    for k in range(FIELDS[0]):
        x, step = left + (right - left) * k / FIELDS[0], (right - left) / FIELDS[0]
        for edge, out in ((top, -depth), (bottom, depth)):
            if k:
                yield Line(((x, edge), (x, edge + out)), "rule")
            yield _letter(str(k + 1), x + step / 2.0, edge + out / 2.0)
    for k in range(FIELDS[1]):
        y, step = top + (bottom - top) * k / FIELDS[1], (bottom - top) / FIELDS[1]
        for edge, out in ((left, -depth), (right, depth)):
            if k:
                yield Line(((edge, y), (edge + out, y)), "rule")
            yield _letter("ABCDEF"[k], edge + out / 2.0, y + step / 2.0)


def _letter(text: str, x: float, y: float) -> Text:
    return Text((x, y + CAPITAL * TEXT_MM / 2.0), text, TEXT_MM, "middle")


def _legend(top: float, kinds: Sequence[str]) -> Iterator[Item]:
    shown = [kind for kind in SYMBOLS if kind in kinds or kind in ALWAYS]
    column = LEGEND_MM / LEGEND_COLUMNS
    rows = -(-len(shown) // LEGEND_COLUMNS)
    pitch = (FOOT_MM - 2.0) / rows
    for index, kind in enumerate(shown):
        x = BORDER.left + PAD_MM + column * (index // rows)
        y = top + 1.0 + pitch * (index % rows + 0.5)
        shape = glyph(kind)
        at = x + (SAMPLE_MM - shape.width_mm) / 2.0, y - (shape.below_mm - shape.above_mm) / 2.0
        yield from (_as_legend(item) for item in shape.at(*at))
        yield Text((x + SAMPLE_MM + PAD_MM, y + 1.1), SYMBOLS[kind][1], TEXT_MM)


def _as_legend(item: Item) -> Item:
    """A sample is no conductor of the diagram."""
    if isinstance(item, Line) and item.style == "conductor":
        return Line(item.points, "sample", item.closed)
    return item


def _cautions(left: float, top: float) -> Iterator[Item]:
    y = top + PAD_MM + TEXT_MM
    yield Text((left + PAD_MM, y), "Before you begin", TEXT_MM, bold=True)
    y += LINE_MM + 0.6
    for sentence in CAUTIONS:
        for line in wrapped(sentence, TEXT_MM, CAUTIONS_MM - 2.0 * PAD_MM):
            yield Text((left + PAD_MM, y), line, TEXT_MM)
            y += LINE_MM


def _title(titles: Titles, number: int, count: int, left: float, top: float) -> Iterator[Item]:
    room = BORDER.right - left - 2.0 * PAD_MM
    lines = wrapped(titles.title, TITLE_MM, room, bold=True)
    if len(lines) > TITLE_LINES:  # whoever gives a build a title of a hundred words sees the first of them here
        lines = (*lines[: TITLE_LINES - 1], _cut(lines[TITLE_LINES - 1], room))
    y = top + PAD_MM + TITLE_MM * 0.85
    for line in lines:
        yield Text((left + PAD_MM, y), line, TITLE_MM, bold=True)
        y += TITLE_MM * LEADING
    for note in (titles.subject, *titles.notes):
        for line in wrapped(note, TEXT_MM, room):
            yield Text((left + PAD_MM, y), line, TEXT_MM)
            y += LINE_MM
    y = BORDER.bottom - PAD_MM
    yield Line(((left, y - 5.5), (BORDER.right, y - 5.5)), "rule")
    yield Text((left + PAD_MM, y), "A3, not to scale", TEXT_MM)
    yield Text((BORDER.right - PAD_MM, y), f"sheet {number} of {count}", TEXT_MM, "end", bold=True)


def _cut(line: str, room_mm: float) -> str:
    while line and width_mm(line + "…", TITLE_MM, bold=True) > room_mm:
        line = line[:-1]
    return line + "…"
