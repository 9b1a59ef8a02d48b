"""Frequency weighting against IEC 61672-1:2013, as copied with its source into tests/references/measuring.toml."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from cabinwright.physics.weighting import a_weighting_db, c_weighting_db

TABLE = Path(__file__).parents[1] / "references" / "measuring.toml"
ENTRIES: dict[str, dict[str, Any]] = {
    row["id"]: row for row in tomllib.loads(TABLE.read_text(encoding="utf-8"))["entry"]
}
Weighting = Callable[..., np.ndarray]


@pytest.mark.parametrize(
    ("key", "weighting"), [("A.weight.A_table", a_weighting_db), ("A.weight.C_table", c_weighting_db)]
)
def test_the_printed_table(key: str, weighting: Weighting) -> None:
    """All 34 values, to the last printed digit; nominal frequencies, or the rounded constant at 1 kHz, would fail."""
    entry = ENTRIES[key]
    nominal = np.asarray(entry["inputs"]["f_nominal_Hz"])
    exact = 1000.0 * 10.0 ** (np.round(10.0 * np.log10(nominal / 1000.0)) / 10.0)
    got = weighting(frequency_hz=exact)
    assert np.abs(got - entry["expected"]).max() <= entry["tol_abs"] + 1e-9
    assert np.array_equal(np.round(got, 1), np.asarray(entry["expected"]))
    assert not np.array_equal(np.round(weighting(frequency_hz=nominal), 1), np.asarray(entry["expected"]))
    assert not np.array_equal(np.round(got + 0.03, 1), np.asarray(entry["expected"]))


def test_c_unrounded() -> None:
    entry = ENTRIES["A.weight.C_formula"]
    got = c_weighting_db(frequency_hz=entry["inputs"]["f_exact_Hz"])
    assert np.abs(got - entry["expected"]).max() <= entry["tol_abs"]
    assert np.abs(got + 0.006 - entry["expected"]).max() > entry["tol_abs"]


@pytest.mark.parametrize("weighting", [a_weighting_db, c_weighting_db])
def test_shape_and_ends(weighting: Weighting) -> None:
    got = weighting(frequency_hz=[[1000.0, 0.0], [20.0, 20000.0]])
    assert got.shape == (2, 2)
    assert got[0].tolist() == [0.0, -np.inf]
    assert float(weighting(frequency_hz=1000.0)) == 0.0
    with pytest.raises(ValueError, match="negative"):
        weighting(frequency_hz=-1.0)
    with pytest.raises(ValueError, match="negative"):
        weighting(frequency_hz=np.nan)
