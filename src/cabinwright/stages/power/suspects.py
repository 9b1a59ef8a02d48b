"""Which contact breaks a promise: those on which it hangs in its counterexample, and those that may be the wrong way round."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build
from cabinwright.build.electrical import Promise
from cabinwright.stages.power.network import Network, Settled, contacts, settle
from cabinwright.stages.power.promises import PromiseResult, broken
from cabinwright.stages.power.states import States

__all__ = ["Suspects", "suspects"]

Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Suspects:
    """Contacts by kind and name."""

    decides: tuple[tuple[str, bool], ...]  #: each alone, closed or not there, makes the counterexample
    turned: tuple[str, ...]  #: each alone, exchanged open for closed, mends the promise and breaks no other


def suspects(build: Build, net: Network, states: States, told: Sequence[PromiseResult]) -> dict[int, Suspects]:
    """By number of each broken promise."""
    wrong = [number for number, item in enumerate(told) if not item.holds]
    if not wrong:
        return {}
    rest, found = contacts(build, net, states), {}
    edges = [edge for kind in ("switch", "relay", "isolator") for edge in net.edges(kind)]
    sound = [promise for promise, item in zip(build.promises, told, strict=True) if item.holds]
    for number in wrong:
        promise = build.promises[number]
        row = int(np.flatnonzero(states.where(told[number].counterexample or {}))[0])
        decides = _deciding(net, rest[row], edges, promise)
        turned = [edge for edge, _ in decides if _mends(net, states, rest, edge, promise, sound)]
        found[number] = Suspects(
            tuple((str(net.elements[edge]), closed) for edge, closed in decides),
            tuple(str(net.elements[edge]) for edge in turned),
        )
    return found


def _deciding(net: Network, rest: Flags, edges: Sequence[int], promise: Promise) -> list[tuple[int, bool]]:
    """Contacts that alone, the other way, would keep the promise in this state; and whether each is closed in it."""
    now = settle(net, rest[None]).closed[0]
    closed = np.repeat(rest[None], len(edges), axis=0)
    forced = np.zeros_like(closed)
    for row, edge in enumerate(edges):
        closed[row, edge], forced[row, edge] = not now[edge], True
    draw = next(number for number, item in enumerate(net.draws) if item.name == promise.load)
    kept = settle(net, closed, forced).on[:, draw] == (promise.is_ == "on") if edges else []
    return [(edge, bool(now[edge])) for edge, keeps in zip(edges, kept, strict=True) if keeps]


def _mends(net: Network, states: States, rest: Flags, edge: int, promise: Promise, sound: Sequence[Promise]) -> bool:
    """Whether this contact the other way round keeps the promise in every state, and all that are kept already."""
    turned, flipped = rest.copy(), net
    turned[:, edge] ^= True
    if edge in net.relay_edges:
        flipped = replace(net, relay_closed=net.relay_closed ^ (net.relay_edges == edge))
    settled: Settled = settle(flipped, turned)
    return not settled.unsteady.any() and not any(
        broken(item, flipped, states, settled.on).any() for item in (promise, *sound)
    )
