"""Least squares on a network: coordinates, their covariance, and what each measurement contributes to its own check.

Gauss-Newton with the damping of Levenberg 1944 and Marquardt 1963 on the normal equations ``N = A' P A``, with weights
``P = diag(1/sigma^2)``. Covariance ``Q = N^-1``, with the stated sigmas as they are (variance of unit weight 1).
Redundancy number ``r = 1 - a Q a' / sigma^2``: the share of an error that shows in the row's own residual; its standardised
residual is ``w = v / (sigma sqrt(r))`` and the smallest error that a test of ``w`` at 3.29 finds in four of five cases is
``sigma (3.29 + 0.84) / sqrt(r)`` (Baarda 1968; Ghilani 2017, chapter 21).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import chdtrc

from cabinwright.physics.network.equations import Array, Mask, Misfit, Network, misfit

__all__ = ["CRITICAL", "DETECTABLE", "UNCONTROLLED", "Adjusted", "adjust", "descend"]

CRITICAL = 3.29  #: two-sided 0.1 % of the normal distribution
DETECTABLE = CRITICAL + 0.8416212335729143  #: plus its 80 % quantile: found in four cases of five
UNCONTROLLED = 0.02  #: redundancy number below which nothing checks a measurement
STEPS = 60
SETTLED_M = 1e-9
LEAST_DAMPING = 1e-14
SINGULAR = 1e-13  #: eigenvalue of the scaled normal matrix, relative to 1, that counts as none

Evaluated = tuple[float, Array, Array]


def descend(evaluate: Callable[[Array], Evaluated], unknown: Array, *, steps: int = STEPS) -> Array:
    """Minimise a sum of squares by damped Gauss-Newton steps.

    ``evaluate`` gives cost, downhill gradient ``A' P v`` and normal matrix at a vector of unknowns.
    """
    cost, downhill, normal = evaluate(unknown)
    damping = 1e-3
    for _ in range(steps):
        scale = np.diag(normal)
        matrix = normal + np.diag(damping * np.maximum(scale, 1e-9 * scale.max(initial=1.0)))
        step = np.linalg.solve(matrix, downhill)
        tried = evaluate(unknown + step)
        small = float(np.abs(step).max(initial=0.0)) < SETTLED_M
        if tried[0] <= cost:
            unknown = unknown + step
            cost, downhill, normal = tried
            damping = max(damping * 0.1, LEAST_DAMPING)
        else:
            damping = max(damping * 10.0, 1e-9)
        if small or damping > 1e12:
            break
    return unknown


@dataclass(frozen=True)
class Adjusted:
    """A network at its least-squares coordinates. Rows that were not used are only predicted."""

    network: Network
    at_m: Array  #: (points, 3)
    centre_m: float
    used: Mask  #: (rows,)
    misfit: Misfit

    @property
    def v_m(self) -> Array:
        """(rows,) measured minus computed: positive where it reads long."""
        return self.misfit.v_m

    @property
    def statistic(self) -> float:
        """Weighted sum of squared residuals."""
        return float(np.sum((self.v_m / self.network.sigma_m)[self.used] ** 2))

    @property
    def degrees_of_freedom(self) -> int:
        """Measurements beyond those that the unknowns need."""
        return int(self.used.sum()) - int(np.sum(self.spectrum[0] > SINGULAR))

    @property
    def p(self) -> float:
        """Chance of a larger ``statistic`` if the stated sigmas hold; NaN where nothing is over-determined."""
        freedom = self.degrees_of_freedom
        return float(chdtrc(freedom, self.statistic)) if freedom > 0 else float("nan")

    @cached_property
    def whitened(self) -> Array:
        """(rows, unknowns) design matrix of the unknowns, each row over its sigma."""
        return self.misfit.design[:, self.network.free] / self.network.sigma_m[:, None]

    @cached_property
    def spectrum(self) -> tuple[Array, Array, Array]:
        """Eigenvalues, vectors and column scale of the scaled normal matrix of the rows in use."""
        rows = self.whitened[self.used]
        scale = np.linalg.norm(rows, axis=0)
        scale[scale == 0.0] = np.median(scale[scale > 0.0]) if scale.any() else 1.0
        normal = (rows / scale).T @ (rows / scale)
        values, vectors = np.linalg.eigh(normal)
        return values, vectors, scale

    @cached_property
    def covariance_m2(self) -> Array:
        """(unknowns, unknowns) covariance of the unknown columns [m²]; infinite directions are left out."""
        values, vectors, scale = self.spectrum
        kept = values > SINGULAR
        half = vectors[:, kept] / np.sqrt(values[kept]) / scale[:, None]
        return np.asarray(half @ half.T)

    @cached_property
    def coordinates_m2(self) -> Array:
        """(3 points, 3 points) covariance of all coordinates [m²]; zero where the frame fixes them."""
        free = np.flatnonzero(self.network.free[: 3 * self.network.points])
        whole = np.zeros((3 * self.network.points, 3 * self.network.points))
        whole[np.ix_(free, free)] = self.covariance_m2[: free.size, : free.size]
        return whole

    @cached_property
    def predicted(self) -> Array:
        """(rows,) variance of what is computed, over the row's own variance: ``a Q a' / sigma^2``."""
        return np.asarray(((self.whitened @ self.covariance_m2) * self.whitened).sum(axis=1))

    @cached_property
    def redundancy(self) -> Array:
        """(rows,) redundancy numbers, 0 to 1; NaN for rows that are not used."""
        return np.where(self.used, np.clip(1.0 - self.predicted, 0.0, 1.0), np.nan)

    @cached_property
    def standardised(self) -> Array:
        """(rows,) residual over its standard deviation.

        For a row in use; 0 where nothing checks it. For a row left out: its predicted residual over the standard deviation
        of that prediction.
        """
        share = np.where(self.used, self.redundancy, 1.0 + self.predicted)
        tested = np.where(share > UNCONTROLLED, share, np.inf)
        return np.asarray(self.v_m / (self.network.sigma_m * np.sqrt(tested)))

    @property
    def detectable_m(self) -> Array:
        """(rows,) smallest error found in four cases of five [m]; infinite where nothing checks the row."""
        share = np.where(self.redundancy > UNCONTROLLED, self.redundancy, 0.0)
        with np.errstate(divide="ignore"):
            return self.network.sigma_m * DETECTABLE / np.sqrt(share)


def adjust(network: Network, start_m: Array, *, used: Mask | None = None, centre_m: float = 0.0) -> Adjusted:
    """Least-squares coordinates from a start (points, 3) [m]; ``used`` (rows,) leaves measurements out.

    Finds the minimum that is nearest downhill: see ``start`` for a start and ``images`` for other minima.
    """
    rows = np.ones(network.rows, bool) if used is None else used
    weight = rows / network.sigma_m**2
    count, free = 3 * network.points, network.free
    start_m = np.where(np.isnan(network.fixed_m), start_m, network.fixed_m)

    def placed(unknown: Array) -> tuple[Array, float]:
        columns = np.concatenate([start_m.ravel(), [centre_m], np.zeros(3 * len(network.planes))])
        columns[free] += unknown
        return columns[:count].reshape(-1, 3), float(columns[count])

    def evaluate(unknown: Array) -> Evaluated:
        found = misfit(network, *placed(unknown))
        design = found.design[:, free]
        weighted = design * weight[:, None]
        return float(weight @ found.v_m**2), weighted.T @ found.v_m, weighted.T @ design

    at_m, centre_m = placed(descend(evaluate, np.zeros(int(free.sum()))))
    return Adjusted(network, at_m, centre_m, rows, misfit(network, at_m, centre_m))
