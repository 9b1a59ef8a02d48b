"""Bars on one scale with a tick at each one's limit, and a small one for a cell of a table."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape

from cabinwright.drawings.chart import GRID, INK

__all__ = ["Bar", "Group", "bars_svg", "meter_svg"]

FULL, PALE, OVER, SOFT = "#0a5f73", "#9fc3cb", "#9c1c1c", "#54616b"
WIDTH, LEFT, RIGHT = 180.0, 16.0, 34.0  #: of the drawing, of the words before a bar and of those behind it [mm]
HEADING, ROW, BAR, FOOT = 6.4, 5.0, 3.0, 8.0
METER_FULL = 1.25  #: where a meter ends, as a part of the limit


@dataclass(frozen=True, slots=True)
class Bar:
    """One value on the scale."""

    label: str
    value: float
    limit: float
    text: str  #: what stands behind it


@dataclass(frozen=True, slots=True)
class Group:
    """Bars under one heading."""

    heading: str
    bars: tuple[Bar, ...]


def bars_svg(groups: Sequence[Group], *, low: float, high: float, step: float, unit: str, says: str) -> str:
    """The groups below one another as one ``<svg>``; a bar past its limit is red, and its text bold."""
    height = sum(HEADING + ROW * len(group.bars) for group in groups) + FOOT
    span = WIDTH - LEFT - RIGHT

    def x(value: float) -> float:
        return LEFT + span * min(max((value - low) / (high - low), 0.0), 1.0)

    bottom = height - FOOT + 1.0
    body = []
    for number in range(round((high - low) / step) + 1):
        at, tick = x(low + number * step), low + number * step
        body.append(f'<path d="M{at:.2f} 0V{bottom:.2f}" stroke="{GRID}" stroke-width=".25"/>')
        words = f"{tick:g}".replace("-", "−") + (f" {unit}" if number == 0 else "")
        body.append(_text(at, bottom + 3.6, words, SOFT, anchor="middle"))
    y = 0.0
    for group in groups:
        body.append(
            f'<rect x="0" y="{y:.2f}" width="{WIDTH - RIGHT / 2:.2f}" height="{HEADING - 1.4:.2f}" fill="#fff"/>'
        )
        body.append(_text(0.0, y + 4.0, group.heading, INK, weight=600))
        y += HEADING
        for bar in group.bars:
            body.append(_bar(bar, y, x))
            y += ROW
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {height:.1f}" role="img" '
        f'aria-label="{escape(says, quote=True)}">{"".join(body)}</svg>'
    )


def _bar(bar: Bar, y: float, x: Callable[[float], float]) -> str:
    over = bar.value > bar.limit
    start, end, tick = x(-math.inf), x(bar.value), x(bar.limit)
    return (
        _text(0.0, y + 2.5, bar.label, SOFT)
        + f'<rect x="{start:.2f}" y="{y:.2f}" width="{max(end - start, 0.3):.2f}" height="{BAR}" '
        f'fill="{OVER if over else FULL}"/>'
        + f'<path d="M{tick:.2f} {y - 0.7:.2f}v{BAR + 1.4:.2f}" stroke="{INK}" stroke-width=".6"/>'
        + _text(WIDTH - RIGHT + 3.0, y + 2.5, bar.text, OVER if over else INK, weight=700 if over else 400)
    )


def _text(x: float, y: float, words: str, colour: str, *, weight: int = 400, anchor: str = "start") -> str:
    heavy = f' font-weight="{weight}"' if weight != 400 else ""
    placed = f' text-anchor="{anchor}"' if anchor != "start" else ""
    return f'<text x="{x:.2f}" y="{y:.2f}" font-size="2.9" fill="{colour}"{heavy}{placed}>{escape(words)}</text>'


def meter_svg(*, value: float, limit: float, average: float | None = None) -> str:
    """A value against its limit: pale up to the value, dark up to the average, a tick at the limit, red beyond it."""
    full = 100.0 / METER_FULL

    def width(amount: float) -> float:
        return min(full * amount / limit, 100.0) if limit > 0.0 else 0.0

    over = value > limit * (1.0 + 1e-9)
    dark = value if average is None else min(average, value)
    said = f"{100.0 * value / limit:.0f} % of its limit" if limit > 0.0 else "no limit"
    return (
        f'<svg class="meter" viewBox="0 0 100 10" preserveAspectRatio="none" role="img" aria-label="{said}">'
        f'<rect y="1" width="{full:.1f}" height="8" fill="#eceff1"/>'
        f'<rect y="1" width="{width(value):.1f}" height="8" fill="{OVER if over else PALE}"/>'
        f'<rect y="1" width="{width(dark):.1f}" height="8" fill="{OVER if over else FULL}"/>'
        f'<rect x="{full - 0.8:.1f}" width="1.6" height="10" fill="{INK}"/></svg>'
    )
