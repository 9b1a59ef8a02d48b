"""The signal chain as a graph: what is joined to what, from sources to loudspeakers, by name.

    graph = chain_of(build)
    graph.sources, graph.inputs, graph.channels         nodes of a kind, in the build's order
    graph.ways_in(source)         every way from a source to an input of the processor: tuples of nodes, both ends in them
    graph.way_to(input)           the ways that end in this input, whatever source they begin at
    graph.ways_out(channel)       every way from a channel of the processor over an amplifier channel to a loudspeaker
    graph.row(node)               the table behind a node (``Source``, ``Converter``, ``AmplifierChannel``, …)
    graph.amplifier(node)         the ``Amplifier`` of an amplifier channel
    chain_of(build).after[node], .before[node]          its neighbours

A factory radio plays through every factory output; it reaches an input by those that are joined to one, over converters
or not. Where a build has no amplifiers, ``ways_out`` goes from the channel straight to its loudspeakers. The build's own
checks have refused unknown names and rings before.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Literal

from cabinwright.build.chain import Amplifier, Sound, Source
from cabinwright.build.document import Build, Processor

__all__ = ["RADIO", "ChainGraph", "Kind", "Node", "Way", "carriers", "chain_of"]

Kind = Literal[
    "source", "factory output", "converter", "input", "processor", "channel", "amplifier channel", "speaker"
]  # fmt: skip
RADIO = "factory radio"  #: the kind of source that plays through the factory outputs


@dataclass(frozen=True, slots=True, order=True)
class Node:
    """One place in the chain."""

    kind: Kind
    name: str
    amplifier: str = ""  #: whose channel it is, for an amplifier channel

    def __str__(self) -> str:
        return f"{self.amplifier}: {self.name}" if self.amplifier else self.name


Way = tuple[Node, ...]

PROCESSOR = Node("processor", "processor")


@dataclass(frozen=True)
class ChainGraph:
    """Nodes in the build's order, and what each is joined to."""

    rows: dict[Node, Any]  #: the table behind each node; the processor's may be its defaults
    before: dict[Node, tuple[Node, ...]]
    after: dict[Node, tuple[Node, ...]]
    amplifiers: dict[str, Amplifier] = field(default_factory=dict)

    def of(self, kind: Kind) -> tuple[Node, ...]:
        """All nodes of a kind."""
        return tuple(node for node in self.rows if node.kind == kind)

    @cached_property
    def sources(self) -> tuple[Node, ...]:
        return self.of("source")

    @cached_property
    def inputs(self) -> tuple[Node, ...]:
        return self.of("input")

    @cached_property
    def channels(self) -> tuple[Node, ...]:
        return self.of("channel")

    def row(self, node: Node) -> Any:
        """The table behind a node."""
        return self.rows[node]

    def amplifier(self, node: Node) -> Amplifier:
        """The amplifier that an amplifier channel belongs to. Raises ``KeyError`` for any other node."""
        return self.amplifiers[node.amplifier]

    def ways_in(self, source: Node) -> tuple[Way, ...]:
        """Every way from a source to an input, in the order of the inputs."""
        return tuple(way for goal in self.inputs for way in self.way_to(goal) if way[0] == source)

    def way_to(self, goal: Node) -> tuple[Way, ...]:
        """Every way that ends in this input."""
        return tuple(self._back((goal,)))

    def _back(self, way: Way) -> Iterator[Way]:
        if way[0].kind == "source":
            yield way
        for node in self.before[way[0]]:
            yield from self._back((node, *way))

    def ways_out(self, channel: Node) -> tuple[Way, ...]:
        """Every way from a channel to a loudspeaker; none where amplifiers are there and none takes it."""
        return tuple(
            (channel, *middle, last)
            for first in self.after[channel]
            for middle, lasts in [((), (first,)) if first.kind == "speaker" else ((first,), self.after[first])]
            for last in lasts
        )


def chain_of(build: Build) -> ChainGraph:
    """The chain of a build. Names that lead nowhere are passed over, so that a build without checks cannot break it."""
    rows: dict[Node, Any] = {Node("source", row.name): row for row in build.sources}
    rows |= {Node("factory output", row.name): row for row in build.factory_outputs}
    rows |= {Node("converter", row.name): row for row in build.converters}
    rows |= {Node("input", row.name): row for row in build.inputs}
    rows[PROCESSOR] = build.processor or Processor()
    rows |= {Node("channel", row.name): row for row in build.channels}
    rows |= {Node("amplifier channel", c.name, a.name): c for a in build.amplifiers for c in a.channels}
    rows |= {Node("speaker", row.name): row for row in build.speakers}
    before: dict[Node, list[Node]] = {node: [] for node in rows}
    after: dict[Node, list[Node]] = {node: [] for node in rows}
    for first, second in _edges(build):
        if first in rows and second in rows and first not in before[second]:
            before[second].append(first)
            after[first].append(second)
    return ChainGraph(
        rows=rows,
        before={node: tuple(found) for node, found in before.items()},
        after={node: tuple(found) for node, found in after.items()},
        amplifiers={row.name: row for row in build.amplifiers},
    )


def carriers(build: Build, sound: Sound) -> tuple[Source, ...]:
    """The sources that carry a sound."""
    return tuple(row for row in build.sources if sound in row.carries)


def _edges(build: Build) -> Iterator[tuple[Node, Node]]:
    owner: dict[str, Kind] = {row.name: "converter" for row in build.converters}
    owner |= {row.name: "factory output" for row in build.factory_outputs}
    owner |= {row.name: "source" for row in build.sources}
    for source in build.sources:
        if source.kind == RADIO:
            for output in build.factory_outputs:
                yield Node("source", source.name), Node("factory output", output.name)
    for row in build.converters:
        if row.from_ in owner:
            yield Node(owner[row.from_], row.from_), Node("converter", row.name)
    for entry in build.inputs:
        for word in entry.from_:
            if word in owner:
                yield Node(owner[word], word), Node("input", entry.name)
        yield Node("input", entry.name), PROCESSOR
    for channel in build.channels:
        yield PROCESSOR, Node("channel", channel.name)
        if not build.amplifiers:
            for name in channel.speakers:
                yield Node("channel", channel.name), Node("speaker", name)
    for amplifier in build.amplifiers:
        for line in amplifier.channels:
            here = Node("amplifier channel", line.name, amplifier.name)
            yield Node("channel", line.from_), here
            for name in line.speakers:
                yield here, Node("speaker", name)
