"""A whole diagram from boxes and nets: where each box stands, and every line between them in millimetres."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from cabinwright.drawings.diagram import Circle, Item, Line, Point
from cabinwright.drawings.diagram_channels import channel, lines_and_dots, spread_mm
from cabinwright.drawings.diagram_layers import Cell, Columns, Net, columns

__all__ = ["DOT_MM", "Flow", "flow"]

DOT_MM = 0.9  #: radius of a junction


@dataclass(frozen=True)
class Flow:
    """What was placed; the upper left corner is 0, 0."""

    width_mm: float
    height_mm: float
    left_mm: dict[str, float]  #: of each box
    axis_mm: dict[str, float]
    runs: tuple[tuple[int, tuple[tuple[Point, ...], ...], tuple[Point, ...]], ...]  #: net, its lines, its junctions

    def items(self) -> list[Item]:
        """Lines and junction dots of all nets."""
        found: list[Item] = [Line(line, "conductor") for _, lines, _ in self.runs for line in lines]
        return found + [Circle(dot, DOT_MM, "dot") for _, _, dots in self.runs for dot in dots]


def flow(cells: Mapping[str, Cell], nets: Sequence[Net]) -> Flow:
    """Place and join; the same input gives the same drawing. Boxes keep clear of one another and of every line."""
    placed = columns(cells, nets)
    widths = [max(placed.cells[name].width_mm for name in names) for names in placed.order]
    channels = [channel(steps) for steps in placed.steps]
    edges, x = [], 0.0
    for width, uprights in zip(widths, channels, strict=True):
        edges.append((x, x + width))
        x += width + spread_mm(uprights)
    left = {
        name: (edges[k][0] + edges[k][1] - placed.cells[name].width_mm) / 2.0
        for k, names in enumerate(placed.order)
        for name in names
    }
    lines: dict[int, list[tuple[Point, ...]]] = defaultdict(list)
    dots: dict[int, list[Point]] = defaultdict(list)
    for (_, end), uprights in zip(edges, channels, strict=True):
        for run in lines_and_dots(uprights, end):
            lines[run.net] += run.lines
            dots[run.net] += run.dots
    for number, line in _to_columns(placed, nets, edges, left):
        lines[number].append(line)
    runs = tuple((number, tuple(_joined(lines[number])), tuple(dots[number])) for number in sorted(lines))
    shown = {name: left[name] for name in cells}
    return Flow(edges[-1][1], placed.height_mm, shown, {name: placed.axis_mm[name] for name in cells}, runs)


def _to_columns(
    placed: Columns, nets: Sequence[Net], edges: Sequence[tuple[float, float]], left: Mapping[str, float]
) -> Iterator[tuple[int, tuple[Point, ...]]]:
    """From each pin to the edge of its column, and through columns along the lanes."""
    at = {name: k for k, names in enumerate(placed.order) for name in names}
    for number, net in enumerate(nets):
        for name, pin in net.sources:
            cell, y = placed.cells[name], placed.axis_mm[name] + placed.cells[name].right[pin]
            yield number, ((left[name] + cell.width_mm, y), (edges[at[name]][1], y))
        for name, pin in net.sinks:
            y = placed.axis_mm[name] + placed.cells[name].left[pin]
            yield number, ((edges[at[name]][0], y), (left[name], y))
    for name, k in at.items():
        if name.startswith("lane "):
            y = placed.axis_mm[name]
            yield int(name.split()[1]), ((edges[k][0], y), (edges[k][1], y))


def _joined(lines: Iterable[tuple[Point, ...]]) -> Iterator[tuple[Point, ...]]:
    """Pieces of one straight line made one."""
    level: dict[tuple[bool, float], list[tuple[float, float]]] = defaultdict(list)
    for (x0, y0), (x1, y1) in lines:
        upright = abs(x0 - x1) < 1e-6
        low, high = sorted((y0, y1) if upright else (x0, x1))
        if high - low > 1e-6:
            level[upright, round(x0 if upright else y0, 3)].append((low, high))
    for (upright, at), spans in sorted(level.items()):
        merged: list[tuple[float, float]] = []
        for low, high in sorted(spans):
            if merged and low <= merged[-1][1] + 1e-3:
                merged[-1] = merged[-1][0], max(high, merged[-1][1])
            else:
                merged.append((low, high))
        for low, high in merged:
            yield ((at, low), (at, high)) if upright else ((low, at), (high, at))
