"""Boxes of a build: what the contract says of them, what limits them, and what is said of odd ones."""

from __future__ import annotations

from dataclasses import replace
from math import log10, pi, sqrt
from typing import Any

import numpy as np
import pytest

from cabinwright.build.codec import parse
from cabinwright.errors import BuildError
from cabinwright.handover.json_text import json_text, plain
from cabinwright.physics.impedance import Sweep, coil_impedance
from cabinwright.stages import enclosure
from cabinwright.stages.enclosure.result import BoxResult, EnclosureResult
from stages.boxed import HEAD, MODEL, box, planned, unsearched

pytestmark = pytest.mark.usefixtures(unsearched.__name__)

KEYS = {
    "net_volume_m3",
    "system_resonance_hz",
    "q_tc",
    "f3_hz",
    "tuning_hz",
    "port_length_m",
    "response",
    "max_level_db",
}
CURVES = ("level_db", "excursion_m", "port_velocity_m_s", "impedance_ohm")
RADIATOR = "{mms_kg = 0.3, cms_m_per_n = 0.0006, sd_m2 = 0.052, qms = 8, count = 2, xmax_m = 0.012}"
KINDS: dict[str, dict[str, str]] = {
    "sealed": {},
    "vented": {"tuning_hz": "32.0", "port": "{diameter_m = 0.1, count = 1}"},
    "passive radiator": {"radiator": RADIATOR},
    "infinite baffle": {},
}


def only(result: EnclosureResult) -> BoxResult:
    (one,) = result.boxes.values()
    return one


def codes(result: EnclosureResult) -> set[str]:
    return {item.code for item in result.findings}


def at(item: BoxResult, frequency_hz: float, curve: str) -> float:
    return float(np.interp(frequency_hz, item.curves.frequency_hz, getattr(item.curves, curve)))


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_has_the_fixed_keys(kind: str) -> None:
    result = planned(box(kind=kind, **KINDS[kind]))
    row: dict[str, Any] = plain(result.to_dict())["boxes"]["bay"]
    assert set(row) >= KEYS
    response = row["response"]
    frequency = response["frequency_hz"]
    assert len(frequency) >= 200
    assert (frequency[0], frequency[-1]) == (10.0, 500.0)
    assert all(len(response[key]) == len(frequency) for key in CURVES)
    assert len(row["max_level_db"]) == len(frequency)
    assert (row["port_length_m"] is not None) == (kind == "vented")
    json_text(plain(result.to_dict()))


def test_the_bay_of_the_contract() -> None:
    """Closed form: fs √(1 + Vas/V), Qts √(1 + Vas/V); level far above from the efficiency of Small 1972 at 400 W."""
    item = only(planned(box()))
    rise = sqrt(1.0 + 0.041 / 0.034)
    qts = 0.52 * 6.1 / (0.52 + 6.1)
    assert item.system_resonance_hz == pytest.approx(28.0 * rise, rel=1e-9)
    assert item.q_tc == pytest.approx(qts * rise, rel=1e-9)
    a = 1.0 / (qts * rise) ** 2 - 2.0
    f3 = 28.0 * rise * sqrt((a + sqrt(a * a + 4.0)) / 2.0)
    assert item.f3_hz == pytest.approx(f3, rel=1e-5)
    efficiency = 4.0 * pi**2 / 343.2**3 * 28.0**3 * 0.041 / 0.52
    watt = 10.0 * log10(efficiency * 1.204 * 343.2 / (2.0 * pi) / (20e-6) ** 2)
    assert item.passband_db == pytest.approx(watt + 10.0 * log10(400.0), abs=1e-3)
    assert item.voltage_v == pytest.approx(sqrt(400.0 * 3.4))
    slow = MODEL.replace("re_ohm", "le_h = 0.002\nre_ohm")
    other = only(planned(box(), model=slow))
    assert (other.q_tc, other.f3_hz) == pytest.approx((item.q_tc, item.f3_hz), rel=1e-6)
    assert at(other, 400.0, "level_db") < at(item, 400.0, "level_db") - 3.0


def test_displacement_and_level_agree() -> None:
    """Small 1973: p = ρ (2πf)² Sd x / (2π r): the peak excursion of a tight box gives its level (rms)."""
    item = only(planned(box()))
    f, x = item.curves.frequency_hz, item.curves.excursion_m
    rms = 1.204 * (2.0 * pi * f) ** 2 * 0.048 * x / (2.0 * pi) / sqrt(2.0)
    assert item.curves.level_db == pytest.approx(20.0 * np.log10(rms / 20e-6), abs=1e-9)


def test_a_vented_box_leaks_by_ten_unless_said() -> None:
    plain_one, ten, tight = (
        only(planned(box(kind="vented", tuning_hz="32", **more))) for more in ({}, {"ql": "10"}, {"ql": "1000"})
    )
    assert np.array_equal(plain_one.curves.level_db, ten.curves.level_db)
    assert at(tight, 30.0, "level_db") > at(ten, 30.0, "level_db") + 0.3


def test_the_chosen_port_tunes_the_box_and_is_named_as_chosen() -> None:
    item = only(planned(box(kind="vented", tuning_hz="45", power_w="100").replace("power_w = 400\n", "")))
    assert item.port is not None and item.port.chosen
    effective = item.port.length_m + item.port.end_correction_m
    tuned = 343.2 / (2.0 * pi) * sqrt(item.port.area_m2 / (effective * 0.034))
    assert tuned == pytest.approx(45.0, rel=1e-6)
    assert item.port.peak_velocity_m_s <= item.port.limit_m_s + 1e-9
    half = only(planned(box(kind="vented", tuning_hz="45", port="{diameter_m = 0.05}")))
    assert half.port is not None
    assert at(half, 45.0, "port_velocity_m_s") > item.port.peak_velocity_m_s


def test_a_slot_of_the_same_area_is_about_as_long() -> None:
    round_one = only(planned(box(kind="vented", tuning_hz="32", port="{diameter_m = 0.1}")))
    square = only(planned(box(kind="vented", tuning_hz="32", port="{width_m = 0.0886227, height_m = 0.0886227}")))
    assert round_one.port is not None and square.port is not None
    assert square.port.length_m == pytest.approx(round_one.port.length_m, abs=0.002)


def test_the_length_of_a_port_gives_the_tuning() -> None:
    stated = only(planned(box(kind="vented", tuning_hz="32", port="{diameter_m = 0.08}")))
    assert stated.port is not None
    port = f"{{diameter_m = 0.08, length_m = {stated.port.length_m}}}"
    again = only(planned(box(kind="vented", port=port)))
    assert again.tuning_hz == pytest.approx(32.0, rel=1e-9)


def test_the_most_it_can_is_the_least_of_its_limits() -> None:
    """At full travel the excursion is xmax; at full power the voltage is that of pe_w (400 W to 500 W is 0.969 dB)."""
    item = only(planned(box()))
    room = item.limits_db["excursion"] - item.curves.level_db
    assert item.curves.excursion_m * 10.0 ** (room / 20.0) == pytest.approx(np.full_like(room, 0.013))
    assert item.limits_db["thermal"] - item.curves.level_db == pytest.approx(
        np.full_like(room, 10.0 * log10(500 / 400))
    )
    assert np.array_equal(item.max_level_db, np.minimum(item.limits_db["thermal"], item.limits_db["excursion"]))
    assert item.linear_power_w is not None
    calm = only(planned(box().replace("power_w = 400", f"power_w = {0.999 * item.linear_power_w}")))
    loud = only(planned(box().replace("power_w = 400", f"power_w = {1.001 * item.linear_power_w}")))
    plays = calm.curves.frequency_hz >= 20.0
    assert calm.curves.excursion_m[plays].max() < 0.013 < loud.curves.excursion_m[plays].max()


def test_several_speakers_share_as_they_are_wired() -> None:
    two = 'speakers = ["a", "b"]\n'
    parallel = planned(box(volume="0.068") + two + 'wiring = "parallel"\n')
    series = planned(box(volume="0.068") + two + 'wiring = "series"\n')
    alone, a, b = only(planned(box())), only(parallel), only(series)
    assert a.curves.excursion_m == pytest.approx(alone.curves.excursion_m)
    assert b.curves.excursion_m == pytest.approx(alone.curves.excursion_m / 2.0)
    assert b.curves.impedance_ohm == pytest.approx(4.0 * a.curves.impedance_ohm)
    assert a.curves.level_db - alone.curves.level_db == pytest.approx(np.full(341, 20.0 * log10(2.0)))
    assert codes(parallel).isdisjoint({"enclosure.wiring_assumed"})
    assert "enclosure.wiring_assumed" in codes(planned(box(volume="0.068") + two))


def test_resistance_before_the_box_takes_level_and_damping() -> None:
    """Small 1972: the source's resistance adds to Re in the electrical Q."""
    item, fed = only(planned(box())), only(planned(box(wire_resistance_ohm="0.2", amplifier_resistance_ohm="0.14")))
    qes = 0.52 * (1.0 + 0.34 / 3.4)
    rise = sqrt(1.0 + 0.041 / 0.034)
    assert fed.q_tc == pytest.approx(rise * qes * 6.1 / (qes + 6.1), rel=1e-9)
    assert item.passband_db - fed.passband_db == pytest.approx(20.0 * log10(1.1), abs=1e-6)
    assert fed.curves.impedance_ohm == pytest.approx(item.curves.impedance_ohm)


def test_filling_makes_the_box_seem_larger() -> None:
    filled, larger = only(planned(box(filling_factor="1.2"))), only(planned(box(volume="0.0408")))
    assert filled.curves.level_db == pytest.approx(larger.curves.level_db)
    assert filled.net_volume_m3 == 0.034


def test_the_room_behind_a_place_is_not_taken_without_a_word() -> None:
    head = 'name = "sub"\nrole = "subwoofer"\nside = "centre"\n'
    place = f'[[speakers]]\n{head}model = "ten"\n[[places]]\n{head}position_m = [2, 0, 0.4]\nvolume_m3 = 0.034\n'
    silent = planned(place, box(volume="", speakers='["sub"]'))
    assert only(silent).net_volume_m3 == 0.034
    assert [(item.value, item.where) for item in silent.findings if item.code == "enclosure.place_volume"] == [
        (34.0, "bay")
    ]
    stated = planned(place, box(speakers='["sub"]'))
    assert "enclosure.place_volume" not in {item.code for item in stated.findings}


@pytest.mark.parametrize(
    ("code", "tables", "model"),
    [
        ("enclosure.beyond_xmax", box(), MODEL),
        ("enclosure.touches", box(), MODEL + "xmech_m = 0.0135\n"),
        ("enclosure.too_much_power", box(), MODEL.replace("pe_w = 500", "pe_w = 300")),
        ("enclosure.high_q", box(volume="0.008"), MODEL),
        ("enclosure.small_box", box(volume="0.002"), MODEL + "displacement_m3 = 0.003\n"),
        ("enclosure.small_box", box(volume="0.002"), MODEL),  # nothing but its cone says how large it is
        ("enclosure.no_room_to_move", box(volume="0.0006"), MODEL),
        ("enclosure.large_box", box(volume="34"), MODEL),  # litres, unsaid
        (
            "enclosure.port_impossible",
            box(kind="vented", tuning_hz="30", port="{diameter_m = 0.05, flare_radius_m = 0.4}"),
            MODEL,
        ),
        ("enclosure.no_volume", box(volume=""), MODEL),
        ("enclosure.unused", box(kind="infinite baffle", ql="7"), MODEL),
        ("enclosure.tuning_sense", box(kind="vented", tuning_hz="320"), MODEL),
        (
            "enclosure.tuning_sense",
            box(kind="passive radiator", radiator="{mms_kg = 0.0001, cms_m_per_n = 1e-5, sd_m2 = 0.03}"),
            MODEL,
        ),
        (
            "enclosure.radiator_travel",
            box(kind="passive radiator", radiator=RADIATOR.replace(", xmax_m = 0.012", "")),
            MODEL,
        ),
        ("enclosure.figure_sense", box(), MODEL + "le_h = 0.8\n"),  # millihenries, unsaid
        ("enclosure.figure_sense", box(), MODEL.replace("xmax_m = 0.013", "xmax_m = 0.13")),
        ("enclosure.figure_sense", box(), MODEL.replace("vas_m3 = 0.041", "vas_m3 = 41")),  # litres, unsaid
        ("enclosure.port_long", box(kind="vented", tuning_hz="2"), MODEL),  # though it was chosen
        ("enclosure.port_fast", box(kind="vented", tuning_hz="32", port="{diameter_m = 0.05}"), MODEL),
        ("enclosure.port_long", box(kind="vented", tuning_hz="22", port="{diameter_m = 0.12}"), MODEL),
        ("enclosure.port_bulky", box(kind="vented", tuning_hz="22", port="{diameter_m = 0.12}"), MODEL),
        ("enclosure.port_pipe", box(kind="vented", tuning_hz="22", port="{diameter_m = 0.12}"), MODEL),
        ("enclosure.port_impossible", box(kind="vented", tuning_hz="150", port="{diameter_m = 0.03}"), MODEL),
        (
            "enclosure.port_mistuned",
            box(kind="vented", tuning_hz="32", port="{diameter_m = 0.1, length_m = 0.2}"),
            MODEL,
        ),
        ("enclosure.radiator_far", box(kind="passive radiator", radiator=RADIATOR.replace("0.012", "0.004")), MODEL),
        ("enclosure.inconsistent", box(), MODEL + "bl_t_m = 20\n"),
        ("enclosure.qts_sense", box(), MODEL.replace("qes = 0.52", "qes = 5.2")),
        ("enclosure.impossible", box(), MODEL.replace("qms = 6.1", "qts = 0.9")),
        ("enclosure.incomplete", box(), MODEL.replace("qms = 6.1\n", "")),
        ("enclosure.no_model", box(), MODEL.replace("qms = 6.1\n", "")),
    ],
)
def test_what_is_odd_is_named(code: str, tables: str, model: str) -> None:
    found = [item for item in planned(tables, model=model).findings if item.code == code]
    assert len(found) == 1
    assert found[0].where in ("bay", "ten")
    quiet = planned(box(volume="0.04", ql="1000").replace("power_w = 400", "power_w = 40"))
    assert code not in codes(quiet)


def test_one_bad_box_leaves_the_others_be() -> None:
    result = planned(box("open", volume=""), box("bay"))
    assert list(result.boxes) == ["bay"]
    assert [item.where for item in result.findings if item.severity == "stop"] == ["open"]


def test_a_disagreement_says_what_and_how_much() -> None:
    (found,) = planned(model=MODEL + "mms_kg = 0.3\n").findings
    assert found.code == "enclosure.inconsistent"
    assert found.value == 0.3
    assert "mms_kg is stated as 0.3" in found.message and "+16.5 %" in found.message


def sweeps(**changes: float) -> list[Sweep]:
    """In free air and with 60 g on the cone: 257.5 g move (from the stated figures)."""
    f = np.geomspace(8.0, 800.0, 160)
    figures = {"re_ohm": 3.4, "le_h": 0.001, "fs_hz": 28.0, "qes": 0.52, "qms": 6.1} | changes
    rise = sqrt(1.0 + 0.06 / 0.25748)
    heavy = figures | {"fs_hz": figures["fs_hz"] / rise, "qes": figures["qes"] * rise, "qms": figures["qms"] * rise}
    return [
        Sweep(f, np.abs(coil_impedance(frequency_hz=f, **figures))),
        Sweep(f, np.abs(coil_impedance(frequency_hz=f, **heavy)), None, 0.06),
    ]


def test_a_model_can_come_from_its_sweeps_alone() -> None:
    bare = '[[speaker_models]]\nname = "ten"\nsd_m2 = 0.048\nxmax_m = 0.013\npe_w = 500\n'
    result = enclosure.run(parse(HEAD + bare + box()), sweeps={"ten": sweeps()})
    assert result is not None
    assert only(result).q_tc == pytest.approx(0.7116, abs=2e-3)
    assert result.models["ten"].fitted is not None
    assert codes(result) <= {"enclosure.beyond_xmax"}


def test_a_stated_figure_that_was_measured_otherwise_is_named() -> None:
    build = parse(HEAD + MODEL + box())
    agreed = enclosure.run(build, sweeps={"ten": sweeps()})
    off = enclosure.run(build, sweeps={"ten": sweeps(qes=0.65)})
    assert agreed is not None and off is not None
    assert "enclosure.fit_differs" not in codes(agreed)
    found = [item for item in off.findings if item.code == "enclosure.fit_differs"]
    assert "qes" in " ".join(item.message for item in found)
    assert only(off).q_tc == only(agreed).q_tc  # what is stated stands


def test_a_mass_and_a_box_together_give_the_area_of_the_cone() -> None:
    """0.041 m³ and 257.5 g at 28 Hz belong to 0.048 m²: Sd = 2π fs √(Vas Mms/(ρ c²)) (Small 1972)."""
    rise = sqrt(1.0 + 0.041 / 0.025)
    free, heavy = sweeps()
    figures = {"re_ohm": 3.4, "le_h": 0.001, "fs_hz": 28.0 * rise, "qes": 0.52 * rise, "qms": 6.1 * rise}
    boxed = Sweep(
        free.frequency_hz, np.abs(coil_impedance(frequency_hz=free.frequency_hz, **figures)), None, None, 0.025
    )
    bare = '[[speaker_models]]\nname = "ten"\nxmax_m = 0.013\npe_w = 500\n'
    result = enclosure.run(parse(HEAD + bare + box()), sweeps={"ten": [free, heavy, boxed]})
    assert result is not None
    assert result.models["ten"].driver.sd_m2 == pytest.approx(0.048, rel=1e-3)
    assert only(result).q_tc == pytest.approx(0.7116, abs=2e-3)


def test_what_is_stated_stands_where_a_sweep_fills_in_the_rest() -> None:
    bare = '[[speaker_models]]\nname = "ten"\nfs_hz = 31.0\nsd_m2 = 0.048\n'
    result = enclosure.run(parse(HEAD + bare + box()), sweeps={"ten": sweeps()})
    assert result is not None
    driver = result.models["ten"].driver
    assert driver.fs_hz == pytest.approx(31.0, rel=1e-9)
    assert driver.qes == pytest.approx(0.52, rel=1e-3)
    named = [item for item in result.findings if item.code == "enclosure.fit_differs"]
    assert "fs_hz was measured as 28" in named[0].message


def test_poor_and_short_sweeps_are_named() -> None:
    rng = np.random.default_rng(0)
    rough = [
        replace(item, magnitude_ohm=item.magnitude_ohm * np.exp(0.3 * rng.standard_normal(160))) for item in sweeps()
    ]
    short = [
        replace(item, frequency_hz=item.frequency_hz[:5], magnitude_ohm=item.magnitude_ohm[:5]) for item in sweeps()
    ]
    loaded = sweeps()[1:]  # nothing in free air to read it beside
    for made, code in (
        (rough, "enclosure.curve_poor"),
        (short, "enclosure.curve_short"),
        (loaded, "enclosure.curve_short"),
    ):
        result = enclosure.run(parse(HEAD + MODEL), sweeps={"ten": made})
        assert result is not None and code in codes(result)


@pytest.mark.parametrize(
    ("tables", "rule"),
    [
        (box(kind="vented"), "a vented box needs tuning_hz"),
        (box(tuning_hz="30"), "tuning_hz belongs to a box of kind vented"),
        (box(kind="passive radiator"), "the radiator is missing"),
        (box(kind="vented", tuning_hz="30", port="{count = 2}"), "a port is round"),
        (box(kind="vented", port="{diameter_m = 0.05, length_m = 0.01, flare_radius_m = 0.3}"), "as long as its two rounded"),
        (box().replace('model = "ten"', 'model = "tin"'), "no speaker model has this name"),
        (box().replace('model = "ten"\n', ""), "nothing says which speaker model"),
        (box() + box(), "two enclosures have the same name"),
        (box("a") + 'speakers = ["s"]\n' + box("b") + 'speakers = ["s"]\n', "already sits in box"),
        ('[[speakers]]\nname = "s"\nrole = "woofer"\nside = "left"\n' + box() + 'speakers = ["t"]\n', "no speaker has"),
        (MODEL.replace('"ten"', '"two"') + '[[speakers]]\nname = "s"\nrole = "woofer"\nside = "left"\nmodel = "two"\n'
         + box() + 'speakers = ["s"]\n', "are of one model"),
        ('[[impedance_curves]]\nmodel = "ten"\nfile = "a.csv"\nmethod = "added mass"\n', "needs it"),
        ('[[impedance_curves]]\nmodel = "ten"\nfile = "a.csv"\nmethod = "added mass"\nadded_mass_kg = 0.03\n',
         "beside one in free air"),
    ],
)  # fmt: skip
def test_what_contradicts_itself_is_refused(tables: str, rule: str) -> None:
    with pytest.raises(BuildError, match=rule):
        parse(HEAD + MODEL + tables)


def test_a_build_without_boxes_is_skipped() -> None:
    assert enclosure.run(parse(HEAD)) is None


@pytest.mark.parametrize(
    ("litres", "speakers", "model", "code"),
    [
        (0.62, 1, MODEL, "enclosure.no_room_to_move"),  # by hand 480 cm² × 13 mm are 0.624 L
        (0.63, 1, MODEL, "enclosure.small_box"),
        (1.24, 2, MODEL, "enclosure.no_room_to_move"),
        (1.26, 2, MODEL, "enclosure.small_box"),
        (0.62, 1, MODEL.replace("xmax_m = 0.013", ""), "enclosure.small_box"),  # nobody says how far it moves
        (2.9, 1, MODEL + "displacement_m3 = 0.003\n", "enclosure.small_box"),  # net: what it displaces is not in it
        (3.1, 1, MODEL + "displacement_m3 = 0.003\n", None),
    ],
)
def test_what_is_certain_of_a_small_box_is_a_stop_and_what_is_likely_a_caution(
    litres: float, speakers: int, model: str, code: str | None
) -> None:
    names = [f"s{n}" for n in range(speakers)]
    found = planned(box(volume=f"{litres / 1e3:.6g}", speakers=str(names).replace("'", '"')), model=model).findings
    small = [item for item in found if item.code in ("enclosure.no_room_to_move", "enclosure.small_box")]
    assert [item.code for item in small] == ([code] if code else [])
    assert all(item.severity == ("stop" if "move" in item.code else "caution") for item in small)
