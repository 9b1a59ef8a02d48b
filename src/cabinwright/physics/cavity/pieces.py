"""Cells that a wall divides, as one piece for each side.

A seat back is thinner than a cell, and sound must not pass from one side of it to the other only because both lie in the
same cell. Such a cell becomes several pieces, each with corners of its own, which it shares with those neighbours that
air can reach (Hansbo & Hansbo 2004, Comput. Methods Appl. Mech. Eng. 193, 3523). What is connected is seen at the parts'
points: two neighbours are, when the straight way between them crosses no wall.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from .cells import SUB, Cells, unit_parts
from .shell import Shell
from .triangles import crossed, nearest

__all__ = ["CORNERS", "Pieces", "divide"]

Real = NDArray[np.float64]
Whole = NDArray[np.intp]
CORNERS = np.array([[1, 1, 1], [1, 1, 0], [1, 0, 1], [0, 1, 1], [1, 0, 0], [0, 1, 0], [0, 0, 1], [0, 0, 0]])
"""Corners of a box in scikit-fem's order."""


@dataclass(frozen=True)
class Pieces:
    """Cells, or sides of cells, that hold air."""

    cells: Cells
    index: Whole  #: (pieces, 3) place in the grid
    air: Real  #: (pieces, SUB³) share of each part that is this piece's air
    vertex: Whole  #: (pieces, 8) number of the corner, in scikit-fem's order; sides of a wall have corners of their own
    links: Whole  #: (pairs, 2) neighbours between which air can pass
    walls_m: Real  #: (triangles, 3, 3) everything that sound does not pass through

    @property
    def share(self) -> Real:
        """Share of each piece's cell that is its air, shape ``(pieces,)``."""
        return np.asarray(self.air @ unit_parts().weight)

    @property
    def spaces(self) -> int:
        """How many spaces there are without a way from one to another."""
        return int(_groups(self.links, len(self.index)).max()) + 1


def divide(cells: Cells, shell: Shell) -> Pieces:
    """``cells`` with each side of a wall, or of a free sheet, as a piece of its own."""
    walls = np.concatenate([shell.triangles_m, shell.sheets_m])
    number, share = _grid(cells)
    place = _points(cells)
    has = share > 0.0
    open_air = has.copy()
    unsure = has & (share < 1.0)
    open_air[unsure] = shell.inside(place[unsure])
    pairs = _ways(cells, place, open_air, walls)
    flat = number.reshape(-1)
    within = flat[pairs[:, 0]] == flat[pairs[:, 1]]
    side = _groups(pairs[within], flat.size)
    _attach(side, flat, open_air.reshape(-1), has.reshape(-1), place.reshape(-1, 3))
    parts = np.flatnonzero(has.reshape(-1))
    _, piece = np.unique(side[parts], return_inverse=True)
    owner = np.full(flat.size, -1, dtype=np.intp)
    owner[parts] = piece
    cell = np.zeros(int(piece.max()) + 1, dtype=np.intp)
    cell[piece] = flat[parts]
    air = np.zeros((len(cell), SUB**3))
    air[piece, _within_cell(cells).reshape(-1)[parts]] = share.reshape(-1)[parts]
    links = np.unique(np.sort(owner[pairs[~within]], axis=1), axis=0)
    index = cells.index[cell]
    links = _rescue(links, owner.reshape(share.shape), len(cell))
    return Pieces(cells, index, air, _vertices(index, links), links, walls)


def _spread(cells: Cells, values: NDArray[np.generic], empty: float) -> NDArray[np.generic]:
    """Values of parts ``(cells, SUB³)`` laid out over the whole grid of parts."""
    dense = np.full((*cells.shape, SUB, SUB, SUB), empty, dtype=values.dtype)
    dense[tuple(cells.index.T)] = values.reshape(-1, SUB, SUB, SUB)
    return dense.transpose(0, 3, 1, 4, 2, 5).reshape(np.multiply(cells.shape, SUB))


def _grid(cells: Cells) -> tuple[Whole, Real]:
    """Number of the cell and share of air for every part of the grid; -1 and 0 where there is none."""
    number = np.repeat(np.arange(len(cells.index))[:, None], SUB**3, axis=1)
    return np.asarray(_spread(cells, number, -1), dtype=np.intp), np.asarray(
        _spread(cells, cells.air, 0.0), dtype=np.float64
    )


def _within_cell(cells: Cells) -> Whole:
    """For every part of the grid, which part of its cell it is."""
    inside = np.arange(SUB**3).reshape(SUB, SUB, SUB)
    return np.asarray(np.tile(inside, cells.shape), dtype=np.intp)


def _points(cells: Cells) -> Real:
    """Where each part of the grid is evaluated, shape ``(*grid, 3)``."""
    along = unit_parts().point[:SUB, 2]
    axes = [(line[:-1, None] + np.diff(line)[:, None] * along).ravel() for line in cells.lines_m]
    return np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)


def _ways(cells: Cells, place: Real, open_air: NDArray[np.bool_], walls: Real) -> Whole:
    """Pairs of neighbouring parts (flat numbers) between whose points no wall stands."""
    numbers = np.arange(open_air.size).reshape(open_air.shape)
    close = np.zeros(open_air.shape, dtype=bool)
    reach = float(cells.size_m(cells.index).max())
    close[open_air] = np.isfinite(nearest(place[open_air], walls, within_m=reach).distance_m)
    found = []
    for axis in range(3):
        first = tuple(slice(None, -1) if i == axis else slice(None) for i in range(3))
        second = tuple(slice(1, None) if i == axis else slice(None) for i in range(3))
        free = open_air[first] & open_air[second]
        doubt = free & close[first]
        free[doubt] = ~crossed(place[first][doubt], place[second][doubt], walls)
        found.append(np.column_stack([numbers[first][free], numbers[second][free]]))
    return np.vstack(found)


def _groups(pairs: Whole, count: int) -> Whole:
    """Number of the connected group of each of ``count`` nodes."""
    graph = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.intp)


def _attach(side: Whole, cell: Whole, open_air: NDArray[np.bool_], has: NDArray[np.bool_], place: Real) -> None:
    """Parts that hold air, but not at their point, join the nearest part of their cell that does; changes ``side``."""
    lost = np.flatnonzero(has & ~open_air)
    known = np.flatnonzero(open_air)
    known = known[np.argsort(cell[known], kind="stable")]
    starts = np.searchsorted(cell[known], np.arange(cell.max() + 2))
    for number in np.unique(cell[lost]):
        mine = lost[cell[lost] == number]
        others = known[starts[number] : starts[number + 1]]
        if len(others):
            apart = np.linalg.norm(place[mine, None] - place[others], axis=2)
            side[mine] = side[others[np.argmin(apart, axis=1)]]
        else:
            side[mine] = side[mine[0]]


def _rescue(links: Whole, owner: Whole, count: int) -> Whole:
    """Pieces without any link, all slivers, touch their neighbours wherever parts with air meet."""
    alone = np.ones(count, dtype=bool)
    alone[links.ravel()] = False
    more = [links]
    for axis in range(3):
        a, b = np.delete(owner, -1, axis=axis).ravel(), np.delete(owner, 0, axis=axis).ravel()
        meet = (a >= 0) & (b >= 0) & (a != b)
        meet[meet] = alone[a[meet]] | alone[b[meet]]
        more.append(np.column_stack([a[meet], b[meet]]))
    return np.unique(np.sort(np.vstack(more), axis=1), axis=0)


def _vertices(index: Whole, links: Whole) -> Whole:
    """Corner numbers (pieces, 8): corners at one spot are the same where their pieces are linked."""
    apart = index[links[:, 1]] - index[links[:, 0]]
    pairs = []
    for first, corner in enumerate(CORNERS):
        there = corner - apart  # the same spot, seen from the second piece
        shared = np.all((there >= 0) & (there <= 1), axis=1)
        second = np.argmax(np.all(there[shared, None] == CORNERS, axis=2), axis=1)
        pairs.append(np.column_stack([links[shared, 0] * 8 + first, links[shared, 1] * 8 + second]))
    return _groups(np.vstack(pairs), len(index) * 8).reshape(-1, 8)
