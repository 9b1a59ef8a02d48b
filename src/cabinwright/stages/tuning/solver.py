"""Nonlinear least squares inside bounds: Levenberg-Marquardt with a projected active set.

Levenberg 1944; Marquardt 1963; step control after Nielsen, "Damping parameter in Marquardt's method", IMM-REP-1999-05;
bounds by an active set and a clipped step. The normal equations are dense and small (some
hundreds of unknowns), so a Cholesky factorisation costs less than the derivatives. ``benchmarks/solver.py`` holds it
against SciPy's general-purpose optimisers on the same objective.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import LinAlgError, cho_factor, cho_solve

__all__ = ["Solution", "solve"]

Real = NDArray[np.float64]


@dataclass(frozen=True)
class Solution:
    """Where the solver stopped."""

    vector: Real
    cost: float  #: half the sum of squared residuals
    iterations: int


def solve(
    residuals: Callable[[Real, bool], tuple[Real, Real | None]],
    start: Real,
    *,
    lower: Real,
    upper: Real,
    iterations: int = 40,
    tolerance: float = 1e-4,
) -> Solution:
    """Minimise ``sum(r**2) / 2`` from ``start`` with ``lower <= x <= upper``.

    ``residuals(x, want_jacobian)`` gives r (m,) and its Jacobian (m, n) or None. Unknowns with ``lower == upper`` stay.
    Stops when two steps in a row gain less than ``tolerance`` of the cost. The cost never rises. Deterministic.
    """
    x = np.clip(start, lower, upper)
    r, jac = residuals(x, True)
    assert jac is not None
    cost = 0.5 * float(r @ r)
    damping, grow, dull, done = 1e-2, 2.0, 0, 0
    while done < iterations:
        done += 1
        gradient = jac.T @ r
        stuck = ((x <= lower) & (gradient > 0.0)) | ((x >= upper) & (gradient < 0.0)) | (lower >= upper)
        free = np.flatnonzero(~stuck)
        if not free.size:
            break
        normal = jac[:, free].T @ jac[:, free]
        scale = np.maximum(np.diag(normal), 1e-9 * max(float(np.diag(normal).max()), 1e-30))
        moved = False
        for attempt in range(12):
            try:
                factor = cho_factor(normal + np.diag(damping * scale), check_finite=False)
            except LinAlgError:
                damping, grow = damping * grow, grow * 2.0
                continue
            step = np.zeros_like(x)
            step[free] = -cho_solve(factor, gradient[free], check_finite=False)
            trial = np.clip(x + step, lower, upper)
            # Most first steps are taken, and then the Jacobian is wanted at once.
            r_trial, jac_trial = residuals(trial, attempt == 0)
            cost_trial = 0.5 * float(r_trial @ r_trial)
            if cost_trial < cost:
                moved = True
                break
            damping, grow = damping * grow, grow * 2.0
        if not moved:
            break
        gain = (cost - cost_trial) / max(cost, 1e-30)
        moved_by = trial - x
        foreseen = -float(gradient @ moved_by) - 0.5 * float(np.sum((jac @ moved_by) ** 2))
        ratio = (cost - cost_trial) / max(foreseen, 1e-30)
        damping = max(damping * max(1.0 / 3.0, 1.0 - (2.0 * min(ratio, 1.0) - 1.0) ** 3), 1e-9)
        x, cost, grow = trial, cost_trial, 2.0
        dull = dull + 1 if gain < tolerance else 0
        if dull >= 2:
            break
        r, jac = (r_trial, jac_trial) if jac_trial is not None else residuals(x, True)
        assert jac is not None
    return Solution(x, cost, done)
