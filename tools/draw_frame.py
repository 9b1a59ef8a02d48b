"""The drawing of the survey's frame in docs/survey.md.

    python tools/draw_frame.py

An invented car seen from above and from the left side, with the three points that make the axes.
"""

from __future__ import annotations

from pathlib import Path

TARGET = Path(__file__).resolve().parents[1] / "docs" / "survey-frame.svg"
INK, SOFT, AXIS, WARM = "#1f2a33", "#68747d", "#0a5f73", "#a84a08"
CAR_ABOVE = "M60 70 Q40 130 60 190 L330 200 Q372 130 330 60 Z"
CAR_SIDE = "M460 190 L462 160 L520 150 L575 105 L680 105 L735 155 L752 165 L752 190 Z"


def arrow(x1: float, y1: float, x2: float, y2: float, label: str, dx: float, dy: float) -> str:
    """An axis with its letter."""
    return (
        f'<path d="M{x1} {y1}L{x2} {y2}" stroke="{AXIS}" stroke-width="2" marker-end="url(#head)"/>'
        f'<text x="{x2 + dx}" y="{y2 + dy}" fill="{AXIS}" font-weight="700">{label}</text>'
    )


def point(x: float, y: float, label: str, dx: float = 8, dy: float = -8, anchor: str = "start") -> str:
    """A named point."""
    return (
        f'<circle cx="{x}" cy="{y}" r="4.5" fill="{WARM}"/>'
        f'<text x="{x + dx}" y="{y + dy}" text-anchor="{anchor}" fill="{INK}">{label}</text>'
    )


def drawing() -> str:
    """The whole drawing as SVG."""
    parts = [
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 800 250"'
        ' font-family="DejaVu Sans, Arial, sans-serif" font-size="13">',
        "<title>The frame: origin, a point to its right at the same height, and a point behind it</title>",
        f'<defs><marker id="head" viewBox="0 0 8 8" refX="6" refY="4" markerWidth="6" markerHeight="6" orient="auto">'
        f'<path d="M0 0L8 4L0 8Z" fill="{AXIS}"/></marker></defs>',
        '<rect width="800" height="250" fill="#ffffff"/>',
        f'<text x="60" y="26" fill="{INK}" font-weight="700">From above, front to the left</text>',
        f'<text x="460" y="26" fill="{INK}" font-weight="700">From the left side</text>',
        f'<path d="{CAR_ABOVE}" fill="none" stroke="{SOFT}"/><path d="{CAR_SIDE}" fill="none" stroke="{SOFT}"/>',
        f'<path d="M60 130H350" stroke="{SOFT}" stroke-dasharray="8 4 2 4"/>',
        f'<text x="200" y="125" fill="{SOFT}" font-size="11">centre line</text>',
        arrow(120, 180, 355, 180, "x rearward", -52, 22),
        arrow(120, 180, 120, 52, "y right", 8, 4),
        point(120, 180, "origin", -8, 18, "end"),
        point(120, 80, "right", -10, 4, "end"),
        point(235, 172, "behind", 0, -10, "middle"),
        arrow(545, 145, 725, 145, "x", 8, 5),
        arrow(545, 145, 545, 55, "z up", 8, 6),
        point(545, 145, "origin and right, same height", -4, 70, "middle"),
        f'<path d="M545 150V198" stroke="{WARM}" stroke-width="0.8"/>',
        point(650, 122, "behind: its height is measured, or it is 0", 0, 116, "middle"),
        f'<path d="M650 127V222" stroke="{WARM}" stroke-width="0.8"/>',
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


if __name__ == "__main__":
    TARGET.write_text(drawing(), encoding="utf-8", newline="\n")
    print(f"wrote {TARGET}")
