"""Single faults: contacts stuck, fuses blown, grounds lost, wires chafed through, each in every combination of states."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build
from cabinwright.physics.circuit import reaches
from cabinwright.physics.fuse import opening_times_s
from cabinwright.stages.power.guards import hops_from_plus
from cabinwright.stages.power.network import Network, settle
from cabinwright.stages.power.promises import PromiseResult, broken
from cabinwright.stages.power.result import FaultResult
from cabinwright.stages.power.sizing import Sized, free_current_a, stands_s
from cabinwright.stages.power.solved import distinct
from cabinwright.stages.power.states import States

__all__ = ["Chafe", "chafe", "single_faults"]

Flags = NDArray[np.bool_]

MOST_ROWS = 150_000  #: settings solved together; more would only cost memory


@dataclass(frozen=True)
class Stuck:
    """A contact that stays as it is."""

    kind: str
    edge: int
    closed: bool


@dataclass(frozen=True)
class Chafe:
    """A short to the chassis at the far end of a wire, and the fuse before it."""

    current_a: float
    fuse: int | None  #: its number; the one that opens soonest
    clears_s: float  #: infinite where it need not open
    stands_s: float
    clears: bool


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
    return (*_joint_faults(Joints(key, build, net, states, closed, on)), *_chafes(build, sized))


@lru_cache(maxsize=4)
def _joint_faults(joints: Joints) -> tuple[FaultResult, ...]:
    """All but chafed wires; kept, because most changes of a build move no contact."""
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
    return tuple(found)


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
            FaultResult(
                kind=fault.kind,
                element=str(net.elements[fault.edge]),
                breaks=_breaks(build, net, states, now, held),
                lights=_named(net, now & ~on),
                dark=_named(net, on & ~now),
                stays_live=()
                if fault.closed
                else _live(net, fault.edge, live[here] & sound[:, fault.edge, None], hops),
                through_shield=()
                if bare is None or fault.kind != "ground lost"
                else _named(net, settled.on[here] & ~bare[here]),
            )
        )
    return found


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


def chafe(build: Build, sized: Sized, wire: int) -> Chafe | None:
    """What a short at the far end of a wire does; ``None`` where no state feeds it or it belongs to the chassis already."""
    edge = sized.net.edges("wire")[wire]
    current = sized.shorts.least_a[edge]
    if current <= 0.0 or edge not in sized.before:
        return None
    item, area = build.wires[wire], sized.gauges[wire].area_mm2
    fuses = sized.net.edges("fuse")
    stands = stands_s(item, area, current)
    times = {
        fuse: opening_times_s(current_a=current, rating_a=sized.ratings_a[fuses.index(fuse)])[1]
        for fuse in sized.before[edge]
    }
    quickest = min(times, key=lambda fuse: times[fuse], default=None)
    clears_s = times[quickest] if quickest is not None else float("inf")
    harmless = current <= free_current_a(item, area)
    number = None if quickest is None else fuses.index(quickest)
    return Chafe(current, number, clears_s, stands, harmless or clears_s <= stands)


def _chafes(build: Build, sized: Sized) -> Iterator[FaultResult]:
    for number, wire in enumerate(build.wires):
        found = chafe(build, sized, number)
        if found:
            yield FaultResult(
                kind="chafed",
                element=f"wire “{wire.name}”",
                current_a=found.current_a if sized.net.supply.battery else None,
                fuse=None if found.fuse is None else build.fuses[found.fuse].name,
                clears_s=found.clears_s if np.isfinite(found.clears_s) else None,
                stands_s=found.stands_s,
                clears=found.clears,
            )
