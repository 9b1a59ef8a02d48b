"""What a page of the book is made of: plain blocks of words and drawings. The template decides what they look like.

Every text is data. It reaches the template as JSON, so that no name of anybody's is ever read as markup.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from html import unescape
from typing import Any

from cabinwright.drawings.chart import Chart
from cabinwright.drawings.diagram_text import FONT
from cabinwright.drawings.picture import Picture
from cabinwright.drawings.picture_svg import draw
from cabinwright.drawings.svg import render, swatch

__all__ = [
    "Block",
    "Chapter",
    "Section",
    "To",
    "beside",
    "bullets",
    "caution",
    "chart",
    "facts",
    "figure",
    "figures",
    "lead",
    "missing",
    "note",
    "para",
    "picture",
    "sheet",
    "steps",
    "table",
]

Block = dict[str, Any]
FEW_ROWS, LONG_ROW = 9, 900  #: a table of so few rows stays on one page; a row of so many letters may be torn


@dataclass(frozen=True)
class To:
    """A reference to a section or chapter of the book; it becomes its number and a link."""

    key: str


Piece = str | To
Words = Piece | Sequence[Piece]


@dataclass(frozen=True)
class Section:
    """A numbered section of a chapter; ``key`` names it for references, ``title`` may hold anybody's words."""

    key: str
    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True)
class Chapter:
    """A numbered chapter: what stands at its head, then its sections."""

    key: str
    title: str
    blocks: tuple[Block, ...] = ()
    sections: tuple[Section, ...] = field(default=())


def _pieces(words: Words) -> list[Any]:
    """Words as the template takes them: strings, and references as tables."""
    row: Sequence[Piece] = (words,) if isinstance(words, str | To) else words
    return [{"to": piece.key} if isinstance(piece, To) else str(piece) for piece in row]


def para(*words: Piece) -> Block:
    """A paragraph."""
    return {"kind": "para", "words": _pieces(words)}


def lead(*words: Piece) -> Block:
    """The sentence that a chapter opens with."""
    return {"kind": "lead", "words": _pieces(words)}


def note(*words: Piece) -> Block:
    """A remark in small type: how far a figure holds."""
    return {"kind": "note", "words": _pieces(words)}


def missing(what: str) -> Block:
    """The one line of a chapter or section that has nothing to say: what it would need."""
    return {"kind": "missing", "words": [what]}


def caution(*lines: Words, severe: bool = False) -> Block:
    """What may hurt somebody or something, beside the figures it is about."""
    return {"kind": "caution", "severe": severe, "lines": [_pieces(line) for line in lines]}


def bullets(lines: Iterable[Words]) -> Block:
    """A list."""
    return {"kind": "bullets", "lines": [_pieces(line) for line in lines]}


def steps(lines: Iterable[Words]) -> Block:
    """What to do, in order."""
    return {"kind": "steps", "lines": [_pieces(line) for line in lines]}


def facts(rows: Iterable[tuple[str, str]]) -> Block:
    """Names and values beside one another; few of them stay on one page."""
    body = [list(row) for row in rows]
    return {"kind": "facts", "rows": body, "whole": _short([[[cell] for cell in row] for row in body])}


def table(
    head: Sequence[str],
    rows: Iterable[Sequence[Words]],
    *,
    widths: Sequence[float | str] | None = None,
    right: Sequence[int] = (),
    wide: bool = True,
    strong: Sequence[int] = (0,),
) -> Block:
    """A table; one of many rows may run over pages, its head repeated, none of its rows torn.

    Args:
        widths: of each column: a number is a share of what is left, ``auto`` as much as its words take.
        right: columns of figures, set flush right.
        wide: over the whole page, or only as wide as running text.
        strong: columns set in bold.
    """
    body = [[_pieces(cell) for cell in row] for row in rows]
    shares = list(widths) if widths else [1.0] * len(head)
    return {
        "kind": "table",
        "head": list(head),
        "rows": body,
        "widths": shares,
        "right": list(right),
        "strong": list(strong),
        "wide": wide,
        "whole": _short(body),
        "firm": all(_letters(row) < LONG_ROW for row in body),
    }


def _short(rows: list[list[Any]]) -> bool:
    """Whether rows of cells of pieces surely find room together on a page."""
    return len(rows) <= FEW_ROWS and sum(map(_letters, rows)) < 150 * FEW_ROWS


def _letters(row: list[Any]) -> int:
    return sum(len(piece) for cell in row for piece in cell if isinstance(piece, str))


def figure(svg: str, caption: str, *, width_mm: float, key: Sequence[tuple[str, str]] = (), says: str = "") -> Block:
    """A drawing with its caption and key. ``says`` is read aloud in its place; empty: what the drawing itself says."""
    spoken = says or _says(svg)
    return {
        "kind": "figure",
        "svg": _own_font(svg),
        "says": spoken,
        "caption": caption,
        "width": width_mm,
        "key": [{"svg": sample, "label": label} for sample, label in key],
    }


def chart(drawing: Chart, caption: str, *, name: str, width_mm: float | None = None) -> Block:
    """A chart with its key; as wide as it was drawn unless said otherwise."""
    samples = [(swatch(ink, spread=spread), label) for label, ink, spread in drawing.key]
    width = drawing.width_mm if width_mm is None else width_mm
    return figure(render(drawing, name=name), caption, width_mm=width, key=samples, says=drawing.says)


def picture(drawing: Picture, caption: str, *, width_mm: float | None = None) -> Block:
    """A picture of shapes to scale."""
    width = drawing.width_mm if width_mm is None else width_mm
    return figure(draw(drawing), caption, width_mm=width, says=drawing.says)


def figures(drawings: Iterable[Block]) -> Block:
    """Narrow drawings, two beside one another."""
    return {"kind": "figures", "figures": list(drawings)}


def beside(left: Block, right: Block) -> Block:
    """Two blocks beside one another, such as facts and the chart that they are about."""
    return {"kind": "beside", "left": left, "right": right}


def sheet(svg: str, caption: str, *, ratio: float) -> Block:
    """A drawing on a page of its own, lying where it is wider than high. ``ratio``: width over height."""
    return {"kind": "sheet", "svg": _own_font(svg), "says": _says(svg), "caption": caption, "lying": ratio > 1.0}


def _says(svg: str) -> str:
    found = re.search(r'aria-label="([^"]*)"', svg[: svg.index(">") + 1])
    return unescape(found[1]) if found else "drawing"


def _own_font(svg: str) -> str:
    """With the family named that the book embeds: on a page it is the page's own, in a PDF there is none to inherit."""
    head, _, body = svg[svg.index("<svg") :].partition(">")
    if "font-family" in head:
        return f"{head}>{body}"
    return f"{head} font-family=\"'{FONT}'\">{body}"
