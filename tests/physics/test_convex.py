"""Gaps and overlaps of convex bodies against closed forms (boxes, balls), SciPy's optimiser and shifted copies."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize

from cabinwright.physics.convex import SIDES, clearance_m, disc, is_flat

BOX = np.array(np.meshgrid([0.0, 1.0], [0.0, 2.0], [0.0, 3.0])).reshape(3, -1).T


@pytest.mark.parametrize(
    ("shift", "expected"),
    [
        ([1.5, 0.0, 0.0], 0.5),
        ([1.3, 2.4, 0.0], 0.5),  # edge to edge: 3-4-5
        ([2.0, 4.0, 5.0], 3.0),  # corner to corner: 1-2-2
        ([1.0, 0.0, 0.0], 0.0),
        ([0.75, 0.0, 0.0], -0.25),
        ([0.1, 1.9, 0.0], -0.1),
        ([0.0, 0.0, 0.0], -1.0),  # on itself: out along the shortest side
    ],
)
def test_two_boxes(shift: list[float], expected: float) -> None:
    """Closed form: the boxes' sides are along the axes."""
    assert clearance_m(BOX + shift, BOX) == pytest.approx(expected, abs=1e-9)
    assert clearance_m(BOX, BOX + shift) == pytest.approx(expected, abs=1e-9)


def test_random_bodies_against_an_optimiser() -> None:
    """SciPy's SLSQP minimises the distance over the weights of both hulls; a tenth of a millimetre off would show."""
    rng = np.random.default_rng(4)
    apart = 0
    for _ in range(40):
        one, other = rng.normal(size=(7, 3)), rng.normal(size=(6, 3)) + rng.normal(size=3) * 2.0
        got = clearance_m(one, other)
        if got <= 0.0:
            continue
        apart += 1

        def squared(w: np.ndarray, one: np.ndarray = one, other: np.ndarray = other) -> float:
            return float(np.sum((w[:7] @ one - w[7:] @ other) ** 2))

        ones = [
            {"type": "eq", "fun": lambda w: w[:7].sum() - 1.0},
            {"type": "eq", "fun": lambda w: w[7:].sum() - 1.0},
        ]
        start = np.r_[np.full(7, 1 / 7), np.full(6, 1 / 6)]
        best = minimize(squared, start, bounds=[(0, 1)] * 13, constraints=ones, options={"ftol": 1e-14, "maxiter": 500})
        assert got == pytest.approx(np.sqrt(best.fun), abs=2e-5)
        assert got != pytest.approx(np.sqrt(best.fun) + 1e-4, abs=2e-5)
    assert apart >= 15


def test_an_overlap_ends_where_it_says() -> None:
    """Moved apart by the overlap along some direction two bodies touch; no shorter move in 2,000 directions parts them."""
    rng = np.random.default_rng(5)
    one, other = rng.normal(size=(12, 3)), rng.normal(size=(12, 3))
    deep = -clearance_m(one, other)
    ways = rng.normal(size=(2000, 3))
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    out = (ways @ one.T).max(axis=1) - (ways @ other.T).min(axis=1)  # move of `other` along a way that parts them
    assert 0.0 < deep <= out.min() <= 1.1 * deep


def test_a_disc_reaches_round_and_stands_across_its_axis() -> None:
    axis = np.array([1.0, 2.0, -0.5])
    corners = disc(centre_m=np.array([1.0, 2.0, 3.0]), axis=axis, radius_m=0.1) - [1.0, 2.0, 3.0]
    assert np.abs(corners @ axis).max() < 1e-12
    assert np.linalg.norm(corners, axis=1) == pytest.approx(0.1 / np.cos(np.pi / SIDES))
    middles = 0.5 * (corners + np.roll(corners, 1, axis=0))
    assert np.linalg.norm(middles, axis=1) == pytest.approx(0.1)


def test_flat_bodies_touch_but_hold_nothing() -> None:
    sheet = BOX[BOX[:, 0] == 0.0]
    assert is_flat(sheet) and not is_flat(BOX) and is_flat(BOX[:3])
    assert clearance_m(sheet, sheet + np.array([0.0, 0.1, 0.0])) == 0.0
    assert clearance_m(sheet, sheet + np.array([0.2, 0.0, 0.0])) == pytest.approx(0.2)
    assert clearance_m(BOX - [0.5, 0.0, 0.0], sheet) == pytest.approx(-0.5)
