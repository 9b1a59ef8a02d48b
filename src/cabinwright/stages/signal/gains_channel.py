"""One channel of the processor with its amplifier: sensitivity to set, what the meter shows, noise at the loudspeaker."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from cabinwright.build.chain import Chain
from cabinwright.build.document import Processor
from cabinwright.build.electrical import Supply
from cabinwright.physics.gain import (
    NOISE_HIGH_HZ,
    NOISE_LOW_HZ,
    bridging_share,
    decibels,
    factor,
    filtered_noise_factor,
    summed_noise_v,
)
from cabinwright.stages.signal.gains_way import Arrival
from cabinwright.stages.signal.loads import LineLoad
from cabinwright.stages.signal.loads_limits import GRID_HZ, level_db
from cabinwright.stages.signal.loads_wirings import output_stage

__all__ = ["ChannelGain", "SourceGain", "channel_gain"]

RATED_OHM = 4.0  #: load that sensitivities are stated for, where a power is stated for it (CTA-2006)
TOGETHER_DB = 0.5  #: stages closer than this clip together


@dataclass(frozen=True)
class SourceGain:
    """One source as one loudspeaker gets it."""

    source: str
    input: str
    level_db: float  #: its full output inside the processor, below full scale
    trim_db: float
    loudest_v: float  #: loudest sine at the amplifier's terminals that nothing clips
    noises_v: dict[str, float]  #: by stage, at the amplifier's terminals
    silent: tuple[str, ...]
    margins_db: dict[str, float]  #: by stage, against the level at which the first of them clips

    @property
    def noise_v(self) -> float:
        """All noise together, 20 Hz to 20 kHz."""
        return summed_noise_v(self.noises_v.values())

    @property
    def snr_db(self) -> float | None:
        """The source's loudest over the noise; None where nobody states any."""
        return decibels(self.loudest_v / self.noise_v) if self.noise_v else None

    @property
    def noise_from(self) -> str | None:
        """The stage whose noise is largest."""
        return max(self.noises_v, key=self.noises_v.__getitem__) if self.noise_v else None

    @property
    def clips_first(self) -> tuple[str, ...]:
        """The stages that clip first, together where they are close."""
        return tuple(name for name, margin in self.margins_db.items() if margin < TOGETHER_DB)

    def to_dict(self, clip_v: float) -> dict[str, Any]:
        """Its row in ``plan.json``."""
        whole = self.noise_v
        return {
            "input": self.input,
            "level_db": self.level_db,
            "trim_db": self.trim_db,
            "loudest_v": self.loudest_v,
            "noise_v": whole,
            "snr_db": self.snr_db,
            "dynamic_range_db": decibels(clip_v / whole) if whole else None,
            "clips_first": list(self.clips_first),
            "margins_db": self.margins_db,
            "noise_from": self.noise_from,
            "noise_share": {name: (noise / whole) ** 2 if whole else 0.0 for name, noise in self.noises_v.items()},
            "noise_unknown": list(self.silent),
        }


@dataclass(frozen=True)
class ChannelGain:
    """What to set on one amplifier channel, and what comes of it."""

    channel: str
    load: LineLoad
    clip_at_v: float  #: at the processor's output
    master_db: float  #: level to hold the processor to, so that full scale comes to that
    aim_v: float  #: at the amplifier's terminals, when everything clips
    held_to: str  #: "amplifier" or "loudspeaker"
    share: float  #: of the processor's open voltage that arrives
    rated_v: float  #: output that sensitivities are stated for
    sensitivity_v: float  #: what the control comes to
    wanted_v: float  #: what would be right
    meter_hz: float
    meter_db: float  #: of the sine, below full scale
    lowered: bool  #: whether that had to be lower than the build says
    tune_db: float  #: gain and filters of the tune at that frequency
    no_load_v: float  #: where the amplifier clips with nothing connected, at the supply's full-level voltage
    engine_off_v: float | None  #: the same with the engine off
    idle_v: dict[str, float]  #: noise of processor and amplifier
    silent: tuple[str, ...]
    sources: dict[str, SourceGain]
    hiss_db: float | None  #: at the seat, of the worst source

    @property
    def gain(self) -> float:
        """Of the amplifier, input to terminals."""
        return self.rated_v / self.sensitivity_v

    @property
    def short_db(self) -> float:
        """How far the amplifier stays below its aim when all before it clips: positive where its control ends too low."""
        return decibels(self.sensitivity_v / self.wanted_v)

    @property
    def flat_v(self) -> float:
        """What the meter shows without the tune."""
        return self.aim_v * factor(self.meter_db - self.short_db)

    @property
    def meter_v(self) -> float:
        """What the meter shows with the tune as it is loaded."""
        return self.flat_v * factor(self.tune_db)

    @property
    def clip_v(self) -> float:
        """Loudest sine at the terminals that neither processor nor amplifier clips, through the tune."""
        most = self.aim_v * factor(self.load.heard.peak_db - self.short_db)
        return min(self.load.clip_v or most, most)

    @property
    def worst(self) -> SourceGain | None:
        """The source with the least signal over noise."""
        return min(self.sources.values(), key=lambda item: item.snr_db or math.inf, default=None)

    def to_dict(self) -> dict[str, Any]:
        """Its entry in ``plan.json``."""
        idle, worst = summed_noise_v(self.idle_v.values()), self.worst
        plain = worst.to_dict(self.clip_v) if worst else {}
        return {
            "amplifier": self.load.amplifier.name,
            "amplifier_channel": self.load.line.name,
            "supply_v": self.load.supply_v,
            "clip_at_v": self.clip_at_v,
            "master_db": self.master_db,
            "amplifier_clip_v": self.load.clip_v,
            "aim_v": self.aim_v,
            "held_to": self.held_to,
            "input_share": self.share,
            "gain_db": decibels(self.gain),
            "rated_output_v": self.rated_v,
            "sensitivity_v": self.sensitivity_v,
            "sensitivity_wanted_v": self.wanted_v,
            "sensitivity_min_v": self.load.amplifier.input_min_v,
            "sensitivity_max_v": self.load.amplifier.input_max_v,
            "in_range": abs(self.short_db) < 1e-6,
            "short_db": self.short_db,
            "meter_hz": self.meter_hz,
            "meter_level_db": self.meter_db,
            "meter_v": self.meter_v,
            "meter_flat_v": self.flat_v,
            "tune_gain_db": self.load.heard.gain_db,
            "tune_at_meter_db": self.tune_db,
            "tune_peak_db": self.load.heard.peak_db,
            "no_load_clip_v": self.no_load_v,
            "no_load_clip_engine_off_v": self.engine_off_v,
            "idle_noise_v": idle,
            "noise_v": worst.noise_v if worst else idle,
            "snr_db": plain.get("snr_db"),
            "dynamic_range_db": plain.get("dynamic_range_db", decibels(self.clip_v / idle) if idle else None),
            "clips_first": plain.get("clips_first", []),
            "noise_from": plain.get("noise_from") or max(self.idle_v, key=self.idle_v.__getitem__, default=None),
            "noise_unknown": sorted({*self.silent, *(name for one in self.sources.values() for name in one.silent)}),
            "hiss_seat_db": self.hiss_db,
            "sources": {name: item.to_dict(self.clip_v) for name, item in self.sources.items()},
        }


def channel_gain(
    channel: str,
    load: LineLoad,
    *,
    chain: Chain,
    processor: Processor,
    supply: Supply | None,
    arrivals: Sequence[Arrival],
    trims_db: Mapping[str, float],
    others_ohm: Sequence[float] = (),
) -> ChannelGain:
    """Gains of one amplifier channel with a known load. ``others_ohm``: further inputs on the same processor output."""
    assert processor.output_v is not None and load.clip_v is not None
    row, full_v = load.amplifier, processor.output_v
    clip_at = min(chain.clip_at_v or full_v, full_v)
    siemens = 1.0 / row.input_ohm + sum(1.0 / ohm for ohm in others_ohm)
    share = bridging_share(output_ohm=processor.output_ohm, input_ohm=1.0 / siemens)
    spared = load.spared_v if chain.spare_speakers else None
    aim = load.clip_v if spared is None else spared
    rated = _rated_v(load)
    wanted = clip_at * share * rated / aim
    setting = min(max(wanted, row.input_min_v), row.input_max_v)
    master = decibels(clip_at / full_v)
    below = math.floor(10.0 * min(decibels(setting / wanted), 0.0) + 1e-6) / 10.0  # files come in tenths
    hertz = _meter_hz(chain, load)
    off = None if supply is None else load.stage.clip_v(load_ohm=None, supply_v=supply.engine_off_v)
    gain = rated / setting
    noises = {"processor": _times(processor.output_noise_v, share * gain), row.name: _times(row.noise_v, gain)}
    idle = {name: noise for name, noise in noises.items() if noise is not None}
    most_v = full_v * share * gain  # at the terminals, of digital full scale through a flat processor
    sources: dict[str, SourceGain] = {}
    for item in arrivals:
        found = _source(item, load, trims_db.get(item.source, 0.0), most_v * factor(master), idle)
        held = sources.get(item.source)
        if held is None or (found.snr_db or math.inf) < (held.snr_db or math.inf):
            sources[item.source] = found
    return ChannelGain(
        channel=channel,
        load=load,
        clip_at_v=clip_at,
        master_db=master,
        aim_v=aim,
        held_to="loudspeaker" if aim < load.clip_v else "amplifier",
        share=share,
        rated_v=rated,
        sensitivity_v=setting,
        wanted_v=wanted,
        meter_hz=hertz,
        meter_db=min(chain.meter_level_db, below),
        lowered=chain.meter_level_db > below,
        tune_db=load.heard.at_db(hertz),
        no_load_v=load.stage.clip_v(load_ohm=None, supply_v=load.supply_v),
        engine_off_v=off,
        idle_v=idle,
        silent=tuple(name for name, noise in noises.items() if noise is None),
        sources=sources,
        hiss_db=_hiss_db(load, idle, sources.values()),
    )


def _times(noise_v: float | None, gain: float) -> float | None:
    return None if noise_v is None else noise_v * gain


def _rated_v(load: LineLoad) -> float:
    """Output that the amplifier's sensitivities are stated for: at rated supply, into 4 ohm or else the highest load."""
    single = output_stage(load.amplifier, bridged=False)
    stated = [ohm for ohm, _ in single.ratings]
    ohm = RATED_OHM if RATED_OHM in stated else max(stated)
    return single.clip_v(load_ohm=ohm, supply_v=single.rated_v) * (2.0 if load.line.bridged else 1.0)


def _meter_hz(chain: Chain, load: LineLoad) -> float:
    """The build's frequency where it lies in the channel's band, else the middle of the band, to two digits."""
    low, high = load.heard.band
    if chain.meter_hz is not None and low <= chain.meter_hz <= high:
        return chain.meter_hz
    return float(f"{math.sqrt(low * high):.2g}")


def _source(item: Arrival, load: LineLoad, trim_db: float, most_v: float, idle: Mapping[str, float]) -> SourceGain:
    """A source through the tune to the amplifier's terminals."""
    trim, heard = factor(trim_db), load.heard
    kept = 1.0 if heard.channel is None else filtered_noise_factor(heard.response, frequency_hz=GRID_HZ)
    noises = {name: noise * trim * most_v * kept for name, noise in item.noises.items()} | dict(idle)
    level = item.level * trim  # of its full output, below full scale
    reaches = level * most_v * factor(heard.peak_db)
    margins = {item.source: 0.0} | {stage.name: stage.margin_db for stage in item.stages}
    margins["processor"] = -decibels(max(level, level * factor(heard.peak_db)))
    margins[load.amplifier.name] = decibels((load.clip_v or reaches) / reaches)
    first = min(margins.values())
    return SourceGain(
        source=item.source,
        input=item.way[-1].name,
        level_db=decibels(item.level),
        trim_db=trim_db,
        loudest_v=reaches * factor(min(first, 0.0)),
        noises_v=noises,
        silent=item.silent,
        margins_db={name: margin - first for name, margin in margins.items()},
    )


def _hiss_db(load: LineLoad, idle: Mapping[str, float], sources: Sequence[SourceGain] | Any) -> float | None:
    """Level of the noise at the seat; what comes after the filters counts with the loudspeaker's own band alone."""
    low = max(min(unit.band[0] for unit in load.units), NOISE_LOW_HZ)
    high = min(max(unit.band[1] for unit in load.units), NOISE_HIGH_HZ)
    band = math.sqrt(max(high - low, 0.0) / (NOISE_HIGH_HZ - NOISE_LOW_HZ))
    late = summed_noise_v(idle.values()) * band
    early = 0.0
    for item in sources:
        own = summed_noise_v(noise for name, noise in item.noises_v.items() if name not in idle)
        early = max(early, own * (band if load.heard.channel is None else 1.0))
    volts = float(np.hypot(late, early))
    if volts <= 0.0 or load.chosen is None:
        return None
    return level_db(load.units, [share * volts for share in load.chosen.coil_share], band=load.heard.band)
