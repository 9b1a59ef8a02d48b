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
