"""How much room words take on paper, and where they break.

Measured with DejaVu Sans, which comes with Matplotlib, so that every machine places the same. Nearly every sans-serif
font is narrower: a viewer without DejaVu Sans shows the same drawing with more air, never with words over words.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

__all__ = ["ASCENT", "CAPITAL", "DESCENT", "FONT", "LEADING", "font_folder", "in_font", "width_mm", "wrapped"]

FONT = "DejaVu Sans"
CAPITAL, ASCENT, DESCENT, LEADING = 0.729, 0.78, 0.24, 1.22
"""Height of capitals, of the tallest letter, depth below the base line, and from line to line; in sizes of the font."""
UNKNOWN_EM = 1.0  #: of signs that the font lacks; full width, as for most of them
BREAK_AFTER = " -/_.,:"


def font_folder() -> Path:
    """Folder of the fonts that come with Matplotlib."""
    import matplotlib

    return Path(matplotlib.get_data_path()) / "fonts" / "ttf"


def width_mm(text: str, size_mm: float, *, bold: bool = False) -> float:
    """Width of one line of words."""
    return size_mm * sum(_advance_em(sign, bold) for sign in text)


def in_font(text: str) -> bool:
    """Whether the font has every sign of the text."""
    return all(_font(False).get_char_index(ord(sign)) for sign in set(text) if sign.isprintable())


@lru_cache(maxsize=4096)
def wrapped(text: str, size_mm: float, room_mm: float, *, bold: bool = False) -> tuple[str, ...]:
    """The words in lines no wider than the room, broken at spaces and signs, inside a word only where it must be."""
    lines: list[str] = []
    line = ""
    for piece in _pieces(text, size_mm, room_mm, bold):
        if line and width_mm((line + piece).rstrip(), size_mm, bold=bold) > room_mm:
            lines.append(line.rstrip())
            line = ""
        line += piece.lstrip() if not line else piece
    return (*lines, line.rstrip()) if line.strip() else tuple(lines)


def _pieces(text: str, size_mm: float, room_mm: float, bold: bool) -> Iterator[str]:
    """What a line may be broken between, none wider than the room unless it is one sign."""
    piece = ""
    for sign in re.sub(r"[ \t\r\n]+", " ", text).strip():
        if piece and width_mm((piece + sign).rstrip(), size_mm, bold=bold) > room_mm:
            yield piece
            piece = ""
        piece += sign
        if sign in BREAK_AFTER:
            yield piece
            piece = ""
    if piece:
        yield piece


@cache
def _advance_em(sign: str, bold: bool) -> float:
    font = _font(bold)
    if not font.get_char_index(ord(sign)):
        return UNKNOWN_EM
    return float(font.load_char(ord(sign)).linearHoriAdvance) / 65536.0 / _PIXELS


_PIXELS = 1000


@cache
def _font(bold: bool) -> Any:
    from matplotlib.ft2font import FT2Font

    font = FT2Font(str(font_folder() / ("DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf")))
    font.set_size(_PIXELS, 72)
    return font
