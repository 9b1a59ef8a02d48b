"""Gain structure: every gain such that all stages clip together, in figures that a person can set and check.

Order of work: what arrives at each input of the processor with each source at its full output (``gains_way``), the
sensitivity of each input, then each amplifier channel (``gains_channel``).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from cabinwright.build.document import Build
from cabinwright.findings import Finding
from cabinwright.physics.gain import decibels
from cabinwright.stages.signal.chain import ChainGraph
from cabinwright.stages.signal.gains_channel import ChannelGain, channel_gain
from cabinwright.stages.signal.gains_remarks import channel_remarks, input_remarks, whole_remarks
from cabinwright.stages.signal.gains_way import InputSetting, arrivals, set_input
from cabinwright.stages.signal.loads import LineLoad, Loads

__all__ = ["Gains", "work_out"]


@dataclass(frozen=True)
class Gains:
    """Every input and every channel with an amplifier."""

    channels: dict[str, ChannelGain]
    inputs: dict[str, InputSetting]
    findings: tuple[Finding, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """``signal.gains`` of ``plan.json``."""
        return {name: item.to_dict() for name, item in self.channels.items()}

    def inputs_dict(self) -> dict[str, Any]:
        """``signal.inputs`` of ``plan.json``."""
        return {name: _input(item) for name, item in self.inputs.items()}


def work_out(
    build: Build, graph: ChainGraph, loads: Loads | None, *, trims_db: Mapping[str, float] | None = None
) -> Gains | None:
    """Gain structure; None where the build says neither what its processor gives out nor what its inputs take.

    Args:
        graph: what is joined to what.
        loads: amplifiers with their loads, which say where they clip.
        trims_db: by source, the trim of its preset.
    """
    inputs = {node.name: set_input(graph.row(node), arrivals(graph, graph.way_to(node))) for node in graph.inputs}
    told = any(item.arrivals for item in inputs.values())
    processor = build.processor
    lines = list(loads.lines) if loads and processor and processor.output_v is not None else []
    if not told and not lines:
        return None
    heard = [item for setting in inputs.values() for item in setting.arrivals]
    channels: dict[str, ChannelGain] = {}
    for line in lines:
        if line.clip_v is None or processor is None:
            continue
        beside = [other for other in lines if other.line.from_ == line.line.from_ and other is not line]
        name = _key(line, beside)
        channels[name] = channel_gain(
            name,
            line,
            chain=build.chain,
            processor=processor,
            supply=build.supply,
            arrivals=heard,
            trims_db=trims_db or {},
            others_ohm=[other.amplifier.input_ohm for other in beside],
        )
    found = [
        *whole_remarks(build, channels.values()),
        *(remark for setting in inputs.values() for remark in input_remarks(setting)),
        *(remark for item in channels.values() for remark in channel_remarks(item)),
    ]
    return Gains(channels, inputs, tuple(found))


def _key(line: LineLoad, beside: list[LineLoad]) -> str:
    """The processor's channel; with the amplifier's where it feeds several."""
    return f"{line.line.from_} ({line.name})" if beside else line.line.from_


def _level_db(ratio: float) -> float:
    """Without the dust that arithmetic leaves beside full scale."""
    return round(decibels(ratio), 9) + 0.0


def _input(item: InputSetting) -> dict[str, Any]:
    row = item.row
    return {
        "sensitivity_v": item.sensitivity_v,
        "sensitivity_wanted_v": item.wanted_v,
        "sensitivity_min_v": row.input_min_v,
        "sensitivity_max_v": row.input_v,
        "sources": {
            arrival.source: {
                "way": [node.name for node in arrival.way],
                "level_db": _level_db(arrival.level),
                "usable_db": _level_db(arrival.usable),
                "stages": [
                    {"name": s.name, "arrives_v": s.arrives_v, "clip_v": s.clip_v, "margin_db": s.margin_db}
                    for s in arrival.stages
                ],
                "converters": {
                    name: {"gain_db": gain, "set_here": chosen} for name, (gain, chosen) in arrival.converter_db.items()
                },
                "volume_controls": list(arrival.controls),
            }
            for arrival in item.arrivals
        },
    }
