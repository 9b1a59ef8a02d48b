"""The objective's derivatives against central differences, and its levels against the responses themselves."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from cabinwright.stages.tuning.fit import add_peaks, bounds_for, objective_for
from cabinwright.stages.tuning.model import DELAY_SCALE
from cabinwright.stages.tuning.objective import Objective, Weights
from cabinwright.stages.tuning.prepare import Prepared, prepare
from cabinwright.stages.tuning.problem import Problem, State
from cabinwright.stages.tuning.spectra import BANDS_PER_GROUP
from cabinwright.stages.tuning.start import start_state
from stages.tune_cases import TWO_WAY, make_case


def _prepared(*names: str) -> Prepared:
    case = make_case(*names, positions=3)
    return prepare(case.build, case.responses)


def _everything_at_work(prepared: Prepared) -> tuple[Problem, State]:
    """A candidate off its optimum with boosts over the limit, all-pass filters, and every kind of residual alive."""
    problem = prepared.problem
    state = add_peaks(problem, start_state(problem, prepared.crossovers, prepared.polarity), 3)
    state = State(replace(state.layout, all_passes=(0, 4, 0)), state.vector)
    turns = np.log([[60.0, 0.8], [90.0, 1.4], [150.0, 2.0]]).ravel()
    vector = np.insert(state.vector, state.layout.at_all_pass, turns)
    rng = np.random.default_rng(8)
    vector = vector + 0.05 * rng.normal(size=vector.shape)
    peaks = state.layout.split(vector)[3]
    peaks[0, 0, 1], peaks[3, 1, 1], peaks[4, 0, 1] = 8.0, 7.5, 9.0
    return problem, State(state.layout, vector)


def _differences(objective: Objective, vector: np.ndarray, step: float = 1e-5) -> np.ndarray:
    """Central differences, one unknown at a time."""
    columns = []
    for k in range(len(vector)):
        ends = []
        for sign in (1.0, -1.0):
            moved = vector.copy()
            moved[k] += sign * step
            ends.append(objective(moved, False)[0])
        columns.append((ends[0] - ends[1]) / (2.0 * step))
    return np.stack(columns, axis=1)


@pytest.fixture(scope="module")
def prepared() -> Prepared:
    return _prepared(*TWO_WAY, "subwoofer")


def test_jacobian(prepared: Prepared) -> None:
    problem, state = _everything_at_work(prepared)
    objective = objective_for(problem, state)
    residuals, jacobian = objective(state.vector, True)
    assert jacobian is not None
    np.testing.assert_array_equal(residuals, objective(state.vector, False)[0])
    assert jacobian.shape == (len(residuals), len(state.vector))
    expected = _differences(objective, state.vector)
    size = np.abs(expected).max()
    assert np.abs(jacobian - expected).max() < 2e-6 * size
    # Each kind of unknown is felt, and an error of a thousandth in any of them would show.
    lay = state.layout
    starts = [0, lay.at_delay, lay.at_edge, lay.at_peak, lay.at_all_pass, lay.size, len(state.vector)]
    for first, last in pairwise(starts):
        assert np.abs(expected[:, first:last]).max() > 2e-3 * size


def test_every_kind_of_row_is_alive(prepared: Prepared) -> None:
    """Rows for the whole bass and for too much boost exist in that test, and follow their weights."""
    problem, state = _everything_at_work(prepared)

    def cost(weights: Weights) -> float:
        found, _ = objective_for(replace(problem, weights=weights), state)(state.vector, False)
        return float(found @ found)

    base = cost(problem.weights)
    assert cost(replace(problem.weights, bass_db=1e9)) < base - 1e-3
    assert cost(replace(problem.weights, over_db=1e9)) < base - 1.0
    assert cost(replace(problem.weights, side_db=1e9)) < base - 1e-3
    assert cost(problem.weights.held(3.0)) > base + 1.0
    assert len(
        objective_for(replace(problem, weights=replace(problem.weights, most_boost_db=99.0)), state)(
            state.vector, False
        )[0]
    ) < len(objective_for(problem, state)(state.vector, False)[0])


def test_jacobian_of_a_single_sum() -> None:
    """One channel: no sides, nothing to cancel, no crossover."""
    prepared = _prepared("fullrange")
    problem = prepared.problem
    state = add_peaks(problem, start_state(problem, prepared.crossovers, prepared.polarity), 2)
    objective = objective_for(problem, state)
    _, jacobian = objective(state.vector, True)
    expected = _differences(objective, state.vector)
    assert np.abs(jacobian - expected).max() < 2e-6 * np.abs(expected).max()


def test_levels_are_those_of_the_responses(prepared: Prepared) -> None:
    """Level of a sum: mean over positions and sub-bands of its power, straight from the cross-spectra."""
    problem, state = _everything_at_work(prepared)
    objective = objective_for(problem, state)
    g = objective.model.responses(state.vector)
    for target, level in zip(objective.sums, objective.levels_db(state.vector), strict=True):
        own = problem.spectra.cross[:, :, target.channels[:, None], target.channels[None, :]]
        power = np.einsum("cb,db,pbcd->b", g[target.channels], g[target.channels].conj(), own).real / len(own)
        np.testing.assert_allclose(level, 10.0 * np.log10(power.reshape(-1, BANDS_PER_GROUP).sum(axis=1)), atol=1e-9)


def test_bounds_hold_what_must_stay(prepared: Prepared) -> None:
    problem, state = _everything_at_work(prepared)
    lower, upper = bounds_for(problem, state)
    assert np.all(lower <= upper)
    lay = state.layout
    for k, edge in enumerate(lay.edges):
        low, high = np.exp([lower[lay.at_edge + k], upper[lay.at_edge + k]])
        assert low >= edge.low_hz * (1.0 - 1e-9) or not edge.free
        assert high <= edge.high_hz * (1.0 + 1e-9) or not edge.free
    top = problem.stage[-1].channels[0]
    assert lower[lay.at_delay + top] == upper[lay.at_delay + top]
    assert upper[lay.at_delay] - lower[lay.at_delay] < 0.05 * DELAY_SCALE
