"""What of each source arrives in the processor: on which side, through which input, and how strong against full scale."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from math import log10
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.chain import Converter, ProcessorInput, Source
from cabinwright.findings import Finding, finding
from cabinwright.physics.gain import decibels
from cabinwright.stages.signal.chain import RADIO, ChainGraph, Node, Way
from cabinwright.stages.signal.factory.result import Branch, FactoryResult
from cabinwright.stages.signal.gains_way import arrivals as levels
from cabinwright.stages.signal.gains_way import set_input

__all__ = ["Arrival", "analogue_input", "analogue_output", "arrivals", "doubts", "sum_level_db"]

Real = NDArray[np.float64]
SUM_HZ = np.geomspace(63.0, 8000.0, 64)  #: where the repair's level is taken

Side = Literal["left", "right", "both"]


@dataclass(frozen=True)
class Arrival:
    """One way from a source into the processor."""

    way: Way
    side: Side
    level_db: float  #: of the source at its full output in the processor, against its full scale
    sensitivity_v: float | None  #: what its input is set to; None: digital, or not stated
    branch: Branch | None = None  #: row of the factory repair

    @property
    def input(self) -> Node:
        return self.way[-1]


def analogue_output(row: Source | Converter) -> bool:
    """Whether it hands out a voltage: a digital one states a rate and no voltage."""
    return row.output_v is not None or row.sample_rate_hz is None


def analogue_input(row: Converter | ProcessorInput) -> bool:
    """Whether it takes a voltage."""
    return row.input_v is not None or row.sample_rate_hz is None


def arrivals(graph: ChainGraph, factory: FactoryResult | None) -> dict[str, tuple[Arrival, ...]]:
    """By source, every way of it into the processor that is used, in the order of the inputs.

    The factory radio comes in by the rows of its repair, where there is one: an output that a side's sum leaves out is no
    way of that side.
    """
    found: dict[str, list[Arrival]] = {node.name: [] for node in graph.sources}
    repair = factory.repair if factory is not None and factory.refused is None else {}
    for goal in graph.inputs:
        row: ProcessorInput = graph.row(goal)
        setting = set_input(row, levels(graph, graph.way_to(goal)))
        for item in setting.arrivals:
            level = item.level * (item.usable if item.controls else 1.0)  # who has a volume control turns it down
            one = Arrival(item.way, row.side, round(decibels(level), 9) + 0.0, setting.sensitivity_v)
            if repair and graph.row(item.way[0]).kind == RADIO:
                found[item.source] += _repaired(one, repair)
            else:
                found[item.source].append(one)
    return {name: tuple(items) for name, items in found.items()}


def _repaired(item: Arrival, repair: Mapping[str, tuple[Branch, ...]]) -> Iterator[Arrival]:
    for side, rows in repair.items():
        for branch in rows:
            if item.way[1] == Node("factory output", branch.output):
                yield replace(item, side="left" if side == "left" else "right", branch=branch)


def sum_level_db(found: tuple[Arrival, ...], factory: FactoryResult | None) -> float:
    """Level of a source in the processor at its full output; -inf where nothing arrives.

    The repair brings its outputs in time, so their shares add up as they are; the middle of both sums counts, in which an
    output that only takes the other side away weighs next to nothing.
    """
    if not found:
        return float("-inf")
    if factory is None or found[0].branch is None:
        return float(np.median([item.level_db for item in found]))
    strongest = max(max(facts.left_db, facts.right_db) for facts in factory.outputs.values())
    sums: dict[str, Real] = {item.side: np.zeros(len(SUM_HZ)) for item in found}
    for item in found:
        assert item.branch is not None
        facts = factory.outputs[item.branch.output]
        own = facts.left_db if item.side == "left" else facts.right_db
        passed = np.abs(item.branch.response(SUM_HZ, sample_rate_hz=factory.sample_rate_hz))
        inside = (facts.low_hz <= SUM_HZ) & (facts.high_hz >= SUM_HZ)
        sums[item.side] += inside * passed * 10.0 ** ((item.level_db + own - strongest) / 20.0)
    middle = float(np.mean([np.median(total) for total in sums.values()]))
    return 20.0 * log10(middle) if middle > 0.0 else float("-inf")


def doubts(
    graph: ChainGraph, found: tuple[Arrival, ...], source: Node, factory: FactoryResult | None
) -> Iterator[Finding]:
    """What is doubtful about a source's ways into the processor."""
    row: Source = graph.row(source)
    pairs = dict.fromkeys(pair for item in found for pair in pairwise(item.way) if pair[1].kind != "factory output")
    for first, second in pairs:
        before = row if first.kind == "factory output" else graph.row(first)
        if analogue_output(before) != analogue_input(graph.row(second)):
            gives = "a voltage" if analogue_output(before) else "samples"
            yield finding("signal.domains", where=second.name, before=first.name, gives=gives)
    unstated = _unstated(graph, found)
    if unstated:
        yield finding("signal.level_unknown", where=source.name, nodes=", ".join(f"“{name}”" for name in unstated))
    sides = {item.side for item in found}
    if found and "both" not in sides and sides != {"left", "right"}:
        yield finding("signal.one_side", where=source.name, side=next(iter(sides)), sounds=", ".join(row.carries))
    if row.kind == RADIO and factory is not None and factory.refused is None:
        joined = {item.branch.output for item in found if item.branch}
        needed = {branch.output for rows in factory.repair.values() for branch in rows}
        for output in sorted(needed - joined):
            yield finding("signal.repair_not_joined", where=output)


def _unstated(graph: ChainGraph, found: tuple[Arrival, ...]) -> tuple[str, ...]:
    """Nodes with a voltage that do not say at which one they clip."""
    names = []
    for item in found:
        first: Source = graph.row(item.way[0])
        names += [first.name] if analogue_output(first) and first.output_v is None else []
        for node in item.way[1:]:
            row = graph.row(node)
            if isinstance(row, Converter):
                gain = row.gain_db is not None or row.gain_min_db is not None  # with it, levels are known all the same
                needs_input = analogue_input(row) and row.input_v is None and not gain
                needs_output = analogue_output(row) and row.output_v is None and not gain
                names += [node.name] if needs_input or needs_output else []
            elif isinstance(row, ProcessorInput) and analogue_input(row) and row.input_v is None:
                names.append(node.name)
    return tuple(dict.fromkeys(names))
