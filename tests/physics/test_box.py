"""Boxes against Thiele's and Small's tables, against figures that ngspice gave elsewhere, and against limits."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from math import pi, sqrt
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from cabinwright.physics import alignment
from cabinwright.physics.box import Load, level_db, passband_db, solve
from cabinwright.physics.driver import AIR_STIFFNESS_PA, Driver

REFERENCE = {
    row["id"]: row
    for row in tomllib.loads((Path(__file__).parents[1] / "references" / "enclosure.toml").read_text(encoding="utf-8"))[
        "entry"
    ]
}
UNIT = Driver(0.11, 0.0003, 2.5, 11.0, 3.4, 0.033)


def scaled(qts: float, *, fs_hz: float = 30.0, qms: float = 1e6) -> Driver:
    """A drive unit of this total Q, nearly all of it electrical."""
    cms = 0.0003
    mms = 1.0 / ((2.0 * pi * fs_hz) ** 2 * cms)
    qes = 1.0 / (1.0 / qts - 1.0 / qms)
    return Driver(mms, cms, sqrt(mms / cms) / qms, sqrt(sqrt(mms / cms) * 3.4 / qes), 3.4, 0.033)


def test_quoted_figures() -> None:
    """Small 1972."""
    told = REFERENCE["B.driver.ts"]["expected"]
    ours = (UNIT.fs_hz, UNIT.qms, UNIT.qes, UNIT.qts, UNIT.vas_m3 * 1e3)
    wanted = [told[key] for key in ("fs_Hz", "Qms", "Qes", "Qts", "Vas_L")]
    assert ours == pytest.approx(wanted, rel=1e-6)


def test_sensitivity_far_above_resonance() -> None:
    watt, volts = REFERENCE["B.spl.driver"]["expected"]
    assert passband_db(UNIT, Load(), source_v=sqrt(3.4)) == pytest.approx(watt, abs=0.005)
    assert passband_db(UNIT, Load(), source_v=2.83) == pytest.approx(volts, abs=0.005)


def test_closed_box() -> None:
    alpha, resonance, q, f3 = REFERENCE["B.closed.driver_25L"]["expected"]
    assert alignment.closed_box(UNIT, volume_m3=0.025) == pytest.approx((resonance, q), rel=1e-6)
    assert UNIT.vas_m3 / 0.025 == pytest.approx(alpha, rel=1e-6)
    load = alignment.closed_load(volume_m3=0.025)
    assert alignment.half_power_hz(UNIT, load, source_v=1.0) == pytest.approx(f3, rel=1e-5)


@pytest.mark.parametrize("inductance", [0.0, 0.002])
def test_half_power_of_every_q(inductance: float) -> None:
    """Small 1972: f3/fc against Qtc; the voice coil's inductance is no part of it."""
    row = REFERENCE["B.closed.f3"]
    for q, ratio in zip(row["inputs"]["Qtc"], row["expected"], strict=True):
        driver = replace(scaled(q), le_h=inductance)
        found = alignment.half_power_hz(driver, Load(), source_v=1.0)
        assert found == pytest.approx(30.0 * ratio, rel=1e-4)


@pytest.mark.parametrize("name", ["B.vented.B4_QLinf", "B.vented.B4_QL7", "B.vented.B4_QL5", "B.vented.B4_QL3"])
def test_maximally_flat_vented_boxes(name: str) -> None:
    """Small 1973: with the table's volume, tuning and Q the curve is a fourth-order Butterworth."""
    row = REFERENCE[name]
    told, ql = row["expected"], row["inputs"]["QL"]
    driver = scaled(told["QT"])
    load = alignment.vented_load(
        volume_m3=driver.vas_m3 / told["alpha"], tuning_hz=30.0 * told["h"], ql=None if ql == "inf" else ql
    )
    grid = 30.0 * np.geomspace(0.5, 4.0, 60)
    level = level_db(solve(driver, load, frequency_hz=grid, source_v=1.0).pressure_pa)
    flat = level - float(passband_db(driver, load, source_v=1.0))
    butterworth = -10.0 * np.log10(1.0 + (30.0 / grid) ** 8)
    assert np.max(np.abs(flat - butterworth)) < 0.01
    detuned = alignment.vented_load(volume_m3=driver.vas_m3 / told["alpha"], tuning_hz=31.0, ql=None)
    other = level_db(solve(driver, detuned, frequency_hz=grid, source_v=1.0).pressure_pa)
    assert np.max(np.abs(other - float(passband_db(driver, detuned, source_v=1.0)) - butterworth)) > 0.1


@pytest.mark.parametrize(
    ("name", "ql", "within"),
    [
        ("B.vented.QB3_QLinf", None, 1e-3),
        ("B.vented.QB3_QL7", 7.0, 1e-3),
        ("B.vented.C4_QLinf", None, 1e-3),
        ("B.vented.C4_QL7", 7.0, 1e-3),
        ("B.vented.thiele_rows", None, 0.02),
    ],
)
def test_reach_of_published_alignments(name: str, ql: float | None, within: float) -> None:
    """Thiele 1971 and Small 1973: f3/fs of QB3 and C4 alignments."""
    for row in REFERENCE[name]["expected"]:
        qt, h, alpha, f3 = row[-4:]
        driver = scaled(qt)
        load = alignment.vented_load(volume_m3=driver.vas_m3 / alpha, tuning_hz=30.0 * h, ql=ql)
        found = alignment.half_power_hz(driver, load, source_v=1.0)
        assert found == pytest.approx(30.0 * f3, rel=within)
        far = alignment.half_power_hz(
            driver,
            alignment.vented_load(volume_m3=1.15 * driver.vas_m3 / alpha, tuning_hz=30.0 * h, ql=ql),
            source_v=1.0,
        )
        assert far != pytest.approx(30.0 * f3, rel=1e-3)


def radiator() -> Load:
    parts = REFERENCE["B.spice.passive45_le"]["inputs"]["box"]
    q = sqrt(parts["Mmp"] / parts["Cmp"]) / parts["Rmp"]
    load = alignment.radiator_load(
        volume_m3=parts["Vb"], mms_kg=parts["Mmp"], cms_m_per_n=parts["Cmp"], sd_m2=parts["Sp"], qms=q
    )
    return replace(load, leak=parts["Ral"])


@pytest.mark.parametrize(
    ("name", "load", "inductance"),
    [
        ("B.spice.closed25_le", alignment.closed_load(volume_m3=0.025), 0.0008),
        ("B.spice.vented45_le0", alignment.vented_load(volume_m3=0.045, tuning_hz=30.0, ql=None), 0.0),
        ("B.spice.passive45_le", radiator(), 0.0008),
    ],
)
def test_recorded_netlists(name: str, load: Load, inductance: float) -> None:
    """Figures that ngspice 39.3 gave for netlists written by others, kept in tests/references."""
    row: dict[str, Any] = REFERENCE[name]
    frequency = np.asarray(row["inputs"]["f_Hz"], dtype=np.float64)
    ours = solve(replace(UNIT, le_h=inductance), load, frequency_hz=frequency, source_v=row["inputs"]["Eg_Vrms"])
    told = row["expected"]
    assert np.abs(ours.impedance_ohm) == pytest.approx(told["Z_ohm"], rel=1e-4)
    assert np.degrees(np.angle(ours.impedance_ohm)) == pytest.approx(told["Z_phase_deg"], abs=1e-3)
    assert sqrt(2.0) * 1e3 * np.abs(ours.displacement_m) == pytest.approx(told["x_peak_mm"], rel=1e-4, abs=1e-6)
    assert level_db(ours.pressure_pa) == pytest.approx(told["SPL_dB"], abs=1e-3)
    if "v_port_peak_m_s" in told:
        speed = sqrt(2.0) * np.abs(ours.branch_flow_m3_s) / row["inputs"]["box"]["Sport"]
        assert speed == pytest.approx(told["v_port_peak_m_s"], rel=1e-4)
    if "x_passive_peak_mm" in told:
        moved = sqrt(2.0) * 1e3 * np.abs(ours.branch_flow_m3_s) / row["inputs"]["box"]["Sp"] / (2.0 * pi * frequency)
        assert moved == pytest.approx(told["x_passive_peak_mm"], rel=1e-4)


def test_tuning_of_a_passive_radiator() -> None:
    """Small 1974, and the notch at the radiator's own resonance where it has no losses."""
    own, _, _, tuning = REFERENCE["B.passive.tuning"]["expected"]
    figures: dict[str, Any] = {"mms_kg": 0.3, "cms_m_per_n": 0.0006, "sd_m2": 0.052}
    assert alignment.radiator_tuning_hz(volume_m3=0.045, **figures) == pytest.approx(tuning, rel=1e-6)
    load = alignment.radiator_load(volume_m3=0.045, **figures)
    notch, beside = level_db(solve(UNIT, load, frequency_hz=np.asarray([own, 1.05 * own]), source_v=1.0).pressure_pa)
    assert notch < beside - 60.0


def test_two_peaks_of_a_vented_box() -> None:
    """Thiele 1971: fL fH = fs fb, and α from the peaks."""
    low, high, product, alpha, _ = REFERENCE["B.imp.vented_peaks"]["expected"]
    load = alignment.vented_load(volume_m3=0.045, tuning_hz=30.0, ql=None)
    grid = np.linspace(10.0, 80.0, 70_001)
    size = np.abs(solve(UNIT, load, frequency_hz=grid, source_v=1.0).impedance_ohm)
    peaks = grid[1:-1][(size[1:-1] > size[:-2]) & (size[1:-1] > size[2:])]
    assert peaks == pytest.approx([low, high], abs=0.2)
    assert peaks[0] * peaks[1] / 30.0 == pytest.approx(product, rel=2e-3)
    assert UNIT.vas_m3 / 0.045 == pytest.approx(alpha, rel=1e-6)


def test_air_is_neither_made_nor_lost() -> None:
    """What the cone moves goes into the air, the leak and the port; nothing else (continuity of volume flow)."""
    load = alignment.vented_load(volume_m3=0.04, tuning_hz=33.0, ql=7.0, qa=30.0, qp=25.0)
    frequency = np.geomspace(10.0, 500.0, 97)
    ours = solve(UNIT, load, frequency_hz=frequency, source_v=5.0)
    s = 2j * pi * frequency
    cone = UNIT.sd_m2 * s * ours.displacement_m
    heard = ours.pressure_pa * 2.0 * pi / (1.204 * s)
    inside = (cone - heard - ours.branch_flow_m3_s) * load.leak
    assert load.compliance is not None and load.absorption is not None
    through = inside * s * load.compliance / (1.0 + s * load.compliance * load.absorption)
    assert through == pytest.approx(heard, rel=1e-9)


def test_power_in_is_power_lost() -> None:
    """Electrical power equals heat in coil and suspension and, in a tight box, nothing more."""
    frequency = np.geomspace(10.0, 500.0, 61)
    ours = solve(UNIT, alignment.closed_load(volume_m3=0.03), frequency_hz=frequency, source_v=7.0)
    current = 7.0 / ours.impedance_ohm
    velocity = 2j * pi * frequency * ours.displacement_m
    heat = np.abs(current) ** 2 * UNIT.re_ohm + np.abs(velocity) ** 2 * UNIT.rms_kg_s
    assert np.real(7.0 * np.conj(current)) == pytest.approx(heat, rel=1e-9)


def test_group_delay_of_a_butterworth_box() -> None:
    """Second-order high-pass: τ = (√2/ω0)(1 + x²)/(1 + x⁴) at x = f/f0 (textbook derivative of its phase)."""
    driver = scaled(1.0 / sqrt(2.0))
    grid = 30.0 * np.geomspace(0.4, 8.0, 40)
    x = grid / 30.0
    told = sqrt(2.0) / (2.0 * pi * 30.0) * (1.0 + x**2) / (1.0 + x**4)
    delay = alignment.group_delay_s(driver, Load(), frequency_hz=grid, source_v=1.0)
    assert delay == pytest.approx(told, rel=1e-4)


def test_many_boxes_at_once_are_each_for_itself() -> None:
    volumes, tunings = np.asarray([0.02, 0.03, 0.05]), np.asarray([40.0, 34.0, 28.0])
    load = alignment.vented_load(volume_m3=volumes[:, None], tuning_hz=tunings[:, None])
    frequency = np.geomspace(10.0, 500.0, 33)
    together = solve(UNIT, load, frequency_hz=frequency, source_v=1.0).pressure_pa
    for row, (volume, tuning) in enumerate(zip(volumes, tunings, strict=True)):
        alone = solve(
            UNIT, alignment.vented_load(volume_m3=volume, tuning_hz=tuning), frequency_hz=frequency, source_v=1.0
        )
        assert together[row] == pytest.approx(alone.pressure_pa, rel=1e-12)


def test_several_wired_alike_move_alike() -> None:
    """Two in twice the volume play as one does, each; in parallel 6 dB more (coherent sum)."""
    frequency = np.geomspace(10.0, 500.0, 41)
    one = solve(UNIT, alignment.closed_load(volume_m3=0.02), frequency_hz=frequency, source_v=4.0)
    both: dict[str, Any] = {"frequency_hz": frequency, "source_v": 4.0}
    parallel = solve(UNIT, alignment.closed_load(volume_m3=0.04), **both, in_parallel=2)
    series = solve(UNIT, alignment.closed_load(volume_m3=0.04), **both, in_series=2)
    assert parallel.displacement_m == pytest.approx(one.displacement_m, rel=1e-12)
    assert series.displacement_m == pytest.approx(one.displacement_m / 2.0, rel=1e-12)
    assert level_db(parallel.pressure_pa) - level_db(one.pressure_pa) == pytest.approx(6.0206, abs=1e-3)
    assert parallel.impedance_ohm * 4.0 == pytest.approx(series.impedance_ohm, rel=1e-12)


def test_a_closed_box_of_no_volume_but_a_leak_moves_air() -> None:
    """The leak's own flow radiates: with a leak the level below resonance falls faster, it never rises above the tight box."""
    frequency = np.geomspace(10.0, 30.0, 20)
    tight = solve(UNIT, alignment.closed_load(volume_m3=0.025), frequency_hz=frequency, source_v=1.0)
    leaky = solve(
        UNIT,
        alignment.closed_load(volume_m3=0.025, resonance_hz=46.8, ql=3.0),
        frequency_hz=frequency,
        source_v=1.0,
    )
    s = 2j * pi * frequency
    cone = UNIT.sd_m2 * s * leaky.displacement_m
    heard = leaky.pressure_pa * 2.0 * pi / (1.204 * s)
    compliance = 0.025 / AIR_STIFFNESS_PA
    leak = 3.0 / (2.0 * pi * 46.8 * compliance)
    assert heard == pytest.approx(cone - heard / (s * compliance) / leak, rel=1e-9)
    assert np.all(level_db(leaky.pressure_pa) < level_db(tight.pressure_pa))
