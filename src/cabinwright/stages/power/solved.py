"""The network in every combination of states. Combinations that close the same contacts are solved once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.circuit import Solution, solve
from cabinwright.stages.power.network import Network, Settled

__all__ = ["AVERAGE", "PEAK", "Solved", "distinct", "solve_all"]

Real = NDArray[np.float64]
Flags = NDArray[np.bool_]
Index = NDArray[np.intp]

PEAK, AVERAGE = 0, 1


@dataclass(frozen=True)
class Solved:
    """Figures per distinct setting, and which combination has which. The last axis is peak and average."""

    settled: Settled  #: per combination
    setting: Index  #: (combinations,) number of the distinct setting
    first: Index  #: (settings,) a combination that has it
    solution: Solution

    def load_v(self, net: Network, draw: int) -> Real:
        """(settings, 2) voltage across a load; 0 where it hangs in the air."""
        item = net.draws[draw]
        across = self.solution.voltage_v[:, item.from_] - self.solution.voltage_v[:, item.to]
        return np.where(np.isfinite(across), across, 0.0)


def distinct(closed: Flags) -> tuple[Index, Index]:
    """A combination for each distinct row, in order of first appearance, and each row's number among them."""
    if not closed.shape[1]:
        return np.zeros(1, dtype=np.intp), np.zeros(len(closed), dtype=np.intp)
    packed = np.packbits(closed, axis=1)
    _, first, number = np.unique(packed, axis=0, return_index=True, return_inverse=True)
    order = np.argsort(first)
    place = np.empty_like(order)
    place[order] = np.arange(len(order))
    return first[order], place[number.reshape(-1)]


def solve_all(net: Network, settled: Settled) -> Solved:
    """Voltages and currents at peak and average draw."""
    first, setting = distinct(settled.closed)
    closed, on = settled.closed[first], settled.on[first]
    drawn = np.zeros((len(first), net.circuit.nodes, 2))
    for number, draw in enumerate(net.draws):
        amperes = on[:, number, None] * np.array([draw.peak_a, draw.average_a])
        drawn[:, draw.from_] += amperes
        drawn[:, draw.to] -= amperes
    return Solved(settled, setting, first, solve(net.circuit, closed, drawn))
