"""What is doubtful about how the chain is joined, before any level is worked out."""

from __future__ import annotations

from collections.abc import Iterator

from cabinwright.build.document import Build
from cabinwright.findings import Finding, finding
from cabinwright.stages.signal.chain import ChainGraph, Node

__all__ = ["structure"]


def structure(build: Build, graph: ChainGraph) -> tuple[Finding, ...]:
    """Findings about inputs, channels and loudspeakers."""
    return (*_inputs(graph), *_channels(build, graph), *_speakers(build, graph))


def _inputs(graph: ChainGraph) -> Iterator[Finding]:
    for node in graph.inputs:
        feeds = graph.before[node]
        if len(feeds) > 1:
            yield finding("signal.input_shared", where=node.name, feeds=" and ".join(f"“{feed}”" for feed in feeds))


def _channels(build: Build, graph: ChainGraph) -> Iterator[Finding]:
    """Channels that no amplifier takes, and speakers of a channel that hang on none of the amplifiers' channels."""
    if not build.amplifiers:
        return
    for node in graph.channels:
        ways = graph.ways_out(node)
        if not graph.after[node]:
            yield finding("signal.channel_unused", where=node.name)
            continue
        reached = {way[-1].name for way in ways}
        for name in graph.row(node).speakers:
            if name not in reached:
                yield finding("signal.speaker_unused", where=name, channel=node.name)


def _speakers(build: Build, graph: ChainGraph) -> Iterator[Finding]:
    models = {row.name: row for row in build.speaker_models}
    for row in build.speakers:
        lines = [node for node in graph.before[Node("speaker", row.name)] if node.kind == "amplifier channel"]
        model = models.get(row.model or "")
        coils = row.coils or (model.coils if model else 1)
        if len(lines) > coils:
            yield finding("signal.speaker_twice", where=row.name, lines=" and ".join(f"“{line}”" for line in lines))
