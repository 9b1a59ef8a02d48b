"""The charts of the report: which curves stand in which, on which axes. Drawn by ``drawings``."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cabinwright.drawings.chart import Axis, Chart, Line, Mark, Shade, Spread, stacked
from cabinwright.stages.layout.meets import Met
from cabinwright.stages.tuning.result import ChannelCurves, SumCurves, TuningResult

__all__ = [
    "arrival_chart",
    "channel_chart",
    "impulse_chart",
    "level_difference_chart",
    "met_arrivals_chart",
    "met_levels_chart",
    "reference_db",
    "step_chart",
    "sum_chart",
    "tunes_chart",
]

Array = NDArray[np.float64]
WIDE_MM, HALF_MM = 180.0, 88.0
STEP_DB, RANGE_DB = 6.0, 36.0
ROW_MM = 8.5
TELLING_HZ = 700.0  #: below, a reflection moves the arrival of a band more than the ear makes of it
LATE_SCALES_US = ((100.0, 50.0), (300.0, 100.0), (600.0, 200.0), (1500.0, 500.0))  #: reach and step of the axis


def reference_db(result: TuningResult) -> float:
    """Level that charts call 0 dB: the house curve of the whole around 1 kHz (recordings have no absolute level)."""
    curves = list(result.sums.values())
    if not curves:
        return 0.0
    near = (result.band_centres_hz > 500.0) & (result.band_centres_hz < 2000.0)
    target = curves[-1].target_db
    chosen = target[near] if near.any() else target
    chosen = chosen[np.isfinite(chosen)]
    return float(chosen.mean()) if len(chosen) else 0.0


def sum_chart(result: TuningResult, curves: SumCurves, *, wide: bool) -> Chart:
    """One sum against the house curve, before and after, with the spread over the positions."""
    zero, x = reference_db(result), result.band_centres_hz
    low, high = _spread(curves.after_positions_db)
    lines = [Line(x, curves.target_db - zero, "house curve", "target")]
    lines += [Line(x, curves.before_db - zero, "by tape alone", "before")]
    lines += [Line(x, curves.after_db - zero, "with these settings", "after")]
    spreads = (Spread(x, low - zero, high - zero, "from place to place", "after"),) if len(low) else ()
    every = [item for name in result.sums for item in (result.sums[name].target_db, result.sums[name].after_db)]
    return Chart(
        f"Level of the {curves.name} against frequency: house curve, before and with these settings.",
        _frequency(x),
        _levels("level, dB", every, zero),
        lines=tuple(lines),
        spreads=spreads,
        width_mm=WIDE_MM if wide else HALF_MM,
        height_mm=74.0 if wide else 58.0,
    )


def tunes_chart(x: Array, curves: SumCurves, *, one: str, other: str) -> Chart:
    """One sum with two tunes on the same recordings, at one level, against the house curve."""
    near = (x > 500.0) & (x < 2000.0) & np.isfinite(curves.target_db)
    zero = float(curves.target_db[near].mean()) if near.any() else 0.0
    return Chart(
        f"Level of the {curves.name} against frequency: house curve, {one} and {other}.",
        _frequency(x),
        _levels("level, dB", [curves.target_db, curves.after_db, curves.before_db], zero),
        lines=(
            Line(x, curves.target_db - zero, "house curve", "target"),
            Line(x, curves.before_db - zero, one, "right"),
            Line(x, curves.after_db - zero, other, "left"),
        ),
        width_mm=WIDE_MM,
        height_mm=74.0,
    )


def channel_chart(result: TuningResult, curves: ChannelCurves) -> Chart:
    """One channel: as recorded, its filters, and both together. The gain is taken out of the filters and put into the
    recording, so that a filter which does nothing lies on 0 dB and the three curves still add up."""
    zero, x = reference_db(result), result.band_centres_hz
    gain = result.settings.channel(curves.name).gain_db
    axis = _frequency(x)
    every = [item.after_db for item in result.channels.values()]
    low, high = axis.low, axis.high
    shades = [Shade(low, min(curves.low_limit_hz, high))] if curves.low_limit_hz > low else []
    shades += [Shade(max(curves.high_limit_hz, low), high)] if curves.high_limit_hz < high else []
    return Chart(
        f"Level of {curves.name} against frequency: as recorded, its filters, and with them. "
        f"Safe range {curves.low_limit_hz:.0f} to {curves.high_limit_hz:.0f} Hz.",
        axis,
        _levels("level, dB", every, zero, least=6.0),
        lines=(
            Line(x, curves.raw_db + gain - zero, "as recorded, at this gain", "raw"),
            Line(x, curves.filters_db - gain, "filters alone", "filters"),
            Line(x, curves.after_db - zero, "with these settings", "after"),
        ),
        shades=tuple(shades),
        width_mm=HALF_MM,
        height_mm=54.0,
    )


def level_difference_chart(result: TuningResult) -> Chart:
    """Left minus right in level."""
    x = result.band_centres_hz
    lines = [Line(x, result.side_level_difference_db, "with these settings", "after")]
    if result.side_level_difference_before_db is not None:
        lines.insert(0, Line(x, result.side_level_difference_before_db, "by tape alone", "before"))
    return Chart(
        "Level of the left side minus the right side against frequency.",
        _frequency(x),
        Axis("left minus right, dB", -12.0, 12.0, step=4.0),
        lines=tuple(lines),
        marks=(Mark(0.0, "y"),),
        width_mm=HALF_MM,
        height_mm=52.0,
    )


def arrival_chart(result: TuningResult) -> Chart:
    """Left minus right in arrival."""
    late_us = result.side_arrival_difference_s * 1e6
    telling = np.abs(late_us[np.isfinite(late_us) & (result.band_centres_hz > TELLING_HZ)])
    most = float(np.percentile(telling, 95.0)) if len(telling) else 0.0
    reach, step = next((scale for scale in LATE_SCALES_US if most < scale[0]), LATE_SCALES_US[-1])
    return Chart(
        "Arrival of the left side minus the right side against frequency, in microseconds.",
        _frequency(result.band_centres_hz),
        Axis("left later by, µs", -reach, reach, step=step),
        lines=(Line(result.band_centres_hz, late_us, "with these settings", "after"),),
        marks=(Mark(0.0, "y"),),
        width_mm=HALF_MM,
        height_mm=52.0,
    )


def impulse_chart(result: TuningResult) -> Chart:
    """Every channel's impulse response around the aligned arrival."""
    return _traces(result, "impulse responses", before_ms=1.0, after_ms=5.0, step=False)


def step_chart(result: TuningResult) -> Chart:
    """Every channel's step response around the aligned arrival."""
    return _traces(result, "step responses", before_ms=2.0, after_ms=14.0, step=True)


def _traces(result: TuningResult, what: str, *, before_ms: float, after_ms: float, step: bool) -> Chart:
    traces: dict[str, Array] = {
        _short(name): np.cumsum(curves.impulse) if step else curves.impulse for name, curves in result.channels.items()
    }
    size = max((len(trace) for trace in traces.values()), default=0)
    traces = {name: np.pad(trace, (0, size - len(trace))) for name, trace in traces.items()}
    time_ms = (result.impulse_start_s + np.arange(size) / result.impulse_rate_hz) * 1e3
    low = max(-before_ms, float(time_ms[0])) if size else -before_ms
    high = min(after_ms, float(time_ms[-1])) if size else after_ms
    return stacked(
        time_ms,
        traces,
        x=Axis("time after the aligned arrival, ms", low, high, step=1.0 if high - low < 9.0 else 2.0),
        says=f"The {what} of all channels above one another; the vertical line is the aligned arrival.",
        height_mm=14.0 + ROW_MM * len(traces),
    )


def _short(name: str, most: int = 22) -> str:
    return name if len(name) <= most else name[: most - 1] + "…"


def _spread(positions_db: Array) -> tuple[Array, Array]:
    """Lowest and highest of the recorded positions; empty where there are fewer than two."""
    rows = positions_db[np.isfinite(positions_db).any(axis=1)]
    if len(rows) < 2:
        return np.empty(0), np.empty(0)
    return np.nanmin(rows, axis=0), np.nanmax(rows, axis=0)


def _frequency(x: Array) -> Axis:
    return Axis.frequency(low_hz=min(20.0, float(x[0])), high_hz=max(20_000.0, float(x[-1])))


def _levels(label: str, curves: list[Array], zero: float, *, least: float = -np.inf) -> Axis:
    """One scale for all charts of a kind, from somewhat above the highest curve down to where nothing matters."""
    tops = [float(np.nanmax(curve)) - zero for curve in curves if np.isfinite(curve).any()]
    top = float(np.ceil(max((max(tops, default=0.0) + 2.0), least) / STEP_DB) * STEP_DB)
    return Axis(label, top - RANGE_DB, top, step=STEP_DB)


def met_arrivals_chart(met: tuple[Met, ...]) -> Chart:
    """Envelopes of the first milliseconds, measured over predicted, one row for each channel."""
    lines, ticks = [], []
    for row, item in enumerate(met):
        level = float(len(met) - 1 - row)
        ticks.append((level, item.channel))
        top = 0.85 / max(float(item.measured.max()), float(item.predicted.max()), 1.0)
        first = row == 0
        x = 1000.0 * item.time_s
        lines.append(Line(x, level + top * item.measured, "measured" if first else "", "after"))
        lines.append(Line(x, level + top * item.predicted, "predicted by rays" if first else "", "right"))
    end = 1000.0 * float(met[0].time_s[-1])
    return Chart(
        "Envelope of the first milliseconds of each channel, measured and predicted.",
        Axis("after the direct sound, ms", -1.0, end, 1.0),
        Axis("", -0.2, len(met) - 0.05, ticks=tuple(ticks)),
        lines=tuple(lines),
        marks=(Mark(0.0, "x"),),
        height_mm=18.0 + 16.0 * len(met),
    )


def met_levels_chart(item: Met) -> Chart:
    """Third-octave levels of the first 10 ms of one channel, mean level free."""
    return Chart(
        f"{item.channel}: third-octave levels of the first 10 ms, measured and predicted.",
        Axis.frequency(low_hz=500.0, high_hz=8000.0),
        Axis("level, dB", -18.0, 12.0, 6.0),
        lines=(
            Line(item.band_hz, item.measured_db, "measured", "after"),
            Line(item.band_hz, item.predicted_db, "predicted by rays", "right"),
        ),
        width_mm=HALF_MM,
        height_mm=50.0,
    )
