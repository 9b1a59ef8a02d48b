"""The whole of a network: the best of several starts, then Baarda's data snooping, one measurement at a time.

After each adjustment the measurement with the largest standardised residual above 3.29 is left out and everything is
adjusted anew. Measurements that were left out while others still bent the net are tried again at the end and come back
where they agree with the prediction (masking; Ghilani 2017, chapter 21). Readings that are wild from the start, so far off
that no straight line through the equations reaches them, are left out first and judged at the end by the same rule.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cabinwright.physics.network.adjust import CRITICAL, SINGULAR, UNCONTROLLED, Adjusted, adjust
from cabinwright.physics.network.equations import Array, Indices, Mask, Network, misfit
from cabinwright.physics.network.place import hop
from cabinwright.physics.network.start import starts

__all__ = ["Solved", "best_start", "snoop", "solve"]

TRIES = (6, 60)  #: fewest and most starts
EFFORT = 12_000  #: starts times squared number of points
AGREED = (4, 12)
"""So many starts that end in one place have found the best: where one wild reading explains what is left, and else."""
FITS = 0.02  #: chance of the chi-square statistic above which a start needs no rival
MOST_WILD = 0.3  #: share of wild readings beyond which none is left out beforehand
WILD_M = 0.25  #: residual of the first fit beyond which a reading is wild
TWIN = 0.99  #: correlation of two standardised residuals beyond which no test tells which of the two is wrong


@dataclass(frozen=True)
class Solved:
    """Coordinates without what was found to be wrong."""

    first: Adjusted  #: with every measurement
    final: Adjusted  #: without those left out
    left_out: tuple[int, ...]  #: rows, in the order in which they were found
    twins: dict[int, tuple[int, ...]]  #: row left out: rows that may be the wrong one just as well


def best_start(network: Network) -> Array:
    """(points, 3) the coordinates that fit best of several starts, judged so that a few wild readings count little."""
    best, least, agreed = None, np.inf, 0
    rng = np.random.default_rng(7)
    tries = int(np.clip(EFFORT / network.points**2, *TRIES))
    for turn, start in enumerate(starts(network)):
        found = _tame(network, start)
        if _robust(found) > 1.0:
            found = min(found, _tame(network, hop(network, found.at_m, rng)), key=_robust)
        cost = _robust(found)
        if best is None or cost < least - 1e-3 * max(1.0, least):
            best, least, agreed = found, cost, 1
        elif cost < least + 1e-3 * max(1.0, least):
            agreed += 1
        fits = found.used.all() and (found.p > FITS or (found.degrees_of_freedom <= 0 and found.statistic < 1e-3))
        if fits or turn + 1 >= tries or (agreed in AGREED and (agreed == max(AGREED) or _explained(best))):
            break
    assert best is not None
    return best.at_m


def _wild(network: Network, v_m: Array) -> Mask:
    """(rows,) tapes, heights and offsets that are far off; a centre line that is still to be found makes no row wild."""
    may_be = np.zeros(v_m.size, dtype=np.bool_)
    may_be[: network.tapes + network.linear_m.size] = True
    if network.centre_free:
        may_be[network.tapes :][: network.linear_m.size] = network.linear[:, -1] == 0.0
    return np.asarray((np.abs(v_m) > WILD_M) & may_be)


def _explained(found: Adjusted) -> bool:
    """Whether a single measurement left out makes the rest agree."""
    return len(solve(found.network, found.at_m).left_out) <= 1


def _tame(network: Network, start_m: Array) -> Adjusted:
    """Adjusted without the readings that are wild at ``start_m``, where enough is left."""
    wild = _wild(network, misfit(network, start_m).v_m)
    return adjust(network, start_m, used=~wild if wild.sum() < MOST_WILD * wild.size else None)


def _robust(found: Adjusted) -> float:
    """Cost in which a reading counts ever less the wilder it is."""
    return float(np.log1p((found.v_m / np.maximum(0.02, 3.0 * found.network.sigma_m)) ** 2).sum())


def solve(network: Network, start_m: Array, groups: Indices | None = None) -> Solved:
    """Adjust from ``start_m`` and snoop. ``groups`` (rows,) numbers rows that are left out together; absent: each alone."""
    wild = _wild(network, _tame(network, start_m).v_m)
    first = adjust(network, start_m)
    return snoop(network, start_m, wild, first, np.arange(network.rows) if groups is None else groups)


def snoop(network: Network, start_m: Array, wild: Mask, first: Adjusted, groups: Indices) -> Solved:
    """Leave out one measurement after the other until none stands out, then take back what agrees."""
    order = list[int]()
    for row in sorted(np.flatnonzero(wild), key=lambda row: -abs(first.v_m[row])):
        if groups[row] not in groups[order]:
            order.append(int(row))
    used = ~np.isin(groups, groups[order]) if order else np.ones(network.rows, bool)
    current = adjust(network, start_m, used=used)
    twins: dict[int, tuple[int, ...]] = {}
    settled: set[int] = set()
    while True:
        while (worst := _worst(current)) is not None:
            twins[worst] = _twins(current, worst)
            order.append(worst)
            used = used & (groups != groups[worst])
            current = adjust(network, current.at_m, used=used, centre_m=current.centre_m)
        back = _returning(current, [row for row in order if row not in settled])
        if back is None:
            return Solved(first, current, tuple(order), {row: twins.get(row, ()) for row in order})
        order.remove(back)
        settled.add(back)  # once only: what is found wrong a second time stays out
        used = used | (groups == groups[back])
        current = adjust(network, current.at_m, used=used, centre_m=current.centre_m)


def _worst(current: Adjusted) -> int | None:
    """The row in use whose residual stands out most; None where none does."""
    tested = np.where(current.used, np.abs(current.standardised), 0.0)
    worst = int(np.argmax(tested)) if tested.size else 0
    return worst if tested.size and tested[worst] > CRITICAL else None


def _returning(current: Adjusted, left_out: list[int]) -> int | None:
    """The row left out that agrees best with its prediction; None where none agrees."""
    agrees = [row for row in left_out if abs(current.standardised[row]) < CRITICAL]
    return min(agrees, key=lambda row: abs(float(current.standardised[row])), default=None)


def _twins(current: Adjusted, worst: int) -> tuple[int, ...]:
    """Rows whose standardised residuals cannot be told from that of ``worst`` (correlation nearly 1)."""
    rows = current.whitened
    cross = -rows @ (current.covariance_m2 @ rows[worst])
    cross[worst] += 1.0
    share = np.where(current.used, current.redundancy, 0.0)
    scale = np.sqrt(np.maximum(share * share[worst], SINGULAR))
    alike = (np.abs(cross) / scale > TWIN) & (share > UNCONTROLLED) & current.used
    alike[worst] = False
    return tuple(int(row) for row in np.flatnonzero(alike))
