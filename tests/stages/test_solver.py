"""The solver against SciPy's ``least_squares`` on problems with bounds, and on Rosenbrock's valley."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from scipy.optimize import least_squares

from cabinwright.stages.tuning.solver import solve

Array = np.ndarray
Residuals = Callable[[Array, bool], tuple[Array, Array | None]]


def _linear(seed: int) -> tuple[Residuals, Array, Array, Array]:
    """Random overdetermined linear problem in a box that cuts off its minimum."""
    rng = np.random.default_rng(seed)
    a, b = rng.normal(size=(20, 6)), 3.0 * rng.normal(size=20)
    lower, upper = -rng.uniform(0.1, 0.6, 6), rng.uniform(0.1, 0.6, 6)
    return lambda x, _: (a @ x - b, a), np.zeros(6), lower, upper


def _decays(seed: int) -> tuple[Residuals, Array, Array, Array]:
    """Two decaying exponentials fitted to noisy samples: curved, ill-conditioned, bounded rates."""
    rng = np.random.default_rng(seed)
    t = np.linspace(0.0, 4.0, 60)
    seen = 2.0 * np.exp(-0.6 * t) - 1.2 * np.exp(-2.5 * t) + 0.02 * rng.normal(size=60)

    def residuals(x: Array, want: bool) -> tuple[Array, Array | None]:
        one, other = np.exp(-x[1] * t), np.exp(-x[3] * t)
        slope = np.stack([one, -x[0] * t * one, other, -x[2] * t * other], axis=1)
        return x[0] * one + x[2] * other - seen, slope

    # Odd seeds keep the fast rate from where it wants to be.
    top = 1.8 if seed % 2 else 6.0
    return residuals, np.array([1.0, 0.3, -0.5, 1.5]), np.array([0.0, 0.0, -5.0, 0.5]), np.array([5.0, 1.0, 5.0, top])


@pytest.mark.parametrize("make", [_linear, _decays])
@pytest.mark.parametrize("seed", range(6))
def test_bounded_problems(make: Callable[[int], Any], seed: int) -> None:
    residuals, start, lower, upper = make(seed)
    found = solve(residuals, start, lower=lower, upper=upper, iterations=200, tolerance=1e-12)
    known = least_squares(
        lambda x: residuals(x, False)[0],
        start,
        lambda x: residuals(x, True)[1],
        bounds=(lower, upper),
        method="trf",
        xtol=1e-14,
        ftol=1e-14,
        gtol=1e-14,
        max_nfev=4000,
    )
    assert found.cost == pytest.approx(known.cost, rel=1e-6)
    assert found.cost == pytest.approx(0.5 * np.sum(residuals(found.vector, False)[0] ** 2), rel=1e-12)
    assert np.all((found.vector >= lower) & (found.vector <= upper))
    nudged = np.clip(found.vector + 0.02 * np.where(found.vector > 0.5 * (lower + upper), -1.0, 1.0), lower, upper)
    assert 0.5 * np.sum(residuals(nudged, False)[0] ** 2) > known.cost * (1.0 + 1e-5)


def _rosenbrock(x: Array, want: bool) -> tuple[Array, Array | None]:
    return np.array([10.0 * (x[1] - x[0] ** 2), 1.0 - x[0]]), np.array([[-20.0 * x[0], 10.0], [-1.0, 0.0]])


def test_rosenbrock() -> None:
    """Rosenbrock 1960: from (-1.2, 1) to (1, 1); with x at most 0.5 the minimum is at (0.5, 0.25)."""
    free = np.full(2, 9.0)
    found = solve(_rosenbrock, np.array([-1.2, 1.0]), lower=-free, upper=free, iterations=200, tolerance=1e-12)
    np.testing.assert_allclose(found.vector, [1.0, 1.0], atol=1e-6)
    walled = solve(
        _rosenbrock, np.array([-1.2, 1.0]), lower=-free, upper=np.array([0.5, 9.0]), iterations=200, tolerance=1e-12
    )
    np.testing.assert_allclose(walled.vector, [0.5, 0.25], atol=1e-6)


def test_cost_never_rises() -> None:
    residuals, start, lower, upper = _decays(2)
    costs = [
        solve(residuals, start, lower=lower, upper=upper, iterations=count, tolerance=0.0).cost for count in range(25)
    ]
    assert costs[0] == pytest.approx(0.5 * np.sum(residuals(start, False)[0] ** 2))
    assert all(later <= earlier for earlier, later in pairwise(costs))
    assert costs[-1] < 0.1 * costs[0]


def test_what_is_fixed_stays() -> None:
    residuals, start, lower, upper = _linear(3)
    lower[2] = upper[2] = 0.05
    found = solve(residuals, start, lower=lower, upper=upper)
    assert found.vector[2] == 0.05
    still = solve(residuals, start, lower=start, upper=start)
    np.testing.assert_array_equal(still.vector, start)


def test_start_outside_is_brought_in() -> None:
    residuals, _, lower, upper = _linear(1)
    inside = solve(residuals, np.zeros(6), lower=lower, upper=upper, iterations=100, tolerance=1e-12)
    outside = solve(residuals, np.full(6, 50.0), lower=lower, upper=upper, iterations=100, tolerance=1e-12)
    assert outside.cost == pytest.approx(inside.cost, rel=1e-9)


def test_unknown_without_effect() -> None:
    """A column of zeros must not stop the rest."""

    def residuals(x: Array, want: bool) -> tuple[Array, Array | None]:
        return np.array([x[0] - 2.0, 0.5 * x[0]]), np.array([[1.0, 0.0], [0.5, 0.0]])

    found = solve(residuals, np.zeros(2), lower=np.full(2, -9.0), upper=np.full(2, 9.0))
    assert found.vector[0] == pytest.approx(1.6, abs=1e-6)
    assert found.vector[1] == 0.0


def test_deterministic() -> None:
    residuals, start, lower, upper = _decays(4)
    first, second = (solve(residuals, start, lower=lower, upper=upper) for _ in range(2))
    np.testing.assert_array_equal(first.vector, second.vector)
    assert (first.cost, first.iterations) == (second.cost, second.iterations)
