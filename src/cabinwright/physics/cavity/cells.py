"""A grid of box cells over a closed shell, and how much of each cell is air.

The grid does not follow the shell. Cells that the shell cuts carry, on ``SUB``³ parts each, the share of the part that is
air, as weight for every integral over them; a wall without any condition on it (rigid, Neumann) then needs nothing more.
Where one plane cuts a part the share is exact (Scardovelli & Zaleski 2000, J. Comput. Phys. 164, 228, eq. for the volume
behind a plane in a box); parts with an edge or corner of the shell near them are cut ``FINER``³ times again.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from .shell import JOIN_M, Shell
from .triangles import normals

__all__ = ["SUB", "Cells", "cut_cells"]

Real = NDArray[np.float64]
SUB = 4  #: parts of a cell along each axis
FINER = 4  #: parts of a part, where more than one plane cuts it
MOST_CELLS = 60_000
CLOSEST = 0.5  #: of a cell's edge: planes through edges keep this apart
NEGLIGIBLE = 1e-6  #: share of air below which a cell is none


@dataclass(frozen=True)
class Cells:
    """Cells of a grid of planes that hold air."""

    lines_m: tuple[Real, Real, Real]  #: planes of the grid along each axis, rising
    index: NDArray[np.intp]  #: (cells, 3) place in the grid
    air: Real  #: (cells, SUB³) share of each part that is air; parts in C order

    @property
    def shape(self) -> tuple[int, int, int]:
        """Cells along each axis."""
        return len(self.lines_m[0]) - 1, len(self.lines_m[1]) - 1, len(self.lines_m[2]) - 1

    @property
    def volume_m3(self) -> float:
        """Volume of air as the grid sees it [m³]."""
        return float((self.air @ unit_parts().weight) @ self.size_m(self.index).prod(axis=1))

    def corner_m(self, index: NDArray[np.intp]) -> Real:
        """Where the planes of three numbers ``(..., 3)`` meet: the least corner of the cell of that index."""
        return np.stack([line[index[..., i]] for i, line in enumerate(self.lines_m)], axis=-1)

    def size_m(self, index: NDArray[np.intp]) -> Real:
        """Lengths of the edges of the cells ``index`` (..., 3)."""
        return self.corner_m(index + 1) - self.corner_m(index)

    def holding(self, points_m: Real) -> NDArray[np.intp]:
        """Index ``(points, 3)`` of the cell that holds each point, or of the nearest."""
        found = [np.searchsorted(line[1:-1], points_m[:, i], side="right") for i, line in enumerate(self.lines_m)]
        return np.column_stack(found)


@dataclass(frozen=True)
class Parts:
    """How a unit cell is divided: boxes as wide as the weights of Gauss and Legendre, each holding one of their points.

    All arrays have shape ``(SUB³, 3)`` or ``(SUB³,)``, in C order. Cells full of air are integrated as exactly as Gauss
    and Legendre do; no part's air is counted anywhere but in that part.
    """

    centre: Real
    size: Real
    point: Real  #: where functions are evaluated
    weight: Real


@cache
def unit_parts() -> Parts:
    """The division of a unit cell."""
    points, weights = np.polynomial.legendre.leggauss(SUB)
    points, widths = 0.5 + 0.5 * points, 0.5 * weights
    axes = np.argwhere(np.ones((SUB,) * 3))
    middles = np.cumsum(widths) - 0.5 * widths
    return Parts(middles[axes], widths[axes], points[axes], widths[axes].prod(axis=1))


def cut_cells(shell: Shell, *, cell_m: float) -> Cells:
    """The cells of edge ``cell_m`` [m] or less that hold air. Raises ``ValueError`` where there would be too many."""
    low, high = shell.triangles_m.min(axis=(0, 1)), shell.triangles_m.max(axis=(0, 1))
    if np.prod((high - low) / cell_m) > MOST_CELLS:
        raise ValueError(
            f"cells of {cell_m} m are too small for a space of {np.round(high - low, 2)} m; make them larger"
        )
    edges = shell.reentrant_edges()
    lines = [
        _planes(edges[:, :, i], np.linalg.norm(edges[:, 1] - edges[:, 0], axis=1), low[i], high[i], cell_m)
        for i in range(3)
    ]
    grid = Cells((lines[0], lines[1], lines[2]), np.empty((0, 3), dtype=np.intp), np.empty((0, SUB**3)))
    index = np.argwhere(np.ones(grid.shape))
    corner, size = grid.corner_m(index), grid.size_m(index)
    centres, reach = corner + 0.5 * size, 0.5 * np.linalg.norm(size, axis=1)
    cut = shell.nearest(centres, within_m=float(reach.max())).distance_m < reach
    air = np.repeat(shell.inside(centres)[:, None].astype(np.float64), SUB**3, axis=1)
    parts = unit_parts()
    boxes = corner[cut, None] + parts.centre * size[cut, None]
    air[cut] = _air(shell, boxes.reshape(-1, 3), (parts.size * size[cut, None]).reshape(-1, 3)).reshape(-1, SUB**3)
    holds = air @ parts.weight > NEGLIGIBLE
    return Cells(grid.lines_m, index[holds], air[holds])


def _planes(ends: Real, length: Real, low: float, high: float, cell_m: float) -> Real:
    """Planes of the grid along one axis: through the longest edges that lie across it, and evenly between.

    ``ends`` (edges, 2) are the edges' coordinates on this axis. Sound turns sharply around an edge that juts into the
    air, and the top of a seat back that lay within a cell would be seen only from the next plane on.
    """
    anchors = [low, high]
    across = np.abs(ends[:, 1] - ends[:, 0]) < JOIN_M
    for place in ends.mean(axis=1)[across][np.argsort(-length[across], kind="stable")]:
        if min(abs(place - other) for other in anchors) > CLOSEST * cell_m:
            anchors.append(float(place))
    pieces = [
        np.linspace(a, b, max(1, int(np.ceil((b - a) / cell_m - 1e-9))), endpoint=False)
        for a, b in pairwise(sorted(anchors))
    ]
    return np.concatenate([*pieces, [high]])


def _air(shell: Shell, centres: Real, sizes: Real, *, again: bool = True) -> Real:
    """Share of air in boxes of ``sizes`` (n, 3) around ``centres`` (n, 3)."""
    share = shell.inside(centres).astype(np.float64)
    reach = 0.5 * np.linalg.norm(sizes, axis=1)
    surface = shell.nearest(centres, within_m=float(reach.max(initial=0.0)))
    near = np.flatnonzero(surface.distance_m < reach)
    length = surface.distance_m[near]
    away = (centres[near] - surface.foot_m[near]) / np.maximum(length, 1e-9)[:, None]
    across = np.where(length[:, None] > 1e-9, away, normals(shell.triangles_m)[surface.triangle[near]])
    share[near] = _behind_plane(np.where(share[near] > 0.5, length, -length), across, sizes[near])
    several = near[surface.corner[near]]
    if again and len(several):
        steps = (np.argwhere(np.ones((FINER,) * 3)) + 0.5) / FINER - 0.5
        finer = (centres[several, None] + steps * sizes[several, None]).reshape(-1, 3)
        cut = _air(shell, finer, np.repeat(sizes[several] / FINER, FINER**3, axis=0), again=False)
        share[several] = cut.reshape(-1, FINER**3).mean(axis=1)
    return share


def _behind_plane(depth: Real, normal: Real, size: Real) -> Real:
    """Share of a box on the near side of a plane that lies ``depth`` (n,) beyond its centre along ``normal`` (n, 3)."""
    m = np.maximum(np.abs(normal) * size, 1e-4 * size.max(axis=1, keepdims=True))
    total = m.sum(axis=1)
    alpha = np.clip(depth + 0.5 * total, 0.0, total)
    small = np.minimum(alpha, total - alpha)  # the formula is exact for either half; the smaller loses fewer digits
    cube = small**3 - (np.maximum(small[:, None] - m, 0.0) ** 3).sum(axis=1)
    cube += (np.maximum(small[:, None] - (total[:, None] - m), 0.0) ** 3).sum(axis=1)
    share = cube / (6.0 * m.prod(axis=1))
    return np.asarray(np.where(alpha > small, 1.0 - share, share))
