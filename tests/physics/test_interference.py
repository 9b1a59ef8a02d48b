"""Combs against computed values (tests/references/layout.toml) and against the sum of two sounds."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinwright.physics.interference import STAYS_OCTAVES, dip_hz, dips_wander, draws_image, peak_to_dip_db

REFERENCE = {
    row["id"]: row
    for row in tomllib.loads((Path(__file__).parents[1] / "references" / "layout.toml").read_text("utf-8"))["entry"]
}


def test_first_dip() -> None:
    row = REFERENCE["A.comb.notches"]
    assert dip_hz(0.001 * row["inputs"]["tau_ms"]) == pytest.approx(row["expected"][0][0], rel=row["tol_rel"])


def test_depth() -> None:
    row = REFERENCE["A.comb.ripple"]
    tops, dips = np.asarray(row["expected"])[:, 1:]
    got = peak_to_dip_db(row["inputs"]["L_dB"][1:])
    assert np.abs(got - (tops - dips)).max() <= 2.0 * row["tol_abs"]
    assert (
        np.abs(peak_to_dip_db(np.asarray(row["inputs"]["L_dB"][1:]) + 0.01) - (tops - dips)).max()
        > 2.0 * row["tol_abs"]
    )
    assert 60.0 < peak_to_dip_db(0.0) < 80.0  # held: nothing cancels for ever


@given(late=st.floats(1e-4, 1e-2), level=st.floats(-30.0, -0.5))
def test_against_the_sum_of_two_sounds(late: float, level: float) -> None:
    frequency = np.linspace(1.0, 2.0 / late, 4001)
    total = 20.0 * np.log10(np.abs(1.0 + 10.0 ** (level / 20.0) * np.exp(-2j * np.pi * frequency * late)))
    first = frequency[frequency < 1.0 / late][int(total[frequency < 1.0 / late].argmin())]
    assert dip_hz(late) == pytest.approx(first, abs=1.5 * (frequency[1] - frequency[0]))
    assert peak_to_dip_db(level) == pytest.approx(float(np.ptp(total)), abs=0.05)


def test_wandering() -> None:
    low, high, stays = dips_wander([0.0010, 0.00095, 0.00102])
    assert (low, high) == (pytest.approx(490.196, abs=1e-3), pytest.approx(526.316, abs=1e-3))
    assert stays
    wide = 0.001 * 2.0 ** np.array([0.0, STAYS_OCTAVES * 1.01])
    assert not dips_wander(wide)[2]
    assert dips_wander(0.001 * 2.0 ** np.array([0.0, STAYS_OCTAVES * 0.99]))[2]


def test_what_draws_the_image() -> None:
    """Early and loud draws it; late or soft does not (Blauert 1997, approximate)."""
    assert draws_image([0.0004, 0.0004, 0.005], [-3.0, -20.0, -3.0]).tolist() == [True, False, False]
