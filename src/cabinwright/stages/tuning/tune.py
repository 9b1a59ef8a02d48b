"""The order in which a tune is made."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from threadpoolctl import threadpool_limits

from cabinwright.build.document import Build
from cabinwright.physics.response import RecordedResponses
from cabinwright.stages.tuning.choices import (
    Progress,
    choose_all_passes,
    choose_crossovers,
    choose_size,
)
from cabinwright.stages.tuning.dips import find_dips, leave_alone
from cabinwright.stages.tuning.outcome import (
    arrival_difference,
    channel_curves,
    coherent_loss,
    expected_error_db,
    headroom_db,
    rms_error_db,
    side_difference_db,
    sum_curves,
)
from cabinwright.stages.tuning.prepare import prepare
from cabinwright.stages.tuning.problem import Problem
from cabinwright.stages.tuning.reasons import decide, explain_filters
from cabinwright.stages.tuning.remarks import remarks
from cabinwright.stages.tuning.result import Metrics, SumCurves, TuningResult
from cabinwright.stages.tuning.rounding import on_grid, to_settings
from cabinwright.stages.tuning.sides import EVERYTHING, LEFT_SIDE, RIGHT_SIDE
from cabinwright.stages.tuning.solved import Solved
from cabinwright.stages.tuning.tape import tape_settings

__all__ = ["Solved", "run", "solve_tune"]

BEFORE_S, LENGTH_S = 0.003, 0.015  #: what the impulse overlays show


def _unwatched(what: str, share: float) -> None:
    """Progress that nobody looks at."""


def solve_tune(build: Build, recorded: RecordedResponses, progress: Progress = _unwatched) -> Solved:
    """Settings on the processor's grid. Raises ``RefusedError`` where too little was recorded."""
    # The matrices are small: more than one thread costs more than it gives, and would make sums depend on the machine.
    with threadpool_limits(1):
        progress("reading arrivals", 0.0)
        prepared = prepare(build, recorded)
        crossed = choose_crossovers(prepared.problem, prepared.crossovers, prepared.polarity, progress)
        dips = find_dips(prepared.problem, crossed.state, prepared.responses)
        problem = leave_alone(prepared.problem, dips)
        crossed = choose_all_passes(problem, crossed)
        sized = choose_size(problem, crossed, progress)
        problem = replace(problem, weights=sized.weights)
        progress("rounding to the processor's steps", 0.0)
        state = on_grid(problem, sized.state)
        return Solved(prepared, problem, crossed, sized, dips, state, to_settings(problem, state))


def run(build: Build, recorded: RecordedResponses, progress: Progress = _unwatched) -> TuningResult:
    """Tune ``build`` from ``recorded``: settings, curves, reasons and findings.

    Deterministic. ``progress`` is called with what is being done and the share done, and may raise to interrupt. Raises
    ``RefusedError`` where the recordings are too few to give an answer.
    """
    solved = solve_tune(build, recorded, progress)
    with threadpool_limits(1):
        progress("explaining", 0.0)
        return _outcome(solved)


def _outcome(solved: Solved) -> TuningResult:
    prepared, problem, settings = solved.prepared, solved.problem, solved.settings
    before = tape_settings(prepared)
    sums = sum_curves(problem, before, settings)
    losses = [coherent_loss(problem, settings, name) for name in problem.sum_names]
    late, late_by_band = arrival_difference(problem, settings, prepared.responses, prepared.move_s)
    late_before, _ = arrival_difference(problem, before, prepared.responses, prepared.move_s)
    nan = np.full(len(problem.spectra.group_hz), np.nan)
    paired = LEFT_SIDE in sums
    gap = sums[LEFT_SIDE].after_db - sums[RIGHT_SIDE].after_db if paired else nan
    gap_before = sums[LEFT_SIDE].before_db - sums[RIGHT_SIDE].before_db if paired else nan
    after = {name: rms_error_db(problem, item.after_db, name) for name, item in sums.items()}
    metrics = Metrics(
        error_before_db={name: rms_error_db(problem, item.before_db, name) for name, item in sums.items()},
        error_after_db=after,
        error_expected_db=expected_error_db(solved, after),
        error_single_place_db=solved.sized.single_db,
        side_difference_db=_sides_differ(problem, sums, "after_db"),
        side_difference_before_db=_sides_differ(problem, sums, "before_db"),
        arrival_difference_s=late,
        arrival_difference_before_s=late_before,
        coherent_gain_lost_db=losses[problem.sum_names.index(EVERYTHING)].loss_db,
        headroom_db=headroom_db(problem, settings),
    )
    return TuningResult(
        settings=explain_filters(problem, settings),
        positions=prepared.responses.positions,
        nearest_position=prepared.responses.positions[prepared.nearest],
        band_centres_hz=problem.spectra.group_hz,
        house_curve_db=problem.target_db,
        house_curve_source=prepared.house_source,
        sums=sums,
        channels=channel_curves(problem, prepared.responses, settings, prepared.nearest, BEFORE_S, LENGTH_S),
        impulse_rate_hz=prepared.responses.sample_rate_hz,
        impulse_start_s=-BEFORE_S,
        side_level_difference_db=gap,
        side_arrival_difference_s=late_by_band,
        metrics=metrics,
        decisions=decide(solved),
        findings=remarks(solved, metrics, losses),
        before=before,
        side_level_difference_before_db=gap_before if paired else None,
        sound_speed_m_s=prepared.sound_speed_m_s,
    )


def _sides_differ(problem: Problem, sums: dict[str, SumCurves], when: str) -> float:
    """Left against right before or after; NaN without two sides."""
    if LEFT_SIDE not in sums:
        return float("nan")
    return side_difference_db(problem, getattr(sums[LEFT_SIDE], when), getattr(sums[RIGHT_SIDE], when))
