"""A network of measured distances and what else ties its points together: the observation equations.

``v = measured - computed`` for every row: tapes first, then linear rows (heights, offsets, mirror pairs), then one row for
each point that is known to lie on a common plane. A tape between points a and b measures ``|x_a - x_b|``, whose derivative
by ``x_a`` is the unit vector from b to a (Ghilani 2017, chapters 14 and 16). A point of a plane is measured to lie at the
distance 0 from it; the plane itself (two tilts and a shift) is unknown and enters as three nuisance columns.

Columns of the design matrix: the coordinates, point by point; then the centre line's y; then three per plane.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

__all__ = ["NEAREST_M", "Array", "Indices", "Mask", "Misfit", "Network", "misfit"]

Array = NDArray[np.float64]
Indices = NDArray[np.intp]
Mask = NDArray[np.bool_]
NEAREST_M = 1e-9  #: two points on one spot have no direction


@dataclass(frozen=True)
class Network:
    """What was measured, on plain arrays. Points are known by their number."""

    fixed_m: Array  #: (points, 3) coordinates that the frame fixes; NaN where they are to be found
    near_m: Array  #: (points, 3) rough guess that chooses a mirror image; NaN where there is none
    ground: Mask  #: (points,) points that the frame is made of, rigid among themselves
    tape_ends: Indices  #: (tapes, 2)
    tape_m: Array  #: (tapes,)
    tape_sigma_m: Array  #: (tapes,)
    linear: Array  #: (rows, 3 points + 1) factors of the coordinates and, last, of the centre line's y
    linear_m: Array  #: (rows,)
    linear_sigma_m: Array  #: (rows,)
    planes: tuple[tuple[Indices, float], ...] = ()  #: points on one plane, and their sigma [m]
    centre_free: bool = False  #: whether the centre line's y is unknown; else it is 0
    ahead: tuple[tuple[int, int, int], ...] = field(default=())  #: (point, axis, origin): lies beyond the origin

    @property
    def points(self) -> int:
        """How many points there are."""
        return int(self.fixed_m.shape[0])

    @property
    def tapes(self) -> int:
        """How many tapes there are."""
        return int(self.tape_m.size)

    @property
    def rows(self) -> int:
        """How many equations there are."""
        return self.tapes + int(self.linear_m.size) + sum(len(points) for points, _ in self.planes)

    @cached_property
    def sigma_m(self) -> Array:
        """(rows,) standard deviation of each row."""
        planes = [np.full(len(points), sigma_m) for points, sigma_m in self.planes]
        return np.concatenate([self.tape_sigma_m, self.linear_sigma_m, *planes])

    @cached_property
    def free(self) -> Mask:
        """(columns,) which columns are unknown; those of planes always are."""
        return np.concatenate([np.isnan(self.fixed_m).ravel(), [self.centre_free], np.ones(3 * len(self.planes), bool)])

    @cached_property
    def linked(self) -> Mask:
        """(points, points) whether two points are tied to one another by a tape, a pair, a plane or the frame."""
        link = np.outer(self.ground, self.ground)
        link[self.tape_ends[:, 0], self.tape_ends[:, 1]] = True
        touched = np.any(self.linear[:, :-1].reshape(-1, self.points, 3) != 0.0, axis=2)
        for group in [*map(np.flatnonzero, touched), *(points for points, _ in self.planes)]:
            link[np.ix_(group, group)] = True
        link |= link.T
        np.fill_diagonal(link, False)
        return link


@dataclass(frozen=True)
class Misfit:
    """The equations at one set of coordinates."""

    v_m: Array  #: (rows,) measured minus computed
    design: Array  #: (rows, columns) derivative of what is computed


def misfit(network: Network, at_m: Array, centre_m: float = 0.0) -> Misfit:
    """The equations of ``network`` at the coordinates ``at_m`` [m] with the centre line at y = ``centre_m`` [m].

    ``at_m`` has the shape (points, 3), or more columns: dimensions beyond the third that only lengths know of, through which
    a first guess can be unfolded.
    """
    points, dimensions = at_m.shape
    v_m = np.empty(network.rows)
    design = np.zeros((network.rows, points * dimensions + 1 + 3 * len(network.planes)))
    blocks = design[:, : points * dimensions].reshape(network.rows, points, dimensions)
    tapes = np.arange(network.tapes)
    first, second = network.tape_ends.T
    gap_m = at_m[first] - at_m[second]
    length_m = np.maximum(np.linalg.norm(gap_m, axis=1), NEAREST_M)
    v_m[tapes] = network.tape_m - length_m
    blocks[tapes, first] = gap_m / length_m[:, None]
    blocks[tapes, second] = -gap_m / length_m[:, None]

    linear = slice(network.tapes, network.tapes + network.linear_m.size)
    factors = network.linear[:, :-1]
    blocks[linear, :, :3] = factors.reshape(-1, points, 3)
    design[linear, points * dimensions] = network.linear[:, -1]
    v_m[linear] = network.linear_m - factors @ at_m[:, :3].ravel() - network.linear[:, -1] * centre_m

    row, column = linear.stop, points * dimensions + 1
    for members, _ in network.planes:
        out_m, normal, tilts = _plane(at_m[members, :3])
        here = np.arange(row, row + len(members))
        v_m[here] = -out_m
        blocks[here, members, :3] = normal
        design[here, column : column + 2] = tilts
        design[here, column + 2] = -1.0
        row, column = row + len(members), column + 3
    return Misfit(v_m, design)


def _plane(at_m: Array) -> tuple[Array, Array, Array]:
    """Best plane through points: their distance from it, its normal, and how far along it they lie, both ways."""
    shifted = at_m - at_m.mean(axis=0)
    axes = np.linalg.svd(shifted, full_matrices=True)[2]
    return shifted @ axes[2], axes[2], shifted @ axes[:2].T
