"""What may have gone wrong at the keyboard or the plugs: one ``Guess`` per mistake, each a change of ``State``."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from cabinwright.build.document import Build, Processor
from cabinwright.physics.air import speed_of_sound_m_s
from cabinwright.physics.filters import Filter, filter_sections, sections_response
from cabinwright.stages.tuning.sides import LEFT_SIDE, RIGHT_SIDE, channel_side
from cabinwright.stages.tuning.verify.bench import Bench, Complex, State
from cabinwright.stages.tuning.verify.repeatability import PLACED_USUALLY_M

__all__ = ["Guess", "Range", "delay_range_s", "fixed_guesses", "ranged_guesses"]

SMALLEST_FILTER_DB = 0.2  #: a filter that changes less cannot be missed
GAIN_GRID_DB = (-20.0, -14.0, -10.0, -7.0, -5.0, -3.5, -2.4, -1.6, -0.9, 0.9, 1.6, 2.4, 3.5, 5.0, 7.0, 10.0, 14.0, 20.0)
OCTAVES_GRID = (-2.5, -1.75, -1.25, -0.85, -0.55, -0.35, -0.2, 0.2, 0.35, 0.55, 0.85, 1.25, 1.75, 2.5)


@dataclass(frozen=True)
class Range:
    """The continuous amount of a guess, in its own unit."""

    grid: tuple[float, ...]
    low: float
    high: float
    width: float  #: how far around a grid value to search
    smallest: float  #: less is not worth a word


@dataclass(frozen=True)
class Guess:
    """One mistake. ``change`` takes the state it is added to and the amount (0 where it has none)."""

    kind: str
    channels: tuple[str, ...]
    change: Callable[[State, float], State]
    amount: float = 0.0
    range: Range | None = None
    filter: Filter | None = None
    whole: bool = False  #: touches the whole processor, its latency too

    def apply(self, state: State) -> State:
        """The state with this mistake made."""
        return self.change(state, self.amount)


def _scaled(channel: int, factor: Callable[[float], Complex | float]) -> Callable[[State, float], State]:
    """A change that multiplies one output's response."""

    def change(state: State, amount: float) -> State:
        drive = state.drive.copy()
        drive[channel] *= factor(amount)
        return replace(state, drive=drive)

    return change


def _swapped(first: int, second: int, *, outputs: bool) -> Callable[[State, float], State]:
    def change(state: State, _: float) -> State:
        order = np.arange(len(state.drive))
        order[[first, second]] = second, first
        return replace(state, out=state.out[order]) if outputs else replace(state, drive=state.drive[order])

    return change


def _response(item: Filter, bench: Bench) -> Complex:
    sections = filter_sections(item, sample_rate_hz=bench.sample_rate_hz)
    return sections_response(sections, frequency_hz=bench.frequency_hz, sample_rate_hz=bench.sample_rate_hz)


def _visible(factor: Complex) -> bool:
    with np.errstate(divide="ignore"):
        return bool(np.abs(20.0 * np.log10(np.abs(factor))).max() > SMALLEST_FILTER_DB)


def fixed_guesses(build: Build, bench: Bench) -> list[Guess]:
    """Every mistake without an amount that this set of recordings could show."""
    heard = [index for index in range(len(bench.channels)) if bench.start.feed[:, index].any()]
    guesses: list[Guess] = []
    for index in heard:
        guesses += _of_one_channel(bench, index)
    for first, second in combinations(range(len(bench.channels)), 2):
        if first in heard or second in heard:
            pair = (bench.channels[first], bench.channels[second])
            guesses.append(Guess("settings swapped", pair, _swapped(first, second, outputs=False)))
            guesses.append(Guess("outputs swapped", pair, _swapped(first, second, outputs=True)))
    return guesses + _of_everything(build, bench)


def _of_one_channel(bench: Bench, index: int) -> list[Guess]:
    name = (bench.channels[index],)
    settings = bench.settings.channels[index]
    guesses = [
        Guess("polarity", name, _scaled(index, lambda _: -1.0)),
        Guess("silent", name, _scaled(index, lambda _: 0.0)),
    ]
    everything = np.ones(len(bench.frequency_hz), dtype=np.complex128)
    peaking = everything.copy()
    count = 0
    for item in settings.filters:
        factor = _response(item, bench)
        everything = everything * factor
        if item.kind == "peaking":
            peaking, count = peaking * factor, count + 1
        if _visible(factor) or item.kind == "all-pass":
            guesses.append(Guess("filter missing", name, _divided(index, factor), filter=item))
        if item.kind == "peaking" and _visible(factor):
            guesses.append(Guess("filter sign", name, _divided(index, factor**2), filter=item))
    if count > 1:
        guesses.append(Guess("peaking missing", name, _divided(index, peaking)))
    if len(settings.filters) > 1:
        guesses.append(Guess("filters missing", name, _divided(index, everything)))
    return guesses


def _divided(index: int, factor: Complex) -> Callable[[State, float], State]:
    inverse = 1.0 / factor
    return _scaled(index, lambda _: inverse)


def _of_everything(build: Build, bench: Bench) -> list[Guess]:
    """Mistakes that touch the whole processor."""
    bare = np.ones_like(bench.start.drive)
    gains = np.array([10.0 ** (item.gain_db / 20.0) for item in bench.settings.channels])[:, None]
    delays = np.array([item.delay_s for item in bench.settings.channels])[:, None]
    undelayed = np.exp(2j * np.pi * bench.frequency_hz * delays)
    guesses = [
        Guess("nothing loaded", bench.channels, lambda state, _: replace(state, drive=bare), whole=True),
        Guess("no delays", bench.channels, lambda state, _: replace(state, drive=state.drive * undelayed), whole=True),
        Guess("no gains", bench.channels, lambda state, _: replace(state, drive=state.drive / gains), whole=True),
    ]
    names = {LEFT_SIDE, RIGHT_SIDE} & set(bench.names)
    mirror = _mirror(build, bench)
    if not mirror:
        return guesses
    order = np.arange(len(bench.channels))
    for left, right in mirror:
        order[[left, right]] = right, left
    if names:
        rows = [bench.names.index(name) for name in names]

        def crossed(state: State, _: float) -> State:
            feed = state.feed.copy()
            feed[rows] = feed[rows][:, order]
            return replace(state, feed=feed)

        guesses.append(Guess("inputs crossed", tuple(sorted(names)), crossed))
    if len(mirror) > 1:
        both = tuple(bench.channels[index] for pair in mirror for index in pair)
        exchanged = Guess(
            "sides exchanged", both, lambda state, _: replace(state, drive=state.drive[order]), whole=True
        )
        plugs = Guess("side outputs exchanged", both, lambda state, _: replace(state, out=state.out[order]), whole=True)
        guesses += [exchanged, plugs]
    return guesses


def _mirror(build: Build, bench: Bench) -> list[tuple[int, int]]:
    """Channels of the left with their counterpart on the right: the same roles, in the build's order."""
    role = {speaker.name: speaker.role for speaker in build.speakers}
    roles = {item.name: tuple(sorted(role[name] for name in item.speakers)) for item in build.channels}
    side = {name: channel_side(build, name) for name in bench.channels}
    pairs: list[tuple[int, int]] = []
    for left, name in enumerate(bench.channels):
        taken = {right for _, right in pairs}
        for right, other in enumerate(bench.channels):
            if side[name] == "left" and side[other] == "right" and roles[name] == roles[other] and right not in taken:
                pairs.append((left, right))
                break
    return pairs


def delay_range_s(build: Build, bench: Bench, channel: int) -> tuple[float, float]:
    """Extra delays that the processor could hold, widened by one step."""
    own = bench.settings.channels[channel].delay_s
    processor = build.processor or Processor()
    step = processor.delay_step_s
    return -own - step, max(processor.delay_max_s - own, 0.0) + step


def ranged_guesses(bench: Bench, state: State) -> list[Guess]:
    """Gains and crossover frequencies, each with its grid; delays come from a scan of their own."""
    guesses = []
    for index, item in enumerate(bench.settings.channels):
        if not state.feed[:, index].any():
            continue
        grid = tuple(sorted({*GAIN_GRID_DB, -item.gain_db} - {0.0, -0.0}))
        gains = Range(grid, min(-40.0, grid[0]), max(40.0, grid[-1]), 3.0, 0.3)
        guesses.append(Guess("gain", (item.name,), _scaled(index, lambda db: 10.0 ** (db / 20.0)), range=gains))
        for row in item.filters:
            if row.kind in ("high-pass", "low-pass"):
                moved = Range(OCTAVES_GRID, -4.0, 4.0, 0.4, 0.04)
                change = _moved(bench, index, row)
                guesses.append(Guess("crossover moved", (item.name,), change, range=moved, filter=row))
    return guesses


def moved_filter(row: Filter, octaves: float, *, sample_rate_hz: float) -> Filter:
    """The same crossover ``octaves`` higher."""
    return replace(row, frequency_hz=min(row.frequency_hz * 2.0**octaves, 0.49 * sample_rate_hz))


def _moved(bench: Bench, index: int, row: Filter) -> Callable[[State, float], State]:
    own = _response(row, bench)
    rate = bench.sample_rate_hz
    return _scaled(index, lambda octaves: _response(moved_filter(row, octaves, sample_rate_hz=rate), bench) / own)


def smallest_delay_s(build: Build) -> float:
    """Less is not told: one step of the processor, and what a microphone put back elsewhere explains as well."""
    step = (build.processor or Processor()).delay_step_s
    return max(step, PLACED_USUALLY_M / speed_of_sound_m_s())


def delayed(build: Build, bench: Bench, index: int, amount_s: float) -> Guess:
    """A delay of one output that differs by ``amount_s``."""
    low_s, high_s = delay_range_s(build, bench, index)
    smallest_s = smallest_delay_s(build)
    turn = -2j * np.pi * bench.frequency_hz
    limits = Range((amount_s,), low_s, high_s, 1.5e-5, smallest_s)
    change = _scaled(index, lambda extra: np.exp(turn * extra))
    return Guess("delay", (bench.channels[index],), change, amount_s, limits)
