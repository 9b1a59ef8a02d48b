"""What a chart holds: lines, spreads and marks on two axes. Plain arrays and words; ``svg`` writes it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["FREQUENCY_TICKS", "INKS", "Axis", "Chart", "Ink", "Line", "Mark", "Shade", "Spread", "stacked", "thinned"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Ink:
    """How a line looks. The dash says the same as the colour, so that neither print nor colour-blindness hides it."""

    colour: str
    dash: tuple[float, ...]  #: lengths of stroke and gap in points; empty for a solid line
    width_pt: float


INKS: dict[str, Ink] = {
    "target": Ink("#1f2a33", (0.9, 1.7), 1.7),
    "before": Ink("#68747d", (5.0, 2.4), 1.3),
    "after": Ink("#0a5f73", (), 2.0),
    "left": Ink("#0a5f73", (), 1.7),
    "right": Ink("#a84a08", (6.0, 2.0), 1.7),
    "raw": Ink("#68747d", (5.0, 2.4), 1.1),
    "filters": Ink("#a84a08", (1.2, 1.6), 1.5),
    "trace": Ink("#0a5f73", (), 1.0),
    "trace alternate": Ink("#a84a08", (), 1.0),
    "stem first": Ink("#a84a08", (), 2.2),
    "stem second": Ink("#68747d", (), 1.2),
    "stem third": Ink("#1f2a33", (), 0.6),
}
"""Every colour has a contrast of at least 4.5 to 1 on white and differs from its neighbours in lightness, dash or, where
dashes would break up short stems, width."""

PAPER, INK, GRID, SHADE = "#ffffff", "#1f2a33", "#dfe4e7", "#eceff1"

FREQUENCY_TICKS = (20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000)


@dataclass(frozen=True, slots=True)
class Axis:
    """One axis. ``ticks`` are values with their labels; empty: chosen from ``step``."""

    label: str
    low: float
    high: float
    step: float = 0.0
    logarithmic: bool = False
    ticks: tuple[tuple[float, str], ...] = ()

    @staticmethod
    def frequency(*, low_hz: float = 20.0, high_hz: float = 20_000.0) -> Axis:
        """Logarithmic, labelled as the trade labels it."""
        ticks = tuple(
            (float(f), f"{f // 1000}k" if f >= 1000 else str(f)) for f in FREQUENCY_TICKS if low_hz <= f <= high_hz
        )
        return Axis("frequency, Hz", low_hz, high_hz, logarithmic=True, ticks=ticks)


@dataclass(frozen=True, slots=True)
class Line:
    """One curve; NaN breaks it."""

    x: Array
    y: Array
    label: str  #: in the key that stands beside the chart; empty: not in it
    ink: str  #: key of ``INKS``


@dataclass(frozen=True, slots=True)
class Spread:
    """The range between two curves."""

    x: Array
    low: Array
    high: Array
    label: str
    ink: str


@dataclass(frozen=True, slots=True)
class Shade:
    """A stretch of the x axis that is out of use."""

    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Mark:
    """A thin line across the chart at one value."""

    value: float
    axis: str  #: "x" or "y"


@dataclass(frozen=True, slots=True)
class Chart:
    """One chart. ``says`` is read aloud in place of the drawing: what it shows and what to see in it."""

    says: str
    x: Axis
    y: Axis
    lines: tuple[Line, ...] = ()
    spreads: tuple[Spread, ...] = ()
    shades: tuple[Shade, ...] = ()
    marks: tuple[Mark, ...] = ()
    width_mm: float = 180.0
    height_mm: float = 70.0

    @property
    def key(self) -> tuple[tuple[str, str, bool], ...]:
        """Label, ink and whether it is a spread, for every labelled line and spread."""
        lines = [(line.label, line.ink, False) for line in self.lines if line.label]
        return (*lines, *((spread.label, spread.ink, True) for spread in self.spreads if spread.label))


def thinned(x: Array, y: Array, *, columns: int) -> tuple[Array, Array]:
    """At most ``2 * columns`` points that keep every peak: lowest and highest of each stretch, in their order."""
    size = len(x) // columns
    if size < 3:
        return x, y
    whole = y[: size * columns].reshape(columns, size)
    picks = np.sort(np.stack([whole.argmin(axis=1), whole.argmax(axis=1)]), axis=0)
    at = np.unique((picks + size * np.arange(columns)).ravel())
    at = np.union1d(at, np.arange(size * columns, len(x)))
    return x[at], y[at]


def stacked(
    time: Array, traces: dict[str, Array], *, x: Axis, says: str, columns: int = 420, height_mm: float = 70.0
) -> Chart:
    """Traces of one time axis above one another, each scaled to its own peak and named at its height."""
    lines, ticks = [], []
    inside = (time >= x.low) & (time <= x.high)
    for row, (name, trace) in enumerate(traces.items()):
        peak = float(np.max(np.abs(trace[inside]), initial=0.0)) or 1.0
        at, height = thinned(time[inside], trace[inside] / peak * 0.48, columns=columns)
        level = float(len(traces) - 1 - row)
        ticks.append((level, name))
        lines.append(Line(at, height + level, "", "trace alternate" if row % 2 else "trace"))
    y = Axis("", -0.6, len(traces) - 0.4, ticks=tuple(ticks))
    return Chart(says, x, y, lines=tuple(lines), marks=(Mark(0.0, "x"),), height_mm=height_mm)
