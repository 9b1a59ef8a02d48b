"""The solver applied to a tune: ties, bounds, and where new peaking filters begin."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from cabinwright.stages.tuning.model import DELAY_SCALE, Layout, Model
from cabinwright.stages.tuning.objective import Objective, Tie
from cabinwright.stages.tuning.problem import OFFSETS, Problem, State
from cabinwright.stages.tuning.sides import EVERYTHING
from cabinwright.stages.tuning.solver import solve
from cabinwright.stages.tuning.spectra import BANDS_PER_GROUP, GROUP_FRACTION

__all__ = ["add_peaks", "bounds_for", "improve", "objective_for"]

Real = NDArray[np.float64]

PAIR_DELAY_MS = 0.004  #: left and right of a way drift apart by no more than this without good reason
BASS_DELAY_MS = 1.0  #: the same below 40 Hz, where nobody hears a direction
PAIR_GAIN_DB = 1.5  #: how far the gains of a pair part beyond what levels in the channel's own band ask
WAY_GAIN_DB = 3.0  #: the same between ways
CORNER_OCTAVES = 0.15  #: how far the two corners of one crossover may part
USUAL_OCTAVES = 0.7  #: how far a crossover may leave its usual frequency
USUAL_Q, Q_SPREAD = 2.0, 0.5  #: prior of ln Q
ALL_PASS_HZ = (25.0, 500.0)  #: all-pass filters work on the bass only: higher up they would smear the image
ALL_PASS_Q = 3.0  #: and never ring
LOWEST_PEAK_HZ, HIGHEST_PEAK_HZ = 25.0, 16000.0  #: what is judged
INTO_SLOPE = (
    0.9  #: peaking filters reach no further than this into a crossover's slope: they shape, they do not hand over
)
DELAY_PERIODS = 0.35  #: how far the solver may move a delay: it stays in the period that the search chose


def objective_for(problem: Problem, state: State) -> Objective:
    """The objective of a candidate."""
    return Objective(
        Model(state.layout, problem.spectra.frequency_hz),
        problem.targets(),
        group_hz=problem.spectra.group_hz,
        ties=_ties(problem, state.layout),
        weights=problem.weights,
        offsets=OFFSETS,
        sides=(0, 1) if len(problem.sum_names) == 3 else None,
        boost_limit_db=problem.boost_limit_db(),
    )


def _ties(problem: Problem, layout: Layout) -> list[Tie]:
    ties: list[Tie] = []
    for way in problem.ways:
        spread = PAIR_DELAY_MS if way.low_hz > 40.0 else BASS_DELAY_MS
        first = layout.at_delay + way.channels[0]
        ties += [Tie((first, layout.at_delay + other), (1.0, -1.0), 0.0, spread) for other in way.channels[1:]]
    stage = [channel for way in problem.stage for channel in way.channels]
    usual = problem.usual_gain_db
    for way in problem.stage:  # no loudspeaker is silenced to mend what another does, and pairs stay balanced
        first = way.channels[0]
        ties += [
            Tie((first, other), (1.0, -1.0), float(usual[first] - usual[other]), PAIR_GAIN_DB)
            for other in way.channels[1:]
        ]
        if first != stage[0]:
            ties.append(Tie((first, stage[0]), (1.0, -1.0), float(usual[first] - usual[stage[0]]), WAY_GAIN_DB))
    octave = float(np.log(2.0))
    for k, edge in enumerate(layout.edges):
        if not edge.free:
            continue
        at = layout.at_edge + k
        ties.append(Tie((at,), (1.0,), float(np.log(edge.frequency_hz)), USUAL_OCTAVES * octave))
        mates = [m for m in range(k + 1, len(layout.edges)) if layout.edges[m].pair == edge.pair]
        ties += [Tie((at, layout.at_edge + m), (1.0, -1.0), 0.0, CORNER_OCTAVES * octave) for m in mates]
    at_q = layout.at_peak + 2 + 3 * np.arange(layout.channels * layout.peaks)
    ties += [Tie((int(at),), (1.0,), float(np.log(USUAL_Q)), Q_SPREAD) for at in at_q]
    return ties


def bounds_for(problem: Problem, state: State) -> tuple[Real, Real]:
    """Lower and upper bounds of the vector; equal where nothing may move."""
    layout = state.layout
    lower, upper = np.full(layout.size + OFFSETS, -np.inf), np.full(layout.size + OFFSETS, np.inf)
    lower[: layout.channels], upper[: layout.channels] = -120.0, 120.0
    for k, edge in enumerate(layout.edges):
        at = layout.at_edge + k
        lower[at], upper[at] = (np.log(edge.low_hz), np.log(edge.high_hz)) if edge.free else (state.vector[at],) * 2
    if any(way.fill for way in problem.ways):  # a fill's level is a rule: raising all the rest would break it
        lower[layout.size] = upper[layout.size] = 0.0
    for channel in range(layout.channels):
        way = problem.way_of(channel)
        at = layout.at_delay + channel
        corners = [edge.frequency_hz for edge in layout.edges if channel in edge.channels and edge.pair is not None]
        still = way.fill or way == problem.stage[-1] or not corners
        room = 0.0 if still else DELAY_PERIODS / max(corners) * DELAY_SCALE
        lower[at], upper[at] = state.vector[at] - room, state.vector[at] + room
        if way.fill:
            lower[channel] = upper[channel] = state.vector[channel]
        _bound_peaks(problem, state, channel, lower, upper)
    turns = slice(layout.at_all_pass, layout.size)
    lower[turns] = np.tile([np.log(ALL_PASS_HZ[0]), np.log(problem.processor.peaking_q_min)], len(layout.all_passes))
    upper[turns] = np.tile([np.log(ALL_PASS_HZ[1]), np.log(ALL_PASS_Q)], len(layout.all_passes))
    return lower, upper


def _bound_peaks(problem: Problem, state: State, channel: int, lower: Real, upper: Real) -> None:
    """Peaking filters stay where the channel plays, within the processor's limits."""
    layout, proc = state.layout, problem.processor
    top = min(HIGHEST_PEAK_HZ, 0.42 * layout.sample_rate_hz)
    corners = {"high-pass": [LOWEST_PEAK_HZ / INTO_SLOPE], "low-pass": [top * INTO_SLOPE]}
    for k, edge in enumerate(layout.edges):
        if channel in edge.channels:
            corners[edge.kind].append(float(np.exp(state.vector[layout.at_edge + k])))
    low, high = INTO_SLOPE * max(corners["high-pass"]), min(corners["low-pass"]) / INTO_SLOPE
    span = slice(layout.at_peak + 3 * channel * layout.peaks, layout.at_peak + 3 * (channel + 1) * layout.peaks)
    most = min(proc.peaking_gain_max_db, problem.weights.most_boost_db)
    if problem.way_of(channel).fill:  # equalised for the stage's sake, a fill would only be taken out
        lower[span] = upper[span] = np.tile([np.log(low), 0.0, np.log(proc.peaking_q_min)], layout.peaks)
        return
    lower[span] = np.tile([np.log(low), proc.peaking_gain_min_db, np.log(proc.peaking_q_min)], layout.peaks)
    upper[span] = np.tile([np.log(max(high, 1.1 * low)), most, np.log(proc.peaking_q_max)], layout.peaks)


def improve(
    problem: Problem,
    state: State,
    *,
    iterations: int = 30,
    tolerance: float = 1e-3,
    frozen: NDArray[np.bool_] | None = None,
) -> State:
    """Run the solver from ``state``; entries marked ``frozen`` stay."""
    lower, upper = bounds_for(problem, state)
    if frozen is not None:
        lower[frozen] = upper[frozen] = state.vector[frozen]
    objective = objective_for(problem, state)
    done = solve(objective, state.vector, lower=lower, upper=upper, iterations=iterations, tolerance=tolerance)
    return State(state.layout, done.vector, done.cost)


def add_peaks(problem: Problem, state: State, count: int) -> State:
    """Give every channel ``count`` peaking filters, the new ones where the error of its sums is largest."""
    layout, wider = state.layout, replace(state.layout, peaks=count)
    vector = np.zeros(wider.size + OFFSETS)
    vector[: wider.at_peak] = state.vector[: layout.at_peak]
    vector[wider.at_all_pass :] = state.vector[layout.at_all_pass :]
    wider.split(vector)[3][:, : layout.peaks] = layout.split(state.vector)[3]
    peaks = wider.split(vector)[3]
    errors = _channel_errors(problem, state)
    lower, upper = bounds_for(problem, State(wider, vector))
    log_f = np.log(problem.spectra.group_hz)
    for channel in range(layout.channels):
        at = wider.at_peak + 3 * channel * count
        low, high = lower[at], upper[at]
        taken = [float(f) for f in peaks[channel, : layout.peaks, 0]]
        error = errors[channel]
        for k in range(layout.peaks, count):
            spot, width, height = _largest_lump(error, log_f, low, high) or _widest_gap(taken, low, high)
            peaks[channel, k] = [spot, np.clip(-0.6 * height, -6.0, 3.0), np.log(np.clip(1.4 / width, 0.7, 6.0))]
            taken.append(spot)
            error = error * (1.0 - np.exp(-(((log_f - spot) / (0.5 * width * np.log(2.0))) ** 2)))
    return State(wider, vector)


def _channel_errors(problem: Problem, state: State) -> Real:
    """(channels, groups): error of the sums in dB, shared out by each channel's part of the power."""
    objective = objective_for(problem, state)
    levels = objective.levels_db(state.vector)
    response = np.abs(objective.model.responses(state.vector)) ** 2
    errors = np.zeros((state.layout.channels, len(problem.spectra.group_hz)))
    for target, level in zip(objective.sums, levels, strict=True):
        if target.name == EVERYTHING and len(objective.sums) > 1:
            continue
        miss = (level - target.target_db - state.vector[state.layout.size + target.offset]) * target.weight
        miss *= np.where(miss < 0.0, target.fill, 1.0)
        for k, channel in enumerate(target.channels):
            alone = (response[channel] * target.cross[:, k, k].real).reshape(-1, BANDS_PER_GROUP).sum(axis=1)
            errors[channel] += miss * np.clip(alone / 10.0 ** (level / 10.0), 0.0, 1.0)
    return errors


def _largest_lump(error: Real, log_f: Real, low: float, high: float) -> tuple[float, float, float] | None:
    """Centre (ln Hz), width (octaves) and height of the run of one sign with the largest area inside the limits."""
    best, most = None, 0.5
    sign = np.sign(error) * ((log_f >= low) & (log_f <= high))
    edges = np.flatnonzero(np.diff(np.concatenate([[0.0], sign, [0.0]])) != 0)
    for start, stop in pairwise(edges):
        run = error[start:stop]
        area = abs(float(run.sum()))
        if sign[start] != 0 and area > most:
            most = area
            centre = float((np.abs(run) @ log_f[start:stop]) / np.abs(run).sum())
            best = (centre, max((stop - start) / GROUP_FRACTION, 1 / 6), float(run[np.argmax(np.abs(run))]))
    return best


def _widest_gap(taken: list[float], low: float, high: float) -> tuple[float, float, float]:
    """A place far from all filters there are, for one that starts flat."""
    spots = np.linspace(low, high, 32)
    room = [min((abs(float(spot) - other) for other in taken), default=9.0) for spot in spots]
    return float(spots[int(np.argmax(room))]), 1.0, 0.0
