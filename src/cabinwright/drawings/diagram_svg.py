"""Sheets as SVG: a user unit is a millimetre on paper, text stays text, the same sheets always the same bytes."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from cabinwright.drawings.diagram import STYLES, Circle, Item, Line, Sheet, Style
from cabinwright.drawings.diagram_text import FONT

__all__ = ["sheet_svg", "sheets_svg"]

GAP_MM = 8.0


def sheet_svg(sheet: Sheet) -> str:
    """One sheet as one document."""
    return sheets_svg((sheet,))


def sheets_svg(sheets: Sequence[Sheet]) -> str:
    """All sheets below one another in one document; ``sheet_svg`` of each is what a printer wants."""
    width = max(sheet.width_mm for sheet in sheets)
    height = sum(sheet.height_mm for sheet in sheets) + GAP_MM * (len(sheets) - 1)
    says = " ".join(sheet.says for sheet in sheets)
    parts, top = [], 0.0
    for sheet in sheets:
        body = "\n".join(_item(item) for item in sheet.items)
        paper = f'<rect width="{_n(sheet.width_mm)}" height="{_n(sheet.height_mm)}" fill="#ffffff"/>'
        parts.append(f'<g transform="translate(0 {_n(top)})">\n{paper}\n{body}\n</g>')
        top += sheet.height_mm + GAP_MM
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_n(width)}mm" height="{_n(height)}mm" '
        f'viewBox="0 0 {_n(width)} {_n(height)}" role="img" aria-label="{escape(says)}" '
        f'font-family="\'{FONT}\', sans-serif" stroke-linecap="round" stroke-linejoin="round">'
    )
    return "\n".join((head, *parts, "</svg>\n"))


def _item(item: Item) -> str:
    if isinstance(item, Line):
        path = "M" + "L".join(f"{_n(x)} {_n(y)}" for x, y in item.points) + ("Z" if item.closed else "")
        return f'<path d="{path}"{_look(STYLES[item.style])}/>'
    if isinstance(item, Circle):
        (x, y), radius = item.centre, item.radius_mm
        return f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(radius)}"{_look(STYLES[item.style])}/>'
    anchor = "" if item.anchor == "start" else f' text-anchor="{item.anchor}"'
    weight = ' font-weight="bold"' if item.bold else ""
    x, y = item.at
    font = f'font-size="{_n(item.size_mm)}" fill="{item.colour}"'
    return f'<text x="{_n(x)}" y="{_n(y)}" {font}{anchor}{weight}>{escape(_clean(item.text))}</text>'


def _clean(text: str) -> str:
    """Without signs that XML does not allow or that nobody sees."""
    return "".join(" " if sign.isspace() else sign for sign in text if sign.isspace() or sign.isprintable())


def _look(style: Style) -> str:
    fill = f' fill="{style.fill}"'
    if not style.width_mm:
        return fill
    dash = f' stroke-dasharray="{" ".join(_n(part) for part in style.dash_mm)}"' if style.dash_mm else ""
    return f'{fill} stroke="{style.stroke}" stroke-width="{_n(style.width_mm)}"{dash}'


def _n(value: float) -> str:
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("", "-0") else text
