"""Amplifiers and what hangs on them: wirings, power, limits of the loudspeakers, headroom at the seat."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from cabinwright.build.chain import Amplifier, AmplifierChannel
from cabinwright.build.document import Build
from cabinwright.findings import Finding
from cabinwright.physics.amplifier import OutputStage, music_share
from cabinwright.stages.enclosure.result import BoxResult, EnclosureResult
from cabinwright.stages.power.result import PowerResult
from cabinwright.stages.signal.loads_limits import SINE_PEAK_DB, Travel, Tuned, level_db, travel, tuned
from cabinwright.stages.signal.loads_remarks import amplifier_remarks, line_remarks
from cabinwright.stages.signal.loads_speakers import DriveUnit, drive_units
from cabinwright.stages.signal.loads_wirings import (
    Alternative,
    alternatives,
    behind_passive,
    choose,
    floor_ohm,
    groups,
    output_stage,
)
from cabinwright.stages.tuning.settings import Settings

__all__ = ["AmplifierLoad", "LineLoad", "Loads", "work_out"]

ASSUMPTIONS = (
    "Impedances are taken as resistances, nominal ones; a real loudspeaker's is higher over most of its range.",
    "Between two stated loads an amplifier is a source behind a resistance; above the highest its voltage is held, "
    "below the lowest the line goes on, which is a guess.",
    "Levels at the seat are free field: 6 dB for each doubling of distance. What the cabin adds, in the bass above all, is "
    "not in them, nor is what trim and grilles take.",
)


@dataclass(frozen=True)
class LineLoad:
    """One amplifier channel and what hangs on it."""

    amplifier: Amplifier
    line: AmplifierChannel
    units: tuple[DriveUnit, ...]
    stage: OutputStage
    supply_v: float
    heard: Tuned
    chosen: Alternative | None  #: None where an impedance is not known
    reason: str
    found: tuple[Alternative, ...]
    music_share: float  #: mean power of music against that of a sine which just clips
    travels: tuple[Travel, ...]
    seat_db: float | None  #: peak level at the seat when it clips, free field
    wanted_db: float

    @property
    def name(self) -> str:
        """Amplifier and channel, for messages."""
        return f"{self.amplifier.name}: {self.line.name}"

    @property
    def clip_v(self) -> float | None:
        """Where it clips into its load."""
        return self.chosen.clip_v if self.chosen else None

    @property
    def coil_v(self) -> tuple[float, ...]:
        """Voltage over each coil of each loudspeaker when it clips."""
        return tuple(share * self.chosen.clip_v for share in self.chosen.coil_share) if self.chosen else ()

    @property
    def spared_v(self) -> float | None:
        """Voltage at which the first loudspeaker gets its ``pe_w`` from a sine; at most where it clips."""
        if self.chosen is None:
            return None
        limits = [
            math.sqrt(unit.pe_w / each)
            for unit, each in zip(self.units, self.chosen.each_w, strict=True)
            if unit.pe_w is not None
        ]
        return self.chosen.clip_v * min([1.0, *limits])

    @property
    def tuned_seat_db(self) -> float | None:
        """The same through the tune: what its gain and filters leave at most."""
        return None if self.seat_db is None else self.seat_db + min(self.heard.peak_db, 0.0)

    def to_dict(self) -> dict[str, Any]:
        """Its entry in ``plan.json``."""
        names = [unit.name for unit in self.units]
        picked = self.chosen.to_dict(names) if self.chosen else {}
        reached = self.tuned_seat_db
        return {
            "from": self.line.from_,
            "speakers": names,
            "bridged": self.line.bridged,
            "coils": picked.get("coils"),
            "wiring": picked.get("wiring"),
            "strings": picked.get("strings"),
            "reason": self.reason,
            "nominal_ohm": picked.get("nominal_ohm"),
            "minimum_ohm": picked.get("minimum_ohm"),
            "minimum_from": {unit.name: unit.least_from for unit in self.units},
            "amplifier_minimum_ohm": floor_ohm(self.amplifier, self.line),
            "allowed": picked.get("allowed"),
            "clip_v": self.clip_v,
            "power_w": picked.get("power_w"),
            "each_w": picked.get("each_w", {}),
            "music_each_w": {name: w * self.music_share for name, w in picked.get("each_w", {}).items()},
            "pe_w": {unit.name: unit.pe_w for unit in self.units},
            "travel": {
                item.speaker: {"peak_m": item.peak_m, "at_hz": item.at_hz, "xmax_m": item.xmax_m}
                for item in self.travels
            },
            "band_low_hz": self.heard.band[0],
            "band_high_hz": self.heard.band[1],
            "seat_peak_db": self.seat_db,
            "seat_peak_tuned_db": reached,
            "headroom_db": None if reached is None else reached - self.wanted_db,
            "alternatives": [item.to_dict(names) for item in self.found],
        }


@dataclass(frozen=True)
class AmplifierLoad:
    """One amplifier."""

    row: Amplifier
    supply_v: float
    supply_from: str
    used: int  #: channels; a bridged pair takes two
    lines: tuple[LineLoad, ...]


@dataclass(frozen=True)
class Loads:
    """Every amplifier of the build."""

    amplifiers: tuple[AmplifierLoad, ...]
    wanted_db: float
    crest_db: float
    findings: tuple[Finding, ...] = ()

    @property
    def lines(self) -> Iterator[LineLoad]:
        """All channels of all amplifiers."""
        return (line for amplifier in self.amplifiers for line in amplifier.lines)

    def to_dict(self) -> dict[str, Any]:
        """``signal.loads`` of ``plan.json``: channels of an amplifier by name, what belongs to the whole of it beside them."""
        return {item.row.name: {line.line.name: line.to_dict() for line in item.lines} for item in self.amplifiers}

    def whole(self) -> dict[str, Any]:
        """``signal.amplifiers`` of ``plan.json``."""
        return {
            item.row.name: {
                "supply_v": item.supply_v,
                "supply_from": item.supply_from,
                "channels_used": item.used,
                "channels": item.row.channel_count,
                "seat_level_wanted_db": self.wanted_db,
                "crest_db": self.crest_db,
                "assumptions": ASSUMPTIONS,
            }
            for item in self.amplifiers
        }


def work_out(
    build: Build,
    *,
    settings: Settings | None = None,
    power: PowerResult | None = None,
    boxed: EnclosureResult | None = None,
) -> Loads | None:
    """Loads of every amplifier; None where the build has none.

    Args:
        settings: the tune, whose crossovers keep travel down.
        power: the electrical system, for the voltage at each amplifier when all play at full level.
        boxed: the computed enclosures, for the travel of the cones in them.
    """
    if not build.amplifiers:
        return None
    boxes = {name: box for box in (boxed.boxes.values() if boxed else ()) for name in box.speakers}
    driven = Counter(name for row in build.amplifiers for line in row.channels for name in line.speakers)
    units = {name: unit.boxed(boxes.get(name)).shared(driven[name]) for name, unit in drive_units(build).items()}
    found = tuple(_amplifier(build, row, units, settings, power, boxes) for row in build.amplifiers)
    remarks = [
        *(item for one in found for item in amplifier_remarks(one.row, one.used, one.supply_v)),
        *(item for one in found for line in one.lines for item in line_remarks(line, build.chain)),
    ]
    return Loads(found, build.chain.seat_level_db, build.chain.crest_db, tuple(remarks))


def _amplifier(
    build: Build,
    row: Amplifier,
    units: Mapping[str, DriveUnit],
    settings: Settings | None,
    power: PowerResult | None,
    boxes: Mapping[str, BoxResult],
) -> AmplifierLoad:
    volts, source = _supply(build, row, power)
    lines = tuple(
        _line(build, row, line, [units[name] for name in line.speakers if name in units], settings, volts, boxes)
        for line in row.channels
    )
    return AmplifierLoad(row, volts, source, sum(2 if line.bridged else 1 for line in row.channels), lines)


def _supply(build: Build, row: Amplifier, power: PowerResult | None) -> tuple[float, str]:
    """Voltage at an amplifier at full level, and where it is known from."""
    name = row.load or row.name
    found = power.loads.get(name) if power else None
    if found is not None and found.voltage_v is not None:
        return found.voltage_v, "the wiring at full level, worst state"
    if build.supply is not None:
        return build.supply.nominal_v, "the supply's nominal voltage; no load of its name is wired"
    return row.rated_v, "its rated voltage; no supply is described"


def _line(
    build: Build,
    row: Amplifier,
    line: AmplifierChannel,
    units: Sequence[DriveUnit],
    settings: Settings | None,
    supply_v: float,
    boxes: Mapping[str, BoxResult],
) -> LineLoad:
    passive = behind_passive(line, units)
    heard = tuned(settings, line.from_, units, passive=passive)
    found = alternatives(row, line, units, supply_v=supply_v)
    chosen, reason = choose(found, line, units) if found else (None, "an impedance is not known")
    coil_v = [share * chosen.clip_v for share in chosen.coil_share] if chosen else []
    lowest = min(unit.band[0] for unit in units)
    moved = [
        travel(
            unit,
            coil_v=volts,
            heard=heard,
            box=boxes.get(unit.name),
            from_hz=unit.band[0] if passive and unit.band[0] > lowest else 0.0,
        )
        for unit, volts in zip(units, coil_v, strict=False)
    ]
    seat = _seat_db(units, coil_v, heard, passive=passive) if chosen else None
    return LineLoad(
        amplifier=row,
        line=line,
        units=tuple(units),
        stage=output_stage(row, bridged=line.bridged),
        supply_v=supply_v,
        heard=heard,
        chosen=chosen,
        reason=reason,
        found=found,
        music_share=music_share(build.chain.crest_db),
        travels=tuple(item for item in moved if item is not None),
        seat_db=None if seat is None else seat + SINE_PEAK_DB,
        wanted_db=build.chain.seat_level_db,
    )


def _seat_db(units: Sequence[DriveUnit], coil_v: Sequence[float], heard: Tuned, *, passive: bool) -> float | None:
    """Level of all together; behind a passive crossover that of the way which brings least, each plays its own band."""
    if not passive:
        return level_db(units, coil_v, band=heard.band)
    found = []
    for group in groups(units):
        mine = [units[k] for k in group]
        band = (max(unit.band[0] for unit in mine), heard.band[1])
        found.append(level_db(mine, [coil_v[k] for k in group], band=band))
    known = [level for level in found if level is not None]
    return min(known) if len(known) == len(found) else None
