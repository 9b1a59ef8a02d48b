"""Rooms that the tests of the cabin's low notes share. All are invented."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

Facets = list[NDArray[np.float64]]
AWRY = Rotation.from_euler("xyz", (0.3, 0.5, 0.2)).as_matrix()  #: so that nothing lies along the grid


def prism(outline: NDArray[np.float64], height_m: float) -> Facets:
    """A room of height ``height_m`` over a flat outline (n, 2)."""
    floor = np.column_stack([outline, np.zeros(len(outline))])
    roof = floor + np.array([0.0, 0.0, height_m])
    after = [*range(1, len(outline)), 0]
    return [floor, roof, *(np.array([floor[i], floor[j], roof[j], roof[i]]) for i, j in enumerate(after))]


def box(length_m: float = 2.4, width_m: float = 1.4, height_m: float = 1.1) -> Facets:
    return prism(np.array([[0, 0], [length_m, 0], [length_m, width_m], [0, width_m]], dtype=float), height_m)


def turned(facets: Facets) -> Facets:
    """The same room, awry to the axes."""
    return [facet @ AWRY.T for facet in facets]


def cabin() -> Facets:
    """3 m long, 1.5 m wide and 1.2 m high, with slanted windscreen and tail: x rearward, y right, z up."""
    side = np.array([[0.0, 0.0], [0.0, 0.5], [0.9, 1.2], [2.4, 1.2], [3.0, 0.6], [3.0, 0.0]])
    return [np.column_stack([f[:, 0], f[:, 2] - 0.75, f[:, 1]]) for f in prism(side, 1.5)]


def box_hz(lengths: tuple[float, ...] = (2.4, 1.4, 1.1), c: float = 343.2, below: float = 300.0) -> NDArray[np.float64]:
    """Closed form: ``c/2 sqrt((l/Lx)² + (m/Ly)² + (n/Lz)²)`` (Rayleigh; Kuttruff, Room Acoustics)."""
    order = np.argwhere(np.ones((9, 9, 9)))
    every = np.sort(0.5 * c * np.linalg.norm(order / lengths, axis=1))
    return every[every < below]


def with_back(thick_m: float, start_m: float = 1.31, high_m: float = 0.63) -> Facets:
    """The box, 2.4 m long and 1.1 m high, with a wall across its floor that leaves the air above it free."""
    end_m = start_m + thick_m
    side = [[0, 0], [start_m, 0], [start_m, high_m], [end_m, high_m], [end_m, 0], [2.4, 0], [2.4, 1.1], [0, 1.1]]
    return [facet[:, [0, 2, 1]] for facet in prism(np.array(side, dtype=float), 1.4)]


def back_hz(thick_m: float, start_m: float = 1.31, high_m: float = 0.63, below: float = 250.0) -> NDArray[np.float64]:
    """Modes of that room from a mesh that fits its side view, with scikit-fem; across the width in closed form."""
    from scipy.sparse.linalg import eigsh
    from skfem import Basis, ElementQuad2, MeshQuad, asm
    from skfem.models.poisson import laplace, mass

    end_m = start_m + thick_m
    along = np.r_[np.linspace(0, start_m, 27), np.linspace(start_m, end_m, 5), np.linspace(end_m, 2.4, 23)]
    up = np.r_[np.linspace(0, high_m, 14), np.linspace(high_m, 1.1, 11)]
    mesh = MeshQuad.init_tensor(np.unique(along.round(9)), np.unique(up.round(9)))
    x, z = mesh.p[:, mesh.t].mean(axis=1)
    mesh = mesh.remove_elements(np.flatnonzero((x > start_m) & (x < end_m) & (z < high_m)))
    basis = Basis(mesh, ElementQuad2())
    squares = eigsh(asm(laplace, basis), k=25, M=asm(mass, basis), sigma=-0.5)[0]
    every = np.sqrt(np.maximum(squares[:, None], 0.0) + (np.pi * np.arange(6) / 1.4) ** 2).ravel()
    hz = np.sort(every) * 343.2 / (2.0 * np.pi)
    return hz[hz < below]
