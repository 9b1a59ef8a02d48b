"""The shape of the network: loops, ends that lead nowhere, and nodes that hang in the air."""

from __future__ import annotations

from collections import Counter, defaultdict, deque

import numpy as np

from cabinwright.build.checking import did_you_mean
from cabinwright.physics.circuit import reaches
from cabinwright.stages.power.network import Network
from cabinwright.stages.power.sizing import Sized

__all__ = ["loops", "loose_ends", "unsettled_nodes"]

MOST_LOOPS = 20


def loops(net: Network) -> list[tuple[str, ...]]:
    """Elements of each independent loop, every contact closed: what closes it first. At most 20 of them."""
    tree: dict[int, list[tuple[int, int]]] = defaultdict(list)
    found = list[tuple[str, ...]]()
    for edge, (a, b) in enumerate(net.circuit.ends.tolist()):
        if net.elements[edge].kind == "shield":  # a loop of grounds is spoken of as one
            continue
        way = _way(tree, a, b)
        if way is None:
            tree[a].append((edge, b))
            tree[b].append((edge, a))
        elif len(found) < MOST_LOOPS:
            found.append(tuple(str(net.elements[k]) for k in (edge, *way)))
    return found


def _way(tree: dict[int, list[tuple[int, int]]], start: int, goal: int) -> list[int] | None:
    """Edges from ``start`` to ``goal``; ``None`` where nothing joins them yet."""
    came: dict[int, tuple[int, int]] = {start: (-1, -1)}
    todo = deque([start])
    while todo:
        node = todo.popleft()
        if node == goal:
            way = []
            while came[node][0] >= 0:
                edge, node = came[node]
                way.append(edge)
            return way
        for edge, other in tree[node]:
            if other not in came:
                came[other] = (edge, node)
                todo.append(other)
    return None


def loose_ends(net: Network) -> list[tuple[str, str, str | None]]:
    """Nodes that only one thing names, with that thing and the node that may have been meant."""
    uses: Counter[int] = Counter()
    owner = dict[int, str]()
    for element, ends in zip(net.elements, net.circuit.ends.tolist(), strict=True):
        for node in ends:
            uses[node] += 1
            owner[node] = str(element)
    for draw in net.draws:
        what = f"load “{draw.name}”" if draw.kind == "load" else f"coil of relay “{draw.name}”"
        for node in (draw.from_, draw.to, *(() if draw.remote is None else (draw.remote,))):
            uses[node] += 1
            owner[node] = what
    for node in net.sources:
        uses[node] += 2
    found = []
    for node, count in sorted(uses.items()):
        if count == 1 and node > 1:
            name = net.nodes[node]
            others = [other for number, other in enumerate(net.nodes) if number != node]
            found.append((name, owner[node], did_you_mean(name, others)))
    return found


def unsettled_nodes(sized: Sized) -> tuple[list[str], list[tuple[str, int]]]:
    """Nodes that no state joins to a plus or the chassis, and those that only some states leave in the air.

    The second come with a combination that does.
    """
    net, solved = sized.net, sized.solved
    live = reaches(net.circuit, solved.settled.closed[solved.first], [0, *net.sources])
    dead = [net.nodes[node] for node in np.flatnonzero(~live.any(axis=0))]
    some = np.flatnonzero(live.any(axis=0) & ~live.all(axis=0))
    return dead, [(net.nodes[node], int(solved.first[int(np.argmin(live[:, node]))])) for node in some]
