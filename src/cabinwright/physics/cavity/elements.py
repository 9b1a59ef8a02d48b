"""Stiffness and mass of the air on a grid that the shell cuts, with scikit-fem's triquadratic boxes.

For a function ``u`` on the grid, ``u·K·u`` is the integral of ``|grad u|²`` and ``u·M·u`` that of ``u²``, both over the air
alone. Where a cell holds little air its own unknowns would be all but free; following the aggregated finite element
method (Badia, Verdugo & Martín 2018, Comput. Methods Appl. Mech. Eng. 336, 533) they continue the polynomial of a well
filled neighbour; air thinner than a fifth of a cell is seen only so. Modes then lie slightly above the true ones
(Rayleigh–Ritz), and no false ones appear.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csc_array, csr_array

from .cells import unit_parts
from .pieces import CORNERS, Pieces
from .triangles import crossed

__all__ = ["Elements", "assemble", "sample"]

Real = NDArray[np.float64]
WELL_FILLED = 0.2  #: share of air from which a cell stands on its own
NEAR_PARTS = 8  #: how many parts of a cell are tried for the side that a point lies on


@dataclass(frozen=True)
class Elements:
    """Finite elements over ``pieces``, reduced to unknowns that stand on their own."""

    pieces: Pieces
    dofs: NDArray[np.intp]  #: (27, pieces) numbers of the values that each piece uses
    continued: csr_array[np.float64]  #: (values, unknowns): every value from the unknowns
    stiffness: csc_array[np.float64]  #: (unknowns, unknowns) [m]
    mass: csc_array[np.float64]  #: (unknowns, unknowns) [m³]


def assemble(pieces: Pieces) -> Elements:
    """Finite elements over ``pieces``. Raises ``ValueError`` where air has no well-filled piece to belong to."""
    from skfem import Basis, BilinearForm, ElementHex2, MeshHex, asm  # here, because it costs a quarter of a second
    from skfem.helpers import dot, grad

    @BilinearForm  # type: ignore[untyped-decorator]
    def stiff(u: Any, v: Any, w: Any) -> Any:
        return w.air * dot(grad(u), grad(v))

    @BilinearForm  # type: ignore[untyped-decorator]
    def massive(u: Any, v: Any, w: Any) -> Any:
        return w.air * u * v

    place = np.zeros((int(pieces.vertex.max()) + 1, 3))
    place[pieces.vertex] = pieces.cells.corner_m(pieces.index[:, None] + CORNERS)
    mesh = MeshHex(place.T.copy(), pieces.vertex.T.copy())
    whole = np.flatnonzero(pieces.air.min(axis=1) == 1.0)
    cut = np.flatnonzero(pieces.air.min(axis=1) < 1.0)
    parts = unit_parts()
    bases = [Basis(mesh, ElementHex2(), elements=cut, quadrature=(parts.point.T, parts.weight))] if len(cut) else []
    weights = [pieces.air[cut]] if len(cut) else []
    if len(whole):
        bases.append(Basis(mesh, ElementHex2(), elements=whole, intorder=5))
        weights.append(np.ones(bases[-1].dx.shape))
    full = [
        sum(asm(form, basis, air=air) for basis, air in zip(bases, weights, strict=True)) for form in (stiff, massive)
    ]
    dofs = np.asarray(bases[0].dofs.element_dofs, dtype=np.intp)
    continued = _continue(pieces, dofs, bases[0].doflocs.T)
    stiffness, mass = (csc_array(continued.T @ csr_array(matrix) @ continued) for matrix in full)
    return Elements(pieces, dofs, continued, stiffness, mass)


def shapes(local: Real) -> Real:
    """The 27 shape functions at points ``(n, 3)`` in a cell's own 0 to 1 coordinates, shape ``(n, 27)``."""
    from skfem import ElementHex2

    element = ElementHex2()
    return np.column_stack([element.lbasis(local.T, i)[0] for i in range(27)])


def _continue(pieces: Pieces, dofs: NDArray[np.intp], place: Real) -> csr_array[np.float64]:
    """Every value from the unknowns: itself where a well-filled cell uses it, else from such a cell nearby."""
    root = _roots(pieces)
    free = np.zeros(len(place), dtype=bool)
    free[dofs[:, root == np.arange(len(root))]] = True
    number = np.cumsum(free) - 1
    owner = np.zeros(len(place), dtype=np.intp)
    order = np.argsort(pieces.share)  # the best filled of the pieces around a value decides
    owner[dofs[:, order]] = root[order]
    bound = np.flatnonzero(~free)
    cell = owner[bound]
    local = _local(pieces, place[bound], cell)
    rows = np.concatenate([np.flatnonzero(free), np.repeat(bound, 27)])
    columns = np.concatenate([number[free], number[dofs[:, cell].T.ravel()]])
    values = np.concatenate([np.ones(free.sum()), shapes(local).ravel()])
    return csr_array((values, (rows, columns)), shape=(len(place), int(free.sum())))


def _roots(pieces: Pieces) -> NDArray[np.intp]:
    """For each piece the well-filled one that it belongs to: itself, or the first reached from neighbour to neighbour."""
    share = pieces.share
    root = np.where(share >= WELL_FILLED, np.arange(len(share)), -1)
    both = np.vstack([pieces.links, pieces.links[:, ::-1]])
    both = both[np.argsort(share[both[:, 1]], kind="stable")]  # later ones count: the best filled neighbour
    while np.any(root < 0):
        usable = both[(root[both[:, 0]] < 0) & (root[both[:, 1]] >= 0)]
        if not len(usable):
            raise ValueError("the space is thinner than a cell; make the cells smaller")
        root[usable[:, 0]] = root[usable[:, 1]]
    return root


def sample(elements: Elements, points_m: Real) -> csr_array[np.float64]:
    """Matrix ``(points, unknowns)`` that gives a function's value at points ``(points, 3)`` in or just outside the air.

    A point in a cell without air takes the polynomial of the nearest piece; in a cell that a wall divides, that of the
    side it lies on.
    """
    pieces = elements.pieces
    cells = pieces.cells
    at = cells.holding(points_m)
    spot = np.ravel_multi_index(tuple(pieces.index.T), cells.shape)
    order = np.argsort(spot, kind="stable")
    wanted = np.ravel_multi_index(tuple(at.T), cells.shape)
    first, last = (np.searchsorted(spot[order], wanted, side=side) for side in ("left", "right"))
    piece = order[np.minimum(first, len(order) - 1)]
    lost = np.flatnonzero(first == last)
    if len(lost):
        middle = 0.5 * (cells.corner_m(pieces.index) + cells.corner_m(pieces.index + 1))
        aside = np.abs(points_m[lost, None] - middle).sum(axis=2)
        piece[lost] = np.argmin(aside, axis=1)
    split = np.flatnonzero(last - first > 1)
    if len(split):
        beside = first[split, None] + np.arange(int((last - first).max()))
        candidates = np.where(beside < last[split, None], order[np.minimum(beside, len(order) - 1)], -1)
        piece[split] = _sides(pieces, points_m[split], candidates)
    local = _local(pieces, points_m, piece)
    rows = np.repeat(np.arange(len(points_m)), 27)
    entries = shapes(local).ravel(), (rows, elements.dofs[:, piece].T.ravel())
    spread = csr_array(entries, shape=(len(points_m), elements.continued.shape[0]))
    return csr_array(spread @ elements.continued)


def _local(pieces: Pieces, points_m: Real, piece: NDArray[np.intp]) -> Real:
    """Points in their pieces' own 0 to 1 coordinates."""
    index = pieces.index[piece]
    return np.asarray((points_m - pieces.cells.corner_m(index)) / pieces.cells.size_m(index))


def _sides(pieces: Pieces, points: Real, candidates: NDArray[np.intp]) -> NDArray[np.intp]:
    """The piece of a divided cell that each point (n, 3) lies in: of the nearest part with no wall between.

    ``candidates`` (n, most) are the pieces of each point's cell, -1 where it has fewer.
    """
    index = pieces.index[candidates[:, 0]][:, None]
    parts = pieces.cells.corner_m(index) + unit_parts().point * pieces.cells.size_m(index)
    owner = np.full(parts.shape[:2], -1, dtype=np.intp)
    for column in candidates.T:
        mine = (pieces.air[column] > 0.0) & (column >= 0)[:, None]
        owner = np.where(mine, column[:, None], owner)
    apart = np.where(owner >= 0, np.linalg.norm(parts - points[:, None], axis=2), np.inf)
    near = np.argsort(apart, axis=1, kind="stable")[:, :NEAR_PARTS]
    every = np.arange(len(points))[:, None]
    ends = parts[every, near]
    starts = np.broadcast_to(points[:, None], ends.shape)
    free = ~crossed(starts.reshape(-1, 3), ends.reshape(-1, 3), pieces.walls_m).reshape(near.shape)
    free &= owner[every, near] >= 0
    return np.asarray(owner[every[:, 0], near[every[:, 0], np.argmax(free, axis=1)]], dtype=np.intp)
