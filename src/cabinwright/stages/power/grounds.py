"""Where currents come home: one return or many."""

from __future__ import annotations

import numpy as np

from cabinwright.build.document import Build
from cabinwright.stages.power.network import Network
from cabinwright.stages.power.result import ReturnResult
from cabinwright.stages.power.sizing import Sized
from cabinwright.stages.power.solved import AVERAGE, PEAK

__all__ = ["returns"]


def returns(build: Build, sized: Sized) -> tuple[ReturnResult, ...]:
    """Each way into the chassis: what hangs on it, and how far it is lifted above the chassis.

    Loads share a way where wires, fuses or contacts join their minus ends short of the chassis; one that is written
    straight to ``chassis`` has a way of its own, of which nothing is known.
    """
    net, volts = sized.net, np.nan_to_num(sized.solved.solution.voltage_v)
    group = _groups(net)
    found = []
    for root in sorted({group[draw.to] for draw in net.draws if draw.to != 0 and draw.kind == "load"}):
        loads = [draw for draw in net.draws if draw.kind == "load" and draw.to != 0 and group[draw.to] == root]
        wires = [
            net.elements[edge].name
            for edge, (a, b) in enumerate(net.circuit.ends.tolist())
            if 0 in (a, b) and group[a or b] == root and net.elements[edge].kind != "shield"
        ]
        ends = sorted({draw.to for draw in loads})
        found.append(
            ReturnResult(
                through=tuple(wires),
                loads=tuple(draw.name for draw in loads),
                average_v=float(np.abs(volts[:, ends, AVERAGE]).max()),
                peak_v=float(np.abs(volts[:, ends, PEAK]).max()),
            )
        )
    direct = tuple(draw.name for draw in net.draws if draw.kind == "load" and draw.to == 0)
    return (*found, ReturnResult((), direct, None, None)) if direct else tuple(found)


def _groups(net: Network) -> list[int]:
    """The lowest node that each is joined to with every contact closed, the chassis and shields left out."""
    label = list(range(net.circuit.nodes))

    def root(node: int) -> int:
        while label[node] != node:
            node = label[node]
        return node

    for edge, (a, b) in enumerate(net.circuit.ends.tolist()):
        if a and b and net.elements[edge].kind != "shield":
            first, second = sorted((root(a), root(b)))
            label[second] = first
    return [root(node) for node in range(net.circuit.nodes)]
