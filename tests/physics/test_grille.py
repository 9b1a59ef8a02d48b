"""Perforate: the hole's air solved a second time by finite differences, limits of textbooks, end corrections of others."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.linalg import solve_banded

from cabinwright.physics.grille import air_speed_m_s, end_correction, grille_loss_db, hole_impedance, sheet_impedance
from physics.test_perforation import REFERENCE

RHO, C, MU = 1.204, 343.2, 1.81e-5


def viscous(frequency_hz: float, diameter_m: float, thickness_m: float) -> complex:
    """Pressure over mean speed in a tube: ``jωρu − μ(1/r)(ru′)′ = Δp/t`` on a grid of radii, u = 0 at the wall."""
    count = 4000
    width = diameter_m / 2.0 / count
    r = (np.arange(count) + 0.5) * width
    inner, outer = r - width / 2.0, r + width / 2.0
    omega = 2.0 * math.pi * frequency_hz
    bands = np.zeros((3, count), dtype=complex)
    bands[0, 1:] = -MU * outer[:-1] / (r[:-1] * width**2)
    bands[2, :-1] = -MU * inner[1:] / (r[1:] * width**2)
    bands[1] = 1j * omega * RHO + MU * (inner + outer) / (r * width**2)
    bands[1, -1] += MU * outer[-1] / (r[-1] * width**2)  # half a cell to the wall
    speed = solve_banded((1, 1), bands, np.full(count, 1.0 / thickness_m, dtype=complex))
    return 1.0 / complex(np.sum(speed * r) / np.sum(r))


@pytest.mark.parametrize("frequency", [50.0, 1000.0, 10_000.0])
@pytest.mark.parametrize("diameter", [0.0003, 0.001, 0.003])
def test_air_in_a_hole_against_finite_differences(frequency: float, diameter: float) -> None:
    omega = 2.0 * math.pi * frequency
    z = hole_impedance(
        frequency_hz=np.array([frequency]), diameter_m=np.array([diameter]), thickness_m=0.001, open_share=0.0
    )[0, 0]
    ends = 0.5 * math.sqrt(2.0 * omega * RHO * MU) + 1j * omega * RHO * 8.0 / (3.0 * math.pi) * diameter
    wanted = viscous(frequency, diameter, 0.001)
    assert abs(z - ends - wanted) < 2e-3 * abs(wanted)
    assert abs(1.02 * (z - ends) - wanted) > 2e-3 * abs(wanted)


def test_limits_of_the_textbook() -> None:
    # Poiseuille: 32 μt/d² and 4/3 ρt in a narrow hole at low frequency.
    low = hole_impedance(frequency_hz=np.array([5.0]), diameter_m=np.array([2e-4]), thickness_m=0.01, open_share=0.0)[
        0, 0
    ]
    assert low.real == pytest.approx(32.0 * MU * 0.01 / 2e-4**2, rel=0.01)
    assert low.imag / (10.0 * math.pi * RHO * 0.01) == pytest.approx(4.0 / 3.0 + 0.8488 * 0.02, rel=0.01)
    # Wide hole, high frequency: the air moves as a plug, ρ(t + 0.85 d); nothing overflows.
    high = hole_impedance(frequency_hz=np.array([2e4]), diameter_m=np.array([0.02]), thickness_m=0.01, open_share=0.0)[
        0, 0
    ]
    assert high.imag / (4e4 * math.pi * RHO) == pytest.approx(0.01 + 0.8488 * 0.02, rel=0.01)


def test_end_corrections_of_others() -> None:
    single = REFERENCE["A.rad.end_corr"]
    assert 1.0 * end_correction(diameter_m=1.0, open_share=0.0) == pytest.approx(
        single["expected"], rel=single["tol_rel"]
    )
    for share in (0.02, 0.05, 0.1, 0.2):
        # Ingard 1953, fitted to his own theory: 1 − 1.47 √σ + 0.47 √σ³.
        ingard = 1.0 - 1.47 * math.sqrt(share) + 0.47 * math.sqrt(share) ** 3
        assert end_correction(diameter_m=1.0, open_share=share) / 0.8488 == pytest.approx(ingard, rel=0.08)
        assert end_correction(diameter_m=1.0, open_share=share) / 0.8488 != pytest.approx(0.85 * ingard, rel=0.08)
    with pytest.raises(ValueError, match=r"between 0 and 0\.7"):
        end_correction(diameter_m=0.001, open_share=0.9)


def test_loss_follows_the_mass_law() -> None:
    # A sheet whose air is a plug is a limp mass m per area: 10 log(1 + (ωm/2ρc)²) (Fahy, Foundations of Engineering Acoustics).
    frequency, share, d, t = np.array([1e3, 5e3, 1e4, 2e4]), 0.05, 0.01, 0.01
    mass = RHO * (t + float(end_correction(diameter_m=d, open_share=share))) / share
    wanted = 10.0 * np.log10(1.0 + (2.0 * np.pi * frequency * mass / (2.0 * RHO * C)) ** 2)
    z = sheet_impedance(frequency_hz=frequency, diameter_m=np.array([d]), area_share=np.array([share]), thickness_m=t)
    assert grille_loss_db(z) == pytest.approx(wanted, abs=0.15)
    assert grille_loss_db(1.05 * z) != pytest.approx(wanted, abs=0.15)
    shut = sheet_impedance(frequency_hz=frequency, diameter_m=np.zeros(0), area_share=np.zeros(0), thickness_m=t)
    assert np.all(np.isinf(grille_loss_db(shut)))


def test_many_holes_are_one_larger_share() -> None:
    frequency = np.array([500.0, 8e3])
    many, one = (
        sheet_impedance(
            frequency_hz=frequency, diameter_m=np.full(n, 0.002), area_share=np.full(n, 0.4 / n), thickness_m=0.001
        )
        for n in (40, 1)
    )
    assert many == pytest.approx(one, rel=1e-9)


def test_air_speed_is_volume_velocity_over_area() -> None:
    # Half a litre a stroke: 0.05 m² at 10 mm and 40 Hz moves 0.1257 m³/s at its peak; through 0.02 m² that is 6.28 m/s.
    assert air_speed_m_s(area_m2=0.05, excursion_m=0.01, frequency_hz=40.0, open_m2=0.02) == pytest.approx(
        6.2832, rel=1e-4
    )
    assert air_speed_m_s(area_m2=0.05, excursion_m=0.01, frequency_hz=40.0, open_m2=0.0) == math.inf
