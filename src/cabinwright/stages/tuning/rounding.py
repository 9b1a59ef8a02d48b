"""Onto the processor's own grid, one kind of value at a time, the rest optimised again after each."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Processor
from cabinwright.physics.filters import Filter
from cabinwright.stages.tuning.fit import improve
from cabinwright.stages.tuning.model import DELAY_SCALE, Layout, Model
from cabinwright.stages.tuning.problem import OFFSETS, Problem, State
from cabinwright.stages.tuning.settings import ChannelSettings, Settings

__all__ = ["absolute_delays", "on_grid", "snap", "to_settings"]

Real = NDArray[np.float64]
TIDY_ROUNDS = 3
WORTH_KEYING_DB = 0.4  #: a peaking filter smaller than this is not worth a person's time
LIKE_OCTAVES, LIKE_Q = 1 / 6, 0.5  #: filters this close (Q in nepers) do one filter's work


def snap(value: float, step: float, low: float, high: float) -> float:
    """Nearest multiple of ``step`` from ``low`` to ``high``; the bounds themselves are rounded inwards.

    Where no multiple lies between them it is the first above: what protects a loudspeaker is not lowered. Multiples
    keep at most twelve significant digits, so that 57.3 is written as 57.3.
    """
    first, last = np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9)
    return float(f"{float(np.clip(np.round(value / step), first, max(first, last))) * step:.12g}")


def absolute_delays(problem: Problem, state: State) -> Real:
    """Processor delays (channels,) in seconds: smallest 0, before rounding."""
    _, residual, *_ = state.layout.split(state.vector[: state.layout.size])
    wanted = residual - problem.arrivals.at_head_s
    return np.asarray(wanted - wanted.min())


def on_grid(problem: Problem, state: State) -> State:
    """Delays, then corners, then peaking frequency and Q, then peaking gain; the rest is solved again each time."""
    proc, layout = problem.processor, state.layout
    frozen = np.zeros(layout.size + OFFSETS, dtype=bool)
    vector = state.vector
    for _ in range(TIDY_ROUNDS):  # what settles anew may need tidying anew
        vector, idle = _tidied(problem, State(layout, vector))
        frozen[[3 * k + layout.at_peak + part for k in idle for part in range(3)]] = True
        vector = _settle(problem, layout, vector, frozen)

    wanted = absolute_delays(problem, State(layout, vector))
    rounded = _round_delays(problem, wanted)
    common = float(np.median(rounded - wanted))  # a delay of all channels alike is not heard
    vector[layout.at_delay : layout.at_edge] += (rounded - common - wanted) * DELAY_SCALE
    frozen[layout.at_delay : layout.at_edge] = True
    vector = _settle(problem, layout, vector, frozen)

    for k, edge in enumerate(layout.edges):
        corner = float(np.exp(vector[layout.at_edge + k]))
        vector[layout.at_edge + k] = np.log(snap(corner, proc.frequency_step_hz, edge.low_hz, edge.high_hz))
    frozen[layout.at_edge : layout.at_peak] = True
    vector = _settle(problem, layout, vector, frozen)

    at = layout.at_peak + 3 * np.arange(layout.channels * layout.peaks)
    turns = layout.at_all_pass + 2 * np.arange(len(layout.all_passes))
    for at_f, at_q in [*zip(at, at + 2, strict=True), *zip(turns, turns + 1, strict=True)]:
        vector[at_f] = np.log(
            snap(float(np.exp(vector[at_f])), proc.frequency_step_hz, 10.0, 0.45 * layout.sample_rate_hz)
        )
        vector[at_q] = np.log(
            snap(float(np.exp(vector[at_q])), proc.peaking_q_step, proc.peaking_q_min, proc.peaking_q_max)
        )
    frozen[at] = frozen[at + 2] = True
    frozen[layout.at_all_pass : layout.size] = True
    vector = _settle(problem, layout, vector, frozen)

    low, high = proc.peaking_gain_min_db, proc.peaking_gain_max_db
    kept = np.where(np.abs(vector[at + 1]) < WORTH_KEYING_DB - 1e-9, 0.0, vector[at + 1])
    vector[at + 1] = [snap(float(value), proc.peaking_gain_step_db, low, high) for value in kept]
    frozen[at + 1] = True
    vector = _settle(problem, layout, vector, frozen)
    return State(layout, vector, state.cost)


def _tidied(problem: Problem, state: State) -> tuple[Real, list[int]]:
    """The vector with like filters of a channel made one, and flat: the smallest and any boost where nothing is to be
    boosted (in a dip left alone, below or above what the loudspeakers reach); and which are flat now.
    """
    layout = state.layout
    vector = state.vector.copy()
    rows = vector[layout.at_peak : layout.at_all_pass].reshape(-1, 3)  # a view: edits land in the vector
    low = problem.processor.peaking_gain_min_db
    high = min(problem.processor.peaking_gain_max_db, problem.weights.most_boost_db)
    for channel in range(layout.channels):
        bank = rows[channel * layout.peaks : (channel + 1) * layout.peaks]
        order = np.argsort(bank[:, 0])
        for one, other in pairwise(order):
            first, second = bank[one], bank[other]
            alike = second[0] - first[0] < LIKE_OCTAVES * np.log(2.0) and abs(second[2] - first[2]) < LIKE_Q
            if alike and first[1] * second[1] > 0.0:
                weight = second[1] / (first[1] + second[1])
                second[0] = first[0] + weight * (second[0] - first[0])
                second[1] = np.clip(first[1] + second[1], low, high)
                first[1] = 0.0
        barred = np.interp(bank[:, 0], np.log(problem.spectra.group_hz), problem.barred_boost(channel)) > 0.5
        bank[barred & (bank[:, 1] > 0.0), 1] = 0.0
    small = np.flatnonzero(np.abs(rows[:, 1]) < WORTH_KEYING_DB)
    rows[small, 1] = 0.0
    return vector, [int(k) for k in small]


def _settle(problem: Problem, layout: Layout, vector: Real, frozen: NDArray[np.bool_]) -> Real:
    """Solve for what is not on the grid yet."""
    return improve(problem, State(layout, vector), iterations=6, frozen=frozen).vector


def _round_delays(problem: Problem, delay: Real) -> Real:
    """Multiples of the step within the processor's reach.

    Within a way the differences are rounded, not the delays: left and right then part by half a step at most.
    """
    proc = problem.processor
    step = proc.delay_step_s
    counts = np.round(delay / step)
    for way in problem.ways:
        first, *others = way.channels
        for other in others:
            counts[other] = counts[first] + np.round((delay[other] - delay[first]) / step)
    counts -= counts.min()
    return np.asarray(np.minimum(counts, np.floor(proc.delay_max_s / step + 1e-9)) * step)


def to_settings(problem: Problem, state: State) -> Settings:
    """The processor's settings; overall level as high as the channel that needs most can go without exceeding 0 dB."""
    proc, layout = problem.processor, state.layout
    gains, _, edge_ln, peaks, turns = layout.split(state.vector[: layout.size])
    delay = _round_delays(problem, absolute_delays(problem, state))
    response = np.abs(Model(layout, problem.spectra.frequency_hz).responses(state.vector[: layout.size]))
    headroom = 20.0 * np.log10(response.max(axis=1))  # what each channel would need above 0 dB
    lift = float(min((proc.gain_max_db - gains).min(), -headroom.max()))
    # Turning all channels alike is not heard: the sign with the fewer inversions is keyed in.
    sign = -1.0 if np.sum(layout.polarity < 0.0) > 0.5 * layout.channels else 1.0
    rows = []
    for c, name in enumerate(problem.channels):
        filters: list[Filter] = []
        for k, edge in enumerate(layout.edges):
            if c in edge.channels:
                hertz = float(f"{float(np.exp(edge_ln[k])):.9g}")
                filters.append(
                    Filter(
                        edge.kind,
                        hertz,
                        family=edge.family,
                        slope_db_per_octave=edge.slope_db_per_octave,
                    )
                )
        filters.sort(key=lambda item: item.kind)
        bank = [
            Filter("peaking", float(f"{np.exp(f):.9g}"), gain_db=float(f"{g:.9g}"), q=float(f"{np.exp(q):.9g}"))
            for f, g, q in peaks[c]
            if abs(g) >= 0.5 * proc.peaking_gain_step_db
        ]
        bank += [
            Filter("all-pass", float(f"{np.exp(f):.9g}"), q=float(f"{np.exp(q):.9g}"))
            for owner, (f, q) in zip(layout.all_passes, turns, strict=True)
            if owner == c
        ]
        filters += sorted(bank, key=lambda item: item.frequency_hz)
        gain = snap(float(gains[c]) + lift, proc.gain_step_db, proc.gain_min_db, proc.gain_max_db)
        polarity = "inverted" if sign * layout.polarity[c] < 0.0 else "normal"
        rows.append(ChannelSettings(name, gain, polarity, float(f"{delay[c]:.12g}"), tuple(filters)))  # type: ignore[arg-type]
    return _below_full_scale(proc, Settings(layout.sample_rate_hz, tuple(rows)))


def _below_full_scale(proc: Processor, settings: Settings) -> Settings:
    """All gains lowered by whole steps until no channel exceeds 0 dB at any frequency (rounding may have raised one)."""
    grid = np.geomspace(5.0, 0.499 * settings.sample_rate_hz, 4000)
    peaks = [np.abs(item.response(grid, sample_rate_hz=settings.sample_rate_hz)).max() for item in settings.channels]
    over_db = 20.0 * float(np.log10(max(peaks)))
    if over_db <= 0.0:
        return settings
    down = np.ceil(over_db / proc.gain_step_db) * proc.gain_step_db
    lowered = [
        replace(row, gain_db=snap(row.gain_db - down, proc.gain_step_db, proc.gain_min_db, proc.gain_max_db))
        for row in settings.channels
    ]
    return replace(settings, channels=tuple(lowered))
