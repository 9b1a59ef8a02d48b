"""Ports against the reference's lengths, an integral worked out numerically, and limits."""

from __future__ import annotations

import tomllib
from math import pi, sqrt
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad

from cabinwright.physics.port import FLUSH, FREE, Port, flush_slot_m

REFERENCE = {
    row["id"]: row
    for row in tomllib.loads((Path(__file__).parents[1] / "references" / "enclosure.toml").read_text(encoding="utf-8"))[
        "entry"
    ]
}


def test_end_corrections() -> None:
    """Rayleigh; Levine & Schwinger 1948."""
    flush, _, free = REFERENCE["A.rad.end_corr"]["expected"]
    assert pytest.approx(flush, abs=1e-6) == FLUSH
    assert pytest.approx(free, abs=1e-4) == FREE


@pytest.mark.parametrize("row", REFERENCE["B.port.length"]["expected"])
def test_lengths_of_round_ports(row: list[float]) -> None:
    tuning, litres, millimetres, count, one_each, _, both, free = row
    for ends, told in (("flanged and free", one_each), ("both flanged", both), ("both free", free)):
        port = Port(millimetres / 1e3, count=round(count), ends=ends)
        length = port.length_for_m(tuning_hz=tuning, volume_m3=litres / 1e3)
        assert length * 1e3 == pytest.approx(told, abs=0.02)
        assert port.tuning_hz(length_m=length, volume_m3=litres / 1e3) == pytest.approx(tuning, rel=1e-12)
        assert Port(1.001 * port.width_m, count=port.count, ends=ends).length_for_m(
            tuning_hz=tuning, volume_m3=litres / 1e3
        ) * 1e3 != pytest.approx(told, abs=0.02)


@pytest.mark.parametrize(("width", "height"), [(0.1, 0.1), (0.3, 0.03), (0.5, 0.01)])
def test_a_slot_in_a_wall_by_another_integral(width: float, height: float) -> None:
    """Mean of 1/r over a rectangle from the distribution of distances along each side, integrated numerically."""

    def across(u: float) -> float:  # the inner integral over v of 2 (b - v)/sqrt(u² + v²), in closed form
        return float(2.0 * (height * np.arcsinh(height / u) - (np.hypot(u, height) - u)))

    whole, _ = quad(lambda u: 2.0 * (width - u) * across(u), 0.0, width, limit=400)
    assert flush_slot_m(width, height) == pytest.approx(whole / (2.0 * pi * width * height), rel=1e-6)
    assert flush_slot_m(width, height) == pytest.approx(flush_slot_m(height, width), rel=1e-12)


def test_a_square_slot_is_nearly_round() -> None:
    """Between the inscribed circle and the one around it."""
    inner, outer = FLUSH * 0.05, FLUSH * 0.05 * sqrt(2.0)
    assert inner < flush_slot_m(0.1, 0.1) < outer
    assert Port(0.1, 0.1).end_correction_m == pytest.approx(Port(0.2 / sqrt(pi)).end_correction_m, rel=0.02)


def test_rounded_rims_want_a_longer_port() -> None:
    """The air in a flare weighs less: the same tuning takes a longer port, and a tiny flare changes nothing."""
    plain, flared = Port(0.1), Port(0.1, flare_radius_m=0.02)
    lengths = [port.length_for_m(tuning_hz=32.0, volume_m3=0.034) for port in (plain, flared)]
    assert lengths[1] > lengths[0] + 0.01
    assert Port(0.1, flare_radius_m=1e-7).end_correction_m == pytest.approx(plain.end_correction_m, rel=1e-5)


def test_pipe_resonance_is_half_a_wave() -> None:
    port = Port(0.1)
    assert 2.0 * (0.5 + port.end_correction_m) * port.pipe_resonance_hz(length_m=0.5) == pytest.approx(343.2)


def test_several_ports_add_their_areas() -> None:
    one, four = Port(0.05, count=4), Port(0.1)
    assert one.total_area_m2 == pytest.approx(four.total_area_m2)
    assert one.end_correction_m == pytest.approx(four.end_correction_m / 2.0)
