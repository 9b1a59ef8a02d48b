"""What a loudspeaker on its amplifier comes to: travel of the cone through the tuned crossover, level and hiss at the seat."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.box import Load, acoustic_compliance, solve
from cabinwright.physics.gain import decibels
from cabinwright.stages.enclosure.result import BoxResult
from cabinwright.stages.signal.loads_speakers import Band, DriveUnit
from cabinwright.stages.tuning.settings import ChannelSettings, Settings

__all__ = ["GRID_HZ", "Travel", "Tuned", "level_db", "travel", "tuned"]

GRID_HZ: NDArray[np.float64] = np.geomspace(10.0, 22_000.0, 3000)
COHERENT_BELOW_HZ = 200.0
"""A channel that plays below this adds in pressure, all loudspeakers of it; above, in power. Common practice."""
SINE_PEAK_DB = 20.0 * math.log10(math.sqrt(2.0))


@dataclass(frozen=True)
class Tuned:
    """What the tune does to one channel."""

    response: NDArray[np.float64]  #: magnitude with gain, on ``GRID_HZ``
    gain_db: float  #: of the channel alone, as keyed in
    band: Band  #: between its crossovers, or the loudspeakers' own limits
    sample_rate_hz: float
    channel: ChannelSettings | None  #: None: not tuned yet, everything passes

    def at_db(self, frequency_hz: float) -> float:
        """Gain and filters together at one frequency."""
        if self.channel is None:
            return 0.0
        whole = self.channel.response(np.asarray([frequency_hz]), sample_rate_hz=self.sample_rate_hz)
        return decibels(abs(complex(whole[0])))

    @property
    def peak_db(self) -> float:
        """Highest gain in the band."""
        low, high = self.band
        inside = (low <= GRID_HZ) & (high >= GRID_HZ)
        return decibels(float(self.response[inside].max())) if inside.any() else 0.0


def tuned(settings: Settings | None, name: str, units: Sequence[DriveUnit], *, passive: bool = False) -> Tuned:
    """The tune of one channel; without one, a wire and the range that the loudspeakers may be given.

    ``passive``: whether a passive crossover shares that range out among them.
    """
    low, high = max(unit.band[0] for unit in units), min(unit.band[1] for unit in units)
    if passive or low >= high:
        low, high = min(unit.band[0] for unit in units), max(unit.band[1] for unit in units)
    channel = next((row for row in settings.channels if row.name == name), None) if settings else None
    if settings is None or channel is None:
        return Tuned(np.ones_like(GRID_HZ), 0.0, (low, high), 48_000.0, None)
    corners = {
        kind: [item.frequency_hz for item in channel.filters if item.kind == kind] for kind in ("high-pass", "low-pass")
    }
    band = (max(corners["high-pass"], default=low), min(corners["low-pass"], default=high))
    rate = settings.sample_rate_hz
    response = np.zeros_like(GRID_HZ)
    below = 0.5 * rate > GRID_HZ
    response[below] = np.abs(channel.response(GRID_HZ[below], sample_rate_hz=rate))
    return Tuned(response, channel.gain_db, band if band[0] < band[1] else (low, high), rate, channel)


@dataclass(frozen=True)
class Travel:
    """Greatest travel of one cone."""

    speaker: str
    peak_m: float
    at_hz: float
    xmax_m: float

    @property
    def within_db(self) -> float:
        """Level left until ``xmax_m``; negative beyond it."""
        return decibels(self.xmax_m / self.peak_m)


def travel(
    unit: DriveUnit, *, coil_v: float, heard: Tuned, box: BoxResult | None = None, from_hz: float = 0.0
) -> Travel | None:
    """Travel with a sine that just clips the amplifier wherever the tune lets it; None where figures are missing.

    ``coil_v`` over each coil [V rms] where it clips; ``box``: the computed enclosure, else sealed or infinite as the build
    says. Below the band of an untuned channel nothing is counted: no crossover is known yet; nor below ``from_hz``,
    where a passive crossover keeps it from the bass.
    """
    if unit.xmax_m is None:
        return None
    per_volt = _boxed(box) if box is not None else _plain(unit)
    if per_volt is None:
        return None
    fed = np.minimum(heard.response, 1.0)
    lowest = max(from_hz, heard.band[0] if heard.channel is None else 0.0)
    fed = np.where(lowest > GRID_HZ, 0.0, fed)
    moved = coil_v * unit.terminal_per_coil * per_volt * fed
    worst = int(np.argmax(moved))
    return Travel(unit.name, float(moved[worst]), float(GRID_HZ[worst]), unit.xmax_m)


def _plain(unit: DriveUnit) -> NDArray[np.float64] | None:
    """Peak travel for each volt rms, sealed or in an infinite baffle, on ``GRID_HZ``."""
    if unit.driver is None or unit.box_m3 is None:
        return None
    box = Load() if math.isinf(unit.box_m3) else Load(compliance=acoustic_compliance(volume_m3=unit.box_m3))
    answer = solve(unit.driver, box, frequency_hz=GRID_HZ, source_v=1.0)
    return np.asarray(math.sqrt(2.0) * np.abs(answer.displacement_m))


def _boxed(box: BoxResult) -> NDArray[np.float64]:
    """The same in a computed box; above its curves the cone's mass holds it, 12 dB less for each octave."""
    count = max(1, len(box.speakers))
    series = {"series": count, "series-parallel": round(math.sqrt(count))}.get(box.wiring, 1)
    f, moved = box.curves.frequency_hz, box.curves.excursion_m * series / box.voltage_v
    beyond = moved[-1] * (f[-1] / GRID_HZ) ** 2
    return np.where(f[-1] < GRID_HZ, beyond, np.interp(GRID_HZ, f, moved))


def level_db(units: Sequence[DriveUnit], coil_v: Sequence[float], *, band: Band) -> float | None:
    """Level [dB re 20 µPa rms] at the seat, free field; None where sensitivity or distance of one is not known.

    ``coil_v`` over each coil of each loudspeaker [V rms]. Loudspeakers of one channel add in pressure in the bass, else
    in power.
    """
    each = []
    for unit, volts in zip(units, coil_v, strict=True):
        if unit.sensitivity_db is None or unit.distance_m is None:
            return None
        each.append(unit.sensitivity_db + decibels(volts / unit.reference_v) - decibels(max(unit.distance_m, 0.1)))
    if band[0] < COHERENT_BELOW_HZ:
        return decibels(sum(10.0 ** (level / 20.0) for level in each))
    return 10.0 * math.log10(sum(10.0 ** (level / 10.0) for level in each))
