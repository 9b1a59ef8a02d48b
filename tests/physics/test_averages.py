"""Scatter of averages against averages of random numbers, and their intervals against SciPy's chi-square."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import csd, welch
from scipy.signal.windows import hann
from scipy.stats import chi2

from cabinwright.physics.averages import (
    coherence_by_chance,
    exponential_averages,
    linear_averages,
    overlap_correlation,
    power_interval_db,
    transfer_error,
)

WINDOW = hann(64, sym=False)


def test_half_overlapping_hann() -> None:
    """Welch 1967: 1/36 between half-overlapping Hann windows, so 11/9 of the averages at the same length for many."""
    got = overlap_correlation(hann(4096, sym=False), hop=2048)
    assert got == pytest.approx([1.0 / 36.0], rel=1e-9)
    assert linear_averages(got, spectra=1) == 1.0
    assert linear_averages(got, spectra=10_000) == pytest.approx(10_000 / (1.0 + 2.0 / 36.0), rel=1e-4)


@pytest.mark.parametrize("hop", [8, 32, 64])
def test_linear_count_is_what_noise_shows(hop: int) -> None:
    """SciPy's own Welch average of white noise scatters as so many independent powers; a count a quarter off would be noticed."""
    noise = np.random.default_rng(3).standard_normal((4000, 64 + 40 * hop))
    power = welch(noise, window=WINDOW, nperseg=64, noverlap=64 - hop, detrend=False)[1][:, 8:24:5]
    shown = np.mean(power.mean(axis=0) ** 2 / power.var(axis=0))
    count = linear_averages(overlap_correlation(WINDOW, hop=hop), spectra=41)
    assert shown == pytest.approx(count, rel=0.06)
    assert shown != pytest.approx(1.25 * count, rel=0.06)


def test_exponential_count_is_what_noise_shows() -> None:
    hop, share = 16, 0.1
    noise = np.random.default_rng(4).standard_normal((3000, 64 + 120 * hop))
    starts = np.arange(121) * hop
    pieces = np.stack([noise[:, at : at + 64] for at in starts], axis=1) * WINDOW
    power = np.abs(np.fft.rfft(pieces, axis=-1)[..., 8:24:5]) ** 2
    weights = share * (1.0 - share) ** np.arange(120, -1, -1)
    mean = np.einsum("nkf,k->nf", power, weights) / weights.sum()
    shown = np.mean(mean.mean(axis=0) ** 2 / mean.var(axis=0))
    count = exponential_averages(overlap_correlation(WINDOW, hop=hop), share=share, spectra=121)
    assert shown == pytest.approx(count, rel=0.06)
    assert exponential_averages(np.zeros(0), share=share, spectra=3) == 3.0
    assert exponential_averages(np.zeros(0), share=share, spectra=0) == 0.0


def test_interval_is_chi_square() -> None:
    low, high = power_interval_db(independent=[1.0, 10.0, 0.0], confidence=0.95)
    for at, count in ((0, 1.0), (1, 10.0)):
        assert low[at] == pytest.approx(10.0 * np.log10(2.0 * count / chi2.ppf(0.975, 2.0 * count)), abs=1e-9)
        assert high[at] == pytest.approx(10.0 * np.log10(2.0 * count / chi2.ppf(0.025, 2.0 * count)), abs=1e-9)
    assert (low[2], high[2]) == (-np.inf, np.inf)


def test_errors_of_a_transfer_function() -> None:
    """Scatter of SciPy's own estimate over 2,000 runs with a coherence of 0.5; and what unrelated noise reaches by chance."""
    rng, pieces = np.random.default_rng(5), 16
    x = rng.standard_normal((2000, 64 * pieces))
    y = x + rng.standard_normal(x.shape)
    options = {"window": WINDOW, "nperseg": 64, "noverlap": 0, "detrend": False}
    response = (csd(x, y, **options)[1] / welch(x, **options)[1])[:, 8:24:3]
    told = float(transfer_error(coherence=0.5, independent=pieces))
    assert np.abs(response).std() == pytest.approx(told, rel=0.1)
    assert np.angle(response).std() == pytest.approx(told, rel=0.1)
    noise = rng.standard_normal(x.shape)
    cross = csd(x, noise, **options)[1]
    by_chance = (np.abs(cross) ** 2 / (welch(x, **options)[1] * welch(noise, **options)[1]))[:, 8:24:3]
    assert np.mean(by_chance > coherence_by_chance(independent=pieces)) == pytest.approx(0.05, abs=0.01)
    assert coherence_by_chance(independent=1.0) == 1.0
