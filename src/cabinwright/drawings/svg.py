"""Charts as small SVG for a page: text stays text, and the same chart always gives the same bytes.

Drawn with Matplotlib's object interface on its SVG canvas (no global figure, no window), imported only when a chart
is drawn because that takes longer than most commands. What Matplotlib writes is then trimmed: no date, no program's
name, no ids that would clash with those of another chart in the same page, short coordinates, the page's own font.
"""

from __future__ import annotations

import io
import logging
import re
import warnings
from collections.abc import Iterator
from html import escape
from typing import TYPE_CHECKING, Any

import numpy as np

from cabinwright.drawings.chart import GRID, INK, INKS, PAPER, SHADE, Chart

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["render", "swatch"]

MM_PER_INCH = 25.4
TEXT_PT = 8.5
SPREAD_ALPHA = 0.18
RC: dict[Any, Any] = {
    "svg.fonttype": "none",
    "svg.hashsalt": "cabinwright",
    "path.simplify": True,
    "font.family": "DejaVu Sans",  # comes with Matplotlib, so that every machine lays out the same
    "font.size": TEXT_PT,
    "text.parse_math": False,  # a name may hold a dollar sign
}


def render(chart: Chart, *, name: str) -> str:
    """The chart as one ``<svg>`` element; ``name`` (letters, digits, hyphens) keeps its ids apart on a page."""
    if not re.fullmatch(r"[a-z][a-z0-9-]*", name):
        raise ValueError(f"chart name must be letters, digits and hyphens, got {name!r}")
    logging.getLogger("matplotlib").setLevel(logging.ERROR)  # its notes on caches are not for our users
    from matplotlib import rc_context
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    with rc_context(RC), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing")  # the page's own font will have it
        figure = Figure(figsize=(chart.width_mm / MM_PER_INCH, chart.height_mm / MM_PER_INCH), facecolor=PAPER)
        FigureCanvasSVG(figure)
        axes = figure.add_axes(_frame(chart))
        _axes(axes, chart)
        _content(axes, chart)
        out = io.StringIO()
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    return _trimmed(out.getvalue(), chart.says, name)


def swatch(ink: str, *, spread: bool = False) -> str:
    """A sample of a line or spread, for the key beside a chart."""
    look = INKS[ink]
    if spread:
        shape = f'<rect width="30" height="10" fill="{look.colour}" fill-opacity="{SPREAD_ALPHA}"/>'
    else:
        dash = f' stroke-dasharray="{" ".join(f"{part:g}" for part in look.dash)}"' if look.dash else ""
        shape = f'<path d="M0 5H30" stroke="{look.colour}" stroke-width="{look.width_pt:g}"{dash}/>'
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 30 10" aria-hidden="true">{shape}</svg>'


def _frame(chart: Chart) -> tuple[float, float, float, float]:
    """Left, bottom, width and height of the plot as parts of the figure: fixed margins, so that charts line up."""
    names = max((len(label) for _, label in chart.y.ticks), default=0) if not chart.y.step else 0
    left = 14.0 if not names else 5.0 + 1.75 * names
    top, right, bottom = 2.5, 3.0, 10.5
    width, height = chart.width_mm, chart.height_mm
    return left / width, bottom / height, (width - left - right) / width, (height - top - bottom) / height


def _axes(axes: Axes, chart: Chart) -> None:
    if chart.x.logarithmic:
        axes.set_xscale("log")
    axes.set_xlim(chart.x.low, chart.x.high)
    axes.set_ylim(chart.y.low, chart.y.high)
    for axis, spec in ((axes.xaxis, chart.x), (axes.yaxis, chart.y)):
        ticks = spec.ticks or tuple(_steps(spec.low, spec.high, spec.step))
        axis.set_ticks([value for value, _ in ticks], labels=[label for _, label in ticks])
        axis.set_ticks([], minor=True)
        axis.set_label_text(spec.label)
        axis.set_tick_params(which="both", length=0, colors=INK, pad=5 if axis is axes.xaxis else 4)
    axes.grid(visible=True, color=GRID, linewidth=0.7)
    axes.set_axisbelow(True)
    for spine in axes.spines.values():
        spine.set_color(GRID)
    axes.xaxis.label.set_color(INK)
    axes.yaxis.label.set_color(INK)


def _steps(low: float, high: float, step: float) -> Iterator[tuple[float, str]]:
    for value in np.arange(np.ceil(low / step), np.floor(high / step) + 1) * step:
        decimals = 0 if step == round(step) else 1
        yield float(value), f"{value + 0.0:.{decimals}f}".replace("-", "\u2212")


def _content(axes: Axes, chart: Chart) -> None:
    for shade in chart.shades:
        axes.axvspan(shade.low, shade.high, color=SHADE, linewidth=0, zorder=0.5)
    for mark in chart.marks:
        draw = axes.axvline if mark.axis == "x" else axes.axhline
        draw(mark.value, color=INK, linewidth=0.9, zorder=1.5)
    for spread in chart.spreads:
        colour = INKS[spread.ink].colour
        axes.fill_between(spread.x, spread.low, spread.high, color=colour, alpha=SPREAD_ALPHA, linewidth=0)
    for line in chart.lines:
        ink = INKS[line.ink]
        style: Any = (0, tuple(part / ink.width_pt for part in ink.dash)) if ink.dash else "solid"
        axes.plot(
            line.x, line.y, color=ink.colour, linestyle=style, linewidth=ink.width_pt,
            dash_capstyle="butt", solid_joinstyle="round",
        )  # fmt: skip


_DROPPED = re.compile(
    r"<metadata>.*?</metadata>|<!--.*?-->|<style[^>]*>.*?</style>|<defs>\s*</defs>|<g/>|<g [^>]*/>", re.DOTALL
)
_TAG = re.compile(r"<[^>]*>")
_NUMBER = re.compile(r"-?\d+\.\d{2,}")
_ID = re.compile(r' id="([^"]+)"')
_FONT = re.compile(r"font: ([\d.]+)px [^;\"]*")
_IDLE = re.compile(r" font-family: [^;\"]*;| transform=\"rotate\(-0 [^\"]*\"")


def _trimmed(svg: str, says: str, name: str) -> str:
    """One clean element from Matplotlib's document. Only tags are touched, never the words between them."""
    head, _, body = svg[svg.index("<svg") :].partition(">")
    box = re.search(r'viewBox="([^"]+)"', head)
    view = " ".join(f"{float(part):.1f}" for part in box[1].split()) if box else "0 0 1 1"
    body = _DROPPED.sub("", body)
    used = set(re.findall(r"#([\w-]+)", body))

    def tag(found: re.Match[str]) -> str:
        text = _ID.sub(lambda match: f' id="{name}-{match[1]}"' if match[1] in used else "", found[0])
        text = re.sub(r'(url\(#|href="#)', rf"\g<1>{name}-", text).replace("xlink:href", "href")
        text = _IDLE.sub("", _FONT.sub(r"font-size: \1px", text))
        text = _NUMBER.sub(lambda match: f"{float(match[0]):.2f}".rstrip("0").rstrip("."), text)
        return re.sub(r"\s*\n\s*", " ", text)

    body = re.sub(r">\s*\n\s*<", ">\n<", _TAG.sub(tag, body)).strip()
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{view}" role="img" aria-label="{escape(says)}">{body}'
