"""Promises: proved over every combination of states, or refuted with the first that breaks them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.electrical import Promise
from cabinwright.stages.power.network import Network
from cabinwright.stages.power.states import States

__all__ = ["PromiseResult", "broken", "judge"]

Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class PromiseResult:
    """One promise."""

    text: str
    holds: bool
    counterexample: dict[str, str] | None  #: a value for every state; empty where the build has no states


def broken(promise: Promise, net: Network, states: States, on: Flags) -> Flags:
    """(combinations,) where the promise does not hold; ``on`` is (combinations, draws)."""
    # A name is a load's or a relay's, never both: the build is checked for that.
    draw = next(number for number, item in enumerate(net.draws) if item.name == promise.load)
    wrong: Flags = on[:, draw] != (promise.is_ == "on")
    wrong &= states.where(promise.when or {})
    return wrong


def judge(promise: Promise, net: Network, states: States, on: Flags) -> PromiseResult:
    """Whether a promise holds in every combination."""
    where = np.flatnonzero(broken(promise, net, states, on))
    if not len(where):
        return PromiseResult(promise.text, True, None)
    return PromiseResult(promise.text, False, states.assignment(int(where[0])))
