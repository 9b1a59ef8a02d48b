"""Stiffness and mass of the air on a grid that the shell cuts, with scikit-fem's triquadratic boxes.

For a function ``u`` on the grid, ``u·K·u`` is the integral of ``|grad u|²`` and ``u·M·u`` that of ``u²``, both over the air
alone. Where a cell holds little air its own unknowns would be all but free; following the aggregated finite element
method (Badia, Verdugo & Martín 2018, Comput. Methods Appl. Mech. Eng. 336, 533) they continue the polynomial of a well
filled neighbour. All modes then lie slightly above the true ones (Rayleigh–Ritz), and no false ones appear.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csc_array, csr_array

from .cells import Cells, unit_parts

__all__ = ["Elements", "assemble", "sample"]

Real = NDArray[np.float64]
WELL_FILLED = 0.35  #: share of air from which a cell stands on its own
CORNERS = np.array([[1, 1, 1], [1, 1, 0], [1, 0, 1], [0, 1, 1], [1, 0, 0], [0, 1, 0], [0, 0, 1], [0, 0, 0]])
"""Corners of a box in scikit-fem's order."""


@dataclass(frozen=True)
class Elements:
    """Finite elements over ``cells``, reduced to unknowns that stand on their own."""

    cells: Cells
    dofs: NDArray[np.intp]  #: (27, cells) numbers of the values that each cell uses
    continued: csr_array[np.float64]  #: (values, unknowns): every value from the unknowns
    stiffness: csc_array[np.float64]  #: (unknowns, unknowns) [m]
    mass: csc_array[np.float64]  #: (unknowns, unknowns) [m³]


def assemble(cells: Cells) -> Elements:
    """Finite elements over ``cells``. Raises ``ValueError`` where no cell holds enough air to stand on its own."""
    from skfem import Basis, BilinearForm, ElementHex2, MeshHex, asm  # here, because it costs a quarter of a second
    from skfem.helpers import dot, grad

    @BilinearForm  # type: ignore[untyped-decorator]
    def stiff(u: Any, v: Any, w: Any) -> Any:
        return w.air * dot(grad(u), grad(v))

    @BilinearForm  # type: ignore[untyped-decorator]
    def massive(u: Any, v: Any, w: Any) -> Any:
        return w.air * u * v

    corners = cells.index[:, None] + CORNERS
    points, vertex = np.unique(corners.reshape(-1, 3), axis=0, return_inverse=True)
    place = cells.origin_m + points * cells.size_m
    mesh = MeshHex(place.T.copy(), vertex.reshape(-1, 8).T.copy())
    whole = np.flatnonzero(cells.air.min(axis=1) == 1.0)
    cut = np.flatnonzero(cells.air.min(axis=1) < 1.0)
    parts = unit_parts()
    bases = [Basis(mesh, ElementHex2(), elements=cut, quadrature=(parts.point.T, parts.weight))] if len(cut) else []
    weights = [cells.air[cut]] if len(cut) else []
    if len(whole):
        bases.append(Basis(mesh, ElementHex2(), elements=whole, intorder=5))
        weights.append(np.ones(bases[-1].dx.shape))
    full = [
        sum(asm(form, basis, air=air) for basis, air in zip(bases, weights, strict=True)) for form in (stiff, massive)
    ]
    dofs = np.asarray(bases[0].dofs.element_dofs, dtype=np.intp)
    continued = _continue(cells, dofs, bases[0].doflocs.T)
    stiffness, mass = (csc_array(continued.T @ csr_array(matrix) @ continued) for matrix in full)
    return Elements(cells, dofs, continued, stiffness, mass)


def shapes(local: Real) -> Real:
    """The 27 shape functions at points ``(n, 3)`` in a cell's own 0 to 1 coordinates, shape ``(n, 27)``."""
    from skfem import ElementHex2

    element = ElementHex2()
    return np.column_stack([element.lbasis(local.T, i)[0] for i in range(27)])


def _continue(cells: Cells, dofs: NDArray[np.intp], place: Real) -> csr_array[np.float64]:
    """Every value from the unknowns: itself where a well-filled cell uses it, else from such a cell nearby."""
    root = _roots(cells)
    free = np.zeros(len(place), dtype=bool)
    free[dofs[:, root == np.arange(len(root))]] = True
    number = np.cumsum(free) - 1
    owner = np.zeros(len(place), dtype=np.intp)
    order = np.argsort(cells.share)  # the best filled of the cells around a value decides
    owner[dofs[:, order]] = root[order]
    bound = np.flatnonzero(~free)
    cell = owner[bound]
    local = (place[bound] - cells.origin_m) / cells.size_m - cells.index[cell]
    rows = np.concatenate([np.flatnonzero(free), np.repeat(bound, 27)])
    columns = np.concatenate([number[free], number[dofs[:, cell].T.ravel()]])
    values = np.concatenate([np.ones(free.sum()), shapes(local).ravel()])
    return csr_array((values, (rows, columns)), shape=(len(place), int(free.sum())))


def _roots(cells: Cells) -> NDArray[np.intp]:
    """For each cell the well-filled cell that it belongs to: itself, or the first reached from face to face."""
    lookup = np.full(np.add(cells.shape, 2), -1, dtype=np.intp)
    inner = cells.index + 1
    lookup[tuple(inner.T)] = np.arange(len(inner))
    root = np.where(cells.share >= WELL_FILLED, np.arange(len(inner)), -1)
    steps = np.vstack([np.eye(3, dtype=np.intp), -np.eye(3, dtype=np.intp)])
    while np.any(root < 0):
        lost = np.flatnonzero(root < 0)
        beside = lookup[tuple(np.moveaxis(inner[lost, None] + steps, -1, 0))]
        known = np.where((beside >= 0) & (root[beside] >= 0), cells.share[beside], -1.0)
        best = beside[np.arange(len(lost)), np.argmax(known, axis=1)]
        found = known.max(axis=1) >= 0.0
        if not found.any():
            raise ValueError("the space is thinner than a cell; make the cells smaller")
        root[lost[found]] = root[best[found]]
    return root


def sample(elements: Elements, points_m: Real) -> csr_array[np.float64]:
    """Matrix ``(points, unknowns)`` that gives a function's value at points ``(points, 3)`` in or just outside the air.

    A point in a cell without air takes the polynomial of the nearest cell that has some.
    """
    cells = elements.cells
    scaled = (points_m - cells.origin_m) / cells.size_m
    lookup = np.full(cells.shape, -1, dtype=np.intp)
    lookup[tuple(cells.index.T)] = np.arange(len(cells.index))
    at = np.clip(np.floor(scaled).astype(np.intp), 0, np.subtract(cells.shape, 1))
    cell = lookup[tuple(at.T)]
    lost = np.flatnonzero(cell < 0)
    if len(lost):
        aside = np.abs((scaled[lost, None] - cells.index - 0.5) * cells.size_m).sum(axis=2)
        cell[lost] = np.argmin(aside, axis=1)
    local = scaled - cells.index[cell]
    rows = np.repeat(np.arange(len(points_m)), 27)
    entries = shapes(local).ravel(), (rows, elements.dofs[:, cell].T.ravel())
    spread = csr_array(entries, shape=(len(points_m), elements.continued.shape[0]))
    return csr_array(spread @ elements.continued)
