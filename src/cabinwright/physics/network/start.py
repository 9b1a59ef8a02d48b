"""First coordinates for a network that may have nothing but names and distances.

1. Distances that were not measured are replaced by the shortest way along measured ones, and the points are laid out from
   those by classical multidimensional scaling (Torgerson 1952; with shortest ways: Shang et al. 2003).
2. Points that can be placed one after the other from three tapes or more are (see ``place``).
3. In three dimensions what is left gets caught with single points on the wrong side of their neighbours. With two dimensions
   more there is a way around, so points are first fitted in five and then pressed flat by a growing penalty.
4. Points that are still on the wrong side hop.
A wildly wrong reading must not bend everything: residuals count after Cauchy (weight ``1 / (1 + (v/s)^2)``).
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain, cycle

import numpy as np

from cabinwright.physics.network.adjust import Evaluated, descend
from cabinwright.physics.network.equations import Array, Network, misfit
from cabinwright.physics.network.place import hop, place_in_turn

__all__ = ["frame_guess", "scaled", "shortest_ways", "starts", "unfold"]

DIMENSIONS = 5
STAGES = ((0.0, 1.0), (0.003, 1.0), (0.01, 0.5), (0.03, 0.5), (0.1, 0.2), (0.3, 0.1), (1.0, 0.1), (10.0, 0.05))
"""Weight of the coordinates beyond the third, and Cauchy's scale [m], stage by stage."""
STAGE_STEPS = 15
TRACE_M = 0.02  #: noise in the spare dimensions: exactly flat points would never leave the plane
SCATTER_M = (1.2, 0.3, 0.6)  #: how far fresh starts are shaken, in turn
UNKNOWN_M = 1.5  #: distance between points that no chain of tapes joins
FAR_M = 100.0


def shortest_ways(network: Network) -> Array:
    """(points, points) shortest way along tapes and known places [m] (Floyd 1962)."""
    way = np.full((network.points, network.points), np.inf)
    np.fill_diagonal(way, 0.0)
    known = np.flatnonzero(~np.isnan(network.fixed_m).any(axis=1))
    gap = network.fixed_m[known, None] - network.fixed_m[None, known]
    way[np.ix_(known, known)] = np.linalg.norm(gap, axis=2)
    for (a, b), length_m in zip(network.tape_ends, network.tape_m, strict=True):
        way[a, b] = way[b, a] = min(way[a, b], length_m)
    for middle in range(network.points):
        np.minimum(way, way[:, middle, None] + way[None, middle], out=way)
    joined = way[np.isfinite(way)]
    way[np.isinf(way)] = max(UNKNOWN_M, float(joined.max(initial=0.0)))
    return way


def frame_guess(network: Network, way_m: Array) -> Array:
    """(points, 3) where the frame's and the known points may be; NaN for all others."""
    guess = np.where(np.isnan(network.fixed_m).any(axis=1, keepdims=True), np.nan, network.fixed_m)
    for point, axis, origin in network.ahead:  # the point to the right first, then the one behind
        place = np.where(np.isnan(network.fixed_m[point]), guess[origin], network.fixed_m[point])
        for other, other_axis, _ in network.ahead:
            if other != point and np.isnan(network.fixed_m[point, other_axis]) and np.isfinite(guess[other]).all():
                place[other_axis] += _along(
                    way_m[origin, point], way_m[other, point], guess[other, other_axis] - guess[origin, other_axis]
                )
        if np.isnan(network.fixed_m[point, axis]):
            used = float(np.sum((place - guess[origin]) ** 2))
            place[axis] += np.sqrt(max(way_m[origin, point] ** 2 - used, (0.1 * way_m[origin, point]) ** 2))
        guess[point] = place
    return guess


def _along(from_origin_m: float, from_other_m: float, base_m: float) -> float:
    """How far along a base line a point is, by the law of cosines, within what both distances allow."""
    along = (from_origin_m**2 - from_other_m**2 + base_m**2) / (2.0 * base_m) if abs(base_m) > 1e-6 else 0.0
    return float(np.clip(along, -from_origin_m, from_origin_m))


def scaled(way_m: Array, guess_m: Array) -> Array:
    """(points, 5) layout with these distances [m], turned and shifted onto the points of ``guess_m`` that are no NaN."""
    count = len(way_m)
    centring = np.eye(count) - 1.0 / count
    values, vectors = np.linalg.eigh(-0.5 * centring @ way_m**2 @ centring)
    top = min(DIMENSIONS, count)
    layout = np.zeros((count, DIMENSIONS))
    layout[:, :top] = (vectors[:, ::-1] * np.sqrt(np.maximum(values[::-1], 0.0)))[:, :top]
    there = np.isfinite(guess_m).all(axis=1)
    target = np.zeros((int(there.sum()), DIMENSIONS))
    target[:, :3] = guess_m[there]
    shift, goal = layout[there].mean(axis=0), target.mean(axis=0)
    left, _, right = np.linalg.svd((layout[there] - shift).T @ (target - goal))
    return np.asarray((layout - shift) @ left @ right + goal)


def unfold(network: Network, layout_m: Array) -> Array:
    """(points, 3) coordinates from a layout with dimensions to spare, pressed flat stage by stage."""
    count = network.points
    fixed = np.full((count, DIMENSIONS), np.nan)
    fixed[:, :3] = network.fixed_m
    fixed[network.ground, 3:] = 0.0
    state = np.where(np.isnan(fixed), layout_m, fixed)
    free = np.concatenate([np.isnan(fixed).ravel(), network.free[3 * count :]])
    beyond = np.zeros((count, DIMENSIONS), bool)
    beyond[:, 3:] = True
    press = np.concatenate([beyond.ravel(), np.zeros(free.size - beyond.size, bool)])[free]
    centre_m = 0.0

    def placed(unknown: Array) -> tuple[Array, float]:
        columns = np.concatenate([state.ravel(), [centre_m], np.zeros(3 * len(network.planes))])
        columns[free] += unknown
        return columns[: count * DIMENSIONS].reshape(count, DIMENSIONS), float(columns[count * DIMENSIONS])

    for weight, scale_m in STAGES:

        def evaluate(unknown: Array, weight: float = weight, scale_m: float = scale_m) -> Evaluated:
            at_m, centre = placed(unknown)
            found = misfit(network, at_m, centre)
            design, over = found.design[:, free], (found.v_m / scale_m) ** 2
            trust = 1.0 / (1.0 + over)
            weighted = design * trust[:, None]
            flat = np.where(beyond, at_m, 0.0).ravel()
            pull = np.concatenate([flat, np.zeros(free.size - flat.size)])[free]
            cost = float(scale_m**2 * np.log1p(over).sum() + weight * pull @ pull)
            normal = weighted.T @ design + np.diag(weight * press)
            return cost, weighted.T @ found.v_m - weight * pull, normal

        state, centre_m = placed(descend(evaluate, np.zeros(int(free.sum())), steps=STAGE_STEPS))
    return state[:, :3]


def starts(network: Network, *, seed: int = 4) -> Iterator[Array]:
    """Endless starts (points, 3), the likeliest first; the same ones every time."""
    rng = np.random.default_rng(seed)
    way_m = np.minimum(shortest_ways(network), FAR_M)
    guess = frame_guess(network, way_m)
    near = np.where(np.isnan(guess), network.near_m, guess)
    fresh = scaled(way_m, near)
    for number, shake in enumerate(chain([0.0], cycle(SCATTER_M))):
        layout = fresh + rng.normal(0.0, shake, fresh.shape) if shake else fresh.copy()
        turn = place_in_turn(network, guess, rng) if number % 2 == 0 else guess
        for known in (turn, near):
            there = np.isfinite(known).all(axis=1)
            layout[there] = np.pad(known[there], ((0, 0), (0, DIMENSIONS - 3)))
        if shake or not np.isfinite(np.where(np.isnan(near), turn, near)).all():
            layout = np.pad(unfold(network, layout + rng.normal(0.0, TRACE_M, layout.shape)), ((0, 0), (0, 2)))
        yield hop(network, layout[:, :3], rng) if shake else layout[:, :3]
