"""A first candidate: usual corners, levels on the house curve, polarities and delays from the search over the overlap."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cabinwright.stages.tuning.align import Scan, scan_way
from cabinwright.stages.tuning.fit import improve
from cabinwright.stages.tuning.model import DELAY_SCALE, Layout, Model
from cabinwright.stages.tuning.problem import OFFSETS, Problem, State
from cabinwright.stages.tuning.ways import Crossover, edges_for

__all__ = ["first_gains", "plain_layout", "realign", "start_state"]

Real = NDArray[np.float64]

REAR_FILL_DELAY_S = 0.012  #: after the front, so that the front is heard first (common practice, no source)
FILL_LEVEL_DB = {"rear fill": -10.0}  #: against the front (common practice, no source)
CENTRE_LEVEL_DB = -6.0
REALIGN_WORTH = 0.97  #: another period or polarity must lower the cost by 3 %


def start_state(problem: Problem, crossovers: list[Crossover], polarity: Real) -> State:
    """First candidate for ``crossovers``; ``polarity`` (channels,) makes left and right of each way agree."""
    layout, vector = plain_layout(problem, crossovers, polarity)
    vector[: layout.channels] = first_gains(problem, layout, vector)
    for way in problem.ways:
        if way.fill and way.role == "rear fill":
            vector[[layout.at_delay + channel for channel in way.channels]] = REAR_FILL_DELAY_S * DELAY_SCALE
    state = State(layout, vector)
    stage = problem.stage
    for index in range(len(stage) - 2, -1, -1):
        state = _turned(state, stage[index].channels, _scans(problem, state, crossovers, index)[0])
    return state


def plain_layout(problem: Problem, crossovers: list[Crossover], polarity: Real) -> tuple[Layout, Real]:
    """Crossovers at their usual corners and nothing else: a layout and its vector."""
    edges = edges_for(problem.processor, problem.ways, crossovers)
    layout = Layout(len(problem.channels), 0, edges, polarity.copy(), problem.spectra.sample_rate_hz)
    vector = np.zeros(layout.size + OFFSETS)
    vector[layout.at_edge : layout.at_peak] = [np.log(edge.frequency_hz) for edge in edges]
    return layout, vector


def first_gains(problem: Problem, layout: Layout, vector: Real) -> Real:
    """Gain in dB that puts each channel's own band on the house curve; fills below it by rule."""
    freq, group = problem.spectra.frequency_hz, problem.spectra.group_hz
    passed = np.abs(Model(layout, freq).responses(vector)) ** 2
    target = np.interp(np.log(freq), np.log(group), problem.target_db)
    gains = np.zeros(layout.channels)
    for channel in range(layout.channels):
        power = problem.spectra.cross[problem.present[channel]][:, :, channel, channel].real.mean(axis=0)
        level = 10.0 * np.log10(np.maximum(power, 1e-30))
        # Between corners close together nothing passes whole: then its loudest half counts.
        heard = passed[channel] > min(0.35, 0.5 * float(passed[channel].max()))
        gains[channel] = np.median((target - level)[heard])
        way = problem.way_of(channel)
        gains[channel] += FILL_LEVEL_DB.get(way.role, CENTRE_LEVEL_DB) if way.fill else 0.0
    return gains


def _scans(problem: Problem, state: State, crossovers: list[Crossover], index: int) -> list[Scan]:
    """Best polarities and delays of stage way ``index`` against all ways above it (and, in the bass, all others)."""
    item = next(c for c in crossovers if problem.ways[c.lower] == problem.stage[index])
    pair = next(c for c, other in enumerate(crossovers) if other is item)
    corner = np.mean(
        [state.vector[state.layout.at_edge + k] for k, e in enumerate(state.layout.edges) if e.pair == pair]
    )
    centre = float(np.exp(corner))
    above = [channel for way in problem.stage[index + 1 :] for channel in way.channels]
    response = Model(state.layout, problem.spectra.frequency_hz).responses(state.vector)
    span = (40.0, 500.0) if centre < 150.0 else (centre / 2.5, centre * 2.5)
    return scan_way(
        [(problem.members(name), problem.cross_of(name)) for name in problem.sum_names],
        problem.spectra.frequency_hz,
        response,
        way=problem.stage[index].channels,
        others=tuple(above),
        centre_hz=centre,
        span_hz=span,
    )


def _turned(state: State, channels: tuple[int, ...], scan: Scan) -> State:
    """``state`` with one way's polarity and delay moved."""
    polarity, vector = state.layout.polarity.copy(), state.vector.copy()
    polarity[list(channels)] *= scan.polarity
    vector[[state.layout.at_delay + channel for channel in channels]] += scan.delay_s * DELAY_SCALE
    return State(state.layout.turned(polarity), vector, state.cost)


def realign(problem: Problem, state: State, crossovers: list[Crossover], *, candidates: int = 3) -> State:
    """With the filters as they now are, try other periods and polarities of each way; keep what lowers the cost."""
    for index in range(len(problem.stage) - 2, -1, -1):
        best = state
        for scan in _scans(problem, state, crossovers, index)[:candidates]:
            if scan.polarity > 0.0 and abs(scan.delay_s) < 1e-5:
                continue
            tried = improve(problem, _turned(state, problem.stage[index].channels, scan), iterations=8)
            if tried.cost < REALIGN_WORTH * best.cost:
                best = tried
        state = best
    return state
