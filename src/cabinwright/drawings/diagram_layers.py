"""Where the boxes of a diagram stand: columns and their order from Graphviz, heights by linear programming.

Everything flows from left to right. A box has pins on its left and right side; a net joins one pin on the right side of a
box to pins on the left of others, or pins on the right of some to one on the left of another. Each box gets a column from
dot's ranks. Where a net passes a column, a lane is kept free for it, so that no line runs through a box.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import coo_array

__all__ = ["GAP_MM", "Cell", "Columns", "Net", "columns"]

POINTS_PER_MM = 10.0  #: Graphviz is told ten points for a millimetre, so that its rounding does not matter
LANE_MM = 1.6  #: half of what a passing line keeps free
GAP_MM = 3.0  #: between boxes above one another
BRANCH, PAIR, LANE = 1.0, 4.0, 6.0
"""What a millimetre of upright costs: of a net that branches (it needs one anyway), of a pair, and in a passing line."""
PULL_UP = 1e-3  #: what a millimetre downwards costs, so that nothing hangs lower than it must


@dataclass(frozen=True, slots=True)
class Cell:
    """A box to place. Its axis is the height its first pin is at; pins are distances below the axis."""

    width_mm: float
    above_mm: float  #: room it takes above its axis
    below_mm: float
    left: tuple[float, ...] = (0.0,)
    right: tuple[float, ...] = (0.0,)


@dataclass(frozen=True, slots=True)
class Net:
    """Pins joined: (box, number of the pin on that side). One of the two sides has one pin only."""

    sources: tuple[tuple[str, int], ...]  #: pins on the right sides of boxes
    sinks: tuple[tuple[str, int], ...]  #: pins on the left sides of boxes further right


@dataclass(frozen=True)
class Columns:
    """What stands in which column, and how high."""

    order: tuple[tuple[str, ...], ...]  #: for each column, names from the top; lanes are there too
    axis_mm: dict[str, float]
    cells: dict[str, Cell]  #: those given, and the lanes
    steps: tuple[tuple[tuple[int, tuple[float, ...], tuple[float, ...]], ...], ...]
    """For each gap between columns: number of the net, heights at which it comes in, heights at which it goes out."""

    @property
    def height_mm(self) -> float:
        """From the top of the highest box to the bottom of the lowest; the top is 0."""
        return max(self.axis_mm[name] + self.cells[name].below_mm for name in self.axis_mm)


Link = tuple[str, float, str, float, int]  #: from, its pin's height, to, its pin's height, number of the net


def columns(cells: Mapping[str, Cell], nets: Sequence[Net]) -> Columns:
    """Place the boxes; the same input gives the same places."""
    ranks = _ranks(cells, nets)
    links, lanes = _links(cells, nets, ranks)
    every = {**cells, **{name: Cell(0.0, LANE_MM, LANE_MM) for name in lanes}}
    ranks |= lanes
    order = _order(every, links, ranks)
    axis = _heights(every, links, order, [len(net.sources) + len(net.sinks) == 2 for net in nets])
    steps: list[dict[int, tuple[list[float], list[float]]]] = [{} for _ in order]
    for start, start_pin, end, end_pin, number in links:
        came, went = steps[ranks[start]].setdefault(number, ([], []))
        came.append(axis[start] + start_pin)
        went.append(axis[end] + end_pin)
    gaps = tuple(
        tuple((number, _distinct(came), _distinct(went)) for number, (came, went) in sorted(step.items()))
        for step in steps
    )
    return Columns(tuple(order), axis, every, gaps)


def _distinct(heights: Sequence[float]) -> tuple[float, ...]:
    return tuple(sorted(set(heights)))


def _ranks(cells: Mapping[str, Cell], nets: Sequence[Net]) -> dict[str, int]:
    """The column of each box: dot's network simplex, which keeps lines short."""
    pairs = [(a, b) for net in nets for a, _ in net.sources for b, _ in net.sinks]
    at = _dot(dict.fromkeys(cells, 1.0), [(a, b, 1) for a, b in pairs])
    found = sorted({x for x, _ in at.values()})
    return {name: found.index(at[name][0]) for name in cells}


def _links(
    cells: Mapping[str, Cell], nets: Sequence[Net], ranks: Mapping[str, int]
) -> tuple[list[Link], dict[str, int]]:
    """Every net cut into steps from one column to the next, over lanes that all its pins share."""
    links: list[Link] = []
    lanes: dict[str, int] = {}
    for number, net in enumerate(nets):
        fans_out = len(net.sources) == 1
        (hub, hub_pin), others = (net.sources[0], net.sinks) if fans_out else (net.sinks[0], net.sources)
        hub_mm = (cells[hub].right if fans_out else cells[hub].left)[hub_pin]
        at = {ranks[hub]: (hub, hub_mm)}
        step = 1 if fans_out else -1
        for name, pin in sorted(others, key=lambda other: abs(ranks[other[0]] - ranks[hub])):
            for rank in range(ranks[hub] + step, ranks[name], step):
                if rank not in at:
                    lane = f"lane {number} {rank}"
                    lanes[lane], at[rank] = rank, (lane, 0.0)
                    links.append(_link(at[rank - step], at[rank], number, forwards=fans_out))
            end = (name, (cells[name].left if fans_out else cells[name].right)[pin])
            links.append(_link(at[ranks[name] - step], end, number, forwards=fans_out))
    return links, lanes


def _link(near: tuple[str, float], far: tuple[str, float], number: int, *, forwards: bool) -> Link:
    (a, a_mm), (b, b_mm) = (near, far) if forwards else (far, near)
    return a, a_mm, b, b_mm, number


def _order(cells: Mapping[str, Cell], links: Sequence[Link], ranks: Mapping[str, int]) -> list[tuple[str, ...]]:
    """Names in each column from the top, with few crossings: dot's order."""
    heights = {name: cell.above_mm + cell.below_mm for name, cell in cells.items()}
    at = _dot(heights, [(a, b, 4 if a.startswith("lane") else 1) for a, _, b, _, _ in links])
    order: list[list[str]] = [[] for _ in range(max(ranks.values()) + 1)]
    for name in sorted(cells, key=lambda name: -at[name][1]):
        order[ranks[name]].append(name)
    return [tuple(names) for names in order]


def _dot(heights_mm: Mapping[str, float], edges: Sequence[tuple[str, str, int]]) -> dict[str, tuple[float, float]]:
    """Where dot puts each node, x to the right and y upwards. Graphviz sees numbers in place of names."""
    import pygraphviz

    number = {name: str(index) for index, name in enumerate(heights_mm)}
    graph = pygraphviz.AGraph(directed=True, strict=True, rankdir="LR", nodesep="0.4", ranksep="0.5")
    graph.node_attr.update(shape="box", fixedsize="true", width="0.5", label="")
    for name, height_mm in heights_mm.items():
        graph.add_node(number[name], height=f"{height_mm * POINTS_PER_MM / 72.0:.4f}")
    for a, b, weight in edges:
        graph.add_edge(number[a], number[b], weight=str(weight))
    graph.layout("dot")
    found = {}
    for name, index in number.items():
        x, y = graph.get_node(index).attr["pos"].split(",")
        found[name] = (round(float(x), 1), float(y))
    graph.close()
    return found


def _heights(
    cells: Mapping[str, Cell], links: Sequence[Link], order: Sequence[Sequence[str]], pairs: Sequence[bool]
) -> dict[str, float]:
    """Height of each axis: the least sum of all vertical runs while the boxes of a column keep their order and gap.

    The sum of absolute differences is linear with one more unknown for each: |a − b| ≤ t.
    """
    index = {name: number for number, name in enumerate(cells)}
    count, extra = len(cells), len(links)
    cost = np.full(count + extra, PULL_UP)
    rows: list[list[tuple[int, float]]] = []
    limits: list[float] = []
    for number, (a, a_mm, b, b_mm, net) in enumerate(links):
        passing = a.startswith("lane") and b.startswith("lane")
        cost[count + number] = LANE if passing else PAIR if pairs[net] else BRANCH
        for sign in (1.0, -1.0):
            rows.append([(index[a], sign), (index[b], -sign), (count + number, -1.0)])
            limits.append(sign * (b_mm - a_mm))
    for names in order:
        for upper, lower in pairwise(names):
            rows.append([(index[upper], 1.0), (index[lower], -1.0)])
            limits.append(-(cells[upper].below_mm + cells[lower].above_mm + GAP_MM))
    least: list[tuple[float, float | None]] = [(cell.above_mm, None) for cell in cells.values()]
    least += [(0.0, None)] * extra
    matrix: Any = None
    if rows:
        r, c, v = zip(*((r, c, v) for r, row in enumerate(rows) for c, v in row), strict=True)
        matrix = coo_array((v, (r, c)), shape=(len(rows), count + extra)).tocsr()
    found: Any = linprog(cost, A_ub=matrix, b_ub=np.array(limits) if rows else None, bounds=least, method="highs")
    return {name: round(float(found.x[number]), 3) for name, number in index.items()}
