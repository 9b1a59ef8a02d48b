"""What a diagram on paper holds: lines, circles and words in millimetres, y downwards, and what each symbol stands for.

Plain content: ``diagram_svg`` writes it, and a test can read the drawing back from it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

__all__ = [
    "PAGES_MM",
    "STYLES",
    "Box",
    "Circle",
    "Item",
    "Line",
    "Pin",
    "Point",
    "Sheet",
    "Style",
    "Symbol",
    "Text",
    "moved",
]

Point = tuple[float, float]

PAGES_MM: dict[str, tuple[float, float]] = {
    "A4": (210.0, 297.0),
    "A3": (297.0, 420.0),
    "A2": (420.0, 594.0),
    "A1": (594.0, 841.0),
    "A0": (841.0, 1189.0),
    "Letter": (215.9, 279.4),
    "Tabloid": (279.4, 431.8),
}
"""Width and height upright: ISO 216, and ANSI/ASME Y14.1 sizes A and B."""


@dataclass(frozen=True, slots=True)
class Style:
    """How a line or a circle looks. Told apart by width and dash, so that a copy in black and white says the same."""

    stroke: str = "none"
    width_mm: float = 0.0
    dash_mm: tuple[float, ...] = ()
    fill: str = "none"


INK, ACCENT, FAINT = "#1f2a33", "#0a5f73", "#68747d"
STYLES: dict[str, Style] = {
    "conductor": Style(ACCENT, 0.5),
    "wire": Style(ACCENT, 0.5),  # a conductor that is one wire with a name, from pin to pin
    "lead": Style(ACCENT, 0.5),  # the last of it, inside the box of a symbol
    "sample": Style(ACCENT, 0.5),  # the same in a legend
    "symbol": Style(INK, 0.4),
    "symbol open": Style(INK, 0.4, fill="#ffffff"),
    "symbol heavy": Style(INK, 1.2),
    "symbol thin": Style(INK, 0.25),
    "solid": Style(fill=INK),
    "dot": Style(fill=ACCENT),
    "terminal": Style(ACCENT, 0.4, fill="#ffffff"),
    "block": Style(INK, 0.4, fill="#f4f7f8"),
    "frame": Style(INK, 0.5),
    "rule": Style(FAINT, 0.2),
}


@dataclass(frozen=True, slots=True)
class Line:
    """A line through points; ``closed`` joins the last to the first."""

    points: tuple[Point, ...]
    style: str = "symbol"
    closed: bool = False


@dataclass(frozen=True, slots=True)
class Circle:
    """A circle."""

    centre: Point
    radius_mm: float
    style: str = "symbol"


@dataclass(frozen=True, slots=True)
class Text:
    """One line of words; ``at`` is on its base line, ``anchor`` start, middle or end."""

    at: Point
    text: str
    size_mm: float  #: of the font; capitals are 0.73 of it
    anchor: str = "start"
    bold: bool = False
    colour: str = INK


Item = Line | Circle | Text


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle that is kept free for something."""

    left: float
    top: float
    right: float
    bottom: float


@dataclass(frozen=True, slots=True)
class Pin:
    """Where a conductor meets a symbol."""

    name: str
    at: Point


@dataclass(frozen=True, slots=True)
class Symbol:
    """What a part of the drawing stands for. Nothing is drawn for it; ``box`` holds its strokes and its words."""

    kind: str
    name: str
    box: Box
    pins: tuple[Pin, ...] = ()


@dataclass(frozen=True)
class Sheet:
    """One sheet of paper. ``says`` is read aloud in its place. Later items lie over earlier ones."""

    says: str
    width_mm: float
    height_mm: float
    items: tuple[Item, ...] = field(default=())
    symbols: tuple[Symbol, ...] = field(default=())


def moved(items: Iterable[Item], across_mm: float, down_mm: float) -> list[Item]:
    """The same items elsewhere."""

    def at(point: Point) -> Point:
        return point[0] + across_mm, point[1] + down_mm

    def one(item: Item) -> Item:
        if isinstance(item, Line):
            return replace(item, points=tuple(at(point) for point in item.points))
        if isinstance(item, Circle):
            return replace(item, centre=at(item.centre))
        return replace(item, at=at(item.at))

    return [one(item) for item in items]
