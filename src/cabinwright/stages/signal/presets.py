"""Presets: for each source a complete routing with its own trim, all equally loud, with the car's own sounds in each."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from math import isfinite
from typing import Any

from cabinwright.build.chain import Extra, Preset, Route, Sound
from cabinwright.build.document import Build, Processor
from cabinwright.findings import Finding, finding
from cabinwright.stages.power.result import PowerResult
from cabinwright.stages.signal import arrivals as ways
from cabinwright.stages.signal import routes as routing
from cabinwright.stages.signal import sounds as hearing
from cabinwright.stages.signal import steps as path
from cabinwright.stages.signal.arrivals import Arrival
from cabinwright.stages.signal.chain import ChainGraph, Node, carriers
from cabinwright.stages.signal.factory.result import FactoryResult
from cabinwright.stages.signal.routes import LOUD_HZ, CarriedBy, carried_by, default_routes, loudness_db, routes_of
from cabinwright.stages.signal.sounds import Heard
from cabinwright.stages.signal.steps import Steps
from cabinwright.stages.signal.trims import Trim, trims
from cabinwright.stages.tuning.result import TuningResult

__all__ = ["PresetResult", "PresetsResult", "presets"]

USUAL_LUFS = -14.0  #: loudness of music against full scale, common practice


@dataclass(frozen=True)
class PresetResult:
    """One preset."""

    name: str
    source: str
    proposed: bool  #: whether it is ours
    programme_lufs: float  #: of the source's programme against its own full scale
    programme_by: str  #: ``measured``, ``the build`` or ``common practice``
    path_db: float | None  #: from the source's full scale to the processor's
    routes_db: float | None  #: loudness of its routes against the default ones
    trim: Trim
    inputs: tuple[Arrival, ...]
    routes: tuple[Route, ...]
    ends: dict[str, tuple[dict[str, Any], ...]]  #: by channel: amplifier, its channel, speakers
    also: tuple[Extra, ...]
    also_trims_db: dict[str, float]  #: by source: the trim it has here
    steps: Steps | None
    sounds: Mapping[Sound, Heard] = field(default_factory=dict)

    def to_dict(self) -> dict[str, Any]:
        """One entry of ``signal.presets``."""
        return {
            "source": self.source,
            "proposed": self.proposed,
            "trim_db": self.trim.trim_db,
            "trim_by": "the build" if self.trim.given else "equal loudness",
            "loudness_lufs": self.trim.loudness_lufs,
            "left_over_db": self.trim.left_over_db,
            "programme_lufs": self.programme_lufs,
            "programme_by": self.programme_by,
            "path_db": self.path_db,
            "routes_db": self.routes_db,
            "inputs": [self._input(item) for item in self.inputs],
            "routes": [
                {
                    "channel": row.channel,
                    "left_db": row.left_db,
                    "right_db": row.right_db,
                    "to": list(self.ends.get(row.channel, ())),
                }
                for row in self.routes
            ],
            "also": [
                {"source": row.source, "level_db": row.level_db, "trim_db": self.also_trims_db.get(row.source)}
                for row in self.also
            ],
            "steps": [row.to_dict() for row in self.steps.steps] if self.steps else [],
            "path": self.steps.to_dict() if self.steps else None,
            "sounds": {name: item.to_dict() for name, item in self.sounds.items()},
        }

    def _input(self, item: Arrival) -> dict[str, Any]:
        branch = item.branch
        return {
            "input": str(item.input),
            "from": [str(node) for node in item.way[:-1]],
            "side": item.side,
            "sensitivity_v": item.sensitivity_v,
            "level_db": item.level_db,
            "repair": None
            if branch is None
            else {"output": branch.output, "gain_db": branch.gain_db, "polarity": branch.polarity,
                  "delay_s": branch.delay_s, "filters": [row.to_dict() for row in branch.filters]},
        }  # fmt: skip


@dataclass(frozen=True)
class PresetsResult:
    """All presets, by name."""

    presets: dict[str, PresetResult]
    findings: tuple[Finding, ...] = ()

    def trims_db(self) -> dict[str, float]:
        """By source, the trim of its first preset."""
        return {item.source: item.trim.trim_db for item in reversed(self.presets.values())}

    def to_dict(self) -> dict[str, Any]:
        """``signal.presets`` of ``plan.json``."""
        return {name: item.to_dict() for name, item in self.presets.items()}


def presets(
    build: Build,
    graph: ChainGraph,
    factory: FactoryResult | None,
    *,
    tuned: TuningResult | None = None,
    power: PowerResult | None = None,
    programmes: Mapping[str, float] | None = None,
) -> PresetsResult | None:
    """Every preset of a build, and one proposed for each music source without; None without source, input or channel.

    Args:
        programmes: by source, measured loudness [LUFS].
    """
    if not build.sources or not build.inputs or not build.channels:
        return None
    arrived = ways.arrivals(graph, factory)
    desk = _Desk(build, graph, factory, arrived, carried_by(build, graph, tuned, LOUD_HZ), programmes or {})
    wanted = [(row, False) for row in build.presets] + [(row, True) for row in _proposed(build, arrived)]
    set_to = trims(
        {row.name: desk.loud_lufs(row) for row, _ in wanted},
        {row.name: row.trim_db for row, _ in wanted},
        build.processor or Processor(),
    )
    own = {row.source: set_to[row.name] for row, _ in reversed(wanted)}  # the first preset of a source counts
    ear = hearing.listener(build, graph, arrived, tuned, power)
    quiet = {name: min(0.0, trim.left_over_db or 0.0) for name, trim in own.items() if trim.given}
    found = {
        row.name: replace(
            desk.preset(row, set_to[row.name], own, proposed=proposed),
            sounds={sound: ear.heard(row, routes_of(build, row), sound, quiet) for sound in build.chain.must_hear},
        )
        for row, proposed in wanted
    }
    remarks = [*_remarks(build, graph, factory, found, arrived), *_routed(build, found, desk.carried)]
    return PresetsResult(found, tuple(remarks))


@dataclass(frozen=True)
class _Desk:
    """What is the same for every preset."""

    build: Build
    graph: ChainGraph
    factory: FactoryResult | None
    arrived: Mapping[str, tuple[Arrival, ...]]
    carried: list[CarriedBy]
    programmes: Mapping[str, float]

    def programme(self, source: str) -> tuple[float, str]:
        """Loudness of a source's programme, and who says so."""
        row = next(item for item in self.build.sources if item.name == source)
        if row.loudness_lufs is not None:
            return row.loudness_lufs, "the build"
        if source in self.programmes:
            return self.programmes[source], "measured"
        return USUAL_LUFS, "common practice"

    def path_db(self, source: str) -> float:
        """From the source's full scale to the processor's."""
        return ways.sum_level_db(self.arrived[source], self.factory)

    def routes_db(self, row: Preset) -> float:
        """How loud its routes are against the default ones."""
        usual = loudness_db(self.carried, default_routes(self.build))
        level = loudness_db(self.carried, routes_of(self.build, row))
        return level - usual if isfinite(usual) else level

    def loud_lufs(self, row: Preset) -> float:
        """Loudness without a trim."""
        return self.programme(row.source)[0] + self.path_db(row.source) + self.routes_db(row)

    def preset(self, row: Preset, trim: Trim, own: Mapping[str, Trim], *, proposed: bool) -> PresetResult:
        """Everything about a preset but its sounds; ``own`` holds the trim of each source's own preset."""
        programme, by = self.programme(row.source)
        also = {item.source: own[item.source].trim_db + item.level_db for item in row.also if item.source in own}
        return PresetResult(
            name=row.name,
            source=row.source,
            proposed=proposed,
            programme_lufs=programme,
            programme_by=by,
            path_db=_finite(self.path_db(row.source)),
            routes_db=_finite(self.routes_db(row)),
            trim=trim,
            inputs=self.arrived[row.source],
            routes=routes_of(self.build, row),
            ends={node.name: _ends(self.graph, node) for node in self.graph.channels},
            also=row.also,
            also_trims_db=also,
            steps=path.steps_of(self.graph, self.arrived[row.source], self.factory),
        )


def _finite(value: float) -> float | None:
    return value if isfinite(value) else None


def _proposed(build: Build, arrived: Mapping[str, tuple[Arrival, ...]]) -> Iterator[Preset]:
    """A preset for every music source that arrives and has none, with the car's own sounds mixed in."""
    taken, have = {row.name for row in build.presets}, {row.source for row in build.presets}
    for source in build.sources:
        if source.name in have or "music" not in source.carries or not arrived[source.name]:
            continue
        name = source.name
        while name in taken:
            name += " (proposed)"
        taken.add(name)
        missing = [sound for sound in build.chain.must_hear if sound not in source.carries]
        others = [row.name for sound in missing for row in carriers(build, sound) if arrived[row.name]][:8]
        also = tuple(Extra(source=other) for other in dict.fromkeys(others) if other != source.name)
        yield Preset(name=name, source=source.name, also=also)


def _ends(graph: ChainGraph, channel: Node) -> tuple[dict[str, Any], ...]:
    ends: dict[tuple[str | None, str | None], list[str]] = {}
    for way in graph.ways_out(channel):
        key = (way[1].amplifier, way[1].name) if way[1].kind == "amplifier channel" else (None, None)
        ends.setdefault(key, []).append(way[-1].name)
    return tuple({"amplifier": a, "amplifier_channel": c, "speakers": names} for (a, c), names in ends.items())


def _remarks(
    build: Build,
    graph: ChainGraph,
    factory: FactoryResult | None,
    found: Mapping[str, PresetResult],
    arrived: Mapping[str, tuple[Arrival, ...]],
) -> Iterator[Finding]:
    yield from hearing.remarks(build, {name: item.sounds for name, item in found.items()})
    for node in graph.sources:
        yield from ways.doubts(graph, arrived[node.name], node, factory)
        if not arrived[node.name]:
            yield finding("signal.source_unheard", where=node.name, sounds=", ".join(graph.row(node).carries))
    for name, item in found.items():
        if item.programme_by == "common practice":
            yield finding("signal.loudness_assumed", where=name, value=USUAL_LUFS, unit="LUFS", source=item.source)
        if item.routes_db is None:
            yield finding("signal.preset_silent", where=name)
        yield from item.trim.doubts(name)
        if item.steps:
            yield from path.doubts(name, item.steps)


def _routed(build: Build, found: Mapping[str, PresetResult], carried: list[CarriedBy]) -> Iterator[Finding]:
    for name, item in found.items():
        level = float("-inf") if item.path_db is None else item.path_db + item.trim.trim_db
        yield from routing.doubts(build, name, item.routes, carried, level)
