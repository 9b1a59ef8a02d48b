"""A drawing to scale: outlines, discs, arrows and words on a plane in metres. Plain content; ``picture_svg`` writes it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

__all__ = ["LOOKS", "Cells", "Disc", "Look", "Picture", "Shape", "Stroke", "Words"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Look:
    """How a shape looks on paper. Dash and width say the same as the colour."""

    stroke: str = "none"
    width_pt: float = 0.0
    dash: tuple[float, ...] = ()  #: points; empty for a solid line
    fill: str = "none"
    opacity: float = 1.0  #: of the fill


LOOKS: dict[str, Look] = {
    "surface": Look("#68747d", 0.8, fill="#eef1f2", opacity=0.55),
    "glass": Look("#4f7f95", 0.8, fill="#d6e7ee", opacity=0.6),
    "seat": Look("#68747d", 0.6, (3.0, 2.0)),
    "place": Look("#0a5f73", 1.6, fill="#ffffff"),
    "place first": Look("#ffffff", 1.0, fill="#0a5f73"),
    "axis": Look("#0a5f73", 1.4),
    "head": Look("#1f2a33", 1.2, fill="#ffffff"),
    "head box": Look("#1f2a33", 0.7, (1.2, 1.6)),
    "direct": Look("#0a5f73", 1.5),
    "ray": Look("#a84a08", 1.2, (4.0, 2.0)),
    "bounce": Look("#a84a08", 0.0, fill="#a84a08"),
    "keep out": Look("#7a1f1f", 1.0, (2.0, 1.4), fill="#7a1f1f", opacity=0.12),
    "hidden": Look("#7a1f1f", 1.0, fill="#7a1f1f", opacity=0.25),
    "pod": Look("#a84a08", 1.2, fill="#a84a08", opacity=0.2),
    "thin": Look("#68747d", 0.6),
    "measure": Look("#1f2a33", 0.7),
    "tape": Look("#0a5f73", 1.1),
    "voice before": Look("#68747d", 1.2, (4.0, 2.0)),
    "voice before dot": Look("#68747d", 1.2, fill="#ffffff"),
    "voice row": Look("#68747d", 0.25),
}
"""Every line has a contrast of at least 3 to 1 on white."""


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line through points (n, 2) in metres; ``closed`` joins the last to the first, ``arrow`` ends it in a point."""

    points: Array
    look: str
    closed: bool = False
    arrow: bool = False


@dataclass(frozen=True, slots=True)
class Disc:
    """A circle of ``radius_m``, never smaller on paper than ``least_mm``."""

    centre: tuple[float, float]
    radius_m: float
    look: str
    least_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Words:
    """A few words beside a point, moved by ``shift_mm`` (right, up); ``anchor`` start, middle or end."""

    at: tuple[float, float]
    text: str
    shift_mm: tuple[float, float] = (0.0, 0.0)
    anchor: str = "middle"
    bold: bool = False
    size_pt: float = 7.5


@dataclass(frozen=True, slots=True)
class Cells:
    """Squares of one size with a value each: a map. NaN leaves a square out; ``steps`` are the limits of its shades."""

    x: Array  #: (n,) centres
    y: Array  #: (m,) centres
    value: Array  #: (m, n)
    steps: tuple[float, ...]


Shape = Stroke | Disc | Words | Cells


@dataclass(frozen=True)
class Picture:
    """One drawing. ``says`` is read aloud in its place. Later shapes lie over earlier ones."""

    says: str
    shapes: tuple[Shape, ...] = field(default=())
    low: tuple[float, float] = (0.0, 0.0)  #: lower left corner of what is shown, m
    high: tuple[float, float] = (1.0, 1.0)  #: upper right corner, m
    width_mm: float = 180.0
    border_mm: float = 4.0
    scale_bar_m: float | None = 0.5

    @property
    def mm_per_m(self) -> float:
        """Scale on paper."""
        return (self.width_mm - 2.0 * self.border_mm) / (self.high[0] - self.low[0])
