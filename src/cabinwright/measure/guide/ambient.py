"""The quiet before a take: how loud the car is by itself, how loud the loudspeaker will be, and whether that is enough.

A short exponential chirp over the loudspeaker's own band is played 36 dB below the sweep, then 6 dB louder each time until it is
plainly heard. An exponential sweep gives each octave energy in proportion to its time there, so what the whole sweep will bring
follows from it, band by band; after deconvolution a band's noise is what falls into the ``KEPT_S`` of the response. Both are
good to some decibels: the room may ring longer than the chirp is listened to, and the tune keeps less than ``KEPT_S`` where a
band dies away early, so the true ratio lies higher rather than lower.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len, rfft

from cabinwright.measure.deconvolve import THIRDS, band_means, welch_thirds
from cabinwright.measure.faults import SNR_LIMIT_DB, SNR_SHARE, core_bands
from cabinwright.measure.shape import KEPT_S
from cabinwright.physics.sweep import Sweep

__all__ = ["RAMP_DB", "Expected", "Quiet", "chirp_for", "expected", "plainly_heard", "quiet_of", "thirds_energy"]

Real = NDArray[np.float64]
Samples = NDArray[np.float32]
RAMP_DB = (-36.0, -30.0, -24.0, -18.0, -12.0, -6.0, 0.0)
CHIRP_S = 0.4
HEARD_DB = 15.0  #: of the chirp over the noise in its band
PEAK = 0.35  #: of full scale, that a take should reach: between a tenth and a half
CREST = 1.25  #: a sweep finds a resonance that the chirp passed by
LOUD_MARGIN_DB = 3.0


@dataclass(frozen=True)
class Quiet:
    """The car by itself: mean square in third octaves, (31,), linear full scale."""

    power: Real


@dataclass(frozen=True)
class Expected:
    """What a take will bring. ``gain`` is that of the sweep, at most 1."""

    gain: float
    peak: float  #: of the microphone at that gain, linear full scale
    snr_db: Real  #: in third octaves, (31,); NaN outside the loudspeaker's band
    enough: bool
    short_hz: tuple[float, float] | None  #: lowest and highest band that is short of it
    short_db: float  #: by how much at worst


def chirp_for(band_hz: tuple[float, float], *, rate: float) -> Sweep:
    """The chirp over a loudspeaker's band."""
    low, high = band_hz[0], min(band_hz[1], 0.45 * rate)
    return Sweep(low, high, CHIRP_S, fade_in_s=0.1 * CHIRP_S, fade_out_s=0.1 * CHIRP_S)


def quiet_of(wave: Samples, *, rate: float) -> Quiet:
    """The noise in ``wave`` (frames,)."""
    density = welch_thirds(wave.astype(np.float64), sample_rate_hz=rate)
    return Quiet(density * (THIRDS.upper_hz - THIRDS.lower_hz) * 2.0 / rate)


def thirds_energy(wave: Samples, *, rate: float) -> Real:
    """Sum of squares of ``wave`` (frames,) in third octaves, (31,) (Parseval)."""
    spectrum = rfft(wave.astype(np.float64), n=next_fast_len(max(len(wave), 16_384), real=True))
    power = band_means(spectrum.real**2 + spectrum.imag**2, sample_rate_hz=rate)
    return np.asarray(power * (THIRDS.upper_hz - THIRDS.lower_hz) * 2.0 / rate)


def plainly_heard(wave: Samples, quiet: Quiet, *, band_hz: tuple[float, float], rate: float) -> bool:
    """Whether the chirp stands out of the noise."""
    core = core_bands(band_hz)
    noise = float(quiet.power[core].sum()) * len(wave)
    return bool(thirds_energy(wave, rate=rate)[core].sum() > 10.0 ** (HEARD_DB / 10.0) * noise)


def expected(
    wave: Samples,
    quiet: Quiet,
    sweep: Sweep,
    *,
    chirp_gain: float,
    band_hz: tuple[float, float],
    rate: float,
    highest_gain: float = 1.0,
    free: bool = True,
) -> Expected:
    """What the whole sweep will bring, from the chirp in ``wave`` that was played at ``chirp_gain`` of it.

    ``free``: the sweep may be played softer where it would be too loud for the converter; else it is played as it is.
    """
    core = core_bands(band_hz)
    chirp = chirp_for(band_hz, rate=rate)
    peak = float(np.abs(wave).max(initial=0.0)) / chirp_gain * CREST
    gain = min(1.0, highest_gain, PEAK / max(peak, 1e-9)) if free else 1.0
    energy = np.maximum(thirds_energy(wave, rate=rate) - quiet.power * len(wave), 1e-30)
    longer = sweep.growth_s / chirp.growth_s
    kept = np.maximum(quiet.power * KEPT_S * rate, 1e-30)
    snr = np.where(core, 10.0 * np.log10(energy * longer * (gain / chirp_gain) ** 2 / kept), np.nan)
    short = core & (snr < SNR_LIMIT_DB)
    share = np.count_nonzero(short) / np.count_nonzero(core)
    where = THIRDS.centres_hz[short]
    return Expected(
        gain,
        peak * gain,
        snr,
        enough=bool(share <= SNR_SHARE),
        short_hz=(float(where[0]), float(where[-1])) if len(where) else None,
        short_db=float(SNR_LIMIT_DB - snr[short].min()) if len(where) else 0.0,
    )
