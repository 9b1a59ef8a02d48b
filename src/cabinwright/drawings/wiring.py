"""The wiring of a build as a diagram: what is to be drawn, and which end of each part looks towards the supply.

Knows names and words only. ``wiring_cells`` draws each part, ``wiring_sheets`` puts them on paper.
"""

from __future__ import annotations

import heapq
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from cabinwright.drawings.diagram_layers import Net

__all__ = ["CHASSIS", "SOURCES", "Part", "Placing", "node_order", "placings", "units", "wiring_nets"]

CHASSIS = "chassis"
SOURCES = ("battery", "alternator")
THROUGH = {"load": 100.0, "lamp": 100.0, "amplifier": 100.0, "coil": 100.0}
"""How far apart the ends of a part count; all else joins its ends and counts 1. Beyond a load is always further."""


@dataclass(frozen=True, slots=True)
class Part:
    """One thing between two nodes."""

    kind: str  #: ``wire``, or a key of ``symbols.SYMBOLS``
    mark: str  #: number on the drawing: W1, F1, S1, K1
    name: str
    ends: tuple[str, str]  #: nodes; of a source or a load, the first is the plus end
    lines: tuple[str, ...] = ()  #: what stands beside it
    turn_on: str | None = None  #: node of a third terminal


@dataclass(frozen=True, slots=True)
class Placing:
    """A part with its terminals by side, from the top: (terminal, node). Terminals are ``a``, ``b`` and ``turn-on``."""

    key: str
    part: Part
    left: tuple[tuple[str, str], ...]
    right: tuple[tuple[str, str], ...]


def node_order(parts: Sequence[Part]) -> dict[str, float]:
    """How far each node is from the supply, every figure once; the chassis is beyond all. What nothing feeds comes last."""
    beside: dict[str, list[tuple[str, float]]] = defaultdict(list)
    names: dict[str, None] = {}
    for part in parts:
        a, b = part.ends
        names |= dict.fromkeys((a, b) + ((part.turn_on,) if part.turn_on else ()))
        if part.kind not in SOURCES and CHASSIS not in part.ends:
            beside[a].append((b, THROUGH.get(part.kind, 1.0)))
            beside[b].append((a, THROUGH.get(part.kind, 1.0)))
    roots = [part.ends[0] for part in parts if part.kind in SOURCES]
    found: dict[str, float] = {}
    for root in (*roots, *names):
        if root == CHASSIS or root in found:
            continue
        heap = [(max(found.values(), default=0.0) + 1.0 if root not in roots else 0.0, root)]
        while heap:
            far, name = heapq.heappop(heap)
            if name not in found:
                found[name] = far
                for other, step in beside[name]:
                    heapq.heappush(heap, (far + step, other))
    ranked = {
        name: float(k) for k, name in enumerate(sorted(found, key=lambda name: (found[name], list(names).index(name))))
    }
    return ranked | {CHASSIS: float("inf")}


def placings(parts: Sequence[Part]) -> list[Placing]:
    """Every part with its sides, so that following the lines to the right never leads back."""
    order = node_order(parts)
    found = []
    after: dict[str, set[str]] = defaultdict(set)
    for number, part in enumerate(parts):
        ends = [("a", part.ends[0]), ("b", part.ends[1])]
        ends.sort(key=lambda end: order[end[1]], reverse=part.kind in SOURCES)
        found.append(Placing(f"part {number}", part, (ends[0],), (ends[1],)))
        if CHASSIS not in part.ends:
            after[ends[0][1]].add(ends[1][1])
    for number, item in enumerate(found):
        node = item.part.turn_on
        if node is None:
            continue
        (_, end), pin = item.right[0], ("turn-on", node)
        leads_back = node == CHASSIS or (end != CHASSIS and _reaches(after, end, node))
        if leads_back:
            found[number] = Placing(item.key, item.part, item.left, (*item.right, pin))
            after[item.left[0][1]].add(node)
        else:
            found[number] = Placing(item.key, item.part, (*item.left, pin), item.right)
            after[node].add(end)
    return found


def _reaches(after: Mapping[str, set[str]], start: str, end: str) -> bool:
    seen, left = {start}, [start]
    while left:
        name = left.pop()
        if name == end:
            return True
        left += [other for other in sorted(after.get(name, ())) if other not in seen]
        seen |= after.get(name, set())
    return False


def wiring_nets(items: Sequence[Placing]) -> tuple[dict[str, str], dict[str, bool], list[Net]]:
    """Boxes and nets of some parts.

    Returns:
        Key: node for every named node that they meet; key: whether it is mirrored for every chassis symbol; the nets.
    """
    nodes: dict[str, str] = {}
    frames: dict[str, bool] = {}
    nets: list[Net] = []
    into: dict[str, list[tuple[str, int]]] = defaultdict(list)
    out: dict[str, list[tuple[str, int]]] = defaultdict(list)
    for item in items:
        for pins, mirrored in ((item.left, True), (item.right, False)):
            for pin, (terminal, node) in enumerate(pins):
                if node == CHASSIS:
                    key = f"frame {item.key} {terminal}"
                    frames[key] = mirrored
                    near, far = ((item.key, pin),), ((key, 0),)
                    nets.append(Net(far, near) if mirrored else Net(near, far))
                else:
                    nodes.setdefault(f"node {node}", node)
                    (out if mirrored else into)[f"node {node}"].append((item.key, pin))
    for key in nodes:
        nets += [Net(tuple(into[key]), ((key, 0),))] if into[key] else []
        nets += [Net(((key, 0),), tuple(out[key]))] if out[key] else []
    return nodes, frames, nets


def units(items: Sequence[Placing]) -> list[list[Placing]]:
    """The parts in stretches that belong together, each after the one that feeds it: what a sheet is filled with."""
    touching: dict[str, list[Placing]] = defaultdict(list)
    for item in items:
        for _, node in (*item.left, *item.right):
            if node != CHASSIS:
                touching[node].append(item)
    done: set[str] = set()
    found: list[list[Placing]] = []

    def walk(start: Placing) -> Iterator[Placing]:
        """A stretch to the right, as long as nothing branches off."""
        item: Placing | None = start
        while item is not None and item.key not in done:
            done.add(item.key)
            yield item
            node = item.right[0][1]
            beyond = [other for other in touching.get(node, ()) if other.key not in done]
            item = beyond[0] if len(touching.get(node, ())) == 2 and beyond else None

    waiting = list(reversed([item for item in items if item.part.kind in SOURCES] or list(items[:1])))
    rest = iter(items)
    while True:
        if not waiting:
            new = next((item for item in rest if item.key not in done), None)
            if new is None:
                return found
            waiting.append(new)
        start = waiting.pop()
        if start.key in done:
            continue
        found.append(list(walk(start)))
        ends = [node for item in found[-1] for _, node in (*item.left, *item.right)]
        waiting += [
            other for node in reversed(ends) for other in reversed(touching.get(node, [])) if other.key not in done
        ]
