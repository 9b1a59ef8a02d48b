"""The charts of a box: which curves stand in which."""

from __future__ import annotations

from collections.abc import Iterator
from math import ceil, floor

import numpy as np
from numpy.typing import NDArray

from cabinwright.drawings.chart import Axis, Chart, Line, Mark
from cabinwright.stages.enclosure.result import BoxResult, Search

__all__ = ["box_charts", "trade_off_charts"]

Array = NDArray[np.float64]
WIDE_MM, HALF_MM, HALF_HEIGHT_MM = 180.0, 88.0, 62.0
TICKS = (10, 20, 30, 50, 100, 200, 500)
FREQUENCY = Axis("frequency, Hz", 10.0, 500.0, logarithmic=True, ticks=tuple((float(f), str(f)) for f in TICKS))
LIMIT_INKS = {"thermal": "right", "excursion": "filters", "radiator": "before", "port": "target"}
KIND_INKS = {"sealed": "after", "vented": "stem first", "passive radiator": "stem second"}
LIMIT_WORDS = {
    "thermal": "power the voice coil stands",
    "excursion": "linear travel of the cone",
    "radiator": "travel of the radiator",
    "port": "speed of the port's air",
}
SPAN_DB = 48.0
MILLI = 1e3


def _levels(values: Array) -> Axis:
    """From the loudest down, in steps of 6 dB."""
    top = 6.0 * ceil((float(np.max(values)) + 1.0) / 6.0)
    return Axis("level, dB re 20 µPa", top - SPAN_DB, top, 6.0)


def _from_nought(label: str, values: Array, *, beside: float = 0.0) -> Axis:
    """From 0 to a round figure above the highest, in four to eight steps."""
    top = 1.05 * max(float(np.max(values)), beside, 1e-6)
    size = 10.0 ** floor(np.log10(top))
    step = next(part * size for part in (0.1, 0.2, 0.25, 0.5, 1.0, 2.0) if top / (part * size) <= 8.0)
    if step < 0.1:  # labels carry one decimal
        return Axis(label, 0.0, top, ticks=tuple((k * step, f"{k * step:.3g}") for k in range(ceil(top / step))))
    return Axis(label, 0.0, step * ceil(top / step), step)


def box_charts(name: str, box: BoxResult) -> Iterator[tuple[str, Chart]]:
    """Caption and chart of everything that depends on frequency."""
    curves, f = box.curves, box.curves.frequency_hz
    yield "Level at 1 m", _response(name, box)
    yield "What holds it back", _most(name, box)
    marks = () if "excursion" not in box.limits_db else (Mark(_xmax_mm(box), "y"),)
    lines = [Line(f, curves.excursion_m * MILLI, "cone", "after")]
    if curves.radiator_excursion_m is not None:
        lines.append(Line(f, curves.radiator_excursion_m * MILLI, "radiator", "right"))
    y = _from_nought("peak, mm", np.concatenate([line.y for line in lines]), beside=_xmax_mm(box))
    yield (
        "Excursion",
        _half(
            f"Excursion of {name} at {box.power_w:.0f} W; the thin line is the limit of linear travel.", y, lines, marks
        ),
    )
    impedance = Line(f, curves.impedance_ohm, "impedance", "after")
    yield "Impedance", _half(f"Impedance of {name}.", _from_nought("magnitude, Ω", impedance.y), [impedance])
    delay = Line(f, curves.group_delay_s * MILLI, "group delay", "after")
    yield "Group delay", _half(f"Group delay of {name}.", _from_nought("ms", delay.y), [delay])
    if box.port is not None:
        limit = box.port.limit_m_s
        speed = Line(f, curves.port_velocity_m_s, "air in the port", "after")
        y = _from_nought("peak, m/s", speed.y, beside=limit)
        says = f"Speed of the air in the port of {name}; the thin line is the limit."
        yield "Speed of the port's air", _half(says, y, [speed], (Mark(limit, "y"),))


def _xmax_mm(box: BoxResult) -> float:
    """Back from the limit that was drawn from it; 0 where none is known."""
    if "excursion" not in box.limits_db:
        return 0.0
    room = 10.0 ** ((box.limits_db["excursion"][0] - box.curves.level_db[0]) / 20.0)
    return float(room * box.curves.excursion_m[0] * MILLI)


def _half(says: str, y: Axis, lines: list[Line], marks: tuple[Mark, ...] = ()) -> Chart:
    return Chart(says, FREQUENCY, y, tuple(lines), marks=marks, width_mm=HALF_MM, height_mm=HALF_HEIGHT_MM)


def _response(name: str, box: BoxResult) -> Chart:
    curves, f = box.curves, box.curves.frequency_hz
    lines = [
        Line(f, curves.level_db, f"at {box.power_w:.0f} W, were it linear", "after"),
        Line(f, box.max_level_db, "the most it can", "right"),
    ]
    if box.in_car is not None:
        lines.append(Line(box.in_car.frequency_hz, box.in_car.level_db, f"in this car, {box.in_car.seat}", "target"))
    marks = () if box.f3_hz is None else (Mark(box.f3_hz, "x"),)
    y = _levels(np.concatenate([line.y for line in lines]))
    return Chart(f"Level of {name} in half space at 1 m.", FREQUENCY, y, tuple(lines), marks=marks, width_mm=WIDE_MM)


def _most(name: str, box: BoxResult) -> Chart:
    lines = [
        Line(box.curves.frequency_hz, box.limits_db[key], words, LIMIT_INKS[key])
        for key, words in LIMIT_WORDS.items()
        if key in box.limits_db
    ]
    y = _levels(box.max_level_db)
    y = Axis(y.label, y.low, y.high + 6.0, y.step)
    says = f"Level at which each limit of {name} is reached; the lowest rules."
    return Chart(says, FREQUENCY, y, tuple(lines), width_mm=WIDE_MM)


def trade_off_charts(name: str, box: BoxResult) -> Iterator[tuple[str, Chart]]:
    """Reach against loudness and against group delay, of the alignments that none beats in everything."""
    search = box.search
    if search is None or not search.front:
        return
    shown = {
        "Reach and loudness": ("level_db", 1.0, "most level 25 to 80 Hz, dB", False),
        "Reach and group delay": ("group_delay_s", MILLI, "longest, ms", True),
        "Reach and spread of drive units": ("spread_db", 1.0, "± dB", True),
    }
    low, high = (float(edge(search.front["f3_hz"])) for edge in (np.min, np.max))
    x = Axis("half-power frequency, Hz", 5.0 * floor(low / 5.0), 5.0 * ceil(high / 5.0 + 0.1), _step(high - low))
    for caption, (key, factor, label, nought) in shown.items():
        values = search.front[key] * factor
        y = _from_nought(label, values) if nought else _levels_around(label, values)
        lines = tuple(_points(search, values, x, kind) for kind in KIND_INKS)
        says = f"{caption} of every alignment that fits the room of {name} and that none beats in everything."
        yield caption, Chart(says, x, y, lines, width_mm=HALF_MM, height_mm=HALF_HEIGHT_MM)


def _step(span: float) -> float:
    return next(step for step in (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 1000.0) if span / step <= 8.0)


def _levels_around(label: str, values: Array) -> Axis:
    low, high = 3.0 * floor(float(values.min()) / 3.0), 3.0 * ceil(float(values.max()) / 3.0 + 0.1)
    return Axis(label, low, high, max(3.0, 3.0 * _step((high - low) / 3.0)))


def _points(search: Search, values: Array, x: Axis, kind: str) -> Line:
    """Each alignment as a short stroke: charts draw lines."""
    closed, plain = np.isnan(search.front["tuning_hz"]), np.isnan(search.front["radiators"])
    rows = {"sealed": closed, "vented": plain & ~closed, "passive radiator": ~plain}[kind]
    half = 0.008 * (x.high - x.low)
    at, height = search.front["f3_hz"][rows], values[rows]
    xs = np.stack([at - half, at + half, np.full_like(at, np.nan)], axis=1).ravel()
    ys = np.stack([height, height, np.full_like(height, np.nan)], axis=1).ravel()
    return Line(xs, ys, kind, KIND_INKS[kind])
