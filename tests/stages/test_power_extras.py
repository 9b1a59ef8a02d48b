"""Hum, inrush, contacts, returns and lamps: each by hand or against ngspice, and each finding by name."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest

from cabinwright.build.codec import parse
from cabinwright.errors import BuildError
from cabinwright.handover.json_text import json_text, plain
from cabinwright.physics.coupling import mutual_over_body_h, self_over_body_h
from cabinwright.stages import power
from cabinwright.stages.power import PowerResult
from physics.spice import spice
from stages.wired import CAR, car

RADIO = """
[[loads]]
name = "radio"
from = "main out"
to = "radio minus"
current_a = 2
[[wires]]
name = "radio ground"
from = "radio minus"
to = "chassis"
length_m = 1.5
gauge = "0.75 mm2"
"""
SHORT = RADIO.replace("length_m = 1.5", "length_m = 0.1")
CABLE = """
[[signal_cables]]
name = "left"
from = "radio minus"
to = "amplifier minus"
length_m = 4.5
beside = "amplifier feed"
spacing_m = 0.03
"""
CHARGE = ("channels = 4}\n", 'channels = 4}\ninrush = {capacitance_f = "22 mF", esr_ohm = 0.004}\n')
RHO, AWG4 = 1.7241e-2, math.pi / 4.0 * (0.127 * 92.0 ** (32 / 39)) ** 2


def run(*changes: tuple[str, str], extra: str = "") -> PowerResult:
    result = power.run(car(*changes, extra=extra))
    assert result is not None
    return result


def told(result: PowerResult, code: str) -> list[Any]:
    return [item for item in result.findings if item.code == code]


def amplitude(db: float) -> float:
    """Amplitude against an effective value of 1 V."""
    return math.sqrt(2.0) * 10.0 ** (db / 20.0)


# Hum


def test_a_signal_cable_hears_what_ngspice_says(tmp_path: Path) -> None:
    """Alternator ripple of 2/35 in every load, grounds and shield as they are wired, the feed coupled into the loop."""
    result = run(extra=RADIO + CABLE)
    (ripple,) = [item for item in result.signal_cables["left"].heard if item.disturber == "alternator ripple"]
    share = 0.0571
    amplifier, radio, lamps = (share * amps for amps in (600.0 / 8.0 / 0.75 / 13.8, 2.0, 18.0 / 13.8))
    own = self_over_body_h(length_m=4.5, height_m=0.02, radius_m=0.0025)
    mutual = mutual_over_body_h(length_m=4.5, spacing_m=0.03, height_m=0.02)
    assert result.signal_cables["left"].mutual_h == pytest.approx(mutual, rel=1e-9)
    deck = [
        "Rbattery 0 plus 0.006",
        f"Rlead plus in {RHO * 0.3 / AWG4:.12g}",
        f"Rfeed in fed {RHO * 5.2 / AWG4:.12g}",
        f"Rground minus 0 {RHO * 0.6 / AWG4:.12g}",
        f"Rradio radio 0 {RHO * 1.5 / 0.75:.12g}",
        "Lfeed fed ampplus 1e-5",
        f"Iamp ampplus minus AC {amplifier:.12g}",
        f"Iradio in radio AC {radio:.12g}",
        f"Ilamps in 0 AC {lamps:.12g}",
        "Rshield radio loop 0.09",
    ]
    control = ["ac lin 1 1200 1200", "let heard = mag(v(radio)-v(loop))", "print heard"]
    coupled = f"K1 Lfeed Lloop {mutual / math.sqrt(1e-5 * own):.12g}"
    grounds = spice([*deck, "VL loop minus 0"], control, tmp_path)["heard"]
    assert ripple.grounds_v == pytest.approx(grounds, rel=1e-4)
    part = 10_000.0 / 10_100.0
    assert amplitude(ripple.by_grounds_db) == pytest.approx(part * grounds, rel=1e-4)
    quiet = [line.replace(f"AC {radio:.12g}", "AC 0").replace(f"AC {lamps:.12g}", "AC 0") for line in deck]
    quiet = [line.replace("Iamp ampplus minus", "Iamp ampplus 0") for line in quiet]  # only through the feed
    loop = spice([*quiet, f"Lloop loop minus {own:.12g}", coupled], control, tmp_path)["heard"]
    assert amplitude(ripple.by_loop_db) == pytest.approx(part * loop, rel=1e-4)
    assert amplitude(ripple.by_loop_db) != pytest.approx(1.05 * part * loop, rel=1e-3)
    everything = spice([*deck, f"Lloop loop minus {own:.12g}", coupled], control, tmp_path)["heard"]
    in_phase = amplitude(ripple.by_grounds_db) + amplitude(ripple.by_loop_db)
    assert part * everything <= in_phase * 1.001, "added as if in phase, it is never told too small"


def test_a_bass_note_swings_the_grounds_by_the_current_of_the_amplifier() -> None:
    """sin² of a note: at twice its frequency with the amplitude of its mean. One end open: nothing flows in the shield."""
    result = run(extra=RADIO + CABLE + 'shield_grounded = "one end"\nrejection_db = 0\nsource_ohm = 0\n')
    (bass,) = [item for item in result.signal_cables["left"].heard if item.disturber == "bass note"]
    assert bass.frequency_hz == 100.0
    expected = 600.0 / 0.85 / 13.8 * RHO * 0.6 / AWG4
    assert bass.grounds_v == pytest.approx(expected, rel=1e-9)
    assert amplitude(bass.by_grounds_db) == pytest.approx(expected, rel=1e-9)
    peak = expected - 2.0 * RHO * 1.5 / 0.75
    assert result.signal_cables["left"].grounds_peak_v == pytest.approx(abs(peak), rel=1e-9)
    rejecting = run(extra=RADIO + CABLE + "balanced = true\nrejection_db = 60\nsource_ohm = 0\n")
    (quiet,) = [item for item in rejecting.signal_cables["left"].heard if item.disturber == "bass note"]
    assert amplitude(quiet.by_grounds_db) == pytest.approx(1e-3 * quiet.grounds_v, rel=1e-9)


def test_a_dimmer_is_heard_by_its_fundamental() -> None:
    dimmed = ("power_w = 18\n", "power_w = 18\ndimmed_share = 0.25\ndimmer_hz = 500\n")
    beside = CABLE.replace('"amplifier feed"', '"light feed"')
    result = run(dimmed, extra=RADIO + beside)
    (heard,) = [item for item in result.signal_cables["left"].heard if item.disturber == "dimmer of boot lights"]
    assert heard.wire_a == pytest.approx(2.0 / math.pi * math.sin(0.25 * math.pi) * 18.0 / 13.8, rel=1e-9)
    assert heard.state["boot"] == "open" and heard.frequency_hz == 500.0
    assert result.signal_cables["left"].together_m == 2.0, "no longer than the shorter of the two"


def test_hum_is_a_finding_with_what_to_do() -> None:
    near = run(extra=SHORT + CABLE)
    hum = told(near, "power.hum_induced")[0]
    assert hum.severity == "caution" and "amplifier feed" in hum.message and "estimate" in hum.message
    assert told(near, "power.ground_loop")[0].value == pytest.approx(0.09)
    one_ground = CABLE.replace('from = "radio minus"', 'from = "amplifier minus"')
    shared = run(extra=one_ground)
    assert not shared.signal_cables["left"].loop and not told(shared, "power.hum_ground")
    cable = near.signal_cables["left"]
    assert shared.signal_cables["left"].hum.level_db == pytest.approx(cable.hum.one_point_db, abs=0.2)
    floating = run(extra=SHORT + CABLE + "balanced = true\n")
    assert floating.signal_cables["left"].hum.level_db == pytest.approx(cable.hum.floating_db, abs=1e-9)
    assert told(run(extra=RADIO + CABLE.replace('beside = "amplifier feed"\n', "")), "power.hum_ground")


def test_the_distance_named_is_enough_and_a_little_less_is_not() -> None:
    quiet = ("rated_a = 150, idle_a = 80", "rated_a = 150, idle_a = 80, ripple_share = 0.01")
    ask = CABLE + "target_db = -85\nbass_target_db = 0\n"
    cable = run(quiet, extra=SHORT + ask).signal_cables["left"]
    assert cable.hum.mostly == "loop" and cable.hum.separate_m is not None and cable.hum.separate_m > 0.03
    for offset, enough in ((0.0, True), (-0.005, False)):
        moved = ask.replace("spacing_m = 0.03", f"spacing_m = {cable.hum.separate_m + offset}")
        again = run(quiet, extra=SHORT + moved)
        assert (again.signal_cables["left"].hum.level_db <= -85.0) == enough
        assert bool(told(again, "power.hum_induced")) != enough


def test_a_return_laid_beside_the_feed_quietens_it() -> None:
    apart = run(extra=RADIO + CABLE).signal_cables["left"]
    paired = run(extra=RADIO + CABLE + "return_spacing_m = 0.01\n").signal_cables["left"]
    assert paired.mutual_h < 0.5 * apart.mutual_h and paired.hum.level_db < apart.hum.level_db


def test_a_shield_carries_nothing_into_sizes_and_guards_and_is_found_when_a_ground_is_lost() -> None:
    without, result = run(extra=RADIO), run(extra=RADIO + CABLE)
    assert {name: wire.fuse for name, wire in result.wires.items()} == {
        name: wire.fuse for name, wire in without.wires.items()
    }
    lost = told(result, "power.shield_return")
    assert {item.where for item in lost} == {"wire “amplifier ground”", "wire “radio ground”"}


def test_each_way_home_is_listed_with_its_lift() -> None:
    found = {item.loads: item for item in run(extra=RADIO).grounds}
    assert set(found) == {("amplifier",), ("radio",), ("boot lights",)}
    assert found["amplifier",].through == ("amplifier ground",) and found["boot lights",].peak_v is None
    assert found["amplifier",].peak_v == pytest.approx(600.0 / 0.85 / 13.8 * RHO * 0.6 / AWG4, rel=1e-5)
    star = run(extra=RADIO.replace('to = "chassis"', 'to = "amplifier minus"'))
    assert ("amplifier", "radio") in {item.loads for item in star.grounds}


# Inrush


def test_capacitors_through_the_wiring_in_ngspice(tmp_path: Path) -> None:
    """The amplifier's 22 mF through battery, lead, feed and ground, with 1 µH a metre in the feed."""
    result = run(CHARGE)
    pulse = result.inrush["amplifier"]
    ohm = 0.006 + RHO * (0.3 + 5.2 + 0.6) / AWG4 + 0.004
    deck = ["V1 a 0 13.8", f"R1 a b {ohm:.12g}", "L1 b c 6.1e-6 IC=0", "VM c d 0", "C1 d 0 0.022 IC=0"]
    control = ["tran 0.5u 20m 0 0.5u uic", "let square = i(vm)*i(vm)", "meas tran peak MAX i(vm)"]
    found = spice(deck, [*control, "meas tran heat INTEG square from=0 to=20m"], tmp_path)
    assert pulse.i2t_a2s == pytest.approx(found["heat"], rel=3e-3)
    assert pulse.i2t_a2s != pytest.approx(1.02 * found["heat"], rel=3e-3)
    assert pulse.peak_a == pytest.approx(13.8 / ohm, rel=1e-6) and pulse.peak_a > found["peak"]
    main = result.fuses["main"]
    assert main.inrush_a2s == pytest.approx(pulse.i2t_a2s) and main.inrush_by == ("amplifier",)
    assert main.stands_inrush and result.fuses["lights"].stands_inrush is None
    assert pulse.energy_j == pytest.approx(0.5 * 0.022 * 13.8**2)


def test_a_fuse_that_may_open_at_first_is_named() -> None:
    assert not told(run(CHARGE), "power.inrush_fuse")
    weak = run(CHARGE, ("breaking_a = 3000\n", "breaking_a = 3000\nmelting_a2s = 90\n"))
    found = told(weak, "power.inrush_fuse")[0]
    assert found.where == "main" and "amplifier" in found.message and "1 Ω for 0.11 s" in found.remedy
    lamps = run(
        ("power_w = 18\n", "power_w = 50\ninrush = {times = 12, duration_s = 0.05}\n"),
        ("rating_a = 5\n", "rating_a = 4\n"),
    )
    cold = lamps.inrush["boot lights"]
    assert cold.peak_a == pytest.approx(12.0 * 50.0 / 13.8) and cold.i2t_a2s == pytest.approx(0.05 * cold.peak_a**2)
    assert told(lamps, "power.inrush_fuse")[0].where == "lights"
    mild = run(("power_w = 18\n", "power_w = 18\ninrush = {times = 3, duration_s = 0.01}\n"))
    assert not told(mild, "power.inrush_fuse")


def test_pulses_of_two_loads_on_one_fuse_stay_above_ngspice(tmp_path: Path) -> None:
    second = """
[[loads]]
name = "second amplifier"
from = "second plus"
current_a = 1
inrush = {capacitance_f = 0.01}
[[wires]]
name = "second feed"
from = "main out"
to = "second plus"
length_m = 3
gauge = "6 mm2"
"""
    result = run(CHARGE, extra=second)
    deck = [
        "V1 a 0 13.8",
        "R0 a s 0.006",
        f"R1 s in {RHO * 0.3 / AWG4:.12g}",
        "VM in out 0",
        f"R2 out x {RHO * 5.8 / AWG4 + 0.004:.12g}",
        "C1 x 0 0.022 IC=0",
        f"R3 out y {RHO * 3.0 / 6.0:.12g}",
        "C2 y 0 0.01 IC=0",
    ]
    control = ["tran 0.5u 20m 0 0.5u uic", "let square = i(vm)*i(vm)", "meas tran peak MAX i(vm)"]
    found = spice(deck, [*control, "meas tran heat INTEG square from=0 to=20m"], tmp_path)
    main = result.fuses["main"]
    assert main.inrush_a2s is not None and main.inrush_a is not None
    assert found["heat"] <= main.inrush_a2s <= 2.0 * found["heat"]
    assert found["peak"] <= main.inrush_a


# Contacts


def test_contacts_are_held_against_their_rating() -> None:
    ample = run(("rating_a = 5", "rating_a = 5"), ('name = "boot switch"', 'name = "boot switch"\nrating_a = 2'))
    assert not told(ample, "power.contact_over") and ample.contacts[0].fits is True
    small = run(('name = "boot switch"', 'name = "boot switch"\nrating_a = 1'))
    (found,) = told(small, "power.contact_over")
    assert found.severity == "stop" and "switch “boot switch”" in found.message and "boot = open" in found.message
    assert small.contacts[0].load_a == pytest.approx(18.0 / 13.8)
    dimmed = run(
        ('name = "boot switch"', 'name = "boot switch"\nrating_a = 1'),
        ("power_w = 18\n", "power_w = 18\ndimmed_share = 0.5\n"),
    )
    assert told(dimmed, "power.contact_over")[0].severity == "caution"
    assert run().contacts[0].fits is None


def test_a_contact_that_closes_onto_capacitors_is_named() -> None:
    cold = ("power_w = 18\n", "power_w = 18\ninrush = {peak_a = 20, duration_s = 0.01}\n")
    found = told(run(cold, ('name = "boot switch"', 'name = "boot switch"\nrating_a = 5')), "power.inrush_contact")
    assert found[0].value == pytest.approx(20.0 + 18.0 / 13.8, rel=0.01) and "boot lights" in found[0].message
    made = ('name = "boot switch"', 'name = "boot switch"\nrating_a = 5\nmaking_a = 30')
    assert not told(run(cold, made), "power.inrush_contact")


# Lamps


def lamps(driver: str, *more: tuple[str, str]) -> PowerResult:
    return run(("power_w = 18\n", f"driver = {{{driver}}}\n"), *more)


def test_a_driver_draws_what_its_strings_and_its_losses_ask_for() -> None:
    result = lamps('kind = "constant current", output_v = 9.6, current_a = 0.35, strings = 4, efficiency = 0.9')
    watts = 4 * 0.35 * 9.6
    assert result.loads["boot lights"].current_a == pytest.approx(watts / 0.9 / 13.8, rel=1e-9)
    light = result.lighting["boot lights"]
    assert light.driver is not None and light.driver.lost_w == pytest.approx(watts * (1.0 / 0.9 - 1.0), rel=1e-9)
    assert light.fuse == "lights" and light.interlock == ("switch “boot switch”",)
    assert light.promises == ("boot lights burn only while the boot is open",)
    assert told(result, "power.glare") and not told(result, "power.no_interlock")
    always = run(
        ("power_w = 18\n", "power_w = 18\ndimmed_share = 0.5\n"), ('["open", "closed"]', '["open"]'), (PROMISE, "")
    )
    assert told(always, "power.no_interlock")


PROMISE = CAR[CAR.index("[[promises]]") :]


def test_a_resistor_in_each_string_as_in_the_reference() -> None:
    """E.led: 3 × 3.2 V at 20 mA from 14.4 V: 240 Ω, 96 mW; 22.5 mA at 15 V."""
    result = lamps(
        'kind = "resistor", output_v = 9.6, current_a = 0.02, strings = 10', ("nominal_v = 13.8", "nominal_v = 14.4")
    )
    light = result.lighting["boot lights"]
    assert light.driver is not None and light.driver.resistor_ohm == pytest.approx(240.0)
    assert light.driver.lost_w == pytest.approx(0.96)
    assert result.loads["boot lights"].current_a == pytest.approx(0.2)
    assert light.most_v is not None and light.driver.string_most_a == pytest.approx((light.most_v - 9.6) / 240.0)


def test_a_driver_that_gets_too_little_or_too_much_is_named() -> None:
    down = lamps('kind = "constant current", steps = "down", output_v = 12, current_a = 0.35')
    assert told(down, "power.driver_starved")[0].limit == 13
    assert not told(lamps('kind = "constant current", output_v = 12, current_a = 0.35'), "power.driver_starved")
    up = lamps('kind = "constant current", steps = "up", output_v = 9.6, current_a = 0.35')
    assert told(up, "power.driver_overrun")[0].limit == 9.6
    enough = lamps('kind = "constant current", steps = "up", output_v = 24, current_a = 0.35')
    assert not told(enough, "power.driver_overrun")


def test_a_slow_dimmer_is_a_note() -> None:
    slow = run(("power_w = 18\n", "power_w = 18\ndimmed_share = 0.5\ndimmer_hz = 200\n"))
    assert told(slow, "power.flicker")[0].severity == "note"
    assert not told(run(("power_w = 18\n", "power_w = 18\ndimmed_share = 0.5\ndimmer_hz = 2000\n")), "power.flicker")


def test_runs_share_the_current_of_a_strip() -> None:
    one = run(("power_w = 18\n", "power_w = 18\nstrip = {resistance_ohm = 0.4}\n"))
    four = run(("power_w = 18\n", "power_w = 18\nstrip = {resistance_ohm = 0.4, runs = 4}\n"))
    light = four.lighting["boot lights"]
    assert light.run_a == pytest.approx(18.0 / 13.8 / 4.0)
    whole = one.loads["boot lights"].strip_drop_v
    assert whole is not None and light.strip_drop_v == pytest.approx(whole / 4.0)


# Sizes, cautions and what does not fit


def test_sizes_say_by_which_limit_and_on_what_they_stand() -> None:
    result = run(("rating_a = 100\n", ""), ('length_m = 5.2\ngauge = "4 AWG"', "length_m = 5.2\nbundle = 3"))
    feed, main = result.wires["amplifier feed"], result.fuses["main"]
    assert feed.limits[feed.decided_by] == feed.gauge and set(feed.limits) == {
        "current",
        "fuse",
        "short circuit",
        "drop",
    }
    assert "bundle of 3" in feed.assumes and "3 %" in feed.assumes
    assert main.decided_by == "peak" and "80 %" in main.assumes
    assert run().fuses["main"].decided_by == "" and run().wires["amplifier feed"].limits == {}
    told_ = json.loads(json_text(plain(result.to_dict())))
    said = " ".join(told_["cautions"])
    assert all(
        word in said for word in ("High direct current", "gas", "lithium", "Airbag", "First power-up", "licensed")
    )


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("power_w = 18", "power_w = 18\ninrush = {times = 12}", "duration_s goes with times or peak_a"),
        (
            "power_w = 18",
            "power_w = 18\ninrush = {times = 12, peak_a = 3, duration_s = 1}",
            "exactly one of capacitance_f",
        ),
        ("power_w = 18", "power_w = 18\ninrush = {capacitance_f = -1}", "must be above 0"),
        ("power_w = 18", 'driver = {kind = "magic", output_v = 9, current_a = 1}', "must be one of constant current"),
        ('name = "boot switch"', 'name = "boot switch"\nrating_a = -3', "must be above 0"),
    ],
)
def test_what_does_not_fit_is_named(old: str, new: str, message: str) -> None:
    assert old in CAR
    with pytest.raises(BuildError, match=message):
        parse(CAR.replace(old, new, 1))


def test_a_cable_beside_no_such_wire_is_named() -> None:
    with pytest.raises(BuildError, match=r"signal_cables\[\"left\"\].beside: no wire has this name.*amplifier feed"):
        parse(CAR + RADIO + CABLE.replace('"amplifier feed"', '"amplifier fed"'))


# What used to cry wolf


def test_a_wire_that_only_wakes_an_amplifier_is_not_idle() -> None:
    wake = """
[[wires]]
name = "wake"
from = "main out"
to = "turn on"
length_m = 4
"""
    result = run(("channels = 4}\n", 'channels = 4}\nremote = "turn on"\n'), extra=wake)
    assert result.loads["amplifier"].on.all() and not told(result, "power.idle_wire")
    assert told(run(extra=wake), "power.idle_wire")


def test_only_a_contact_that_should_be_closed_can_be_fed_from_behind() -> None:
    """A second way that another state closes feeds nothing from behind; one that stays closed does, at the far end."""
    way = '\n[[switches]]\nname = "way"\nfrom = "lamps"\nto = "boot contact"\nclosed_when = {boot = "closed"}\n'
    assert not told(run(extra=way), "power.fed_from_behind")
    both = way.replace('{boot = "closed"}', '[{boot = "open"}, {key = "on"}]')
    assert {item.details["node"] for item in told(run(extra=both), "power.fed_from_behind")} == {"lamps"}


def test_a_short_across_a_source_without_resistance_tells_no_fancy_current() -> None:
    across = '\n[[fuses]]\nname = "wrong"\nfrom = "battery plus"\nto = "chassis"\nrating_a = 10\n'
    result = run(("battery = {capacity_ah = 80, resistance_ohm = 0.006}\n", ""), extra=across)
    assert told(result, "power.short") and not told(result, "power.fuse_blows")


@pytest.mark.parametrize(
    "change",
    [
        ('is = "off"', 'is = "on"'),
        ('closed_when = {boot = "open"}', 'closed_when = {boot = "closed"}'),
        ('text = "boot lights burn', 'text = "the boot lights burn'),
        ('name = "boot switch"', 'name = "other switch"'),
    ],
)
def test_faults_that_are_kept_are_those_of_this_build(change: tuple[str, str]) -> None:
    """Faults of contacts are kept between runs; whatever they depend on makes them new."""

    def contacts(result: PowerResult) -> list[Any]:
        return [item for item in result.faults if item.kind != "chafed"]

    first = run()
    assert contacts(run(("length_m = 5.2", "length_m = 4.2"))) == contacts(first)
    assert contacts(run(change)) != contacts(first)
    assert contacts(run()) == contacts(first)
