"""A piston's directivity against handbook values (tests/references/layout.toml), and a measured polar between its points."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad

from cabinwright.physics.directivity import Polar, band_loss_db, piston

REFERENCE = {
    row["id"]: row
    for row in tomllib.loads((Path(__file__).parents[1] / "references" / "layout.toml").read_text("utf-8"))["entry"]
}


def _at_x(x: np.ndarray | float) -> np.ndarray:
    """The factor at ``ka sin(theta)``: a piston of 5 cm seen from its side."""
    frequency = np.asarray(x) * 343.2 / (2.0 * np.pi * 0.05)
    return piston(frequency_hz=frequency, angle_rad=0.5 * np.pi, radius_m=0.05, speed_m_s=343.2)


def test_factor() -> None:
    row = REFERENCE["A.piston.D"]
    got = _at_x(np.asarray(row["inputs"]["x"]))
    assert np.abs(got - row["expected"]).max() <= row["tol_abs"]
    assert np.abs(_at_x(1.00002 * np.asarray(row["inputs"]["x"])) - row["expected"]).max() > row["tol_abs"]
    assert _at_x(0.0) == 1.0


def test_falls_where_the_handbook_says() -> None:
    row = REFERENCE["A.piston.x_at_db"]
    level = 20.0 * np.log10(_at_x(np.asarray(row["expected"])))
    assert np.abs(level + row["inputs"]["fall_dB"]).max() < 2e-4
    half = REFERENCE["A.piston.x_half"]["expected"]
    assert np.abs(_at_x(np.asarray(half)) - [np.sqrt(0.5), 0.5]).max() < 1e-5


def test_first_null_and_side_lobe() -> None:
    null, lobe, level_db = REFERENCE["A.piston.null_sidelobe"]["expected"]
    assert abs(_at_x(null)) < 1e-6
    around = _at_x(lobe + np.array([-0.01, 0.0, 0.01]))
    assert abs(around[1]) > max(abs(around[0]), abs(around[2]))
    assert 20.0 * np.log10(abs(around[1])) == pytest.approx(level_db, abs=1e-3)


@pytest.mark.parametrize("ka", [2.0, 5.0, 10.0])
def test_angles(ka: float) -> None:
    row = REFERENCE[f"A.piston.angles_ka{ka:.0f}"]
    frequency = ka * 343.2 / (2.0 * np.pi * 0.05)
    for angle, fall in zip(row["expected"], row["inputs"]["fall_dB"], strict=True):
        for turn, below in ((-row["tol_abs"], False), (row["tol_abs"], True)):
            level = piston(frequency_hz=frequency, angle_rad=np.radians(angle + turn), radius_m=0.05, speed_m_s=343.2)
            assert bool(20.0 * np.log10(level) < -fall) is below


def test_a_door_speaker() -> None:
    row = REFERENCE["A.piston.drop_165mm"]
    given = row["inputs"]
    got = piston(
        frequency_hz=np.asarray(given["f_Hz"])[None],
        angle_rad=np.radians(given["theta_deg"])[:, None],
        radius_m=given["a_m"],
        speed_m_s=given["c"],
    )
    assert np.abs(20.0 * np.log10(np.abs(got)) - row["expected"]).max() <= row["tol_abs"]


def test_directivity_index() -> None:
    """Power through the half sphere, integrated, against the closed form."""
    row = REFERENCE["A.piston.DI"]
    for ka, expected in zip(row["inputs"]["ka"], row["expected"], strict=True):
        frequency = ka * 343.2 / (2.0 * np.pi * 0.05)

        def ring(angle: float, f: float = frequency) -> float:
            return float(piston(frequency_hz=f, angle_rad=angle, radius_m=0.05, speed_m_s=343.2) ** 2 * np.sin(angle))

        power, _ = quad(ring, 0.0, 0.5 * np.pi)
        assert 10.0 * np.log10(2.0 / power) == pytest.approx(expected, abs=row["tol_abs"])


def test_octave_bands_are_means_of_the_power() -> None:
    """Against SciPy's integral over the octave on a logarithmic axis; behind the piston the value of 90 degrees is held."""
    angles, bands = np.radians([0.0, 20.0, 60.0, 90.0, 150.0]), np.array([500.0, 1000.0, 2000.0, 4000.0, 8000.0])
    got = band_loss_db(angle_rad=angles, bands_hz=bands, radius_m=0.05, speed_m_s=343.2)
    assert got.shape == (5, 5)
    assert np.all(got[0] == 0.0) and np.all(got <= 0.0)
    assert np.array_equal(got[3], got[4])
    for a, b in ((1, 4), (2, 2), (2, 3), (3, 1), (3, 3)):

        def power(octave: float, a: int = a, b: int = b) -> float:
            factor = piston(frequency_hz=bands[b] * 2.0**octave, angle_rad=angles[a], radius_m=0.05, speed_m_s=343.2)
            return float(factor**2)

        mean, _ = quad(power, -0.5, 0.5)
        assert got[a, b] == pytest.approx(10.0 * np.log10(mean), abs=0.25)
        assert got[a, b] != pytest.approx(10.0 * np.log10(mean) - 0.5, abs=0.25)


def test_measured_polar() -> None:
    polar = Polar(
        np.radians([0.0, 30.0, 90.0]), np.array([1000.0, 4000.0]), np.array([[0.0, 0.0], [-1.0, -3.0], [-4.0, -18.0]])
    )
    assert polar.at(frequency_hz=2000.0, angle_rad=np.radians([30.0]))[0] == pytest.approx(-2.0)  # an octave from each
    assert polar.at(frequency_hz=1000.0, angle_rad=np.radians([60.0]))[0] == pytest.approx(-2.5)
    assert polar.at(frequency_hz=100.0, angle_rad=np.radians([150.0]))[0] == pytest.approx(-4.0)
    bands = band_loss_db(
        angle_rad=np.radians([0.0, -30.0]),
        bands_hz=np.array([4000.0, 8000.0]),
        radius_m=0.1,
        speed_m_s=343.2,
        polar=polar,
    )
    assert np.allclose(bands, [[0.0, 0.0], [-3.0, -3.0]])
