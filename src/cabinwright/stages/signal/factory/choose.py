"""Which outputs a side's sum is made of."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from cabinwright.stages.signal.factory.facts import level_db
from cabinwright.stages.signal.factory.model import Bell

__all__ = ["BOOST_DB", "Candidate", "Member", "choices", "uncovered"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

BOOST_DB = 15.0  #: a band that lies further below is not carried: noise and headroom forbid to raise it
CARRIES_DB = 3.0  #: an output serves a side unless it carries the other one louder by more
FREE_DB = 30.0  #: the other side so far below counts as absent
MOST, TRIED = 12, 3
SIZES = (1, 2, 3, 4)
MEAN_BOOST, TOP_BOOST, EACH, OTHER = 3.0, 0.5, 1.5, 2.0  #: what a dB of each, an output and a dB of the other side cost


@dataclass(frozen=True)
class Member:
    """One output's part in a candidate, and what is done to it before anything else."""

    output: str
    response: Complex  #: (F,): of the three below
    gain_db: float = 0.0
    inverted: bool = False
    delay_s: float = 0.0
    bells: tuple[Bell, ...] = ()


@dataclass(frozen=True)
class Candidate:
    """An output as one side sees it, on the grid of the sum; or two of them, the second taking the other side away."""

    members: tuple[Member, ...]
    own: Complex  #: (F,)
    cross: Complex  #: (F,): what it carries of the other side
    passband_db: float
    cross_db: float  #: median over its passband
    delay_s: float
    inverted: bool

    @property
    def names(self) -> frozenset[str]:
        """Its outputs."""
        return frozenset(item.output for item in self.members)

    def carry(self, of: Callable[[str], Complex]) -> Complex:
        """What comes out (F,) where each output gives ``of(name)`` (F,)."""
        return np.asarray(sum(item.response * of(item.output) for item in self.members))

    @property
    def carried_db(self) -> Real:
        """Level against its passband (F,)."""
        return level_db(self.own) - self.passband_db

    @property
    def serves(self) -> bool:
        """Whether this side may be taken from it."""
        return self.passband_db > self.cross_db - CARRIES_DB


def choices(candidates: list[Candidate]) -> list[tuple[Candidate, ...]]:
    """The most promising sets, best first; empty where no set carries the whole band."""
    found: list[tuple[float, int, tuple[Candidate, ...]]] = []
    ranked = sorted(candidates, key=lambda item: item.cross_db - item.passband_db)[:MOST]
    carried = [item.carried_db for item in ranked]
    other = [np.maximum(level_db(item.cross) - level_db(item.own) + FREE_DB, 0.0) for item in ranked]
    for size in SIZES:
        for numbers in combinations(range(len(ranked)), size):
            group = tuple(ranked[k] for k in numbers)
            outputs = sum(len(item.members) for item in group)
            if len(frozenset().union(*(item.names for item in group))) < outputs:
                continue
            levels = np.stack([carried[k] for k in numbers])
            leads = np.argmax(levels, axis=0)
            boost = np.maximum(-levels.max(axis=0), 0.0)
            if boost.max() > BOOST_DB:
                continue
            leak = np.take_along_axis(np.stack([other[k] for k in numbers]), leads[None, :], axis=0)[0]
            cost = MEAN_BOOST * boost.mean() + TOP_BOOST * boost.max() + EACH * outputs + OTHER * leak.mean()
            found.append((float(cost), len(found), group))
    return [group for _, _, group in sorted(found)[:TRIED]]


def uncovered(candidates: list[Candidate], frequency_hz: Real) -> tuple[float, float] | None:
    """The widest band [Hz] that none of ``candidates`` carries; None where there is none."""
    if not candidates:
        return float(frequency_hz[0]), float(frequency_hz[-1])
    missing = np.max([item.carried_db for item in candidates], axis=0) < -BOOST_DB
    edges = np.flatnonzero(np.diff(np.concatenate([[0], missing.astype(int), [0]])))
    runs = list(zip(edges[::2], edges[1::2] - 1, strict=True))
    if not runs:
        return None
    first, last = max(runs, key=lambda run: float(frequency_hz[run[1]] / frequency_hz[run[0]]))
    return float(frequency_hz[first]), float(frequency_hz[last])
