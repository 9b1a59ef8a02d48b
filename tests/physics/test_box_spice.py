"""Boxes against ngspice: one electro-mechano-acoustical circuit with every drive unit drawn for itself."""

from __future__ import annotations

import os
import shutil
import subprocess
from dataclasses import replace
from math import pi, sqrt
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from cabinwright.physics import alignment
from cabinwright.physics.box import Load, level_db, solve
from cabinwright.physics.driver import Driver

Real = NDArray[np.float64]
DENSITY, STIFFNESS = 1.204, 1.204 * 343.2**2
UNIT = Driver(0.11, 0.0003, 2.5, 11.0, 3.4, 0.033, 0.0008)
WITHIN_DB = 0.1


def unit(number: int, plus: str, minus: str) -> list[str]:
    """One drive unit between two nodes, its cone pushing on the node ``box``: gyrator, then transformer."""
    d, n = UNIT, number
    return [
        f"Re{n} {plus} ea{n} {d.re_ohm}",
        f"Le{n} ea{n} eb{n} {d.le_h}",
        f"Vi{n} eb{n} ec{n} 0",
        f"Hemf{n} ec{n} {minus} Vv{n} {d.bl_t_m}",
        f"Hforce{n} ma{n} 0 Vi{n} {d.bl_t_m}",
        f"Lmass{n} ma{n} mb{n} {d.mms_kg}",
        f"Cspring{n} mb{n} mc{n} {d.cms_m_per_n}",
        f"Rloss{n} mc{n} md{n} {d.rms_kg_s}",
        f"Vv{n} md{n} me{n} 0",
        f"Epress{n} me{n} 0 box 0 {d.sd_m2}",
        f"Fflow{n} 0 box Vv{n} {d.sd_m2}",
    ]


def rear(kind: str, volume: float) -> list[str]:
    """What stands behind the cones, as its maker would draw it: losses at the tuning in textbook terms."""
    air = volume / STIFFNESS
    if kind == "sealed":
        return [f"Cair box ca {air}", "Vair ca 0 0"]
    if kind == "infinite baffle":
        return ["Vair box 0 0"]
    if kind == "vented":  # tuned to 30 Hz, QL 10, QA 60, QP 40
        omega = 2.0 * pi * 30.0
        return [
            f"Rleak box 0 {10.0 / (omega * air)}",
            f"Rabs box cb {1.0 / (omega * air * 60.0)}",
            f"Cair cb ca {air}",
            "Vair ca 0 0",
            f"Lport box pa {1.0 / (omega**2 * air)}",
            f"Rport pa pb {1.0 / (omega * air * 40.0)}",
            "Vport pb 0 0",
        ]
    mass, spring, area, q = 0.3, 0.0006, 0.052, 8.0  # two radiators, each for itself
    lines = [f"Cair box ca {air}", "Vair ca 0 0"]
    for n in (1, 2):
        lines += [
            f"Lrad{n} box ra{n} {mass / area**2}",
            f"Rrad{n} ra{n} rb{n} {sqrt(mass / spring) / q / area**2}",
            f"Crad{n} rb{n} rc{n} {spring * area**2}",
            f"Vrad{n} rc{n} 0 0",
        ]
    return lines


def sweep(elements: list[str], wanted: list[str], folder: Path) -> dict[str, NDArray[np.complex128]]:
    """``wanted`` vectors over frequency; skips where ngspice is absent."""
    program = shutil.which("ngspice")
    if program is None:
        if os.environ.get("CI") == "true":
            pytest.fail("ngspice is required where CI=true")
        pytest.skip("ngspice is not installed")
    control = [
        ".control",
        "set wr_singlescale",
        "set numdgt=12",
        "ac dec 40 10 500",
        f"wrdata out.txt {' '.join(wanted)}",
    ]
    deck = ["a box", *elements, *(f"Rsafe{n} {n} 0 1e15" for n in ("box",)), *control, "quit", ".endc", ".end"]
    (folder / "deck.cir").write_text("\n".join(deck) + "\n", encoding="utf-8")
    run = subprocess.run(
        [program, "-b", "deck.cir"], cwd=folder, capture_output=True, text=True, timeout=120, check=False
    )
    table = np.loadtxt(folder / "out.txt")
    assert table.shape[1] == 1 + 2 * len(wanted), run.stdout + run.stderr
    columns = {name: table[:, 1 + 2 * k] + 1j * table[:, 2 + 2 * k] for k, name in enumerate(wanted)}
    return {"frequency": table[:, 0].astype(np.complex128), **columns}


def decibels(ours: Real, theirs: Real) -> float:
    """Largest difference."""
    return float(np.max(np.abs(20.0 * np.log10(ours / theirs))))


CASES = {
    "sealed": (0.025, lambda: alignment.closed_load(volume_m3=0.025)),
    "infinite baffle": (1.0, Load),
    "vented": (0.045, lambda: alignment.vented_load(volume_m3=0.045, tuning_hz=30.0, ql=10.0, qa=60.0, qp=40.0)),
    "passive radiator": (
        0.045,
        lambda: alignment.radiator_load(volume_m3=0.045, mms_kg=0.3, cms_m_per_n=0.0006, sd_m2=0.052, qms=8.0, count=2),
    ),
}
WIRINGS = {
    "one": (1, 1, [("top", "0")]),
    "parallel": (1, 2, [("top", "0"), ("top", "0")]),
    "series": (2, 1, [("top", "mid"), ("mid", "0")]),
    "series-parallel": (2, 2, [("top", "mida"), ("mida", "0"), ("top", "midb"), ("midb", "0")]),
}


@pytest.mark.parametrize("kind", CASES)
@pytest.mark.parametrize("wiring", WIRINGS)
def test_a_box_is_what_ngspice_makes_of_it(kind: str, wiring: str, tmp_path: Path) -> None:
    """Level, excursion, impedance and the flow of port or radiator within 0.1 dB from 10 to 500 Hz."""
    volume, made = CASES[kind]
    series, parallel, ends = WIRINGS[wiring]
    elements = ["Vsource src 0 dc 0 ac 20", "Rwire src top 0.3", *rear(kind, volume)]
    for number, (plus, minus) in enumerate(ends):
        elements += unit(number, plus, minus)
    wanted = ["i(vair)", "i(vv0)", "v(top)", "i(vsource)"]
    wanted += {"vented": ["i(vport)"], "passive radiator": ["i(vrad1)"]}.get(kind, [])
    told = sweep(elements, wanted, tmp_path)
    frequency = told["frequency"].real
    feed: dict[str, Any] = {"source_v": 20.0, "in_series": series, "in_parallel": parallel, "source_ohm": 0.3}
    ours = solve(UNIT, made(), frequency_hz=frequency, **feed)
    pressure = DENSITY * frequency * np.abs(told["i(vair)"])
    assert decibels(np.abs(ours.pressure_pa), pressure) < WITHIN_DB
    assert float(np.max(np.abs(level_db(ours.pressure_pa) - 20.0 * np.log10(pressure / 20e-6)))) < WITHIN_DB
    excursion = np.abs(told["i(vv0)"]) / (2.0 * pi * frequency)
    assert decibels(np.abs(ours.displacement_m), excursion) < WITHIN_DB
    impedance = np.abs(told["v(top)"] / told["i(vsource)"])
    assert decibels(np.abs(ours.impedance_ohm), impedance) < WITHIN_DB
    for name, count in (("i(vport)", 1), ("i(vrad1)", 2)):
        if name in told:
            assert decibels(np.abs(ours.branch_flow_m3_s), count * np.abs(told[name])) < WITHIN_DB
    heavier = solve(replace(UNIT, mms_kg=1.03 * UNIT.mms_kg), made(), frequency_hz=frequency, **feed)
    assert decibels(np.abs(heavier.pressure_pa), pressure) > WITHIN_DB
