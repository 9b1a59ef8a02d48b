"""One point from its distances to others: trilateration from three at a time, judged by all of them.

Three spheres meet in two points, mirror images across the plane of their centres (closed form: Manolakis 1996). Every
triple gives its two; the one that most distances agree with is taken, so that a wild reading has no say.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np

from cabinwright.physics.network.equations import Array, Network

__all__ = ["ROBUST_M", "hop", "meet", "place", "place_in_turn"]

ROBUST_M = 0.05  #: Cauchy's scale: a reading this far off counts half
MOST_TRIPLES = 60
PASSES = 12
BETTER = 0.98  #: a point moves where what its distances say gets better by more than rounding
FLAT = 1e-4  #: sine of the angle below which three centres are on one line


def meet(centres_m: Array, distance_m: Array) -> Array:
    """Both points where three spheres meet: centres (cases, 3, 3) [m], distances (cases, 3) [m] -> (cases, 2, 3) [m].

    Spheres that do not quite meet give the point of their centres' plane that is nearest to all; centres on one line NaN.
    """
    first = centres_m[:, 1] - centres_m[:, 0]
    second = centres_m[:, 2] - centres_m[:, 0]
    base = np.linalg.norm(first, axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        x_axis = first / base[:, None]
        along = np.einsum("ij,ij->i", x_axis, second)
        across = second - along[:, None] * x_axis
        width = np.linalg.norm(across, axis=1)
        y_axis = across / width[:, None]
        squared = distance_m**2
        x = (squared[:, 0] - squared[:, 1] + base**2) / (2.0 * base)
        y = (squared[:, 0] - squared[:, 2] + along**2 + width**2 - 2.0 * along * x) / (2.0 * width)
        height = np.sqrt(np.maximum(squared[:, 0] - x**2 - y**2, 0.0))
        foot = centres_m[:, 0] + x[:, None] * x_axis + y[:, None] * y_axis
        out = height[:, None] * np.cross(x_axis, y_axis)
    found = np.stack([foot + out, foot - out], axis=1)
    found[~(width > FLAT * np.maximum(base, 1e-9))] = np.nan
    return found


def place(centres_m: Array, distance_m: Array, near_m: Array, rng: np.random.Generator) -> tuple[Array, Array]:
    """Candidates (cases, 3) [m] for a point and what its distances say against each: the less, the better.

    Of two that are equally good (three distances leave a mirror image), the one nearer to ``near_m`` comes out ahead;
    without it (NaN), chance decides.
    """
    triples = np.array(list(combinations(range(len(distance_m)), 3)), dtype=np.intp)
    if len(triples) > MOST_TRIPLES:
        triples = triples[rng.choice(len(triples), MOST_TRIPLES, replace=False)]
    found = meet(centres_m[triples], distance_m[triples]).reshape(-1, 3)
    found = found[np.isfinite(found).all(axis=1)]
    gap = np.linalg.norm(found[:, None] - centres_m[None], axis=2) - distance_m
    cost = np.log1p((gap / ROBUST_M) ** 2).sum(axis=1)
    guessed = bool(np.isfinite(near_m).all())
    tie = np.linalg.norm(found - near_m, axis=1) if guessed else rng.random(len(found))
    return found, cost + 1e-3 * tie


def _readings(network: Network, point: int, there: Array) -> tuple[Array, Array]:
    """Centres and distances of the tapes from ``point`` to points that have a place."""
    ends = network.tape_ends
    rows = np.flatnonzero((ends == point).any(axis=1))
    others = ends[rows].sum(axis=1) - point
    kept = np.isfinite(there[others]).all(axis=1)
    return there[others[kept]], network.tape_m[rows[kept]]


def place_in_turn(network: Network, there_m: Array, rng: np.random.Generator) -> Array:
    """Places (points, 3) point after point, the one with most tapes to placed points first; NaN where fewer than three."""
    at_m = there_m.copy()
    link = np.zeros((network.points, network.points))
    link[network.tape_ends[:, 0], network.tape_ends[:, 1]] = 1.0
    link = np.maximum(link, link.T)
    given_up = np.zeros(network.points, bool)
    while True:
        placed = np.isfinite(at_m).all(axis=1)
        count = np.where(placed | given_up, 0.0, link @ placed)
        point = int(np.argmax(count + 0.5 * rng.random(count.size)))
        if count[point] < 3:
            return at_m
        found, cost = place(*_readings(network, point, at_m), network.near_m[point], rng)
        if len(found):
            at_m[point] = found[np.argmin(cost)]
            given_up[:] = False
        else:
            given_up[point] = True


def hop(network: Network, at_m: Array, rng: np.random.Generator) -> Array:
    """Move single points to where their own tapes agree better, until none gains: mends points on the wrong side."""
    at_m = at_m.copy()
    movable = np.flatnonzero(np.isnan(network.fixed_m).all(axis=1) & ~network.ground)
    for _ in range(PASSES):
        moved = False
        for point in movable:
            centres, distance = _readings(network, int(point), at_m)
            if len(distance) < 3:
                continue
            gap = np.linalg.norm(at_m[point] - centres, axis=1) - distance
            now = float(np.log1p((gap / ROBUST_M) ** 2).sum())
            if now < 0.1 * len(distance):
                continue
            found, cost = place(centres, distance, at_m[point], rng)
            if len(found) and cost.min() < BETTER * now - 0.01:
                at_m[point] = found[np.argmin(cost)]
                moved = True
        if not moved:
            break
    return at_m
