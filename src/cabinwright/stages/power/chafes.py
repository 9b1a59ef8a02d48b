"""A wire chafed through to the chassis: the short that it makes where it is live, and what it turns on where it is a return."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build
from cabinwright.physics.circuit import reaches, reaches_each
from cabinwright.physics.fuse import opening_times_s
from cabinwright.stages.power.network import Network, settle
from cabinwright.stages.power.sizing import Sized, free_current_a, stands_s

__all__ = ["Chafe", "chafe", "grounded"]

Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Chafe:
    """A short to the chassis at the far end of a wire, and the fuse before it."""

    current_a: float
    fuse: int | None  #: its number; the one that opens soonest
    clears_s: float  #: infinite where it need not open
    stands_s: float
    clears: bool


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


def grounded(build: Build, net: Network, closed: Flags, sound: Flags) -> Iterator[tuple[int, Flags]]:
    """Wires that some setting leaves neither live nor grounded, each with what is on when it touches the chassis.

    A lamp whose return is switched burns by that, and a coil pulls in. Where the touching wire is live it is a short, which
    its fuse ends: such settings stay as they were.

    Args:
        closed: (settings, edges) contacts with relays at rest.
        sound: (settings, edges) the same after the relays have come to rest.

    Yields:
        The wire's number, and (settings, draws).
    """
    plus, back = reaches_each(net.circuit, sound, net.sources, [0])
    loose = ~(plus | back)
    before = settle(net, closed).on
    for number, edge in enumerate(net.edges("wire")):
        node = int(net.circuit.ends[edge, 0])
        rows = np.flatnonzero(loose[:, node])
        if not len(rows) or build.wires[number].shield:
            continue
        circuit = replace(
            net.circuit,
            ends=np.vstack([net.circuit.ends, [node, 0]]),
            resistance_ohm=np.append(net.circuit.resistance_ohm, 0.0),
        )
        touched = settle(replace(net, circuit=circuit), np.pad(closed[rows], ((0, 0), (0, 1)), constant_values=True))
        shorted = reaches(circuit, touched.closed, net.sources)[:, :1]
        now = before.copy()
        now[rows] = np.where(shorted, before[rows], touched.on)
        yield number, now
