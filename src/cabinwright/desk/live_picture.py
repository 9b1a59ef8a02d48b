"""The live view's curves as panels of series: for a screen that draws them many times a second, and as a chart to take away."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cabinwright.drawings.chart import INKS, Axis, Chart, Line, Spread
from cabinwright.measure.live import Frame, Running

__all__ = [
    "Panel",
    "Picture",
    "Series",
    "average_panel",
    "chart_of",
    "level_unit",
    "lines_panel",
    "thirds_panel",
    "transfer_panels",
]  # fmt: skip

Real = NDArray[np.float64]
FROZEN = ("before", "filters", "stem third")  #: inks of what was kept, the oldest first
SPAN_DB, ROOM_DB = 70.0, 25.0  #: of a panel of levels, and how far below its top the loudest may lie
TRANSFER_DB = 42.0
NOTHING_DB = -200.0


@dataclass(frozen=True)
class Series:
    """One curve over the x values of its panel."""

    name: str
    ink: str  #: key of ``INKS``
    kind: str  #: "steps" (filled, one a band), "stairs" (unfilled) or "line"
    y: Real
    low: Real | None = None  #: ends of what it may be off by, where that is known
    high: Real | None = None


@dataclass(frozen=True)
class Panel:
    """Curves above one frequency axis."""

    label: str
    low: float
    high: float
    step: float
    x: Real
    series: tuple[Series, ...]
    height: float = 1.0  #: share of the picture

    def with_more(self, *more: Series) -> Panel:
        """With further curves on top."""
        return replace(self, series=(*self.series, *more))


@dataclass(frozen=True)
class Picture:
    """One frame as a screen shows it."""

    frame: Frame
    running: Running
    panels: tuple[Panel, ...]
    noise_db: float

    def plain(self, number: int) -> dict[str, Any]:
        """Plain numbers for the browser, a tenth of a decibel fine."""
        frame, running = self.frame, self.running
        return {
            "number": number,
            "at": running.heard_at_s,
            "on": running.on,
            "remark": running.remark,
            "noise": running.noise,
            "lost": running.lost,
            "clipped": running.clipped,
            "peak": _number(frame.peak_db),
            "unit": level_unit(running.calibrated),
            "levels": {name: _number(value) for name, value in frame.levels_db.items()},
            "seconds": round(frame.mean_time_s, 1),
            "told": told(frame),
            "panels": [
                {
                    "label": panel.label, "low": panel.low, "high": panel.high, "step": panel.step,
                    "height": panel.height, "x": [float(f"{value:.5g}") for value in panel.x],
                    "series": [
                        {
                            "name": item.name, "ink": item.ink, "kind": item.kind, "y": _numbers(item.y),
                            "lo": _numbers(item.low), "hi": _numbers(item.high),
                        }
                        for item in panel.series
                    ],
                }
                for panel in self.panels
            ],
        }  # fmt: skip


def level_unit(calibrated: bool) -> str:
    """What levels count from."""
    return "dB" if calibrated else "dBFS"


def told(frame: Frame) -> str:
    """How sure it is, in one line."""
    words = []
    if frame.average is not None and frame.average_low_db is not None and frame.average_high_db is not None:
        middle = slice(10, 27)  # 200 Hz to 8 kHz
        off = max(-float(frame.average_low_db[middle].min()), float(frame.average_high_db[middle].max()))
        sure = f"±{off:.1f} dB" if math.isfinite(off) else "too short yet"
        least = float(frame.average.independent[middle].min())
        words.append(
            f"moved for {frame.average.time_s:.0f} s, at least {least:.0f} independent averages, {sure} (95 %)"
        )
    if frame.transfer is not None:
        at = frame.transfer
        words.append(f"delay {1e3 * at.delay_s:.2f} ms taken out, {at.independent:.1f} independent averages")
    return "; ".join(words)


def _number(value: float) -> float | None:
    return round(value, 1) if math.isfinite(value) else None


def _numbers(values: Real | None) -> list[float | None] | None:
    if values is None:
        return None
    rounded = np.round(values, 2)
    return [float(value) if math.isfinite(value) else None for value in rounded]


def _top(name: str, loudest: float, tops: dict[str, float], *, step: float = 10.0) -> float:
    """The panel's upper end: moved only when the loudest leaves it, so that curves do not dance."""
    if not math.isfinite(loudest) or loudest < NOTHING_DB:
        return tops.get(name, 0.0)
    top = tops.get(name)
    if top is None or not top - ROOM_DB < loudest < top - 5.0:
        tops[name] = step * math.ceil((loudest + 8.0) / step)
    return tops[name]


def thirds_panel(frame: Frame, frozen: Sequence[tuple[str, Frame]], calibrated: bool, tops: dict[str, float]) -> Panel:
    """Third octaves now and frozen."""
    top = _top("thirds", float(frame.thirds_db.max()), tops)
    series = [Series("now", "after", "steps", frame.thirds_db)]
    series += [Series(name, ink, "stairs", item.thirds_db) for (name, item), ink in zip(frozen, FROZEN, strict=False)]
    return Panel(f"third octaves, {level_unit(calibrated)}", top - SPAN_DB, top, 10.0, frame.centres_hz, tuple(series))


def average_panel(frame: Frame) -> Series:
    """The moved microphone's average with its interval."""
    assert frame.average_db is not None and frame.average_low_db is not None and frame.average_high_db is not None
    level = frame.average_db
    with np.errstate(invalid="ignore"):  # silence has no level, and too short an average no interval
        ends = level + frame.average_low_db, level + frame.average_high_db
    return Series("moved microphone, 95 %", "stem first", "line", level, *ends)


def lines_panel(frame: Frame, frozen: Sequence[tuple[str, Frame]], calibrated: bool, tops: dict[str, float]) -> Panel:
    """Narrow-band spectrum now and frozen."""
    top = _top("lines", float(frame.narrow_db.max()), tops)
    series = [Series("now", "after", "line", frame.narrow_db)]
    series += [Series(name, ink, "line", item.narrow_db) for (name, item), ink in zip(frozen, FROZEN, strict=False)]
    return Panel(f"lines, {level_unit(calibrated)}", top - SPAN_DB - 20.0, top, 10.0, frame.narrow_hz, tuple(series))


def transfer_panels(frame: Frame, frozen: Sequence[tuple[str, Frame]], tops: dict[str, float]) -> tuple[Panel, ...]:
    """Level, phase and coherence from the reference to the microphone; nothing without a reference."""
    now = frame.transfer
    if now is None:
        return ()
    with np.errstate(invalid="ignore"):
        loudest = float(np.nanpercentile(now.level_db, 98)) if np.isfinite(now.level_db).any() else math.nan
    top = _top("transfer", loudest, tops, step=6.0)
    pairs = [("now", "after", now)]
    pairs += [
        (name, ink, item.transfer)
        for (name, item), ink in zip(frozen, FROZEN, strict=False)
        if item.transfer is not None
    ]
    level = [
        Series(name, ink, "line", item.level_db, *((item.level_db - item.error_db, item.level_db + item.error_db)
        if name == "now" else ()))
        for name, ink, item in pairs
    ]  # fmt: skip
    phase = [Series(name, ink, "line", item.phase_deg) for name, ink, item in pairs]
    alike = [Series(name, ink, "line", item.coherence) for name, ink, item in pairs]
    x = now.frequency_hz
    return (
        Panel("level, dB", top - TRANSFER_DB, top, 6.0, x, tuple(level), 0.5),
        Panel("phase, degrees", -180.0, 180.0, 90.0, x, tuple(phase), 0.25),
        Panel("coherence", 0.0, 1.0, 0.5, x, tuple(alike), 0.25),
    )


def chart_of(panel: Panel, says: str) -> Chart:
    """One panel as a chart, for SVG and CSV."""
    lines = tuple(Line(panel.x, item.y, item.name, item.ink) for item in panel.series)
    spreads = tuple(
        Spread(panel.x, item.low, item.high, f"{item.name}, range", item.ink)
        for item in panel.series
        if item.low is not None and item.high is not None
    )
    y = Axis(panel.label, panel.low, panel.high, step=panel.step)
    return Chart(says, Axis.frequency(), y, lines=lines, spreads=spreads)


def inks() -> Mapping[str, dict[str, Any]]:
    """Colour, dash and width of every ink, as the documents have them."""
    return {name: {"dash": list(ink.dash), "width": ink.width_pt, "colour": ink.colour} for name, ink in INKS.items()}
