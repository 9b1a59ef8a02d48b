"""Single faults: contacts stuck, fuses blown, grounds lost, wires chafed through, each in every combination of states."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build
from cabinwright.physics.circuit import reaches
from cabinwright.stages.power.chafes import chafe, grounded
from cabinwright.stages.power.guards import hops_from_plus
from cabinwright.stages.power.network import Network, settle
from cabinwright.stages.power.promises import PromiseResult, broken
from cabinwright.stages.power.result import FaultResult
from cabinwright.stages.power.sizing import Sized
from cabinwright.stages.power.solved import distinct
from cabinwright.stages.power.states import States

__all__ = ["single_faults"]

Flags = NDArray[np.bool_]

MOST_ROWS = 150_000  #: settings solved together; more would only cost memory


@dataclass(frozen=True)
class Stuck:
    """A contact that stays as it is."""

    kind: str
    edge: int
    closed: bool


@dataclass(frozen=True)
class Joints:
    """What faults of contacts depend on: how things are joined, and no length, size or current. Equal where that is."""

    key: tuple[object, ...]
    build: Build = field(compare=False)
    net: Network = field(compare=False)
    states: States = field(compare=False)
    closed: Flags = field(compare=False)
    on: Flags = field(compare=False)


def single_faults(build: Build, sized: Sized, states: States, closed: Flags, on: Flags) -> tuple[FaultResult, ...]:
    """Every single fault. ``closed`` are the contacts with relays at rest, ``on`` what is on without a fault."""
    net = sized.net
    key = (
        closed.shape,
        closed.tobytes(),
        on.tobytes(),
        net.circuit.ends.tobytes(),
        net.relay_closed.tobytes(),
        net.nodes,
        net.elements,
        tuple(net.sources),
        tuple((draw.kind, draw.name, draw.from_, draw.to, draw.remote) for draw in net.draws),
        tuple(net.shields(build)),
        repr(build.promises),
        repr(states.variables),
    )
    stuck, touching = _joint_faults(Joints(key, build, net, states, closed, on))
    return (*stuck, *_chafes(build, sized, touching))


@lru_cache(maxsize=4)
def _joint_faults(joints: Joints) -> tuple[tuple[FaultResult, ...], dict[int, FaultResult]]:
    """All but the currents of chafed wires; kept, because most changes of a build move no contact."""
    build, net, states = joints.build, joints.net, joints.states
    stuck = list(_stuck(build, net))
    found = list[FaultResult]()
    first, setting = distinct(joints.closed)
    held = [not broken(item, net, states, joints.on).any() for item in build.promises]
    closed = joints.closed[first]
    sound = settle(net, closed).closed
    size = max(1, MOST_ROWS // max(1, len(first)))
    for start in range(0, len(stuck), size):
        found += _batch(build, net, states, stuck[start : start + size], closed, setting, joints.on, held, sound)
    touching = {}
    for wire, now in grounded(build, net, closed, sound):
        result = _effect(build, net, states, "chafed", net.edges("wire")[wire], now[setting], joints.on, held)
        if result.breaks or result.lights or result.dark:
            touching[wire] = result
    return tuple(found), touching


def _stuck(build: Build, net: Network) -> Iterator[Stuck]:
    for edge, element in enumerate(net.elements):
        if element.kind in ("switch", "relay", "isolator"):
            yield Stuck("stuck open", edge, False)
            yield Stuck("stuck closed", edge, True)
        elif element.kind == "fuse":
            yield Stuck("blown", edge, False)
        elif element.kind == "wire" and 0 in net.circuit.ends[edge] and not build.wires[element.number].shield:
            yield Stuck("ground lost", edge, False)


def _batch(
    build: Build,
    net: Network,
    states: States,
    stuck: list[Stuck],
    closed: Flags,
    setting: NDArray[np.intp],
    on: Flags,
    held: list[bool],
    sound: Flags,
) -> list[FaultResult]:
    rows = len(closed)
    many, forced = np.tile(closed, (len(stuck), 1)), np.zeros((rows * len(stuck), closed.shape[1]), dtype=np.bool_)
    for number, fault in enumerate(stuck):
        here = slice(number * rows, (number + 1) * rows)
        many[here, fault.edge] = fault.closed
        forced[here, fault.edge] = True
    settled = settle(net, many, forced)
    live = reaches(net.circuit, settled.closed, net.sources)
    hops = hops_from_plus(net)
    bare = None
    shields = net.shields(build)
    if shields:
        without = many.copy()
        without[:, shields] = False
        bare = settle(net, without, forced).on
    found = []
    for number, fault in enumerate(stuck):
        here = slice(number * rows, (number + 1) * rows)
        now = settled.on[here][setting]
        found.append(
            replace(
                _effect(build, net, states, fault.kind, fault.edge, now, on, held),
                stays_live=()
                if fault.closed
                else _live(net, fault.edge, live[here] & sound[:, fault.edge, None], hops),
                through_shield=()
                if bare is None or fault.kind != "ground lost"
                else _named(net, settled.on[here] & ~bare[here]),
            )
        )
    return found


def _effect(
    build: Build, net: Network, states: States, kind: str, edge: int, now: Flags, on: Flags, held: list[bool]
) -> FaultResult:
    """What comes on, what goes dark and which promises break, all over (combinations, draws)."""
    return FaultResult(
        kind=kind,
        element=str(net.elements[edge]),
        breaks=_breaks(build, net, states, now, held),
        lights=_named(net, now & ~on),
        dark=_named(net, on & ~now),
    )


def _named(net: Network, which: Flags) -> tuple[str, ...]:
    """Loads with a true entry in any row of (settings, draws)."""
    return tuple(item.name for number, item in enumerate(net.draws) if item.kind == "load" and which[:, number].any())


def _breaks(build: Build, net: Network, states: States, on: Flags, held: list[bool]) -> tuple[PromiseResult, ...]:
    """Promises that held without the fault and do not with it."""
    found = []
    for item, sound in zip(build.promises, held, strict=True):
        wrong = broken(item, net, states, on)
        if sound and wrong.any():
            found.append(PromiseResult(item.text, False, states.assignment(int(np.argmax(wrong)))))
    return tuple(found)


def _live(net: Network, edge: int, live: Flags, hops: dict[int, int]) -> tuple[str, ...]:
    """Both ends of an opened part where a state that should close it keeps both live: the far one is fed from behind.

    An isolator parts two batteries; each end is live by its own.
    """
    a, b = sorted((int(node) for node in net.circuit.ends[edge]), key=lambda node: hops.get(node, len(hops)))
    if net.elements[edge].kind == "isolator":
        return ()
    both = np.logical_and(live[:, a], live[:, b])
    return (net.nodes[a], net.nodes[b]) if both.any() else ()


def _chafes(build: Build, sized: Sized, touching: dict[int, FaultResult]) -> Iterator[FaultResult]:
    """``touching``: by wire, what changes by joining it to the chassis."""
    for number, wire in enumerate(build.wires):
        short = chafe(build, sized, number)
        found = touching.get(number, FaultResult("chafed", f"wire “{wire.name}”"))
        if short:
            found = replace(
                found,
                current_a=short.current_a if sized.net.supply.battery else None,
                fuse=None if short.fuse is None else build.fuses[short.fuse].name,
                clears_s=short.clears_s if np.isfinite(short.clears_s) else None,
                stands_s=short.stands_s,
                clears=short.clears,
            )
        if short or number in touching:
            yield found
