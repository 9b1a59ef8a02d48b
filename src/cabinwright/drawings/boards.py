"""Boards as solid bodies in parallel projection: any board at any place, arcs drawn as arcs, nearer ones over farther ones.

An ``Eye`` looks from above and in front. A board's faces are paths under a transform; its edges are facets between chords.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cabinwright.drawings.cut_svg import chain_path
from cabinwright.physics.outline import Contour
from cabinwright.physics.perforation import Field
from cabinwright.physics.solid import Plate

__all__ = ["LOOKS", "Board", "Eye", "board_svg", "cone_svg"]

MM = 1e3
CHORD_M = 1e-4
LIGHT = np.array([-0.35, -0.45, 0.82]) / np.linalg.norm(
    [-0.35, -0.45, 0.82]
)  #: where light comes from, in the turned plan
SEAM = "#5f4a30"
LOOKS = {
    "board": (222, 196, 155),
    "fibre": (196, 163, 122),
    "dark face": (66, 71, 78),
    "clear": (176, 214, 228),
    "mesh": (98, 104, 110),
    "plastic": (110, 117, 126),
    "metal": (178, 184, 190),
}
"""What a board shows on a face in full light."""

Real = NDArray[np.float64]


@dataclass(frozen=True)
class Eye:
    """Turned plan and height to paper: x right, y down, millimetres."""

    turn: complex
    rise_rad: float

    def at(self, point: complex, height_m: float) -> tuple[float, float]:
        """A point of the plan at a height."""
        q = point * self.turn
        return MM * q.real, -MM * (q.imag * math.sin(self.rise_rad) + height_m * math.cos(self.rise_rad))

    def spot(self, point: Real) -> tuple[float, float]:
        """A point (3,)."""
        return self.at(complex(point[0], point[1]), float(point[2]))

    def towards(self, way: Real) -> float:
        """How far a direction (3,) looks towards the eye."""
        q = complex(way[0], way[1]) * self.turn
        return float(way[2] * math.sin(self.rise_rad) - q.imag * math.cos(self.rise_rad))

    def lit(self, normal: Real) -> float:
        """Share of light on a face of that normal (3,)."""
        q = complex(normal[0], normal[1]) * self.turn
        facing = float(np.dot(LIGHT, (q.real, q.imag, normal[2])))
        return 0.56 + 0.48 * math.pow(max(0.0, facing), 0.8)

    def plane(self, at: Real, along: Real, up: Real) -> str:
        """The transform of a group drawn by ``chain_path`` from the corner 0 in a plane (each (3,))."""
        (x, y), zero = self.spot(at), self.spot(np.zeros(3))
        (a, b), (c, d) = (np.subtract(self.spot(way), zero) / MM for way in (along, up))
        return f"matrix({a:.5f} {b:.5f} {-c:.5f} {-d:.5f} {x:.2f} {y:.2f})"


@dataclass(frozen=True)
class Board:
    """A board, or a stack of ``count`` alike, where it stands."""

    plate: Plate
    look: str = "board"
    count: int = 1
    holes: Field | None = None

    def lifted(self, shift: tuple[float, float, float]) -> Board:
        """Moved."""
        x, y, z = (a + b for a, b in zip(self.plate.at, shift, strict=True))
        plate = self.plate
        moved = Plate((x, y, z), plate.along, plate.up, plate.outline, plate.thick_m, plate.openings)
        return Board(moved, self.look, self.count, self.holes)

    @property
    def corners(self) -> Real:
        """Points (n, 3) round both faces."""
        flat = self.plate.outline.points(2e-4)
        at, along, up = (np.asarray(item, dtype=float) for item in (self.plate.at, self.plate.along, self.plate.up))
        near = at + flat.real[:, None] * along + flat.imag[:, None] * up
        return np.concatenate((near, near + self.plate.thick_m * np.cross(along, up)))


def board_svg(board: Board, eye: Eye, tag: str) -> Iterator[str]:
    """Its sides, the face that looks towards the eye, and the insides of its openings; ``tag`` keeps ids apart."""
    plate, rgb = board.plate, LOOKS[board.look]
    along, up = np.asarray(plate.along, dtype=float), np.asarray(plate.up, dtype=float)
    way = np.cross(along, up)
    at = np.asarray(plate.at, dtype=float)
    if eye.towards(way) < 0.0:  # its other face is seen: the same board told from there
        face, back, out = at, plate.thick_m * way, -way
    else:
        face, back, out = at + plate.thick_m * way, -plate.thick_m * way, way
    glass = ' fill-opacity=".62"' if board.look == "clear" else ""
    yield f'<g stroke-linejoin="round"{glass}>'
    yield from _edges(board, plate.outline.counter_clockwise(), (face, back, along, up), eye, inner=False)
    chains = [plate.outline, *plate.openings]
    outlines = " ".join(chain_path(item.segments, 0j, closed=True) for item in chains)
    plane = eye.plane(face, along, up)
    yield (
        f'<g transform="{plane}"><path d="{outlines}" fill="{_shade(rgb, eye.lit(out))}" fill-rule="evenodd" '
        f'stroke="{_shade(rgb, 0.42)}" stroke-width="1.1"/>{_dots(board)}</g>'
    )
    for number, opening in enumerate(plate.openings):
        hole = chain_path(opening.segments, 0j, closed=True)
        key = f"{tag}-{number}"
        yield f'<clipPath id="{key}"><path d="{hole}" transform="{plane}"/></clipPath><g clip-path="url(#{key})">'
        yield from _edges(board, opening.counter_clockwise(), (face, back, along, up), eye, inner=True)
        yield "</g>"
    yield "</g>"


def _edges(
    board: Board, contour: Contour, frame: tuple[Real, Real, Real, Real], eye: Eye, *, inner: bool
) -> Iterator[str]:
    """Facets of an outline that look towards the eye, the farthest first, and the seams of a stack over them."""
    face, back, along, up = frame
    points = contour.points(CHORD_M)
    seen = []
    for a, b in zip(points, np.roll(points, -1), strict=True):
        step = complex(b - a)
        if abs(step) < 1e-9:
            continue
        normal = step / abs(step) * (1j if inner else -1j)
        out = normal.real * along + normal.imag * up
        if eye.towards(out) > 1e-9:
            ends = [face + item.real * along + item.imag * up for item in (complex(a), complex(b))]
            seen.append((eye.towards(ends[0] + ends[1]), ends, out))
    for _, (one, other), out in sorted(seen, key=lambda item: item[0]):
        tint = _shade(LOOKS[board.look], 0.92 * eye.lit(out))
        yield f'<path d="{_way(eye, one, other, other + back, one + back)}Z" fill="{tint}" stroke="{tint}" stroke-width=".6"/>'
    for k in range(1, board.count + 1):
        share = back * k / board.count
        path = "".join(_way(eye, one + share, other + share) for _, (one, other), _ in seen)
        width = 0.55 if k < board.count else 1.1
        yield f'<path d="{path}" fill="none" stroke="{SEAM}" stroke-width="{width}" stroke-opacity=".7"/>'


def _way(eye: Eye, *points: Real) -> str:
    return "M" + "L".join("{:.1f} {:.1f}".format(*eye.spot(point)) for point in points)


def _dots(board: Board) -> str:
    """Round holes as strokes of no length with round ends: a tenth of the size of as many circles."""
    if board.holes is None or not len(board.holes.centres):
        return ""
    steps = np.maximum(1, np.round(4.0 * MM * board.holes.diameters_m)).astype(int)
    rows = []
    for step in np.unique(steps):
        spots = board.holes.centres[steps == step]
        path = "".join(f"M{MM * at.real:.1f} {-MM * at.imag:.1f}h.01" for at in spots)
        rows.append(f'<path d="{path}" stroke-width="{step / 4.0:.2f}"/>')
    return f'<g fill="none" stroke="#14171a" stroke-linecap="round">{"".join(rows)}</g>'


def _shade(rgb: tuple[int, int, int], share: float) -> str:
    return "#" + "".join(f"{min(255, round(part * share)):02x}" for part in rgb)


def cone_svg(x: float, y: float, radius: float, screws: int | None, tag: str) -> Iterator[str]:
    """Frame, surround, cone and cap of a loudspeaker, as invented as the colour: only the frame's size and the screws are
    the model's. ``tag`` names the gradients that ``cone_defs`` gives."""
    for share, fill in ((1.0, "#2b2f34"), (0.9, "#15171a"), (0.86, f"url(#{tag}-roll)"), (0.7, f"url(#{tag}-cone)"),
                        (0.24, f"url(#{tag}-cap)")):  # fmt: skip
        yield f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{share * radius:.1f}" fill="{fill}"/>'
    for k in range(screws or 0):
        turn = 2.0 * math.pi * (k + 0.5) / (screws or 1)
        yield (
            f'<circle cx="{x + 0.95 * radius * math.cos(turn):.1f}" cy="{y + 0.95 * radius * math.sin(turn):.1f}" '
            f'r="{max(1.6, 0.016 * radius):.1f}" fill="#a9b1b8"/>'
        )
