"""A grid of box cells over a closed shell, and how much of each cell is air.

The grid does not follow the shell. Cells that the shell cuts carry, on ``SUB``³ parts each, the share of the part that is
air, as weight for every integral over them; a wall without any condition on it (rigid, Neumann) then needs nothing more.
Where one plane cuts a part the share is exact (Scardovelli & Zaleski 2000, J. Comput. Phys. 164, 228, eq. for the volume
behind a plane in a box); parts with an edge or corner of the shell near them are cut ``FINER``³ times again.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .shell import Shell
from .triangles import normals

__all__ = ["SUB", "Cells", "cut_cells"]

Real = NDArray[np.float64]
SUB = 4  #: parts of a cell along each axis
FINER = 4  #: parts of a part, where more than one plane cuts it
NEGLIGIBLE = 1e-6  #: share of air below which a cell is none


@dataclass(frozen=True)
class Cells:
    """Cells of a regular grid that hold air."""

    origin_m: Real  #: (3,) least corner of the grid
    size_m: Real  #: (3,) of one cell
    shape: tuple[int, int, int]  #: cells along each axis
    index: NDArray[np.intp]  #: (cells, 3) place in the grid
    air: Real  #: (cells, SUB³) share of each part that is air; parts in C order

    @property
    def share(self) -> Real:
        """Share of each cell that is air, shape ``(cells,)``."""
        return np.asarray(self.air @ unit_parts().weight)

    @property
    def volume_m3(self) -> float:
        """Volume of air as the grid sees it [m³]."""
        return float(self.share.sum() * np.prod(self.size_m))


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
    shape = np.maximum(1, np.ceil((high - low) / cell_m - 1e-9)).astype(int)
    if np.prod(shape.astype(float)) > 60_000:
        raise ValueError(
            f"cells of {cell_m} m are too small for a space of {np.round(high - low, 2)} m; make them larger"
        )
    size = (high - low) / shape
    index = np.argwhere(np.ones(shape))
    centres = low + (index + 0.5) * size
    whole = shell.inside(centres)
    reach = 0.5 * float(np.linalg.norm(size))
    cut = np.isfinite(shell.nearest(centres, within_m=reach).distance_m)
    air = np.repeat(whole[:, None].astype(np.float64), SUB**3, axis=1)
    parts = unit_parts()
    centres = (low + (index[cut, None] + parts.centre) * size).reshape(-1, 3)
    sizes = np.tile(parts.size * size, (int(cut.sum()), 1))
    air[cut] = _air(shell, centres, sizes).reshape(-1, SUB**3)
    holds = air @ parts.weight > NEGLIGIBLE
    return Cells(low, size, (int(shape[0]), int(shape[1]), int(shape[2])), index[holds], air[holds])


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
