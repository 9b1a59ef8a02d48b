"""Least squares on a network against SciPy's own solver, repeated measuring, and published level nets."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.stats import chi2, norm

from cabinwright.physics.network.adjust import CRITICAL, DETECTABLE, adjust
from cabinwright.physics.network.equations import Network, misfit

from .networks import SIGMA_M, invented, linear_rows, measured

Array = NDArray[np.float64]
REFERENCES = Path(__file__).parents[1] / "references" / "survey.toml"
ENTRIES: dict[str, Any] = {
    entry["id"]: entry for entry in tomllib.loads(REFERENCES.read_text(encoding="utf-8"))["entry"]
}


def tied(seed: int) -> tuple[Array, Network]:
    """A network with everything in it: a height above a level and above a point, an offset, a mirror pair, a flat surface."""
    true_m, network = invented(seed, points=14)
    rng = np.random.default_rng(seed + 1000)
    true_m[5] = true_m[4] * [1.0, -1.0, 1.0]
    true_m[8:12, 2] = 0.3 + 0.2 * true_m[8:12, 0]
    rows = [
        ({3 * 4 + 2: 1.0}, true_m[4, 2] + rng.normal(0.0, 0.002), 0.002),
        ({3 * 6 + 2: 1.0, 3 * 7 + 2: -1.0}, true_m[6, 2] - true_m[7, 2] + rng.normal(0.0, 0.004), 0.004),
        ({3 * 13 + 1: 1.0, 42: -1.0}, true_m[13, 1] + rng.normal(0.0, 0.005), 0.005),
        ({12: 1.0, 15: -1.0}, 0.0, 0.005),
        ({13: 1.0, 16: 1.0, 42: -2.0}, 0.0, 0.005),
        ({14: 1.0, 17: -1.0}, 0.0, 0.005),
    ]
    return true_m, measured(
        true_m,
        network.tape_ends,
        rng,
        planes=((np.arange(8, 12), 0.003),),
        centre_free=True,
        **linear_rows(14, rows),
    )


def by_scipy(network: Network, start_m: Array) -> tuple[Array, Array]:
    """Coordinates and their covariance with SciPy's solver, every equation written out anew, planes as unknowns."""
    free = np.isnan(network.fixed_m)
    count = int(free.sum())

    def placed(unknown: Array) -> Array:
        at_m = network.fixed_m.copy()
        at_m[free] = unknown[:count]
        return at_m

    def residuals(unknown: Array) -> Array:
        at_m, rest = placed(unknown), list(unknown[count:])
        centre = rest.pop(0) if network.centre_free else 0.0
        rows = [
            (length - np.linalg.norm(at_m[a] - at_m[b])) / sigma
            for (a, b), length, sigma in zip(network.tape_ends, network.tape_m, network.tape_sigma_m, strict=True)
        ]
        terms = np.append(at_m.ravel(), centre)
        rows += list((network.linear_m - network.linear @ terms) / network.linear_sigma_m)
        for members, sigma in network.planes:
            azimuth, polar, shift = rest.pop(0), rest.pop(0), rest.pop(0)
            normal = np.array([np.cos(azimuth) * np.sin(polar), np.sin(azimuth) * np.sin(polar), np.cos(polar)])
            rows += list((at_m[members] @ normal - shift) / sigma)
        return np.array(rows)

    start = [*start_m[free], *([0.0] if network.centre_free else []), *([0.1, 0.1, 0.3] * len(network.planes))]
    done = least_squares(residuals, start, method="lm", xtol=1e-15, ftol=1e-15, gtol=1e-15, max_nfev=20_000)
    covariance = np.linalg.inv(done.jac.T @ done.jac)[:count, :count]
    return placed(done.x), covariance


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("kind", ["tapes", "everything"])
def test_against_scipy(kind: str, seed: int) -> None:
    true_m, network = tied(seed) if kind == "everything" else invented(seed)
    found = adjust(network, true_m + np.random.default_rng(seed).normal(0.0, 0.02, true_m.shape))
    expected, covariance = by_scipy(network, true_m)
    assert np.abs(found.at_m - expected).max() < 1e-6
    free = np.isnan(network.fixed_m)
    got = found.coordinates_m2[np.ix_(free.ravel(), free.ravel())]
    scale = np.sqrt(np.outer(np.diag(covariance), np.diag(covariance)))
    assert np.abs((got - covariance) / scale).max() < 2e-3
    # Neither tolerance would pass a tape that is read 20 µm longer, or a sigma that is 0.2 % off.
    longer = adjust(replace(network, tape_m=network.tape_m + 2e-5), true_m)
    assert np.abs(longer.at_m - expected).max() > 1e-6
    assert np.abs((1.002**2 * got - covariance) / scale).max() > 2e-3


@pytest.mark.parametrize("key", ["G.levels.equal", "G.levels.weighted"])
def test_published_level_nets(key: str) -> None:
    entry = ENTRIES[key]
    given = entry["inputs"]
    fixed = np.zeros((5, 3))
    fixed[:2, 2] = given["benchmarks"]
    fixed[2:, 2] = np.nan
    rows = [
        ({3 * a + 2: -1.0, 3 * b + 2: 1.0}, difference, weight**-0.5)
        for a, b, difference, weight in zip(
            given["from"], given["to"], given["difference"], given["weight"], strict=True
        )
    ]
    network = Network(
        fixed_m=fixed,
        near_m=np.full((5, 3), np.nan),
        ground=np.arange(5) < 2,
        tape_ends=np.zeros((0, 2), dtype=np.intp),
        tape_m=np.zeros(0),
        tape_sigma_m=np.zeros(0),
        **linear_rows(5, rows),
    )
    found = adjust(network, np.nan_to_num(fixed, nan=100.0))
    assert found.at_m[2:, 2] == pytest.approx(entry["expected"], abs=entry["tol_abs"])
    assert found.degrees_of_freedom == 4
    other = ENTRIES["G.levels.equal" if key == "G.levels.weighted" else "G.levels.weighted"]
    assert found.at_m[2:, 2] != pytest.approx(other["expected"], abs=entry["tol_abs"])


def test_constants_of_the_test() -> None:
    assert norm.isf(0.0005) == pytest.approx(CRITICAL, abs=0.001)
    entry = ENTRIES["B.noncentrality"]
    assert pytest.approx(entry["expected"][0], abs=entry["tol_abs"]) == DETECTABLE


@pytest.mark.parametrize("seed", range(4))
def test_derivatives_against_differences(seed: int) -> None:
    true_m, network = tied(seed)
    design = misfit(network, true_m, 0.1).design
    step = 1e-6
    for point in range(network.points):
        for axis in range(3):
            shift = np.zeros_like(true_m)
            shift[point, axis] = step
            ahead, behind = misfit(network, true_m + shift, 0.1), misfit(network, true_m - shift, 0.1)
            numerical = -(ahead.v_m - behind.v_m) / (2.0 * step)
            rows = slice(0, network.rows - 4)  # a flat surface turns with its points: that is what its columns are for
            assert np.abs(design[rows, 3 * point + axis] - numerical[rows]).max() < 1e-7
    numerical = -(misfit(network, true_m, 0.1 + step).v_m - misfit(network, true_m, 0.1 - step).v_m) / (2.0 * step)
    assert np.abs(design[:, 3 * network.points] - numerical).max() < 1e-7


def test_sigmas_against_measuring_again() -> None:
    """What is stated for one survey is what 1500 surveys of the same points scatter by."""
    true_m, network = invented(3, points=9)
    rng = np.random.default_rng(11)
    exact = np.linalg.norm(true_m[network.tape_ends[:, 0]] - true_m[network.tape_ends[:, 1]], axis=1)
    again, statistics = [], []
    for _ in range(1500):
        drawn = replace(network, tape_m=exact + rng.normal(0.0, SIGMA_M, exact.size))
        found = adjust(drawn, true_m)
        again.append(found.at_m[4:].ravel())
        statistics.append(found.statistic)
    stated = np.sqrt(np.diag(adjust(network, true_m).coordinates_m2))[12:]
    ratio = np.std(again, axis=0) / stated
    assert np.abs(ratio - 1.0).max() < 0.08
    assert np.abs(ratio * 1.1 - 1.0).max() > 0.08
    # The statistic is a chi-square variable with as many degrees of freedom as there are tapes to spare.
    freedom = network.tapes - 3 * 5
    assert np.mean(statistics) == pytest.approx(freedom, rel=0.05)
    assert np.mean(np.array(statistics) > chi2.isf(0.1, freedom)) == pytest.approx(0.1, abs=0.025)


@pytest.mark.parametrize("seed", range(6))
def test_what_always_holds(seed: int) -> None:
    true_m, network = tied(seed)
    found = adjust(network, true_m)
    # Redundancy numbers add up to the degrees of freedom, and the solution is level in every unknown.
    assert np.nansum(found.redundancy) == pytest.approx(found.degrees_of_freedom, abs=1e-6)
    slope = found.whitened.T @ (found.v_m / network.sigma_m)
    assert np.abs(slope).max() < 1e-4 * np.abs(found.whitened).max()
    # A row that is left out is predicted with the residual over its redundancy (the leave-one-out identity), as far as a
    # straight line goes.
    row = int(np.nanargmax(np.where(found.redundancy > 0.3, found.redundancy, np.nan)))
    without = adjust(network, found.at_m, used=np.arange(network.rows) != row, centre_m=found.centre_m)
    assert without.v_m[row] == pytest.approx(found.v_m[row] / found.redundancy[row], abs=2e-5)
    assert without.standardised[row] == pytest.approx(found.standardised[row], rel=0.02, abs=0.02)


def test_a_known_network_has_nothing_to_find() -> None:
    true_m, network = invented(1, points=5)
    network = replace(network, fixed_m=true_m, ground=np.ones(5, bool))
    found = adjust(network, true_m)
    assert found.degrees_of_freedom == network.tapes
    assert found.redundancy == pytest.approx(1.0)
    assert np.abs(found.coordinates_m2).max() == 0.0
