"""Inrush against ngspice, with wires that have inductance too, and against the reference's figures."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from cabinwright.physics.fuse import least_melting_a2s, may_open
from cabinwright.physics.inrush import charging, precharge_s
from cabinwright.physics.supply import led_resistor
from physics.spice import spice

REFERENCES = Path(__file__).parents[1] / "references" / "power.toml"
ENTRIES = {row["id"]: row for row in tomllib.loads(REFERENCES.read_text(encoding="utf-8"))["entry"]}


@pytest.mark.parametrize("inductance_h", [0.0, 5e-6, 2e-5])
def test_capacitors_charge_in_ngspice_as_told(inductance_h: float, tmp_path: Path) -> None:
    """13.8 V over 15 mΩ into 10 mF. I²t is the same with any inductance; the peak is reached only without."""
    coil = f"L1 b c {inductance_h:.3g} IC=0" if inductance_h else "VL b c 0"
    elements = ["V1 a 0 13.8", "R1 a b 0.015", coil, "VM c d 0", "C1 d 0 0.01 IC=0"]
    control = [
        "tran 0.2u 20m 0 0.2u uic",
        "let square = i(vm)*i(vm)",
        "meas tran peak MAX i(vm)",
        "meas tran heat INTEG square from=0 to=20m",
    ]
    told = spice(elements, control, tmp_path)
    peak, i2t = charging(voltage_v=13.8, resistance_ohm=0.015, capacitance_f=0.01)
    assert told["heat"] == pytest.approx(i2t, rel=3e-3)
    assert told["heat"] != pytest.approx(1.02 * i2t, rel=3e-3)
    if inductance_h:
        assert told["peak"] < peak
    else:
        assert told["peak"] == pytest.approx(peak, rel=3e-3)


def test_precharge_of_the_reference() -> None:
    row = ENTRIES["E.cap.hold"]
    given = row["inputs"]
    assert precharge_s(resistance_ohm=given["R"], capacitance_f=given["C"]) == pytest.approx(row["expected"][2])


def test_resistors_of_the_reference() -> None:
    row = ENTRIES["E.led"]
    volts = row["inputs"]["V"]
    for (count, each_v, amperes), expected in zip(row["inputs"]["cases"], row["expected"][:2], strict=True):
        found = led_resistor(supply_v=volts, string_v=count * each_v, current_a=amperes)
        assert found == pytest.approx(expected, rel=1e-9)


def test_a_pulse_opens_a_fuse_by_the_gates_or_by_its_maker() -> None:
    """Gates: 6 times the rating for 0.04 s at least (E.fuse.gates_E), twice for 2 s."""
    gates = dict(
        zip(ENTRIES["E.fuse.gates_E"]["inputs"]["percent"], ENTRIES["E.fuse.gates_E"]["expected"], strict=True)
    )
    assert least_melting_a2s(10.0) == pytest.approx(3600.0 * gates[600][0])
    assert may_open(peak_a=60.0, i2t_a2s=3600.0 * 0.041, rating_a=10.0)
    assert not may_open(peak_a=60.0, i2t_a2s=3600.0 * 0.039, rating_a=10.0)
    assert may_open(peak_a=20.0, i2t_a2s=400.0 * 2.1, rating_a=10.0)
    assert not may_open(peak_a=20.0, i2t_a2s=400.0 * 1.9, rating_a=10.0)
    assert not may_open(peak_a=9.0, i2t_a2s=1e9, rating_a=10.0)
    assert may_open(peak_a=60.0, i2t_a2s=31.0, rating_a=10.0, melting_a2s=30.0)
