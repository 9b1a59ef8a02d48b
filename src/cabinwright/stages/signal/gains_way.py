"""One way from a source to an input of the processor: what arrives where, what clips, what hisses."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from cabinwright.build.chain import Converter, ProcessorInput, Source
from cabinwright.physics.gain import bridging_share, decibels, factor, parallel_ohm, quantisation_db
from cabinwright.stages.signal.chain import ChainGraph, Way

__all__ = ["Arrival", "InputSetting", "Stage", "arrivals", "set_input"]


@dataclass(frozen=True)
class Stage:
    """One place where something may clip."""

    name: str
    margin_db: float  #: how far what arrives with the source at its full output stays below clipping; negative: above
    arrives_v: float
    clip_v: float


@dataclass(frozen=True)
class Arrival:
    """A source at its full output, as it comes to some point of its way."""

    way: Way
    level: float  #: open voltage [V], or part of digital full scale
    digital: bool
    ohm: float  #: output impedance behind it
    noises: dict[str, float]  #: by stage, at this point, in the unit of ``level``
    silent: tuple[str, ...] = ()  #: stages whose noise nobody states
    stages: tuple[Stage, ...] = ()
    controls: tuple[str, ...] = ()  #: volume controls on the way
    converter_db: dict[str, tuple[float, bool]] = field(default_factory=dict)  #: gain, and whether it was set here

    @property
    def source(self) -> str:
        """Where it comes from."""
        return self.way[0].name

    @property
    def usable(self) -> float:
        """Part of the source's full output at which nothing on the way clips yet."""
        return min([1.0, *(factor(stage.margin_db) for stage in self.stages)])

    def scaled(self, gain: float) -> Arrival:
        """Behind a gain."""
        noises = {name: noise * gain for name, noise in self.noises.items()}
        return replace(self, level=self.level * gain, noises=noises)

    def met(self, name: str, arrives_v: float, clip_v: float | None) -> Arrival:
        """With one more place where it may clip."""
        if clip_v is None or arrives_v <= 0.0:
            return self
        return replace(self, stages=(*self.stages, Stage(name, decibels(clip_v / arrives_v), arrives_v, clip_v)))

    def hissed(self, name: str, noise: float | None) -> Arrival:
        """With a stage's own noise."""
        if noise is None:
            return replace(self, silent=(*self.silent, name))
        return replace(self, noises={**self.noises, name: noise})


@dataclass(frozen=True)
class InputSetting:
    """One input of the processor and what its sensitivity is set to."""

    row: ProcessorInput
    sensitivity_v: float | None  #: voltage for full scale; None where it is digital
    wanted_v: float | None  #: what would be right for the loudest of its sources
    arrivals: tuple[Arrival, ...]  #: as parts of full scale inside the processor


def arrivals(graph: ChainGraph, ways: Sequence[Way]) -> list[Arrival]:
    """What arrives at the end of each way, before the input itself, its sensitivity not yet set."""
    return [_walk(graph, way) for way in ways]


def _walk(graph: ChainGraph, way: Way) -> Arrival:
    source: Source = graph.row(way[0])
    digital = source.output_v is None
    start = Arrival(way, source.output_v or 1.0, digital, 0.0 if digital else source.output_ohm, {})
    noise = source.noise_v
    if digital:
        noise = None if source.bits is None else factor(-quantisation_db(source.bits))
    state = start.hissed(source.name, noise)
    for number, node in enumerate(way[:-1]):
        row = graph.row(node)
        if getattr(row, "volume_controlled", False):
            state = replace(state, controls=(*state.controls, node.name))
        if isinstance(row, Converter):
            after = graph.row(way[number + 1])
            state = _convert(state, row, after)
    if way[-1].kind == "input" and graph.row(way[-1]).volume_controlled:
        state = replace(state, controls=(*state.controls, way[-1].name))
    return state


def _convert(state: Arrival, row: Converter, after: Converter | ProcessorInput) -> Arrival:
    if not state.digital:
        state = state.scaled(bridging_share(output_ohm=state.ohm, input_ohm=row.input_ohm))
        state = state.met(f"{row.name} input", state.level, row.input_v)
    if row.output_v is None and not (row.sample_rate_hz is None and _has_gain(row)):  # digital, or matched
        if not state.digital:
            state = state.scaled(1.0 / (row.input_v or state.level))
            state = state.hissed(
                row.name, None if row.noise_v is None or row.input_v is None else row.noise_v / row.input_v
            )
        if row.bits is not None:
            state = state.hissed(f"{row.name} bits", factor(-quantisation_db(row.bits)))
        return replace(state, digital=True, ohm=0.0)
    analogue = not state.digital
    gain, chosen = _gain(state, row, after) if analogue else (row.output_v or 1.0, False)
    state = state.scaled(gain)
    state = state.met(f"{row.name} output", state.level, row.output_v).hissed(row.name, row.noise_v)
    known = {row.name: (decibels(gain), chosen)} if analogue else {}
    return replace(state, digital=False, ohm=row.output_ohm, converter_db={**state.converter_db, **known})


def _has_gain(row: Converter) -> bool:
    return row.gain_db is not None or row.gain_min_db is not None


def _gain(state: Arrival, row: Converter, after: Converter | ProcessorInput) -> tuple[float, bool]:
    """Gain of a converter, analogue on both sides, and whether it was chosen here."""
    if row.gain_min_db is not None and row.gain_max_db is not None:
        share = bridging_share(output_ohm=row.output_ohm, input_ohm=after.input_ohm)
        goal = min(row.output_v or math.inf, after.input_v / share if after.input_v else math.inf)
        wanted = decibels(goal / (state.level * state.usable)) if math.isfinite(goal) else 0.0
        return factor(min(max(wanted, row.gain_min_db), row.gain_max_db)), True
    if row.gain_db is not None:
        return factor(row.gain_db), False
    return (row.output_v / row.input_v if row.output_v and row.input_v else 1.0), False


def set_input(row: ProcessorInput, found: Sequence[Arrival]) -> InputSetting:
    """Set an input so that the loudest of what arrives there comes to full scale, as far as its control reaches."""
    here = [_joined(item, row, [other for other in found if other is not item]) for item in found]
    analogue = [item.level * item.usable for item in here if not item.digital]
    if row.input_v is None or not analogue:
        return InputSetting(row, row.input_v, None, tuple(_inside(item, row, row.input_v) for item in here))
    wanted = max(analogue)
    setting = min(max(wanted, row.input_min_v or row.input_v), row.input_v)
    return InputSetting(row, setting, wanted, tuple(_inside(item, row, setting) for item in here))


def _joined(item: Arrival, row: ProcessorInput, others: Sequence[Arrival]) -> Arrival:
    """Divided by the input's impedance, and by the outputs that hang on the same input."""
    if item.digital:
        return item
    beside = {other.way[-2]: other.ohm for other in others if not other.digital and other.way[-2] != item.way[-2]}
    load = parallel_ohm(row.input_ohm, *beside.values())
    return item.scaled(bridging_share(output_ohm=item.ohm, input_ohm=load) if load else 0.0)


def _inside(item: Arrival, row: ProcessorInput, setting_v: float | None) -> Arrival:
    if item.digital:
        return item
    full = setting_v or item.level  # an input without a voltage: taken as matched
    state = item.met(row.name, item.level, full).scaled(1.0 / full if full else 0.0)
    noise = None if row.noise_v is None or not full else row.noise_v / full
    return replace(state.hissed(row.name, noise), digital=True, ohm=0.0)
