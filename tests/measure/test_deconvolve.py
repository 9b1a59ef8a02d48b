"""Deconvolution against pyfar's regularised inversion; harmonics, noise and fading against what was put in."""

from __future__ import annotations

import numpy as np
import pyfar
import pytest
from numpy.typing import NDArray
from scipy.fft import rfft
from scipy.signal import fftconvolve

from cabinwright.measure.deconvolve import (
    THIRDS,
    Reference,
    deconvolve,
    distortion_ratio,
    noise_density,
    transform_size,
)
from cabinwright.measure.faults import core_bands
from cabinwright.measure.settle import settle
from cabinwright.physics.sweep import Sweep

RATE = 48000
SWEEP = Sweep(low_hz=15.0, high_hz=22000.0, length_s=4.0, fade_in_s=0.2, fade_out_s=0.03)
Array = NDArray[np.float64]


def played() -> Array:
    return SWEEP.at(np.arange(-4800, 5 * RATE) / RATE)


def reference(size: int) -> Reference:
    sent = SWEEP.at(np.arange(5 * RATE) / RATE)
    return Reference(rfft(sent, n=size), size, RATE, 17.0, 21500.0, SWEEP.growth_s)


def room() -> Array:
    rng = np.random.default_rng(2)
    return rng.normal(size=4800) * np.exp(-np.arange(4800) / 700.0)


def record(impulse: Array, *, noise: float = 0.0, bend: float = 0.0) -> Array:
    sent = SWEEP.at(np.arange(5 * RATE) / RATE)
    heard = fftconvolve(sent + bend * sent**2, impulse)[: 5 * RATE]
    return heard + noise * np.random.default_rng(3).normal(size=len(heard))


def test_against_pyfar() -> None:
    heard = record(room())
    size = transform_size(len(heard))
    got = deconvolve(heard, reference(size))
    pad = (0, size - len(heard))
    sent = pyfar.Signal(np.pad(SWEEP.at(np.arange(5 * RATE) / RATE), pad), RATE)
    inverse = pyfar.dsp.RegularizedSpectrumInversion.from_frequency_range(sent, [17.0, 21500.0]).invert
    expected = (pyfar.Signal(np.pad(heard, pad), RATE) * inverse).time[0]
    inside = (np.fft.rfftfreq(size, 1.0 / RATE) > 30.0) & (np.fft.rfftfreq(size, 1.0 / RATE) < 20000.0)
    one, two = rfft(got)[inside], rfft(expected)[inside]
    assert np.abs(one / two - 1.0).max() < 5e-3
    assert np.abs(np.roll(got, 1)[:100] - expected[:100]).max() > 0.1


def test_the_response_comes_back() -> None:
    heard = record(room())
    got = deconvolve(heard, reference(transform_size(len(heard))))
    error = rfft(got[:16384]) - rfft(room(), n=16384)
    inside = (np.fft.rfftfreq(16384, 1.0 / RATE) > 40.0) & (np.fft.rfftfreq(16384, 1.0 / RATE) < 20000.0)
    assert np.sum(np.abs(error[inside]) ** 2) < 3e-4 * np.sum(np.abs(rfft(room(), n=16384)[inside]) ** 2)


@pytest.mark.parametrize("bend", [0.05, 0.2])
def test_second_harmonic_is_half_the_bend(bend: float) -> None:
    """x + b x² of a full sine holds b/2 of its octave (trigonometric identity)."""
    heard = record(np.array([1.0]), bend=bend)
    ref = reference(transform_size(len(heard)))
    response = deconvolve(heard, ref)
    ratio = distortion_ratio(response, ref, density=np.zeros(31))
    assert ratio is not None
    middle = core_bands((200.0, 4000.0))
    assert np.allclose(ratio[middle], bend / 2.0, rtol=0.05)
    assert not np.allclose(ratio[middle], 0.8 * bend / 2.0, rtol=0.05)


def test_noise_is_told_in_every_band() -> None:
    """White noise of known power, divided by the known spectrum of the sweep."""
    heard = record(room(), noise=0.1)
    ref = reference(transform_size(len(heard)))
    density = noise_density(deconvolve(heard, ref), ref)
    energy = np.abs(ref.spectrum) ** 2
    frequency = np.fft.rfftfreq(ref.size, 1.0 / RATE)
    for band in range(2, 30):
        inside = (frequency >= THIRDS.lower_hz[band]) & (frequency < THIRDS.upper_hz[band])
        # |FFT of N samples|² of the noise is N sigma²; the response of N samples holds it divided by |X|².
        expected = 0.01 * 5 * RATE / ref.size * np.mean(1.0 / energy[inside])
        assert density[band] == pytest.approx(expected, rel=0.25 if band > 9 else 0.7)  # few bins lie in the bass


def test_fading_keeps_a_bass_mode_and_drops_hiss() -> None:
    time = np.arange(-960, 17280) / RATE
    mode = np.where(time >= 0, np.exp(-time / 0.05) * np.sin(2 * np.pi * 30.0 * time), 0.0)
    click = np.where(time >= 0, np.exp(-time / 0.003), 0.0) * np.random.default_rng(1).normal(size=len(time))
    rng = np.random.default_rng(4)
    hiss = np.fft.irfft(np.fft.rfft(rng.normal(scale=1e-3, size=len(time))) * np.linspace(0.0, 1.7, len(time) // 2 + 1))
    density = 1e-6 * (1.7 * THIRDS.centres_hz / 24000.0) ** 2
    got, left = settle(mode + click + hiss, zero_sample=960, sample_rate_hz=RATE, density=density)
    f = np.fft.rfftfreq(32768, 1.0 / RATE)
    bass = (f > 22.0) & (f < 40.0)
    clean = np.fft.rfft(mode + click, 32768)
    assert np.abs(np.fft.rfft(got, 32768) / clean - 1.0)[bass].max() < 0.02
    late = slice(960 + 4800, 960 + 9600)
    assert np.std(np.diff((got - mode)[late])) < 0.05 * np.std(np.diff(hiss[late]))
    assert left[29] < 0.2 * density[29] * len(time)
