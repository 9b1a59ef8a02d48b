"""Networks of resistances, ideal contacts and constant draws, solved for many settings of their contacts at once.

Nodal analysis with Norton sources: for every node the currents that leave it add up to nothing (Kirchhoff), ``G v = i``.
Nodes that closed ideal contacts join are one node of ``G``; the current through each contact then follows from what
Kirchhoff leaves over at its ends, shared out in a loop of contacts as equal resistances would share it. Nodes that reach
neither a source nor the return have no voltage and are left out.

Reference: Chua, Desoer & Kuh 1987, chapters 1 and 5.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.elimination import Elimination

__all__ = ["Circuit", "Solution", "reaches", "reaches_each", "short_circuit", "solve"]

Real = NDArray[np.float64]
Flags = NDArray[np.bool_]
Index = NDArray[np.intp]

STIFF_OHM = 1e-9  #: stands for a source without resistance; far below any contact


@dataclass(frozen=True)
class Circuit:
    """Nodes count from 0, the return; an edge of 0 Ω is an ideal contact."""

    nodes: int
    ends: Index  #: (edges, 2)
    resistance_ohm: Real  #: (edges,)
    source_node: Index  #: (sources,) between this node and the return
    source_v: Real  #: (sources,)
    source_ohm: Real  #: (sources,) behind each source


@dataclass(frozen=True)
class Solution:
    """Per setting; ``draws`` is how many sets of draws were solved together."""

    voltage_v: Real  #: (settings, nodes, draws); NaN where a node reaches nothing
    current_a: Real  #: (settings, edges, draws) from the first end to the second
    source_a: Real  #: (settings, sources, draws) out of each source


def reaches(circuit: Circuit, closed: Flags, starts: Iterable[int]) -> Flags:
    """(settings, nodes): which nodes closed edges join to any of ``starts``. ``closed`` is (settings, edges)."""
    return reaches_each(circuit, closed, starts)[0]


def reaches_each(circuit: Circuit, closed: Flags, *groups: Iterable[int]) -> list[Flags]:
    """The same for several groups of nodes to start from."""
    packed = np.ascontiguousarray(np.packbits(closed, axis=0).T)  # eight settings in a byte
    edges = [(int(a), int(b), shut) for (a, b), shut in zip(circuit.ends, packed, strict=True)]
    return [
        np.unpackbits(_spread(circuit, edges, starts, packed.shape[1]).T, axis=0, count=len(closed)).view(np.bool_)
        for starts in groups
    ]


def _spread(
    circuit: Circuit, edges: list[tuple[int, int, NDArray[np.uint8]]], starts: Iterable[int], size: int
) -> NDArray[np.uint8]:
    """(nodes, size) bits of the settings in which each node is joined to one of ``starts``."""
    found = np.zeros((circuit.nodes, size), dtype=np.uint8)
    found[list(starts)] = 0xFF
    direction, settled = 1, False
    while not settled:
        before = found.copy()
        for a, b, shut in edges[::direction]:
            either = (found[a] | found[b]) & shut
            found[a] |= either
            found[b] |= either
        direction, settled = -direction, np.array_equal(found, before)
    return found


def _joined(circuit: Circuit, closed: Flags) -> Index:
    """(settings, nodes): the lowest node that closed ideal contacts join each node to."""
    label = np.repeat(np.arange(circuit.nodes)[:, None], len(closed), axis=1)
    ideal = [
        (int(circuit.ends[e, 0]), int(circuit.ends[e, 1]), closed[:, e])
        for e in np.flatnonzero(circuit.resistance_ohm == 0.0)
    ]
    before = -1
    while (now := int(label.sum())) != before:
        before = now
        for a, b, shut in ideal:
            low = np.minimum(label[a], label[b])
            label[a] = np.where(shut, low, label[a])
            label[b] = np.where(shut, low, label[b])
    return label.T.astype(np.intp)


def _factored(circuit: Circuit, closed: Flags, label: Index) -> Elimination:
    """Conductances between joined nodes; what reaches nothing, and what another node stands for, is left out."""
    live = reaches(circuit, closed, [0, *map(int, circuit.source_node)])
    keep = live & (label == np.arange(circuit.nodes))
    keep[:, 0] = False
    real = np.flatnonzero(circuit.resistance_ohm > 0.0)
    branches = (
        (label[:, circuit.ends[e, 0]], label[:, circuit.ends[e, 1]], closed[:, e] / circuit.resistance_ohm[e])
        for e in real
    )
    sources = zip(circuit.source_node, circuit.source_ohm, strict=True)
    return Elimination(keep, branches, [(label[:, node], 1.0 / max(float(ohm), STIFF_OHM)) for node, ohm in sources])


def _injected(circuit: Circuit, label: Index, drawn_a: Real) -> Real:
    """(settings, nodes, draws) current into each joined node from sources, less what is drawn."""
    rows = np.arange(len(label))
    into = np.zeros_like(drawn_a)
    for node in range(circuit.nodes):
        into[rows, label[:, node]] -= drawn_a[:, node]
    for node, volts, ohm in zip(circuit.source_node, circuit.source_v, circuit.source_ohm, strict=True):
        into[rows, label[:, node]] += volts / max(float(ohm), STIFF_OHM)
    own = label == np.arange(circuit.nodes)
    own[:, 0] = False
    return np.where(own[:, :, None], into, 0.0)


def solve(circuit: Circuit, closed: Flags, drawn_a: Real) -> Solution:
    """Voltages and currents for every setting of the contacts.

    Args:
        closed: (settings, edges) which edges conduct.
        drawn_a: (settings, nodes, draws) constant current that loads take out of each node [A]; what one end of a load
            takes the other gives back. Nothing may be drawn where a node reaches no source.
    """
    label = _joined(circuit, closed)
    live = reaches(circuit, closed, [0, *map(int, circuit.source_node)])
    free = np.where(live[:, :, None], drawn_a, 0.0)
    joined = _factored(circuit, closed, label).solve(_injected(circuit, label, free))
    v: Real = np.take_along_axis(joined, label[:, :, None], axis=1)
    current, source = _currents(circuit, closed, v, free, label)
    return Solution(np.where(live[:, :, None], v, np.nan), current, source)


def _currents(circuit: Circuit, closed: Flags, v: Real, drawn_a: Real, label: Index) -> tuple[Real, Real]:
    first, second = circuit.ends.T
    real = circuit.resistance_ohm > 0.0
    ohm = np.where(real, circuit.resistance_ohm, 1.0)
    through = np.where((closed & real)[:, :, None], (v[:, first] - v[:, second]) / ohm[:, None], 0.0)
    stiff = np.maximum(circuit.source_ohm, STIFF_OHM)[:, None]
    source = (circuit.source_v[:, None] - v[:, circuit.source_node]) / stiff
    if real.all():
        return through, source
    left = -drawn_a
    for k, node in enumerate(circuit.source_node):
        left[:, node] += source[:, k]
    for e in np.flatnonzero(real):
        left[:, first[e]] -= through[:, e]
        left[:, second[e]] += through[:, e]
    alike = Elimination(
        label != np.arange(circuit.nodes),
        (
            (np.full(len(closed), first[e]), np.full(len(closed), second[e]), closed[:, e].astype(np.float64))
            for e in np.flatnonzero(~real)
        ),
    )
    potential = alike.solve(left)
    ideal = np.where(closed[:, :, None], potential[:, first] - potential[:, second], 0.0)
    return np.where(real[:, None], through, ideal), source


def short_circuit(circuit: Circuit, closed: Flags) -> Real:
    """(settings, nodes) current [A] into a dead short from each node to the return, with nothing else drawing.

    0 where a node reaches no source. Thévenin: open voltage over the resistance seen from the node.
    """
    label = _joined(circuit, closed)
    fed = reaches(circuit, closed, map(int, circuit.source_node))
    factored = _factored(circuit, closed, label)
    quiet = np.zeros((len(closed), circuit.nodes, 1))
    open_v = factored.solve(_injected(circuit, label, quiet))[:, :, 0]
    seen_ohm = factored.inverse_diagonal()
    current = np.take_along_axis(open_v / seen_ohm, label, axis=1)
    current[label == 0] = np.inf  # joined to the return already
    return np.where(fed, current, 0.0)
