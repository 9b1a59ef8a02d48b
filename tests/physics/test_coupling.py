"""Coupling against Neumann's integral worked out numerically, against field theory of a body, and against ngspice."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import dblquad, quad

from cabinwright.physics.coupling import (
    induced_v,
    mutual_h,
    mutual_over_body_h,
    pulse_fundamental,
    self_over_body_h,
    shield_share,
)
from physics.spice import spice


def neumann_h(length_m: float, spacing_m: float) -> float:
    """μ0/4π ∬ ds ds' / r of two parallel filaments, each from 0 to its length (Neumann 1845)."""
    value, _ = dblquad(lambda a, b: 1.0 / math.hypot(a - b, spacing_m), 0.0, length_m, 0.0, length_m, epsrel=1e-9)
    return 1e-7 * value


@pytest.mark.parametrize(("length_m", "spacing_m"), [(1.0, 0.1), (4.5, 0.02), (0.3, 0.5), (0.05, 2.0)])
def test_mutual_inductance_is_neumann_s_integral(length_m: float, spacing_m: float) -> None:
    told = mutual_h(length_m=length_m, spacing_m=spacing_m)
    assert told == pytest.approx(neumann_h(length_m, spacing_m), rel=1e-6, abs=0.0)
    assert mutual_h(length_m=length_m, spacing_m=1.001 * spacing_m) != pytest.approx(told, rel=1e-5, abs=0.0)


def test_long_wires_over_a_body_share_the_flux_between_them() -> None:
    """Flux of a long wire and its image through the strip between the body and the other wire, integrated point by point."""
    height, spacing, mu0 = 0.03, 0.08, 4e-7 * math.pi

    def through_strip(z: float) -> float:
        """Sideways field at the strip x = spacing at height z, of 1 A along y at (0, h) and its image -1 A at (0, -h)."""
        above, below = spacing**2 + (z - height) ** 2, spacing**2 + (z + height) ** 2
        return mu0 / (2.0 * math.pi) * ((height - z) / above + (height + z) / below)

    flux, _ = quad(through_strip, 0.0, height)
    told = mutual_over_body_h(length_m=100.0, spacing_m=spacing, height_m=height) / 100.0
    assert told == pytest.approx(flux, rel=2e-3, abs=0.0)
    assert told != pytest.approx(1.01 * flux, rel=2e-3, abs=0.0)


def test_a_wire_over_a_body_is_half_of_a_pair() -> None:
    """A pair of wires at 2h has μ0/π acosh(h/a) a metre (Paul 2008, two-wire line); the body halves it."""
    told = self_over_body_h(length_m=2.0, height_m=0.02, radius_m=0.0025)
    assert told == pytest.approx(2.0 * 0.5 * 4e-7 * math.acosh(0.02 / 0.0025), rel=1e-9)


def test_the_fundamental_of_pulses_is_what_a_transform_finds() -> None:
    time = (np.arange(100_000) + 0.5) / 100_000
    for share in (0.1, 0.3, 0.5, 0.9):
        wave = np.where(time < share, 3.0, 0.0)
        found = 2.0 * abs(np.fft.rfft(wave)[1]) / len(wave)
        assert pulse_fundamental(current_a=3.0, on_share=share) == pytest.approx(found, rel=1e-4)


def test_a_ground_loop_in_ngspice(tmp_path: Path) -> None:
    """A power wire with 0.4 A at 1.2 kHz beside a shield of 90 mΩ, grounds of 4 mΩ: the voltage along the shield."""
    length, spacing, height = 4.5, 0.02, 0.02
    own = self_over_body_h(length_m=length, height_m=height, radius_m=0.0025)
    mutual = mutual_over_body_h(length_m=length, spacing_m=spacing, height_m=height)
    power_h = 1e-5
    elements = [
        "Ipower 0 p AC 0.4",
        f"Lpower p 0 {power_h:.12g}",
        f"Lloop a b {own:.12g}",
        f"K1 Lpower Lloop {mutual / math.sqrt(power_h * own):.12g}",
        "Rshield b 0 0.09",
        "Rground a 0 0.004",
    ]
    told = spice(elements, ["ac lin 1 1200 1200", "let heard = vm(b)", "print heard"], tmp_path)["heard"]
    emf = induced_v(frequency_hz=1200.0, inductance_h=mutual, current_a=np.array([0.4]))
    share = shield_share(frequency_hz=1200.0, shield_ohm=0.09, ground_ohm=np.array([0.004]), loop_h=own)
    assert float((emf * share)[0]) == pytest.approx(told, rel=1e-6)
    wrong = shield_share(frequency_hz=1200.0, shield_ohm=0.09, ground_ohm=np.array([0.006]), loop_h=own)
    assert float((emf * wrong)[0]) != pytest.approx(told, rel=1e-3)


def test_a_shield_that_nothing_closes_hears_nothing() -> None:
    assert shield_share(frequency_hz=50.0, shield_ohm=0.1, ground_ohm=np.array([np.inf]), loop_h=1e-6)[0] == 0.0
