"""The A-weighted signal-to-noise ratio against the printed weights of IEC 61672-1:2013, Table 3."""

from __future__ import annotations

import numpy as np
import pytest

from cabinwright.measure.deconvolve import THIRDS
from cabinwright.measure.shape import weighted_snr_db


def band(nominal_hz: float) -> int:
    return int(np.argmin(np.abs(np.log(THIRDS.centres_hz / nominal_hz))))


def with_noise_at(nominal_hz: float) -> float:
    noise = np.zeros(len(THIRDS))
    noise[band(nominal_hz)] = 1e-2
    return weighted_snr_db(np.ones(len(THIRDS)), noise)


@pytest.mark.parametrize(("nominal_hz", "printed_db"), [(50.0, -30.2), (100.0, -19.1), (2500.0, 1.3), (10000.0, -2.5)])
def test_noise_counts_as_it_is_heard(nominal_hz: float, printed_db: float) -> None:
    """Noise of one density in one third octave, moved from 1 kHz: its width and its weight change, and nothing else."""
    change = with_noise_at(1000.0) - with_noise_at(nominal_hz)
    width_db = 10.0 * np.round(10.0 * np.log10(nominal_hz / 1000.0)) / 10.0
    assert change == pytest.approx(printed_db + width_db, abs=0.05)


def test_equal_spectra_need_no_weights() -> None:
    shape = np.linspace(1.0, 5.0, len(THIRDS))
    assert weighted_snr_db(shape, 1e-3 * shape) == pytest.approx(30.0)


def test_silence_on_either_side_stays_a_number() -> None:
    nothing, something = np.zeros(len(THIRDS)), np.ones(len(THIRDS))
    assert weighted_snr_db(something, nothing) == 120.0
    assert weighted_snr_db(1e-30 * something, something) == -30.0
