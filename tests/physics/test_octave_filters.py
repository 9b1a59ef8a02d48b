"""Third-octave filters against IEC 61260-1:2014, class 1, as tests/references/measuring.toml has it, and against pyfar."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pyfar
import pytest
from scipy.signal import freqz_sos

from cabinwright.physics.bands import OCTAVE_RATIO
from cabinwright.physics.octave_filters import averaging_bandwidth_hz, band_sections, halving_sections, plan_bands

TABLE = Path(__file__).parents[1] / "references" / "measuring.toml"
ENTRIES: dict[str, dict[str, Any]] = {
    row["id"]: row for row in tomllib.loads(TABLE.read_text(encoding="utf-8"))["entry"]
}
MASK = ENTRIES["A.filter.octave_class_1"]
RATES = [44_100.0, 48_000.0, 96_000.0]


def attenuation_db(frequency_hz: np.ndarray, *, centre_hz: float, halvings: int, rate: float) -> np.ndarray:
    """Of the whole way: every low-pass before a halving, the mirror images that it makes, and the band's own filter."""
    gain, at = np.ones(len(frequency_hz)), frequency_hz.copy()
    for _ in range(halvings):
        gain *= np.abs(freqz_sos(halving_sections(), worN=at, fs=rate)[1])
        rate /= 2.0
        at = np.abs((at + rate / 2.0) % rate - rate / 2.0)
    band = band_sections(centre_hz=centre_hz, sample_rate_hz=rate)
    return np.asarray(-20.0 * np.log10(gain * np.abs(freqz_sos(band, worN=at, fs=rate)[1]) + 1e-30))


def limits(ratio: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Least and most attenuation at frequencies relative to the middle of a third octave."""
    x, (least, most) = np.asarray(MASK["inputs"]["x"]), np.asarray(MASK["expected"])
    narrow = (OCTAVE_RATIO ** (1.0 / 6.0) - 1.0) / (OCTAVE_RATIO**0.5 - 1.0)
    points = np.log(1.0 + narrow * (OCTAVE_RATIO**x - 1.0))
    away = np.abs(np.log(ratio))
    low = np.where(away < points[4], -0.4, np.interp(away, points, least))
    return low, np.where(away <= points[4], np.interp(away, points[:5], most[:5]), np.inf)


@pytest.mark.parametrize("rate", RATES)
def test_class_1_with_every_halving(rate: float) -> None:
    """On 2,000 frequencies up to half the full rate; a filter of half a per cent beside its place, or of lower order, fails."""
    plan = plan_bands(sample_rate_hz=rate, low_hz=16.0)
    assert len(plan.bands) == (
        31 if rate == 44_100.0 else 32
    )  # at 44.1 kHz the band at 20 kHz reaches above half the rate
    for centre, halvings in zip(plan.bands.centres_hz, plan.halvings, strict=True):
        ratio = np.exp(
            np.linspace(np.log(max(2.0 / centre, 1 / 12.0)), np.log(min(0.49999 * rate / centre, 12.0)), 2000)
        )
        low, high = limits(ratio)
        got = attenuation_db(ratio * centre, centre_hz=centre, halvings=int(halvings), rate=rate)
        assert np.all((got >= low) & (got <= high)), centre
        off = attenuation_db(ratio * centre, centre_hz=centre * 1.015, halvings=int(halvings), rate=rate)
        assert not np.all((off >= low) & (off <= high)), centre


def test_limits_are_pyfars() -> None:
    """The octave filter's limits, number by number."""
    least, most = MASK["expected"]
    lower, upper, _ = pyfar.constants.fractional_octave_filter_tolerance(1000.0, 1, 1)
    assert [-upper[k] for k in (9, 8, 7, 6, 4, 3, 2, 1, 0)] == least
    assert [-lower[k] for k in (9, 8, 7, 6, 5)] == most[:5]


def test_bandwidth_and_sum() -> None:
    """Effective bandwidth by integration over the logarithm of frequency, and the sum of all outputs for one sine."""
    wide, least, most = ENTRIES["A.filter.effective_bandwidth"]["expected"]
    plan = plan_bands(sample_rate_hz=48_000.0)
    fine = np.exp(np.linspace(np.log(10.0), np.log(23_990.0), 40_000))
    power = np.array([
        10.0 ** (-0.1 * attenuation_db(fine, centre_hz=centre, halvings=int(halvings), rate=48_000.0))
        for centre, halvings in zip(plan.bands.centres_hz, plan.halvings, strict=True)
    ])  # fmt: skip
    effective = np.trapezoid(power, np.log(fine), axis=1) / (np.log(OCTAVE_RATIO) / 3.0)
    off = 10.0 * np.log10(effective)
    assert np.abs(off[:-1]).max() < wide and abs(off[-1]) < wide
    noise = np.trapezoid(power, fine, axis=1)
    assert np.abs(noise[:-2] / averaging_bandwidth_hz(plan.bands)[:-2] - 1.0).max() < 0.01
    inside = (fine > plan.bands.centres_hz[0]) & (fine < plan.bands.centres_hz[-1])
    total = 10.0 * np.log10(power.sum(axis=0)[inside])
    assert least < total.min() and total.max() < most


def test_band_that_cannot_be() -> None:
    with pytest.raises(ValueError, match="upper edge"):
        band_sections(centre_hz=20_000.0, sample_rate_hz=44_100.0)
    with pytest.raises(ValueError, match="no third octave"):
        plan_bands(sample_rate_hz=1000.0, low_hz=500.0, high_hz=800.0)
