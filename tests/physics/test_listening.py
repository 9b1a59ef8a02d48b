"""What listening is made of, each against something else: SciPy's convolution and binomial, pyloudnorm, published formants."""

from __future__ import annotations

import numpy as np
import pyloudnorm
import pytest
from scipy.signal import fftconvolve, resample
from scipy.stats import binom, binomtest

from cabinwright.physics.chance import chance, needed
from cabinwright.physics.loudness import Meter, loudness
from cabinwright.physics.partitioned import Convolver
from cabinwright.physics.stimuli import FORMANTS_HZ, STIMULI, stimulus, vowel
from cabinwright.physics.true_peak import TruePeak

RATE = 48_000.0


@pytest.mark.parametrize("length", [1, 63, 64, 65, 500])
def test_parts_give_what_direct_convolution_gives(length: int) -> None:
    rng = np.random.default_rng(length)
    responses, signal = rng.normal(size=(2, 2, length)), rng.normal(size=(64 * 20, 2))
    through = Convolver(responses, block=64)
    got = np.concatenate([through(signal[k : k + 64]) for k in range(0, len(signal), 64)])
    wanted = np.stack(
        [sum(fftconvolve(signal[:, i], responses[i, o])[: len(signal)] for i in range(2)) for o in range(2)], axis=1
    )
    assert np.abs(got - wanted).max() < 1e-11
    assert through.tail == length - 1
    responses[0, 1, -1] += 1e-6
    off = Convolver(responses, block=64)
    assert np.abs(np.concatenate([off(signal[k : k + 64]) for k in range(0, len(signal), 64)]) - got).max() > 1e-7


def test_blocks_of_another_size_are_refused() -> None:
    with pytest.raises(ValueError, match="a block is"):
        Convolver(np.zeros((2, 2, 10)), block=64)(np.zeros((63, 2)))
    with pytest.raises(ValueError, match="inputs, outputs"):
        Convolver(np.zeros((2, 10)))


@pytest.mark.parametrize("rate", [44_100, 48_000])
def test_loudness_block_by_block_against_pyloudnorm(rate: int) -> None:
    rng = np.random.default_rng(3)
    signal = rng.normal(size=(rate * 6, 2)) * np.repeat([0.2, 0.002, 0.05], rate * 2)[:, None]
    meter, at = Meter(sample_rate_hz=rate, channels=2), 0
    for size in (1, 17, 5000, 40_000, *([8192] * 40)):
        meter(signal[at : at + size])
        at += size
    got = meter.result()
    wanted = pyloudnorm.Meter(rate, filter_class="DeMan").integrated_loudness(signal)
    assert got.integrated_lufs == pytest.approx(wanted, abs=0.01)
    whole = loudness(signal, sample_rate_hz=rate)
    assert (got.blocks, got.kept) == (whole.blocks, whole.kept)
    assert got.integrated_lufs == pytest.approx(whole.integrated_lufs, abs=1e-9)


def test_the_peak_between_samples() -> None:
    # ITU-R BS.1770-5, Annex 2: a sine at a quarter of the rate, half way between its peaks, reads 3 dB low on samples.
    signal = np.sin(0.5 * np.pi * np.arange(4800) + 0.25 * np.pi)[:, None] * np.hanning(4800)[:, None]
    assert np.abs(signal).max() == pytest.approx(np.sqrt(0.5), abs=1e-3)
    meter = TruePeak(sample_rate_hz=RATE, channels=1)
    for start in range(0, 4800, 700):
        meter(signal[start : start + 700])
    assert meter.peak == pytest.approx(1.0, abs=2e-3)
    rng = np.random.default_rng(8)
    spectrum = np.fft.rfft(rng.normal(size=4096))
    spectrum[1200:] = 0.0  # up to 14 kHz
    noise = np.fft.irfft(spectrum, n=4096) * np.hanning(4096)
    other = TruePeak(sample_rate_hz=RATE, channels=1)
    other(np.concatenate([noise, np.zeros(100)])[:, None])
    assert other.peak == pytest.approx(np.abs(resample(noise, 4 * 4096)).max(), rel=2e-3)


def test_chance_against_scipy() -> None:
    for trials in (1, 5, 10, 16, 40):
        for right in range(trials + 1):
            got = chance(right=right, trials=trials)
            assert got.p == pytest.approx(float(binom.sf(right - 1, trials, 0.5)), abs=1e-12)
            both = chance(right=right, trials=trials, two_sided=True)
            assert both.p == pytest.approx(float(binomtest(right, trials, 0.5).pvalue), abs=1e-12)
            bounds = binomtest(right, trials, 0.5).proportion_ci(0.95, "exact")
            assert (got.low, got.high) == pytest.approx((bounds.low, bounds.high), abs=1e-9)
    assert not chance(right=8, trials=10).clear, "8 of 10 are guessed once in 18 times"
    assert chance(right=9, trials=10).clear
    assert not chance(right=4, trials=4).clear, "four trials can show nothing"
    for trials in (6, 10, 16, 25):
        assert needed(trials=trials) == int(binom.isf(0.05, trials, 0.5)) + 1
    assert needed(trials=5, two_sided=True) is None, "five times the same comes once in sixteen without any preference"
    assert needed(trials=6, two_sided=True) == 6
    with pytest.raises(ValueError, match="between 0 and the trials"):
        chance(right=3, trials=2)


def test_vowels_have_the_published_formants() -> None:
    for name, formants in FORMANTS_HZ.items():  # Peterson & Barney 1952
        sound = vowel(name, sample_rate_hz=16_000.0, length_s=0.5)[2000:]
        # Linear prediction (Makhoul 1975) finds resonances from the sound alone.
        slope = np.diff(sound) * np.hanning(len(sound) - 1)
        lags = np.correlate(slope, slope, "full")[len(slope) - 1 :][:13]
        table = np.array([[lags[abs(i - j)] for j in range(12)] for i in range(12)])
        roots = np.roots([1.0, *-np.linalg.solve(table + 1e-9 * lags[0] * np.eye(12), lags[1:])])
        found = np.sort(np.angle(roots[(roots.imag > 0.0) & (np.abs(roots) > 0.85)])) * 16_000.0 / (2.0 * np.pi)
        for formant in formants:
            assert np.abs(found / formant - 1.0).min() < 0.12, (name, formant, found)


def test_every_sound_is_plain_and_the_same_each_time() -> None:
    for name in STIMULI:
        sound = stimulus(name, sample_rate_hz=RATE)
        assert sound.ndim == 2
        assert sound.shape[1] == 2
        assert np.abs(sound).max() == pytest.approx(0.5)
        assert np.array_equal(sound, stimulus(name, sample_rate_hz=RATE))
        assert np.isfinite(loudness(sound, sample_rate_hz=RATE).integrated_lufs)
    with pytest.raises(KeyError):
        stimulus("silence", sample_rate_hz=RATE)
