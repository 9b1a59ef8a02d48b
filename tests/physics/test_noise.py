"""Pink noise against its definition, measured with SciPy's spectrum and pyfar's third octaves."""

from __future__ import annotations

import numpy as np
import pyfar
import pytest

from cabinwright.physics.noise import pink_period


def test_equal_in_every_third_octave() -> None:
    """pyfar's third-octave filters, on the middle of three periods: the same level within the filters' own bandwidth errors."""
    made = pink_period(frames=2**17, sample_rate_hz=48_000.0, low_hz=40.0, high_hz=16_000.0, rms=0.1)
    signal = pyfar.Signal(np.tile(made.astype(float), 3), 48_000)
    heard = pyfar.dsp.filter.fractional_octave_bands(signal, 3, frequency_range=(125, 8000)).time
    level = 10.0 * np.log10(np.mean(heard[..., 2**17 : 2**18] ** 2, axis=-1)).ravel()
    assert np.ptp(level) < 0.1
    assert np.sqrt(np.mean(made.astype(float) ** 2)) == pytest.approx(0.1, rel=1e-5)
    assert 3.5 < np.max(np.abs(made)) / 0.1 < 6.0  # peaks of Gaussian noise


def test_silent_outside_its_band() -> None:
    """What protects a tweeter: nothing an octave below the band. White noise would fail."""
    made = pink_period(frames=2**15, sample_rate_hz=48_000.0, low_hz=2000.0, high_hz=12_000.0, rms=0.1)
    power = np.abs(np.fft.rfft(made)) ** 2
    frequency = np.fft.rfftfreq(2**15, 1 / 48_000)
    inside = (frequency > 2000) & (frequency < 12_000)
    assert power[frequency < 1700].max() < 1e-9 * power[inside].mean()
    slope = np.polyfit(np.log2(frequency[inside]), 10.0 * np.log10(power[inside]), 1)[0]
    assert slope == pytest.approx(-10.0 * np.log10(2.0), abs=1e-3)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"low_hz": 0.0}, "must rise"),
        ({"high_hz": 30_000.0}, "below half"),
        ({"frames": 8}, "too few"),
        ({"rms": 0.5}, "peaks"),
    ],
)
def test_noise_that_cannot_be(change: dict[str, float], words: str) -> None:
    usual = {"frames": 2**14, "sample_rate_hz": 48_000.0, "low_hz": 20.0, "high_hz": 20_000.0, "rms": 0.1}
    with pytest.raises(ValueError, match=words):
        pink_period(**{**usual, **change})
