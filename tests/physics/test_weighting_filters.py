"""Digital frequency and time weighting against IEC 61672-1:2013, from tests/references/measuring.toml, and against pyfar."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pyfar
import pytest
from scipy.signal import freqz_sos

from cabinwright.physics.weighting import a_weighting_db, c_weighting_db
from cabinwright.physics.weighting_filters import exponential_share, weighting_sections

TABLE = Path(__file__).parents[1] / "references" / "measuring.toml"
ENTRIES: dict[str, dict[str, Any]] = {
    row["id"]: row for row in tomllib.loads(TABLE.read_text(encoding="utf-8"))["entry"]
}
CURVES = {"A": a_weighting_db, "C": c_weighting_db}


def level_db(sections: np.ndarray, frequency_hz: np.ndarray, rate: float) -> np.ndarray:
    return np.asarray(20.0 * np.log10(np.abs(freqz_sos(sections, worN=frequency_hz, fs=rate)[1])))


@pytest.mark.parametrize("rate", [32_000.0, 44_100.0, 48_000.0, 96_000.0, 192_000.0])
def test_class_1_at_every_rate(rate: float) -> None:
    """All printed frequencies below half the rate; a plain bilinear transform is told apart at 48 kHz."""
    entry = ENTRIES["A.weight.class_1"]
    nominal = np.asarray(entry["inputs"]["f_nominal_Hz"])
    exact = 1000.0 * 10.0 ** (np.round(10.0 * np.log10(nominal / 1000.0)) / 10.0)
    low, high = (np.asarray(row)[exact < 0.5 * rate] for row in entry["expected"])
    exact = exact[exact < 0.5 * rate]
    for name, curve in CURVES.items():
        off = level_db(weighting_sections(name, sample_rate_hz=rate), exact, rate) - curve(frequency_hz=exact)
        assert np.all((off >= low) & (off <= high)), (name, off)
        assert np.abs(off[exact < 7000.0]).max() < 0.1
        assert np.abs(off).max() < 0.9
        if rate == 48_000.0:
            assert np.abs(off[exact < 14_000.0]).max() < 0.1  # the figure of the docstring
            assert not np.all((off + 1.1 >= low) & (off + 1.1 <= high))  # a level off by so much is noticed
    flat = level_db(weighting_sections("Z", sample_rate_hz=rate), exact, rate)
    assert np.abs(flat).max() < 0.1


def test_beside_pyfar() -> None:
    """pyfar's own A and C filters at 48 kHz, fitted by an optimiser: within what both are off by."""
    frequency = 1000.0 * 10.0 ** (np.arange(-17, 12) / 10.0)
    for name in CURVES:
        made = pyfar.dsp.filter.frequency_weighting_filter(None, name, sampling_rate=48_000)
        theirs = level_db(made.coefficients[0], frequency, 48_000.0)
        ours = level_db(weighting_sections(name, sample_rate_hz=48_000.0), frequency, 48_000.0)
        assert np.abs(ours - theirs).max() < 0.25


def test_what_cannot_be() -> None:
    with pytest.raises(ValueError, match="at least 32000 Hz"):
        weighting_sections("A", sample_rate_hz=16_000.0)
    with pytest.raises(ValueError, match="A, C or Z"):
        weighting_sections("B", sample_rate_hz=48_000.0)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="above 0"):
        exponential_share(time_constant_s=0.0, sample_rate_hz=48_000.0)
