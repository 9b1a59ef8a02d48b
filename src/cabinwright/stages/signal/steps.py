"""What happens to the samples on the way: every node with its rate, bits and loss, every conversion, in plain words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from cabinwright.build.chain import Converter, ProcessorInput, Source
from cabinwright.build.document import Processor
from cabinwright.findings import Finding, finding
from cabinwright.stages.signal.arrivals import Arrival, analogue_input, analogue_output
from cabinwright.stages.signal.chain import PROCESSOR, ChainGraph, Node, Way
from cabinwright.stages.signal.factory.result import FactoryResult

__all__ = ["Step", "Steps", "doubts", "steps_of"]

DIGITAL_BITS = 16  #: fewer bits than this are told as a loss


@dataclass(frozen=True)
class Step:
    """One node on the way, and what happens there."""

    node: str
    kind: str
    analogue: bool  #: whether it hands out a voltage
    sample_rate_hz: float | None  #: at which it hands out or, where it hands out a voltage, works
    bits: int | None
    lossy: bool
    volume_controlled: bool
    does: tuple[str, ...]  #: in plain words

    def to_dict(self) -> dict[str, Any]:
        return dict(vars(self))


@dataclass(frozen=True)
class Steps:
    """The way of one preset's source into the processor and out of it. Both sides go alike; the longest way is told."""

    steps: tuple[Step, ...]
    bandwidth_hz: float | None  #: highest frequency that gets through; None where nothing on the way is digital
    narrowest: str | None  #: the node that decides it
    lossy: tuple[str, ...]  #: nodes that code with loss
    conversions: int  #: between analogue and digital, either way, before the amplifiers
    resampled: int
    volume_controls: tuple[str, ...]
    lost: tuple[str, ...]  #: what is lost, in plain words

    def to_dict(self) -> dict[str, Any]:
        """The keys of ``plan.json`` beside ``steps``."""
        names = ("bandwidth_hz", "narrowest", "lossy", "conversions", "resampled", "volume_controls", "lost")
        return {name: getattr(self, name) for name in names}


def steps_of(graph: ChainGraph, arrived: tuple[Arrival, ...], factory: FactoryResult | None) -> Steps | None:
    """The steps of the way with the most of them; None where nothing arrives."""
    if not arrived:
        return None
    way = max((item.way for item in arrived), key=len)
    rows = tuple(_steps(graph, way))
    digital = [(row.sample_rate_hz / 2.0, row.node) for row in rows if row.sample_rate_hz is not None]
    digital += _radio_band(arrived, factory)
    bandwidth, narrowest = min(digital, default=(None, None), key=lambda pair: pair[0])
    lossy = tuple(row.node for row in rows if row.lossy)
    does = [word for row in rows for word in row.does]
    undone = any(item.branch is not None for item in arrived)
    lost = tuple(_lost(rows, lossy, bandwidth, narrowest, undone=undone))
    return Steps(
        steps=rows,
        bandwidth_hz=bandwidth,
        narrowest=narrowest,
        lossy=lossy,
        conversions=sum("analogue" in word for word in does),
        resampled=sum(word.startswith("resampled") for word in does),
        volume_controls=tuple(row.node for row in rows if row.volume_controlled),
        lost=lost,
    )


def _radio_band(arrived: tuple[Arrival, ...], factory: FactoryResult | None) -> list[tuple[float, str]]:
    """The upper end of the factory outputs that come in: the highest of them is the radio's own."""
    if factory is None:
        return []
    outputs = {node.name for item in arrived for node in item.way if node.kind == "factory output"}
    tops = [(factory.outputs[name].high_hz, name) for name in outputs if name in factory.outputs]
    return [max(tops)] if tops else []


def _steps(graph: ChainGraph, way: Way) -> Iterator[Step]:
    source: Source = graph.row(way[0])
    analogue, rate = analogue_output(source), source.sample_rate_hz
    words = ["digital to analogue"] if analogue and rate is not None else []
    yield _step(way[0], source, analogue, [*words, *(["coded with loss"] if source.lossy else [])])
    for node in way[1:]:
        row = graph.row(node)
        if node.kind == "factory output":
            yield Step(node.name, node.kind, analogue, None, None, False, False, ("the radio's own equalisation",))
            continue
        takes = analogue_input(row)
        gives = analogue_output(row) if isinstance(row, Converter) else takes and row.sample_rate_hz is None
        words = []
        if analogue and row.sample_rate_hz is not None:
            words.append("analogue to digital")
        elif not analogue and rate is not None and row.sample_rate_hz is not None and rate != row.sample_rate_hz:
            words.append(f"resampled from {_khz(rate)} to {_khz(row.sample_rate_hz)}")
        if gives and (row.sample_rate_hz is not None or not analogue) and isinstance(row, Converter):
            words.append("digital to analogue")
        words += ["coded with loss"] if row.lossy else []
        yield _step(node, row, gives, words)
        analogue, rate = gives, row.sample_rate_hz if row.sample_rate_hz is not None else rate
    inner: Processor = graph.row(PROCESSOR)
    words = []
    if analogue:
        words.append("analogue to digital")
    elif rate is not None and rate != inner.sample_rate_hz:
        words.append(f"resampled from {_khz(rate)} to {_khz(inner.sample_rate_hz)}")
    yield Step(
        "processor", "processor", True, inner.sample_rate_hz, None, False, False, (*words, "digital to analogue")
    )


def _step(node: Node, row: Source | Converter | ProcessorInput, analogue: bool, words: list[str]) -> Step:
    return Step(
        node=str(node),
        kind=node.kind,
        analogue=analogue,
        sample_rate_hz=row.sample_rate_hz,
        bits=row.bits,
        lossy=row.lossy,
        volume_controlled=row.volume_controlled,
        does=tuple(words),
    )


def _lost(
    rows: tuple[Step, ...], lossy: tuple[str, ...], bandwidth: float | None, narrowest: str | None, *, undone: bool
) -> Iterator[str]:
    if bandwidth is not None and bandwidth < 20_000.0:
        yield f"everything above {_khz(bandwidth)}, at “{narrowest}”: no later step brings it back"
    if lossy:
        names = " and ".join(f"“{name}”" for name in lossy)
        twice = ", and what one leaves out the next codes again" if len(lossy) > 1 else ""
        yield f"what {names} leaves out as masked: coded with loss{twice}"
    bits = [(row.bits, row.node) for row in rows if row.bits is not None]
    if bits and min(bits)[0] < DIGITAL_BITS:
        yield f"quiet passages: {min(bits)[0]} bits at “{min(bits)[1]}”"
    for row in rows:
        if row.kind == "factory output" and not undone:
            yield f"what the radio does to “{row.node}”: nothing undoes it"
    pairs = sum("digital to analogue" in row.does for row in rows[:-1])
    if pairs:
        times = "once" if pairs == 1 else f"{pairs} times"
        yield f"a little noise and distortion: converted to analogue and back {times} before the processor"


def doubts(preset: str, found: Steps) -> Iterator[Finding]:
    """What is worth knowing about a way."""
    if len(found.lossy) > 1:
        yield finding("signal.lossy_twice", where=preset, nodes=" and ".join(f"“{name}”" for name in found.lossy))
    elif found.lossy:
        yield finding("signal.lossy", where=preset, node=found.lossy[0])


def _khz(hertz: float) -> str:
    return f"{hertz / 1000.0:g} kHz"
