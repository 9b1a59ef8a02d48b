"""Wires, fuses and supplies against published values; each tolerance is shown to fail a little beside the value."""

from __future__ import annotations

import doctest
import math
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from cabinwright.physics import fuse, supply, wire
from cabinwright.physics.fuse import GATES, opening_times_s
from cabinwright.physics.supply import bridge_limit_w, class_b_efficiency, hours_left, rest_v, sag_v
from cabinwright.physics.wire import (
    adiabatic_k,
    adiabatic_s,
    ambient_factor,
    free_air_current_a,
    resistance_ohm,
    temperature_factor,
)
from cabinwright.tables import (
    ampacity_a,
    amplifier_efficiency,
    breaking_capacity_a,
    bundle_factor,
    fuse_ratings_a,
    greatest_resistance_ohm_km,
    rows,
)
from cabinwright.units import UnitError, awg_area_mm2, read_gauge

FILE = Path(__file__).parents[1] / "references" / "power.toml"
ENTRIES = {row["id"]: row for row in tomllib.loads(FILE.read_text(encoding="utf-8"))["entry"]}


def agrees(got: Any, key: str) -> bool:
    """The reference's own rule; values are printed with seven digits."""
    row = ENTRIES[key]
    want = np.asarray(row["expected"], dtype=float)
    tolerance = row["tol_abs"] + max(row["tol_rel"], 5e-7) * np.abs(want)
    return bool(np.all(np.abs(np.asarray(got) - want) <= tolerance))


@pytest.mark.parametrize("module", [wire, fuse])
def test_the_examples_in_the_docstrings(module: Any) -> None:
    result = doctest.testmod(module)
    assert result.attempted and not result.failed


def test_american_gauges_after_astm_b258() -> None:
    sizes = ENTRIES["E.awg.area"]["inputs"]["awg"]
    areas = [read_gauge(f"{size} AWG").area_mm2 for size in sizes]
    assert agrees(areas, "E.awg.area") and not agrees(np.array(areas) * 1.001, "E.awg.area")
    mils = [math.sqrt(4.0 * area / math.pi) / 0.0254 for area in areas]
    assert agrees(mils, "E.awg.mils") and not agrees(np.array(mils) + 0.2, "E.awg.mils")
    assert awg_area_mm2(36) == pytest.approx(math.pi / 4.0 * 0.127**2)


def test_resistance_of_copper() -> None:
    sizes = ENTRIES["E.awg.resistance"]["inputs"]["awg"]
    got = [
        1e3 * resistance_ohm(length_m=1.0, area_mm2=read_gauge(f"{size} AWG").area_mm2, conductor_c=20.0)
        for size in sizes
    ]
    assert agrees(got, "E.awg.resistance") and not agrees(np.array(got) * 1.003, "E.awg.resistance")
    given = ENTRIES["E.copper.alpha"]["inputs"]["temp_C"]
    assert agrees([temperature_factor(conductor_c=t) for t in given], "E.copper.alpha")
    row = ENTRIES["E.drop.hot"]["inputs"]  # feed and return, by what IEC 60228 allows at most
    most = greatest_resistance_ohm_km(row["mm2"])
    assert most is not None
    hot = most * 1e-3 * 2.0 * row["one_way_m"] * temperature_factor(conductor_c=60.0)
    assert agrees(hot * row["I"], "E.drop.hot")
    assert not agrees(most * 1e-3 * 2.0 * row["one_way_m"] * row["I"], "E.drop.hot")


def test_the_standard_allows_more_than_the_nominal_area() -> None:
    row = ENTRIES["E.iec60228.class5"]
    got = [greatest_resistance_ohm_km(area) for area in row["inputs"]["mm2"]]
    assert got == row["expected"]
    for area, most in zip(row["inputs"]["mm2"], row["expected"], strict=True):
        nominal = 1e3 * resistance_ohm(length_m=1.0, area_mm2=area, conductor_c=20.0)
        assert 1.0 < most / nominal < 1.16
    assert greatest_resistance_ohm_km(3.0) is None


def test_a_short_circuit_heats_as_the_standard_has_it() -> None:
    """k = 115 and 143 for copper in PVC (70 to 160 °C) and XLPE (90 to 250 °C): IEC 60364-4-43 table 43A."""
    assert adiabatic_k(insulation="PVC", start_c=70.0) == pytest.approx(115.0, abs=0.5)
    assert adiabatic_k(insulation="XLPE 90", start_c=90.0) == pytest.approx(143.0, abs=0.5)
    assert adiabatic_k(insulation="PVC", start_c=80.0) != pytest.approx(115.0, abs=0.5)
    # aluminium in the same table: 76 and 94
    assert adiabatic_k(insulation="PVC", start_c=70.0, material="copper-clad aluminium") == pytest.approx(76.0, abs=0.5)
    assert adiabatic_k(insulation="XLPE", start_c=90.0, material="copper-clad aluminium") == pytest.approx(
        94.0, abs=0.5
    )
    row = ENTRIES["E.short.adiabatic"]["inputs"]
    got = [adiabatic_s(current_a=row["I_A"], area_mm2=area, k=row["k"]) for area in row["S_mm2"]]
    assert agrees(got, "E.short.adiabatic")
    assert adiabatic_s(current_a=0.0, area_mm2=1.0, k=115.0) == math.inf


def test_fuses_open_within_their_gates() -> None:
    row = ENTRIES["E.fuse.gates_E"]
    for percent, (least, most) in zip(row["inputs"]["percent"][1:], row["expected"][1:], strict=True):
        assert opening_times_s(current_a=percent, rating_a=100.0) == pytest.approx((least, most), rel=0.01)
    assert GATES[0][1] == row["expected"][0][0]
    assert opening_times_s(current_a=100.0, rating_a=100.0) == (math.inf, math.inf)
    assert opening_times_s(current_a=120.0, rating_a=100.0)[1] == math.inf
    heat = [x * x * opening_times_s(current_a=x, rating_a=1.0)[1] for x in (6.0, 9.0, 30.0)]
    assert heat == pytest.approx([heat[0]] * 3)
    currents = np.geomspace(1.36, 40.0, 60)
    times = np.array([opening_times_s(current_a=float(x), rating_a=1.0) for x in currents])
    assert (np.diff(times, axis=0) < 0.0).all() and (times[:, 0] < times[:, 1]).all()


def test_heat_balance_agrees_with_the_tables_of_single_wires_in_air() -> None:
    """33 CFR 183.425 (recalled), 105 °C at 30 °C: within 20 % from 18 to 4/0 AWG, which two ways of reckoning allow."""
    for size in ("18", "14", "10", "6", "4", "2", "1/0", "4/0"):
        area = read_gauge(f"{size} AWG").area_mm2
        own = free_air_current_a(area_mm2=area, conductor_c=105.0, ambient_c=30.0)
        assert own == pytest.approx(ampacity_a(area_mm2=area, rating_c=105.0), rel=0.20), size
    warm = free_air_current_a(area_mm2=21.0, conductor_c=105.0, ambient_c=60.0)
    assert warm < free_air_current_a(area_mm2=21.0, conductor_c=105.0, ambient_c=30.0)
    assert free_air_current_a(area_mm2=21.0, conductor_c=60.0, ambient_c=60.0) == 0.0


def test_surroundings_and_bundles() -> None:
    assert agrees(ambient_factor(rating_c=105.0, ambient_c=50.0), "E.ampacity.derived")
    assert not agrees(ambient_factor(rating_c=105.0, ambient_c=51.0), "E.ampacity.derived")
    assert ambient_factor(rating_c=60.0, ambient_c=70.0) == 0.0
    assert [bundle_factor(n) for n in (1, 2, 3, 6, 7, 24, 25, 99)] == [1.0, 1.0, 0.7, 0.6, 0.5, 0.5, 0.4, 0.4]


def test_ampacity_between_rows_and_columns() -> None:
    assert ampacity_a(area_mm2=read_gauge("4 AWG").area_mm2, rating_c=105.0) == pytest.approx(160.0)
    assert 160.0 < ampacity_a(area_mm2=25.0, rating_c=105.0) < 180.0
    assert 105.0 < ampacity_a(area_mm2=21.15, rating_c=70.0) < 125.0
    assert ampacity_a(area_mm2=0.35, rating_c=105.0) < 20.0 and ampacity_a(area_mm2=150.0, rating_c=105.0) > 445.0
    areas = np.geomspace(0.2, 200.0, 50)
    assert (np.diff([ampacity_a(area_mm2=float(a), rating_c=90.0) for a in areas]) > 0.0).all()


def test_every_row_of_the_electrical_tables_is_whole_and_sourced() -> None:
    for table in ("ampacity", "bundles", "wire_sizes", "fuse_ratings", "amplifier_classes"):
        for row in rows(table):
            assert all(value and value.strip() for value in row.values()), row
            assert row["kind"] in ("confirmed", "memory") and len(row["source"]) > 5
    assert set(ENTRIES["E.fuse.blade_ratings"]["expected"]) <= set(fuse_ratings_a())
    assert breaking_capacity_a(100.0) == ENTRIES["E.fuse.scope"]["expected"][3]
    assert breaking_capacity_a(300.0) is None and breaking_capacity_a(9999.0) is None
    for row in rows("amplifier_classes"):
        full, music = amplifier_efficiency(row["class"])
        assert 0.0 < music < full < 1.0
    with pytest.raises(KeyError, match="T"):
        amplifier_efficiency("T")


def test_batteries_and_amplifiers() -> None:
    row = ENTRIES["E.batt.soc"]
    assert agrees([rest_v(soc / 100.0) for soc in row["inputs"]["soc"]], "E.batt.soc")
    assert not agrees([rest_v(soc / 100.0 - 0.2) for soc in row["inputs"]["soc"]], "E.batt.soc")
    assert rest_v(0.375) == pytest.approx((12.06 + 12.24) / 2.0)
    sag = ENTRIES["E.batt.sag"]["inputs"]
    assert sag_v(open_v=sag["E"], current_a=sag["I"], resistance_ohm=sag["Ri"] + sag["Rw"]) == pytest.approx(10.6)
    parts = ENTRIES["E.amp.classB"]["inputs"]["P_over_Pmax"]
    assert agrees([class_b_efficiency(part) for part in parts], "E.amp.classB")
    limit = ENTRIES["E.amp.btl_limit"]
    assert bridge_limit_w(supply_v=limit["inputs"]["V"], load_ohm=limit["inputs"]["R"]) == pytest.approx(
        limit["expected"][0]
    )
    full, music = amplifier_efficiency("B")
    assert full == pytest.approx(class_b_efficiency(1.0), abs=1e-3)
    assert music == pytest.approx(class_b_efficiency(0.125), abs=1e-3)
    assert hours_left(capacity_ah=80.0, usable=0.5, current_a=10.0) == 4.0
    assert hours_left(capacity_ah=80.0, usable=0.5, current_a=0.0) == math.inf
    assert supply.REST_V[-1][1] == 12.65


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("4 AWG", "4 AWG"),
        ("AWG 4", "4 AWG"),
        ("4awg", "4 AWG"),
        ("0 AWG", "1/0 AWG"),
        ("0000 AWG", "4/0 AWG"),
        ("2/0 AWG", "2/0 AWG"),
        ("25 mm2", "25 mm2"),
        ("2.50 mm²", "2.5 mm2"),
        ("16mm^2", "16 mm2"),
    ],
)
def test_sizes_are_read_as_people_write_them(text: str, name: str) -> None:
    assert read_gauge(text).text == name
    assert read_gauge(name) == read_gauge(text)


@pytest.mark.parametrize(
    "text", ["", "4", "5/0 AWG", "99 AWG", "25", "-4 AWG", "25 m2", "0 mm2", "900 mm2", "four AWG"]
)
def test_what_is_no_size_is_refused(text: str) -> None:
    with pytest.raises(UnitError, match=r"AWG|mm2"):
        read_gauge(text)
