"""Pictures as SVG: plain shapes, text as text, the same picture always the same bytes."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

import numpy as np

from cabinwright.drawings.picture import LOOKS, Cells, Disc, Look, Picture, Shape, Stroke, Words

__all__ = ["SHADES", "draw", "shade_key"]

PT = 25.4 / 72.0  #: mm
SHADES = ("#f4f7f8", "#d3e3e8", "#a9c9d3", "#79abba", "#4a8a9d", "#22687d", "#0b4657", "#052833")
"""From low to high in steps of lightness alone, so that a copy in grey or a colour-blind eye reads the same."""
INK = "#1f2a33"
ARROW_MM = 1.8


def draw(picture: Picture) -> str:
    """The picture as one ``<svg>`` element, a user unit being a millimetre on paper."""
    scale, border = picture.mm_per_m, picture.border_mm
    bar = 7.0 if picture.scale_bar_m else 0.0
    height = (picture.high[1] - picture.low[1]) * scale + 2.0 * border + bar
    body = [part for shape in picture.shapes for part in _shape(picture, shape)]
    if picture.scale_bar_m:
        body.append(_scale_bar(picture.scale_bar_m, scale, border, height))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_n(picture.width_mm)} {_n(height)}" role="img" '
        f'aria-label="{escape(picture.says)}">{"".join(body)}</svg>'
    )


def shade_key(steps: tuple[float, ...], unit: str) -> str:
    """The key of a map: one box for each shade with the value it begins at."""
    boxes = []
    for index, shade in enumerate(SHADES[: len(steps) + 1]):
        boxes.append(
            f'<rect x="{20 * index}" y="0" width="20" height="5" fill="{shade}" stroke="{INK}" stroke-width="0.2"/>'
        )
    for index, step in enumerate(steps):
        text = f"{step:g}".replace("-", "−")
        boxes.append(f'<text x="{20 * (index + 1)}" y="9" {_font(7.5)} text-anchor="middle">{text}</text>')
    width = 20 * (len(steps) + 1)
    boxes.append(f'<text x="{width + 2}" y="4" {_font(7.5)}>{escape(unit)}</text>')
    head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 -0.5 {width + 14} 11" role="img" '
    return f'{head}aria-label="shades in {escape(unit)}">{"".join(boxes)}</svg>'


def _shape(picture: Picture, shape: Shape) -> Iterator[str]:
    if isinstance(shape, Stroke):
        yield from _stroke(picture, shape)
    elif isinstance(shape, Disc):
        x, y = _place(picture, shape.centre)
        radius = max(shape.radius_m * picture.mm_per_m, shape.least_mm)
        yield f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(radius)}"{_look(LOOKS[shape.look])}/>'
    elif isinstance(shape, Words):
        yield _words(picture, shape)
    else:
        yield from _cells(picture, shape)


def _stroke(picture: Picture, shape: Stroke) -> Iterator[str]:
    points = [_place(picture, (float(x), float(y))) for x, y in shape.points]
    path = "M" + "L".join(f"{_n(x)} {_n(y)}" for x, y in points) + ("Z" if shape.closed else "")
    look = LOOKS[shape.look]
    yield f'<path d="{path}" stroke-linejoin="round"{_look(look)}/>'
    if shape.arrow:
        (x0, y0), (x1, y1) = points[-2], points[-1]
        length = float(np.hypot(x1 - x0, y1 - y0)) or 1.0
        ux, uy = ARROW_MM * (x1 - x0) / length, ARROW_MM * (y1 - y0) / length
        back = [(x1 - ux - 0.4 * uy, y1 - uy + 0.4 * ux), (x1 - ux + 0.4 * uy, y1 - uy - 0.4 * ux)]
        tip = " ".join(f"{_n(x)},{_n(y)}" for x, y in ((x1, y1), *back))
        yield f'<polygon points="{tip}" fill="{look.stroke}"/>'


def _words(picture: Picture, shape: Words) -> str:
    x, y = _place(picture, shape.at)
    x, y = x + shape.shift_mm[0], y - shape.shift_mm[1]
    weight = ' font-weight="bold"' if shape.bold else ""
    halo = 'paint-order="stroke" stroke="#ffffff" stroke-width="0.7" stroke-linejoin="round"'
    return (
        f'<text x="{_n(x)}" y="{_n(y)}" {_font(shape.size_pt)} {halo} text-anchor="{shape.anchor}"{weight}>'
        f"{escape(shape.text)}</text>"
    )


def _cells(picture: Picture, shape: Cells) -> Iterator[str]:
    """One path for each shade: few elements however fine the map."""
    scale = picture.mm_per_m
    width, height = (abs(float(axis[1] - axis[0])) * scale for axis in (shape.x, shape.y))
    level = np.digitize(np.nan_to_num(shape.value), shape.steps)
    for step in range(len(shape.steps) + 1):
        squares = []
        for row, column in np.argwhere((level == step) & np.isfinite(shape.value)):
            x, y = _place(picture, (float(shape.x[column]), float(shape.y[row])))
            squares.append(f"M{_n(x - width / 2)} {_n(y - height / 2)}h{_n(width)}v{_n(height)}h{_n(-width)}z")
        if squares:
            shade = SHADES[min(step, len(SHADES) - 1)]
            yield f'<path d="{"".join(squares)}" fill="{shade}" stroke="{shade}" stroke-width="0.1"/>'


def _scale_bar(length_m: float, scale: float, border: float, height: float) -> str:
    y, width = height - 2.5, length_m * scale
    text = f"{length_m * 100:g} cm"
    return (
        f'<path d="M{_n(border)} {_n(y - 1)}v1h{_n(width)}v-1" fill="none" stroke="{INK}" stroke-width="0.3"/>'
        f'<text x="{_n(border + width + 1.5)}" y="{_n(y)}" {_font(7.0)}>{text}</text>'
    )


def _place(picture: Picture, point: tuple[float, float]) -> tuple[float, float]:
    scale, border = picture.mm_per_m, picture.border_mm
    return border + (point[0] - picture.low[0]) * scale, border + (picture.high[1] - point[1]) * scale


def _look(look: Look) -> str:
    dash = f' stroke-dasharray="{" ".join(_n(part * PT) for part in look.dash)}"' if look.dash else ""
    fill = f' fill="{look.fill}"' + (f' fill-opacity="{look.opacity:g}"' if look.opacity < 1.0 else "")
    stroke = f' stroke="{look.stroke}" stroke-width="{_n(look.width_pt * PT)}"' if look.width_pt else ""
    return fill + stroke + dash


def _font(size_pt: float) -> str:
    return f'font-size="{_n(size_pt * PT)}" fill="{INK}"'


def _n(value: float) -> str:
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("", "-0") else text
