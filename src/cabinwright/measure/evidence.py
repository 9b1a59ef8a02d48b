"""What the recordings say about one another: arrivals against stated places, levels against the channel's other ones."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build
from cabinwright.measure.deconvolve import THIRDS, band_means
from cabinwright.measure.roles import core_band_hz, speakers_of
from cabinwright.physics.air import speed_of_sound_m_s
from cabinwright.stages.tuning.arrivals import onset_times

__all__ = ["Evidence", "collect", "distances_m"]

Real = NDArray[np.float64]
SHARP_HZ = 1000.0  #: an arrival is sharp enough to place a microphone if the channel plays up to here


@dataclass(frozen=True)
class Evidence:
    """Tables over channels and positions; NaN where there is no recording to judge."""

    arrival_s: Real  #: (channels, positions)
    travel_s: Real  #: (channels, positions) straight line at the speed of sound; NaN without a stated place
    level_db: Real  #: (channels, positions, 31) third-octave levels, noise taken off
    snr_db: Real  #: (channels, positions, 31)
    sharp: NDArray[np.bool_]  #: (channels,) whether its arrivals can place a microphone
    core_hz: tuple[tuple[float, float], ...]

    def lateness(self, *, without: int | None = None) -> Real:
        """(channels,) median of arrival minus travel over the positions but one: latency of the channel."""
        rest = self.arrival_s - self.travel_s
        if without is not None:
            rest = np.delete(rest, without, axis=1)
        return np.asarray([np.nanmedian(row) if np.isfinite(row).any() else np.nan for row in rest])

    def without(self, places: Iterable[tuple[int, int]]) -> Evidence:
        """The same with nothing heard at ``places``, (channel, position) each."""
        arrival, level, snr = self.arrival_s.copy(), self.level_db.copy(), self.snr_db.copy()
        for place in places:
            arrival[place], level[place], snr[place] = np.nan, np.nan, np.nan
        return replace(self, arrival_s=arrival, level_db=level, snr_db=snr)


def distances_m(build: Build, channels: tuple[str, ...], positions: tuple[str, ...]) -> Real:
    """(channels, positions) from the channel's speaker to the microphone.

    Where a channel drives several, its highest is heard in an onset, and the nearest of several such ones.
    """
    places = {item.name: np.asarray(item.at_m) for item in build.microphone_positions}
    out = np.full((len(channels), len(positions)), np.nan)
    for row, channel in enumerate(channels):
        stated = [item for item in speakers_of(build, channel) if item.position_m is not None]
        if not stated or len(stated) < len(speakers_of(build, channel)):
            continue
        top = max(core_band_hz((item,))[1] for item in stated)
        highest = [item for item in stated if core_band_hz((item,))[1] == top]
        if len({item.position_m for item in stated}) > 1 and highest[0].role not in ("tweeter", "coaxial"):
            continue  # several places sound together, and none of them is the channel's
        spots = np.asarray([item.position_m for item in highest], dtype=np.float64)
        for column, position in enumerate(positions):
            out[row, column] = float(np.linalg.norm(places[position] - spots, axis=-1).min())
    return out


def collect(
    build: Build,
    channels: tuple[str, ...],
    positions: tuple[str, ...],
    impulse: Real,
    noise_power: Real,
    present: NDArray[np.bool_],
    *,
    zero_sample: int,
    sample_rate_hz: float,
) -> Evidence:
    """Read the tables off the responses (channels, positions, samples)."""
    cores = tuple(core_band_hz(speakers_of(build, name) or tuple(build.speakers)) for name in channels)
    arrival = np.full(present.shape, np.nan)
    level = np.full((*present.shape, len(THIRDS)), np.nan)
    snr = np.full_like(level, np.nan)
    for row, (low, high) in enumerate(cores):
        here = present[row]
        if not here.any():
            continue
        sharp_low, sharp_high = max(low, 0.25 * high), min(1.6 * high, 0.4 * sample_rate_hz)
        onsets = onset_times(impulse[row, here], sample_rate_hz=sample_rate_hz, low_hz=sharp_low, high_hz=sharp_high)
        arrival[row, here] = (onsets - zero_sample) / sample_rate_hz
        size = 1 << (impulse.shape[-1] - 1).bit_length()
        power = band_means(np.abs(np.fft.rfft(impulse[row, here], n=size)) ** 2, sample_rate_hz=sample_rate_hz)
        noise = noise_power[row, here]
        signal = np.maximum(power - noise, 1e-3 * power + 1e-30)
        level[row, here] = 10.0 * np.log10(signal)
        snr[row, here] = np.clip(10.0 * np.log10(signal / np.maximum(noise, 1e-12 * signal)), -30.0, 120.0)
    travel = distances_m(build, channels, positions) / speed_of_sound_m_s()
    sharp = np.asarray([high >= SHARP_HZ for _, high in cores])
    return Evidence(arrival, travel, level, snr, sharp, cores)
