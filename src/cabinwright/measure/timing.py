"""Arrivals that contradict one another, each blamed on the least that explains it.

Sound from a stated loudspeaker to a stated microphone takes a known time; what is left of an arrival is the delay of the
equipment, which is one and the same for all recordings of a channel. So a recording that disagrees with its channel's others
was cut or moved against its copy; two that fit each other's place were exchanged; and two channels of which every
recording fits the other's place were exchanged as a whole. Limits are common practice; in simulated cabins with
places taped to 2 cm what is left stays below 0.15 ms (a subwoofer's below 0.7 ms).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from cabinwright.measure.evidence import Evidence
from cabinwright.measure.faults import Fault, elsewhere_in_time
from cabinwright.measure.levels import majority

__all__ = ["exchanged_channels", "exchanged_files", "odd_times"]

Real = NDArray[np.float64]
Place = tuple[int, int]

LATE_S = 0.7e-3  #: 24 cm, five times what tape and onset leave
DULL_LATE_S = 3e-3  #: for a channel without a sharp onset
SETTLED_S = 0.25e-3  #: 9 cm: a channel this near what is stated speaks for the place
SWAP_S = 0.2e-3  #: 7 cm: files exchanged between places nearer than that do no harm
SWAP_FIT_S = 0.12e-3
SWAP_RATIO = 0.4
PAIR_S = 0.15e-3  #: rms of the arrivals of two channels exchanged


def exchanged_channels(evidence: Evidence, channels: Sequence[str]) -> list[tuple[int, int, Fault]]:
    """Pairs of channels of which every arrival fits the other one's place, the plainest first.

    Only the difference between the two counts: latencies, clock and errors of the microphone's place drop out of it.
    """
    rows = [row for row in range(len(channels)) if evidence.sharp[row]]
    found: list[tuple[float, int, int, Fault]] = []
    for a in rows:
        for b in rows:
            if b <= a:
                continue
            heard = evidence.arrival_s[a] - evidence.arrival_s[b]
            stated = evidence.travel_s[a] - evidence.travel_s[b]
            use = np.isfinite(heard) & np.isfinite(stated)
            if np.count_nonzero(use) < 4:
                continue
            as_is, turned = _spread(heard[use] - stated[use]), _spread(heard[use] + stated[use])
            if as_is > PAIR_S and turned < min(SWAP_RATIO * as_is, SWAP_FIT_S):
                found.append((turned / as_is, a, b, _exchanged(channels[a], channels[b], as_is, turned)))
    taken: set[int] = set()
    out = []
    for _, a, b, fault in sorted(found, key=lambda item: item[0]):
        if not taken & {a, b}:
            taken |= {a, b}
            out.append((a, b, fault))
    return out


def _spread(error: Real) -> float:
    """Robust size about the median: root mean square of the smaller three quarters."""
    rest = np.sort(np.abs(error - np.median(error)))
    return float(np.sqrt(np.mean(rest[: max(3, int(np.ceil(0.75 * len(rest))))] ** 2)))


def _exchanged(one: str, two: str, as_is: float, turned: float) -> Fault:
    return Fault(
        "recording-exchanged",
        f"{one} and {two} are exchanged at every position: their arrivals contradict the stated places by "
        f"{1e3 * as_is:.2f} ms, and by {1e3 * turned:.2f} ms if each is taken for the other",
        value=round(1e3 * as_is, 2),
        limit=round(1e3 * PAIR_S, 2),
        unit="ms",
        figures={"arrival_error_s": as_is, "exchanged_error_s": turned},
    )


def _rest(evidence: Evidence, *, free_zero: bool) -> Real:
    """(channels, positions) arrival less travel, NaN where not heard: the delay of the channel's equipment.

    Without a stated place there is no travel; ``_slack`` makes up for it. ``free_zero``: each position's own zero, told
    by three channels or more, is taken off.
    """
    rest = np.asarray(evidence.arrival_s - np.nan_to_num(evidence.travel_s))
    known = np.flatnonzero(evidence.sharp & np.isfinite(evidence.travel_s + evidence.arrival_s).any(axis=1))
    for _ in range(2 if free_zero and len(known) >= 3 else 0):
        apart = rest[known] - np.nanmedian(rest[known], axis=1)[:, None]
        for column in np.flatnonzero(np.isfinite(apart).sum(axis=0) >= 3):
            rest[:, column] -= np.nanmedian(apart[:, column])
    return rest


def _left(evidence: Evidence, *, free_zero: bool) -> Real:
    """What is left of ``_rest`` without the delay that a channel's recordings share."""
    rest = _rest(evidence, free_zero=free_zero)
    usual = [_usual(row, sharp) for row, sharp in zip(rest, evidence.sharp, strict=True)]
    return np.asarray(rest - np.asarray(usual)[:, None])


def _usual(row: Real, sharp: bool) -> float:
    """The delay that most recordings of a channel share; their median where no majority does."""
    if not np.isfinite(row).any():
        return float("nan")
    centre, agreed = majority(row, width=2.0 * (LATE_S if sharp else DULL_LATE_S))
    return centre if agreed else float(np.nanmedian(row))


def _slack(evidence: Evidence, apart_s: Real) -> Real:
    """(channels, positions) what the unknown way of the sound may explain: no more than the microphone was moved."""
    heard = np.isfinite(evidence.arrival_s)
    out = np.zeros(heard.shape)
    for row in range(len(out)):
        if not np.isfinite(evidence.travel_s[row]).any() and heard[row].any():
            out[row] = apart_s[:, heard[row]].max(axis=1)
    return out


def odd_times(evidence: Evidence, apart_s: Real, *, free_zero: bool, alone: bool = False) -> dict[Place, Fault]:
    """Recordings that come earlier or later than their channel's other ones allow.

    ``apart_s`` (positions, positions) is the time sound takes between microphone places. A position at which most channels
    disagree is not judged here: then it is the place that is wrong. ``alone``: only where all other channels at that
    position agree with its place, so that nothing but the recording can be wrong.
    """
    left = _left(evidence, free_zero=free_zero)
    limit = np.where(evidence.sharp, LATE_S, DULL_LATE_S)[:, None] + _slack(evidence, apart_s)
    odd = np.abs(left) > limit
    found: dict[Place, Fault] = {}
    for row in np.flatnonzero(odd.any(axis=1)).tolist():
        rest = _rest(evidence, free_zero=free_zero)[row]
        heard = np.flatnonzero(np.isfinite(rest))
        _, agreed = majority(rest, width=2.0 * float(limit[row].max()))
        for column in heard.tolist():
            others = np.isfinite(left[:, column]) & (np.arange(len(left)) != row) & evidence.sharp
            known = np.count_nonzero(others) >= 2
            if alone and not (known and agreed and (np.abs(left[others, column]) < SETTLED_S).all()):
                continue
            if not agreed:
                found[row, column] = _undecided(float(np.ptp(rest[heard])), float(limit[row, column]))
            elif odd[row, column] and not (known and np.mean(odd[others, column]) > 0.5):
                found[row, column] = elsewhere_in_time(float(left[row, column]), limit_s=float(limit[row, column]))
    return found


def _undecided(apart_s: float, limit_s: float) -> Fault:
    return Fault(
        "recording-time",
        f"the channel's recordings disagree about its delay by {1e3 * apart_s:.1f} ms, and nothing tells which is right",
        value=round(1e3 * apart_s, 2),
        limit=round(1e3 * limit_s, 2),
        unit="ms",
        figures={"late_s": apart_s},
    )


def exchanged_files(evidence: Evidence, positions: Sequence[str]) -> dict[Place, Fault]:
    """Two recordings of one channel that fit each other's position, unless every channel that can tell them apart does so.

    For one time zero for all alone: a recording with markers brings its position's own along, and those tell.
    """
    found: dict[Place, Fault] = {}
    left = _left(evidence, free_zero=False)
    for one, two in combinations(range(len(positions)), 2):
        step = evidence.travel_s[:, one] - evidence.travel_s[:, two]
        stated = np.min(np.abs(left[:, [one, two]]), axis=1)
        turned = np.maximum(np.abs(left[:, one] + step), np.abs(left[:, two] - step))
        tells = evidence.sharp & (np.abs(step) > SWAP_S) & (np.isfinite(left).sum(axis=1) >= 4) & np.isfinite(turned)
        swapped = tells & (stated > SWAP_S) & (turned < np.minimum(SWAP_FIT_S, SWAP_RATIO * stated))
        if np.count_nonzero(tells) > 1 and (swapped == tells).all():
            continue  # it is the positions that were exchanged
        for row in np.flatnonzero(swapped).tolist():
            for at, other in ((one, two), (two, one)):
                found[row, at] = _swapped(positions[other], abs(float(left[row, at])), float(turned[row]))
    return found


def _swapped(other: str, stated_s: float, turned_s: float) -> Fault:
    return Fault(
        "recording-position",
        f"its arrival contradicts the stated place by {1e3 * stated_s:.2f} ms and fits that of {other} within "
        f"{1e3 * turned_s:.2f} ms, and the other way round: the channel's two files look exchanged",
        value=round(1e3 * stated_s, 2),
        limit=round(1e3 * SWAP_S, 2),
        unit="ms",
        figures={"arrival_error_s": stated_s, "other_arrival_error_s": turned_s},
    )
