"""What to say of the gain structure."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

from cabinwright.build.document import Build
from cabinwright.findings import Finding, finding
from cabinwright.physics.gain import decibels, pad_ohm
from cabinwright.stages.signal.figures import quoted
from cabinwright.stages.signal.gains_channel import ChannelGain
from cabinwright.stages.signal.gains_way import InputSetting

__all__ = ["channel_remarks", "input_remarks", "whole_remarks"]

SPARE_DB = 0.5  #: below this nobody hears or sets a difference
WEAK_DB = 3.0  #: below full scale before an input is called weak
HISS_DB = 20.0  #: at the seat, from where it is heard in a quiet car with the engine off; common practice
PAD_SERIES_OHM = 1000.0


def whole_remarks(build: Build, channels: Iterable[ChannelGain]) -> Iterator[Finding]:
    """What holds for all channels, once."""
    found, processor = list(channels), build.processor
    wish = build.chain.clip_at_v
    if processor and processor.output_v is not None and wish is not None and wish > processor.output_v:
        yield finding(
            "signal.clip_level", where="chain", value=quoted(wish), limit=quoted(processor.output_v), unit="V"
        )
    guessed = {item.load.amplifier.name: item.load.amplifier for item in found if not item.load.amplifier.senses_stated}
    for row in guessed.values():
        yield finding(
            "signal.control_assumed",
            where=row.name,
            value=quoted(row.input_min_v),
            limit=quoted(row.input_max_v),
            unit="V",
        )
    silent = sorted({name for item in found for name in item.to_dict()["noise_unknown"]})
    if silent:
        yield finding("signal.noise_unknown", where="chain", stages=", ".join(silent))


def input_remarks(setting: InputSetting) -> Iterator[Finding]:
    """Stages before the processor that clip first, inputs that are weak, and volume controls in a row."""
    for item in setting.arrivals:
        for stage in item.stages:
            if stage.margin_db < -SPARE_DB:
                loss = -stage.margin_db
                yield finding(
                    "signal.clips_early", where=stage.name, value=quoted(stage.arrives_v, 2), limit=quoted(stage.clip_v, 2),
                    unit="V", source=item.source, by=f"{loss:.1f}", pad=_pad(setting, item.ohm, loss, stage.name),
                )  # fmt: skip
        level = decibels(item.level)
        loudest = max(other.level for other in setting.arrivals)
        weak = setting.wanted_v is not None and setting.sensitivity_v is not None and item.level == loudest
        if weak and level < -WEAK_DB:
            yield finding(
                "signal.input_weak", where=setting.row.name, value=quoted(setting.wanted_v or 0.0, 3),
                limit=quoted(setting.sensitivity_v or 0.0, 3), unit="V", source=item.source, by=f"{-level:.1f}",
            )  # fmt: skip
        if len(item.controls) > 1:
            yield finding("signal.two_volumes", where=item.source, controls=" and ".join(item.controls))


def _pad(setting: InputSetting, output_ohm: float, loss_db: float, stage: str) -> str:
    """Resistors for the input itself; elsewhere the loss alone."""
    if stage != setting.row.name:
        return ""
    try:
        shunt = pad_ohm(
            loss_db=loss_db, output_ohm=output_ohm, input_ohm=setting.row.input_ohm, series_ohm=PAD_SERIES_OHM
        )
    except ValueError:
        return ""
    return f" ({PAD_SERIES_OHM:.0f} Ω in series, {shunt:.0f} Ω across the input)"


def channel_remarks(item: ChannelGain) -> Iterator[Finding]:
    """An amplifier's control that ends, a meter that would read a clipped sine, hiss."""
    name, row = item.load.name, item.load.amplifier
    if item.short_db > SPARE_DB:
        yield finding(
            "signal.gain_short", where=name, value=quoted(item.wanted_v, 3), limit=quoted(row.input_min_v), unit="V",
            by=f"{item.short_db:.1f}",
        )  # fmt: skip
    elif item.short_db < -SPARE_DB:
        lower = math.floor(100.0 * item.clip_at_v * row.input_max_v / item.wanted_v) / 100.0
        yield finding(
            "signal.spare_missed" if item.held_to == "loudspeaker" else "signal.gain_over", where=name,
            value=quoted(item.wanted_v, 3), limit=quoted(row.input_max_v), unit="V", by=f"{-item.short_db:.1f}",
            lower=f"{lower:g}",
        )  # fmt: skip
    if item.lowered:
        yield finding("signal.meter_lowered", where=name, value=quoted(item.meter_db, 1), unit="dB")
    highest = max(item.flat_v, item.meter_v)
    if item.engine_off_v is not None and highest > item.engine_off_v * 1.001:
        lower = decibels(highest / item.engine_off_v)
        yield finding(
            "signal.meter_sags", where=name, value=quoted(highest, 1), limit=quoted(item.engine_off_v, 1), unit="V",
            lower=f"{lower:.1f}",
        )  # fmt: skip
    if item.hiss_db is not None and item.hiss_db > HISS_DB:
        worst = item.worst
        origin = (worst.noise_from if worst else None) or row.name
        yield finding("signal.hiss", where=name, value=quoted(item.hiss_db, 1), limit=HISS_DB, unit="dB", origin=origin)
