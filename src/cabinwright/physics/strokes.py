"""Figures as straight strokes, to be marked on a part: digits, point, degree sign. Nothing to buy, nothing to fill."""

from __future__ import annotations

from itertools import pairwise

from cabinwright.physics.arcs import Segment

__all__ = ["strokes", "strokes_width_m"]

ADVANCE = 0.85  #: from figure to figure, over their height
WAYS: dict[str, tuple[tuple[complex, ...], ...]] = {
    "0": ((0, 0.5, 0.5 + 1j, 1j, 0),),
    "1": ((0.1 + 0.8j, 0.3 + 1j, 0.3),),
    "2": ((1j, 0.5 + 1j, 0.5 + 0.5j, 0.5j, 0, 0.5),),
    "3": ((1j, 0.5 + 1j, 0.5, 0), (0.1 + 0.5j, 0.5 + 0.5j)),
    "4": ((0.4, 0.4 + 1j, 0.3j, 0.5 + 0.3j),),
    "5": ((0.5 + 1j, 1j, 0.5j, 0.5 + 0.5j, 0.5, 0),),
    "6": ((0.5 + 1j, 1j, 0, 0.5, 0.5 + 0.5j, 0.5j),),
    "7": ((1j, 0.5 + 1j, 0.15),),
    "8": ((0, 0.5, 0.5 + 1j, 1j, 0), (0.5j, 0.5 + 0.5j)),
    "9": ((0, 0.5, 0.5 + 1j, 1j, 0.5j, 0.5 + 0.5j),),
    ".": ((0.2, 0.3, 0.3 + 0.1j, 0.2 + 0.1j, 0.2),),
    "°": ((0.1 + 0.75j, 0.35 + 0.75j, 0.35 + 1j, 0.1 + 1j, 0.1 + 0.75j),),
    "-": ((0.1 + 0.5j, 0.4 + 0.5j),),
}


def strokes_width_m(text: str, height_m: float) -> float:
    """Width of a line of figures."""
    return (ADVANCE * (len(text) - 1) + 0.5) * height_m


def strokes(text: str, *, centre: complex, height_m: float, turn: complex = 1.0) -> tuple[tuple[Segment, ...], ...]:
    """Chains of lines about ``centre``; ``turn`` is the unit direction the text runs in. Raises ``KeyError`` for others."""
    start = -complex(strokes_width_m(text, height_m), height_m) / 2.0
    chains = []
    for number, letter in enumerate(text):
        for way in WAYS[letter]:
            at = [centre + turn * (start + height_m * (point + ADVANCE * number)) for point in way]
            chains.append(tuple(Segment(a, b) for a, b in pairwise(at)))
    return tuple(chains)
