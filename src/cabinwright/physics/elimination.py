"""Symmetric systems of conductances, solved for many settings at once without filling in what is empty.

A wiring is almost a tree: eliminated by least degree (Markowitz 1957) its matrix stays nearly as empty as it began, so
that each step is a handful of products over all settings together. ``A = L D Lᵀ``; the inverse's diagonal follows from the
same factors (Takahashi, Fagan & Chin 1973). Conductance matrices need no pivoting: they are weakly diagonally dominant.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

__all__ = ["Elimination"]

Real = NDArray[np.float64]
Flags = NDArray[np.bool_]
Index = NDArray[np.intp]
Branch = tuple[Index, Index, Real]


class Elimination:
    """Conductances between nodes, factored for every setting.

    Args:
        keep: (settings, nodes) nodes whose voltage is sought; the others are at 0.
        branches: for each, its two nodes and its conductance, all (settings,). Both ends on one node count for nothing.
        to_return: pairs of node (settings,) and conductance to 0.
    """

    def __init__(self, keep: Flags, branches: Iterable[Branch], to_return: Iterable[tuple[Index, float]] = ()) -> None:
        self._keep: Flags = np.ascontiguousarray(keep.T)
        self._diagonal: Real = np.zeros(self._keep.shape)
        self._off: dict[tuple[int, int], Real] = {}
        for a, b, y in branches:
            self._branch(a, b, y)
        for node, siemens in to_return:
            self._diagonal[node, np.arange(len(node))] += siemens
        self._diagonal[~self._keep | (self._diagonal == 0.0)] = 1.0
        self._steps: list[tuple[int, dict[int, Real]]] = []
        self._factor()

    def _branch(self, first: Index, second: Index, y: Real) -> None:
        nodes = len(self._keep)
        pairs = first * nodes + second
        here = [pairs[0]] if (pairs == pairs[0]).all() else np.unique(pairs[y != 0.0])
        for pair in here:
            a, b = divmod(int(pair), nodes)
            if a == b:
                continue
            mine = np.where(pairs == pair, y, 0.0)
            self._diagonal[a] += mine * self._keep[a]
            self._diagonal[b] += mine * self._keep[b]
            both = mine * (self._keep[a] & self._keep[b])
            if both.any():
                self._subtract(a, b, both)

    def _subtract(self, a: int, b: int, y: Real) -> None:
        key = (a, b) if a < b else (b, a)
        if key in self._off:
            self._off[key] -= y
        else:
            self._off[key] = -y

    def _factor(self) -> None:
        near: dict[int, set[int]] = defaultdict(set)
        for a, b in self._off:
            near[a].add(b)
            near[b].add(a)
        left = set(range(len(self._keep)))
        while left:
            node = min(left, key=lambda at: (len(near[at]), at))
            left.remove(node)
            others = sorted(near.pop(node, ()))
            column = {other: self._off.pop((min(node, other), max(node, other))) for other in others}
            scaled = {other: value / self._diagonal[node] for other, value in column.items()}
            for number, a in enumerate(others):
                near[a].discard(node)
                self._diagonal[a] -= scaled[a] * column[a]
                for b in others[number + 1 :]:
                    self._subtract(a, b, scaled[a] * column[b])
                    near[a].add(b)
                    near[b].add(a)
            self._steps.append((node, scaled))

    def solve(self, into: Real) -> Real:
        """(settings, nodes, sets) voltages for currents (settings, nodes, sets) into the nodes; 0 where none is sought."""
        x = np.ascontiguousarray(into.transpose(1, 2, 0)) * self._keep[:, None, :]
        for node, scaled in self._steps:
            for other, value in scaled.items():
                x[other] -= value * x[node]
        x /= self._diagonal[:, None, :]
        for node, scaled in reversed(self._steps):
            for other, value in scaled.items():
                x[node] -= value * x[other]
        return np.ascontiguousarray(x.transpose(2, 0, 1))

    def inverse_diagonal(self) -> Real:
        """(settings, nodes) resistance seen from each node to 0."""
        inverse: dict[tuple[int, int], Real] = {}

        def entry(a: int, b: int) -> Real:
            return inverse[(a, b) if a < b else (b, a)]

        for node, scaled in reversed(self._steps):
            for other in scaled:
                parts = [value * entry(far, other) for far, value in scaled.items()]
                inverse[min(node, other), max(node, other)] = -np.sum(parts, axis=0)
            own = 1.0 / self._diagonal[node]
            for far, value in scaled.items():
                own = own - value * entry(node, far)
            inverse[node, node] = own
        return np.stack([inverse[node, node] for node in range(len(self._keep))], axis=1)
