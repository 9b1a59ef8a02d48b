"""The radio's repair on paper: what each output carries, the sums, and charts of both sides before and after."""

from __future__ import annotations

from typing import Any

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from cabinwright.drawings.chart import Axis, Chart, Line, Mark
from cabinwright.drawings.svg import render, swatch
from cabinwright.handover.wording import decibels, hertz, milliseconds, ratio, signed
from cabinwright.physics.factory import FactoryCapture, FactoryResponses
from cabinwright.physics.filters import Filter
from cabinwright.stages.signal.factory.result import Branch, FactoryResult, OutputFacts

__all__ = ["repair_part", "side_chart"]

NONE = "–"
FLOOR_DB, TOP_DB = -30.0, 9.0


def repair_part(result: FactoryResult, captured: FactoryResponses | None) -> dict[str, Any]:
    """What the page's template shows of it."""
    charts = []
    for side, rows in result.repair.items():
        chart = side_chart(result, captured, side) if captured and rows else None
        if chart is not None:
            key = [(label, Markup(swatch(ink))) for label, ink, _ in chart.key]
            charts.append((side, key, Markup(render(chart, name=f"repair-{side}"))))
    return {
        "refused": result.refused,
        "volume": result.volume,
        "holds": _holds(result),
        "ripple": NONE if result.ripple_db is None else f"±{result.ripple_db:.1f} dB",
        "outputs": [_output(name, row) for name, row in result.outputs.items()],
        "sides": [(side, [_branch(row) for row in rows]) for side, rows in result.repair.items() if rows],
        "charts": charts,
    }


def _holds(result: FactoryResult) -> str:
    if result.holds_to_volume is None:
        return ""
    if result.holds_from_volume is None or result.holds_from_volume == result.holds_to_volume:
        return f"up to volume {result.holds_to_volume}"
    return f"from volume {result.holds_from_volume} to {result.holds_to_volume}"


def _output(name: str, row: OutputFacts) -> dict[str, str]:
    return {
        "name": name,
        "band": f"{hertz(round(row.low_hz))} to {hertz(round(row.high_hz))}",
        "left": decibels(row.left_db),
        "right": decibels(row.right_db),
        "delay": f"{signed(1e3 * row.delay_s, 2)} ms",
        "polarity": row.polarity,
    }


def _branch(row: Branch) -> dict[str, Any]:
    return {
        "output": row.output,
        "gain": decibels(row.gain_db),
        "polarity": row.polarity,
        "delay": milliseconds(row.delay_s),
        "filters": [_filter(item) for item in row.filters],
    }


def _filter(item: Filter) -> str:
    gain = "" if item.gain_db is None else f", {decibels(item.gain_db)}"
    return f"{item.kind} {hertz(item.frequency_hz)}{gain}" + ("" if item.q is None else f", Q {ratio(item.q)}")


def side_chart(result: FactoryResult, captured: FactoryResponses, side: str) -> Chart | None:
    """Each output of a side as the radio hands it out, and the sum of all with the repair; None without their captures."""
    found = {item.output: item for item in captured.captures if item.volume == result.volume}
    rows = result.repair[side]
    if any(row.output not in found for row in rows):
        return None
    f = captured.frequency_hz
    each = [_carried(found[row.output], side) for row in rows]
    parts = [own * row.response(f, sample_rate_hz=result.sample_rate_hz) for row, own in zip(rows, each, strict=True)]
    after = _level(np.sum(parts, axis=0))
    zero = float(np.median(after[(f > 100.0) & (f < 8000.0)]))
    lines = [
        Line(f, _shown(_level(own) - float(np.max(_level(own)))), "outputs as they are" if not number else "", "before")
        for number, own in enumerate(each)
    ]
    lines.append(Line(f, _shown(after - zero), "sum with the repair", "after"))
    return Chart(
        f"{side} side: level of each factory output as it is, and of their sum with the repair.",
        Axis.frequency(),
        Axis("level, dB", FLOOR_DB, TOP_DB, 6.0),
        lines=tuple(lines),
        marks=(Mark(0.0, "y"),),
        width_mm=88.0,
        height_mm=58.0,
    )


def _carried(item: FactoryCapture, side: str) -> NDArray[np.complex128]:
    return item.left if side == "left" else item.right


def _level(response: NDArray[np.complex128]) -> NDArray[np.float64]:
    return np.asarray(20.0 * np.log10(np.maximum(np.abs(response), 1e-12)))


def _shown(level_db: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.where((level_db < FLOOR_DB) | (level_db > TOP_DB), np.nan, level_db)
