"""Band centres and edges against IEC 61260-1:2014, as copied with their source into tests/references/measuring.toml."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinwright.physics.bands import nominal_third_hz, octave_bands

TABLE = Path(__file__).parents[1] / "references" / "measuring.toml"
ENTRIES: dict[str, dict[str, Any]] = {
    row["id"]: row for row in tomllib.loads(TABLE.read_text(encoding="utf-8"))["entry"]
}


def close(entry: dict[str, Any], got: np.ndarray, expected: list[float]) -> bool:
    return bool(np.all(np.abs(got - expected) <= entry["tol_abs"] + entry["tol_rel"] * np.abs(expected)))


@pytest.mark.parametrize(
    ("key", "fraction", "low_hz", "high_hz"),
    [
        ("A.band.octave_centre", 1, 16.0, 16000.0),
        ("A.band.third_octave_centre", 3, 20.0, 20000.0),
        ("A.band.1_6_centre", 6, 749.9, 1333.0),
        ("A.band.1_12_centre", 12, 866.0, 1154.0),
    ],
)
def test_centres(key: str, fraction: int, low_hz: float, high_hz: float) -> None:
    got = octave_bands(fraction=fraction, low_hz=low_hz, high_hz=high_hz).centres_hz
    assert close(ENTRIES[key], got, ENTRIES[key]["expected"])
    assert not close(ENTRIES[key], got * (1.0 + 3e-6), ENTRIES[key]["expected"])


def test_nominal_thirds() -> None:
    """ISO 266, R10, as the standard's Annex E has it: what weighting and third octaves are tabulated by."""
    nominal = ENTRIES["A.weight.A_table"]["inputs"]["f_nominal_Hz"]
    assert [nominal_third_hz(10.0 ** (k / 10.0)) for k in range(10, 44)] == pytest.approx(nominal, rel=1e-12)


def test_octave_edges() -> None:
    entry = ENTRIES["A.band.octave_edges"]
    bands = octave_bands(fraction=1, low_hz=16.0, high_hz=16000.0)
    assert close(entry, bands.lower_hz, entry["expected"][0])
    assert close(entry, bands.upper_hz, entry["expected"][1])
    assert not close(entry, bands.upper_hz * (1.0 + 3e-6), entry["expected"][1])


@given(fraction=st.integers(1, 48), low_hz=st.floats(1.0, 1e4), span=st.floats(1.0, 1e3))
def test_bands_touch_and_cover(fraction: int, low_hz: float, span: float) -> None:
    bands = octave_bands(fraction=fraction, low_hz=low_hz, high_hz=low_hz * span)
    assert np.allclose(bands.upper_hz[:-1], bands.lower_hz[1:], rtol=1e-12)
    assert bands.lower_hz[0] <= low_hz * 1.006
    assert bands.upper_hz[-1] >= low_hz * span * 0.994


@pytest.mark.parametrize(("fraction", "low_hz"), [(0, 20.0), (49, 20.0), (3, 0.0), (3, float("nan"))])
def test_impossible_bands(fraction: int, low_hz: float) -> None:
    with pytest.raises(ValueError, match="must"):
        octave_bands(fraction=fraction, low_hz=low_hz, high_hz=20000.0)
