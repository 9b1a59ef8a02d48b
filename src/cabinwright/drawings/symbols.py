"""Symbols of wiring after IEC 60617, lying along a line from left to right. Each is drawn here; lengths in millimetres.

The line enters at the left edge and leaves at the right edge, at height 0. The numbers are those of the standard's database.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from cabinwright.drawings.diagram import Circle, Item, Line, Text, moved

__all__ = ["SYMBOLS", "Glyph", "frame", "glyph"]

LETTER_MM = 3.1


@dataclass(frozen=True)
class Glyph:
    """A symbol: its strokes from x = 0 to ``width_mm``, and how far it reaches above and below the line."""

    items: tuple[Item, ...]
    width_mm: float
    above_mm: float
    below_mm: float

    def at(self, x_mm: float, y_mm: float) -> list[Item]:
        """The strokes with the left end of the line there."""
        return moved(self.items, x_mm, y_mm)


def glyph(kind: str) -> Glyph:
    """The symbol of this kind, a key of ``SYMBOLS``."""
    return SYMBOLS[kind][0]()


def _line(*points: tuple[float, float], style: str = "symbol") -> Line:
    return Line(points, style)


def _fuse() -> Glyph:
    """S00362."""
    body = Line(((2.0, -1.8), (12.0, -1.8), (12.0, 1.8), (2.0, 1.8)), "symbol", closed=True)
    return Glyph((body, _line((0.0, 0.0), (14.0, 0.0))), 14.0, 2.0, 2.0)


def _make_contact() -> Glyph:
    """S00227."""
    leads = (_line((0.0, 0.0), (3.5, 0.0)), _line((10.0, 0.0), (13.5, 0.0)))
    return Glyph((*leads, _line((3.5, 0.0), (9.8, -3.2))), 13.5, 3.6, 0.6)


def _break_contact() -> Glyph:
    """S00229."""
    leads = (_line((0.0, 0.0), (3.5, 0.0)), _line((10.0, 0.0), (13.5, 0.0)))
    return Glyph((*leads, _line((10.0, 0.0), (10.0, -2.8)), _line((3.5, 0.0), (11.0, -2.6))), 13.5, 3.6, 0.6)


def _coil() -> Glyph:
    """S00305."""
    body = Line(((4.0, -4.0), (9.0, -4.0), (9.0, 4.0), (4.0, 4.0)), "symbol", closed=True)
    return Glyph((body, _line((0.0, 0.0), (4.0, 0.0)), _line((9.0, 0.0), (13.0, 0.0))), 13.0, 4.3, 4.3)


def _battery() -> Glyph:
    """S00898, cells in a row; its plus, the longer plate, is on the right."""
    plates: list[Item] = []
    for x in (4.0, 9.0):
        plates += [_line((x, -1.8), (x, 1.8), style="symbol heavy"), _line((x + 1.8, -3.8), (x + 1.8, 3.8))]
    leads = (_line((0.0, 0.0), (4.0, 0.0)), _line((10.8, 0.0), (15.0, 0.0)))
    between = _line((5.8, 0.0), (9.0, 0.0))
    signs = (Text((0.4, -1.2), "−", LETTER_MM), Text((12.0, -1.2), "+", LETTER_MM))
    return Glyph((*plates, *leads, between, *signs), 15.0, 4.0, 4.0)


def _generator() -> Glyph:
    """S00819 with the sign of direct current."""
    leads = (_line((0.0, 0.0), (2.5, 0.0)), _line((12.5, 0.0), (15.0, 0.0)))
    strokes = (((5.8, 2.1), (9.2, 2.1)), *(((x, 3.0), (x + 0.9, 3.0)) for x in (5.8, 7.05, 8.3)))
    sign = tuple(_line(*ends, style="symbol thin") for ends in strokes)
    letter = Text((7.5, 1.0), "G", 3.6, "middle")
    return Glyph((Circle((7.5, 0.0), 5.0), *leads, letter, *sign), 15.0, 5.2, 5.2)


def _lamp() -> Glyph:
    """S00965."""
    reach = 3.5 * 0.7071
    cross = (
        _line((6.5 - reach, -reach), (6.5 + reach, reach)),
        _line((6.5 - reach, reach), (6.5 + reach, -reach)),
    )
    leads = (_line((0.0, 0.0), (3.0, 0.0)), _line((10.0, 0.0), (13.0, 0.0)))
    return Glyph((Circle((6.5, 0.0), 3.5), *cross, *leads), 13.0, 3.8, 3.8)


def _amplifier() -> Glyph:
    """S01239."""
    body = Line(((3.0, -3.2), (9.0, 0.0), (3.0, 3.2)), "symbol", closed=True)
    return Glyph((body, _line((0.0, 0.0), (3.0, 0.0)), _line((9.0, 0.0), (12.0, 0.0))), 12.0, 3.4, 3.4)


def _load() -> Glyph:
    """A load of another kind: a block (S00059)."""
    body = Line(((2.0, -3.0), (11.0, -3.0), (11.0, 3.0), (2.0, 3.0)), "block", closed=True)
    return Glyph((body, _line((0.0, 0.0), (2.0, 0.0)), _line((11.0, 0.0), (13.0, 0.0))), 13.0, 3.2, 3.2)


def frame(*, mirrored: bool = False) -> Glyph:
    """S00204, frame or chassis: the line bends down onto it. ``mirrored`` lies left of what it belongs to."""
    width = 7.0

    def x(value: float) -> float:
        return width - value if mirrored else value

    items: list[Item] = [_line((x(0.0), 0.0), (x(3.5), 0.0), (x(3.5), 2.6)), _line((0.6, 2.6), (6.4, 2.6))]
    items += [_line((start, 2.6), (start - 1.3, 4.6)) for start in (1.9, 4.0, 6.1)]
    return Glyph(tuple(items), width, 0.6, 5.0)


def _terminal() -> Glyph:
    """S00017."""
    leads = (_line((0.0, 0.0), (12.0, 0.0), style="conductor"),)
    return Glyph((*leads, Circle((6.0, 0.0), 1.0, "terminal")), 12.0, 1.2, 1.2)


def _junction() -> Glyph:
    """S00020 and S00019."""
    lines = (_line((0.0, 0.0), (12.0, 0.0), style="conductor"), _line((6.0, 0.0), (6.0, 3.5), style="conductor"))
    return Glyph((*lines, Circle((6.0, 0.0), 0.9, "dot")), 12.0, 1.0, 3.7)


def _crossing() -> Glyph:
    """Lines that cross without a dot are not joined."""
    lines = (_line((0.0, 0.0), (12.0, 0.0), style="conductor"), _line((6.0, -3.2), (6.0, 3.2), style="conductor"))
    return Glyph(lines, 12.0, 3.4, 3.4)


SYMBOLS: dict[str, tuple[Callable[[], Glyph], str]] = {
    "battery": (_battery, "battery"),
    "alternator": (_generator, "alternator"),
    "fuse": (_fuse, "fuse"),
    "contact": (_make_contact, "make contact"),
    "break contact": (_break_contact, "break contact"),
    "coil": (_coil, "relay coil"),
    "lamp": (_lamp, "lamp"),
    "amplifier": (_amplifier, "amplifier"),
    "load": (_load, "other load"),
    "frame": (frame, "chassis"),
    "terminal": (_terminal, "terminal"),
    "junction": (_junction, "joined"),
    "crossing": (_crossing, "not joined"),
}
"""Each symbol with what the legend calls it."""
