"""Choices that are not numbers on a slope: crossover families and slopes, and how many filters the recordings justify."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.filters import Family
from cabinwright.stages.tuning.fit import add_peaks, improve, objective_for
from cabinwright.stages.tuning.objective import Weights
from cabinwright.stages.tuning.problem import Problem, State
from cabinwright.stages.tuning.sides import EVERYTHING
from cabinwright.stages.tuning.spectra import third_levels_db, third_octaves
from cabinwright.stages.tuning.start import realign, start_state
from cabinwright.stages.tuning.ways import Crossover, crossover_kinds

__all__ = ["Crossed", "Progress", "Sized", "choose_all_passes", "choose_crossovers", "choose_size"]

Real = NDArray[np.float64]
Progress = Callable[[str, float], None]
MOST_ALL_PASSES = 2  #: per channel, however many the processor has
ALL_PASS_GRID_HZ = (45.0, 65.0, 90.0, 130.0, 190.0, 280.0, 400.0)
ALL_PASS_WORTH = 0.97  #: an all-pass filter must lower the cost by 3 % to be worth keying in


@dataclass(frozen=True)
class Crossed:
    """The crossovers chosen, with the cost of every alternative tried."""

    crossovers: list[Crossover]
    state: State
    tried: tuple[tuple[int, str, int, float], ...]  #: crossover, family, slope, cost


def choose_crossovers(problem: Problem, crossovers: list[Crossover], polarity: Real, progress: Progress) -> Crossed:
    """Try each family and slope the processor has, one crossover at a time with few filters; the cheapest stays."""
    proc = problem.processor
    kinds = crossover_kinds(proc)
    first: tuple[Family, int] = ("Linkwitz-Riley", 24) if ("Linkwitz-Riley", 24) in kinds else kinds[-1]

    first_peaks = min(2, proc.peaking_filters)

    def attempt(candidate: list[Crossover]) -> State:
        return improve(
            problem, add_peaks(problem, start_state(problem, candidate, polarity), first_peaks), iterations=8
        )

    chosen = [
        item if item.kind_kept else replace(item, family=first[0], slope_db_per_octave=first[1]) for item in crossovers
    ]
    best = attempt(chosen)
    tried: list[tuple[int, str, int, float]] = []
    for index in range(len(chosen)):
        tried.append((index, chosen[index].family, chosen[index].slope_db_per_octave, best.cost))
        for number, (family, slope) in enumerate(kinds):
            progress("choosing crossovers", (index + number / len(kinds)) / len(chosen))
            if chosen[index].kind_kept or (family, slope) == (chosen[index].family, chosen[index].slope_db_per_octave):
                continue
            candidate = list(chosen)
            candidate[index] = replace(chosen[index], family=family, slope_db_per_octave=slope)
            state = attempt(candidate)
            tried.append((index, family, slope, state.cost))
            if state.cost < 0.99 * best.cost:
                best, chosen = state, candidate
    return Crossed(chosen, best, tuple(tried))


def choose_all_passes(problem: Problem, crossed: Crossed) -> Crossed:
    """Where the processor has all-pass filters, put them in the bass where they let channels add; at most two each."""
    state = crossed.state
    room = min(problem.processor.all_pass_filters, MOST_ALL_PASSES)
    bass = [c for way in problem.stage[:-1] for c in way.channels]
    for _ in range(room * len(bass)):
        free = [c for c in bass if state.layout.all_passes.count(c) < room]
        options = [_with_all_pass(state, c, f, q) for c in free for f in ALL_PASS_GRID_HZ for q in (0.7, 1.5)]
        if not options:
            break
        objective_of = [objective_for(problem, option) for option in options]
        costs = [
            float(np.sum(ob(option.vector, False)[0] ** 2)) for ob, option in zip(objective_of, options, strict=True)
        ]
        best = min(
            (improve(problem, options[k], iterations=8) for k in np.argsort(costs)[:3]), key=lambda found: found.cost
        )
        if best.cost > ALL_PASS_WORTH * state.cost:
            break
        state = best
    return replace(crossed, state=state)


def _with_all_pass(state: State, channel: int, frequency_hz: float, q: float) -> State:
    layout = replace(state.layout, all_passes=(*state.layout.all_passes, channel))
    vector = np.insert(state.vector, state.layout.size, [np.log(frequency_hz), np.log(q)])
    return State(layout, vector)


@dataclass(frozen=True)
class Sized:
    """How many peaking filters, how strongly held back, and what that is expected to give where nobody measured."""

    state: State
    weights: Weights
    table: tuple[tuple[int, float, float], ...]  #: filters per channel, hold, rms error in dB at positions left out
    expected_db: dict[str, float]  #: per sum, for the choice
    single_db: dict[str, float]


def choose_size(problem: Problem, crossed: Crossed, progress: Progress) -> Sized:
    """Grow the filters in stages; leave each position out in turn; the simplest within a hair of the best is taken."""
    most = problem.processor.peaking_filters
    sizes = sorted({min(most, 3), min(most, 6), most})
    options: list[tuple[int, float, State, Problem]] = []
    state = realign(problem, crossed.state, crossed.crossovers)
    for number, size in enumerate(sizes):
        progress("placing filters", number / len(sizes))
        state = improve(problem, add_peaks(problem, state, max(size, state.layout.peaks)), iterations=25)
        if number == 0:
            state = realign(problem, state, crossed.crossovers)
        options.append((size, 1.0, state, problem))
    held = replace(problem, weights=problem.weights.held(3.0))
    options.append((sizes[-1], 3.0, improve(held, state, iterations=15), held))
    scores, details = [], []
    for number, (_, _, candidate, posed) in enumerate(options):
        progress("leaving positions out", number / len(options))
        details.append(_left_out(posed, candidate))
        average = details[-1][0]
        scores.append(float(np.mean([v for k, v in average.items() if k != EVERYTHING or len(average) == 1])))
    # NaN where no position could be left out: nothing speaks for more than the simplest.
    limit = min(scores) + 0.03
    order = (0, 1, len(options) - 1, len(options) - 2)
    pick = next((k for k in order if k < len(options) and scores[k] <= limit), 0)
    table = tuple((size, hold, score) for (size, hold, _, _), score in zip(options, scores, strict=True))
    return Sized(options[pick][2], options[pick][3].weights, table, *details[pick])


def _left_out(problem: Problem, state: State) -> tuple[dict[str, float], dict[str, float]]:
    """Per sum: rms error in dB of the spatial average made only of positions left out, and of one such place alone.

    Every position is predicted by a fit that never saw it; the powers so predicted are then averaged like the real ones.
    """
    names = problem.sum_names
    powers: dict[str, list[Real]] = {name: [] for name in names}
    alone: dict[str, list[float]] = {name: [] for name in names}
    count = problem.present.shape[1]
    for out in range(count):
        fitted, single = problem.only([p for p in range(count) if p != out]), problem.only([out])
        if any(not len(part.positions_of(name)) for part in (fitted, single) for name in names):
            continue
        found = improve(fitted, state, iterations=4)
        objective = objective_for(single, found)
        for target, level in zip(objective.sums, objective.levels_db(found.vector), strict=True):
            miss = level - target.target_db - found.vector[found.layout.size + target.offset]
            powers[target.name].append(10.0 ** (miss / 10.0))
            alone[target.name].append(
                _third_octave_rms(problem.spectra.group_hz, miss, problem.reach[target.name]) ** 2
            )
    average = {
        name: _third_octave_rms(problem.spectra.group_hz, 10.0 * np.log10(np.mean(rows, axis=0)), problem.reach[name])
        if rows
        else float("nan")
        for name, rows in powers.items()
    }
    return average, {name: float(np.sqrt(np.mean(rows))) if rows else float("nan") for name, rows in alone.items()}


def _third_octave_rms(group_hz: Real, miss: Real, weight: Real) -> float:
    """Weighted rms over third octaves of an error in dB (groups,), overall level free."""
    thirds = third_octaves(group_hz)
    rows, weights = third_levels_db(miss, thirds), weight[thirds].mean(axis=1)
    rows = rows - np.average(rows, weights=weights)
    return float(np.sqrt(np.average(rows**2, weights=weights)))
