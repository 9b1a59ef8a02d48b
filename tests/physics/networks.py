"""Invented networks whose true coordinates are known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.network.equations import Network

__all__ = ["SIGMA_M", "blundered", "invented", "linear_rows", "measured"]

SIGMA_M = 0.003
APART_M = 0.15
BOX_M = ([0.0, -0.8, 0.0], [2.5, 0.8, 1.2])
Array = NDArray[np.float64]


def measured(true_m: Array, ends: Array, rng: np.random.Generator, **changed: object) -> Network:
    """A network of these tapes, read with an error of ``SIGMA_M``; the first four points are known."""
    count = len(true_m)
    length_m = np.linalg.norm(true_m[ends[:, 0]] - true_m[ends[:, 1]], axis=1)
    fixed = np.where(np.arange(count)[:, None] < 4, true_m, np.nan)
    network = Network(
        fixed_m=fixed,
        near_m=np.full((count, 3), np.nan),
        ground=np.arange(count) < 4,
        tape_ends=ends,
        tape_m=length_m + rng.normal(0.0, SIGMA_M, len(ends)),
        tape_sigma_m=np.full(len(ends), SIGMA_M),
        linear=np.zeros((0, 3 * count + 1)),
        linear_m=np.zeros(0),
        linear_sigma_m=np.zeros(0),
    )
    return replace(network, **changed)  # type: ignore[arg-type]


def invented(seed: int, *, points: int = 12, tapes: int = 6) -> tuple[Array, Network]:
    """True coordinates and a network in which every new point has ``tapes`` tapes to points before it or so."""
    rng = np.random.default_rng(seed)
    true_m = np.full((points, 3), np.inf)
    # Four known points that are far from one plane: the corners of a tetrahedron in the box.
    true_m[:4] = [[0.0, -0.8, 0.0], [0.1, 0.8, 1.2], [2.4, -0.7, 1.1], [2.5, 0.8, 0.1]]
    for point in range(4, points):  # nobody holds a tape to two points that are a hand's breadth apart
        while np.linalg.norm(true_m[:point] - true_m[point], axis=1).min() < APART_M or np.isinf(true_m[point]).any():
            true_m[point] = rng.uniform(*BOX_M)
    pairs: set[tuple[int, int]] = set()
    for point in range(4, points):
        others = rng.permutation(point)
        pairs.update((int(other), point) for other in others[: tapes - 1])
        pairs.add((int(rng.integers(4)), point))
    return true_m, measured(true_m, np.array(sorted(pairs), dtype=np.intp), rng)


def blundered(network: Network, tape: int, error_m: float) -> Network:
    """The network with one tape misread."""
    tape_m = network.tape_m.copy()
    tape_m[tape] += error_m
    return replace(network, tape_m=tape_m)


def linear_rows(points: int, rows: list[tuple[dict[int, float], float, float]]) -> dict[str, Array]:
    """Linear rows of a network from (factor of each column, value [m], sigma [m])."""
    factors = np.zeros((len(rows), 3 * points + 1))
    for number, (terms, _, _) in enumerate(rows):
        for column, factor in terms.items():
            factors[number, column] = factor
    return {
        "linear": factors,
        "linear_m": np.array([row[1] for row in rows]),
        "linear_sigma_m": np.array([row[2] for row in rows]),
    }
