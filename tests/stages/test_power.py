"""The electrical system worked out by hand, refusals by name, and every bad input that the stage has to name."""

from __future__ import annotations

import json
import math
import tomllib
from pathlib import Path
from typing import Any

import pytest

from cabinwright.build.codec import parse
from cabinwright.handover.json_text import json_text, plain
from cabinwright.handover.power_page import fault_words
from cabinwright.stages import power
from cabinwright.stages.power import PowerResult
from stages.wired import AMPLIFIER, HEAD, SUPPLY, codes, only, run

REFERENCES = Path(__file__).parents[1] / "references" / "power.toml"
ENTRIES = {row["id"]: row for row in tomllib.loads(REFERENCES.read_text(encoding="utf-8"))["entry"]}


def plan(result: PowerResult) -> Any:
    return json.loads(json_text(plain(result.to_dict())))


def test_a_build_without_a_supply_has_no_power_stage() -> None:
    assert power.run(parse(HEAD)) is None


def test_the_car_by_hand() -> None:
    """Ohm's law along one feed: 600 W at 85 % from 13.8 V, and lamps of 18 W, each through copper of 1/58 Ω mm²/m."""
    result = run()
    amplifier, lamps = 600.0 / 0.85 / 13.8, 18.0 / 13.8
    feed = 1.7241e-2 * 5.2 / 21.15064
    lead, ground = feed * 0.3 / 5.2, feed * 0.6 / 5.2
    wire = result.wires["amplifier feed"]
    assert wire.resistance_ohm == pytest.approx(feed, rel=1e-5)
    assert wire.current_a == pytest.approx(amplifier, rel=1e-9)
    assert wire.drop_v == pytest.approx(amplifier * feed, rel=1e-5)
    assert result.wires["battery lead"].current_a == pytest.approx(amplifier + lamps, rel=1e-9)
    assert result.wires["battery lead"].state == {"boot": "open", "key": "off"}
    told = plan(result)["loads"]["amplifier"]
    expected = 13.8 - (amplifier + lamps) * (0.006 + lead) - amplifier * (feed + ground)
    assert told["voltage_v"] == pytest.approx(expected, abs=1e-4)
    assert told["current_a"] == pytest.approx(amplifier, rel=1e-5)
    assert result.loads["amplifier"].average_a == pytest.approx(600.0 / 8.0 / 0.75 / 13.8, rel=1e-9)
    rows = told["by_state"]
    assert [row["state"] for row in rows] == [
        {"boot": boot, "key": key} for boot in ("open", "closed") for key in ("off", "on")
    ]
    assert rows[3]["voltage_v"] > rows[0]["voltage_v"], "with the lamps off the lead loses less"
    lights = plan(result)["loads"]["boot lights"]["by_state"]
    assert [row["on"] for row in lights] == [True, True, False, False]
    assert [row["current_a"] for row in lights[1:3]] == [pytest.approx(lamps, rel=1e-5), 0.0]
    assert codes(result, "stop") == set()


def test_a_sound_promise_is_proved_and_a_wrong_interlock_is_caught_by_name() -> None:
    (sound,) = run().promises
    assert (sound.holds, sound.counterexample) == (True, None)
    wrong = run(('closed_when = {boot = "open"}', 'closed_when = [{boot = "open"}, {key = "on"}]'))
    assert wrong.promises[0].counterexample == {"boot": "closed", "key": "on"}
    assert "boot = closed, key = on" in only(wrong, "power.promise_broken").message
    on = '\n[[promises]]\ntext = "on"\nload = "amplifier"\nis = "on"\n'
    assert run(extra=on).promises[1].holds


def test_a_promise_may_be_about_the_coil_of_a_relay() -> None:
    relay = """
[[relays]]
name = "helper"
from = "main out"
to = "lamps"
coil_from = "lamps"
at_rest = "closed"
[[promises]]
text = "the helper never pulls in"
load = "helper"
is = "off"
"""
    result = run(extra=relay)
    # At rest it feeds the lamps and its own coil, pulls in, drops out, and so on, whenever the boot is closed.
    assert only(result, "power.oscillates").where == "helper"
    assert not result.promises[1].holds


def test_a_relay_that_holds_itself_comes_to_rest_open() -> None:
    held = """
[[relays]]
name = "keeper"
from = "main out"
to = "kept"
coil_from = "kept"
[[loads]]
name = "radio"
from = "kept"
current_a = 2
"""
    result = run(extra=held)
    assert "power.oscillates" not in codes(result)
    assert not result.loads["radio"].on.any() and only(result, "power.never_on").where == "radio"


def test_a_turn_on_line_decides_with_the_feed() -> None:
    line = """
[[switches]]
name = "radio"
from = "main out"
to = "turn on"
closed_when = {key = "on"}
"""
    result = run(("channels = 4}\n", 'channels = 4}\nremote = "turn on"\n'), extra=line)
    assert result.loads["amplifier"].on.tolist() == [False, True, False, True]
    stray = run(("channels = 4}\n", 'channels = 4}\nremote = "turn of"\n'), extra=line)
    assert not stray.loads["amplifier"].on.any()
    assert any("Did you mean “turn on”" in item.message for item in stray.findings)


def test_sizes_and_ratings_are_chosen_with_their_reason() -> None:
    result = run(
        ("rating_a = 100\n", ""),
        ('length_m = 5.2\ngauge = "4 AWG"', "length_m = 5.2"),
        ('length_m = 0.3\ngauge = "4 AWG"', "length_m = 0.3"),
        ('length_m = 0.6\ngauge = "4 AWG"', "length_m = 0.6"),
    )
    main, feed = result.fuses["main"], result.wires["amplifier feed"]
    assert main.chosen and main.rating_a == 60.0, "the next standard rating above 52.5 A"
    assert feed.sized and feed.ampacity_a >= main.rating_a and feed.decided_by == "fuse"
    assert feed.average_a * feed.resistance_hot_ohm <= 0.03 * 13.8
    assert codes(result, "stop") == set()
    far = run(('length_m = 2\ngauge = "0.75 mm2"', "length_m = 60"))
    assert far.wires["light feed"].decided_by == "drop"
    long = far.wires["light feed"]
    assert long.average_a * long.resistance_hot_ohm <= 0.03 * 13.8
    huge = run(('length_m = 2\ngauge = "0.75 mm2"', "length_m = 60"), ("power_w = 18", "power_w = 9000"))
    assert "power.no_size" in codes(huge)


def test_american_sizes_are_chosen_where_all_others_are() -> None:
    metric = run(('length_m = 0.6\ngauge = "4 AWG"', "length_m = 0.6"))
    american = run(
        ('length_m = 0.6\ngauge = "4 AWG"', "length_m = 0.6"),
        ('gauge = "0.75 mm2"', 'gauge = "18 AWG"'),
    )
    assert metric.wires["amplifier ground"].gauge.endswith("mm2")
    assert american.wires["amplifier ground"].gauge.endswith("AWG")


def test_copper_clad_aluminium_is_told_apart() -> None:
    clad = run(('to = "amplifier plus"\n', 'to = "amplifier plus"\nmaterial = "copper-clad aluminium"\n'))
    plain_copper = run().wires["amplifier feed"]
    wire = clad.wires["amplifier feed"]
    assert wire.resistance_ohm / plain_copper.resistance_ohm == pytest.approx(2.74 / 1.7241, rel=1e-4)
    assert wire.ampacity_a < plain_copper.ampacity_a and wire.free_air_a < plain_copper.free_air_a


def test_the_standard_is_given_where_it_is_stricter() -> None:
    """IEC 60228: 25 mm2 flexible copper has 0.780 Ω/km at most, its nominal area 0.690."""
    assert run().wires["amplifier feed"].resistance_max_ohm is None, "no table for this gauge"
    wire = run(('length_m = 5.2\ngauge = "4 AWG"', 'length_m = 5.2\ngauge = "25 mm2"')).wires["amplifier feed"]
    assert wire.resistance_ohm == pytest.approx(5.2 * 17.241e-3 / 25.0, rel=1e-6)
    assert wire.resistance_max_ohm == pytest.approx(5.2 * 0.78e-3, rel=1e-9)


def test_one_temperature_holds_for_the_whole_build() -> None:
    """IEC 60028: copper at 60 °C has 1.1572 times its resistance at 20 °C."""
    warm = run(("nominal_v = 13.8", "nominal_v = 13.8\nconductor_c = 60"))
    for name, wire in run().wires.items():
        assert warm.wires[name].resistance_ohm == pytest.approx(1.1572 * wire.resistance_ohm, rel=1e-9)


def test_the_sag_of_the_reference() -> None:
    row = ENTRIES["E.batt.sag"]
    given = row["inputs"]
    length = given["Rw"] * 35.0 / 1.7241e-2
    text = f"""{HEAD}[supply]
nominal_v = {given["E"]}
battery = {{capacity_ah = 80, resistance_ohm = {given["Ri"]}}}
[[wires]]
name = "feed"
from = "battery plus"
to = "in"
length_m = {length:.12g}
gauge = "35 mm2"
[[loads]]
name = "load"
from = "in"
current_a = {given["I"]}
"""
    result = power.run(parse(text))
    assert result is not None
    volts, watts = row["expected"]
    assert result.loads["load"].voltage_v == pytest.approx(volts, rel=1e-7)
    assert result.wires["feed"].current_a * result.wires["feed"].drop_v == pytest.approx(watts, rel=1e-7)
    assert "power.unfused" in codes(result, "stop")


def test_single_faults_say_what_lights_what_goes_dark_and_what_stays_live() -> None:
    result = run()
    faults = {(item.kind, item.element): item for item in result.faults}
    stuck = faults["stuck closed", "switch “boot switch”"]
    assert stuck.lights == ("boot lights",) and stuck.breaks[0].counterexample == {"boot": "closed", "key": "off"}
    assert faults["stuck open", "switch “boot switch”"].dark == ("boot lights",)
    assert only(result, "power.fault_breaks").message.endswith("switch “boot switch” stuck closed")
    assert faults["blown", "fuse “main”"].dark == ("amplifier", "boot lights")
    assert faults["ground lost", "wire “amplifier ground”"].dark == ("amplifier",)
    chafed = faults["chafed", "wire “amplifier feed”"]
    assert chafed.fuse == "main" and chafed.clears and chafed.clears_s is not None and chafed.stands_s is not None
    assert chafed.clears_s < chafed.stands_s
    assert faults["chafed", "wire “battery lead”"].fuse is None and not faults["chafed", "wire “battery lead”"].clears
    behind = run(
        extra='\n[[wires]]\nname = "second way"\nfrom = "main in"\nto = "main out"\nlength_m = 1\ngauge = "4 AWG"\n'
    )
    assert only(behind, "power.fed_from_behind").details["node"] == "main out"


def test_current_that_comes_home_through_a_shield_is_found() -> None:
    shield = """
[[wires]]
name = "signal shield"
from = "amplifier minus"
to = "radio ground"
length_m = 5
gauge = "0.22 mm2"
shield = true
[[wires]]
name = "radio ground wire"
from = "radio ground"
to = "chassis"
length_m = 0.3
gauge = "1.5 mm2"
"""
    found = only(run(extra=shield), "power.shield_return")
    assert "amplifier" in found.message and found.where == "wire “amplifier ground”"
    assert "power.shield_return" not in codes(run(extra=shield.replace("shield = true\n", "")))


def test_the_budget_by_hand() -> None:
    result = run(("power_w = 18", "power_w = 18\nasleep_a = 0.02"))
    average = 600.0 / 8.0 / 0.75 / 13.8 + 18.0 / 13.8
    assert result.budget["average_a"] == pytest.approx(average, rel=1e-9)
    assert result.budget["engine_off_hours"] == pytest.approx(40.0 / average, rel=1e-9)
    assert result.budget["days_until_flat"] == pytest.approx(40.0 / 0.02 / 24.0, rel=1e-9)
    assert result.budget["alternator"]["spare_at_idle_a"] == pytest.approx(80.0 - average, rel=1e-9)
    peak = 600.0 / 0.85 / 13.8 + 18.0 / 13.8
    assert result.budget["sag"]["bass_note_v"] == pytest.approx(13.8 - 0.006 * peak, rel=1e-9)
    assert "power.alternator_small" in codes(run(("rated_a = 150, idle_a = 80", "rated_a = 8, idle_a = 5")))
    assert "power.alternator_idle" in codes(run(("rated_a = 150, idle_a = 80", "rated_a = 80, idle_a = 5")))


def test_a_strip_of_lights_dims_towards_its_end() -> None:
    """Cut into a thousand lights by hand: each piece of track carries what the lights beyond it draw."""
    strip = ("power_w = 18", "power_w = 18\nstrip = {resistance_ohm = 0.9}\ndimmed_share = 0.25")
    result = run(strip)
    current, pieces = 18.0 / 13.8, 1000
    by_hand = sum(current * (pieces - k - 0.5) / pieces * 0.9 / pieces for k in range(pieces))
    lamps = result.loads["boot lights"]
    assert lamps.strip_drop_v == pytest.approx(by_hand, rel=1e-6)
    assert (lamps.current_a, lamps.average_a) == pytest.approx((current, 0.25 * current))
    assert {"power.strip_dims", "power.glare"} <= codes(result)
    both = run((strip[0], strip[1].replace("0.9}", '0.9, fed_at = "both ends"}')))
    assert both.loads["boot lights"].strip_drop_v == pytest.approx(by_hand / 4.0, rel=1e-6)
    assert "power.strip_dims" not in codes(both)


SECOND = (
    "alternator = {rated_a = 150, idle_a = 80}\n",
    "alternator = {rated_a = 150, idle_a = 80}\n"
    'second_battery = {capacity_ah = 40, resistance_ohm = 0.004, open_v = 12.2}\nisolator = {closed_when = {key = "on"}}\n',
)


def test_two_batteries_fight_only_where_the_isolator_joins_them() -> None:
    result = run(SECOND)
    found = only(result, "power.sources_fight")
    assert "key = on" in found.message and found.where == "second battery plus"
    # Thévenin of both: with the lamps and the amplifier's average the first battery lifts the second.
    average = 600.0 / 8.0 / 0.75 / 13.8
    joined = (13.8 / 0.006 + 12.2 / 0.004 - average) / (1.0 / 0.006 + 1.0 / 0.004)
    assert found.value == pytest.approx((joined - 12.2) / 0.004, abs=0.06)
    assert result.budget["charge_a"] == pytest.approx((13.8 - 12.24) / 0.010, rel=1e-9)


SHORT = '\n[[switches]]\nname = "mistake"\nfrom = "main out"\nto = "chassis"\nclosed_when = {key = "on"}\n'


@pytest.mark.parametrize(
    ("code", "severity", "words", "changes", "extra"),
    [
        ("power.short", "stop", "mistake", [], SHORT),
        (
            "power.loop",
            "note",
            "boot switch",
            [],
            SHORT.replace('"main out"', '"boot contact"').replace('"chassis"', '"lamps"'),
        ),
        ("power.floating", "note", "lamps", [], ""),
        (
            "power.dead_node",
            "caution",
            "nowhere",
            [],
            '\n[[wires]]\nname = "stray"\nfrom = "nowhere"\nto = "nothing"\nlength_m = 1\n',
        ),
        (
            "power.idle_wire",
            "caution",
            "stub",
            [],
            '\n[[wires]]\nname = "stub"\nfrom = "lamps"\nto = "end"\nlength_m = 1\n',
        ),
        (
            "power.loose_end",
            "caution",
            "Did you mean “lamps”",
            [('to = "chassis"\npower_w', 'to = "lampz"\npower_w')],
            "",
        ),
        (
            "power.idle_fuse",
            "caution",
            "spare",
            [],
            '\n[[fuses]]\nname = "spare"\nfrom = "main out"\nto = "spare out"\nrating_a = 5\n',
        ),
        ("power.never_on", "caution", "boot lights", [('from = "lamps"', 'from = "lamp"')], ""),
        ("power.unfused", "stop", "bare", [], '\n[[loads]]\nname = "bare"\nfrom = "battery plus"\ncurrent_a = 1\n'),
        ("power.long_before_fuse", "caution", "battery lead", [("length_m = 0.3", "length_m = 1.3")], ""),
        ("power.fuse_far", "caution", "main", [("from_battery_m = 0.3", "from_battery_m = 1.3")], ""),
        ("power.fuse_blows", "stop", "lights", [("rating_a = 5", "rating_a = 1")], ""),
        ("power.fuse_peak", "caution", "main", [("rating_a = 100", "rating_a = 40")], ""),
        ("power.fuse_warm", "note", "lights", [("rating_a = 5", "rating_a = 1.5")], ""),
        (
            "power.wire_burns",
            "stop",
            "light feed",
            [("power_w = 18", "power_w = 600"), ("rating_a = 5", "rating_a = 60")],
            "",
        ),
        ("power.drop", "caution", "boot lights", [("length_m = 2\n", "length_m = 40\n")], ""),
        ("power.sag", "caution", "amplifier", [("resistance_ohm = 0.006", "resistance_ohm = 0.06")], ""),
        ("power.collapse", "stop", "amplifier", [("resistance_ohm = 0.006", "resistance_ohm = 0.6")], ""),
        ("power.not_selective", "note", "lights", [("rating_a = 5\n", "rating_a = 60\n")], ""),
    ],
)
def test_what_is_wrong_is_named(
    code: str, severity: str, words: str, changes: list[tuple[str, str]], extra: str
) -> None:
    assert code == "power.floating" or code not in codes(run())
    result = run(*changes, extra=extra)
    found = [item for item in result.findings if item.code == code]
    assert found and found[0].severity == severity
    assert any(words in item.message for item in found)


def test_wires_without_anything_else_do_no_harm() -> None:
    alone = power.run(parse(HEAD + SUPPLY))
    assert alone is not None and alone.budget["peak_a"] == 0.0
    assert json.loads(json_text(plain(alone.to_dict())))["promises"] == []
    bare = power.run(parse(HEAD + SUPPLY + AMPLIFIER))
    assert bare is not None and bare.loads["amplifier"].state == {}
    assert plan(bare)["loads"]["amplifier"]["by_state"][0]["state"] == {}


def test_the_same_build_gives_the_same_answer_whichever_way_ends_are_written() -> None:
    turned = run(
        ('from = "main out"\nto = "amplifier plus"', 'from = "amplifier plus"\nto = "main out"'),
        ('from = "main in"\nto = "main out"', 'from = "main out"\nto = "main in"'),
        ('from = "boot contact"\nto = "lamps"', 'from = "lamps"\nto = "boot contact"'),
    )
    straight = run()
    for name, wire in straight.wires.items():
        assert turned.wires[name].current_a == pytest.approx(wire.current_a, rel=1e-12)
        assert turned.wires[name].drop_v == pytest.approx(wire.drop_v, rel=1e-9)
    assert {name: fuse.load_a for name, fuse in turned.fuses.items()} == pytest.approx(
        {name: fuse.load_a for name, fuse in straight.fuses.items()}
    )
    assert turned.promises == straight.promises


def test_every_finding_with_a_number_is_finite() -> None:
    for item in run(("rating_a = 100", "rating_a = 200")).findings:
        assert item.value is None or isinstance(item.value, str) or math.isfinite(item.value)


RETURN_SWITCHED = """\
[[wires]]
name = "step lamp return"
from = "step lamp minus"
to = "door contact"
length_m = 3
gauge = "0.75 mm2"
[[switches]]
name = "door switch"
from = "door contact"
to = "chassis"
closed_when = {door = "open"}
[[loads]]
name = "step lamp"
from = "light line"
to = "step lamp minus"
power_w = 5
[[states]]
name = "door"
values = ["open", "shut"]
[[promises]]
text = "the step lamp burns only while the door is open"
load = "step lamp"
is = "off"
when = {door = "shut"}
"""


def test_a_switched_return_that_chafes_through_lights_its_lamp() -> None:
    """Worked out by hand: no fuse minds it, and the door can be shut."""
    result = run(extra=RETURN_SWITCHED)
    faults = {(item.kind, item.element): item for item in result.faults}
    chafed = faults["chafed", "wire “step lamp return”"]
    assert chafed.lights == ("step lamp",) and chafed.dark == ()
    assert chafed.breaks[0].counterexample is not None and chafed.breaks[0].counterexample["door"] == "shut"
    assert (chafed.current_a, chafed.fuse, chafed.clears) == (None, None, None)
    assert fault_words(chafed) == (
        "wire “step lamp return” chafed",
        "comes on: step lamp; breaks “the step lamp burns only while the door is open”",
    )
    # A wire that is live in one state and dead in the other lights nothing by it.
    assert faults["chafed", "wire “light feed”"].lights == ()
    assert any(
        "wire “step lamp return” chafed" in item.message
        for item in result.findings
        if item.code == "power.fault_breaks"
    )
