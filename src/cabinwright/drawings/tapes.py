"""Tapes between points, from above and from the side, each with its number: small SVG for the field sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np
from numpy.typing import NDArray

from cabinwright.drawings.chart import GRID, INK, INKS

__all__ = ["NumberedTape", "letter", "tape_drawing"]

Array = NDArray[np.float64]
Triple = tuple[float, float, float]
WIDTH, GAP, MARGIN = 720.0, 26.0, 34.0
ALONG = (0.5, 0.42, 0.58, 0.34, 0.66, 0.27, 0.73, 0.2, 0.8, 0.14, 0.86)  #: where a number may stand on its tape
VIEWS = (("from above, front to the left", (0, 1)), ("from the left side, front to the left", (0, 2)))
"""Heading, and which axes run across and up the page."""
TOGETHER = 11.0  #: points nearer than this on the page share a label
TAPE, TAKEN = INKS["left"].colour, INKS["before"].colour


@dataclass(frozen=True)
class NumberedTape:
    """A tape and its number on the sheet."""

    number: int
    from_: str
    to: str
    taken: bool = False


def tape_drawing(
    points: dict[str, Triple], letters: dict[str, str], tapes: Sequence[NumberedTape], *, says: str
) -> str:
    """One ``<svg>`` with both views; ``points`` are in metres, each with its letters; tapes to others are left out."""
    drawn = [tape for tape in tapes if tape.from_ in points and tape.to in points]
    ends = {name for tape in drawn for name in (tape.from_, tape.to)}
    if not ends:
        return ""
    points = {name: at_m for name, at_m in points.items() if name in ends}
    body: list[str] = []
    left = 0.0
    room = (WIDTH - GAP) / 2.0
    spans = [_span(points, axes) for _, axes in VIEWS]
    scale = min(
        (room - 2.0 * MARGIN) / max(max(span[0] for span in spans), 0.5), 250.0 / max(max(s[1] for s in spans), 0.5)
    )
    height = scale * max(span[1] for span in spans) + 2.0 * MARGIN + 16.0
    for heading, axes in VIEWS:
        place = _placed(points, axes, scale, left + MARGIN, MARGIN + 16.0)
        body.append(f'<text x="{left:.0f}" y="11" font-size="11" fill="{INK}">{escape(heading)}</text>')
        body += _view(place, drawn, letters)
        left += room + GAP
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:.0f} {height:.0f}" role="img"'
        f' aria-label="{escape(says)}">' + "\n".join(body) + "</svg>"
    )


def _span(points: dict[str, Triple], axes: tuple[int, int]) -> tuple[float, float]:
    at_m = np.array(list(points.values()))[:, axes]
    width, height = at_m.max(axis=0) - at_m.min(axis=0)
    return float(width), float(height)


def _placed(
    points: dict[str, Triple], axes: tuple[int, int], scale: float, left: float, top: float
) -> dict[str, Array]:
    """Places on the page, which counts downward: the car's right is at the top seen from above, as its roof is from the side."""
    flat = np.array(list(points.values()))[:, axes] * (1.0, -1.0)
    shifted = (flat - flat.min(axis=0)) * scale + (left, top)
    return dict(zip(points, shifted, strict=True))


def _view(place: dict[str, Array], tapes: Sequence[NumberedTape], letters: dict[str, str]) -> list[str]:
    out = []
    for tape in tapes:
        (x1, y1), (x2, y2) = place[tape.from_], place[tape.to]
        look = f'stroke="{TAKEN}" stroke-dasharray="5 3"' if tape.taken else f'stroke="{TAPE}"'
        out.append(f'<path d="M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}" {look} stroke-width="1"/>')
    taken: list[Array] = list(place.values())
    for tape in tapes:
        spot = _free_spot(place[tape.from_], place[tape.to], taken)
        taken.append(spot)
        out.append(
            f'<circle cx="{spot[0]:.1f}" cy="{spot[1]:.1f}" r="7" fill="#fff" stroke="{GRID}" stroke-width="0.6"/>'
            f'<text x="{spot[0]:.1f}" y="{spot[1] + 3.2:.1f}" font-size="9" text-anchor="middle" fill="{INK}">'
            f"{tape.number}</text>"
        )
    for x, y in place.values():
        out.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3" fill="{INK}"/>')
    for words, (x, y) in _lettered(place, letters):
        out.append(
            f'<text x="{x:.1f}" y="{y - 6:.1f}" font-size="11" font-weight="700" text-anchor="middle" fill="{INK}"'
            f' stroke="#fff" stroke-width="3" paint-order="stroke">{words}</text>'
        )
    return out


def _lettered(place: dict[str, Array], letters: dict[str, str]) -> list[tuple[str, Array]]:
    """Letters and where they stand; points that cover one another in this view share a label."""
    labels: list[tuple[str, Array]] = []
    for name, spot in place.items():
        near = next((k for k, (_, other) in enumerate(labels) if np.linalg.norm(other - spot) < TOGETHER), None)
        if near is None:
            labels.append((letters[name], spot))
        else:
            labels[near] = (f"{labels[near][0]} {letters[name]}", labels[near][1])
    return labels


def letter(number: int) -> str:
    """A, B, … Z, AA, AB, … for the point with this number."""
    word = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 26)
        word = chr(65 + rest) + word
    return word


def _free_spot(first: Array, second: Array, taken: list[Array]) -> Array:
    """Where on its tape a number stands farthest from what is there, the middle preferred."""
    spots = [first + share * (second - first) for share in ALONG]
    room = [min((float(np.linalg.norm(spot - other)) for other in taken), default=99.0) for spot in spots]
    for spot, free in zip(spots, room, strict=True):
        if free > 15.0:
            return spot
    return spots[int(np.argmax(room))]
