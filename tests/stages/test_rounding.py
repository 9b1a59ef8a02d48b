"""Whatever the processor's steps and limits: every value written lies on its grid and inside its limits."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cabinwright.build.document import Processor
from cabinwright.physics.filters import Filter
from cabinwright.stages.tuning.fit import add_peaks
from cabinwright.stages.tuning.prepare import Prepared, prepare
from cabinwright.stages.tuning.problem import Problem, State
from cabinwright.stages.tuning.rounding import on_grid, snap, to_settings
from cabinwright.stages.tuning.settings import Settings
from cabinwright.stages.tuning.start import start_state
from stages.tune_cases import make_case


@cache
def _prepared() -> Prepared:
    case = make_case("left midbass", "left tweeter", "subwoofer", positions=2, samples=2048)
    return prepare(case.build, case.responses)


@st.composite
def processors(draw: st.DrawFn) -> Processor:
    """Processors that somebody could own: any steps, limits, families and slopes that hold at least one value each."""
    q_step = draw(st.sampled_from([0.001, 0.01, 0.1, 0.5]))
    gain_max = draw(st.sampled_from([0.0, 6.0, 12.0, -3.0]))
    families = draw(st.sampled_from([("Linkwitz-Riley",), ("Butterworth",), ("Linkwitz-Riley", "Butterworth")]))
    slopes = draw(st.lists(st.sampled_from([12, 24, 36, 48]), min_size=1, max_size=3, unique=True))
    return Processor(
        peaking_filters=draw(st.integers(0, 2)),
        delay_step_s=draw(st.sampled_from([2.0833333e-5, 1 / 48000, 1e-5, 1e-4, 1e-3, 5.2083333e-6])),
        delay_max_s=draw(st.sampled_from([0.02, 0.0051, 0.001, 0.0])),
        gain_step_db=draw(st.sampled_from([0.1, 0.25, 0.5, 1.0, 3.0])),
        gain_min_db=draw(st.sampled_from([-40.0, -60.3, -12.0])),
        gain_max_db=gain_max,
        peaking_gain_min_db=draw(st.sampled_from([-15.0, -6.05, 0.0])),
        peaking_gain_max_db=draw(st.sampled_from([6.0, 0.0, 2.5])),
        peaking_gain_step_db=draw(st.sampled_from([0.1, 0.5, 1.0, 0.3])),
        peaking_q_min=draw(st.sampled_from([0.4, 0.71, 1.0])),
        peaking_q_max=draw(st.sampled_from([8.0, 3.05, 1.5])),
        peaking_q_step=q_step,
        frequency_step_hz=draw(st.sampled_from([1.0, 0.1, 5.0, 0.7, 50.0])),
        crossover_families=families,
        crossover_slopes_db_per_octave=tuple(slopes),
        all_pass_filters=draw(st.integers(0, 2)),
    )


def _posed(processor: Processor, seed: int) -> tuple[Problem, State]:
    """A problem for that processor and a candidate with everything the processor has, somewhere in its limits."""
    prepared = _prepared()
    problem = replace(prepared.problem, processor=processor)
    family, slope = processor.crossover_families[0], max(processor.crossover_slopes_db_per_octave)
    crossovers = [replace(item, family=family, slope_db_per_octave=slope) for item in prepared.crossovers]
    state = add_peaks(problem, start_state(problem, crossovers, prepared.polarity), processor.peaking_filters)
    rng = np.random.default_rng(seed)
    layout = replace(state.layout, all_passes=(2,) * processor.all_pass_filters)
    turns = np.log(
        np.stack([rng.uniform(30, 300, len(layout.all_passes)), rng.uniform(0.5, 2.5, len(layout.all_passes))], 1)
    )
    vector = np.insert(state.vector, state.layout.at_all_pass, turns.ravel())
    layout.split(vector)[1][:] += 1.0
    vector[layout.at_delay : layout.at_edge] += rng.uniform(-1.0, 1.0, 3)
    return problem, State(layout, vector)


def _on_steps(value: float, step: float) -> bool:
    return abs(value / step - round(value / step)) < 1e-6


def _check_filter(item: Filter, processor: Processor, channel: str) -> None:
    assert _on_steps(item.frequency_hz, processor.frequency_step_hz), item
    assert item.frequency_hz > 0.0
    if item.kind in ("peaking", "all-pass"):
        assert item.q is not None
        assert _on_steps(item.q, processor.peaking_q_step), item
        assert processor.peaking_q_min - 1e-9 <= item.q <= processor.peaking_q_max + 1e-9
    if item.kind == "peaking":
        assert item.gain_db is not None
        assert _on_steps(item.gain_db, processor.peaking_gain_step_db), item
        assert processor.peaking_gain_min_db - 1e-9 <= item.gain_db <= processor.peaking_gain_max_db + 1e-9
    if item.kind in ("high-pass", "low-pass"):
        assert item.family in processor.crossover_families
        assert item.slope_db_per_octave in processor.crossover_slopes_db_per_octave


def _check(result: Settings, problem: Problem) -> None:
    processor = problem.processor
    for row in result.channels:
        assert _on_steps(row.gain_db, processor.gain_step_db)
        assert processor.gain_min_db - 1e-9 <= row.gain_db <= processor.gain_max_db + 1e-9
        assert _on_steps(row.delay_s, processor.delay_step_s)
        assert 0.0 <= row.delay_s <= processor.delay_max_s + 1e-12
        kinds = [item.kind for item in row.filters]
        assert kinds.count("peaking") <= processor.peaking_filters
        assert kinds.count("all-pass") <= processor.all_pass_filters
        assert kinds.count("high-pass") == 1
        for item in row.filters:
            _check_filter(item, processor, row.name)
            way = problem.way_of(problem.channels.index(row.name))
            if item.kind == "high-pass":
                assert item.frequency_hz >= way.low_hz - 1e-9
    assert min(row.delay_s for row in result.channels) == 0.0


@settings(max_examples=40, suppress_health_check=[HealthCheck.too_slow])
@given(processors(), st.integers(0, 1000))
def test_every_value_is_on_the_grid(processor: Processor, seed: int) -> None:
    problem, state = _posed(processor, seed)
    rounded = on_grid(problem, state)
    assert np.isfinite(rounded.vector).all()
    result = to_settings(problem, rounded)
    _check(result, problem)
    assert to_settings(problem, rounded) == result


def test_the_check_can_fail() -> None:
    """Off the grid before rounding; on it after; off it again when one value is nudged."""
    problem, state = _posed(Processor(peaking_filters=2), 3)
    with pytest.raises(AssertionError):
        _check(to_settings(problem, state), problem)
    good = to_settings(problem, on_grid(problem, state))
    _check(good, problem)
    for change in ({"gain_db": 0.05}, {"delay_s": 1e-5}, {"delay_s": 0.03}, {"filters": ()}):
        channels = (replace(good.channels[0], **change), *good.channels[1:])
        with pytest.raises(AssertionError):
            _check(replace(good, channels=channels), problem)


def test_rounding_costs_little() -> None:
    """On a usual processor the cost after rounding is within 5 % of the cost before."""
    from cabinwright.stages.tuning.fit import improve, objective_for

    problem, state = _posed(Processor(peaking_filters=2), 4)
    before = improve(problem, state, iterations=60)
    after = on_grid(problem, before)
    found, _ = objective_for(problem, after)(after.vector, False)
    assert 0.5 * float(found @ found) < 1.05 * before.cost


@pytest.mark.parametrize(
    ("value", "step", "low", "high", "expected"),
    [
        (57.34, 0.1, 0.0, 100.0, 57.3),
        (57.36, 0.1, 0.0, 100.0, 57.4),
        (0.02, 0.5, 0.4, 8.0, 0.5),
        (9.9, 0.7, 0.0, 8.0, 7.7),
        (-3.26, 0.25, -40.0, 0.0, -3.25),
        (85.5, 1.0, 85.5, 85.5, 86.0),
        (20.0, 50.0, 20.0, 20.0, 50.0),
    ],
)
def test_snap(value: float, step: float, low: float, high: float, expected: float) -> None:
    assert snap(value, step, low, high) == expected


@given(st.floats(-1e4, 1e4), st.sampled_from([0.1, 0.25, 1.0, 2.0833333e-5]))
def test_snap_is_nearest(value: float, step: float) -> None:
    got = snap(value, step, -2e4, 2e4)
    assert abs(got - value) <= 0.5 * step * (1.0 + 1e-6) + 1e-9
    assert snap(got, step, -2e4, 2e4) == got


def test_delay_beyond_reach_is_cut_short() -> None:
    problem, state = _posed(Processor(delay_max_s=0.001), 5)
    state.vector[state.layout.at_delay] += 5.0
    result = to_settings(problem, on_grid(problem, state))
    assert max(row.delay_s for row in result.channels) == pytest.approx(0.001, abs=2.1e-5)


def _names(values: Any) -> list[str]:
    return [row.name for row in values]


def test_channels_keep_the_builds_order() -> None:
    problem, state = _posed(Processor(), 6)
    assert _names(to_settings(problem, state).channels) == ["left midbass", "left tweeter", "subwoofer"]
