"""Findings of the tune."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from cabinwright.findings import Finding, finding
from cabinwright.stages.tuning.dips import Dip
from cabinwright.stages.tuning.doubts import doubts
from cabinwright.stages.tuning.outcome import Loss, unrounded_error_db
from cabinwright.stages.tuning.prepare import Prepared
from cabinwright.stages.tuning.problem import Problem, State
from cabinwright.stages.tuning.reasons import hertz, listed
from cabinwright.stages.tuning.result import Metrics
from cabinwright.stages.tuning.rounding import absolute_delays
from cabinwright.stages.tuning.settings import Settings
from cabinwright.stages.tuning.sides import EVERYTHING
from cabinwright.stages.tuning.solved import Solved
from cabinwright.stages.tuning.ways import Crossover, safe_range, wish_means

__all__ = ["remarks"]

FEW_POSITIONS = 4
HEAD_GAP_M = 0.25  #: further than this from the head centre no microphone speaks for it
ARRIVAL_LIMIT_S = 50e-6
LOSS_LIMIT_DB = 0.5
STEPS_LIMIT_DB = 0.5  #: rms that rounding to the processor's steps may add to a sum unsaid
PLAIN_CORRELATION = 0.08


def remarks(solved: Solved, metrics: Metrics, losses: list[Loss]) -> tuple[Finding, ...]:
    """Everything worth saying about a finished tune, gravest first; ``losses`` in the order of the problem's sums."""
    prepared, problem, settings = solved.prepared, solved.problem, solved.settings
    rows = [
        *_limits(problem, solved.sized.state, settings),
        *_steps(problem, solved, metrics),
        *_image(prepared, problem, metrics, losses),
        *_recordings(prepared),
        *_safety(problem),
        *doubts(problem, prepared.responses.positions),
        *_wishes(problem, settings, solved.crossed.crossovers),
        *_left(problem, solved.dips),
    ]
    order = {"stop": 0, "caution": 1, "note": 2}
    return tuple(sorted(rows, key=lambda row: order[row.severity]))


def _limits(problem: Problem, state: State, settings: Settings) -> Iterator[Finding]:
    """Where the processor's own limits were hit."""
    proc = problem.processor
    spread = float(absolute_delays(problem, state).max())
    if spread > proc.delay_max_s + 0.5 * proc.delay_step_s:
        yield finding(
            "tuning.delay_out_of_reach",
            where="processor",
            value=round(1e3 * spread, 2),
            limit=1e3 * proc.delay_max_s,
            unit="ms",
        )
    for item in settings.channels:
        if item.gain_db <= proc.gain_min_db + 0.5 * proc.gain_step_db:
            yield finding(
                "tuning.gain_out_of_reach", where=item.name, value=item.gain_db, limit=proc.gain_min_db, unit="dB"
            )


def _steps(problem: Problem, solved: Solved, metrics: Metrics) -> Iterator[Finding]:
    """Where rounding to the processor's steps costs much, or where the whole tune is no gain."""
    for name in problem.judged_names:
        before, after = metrics.error_before_db[name], metrics.error_after_db[name]
        lost = after - unrounded_error_db(solved, name)
        if lost > STEPS_LIMIT_DB:
            yield finding(
                "tuning.coarse_steps",
                where=name,
                value=round(lost, 1),
                limit=STEPS_LIMIT_DB,
                unit="dB",
                rms=round(after, 1),
            )
        if after >= before:
            yield finding("tuning.no_gain", where=name, value=round(after, 1), limit=round(before, 1), unit="dB")
    edges = solved.state.layout.edges
    corners = np.exp(solved.state.layout.split(solved.state.vector)[2])
    for edge, corner in zip(edges, corners, strict=True):
        if edge.pair is None or not edge.free or edge.low_hz * 1.05 < corner < edge.high_hz / 1.05:
            continue
        yield finding(
            "tuning.crossover_at_limit",
            where=listed([problem.channels[c] for c in edge.channels]),
            value=round(float(corner)),
            unit="Hz",
            kind=edge.kind,
            low=hertz(edge.low_hz),
            high=hertz(edge.high_hz),
        )


def _image(prepared: Prepared, problem: Problem, metrics: Metrics, losses: list[Loss]) -> Iterator[Finding]:
    late = metrics.arrival_difference_s
    if np.isfinite(late) and abs(late) > ARRIVAL_LIMIT_S:
        yield finding(
            "tuning.sides_apart",
            where="left side, right side",
            value=round(1e6 * late),
            limit=round(1e6 * ARRIVAL_LIMIT_S),
            unit="µs",
            late="left" if late > 0.0 else "right",
        )
    for channel, plain in prepared.pair_confidence.items():
        way = problem.way_of(channel)
        first = way.channels[0]
        if prepared.polarity[channel] != prepared.polarity[first] and plain >= PLAIN_CORRELATION and way.low_hz > 40.0:
            names = problem.channels[first], problem.channels[channel]
            yield finding("tuning.pair_opposite", where=f"{names[0]} and {names[1]}", value=round(plain, 2))
        if plain < PLAIN_CORRELATION and way.low_hz > 40.0:
            yield finding(
                "tuning.polarity_unsure",
                where=problem.channels[channel],
                value=round(plain, 3),
                limit=PLAIN_CORRELATION,
                partner=problem.channels[way.channels[0]],
            )
    for name, loss in zip(problem.sum_names, losses, strict=True):
        if loss.loss_db > LOSS_LIMIT_DB:
            yield finding(
                "tuning.bass_compromise",
                where=name,
                value=round(loss.loss_db, 2),
                limit=LOSS_LIMIT_DB,
                unit="dB",
                role=loss.role,
                delay_ms=round(1e3 * loss.delay_s, 2),
            )


def _recordings(prepared: Prepared) -> Iterator[Finding]:
    count = len(prepared.responses.positions)
    if count < FEW_POSITIONS:
        yield finding("tuning.few_positions", where="microphone_positions", value=count, limit=FEW_POSITIONS)
    if prepared.head_gap_m > HEAD_GAP_M:
        yield finding(
            "tuning.head_far",
            where="microphone_positions",
            value=round(prepared.head_gap_m, 2),
            limit=HEAD_GAP_M,
            unit="m",
        )
    if prepared.other_seats:
        yield finding("tuning.other_seats", where=listed(prepared.other_seats))
    for c, name in enumerate(prepared.responses.channels):
        if not np.isfinite(prepared.head_distance_m[c]):
            yield finding("tuning.no_place", where=name)


def _safety(problem: Problem) -> Iterator[Finding]:
    for way in problem.ways:
        names = [problem.channels[c] for c in way.channels]
        assumed = [name for name in names if safe_range(problem.build, name)[2] != "the build"]
        if assumed:
            low, high, _ = safe_range(problem.build, assumed[0])
            yield finding(
                "tuning.safe_range_by_role",
                where=listed(assumed),
                value=low,
                limit=high,
                unit="Hz",
                role=way.role,
                low=hertz(low),
                high=hertz(high),
            )


def _wishes(problem: Problem, settings: Settings, crossovers: list[Crossover]) -> Iterator[Finding]:
    """Wishes about crossovers that could not be kept."""
    for wish in problem.build.tuning.crossovers if problem.build.tuning else ():
        where = f"{wish.lower} to {wish.upper}"
        meant = [item for item in crossovers if wish_means(wish, item, problem.ways, problem.channels)]
        if not meant:
            yield finding("tuning.wish_unused", where=where)
        for item in meant:
            upper = problem.ways[item.upper]
            bank = settings.channel(problem.channels[upper.channels[0]]).filters
            got = next(row.frequency_hz for row in bank if row.kind == "high-pass")
            if wish.frequency_hz is not None and abs(got - wish.frequency_hz) > problem.processor.frequency_step_hz:
                yield finding(
                    "tuning.wish_raised", where=where, value=got, limit=wish.frequency_hz, unit="Hz", role=upper.role
                )


def _left(problem: Problem, dips: list[Dip]) -> Iterator[Finding]:
    for dip in dips:
        yield finding(
            "tuning.dip_left_alone",
            where=dip.sum_name,
            value=round(dip.depth_db, 1),
            unit="dB",
            frequency=hertz(dip.frequency_hz),
            why="it moves from place to place" if dip.moves else "it is not minimum phase",
        )
    names = problem.sum_names
    for name in names:
        if name == EVERYTHING and len(names) > 1:
            continue
        weak = problem.reach[name] < 0.5
        group = problem.spectra.group_hz
        usable = group[~weak]
        if len(usable) and usable[0] > 45.0:
            yield finding("tuning.out_of_reach_low", where=name, value=round(float(usable[0])), unit="Hz")
        if len(usable) and usable[-1] < 12000.0:
            yield finding("tuning.out_of_reach_high", where=name, value=round(float(usable[-1])), unit="Hz")
