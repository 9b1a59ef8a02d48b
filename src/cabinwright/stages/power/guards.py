"""Which fuses stand before which wire, and how the lengths of feed and return share a drop."""

from __future__ import annotations

import heapq
from collections import defaultdict
from collections.abc import Collection, Mapping

from cabinwright.stages.power.network import Network

__all__ = [
    "fed_edges",
    "fuses_before",
    "fuses_behind",
    "fuses_of_draws",
    "hops_from_plus",
    "path_lengths_m",
    "turn_on_edges",
]

Links = dict[int, list[tuple[int, int]]]


def fed_edges(net: Network, without: Collection[int] = ()) -> set[int]:
    """Edges that a source can feed with every contact closed and the edges ``without`` taken out.

    Loads let current through one way, so that returns count as fed by what stands before their loads; the chassis leads
    nowhere further, because everything hangs on it.
    """
    links: Links = defaultdict(list)
    for edge, (a, b) in enumerate(net.circuit.ends.tolist()):
        if edge not in without:
            links[a].append((edge, b))
            links[b].append((edge, a))
    for draw in net.draws:
        links[draw.from_].append((-1, draw.to))
    seen, todo, found = set[int](), list(net.sources), set[int]()
    while todo:
        node = todo.pop()
        if node in seen or node == 0:
            continue
        seen.add(node)
        for edge, other in links[node]:
            found.add(edge)
            todo.append(other)
    return found - {-1}


def fuses_before(net: Network, shields: Collection[int] = ()) -> dict[int, list[int]]:
    """For each edge that is fed at all: the fuses that cut it off when they are out, each on its own.

    Shields of signal cables feed nothing in sound use; what comes home through them is a fault and is found as one.
    """
    fuses, all_fed = net.edges("fuse"), fed_edges(net, shields)
    without = {fuse: fed_edges(net, {fuse, *shields}) for fuse in fuses}
    return {edge: [fuse for fuse in fuses if fuse != edge and edge not in without[fuse]] for edge in sorted(all_fed)}


def fuses_behind(
    net: Network, before: Mapping[int, Collection[int]], shields: Collection[int] = ()
) -> dict[int, list[int]]:
    """For each edge that no fuse stands before: the first fuses that only this edge feeds.

    They alone hold what flows through it; a short on the edge itself meets no fuse at all.
    """
    found: dict[int, list[int]] = {}
    for edge in sorted(fed_edges(net, {*net.edges("fuse"), *shields})):
        fed = fed_edges(net, {edge, *shields})
        lost = {fuse for fuse in net.edges("fuse") if fuse != edge and fuse in before and fuse not in fed}
        found[edge] = [fuse for fuse in sorted(lost) if not lost.intersection(before[fuse])]
    return found


def fuses_of_draws(net: Network, shields: Collection[int] = ()) -> tuple[tuple[int, ...], ...]:
    """For each draw: the fuses that cut its plus end off when they are out, each on its own."""

    def live(without: Collection[int]) -> set[int]:
        fed = fed_edges(net, without)
        return {int(node) for edge in fed for node in net.circuit.ends[edge]} | set(net.sources)

    all_live, fuses = live(shields), net.edges("fuse")
    without = {fuse: live({fuse, *shields}) for fuse in fuses}
    return tuple(
        tuple(fuse for fuse in fuses if draw.from_ in all_live and draw.from_ not in without[fuse])
        for draw in net.draws
    )


def path_lengths_m(net: Network, shields: Collection[int] = ()) -> dict[int, float]:
    """For each wire on a load's shortest way from a plus and back: the greatest length of such a way, feed and return."""
    longest = dict[int, float]()
    for draw in net.draws:
        feed = _shortest(net, set(net.sources), draw.from_, shields)
        back = _shortest(net, {0}, draw.to, shields)
        if feed is None or back is None:
            continue
        way = {*feed, *back}
        total = sum(net.lengths_m[edge] for edge in way)
        for edge in way:
            longest[edge] = max(longest.get(edge, 0.0), float(total))
    return longest


def turn_on_edges(net: Network) -> set[int]:
    """Edges on the shortest way from a plus to each turn-on line, which carries a voltage and no current."""
    lines = [draw.remote for draw in net.draws if draw.remote is not None]
    ways = [_shortest(net, set(net.sources), line, ()) or [] for line in lines]
    return {edge for way in ways for edge in way}


def hops_from_plus(net: Network) -> dict[int, int]:
    """How many parts lie between each node and the battery's plus, every contact closed; the chassis leads nowhere."""
    links: Links = defaultdict(list)
    for edge, (a, b) in enumerate(net.circuit.ends.tolist()):
        links[a].append((edge, b))
        links[b].append((edge, a))
    hops, todo = {1: 0}, [1]
    for node in todo:
        for _, other in links[node] if node else ():
            if other not in hops:
                hops[other] = hops[node] + 1
                todo.append(other)
    return hops


def _shortest(net: Network, starts: set[int], goal: int, without: Collection[int]) -> list[int] | None:
    """Edges of the shortest way, every contact closed; ``None`` where there is none."""
    links: Links = defaultdict(list)
    for edge, (a, b) in enumerate(net.circuit.ends.tolist()):
        if edge not in without:
            links[a].append((edge, b))
            links[b].append((edge, a))
    heap: list[tuple[float, int, int, int]] = [(0.0, node, -1, -1) for node in sorted(starts)]
    came = dict[int, tuple[int, int]]()
    while heap:
        length, node, edge, before = heapq.heappop(heap)
        if node in came:
            continue
        came[node] = (edge, before)
        if node == goal:
            break
        for next_edge, other in links[node]:
            if other not in came:
                heapq.heappush(heap, (length + float(net.lengths_m[next_edge]), other, next_edge, node))
    if goal not in came:
        return None
    way, node = [], goal
    while came[node][0] >= 0:
        edge, node = came[node]
        way.append(edge)
    return way
