"""Two outputs that both carry both sides, so joined that one side is left: the inverse of two by two, as far as filters go.

The second output comes in through gain, polarity, delay and peaking filters such that the other side cancels. A peaking filter's
inverse is a peaking filter of opposite gain, so each may as well stand on the first output; it stands where it flattens more.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Processor
from cabinwright.stages.signal.factory.choose import Candidate, Member
from cabinwright.stages.signal.factory.delay import best_delay
from cabinwright.stages.signal.factory.facts import level_db
from cabinwright.stages.signal.factory.flatten import REACH_HZ, snapped_bell
from cabinwright.stages.signal.factory.model import Bell, Sum
from cabinwright.stages.tuning.solver import solve

__all__ = ["freed"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

CLEAN_DB = -45.0  #: a side left so far below is gone
WORTH_DB = 6.0  #: what a pair must gain over its first output alone, mean over its band
REACH_DB = 20.0  #: below its passband an output adds little to a sum, and its other side too
MONO_HZ = 150.0  #: mono bass is usual: below, the other side counts for less
PARTNERS = 2  #: pairs tried with filters for each output
SHARE = 0.6  #: of the filters of an output; the rest makes the sum flat
DELAY_S, MOVES_MS = 0.03, 0.15
TOP_HZ = 20_000.0


def freed(outputs: list[Candidate], processor: Processor, frequency_hz: Real, sample_rate_hz: float) -> list[Candidate]:
    """The pairs of ``outputs`` that carry less of the other side than each by itself."""
    found = []
    for one in outputs:
        weight = _weight(one, frequency_hz)
        before = _left_db(one.cross * weight)
        if before < CLEAN_DB or one.passband_db < one.cross_db - REACH_DB:
            continue
        starts: list[tuple[float, int, Candidate, Sum]] = []
        for two in outputs:
            if two is one or _same(one, two):
                continue
            start = _start(one, two, weight, frequency_hz, sample_rate_hz)
            starts.append((_left_db((one.cross + start.parts()[0]) * weight), len(starts), two, start))
        for _, _, two, start in sorted(starts, key=lambda row: row[:2])[:PARTNERS]:
            pair = _joined(one, two, _fitted(start, one, two, weight, processor), processor)
            if pair is not None and _left_db(pair.cross * weight) < before - WORTH_DB:
                found.append(pair)
    return found


def _weight(one: Candidate, frequency_hz: Real) -> Real:
    """What turns an amplitude of the other side into its share of a flat sum (F,)."""
    own = np.abs(one.own)
    floor = 10.0 ** ((one.passband_db - REACH_DB) / 20.0)
    bass = np.clip(frequency_hz / MONO_HZ, 0.1, 1.0)
    return np.asarray(bass * np.minimum(own / floor, 1.0) / np.maximum(own, 1e-3 * floor))


def _left_db(share: Complex) -> float:
    """Level of the other side: as power over the octaves, between mean and worst."""
    power = np.abs(share) ** 2
    return float(10.0 * np.log10(np.sqrt(np.mean(power**2)) + 1e-30))


def _same(one: Candidate, two: Candidate) -> bool:
    """Whether both carry the sides in one proportion, so that what takes one away takes the other too."""
    apart = one.own * two.cross - one.cross * two.own
    size = np.abs(one.own * two.cross) + np.abs(one.cross * two.own)
    weight = np.abs(one.own * two.cross)
    return bool(np.sum(weight * np.abs(apart)) < 0.1 * np.sum(weight * size))


def _start(one: Candidate, two: Candidate, weight: Real, frequency_hz: Real, rate: float) -> Sum:
    """Gain, polarity and delay alone."""
    unit = -one.cross * two.cross.conj() * weight**2
    late, agree = best_delay(unit, frequency_hz, reach_s=DELAY_S)
    gain = abs(agree) / float(np.sum(np.abs(two.cross * weight) ** 2))
    return Sum(
        frequency_hz=frequency_hz,
        sample_rate_hz=rate,
        own=two.cross[None, :],
        gain_db=np.array([20.0 * np.log10(max(gain, 1e-6))]),
        inverted=(agree < 0.0,),
        delay_s=np.array([late]),
    )


def _fitted(start: Sum, one: Candidate, two: Candidate, weight: Real, processor: Processor) -> Sum:
    """Filters one at a time where most of the other side is left, then everything in the processor's steps."""
    best = at = _solved(start, one, weight, processor)
    left = _worst_db(best, one, weight)
    worse = 0
    while left > CLEAN_DB and worse < 2 and len(at.bells) < SHARE * processor.peaking_filters:
        at = _solved(replace(at, bells=(*at.bells, _bell(at, one, weight, processor))), one, weight, processor)
        now = _worst_db(at, one, weight)
        if now < left - 1.0:
            best, left, worse = at, now, 0
        else:
            worse += 1
    delay = np.round(best.delay_s / processor.delay_step_s) * processor.delay_step_s
    best = _solved(replace(best, delay_s=delay), one, weight, processor, moves_ms=0.0)
    # What rounding left of the delay is made up for by the phase of a filter at the very top, as far as that goes.
    rest = [replace(best, bells=(*best.bells, Bell(TOP_HZ, gain, 1.0, (True,)))) for gain in (-6.0, 6.0)]
    rest = [_solved(item, one, weight, processor, moves_ms=0.0) for item in rest]
    mended = min(rest, key=lambda item: _worst_db(item, one, weight))
    rounded = _worst_db(best, one, weight)
    if rounded > CLEAN_DB and _worst_db(mended, one, weight) < rounded - 1.0:
        best = mended
    wide = processor.model_copy(update=_both_ways(processor))
    bells = tuple(snapped_bell(item, wide, best.sample_rate_hz) for item in best.bells)
    best = replace(best, bells=tuple(item for item in bells if item.gain_db != 0.0), delay_s=delay)
    gain = _solved(best, one, weight, processor, moves_ms=0.0, bells=False).gain_db
    return replace(best, gain_db=np.round(gain / processor.gain_step_db) * processor.gain_step_db)


def _worst_db(at: Sum, one: Candidate, weight: Real) -> float:
    return float(np.max(level_db((one.cross + at.parts()[0]) * weight)))


def _both_ways(processor: Processor) -> dict[str, float]:
    """A boost may stand as a cut on the other output."""
    reach = max(-processor.peaking_gain_min_db, processor.peaking_gain_max_db)
    return {"peaking_gain_min_db": -reach, "peaking_gain_max_db": reach}


def _bell(at: Sum, one: Candidate, weight: Real, processor: Processor) -> Bell:
    """One more filter, where most is left."""
    part = at.parts()[0]
    left = np.abs(one.cross + part) * weight
    peak = int(np.argmax(np.convolve(np.pad(left, 2, mode="edge"), np.ones(5) / 5.0, mode="valid")))
    short = float(level_db(one.cross)[peak] - level_db(part)[peak])
    reach = max(-processor.peaking_gain_min_db, processor.peaking_gain_max_db)
    frequency = float(np.clip(at.frequency_hz[peak], *REACH_HZ))
    q = float(np.clip(0.8, processor.peaking_q_min, processor.peaking_q_max))
    return Bell(frequency, float(np.clip(0.7 * short, -reach, reach)), q, (True,))


def _solved(
    at: Sum, one: Candidate, weight: Real, processor: Processor, *, moves_ms: float = MOVES_MS, bells: bool = True
) -> Sum:
    """Levenberg-Marquardt on what is left of the other side."""
    begin = at.vector()
    lower, upper = begin.copy(), begin.copy()
    lower[0], upper[0] = begin[0] - 20.0, begin[0] + 20.0
    lower[1], upper[1] = begin[1] - moves_ms, begin[1] + moves_ms
    if bells and at.bells:
        reach = max(_both_ways(processor).values())
        ends = np.log([REACH_HZ[0], 0.45 * at.sample_rate_hz])
        q = np.log([processor.peaking_q_min, processor.peaking_q_max])
        lower[2:] = np.tile([ends[0], -reach, q[0]], len(at.bells))
        upper[2:] = np.tile([ends[1], reach, q[1]], len(at.bells))

    def residuals(vector: Real, wanted: bool) -> tuple[Real, Real | None]:
        trial = at.at(vector)
        if not wanted:
            rest = weight * (one.cross + trial.parts()[0])
            return np.concatenate([rest.real, rest.imag]), None
        part, slopes = trial.slopes()
        rest, by = weight * (one.cross + part), (weight * part)[:, None] * slopes
        return np.concatenate([rest.real, rest.imag]), np.concatenate([by.real, by.imag])

    return at.at(solve(residuals, begin, lower=lower, upper=upper, iterations=40).vector)


def _joined(one: Candidate, two: Candidate, at: Sum, processor: Processor) -> Candidate | None:
    """Both as one candidate; None where they take more filters than there are, or where nothing of the own side is left."""
    first, second = _shared(one, at, processor)
    if max(len(first), len(second)) > processor.peaking_filters:
        return None
    late = float(at.delay_s[0])
    members = (
        _member(one, at, 0.0, False, max(-late, 0.0), first),
        _member(two, at, float(at.gain_db[0]), at.inverted[0], max(late, 0.0), second),
    )
    own = members[0].response * one.own + members[1].response * two.own
    cross = members[0].response * one.cross + members[1].response * two.cross
    inside = one.carried_db > -3.0
    level = float(np.median(level_db(own)[inside]))
    if level < one.passband_db - REACH_DB:
        return None
    return Candidate(
        members, own, cross, level, float(np.median(level_db(cross)[inside])),
        one.delay_s + members[0].delay_s, one.inverted,
    )  # fmt: skip


def _shared(one: Candidate, at: Sum, processor: Processor) -> tuple[tuple[Bell, ...], tuple[Bell, ...]]:
    """Each filter on the second output, or its inverse on the first where that leaves the first flatter."""
    inside = one.carried_db > -10.0
    level = level_db(one.own)[inside]
    first: list[Bell] = []
    second: list[Bell] = []
    for bell in sorted(at.bells, key=lambda item: -abs(item.gain_db)):
        there, back = (bell.gain_db, -bell.gain_db)
        shape = -level_db(at.bell(bell)[0])[inside]
        better = np.std(level + shape) < np.std(level)
        low, high = processor.peaking_gain_min_db, processor.peaking_gain_max_db
        if (better and low <= back <= high) or not low <= there <= high:
            first.append(replace(bell, gain_db=back))
            level = level + shape
        else:
            second.append(bell)
    return tuple(first), tuple(second)


def _member(of: Candidate, at: Sum, gain_db: float, inverted: bool, delay_s: float, bells: tuple[Bell, ...]) -> Member:
    whole = 10.0 ** (gain_db / 20.0) * (-1.0 if inverted else 1.0) * np.exp(-2j * np.pi * at.frequency_hz * delay_s)
    for bell in bells:
        whole = whole * at.bell(bell)[0]
    return Member(of.members[0].output, np.asarray(whole), gain_db, inverted, delay_s, bells)
