"""The report's charts as live curves: hover, zoom, switch lines off, take them away as SVG, PNG or CSV."""

from __future__ import annotations

import asyncio
import csv
import io
import json
from collections.abc import Callable
from itertools import count
from typing import Any

import numpy as np
from nicegui import ui

from cabinwright.drawings.chart import INKS, Axis, Chart
from cabinwright.drawings.svg import render
from cabinwright.web.parts import box, button, text
from cabinwright.web.words import _

__all__ = ["Soon", "csv_of", "curves", "options"]

_numbers = count()
SOON_S = 0.1


class Soon:
    """Does something a moment later, once, however often it is asked for meanwhile: words first, a drawing takes longer."""

    def __init__(self, make: Callable[[], None]) -> None:
        self._make = make
        self._waiting: asyncio.TimerHandle | None = None

    def __call__(self) -> None:
        if self._waiting is None:
            self._waiting = asyncio.get_running_loop().call_later(SOON_S, self._now)

    def _now(self) -> None:
        self._waiting = None
        self._make()


def _axis(axis: Axis, *, name_gap: int) -> dict[str, Any]:
    return {
        "type": "log" if axis.logarithmic else "value",
        "name": axis.label,
        "nameLocation": "middle",
        "nameGap": name_gap,
        "min": axis.low,
        "max": axis.high,
        "splitLine": {"lineStyle": {"color": "#c9d0d4"}},
        "axisLabel": {"color": "#1f2a33"},
        "nameTextStyle": {"color": "#1f2a33"},
    }


def _data(x: Any, y: Any) -> list[list[float | None]]:
    return [[float(a), float(b) if np.isfinite(b) else None] for a, b in zip(x, y, strict=True)]


def options(chart: Chart) -> dict[str, Any]:
    """What ECharts is told. Dash and width go with the colour, as on paper."""
    series: list[dict[str, Any]] = []
    for number, line in enumerate(chart.lines):
        ink = INKS[line.ink]
        series.append(
            {
                "type": "line",
                "name": line.label or f"{number}",
                "data": _data(line.x, line.y),
                "showSymbol": False,
                "connectNulls": False,
                "lineStyle": {
                    "color": ink.colour,
                    "width": ink.width_pt,
                    "type": [2.0 * part for part in ink.dash] or "solid",
                },
                "itemStyle": {"color": ink.colour},
            }
        )
    for spread in chart.spreads:
        for edge in (spread.low, spread.high):
            colour = INKS[spread.ink].colour
            series.append(
                {
                    "type": "line",
                    "name": spread.label,
                    "data": _data(spread.x, edge),
                    "showSymbol": False,
                    "lineStyle": {"color": colour, "width": 0.6, "opacity": 0.7},
                    "itemStyle": {"color": colour},
                }
            )
    return {
        "animation": False,
        "aria": {"enabled": True, "label": {"description": chart.says}},
        "grid": {"left": 56, "right": 16, "top": 48, "bottom": 72},
        "legend": {"data": sorted({label for label, _ink, _wide in chart.key}), "top": 4},
        "tooltip": {"trigger": "axis"},
        "xAxis": _axis(chart.x, name_gap=26),
        "yAxis": _axis(chart.y, name_gap=38),
        "dataZoom": [{"type": "inside"}, {"type": "slider", "height": 24, "bottom": 8}],
        "series": series,
    }


def csv_of(chart: Chart) -> str:
    """The points as they are drawn: line, x, y."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(("line", chart.x.label, chart.y.label))
    named = [(line.label, line.x, line.y) for line in chart.lines]
    named += [
        (f"{item.label}, {edge}", item.x, at)
        for item in chart.spreads
        for edge, at in (("low", item.low), ("high", item.high))
    ]
    for label, x, y in named:
        rows.writerows((label, f"{a:.6g}", f"{b:.6g}") for a, b in zip(x, y, strict=True))
    return out.getvalue()


def curves(chart: Chart, name: str) -> Callable[[Chart], None]:
    """One chart with its name and what can be taken away; what is returned shows another chart in its place."""
    now = [chart]
    with box("figure", "curves"):
        text("figcaption", name)
        drawn = ui.echart(options(chart)).classes("chart")
        drawn.props["role"] = "img"
        drawn.props["aria-label"] = chart.says
        file = "".join(sign if sign.isalnum() else "-" for sign in name.lower()).strip("-") or "curves"
        with box("div", "row"):
            button(
                "SVG",
                lambda: ui.download(render(now[0], name=f"d{next(_numbers)}").encode(), f"{file}.svg"),
                says=_("Save as SVG: ") + name,
            )
            button("PNG", lambda: _png(drawn, file), says=_("Save as PNG: ") + name)
            button("CSV", lambda: ui.download(csv_of(now[0]).encode(), f"{file}.csv"), says=_("Save as CSV: ") + name)

    def show(other: Chart) -> None:
        now[0] = other
        drawn.options.update(options(other))
        drawn.props["aria-label"] = other.says
        drawn.update()

    return show


def _png(drawn: ui.echart, file: str) -> None:
    ui.run_javascript(f"cabinwright.png(getElement({drawn.id}).chart, {json.dumps(file)})")
