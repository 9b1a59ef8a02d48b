"""Contacts, inrush, lights, grounds and signal cables on the electrical page and on the commissioning sheet."""

from __future__ import annotations

import re

import pytest

from cabinwright.build.codec import parse
from cabinwright.handover.commissioning import Check, commissioning
from cabinwright.handover.lists import lists, view
from cabinwright.handover.power_page import power_html
from cabinwright.stages import power
from cabinwright.stages.power.result import PowerResult
from handover.html_check import Page
from stages.wired import CAR

FULL = (
    CAR.replace(
        'amplifier = {output_w = 600, class = "D", channels = 4}',
        'amplifier = {output_w = 600, class = "D", channels = 4}\ninrush = {capacitance_f = "10 mF", esr_ohm = 0.03}',
    ).replace("power_w = 18", 'power_w = 18\nstrip = {resistance_ohm = 0.4, fed_at = "one end"}\ndimmed_share = 0.5')
    + """
[[signal_cables]]
name = "radio to amplifier"
from = "chassis"
to = "amplifier minus"
length_m = 4.5
beside = "amplifier feed"
spacing_m = 0.02
[[signal_cables]]
name = "a balanced one"
from = "chassis"
to = "amplifier minus"
length_m = 1
balanced = true
shield_grounded = "one end"
"""
)


def solved(text: str) -> PowerResult:
    result = power.run(parse(text))
    assert result is not None
    return result


def made(text: str) -> str:
    return power_html(parse(text), solved(text))


def checks(text: str) -> list[Check]:
    return [check for phase in commissioning(parse(text), solved(text)) for check in phase.checks]


def test_what_the_stage_found_stands_on_the_page() -> None:
    page, result = Page(made(FULL)), solved(FULL)
    assert page.faults == [] and not re.search(r"\b(None|nan|inf)\b", page.text)
    pulse, cable, strip = (
        result.inrush["amplifier"],
        result.signal_cables["radio to amplifier"],
        result.lighting["boot lights"],
    )
    assert f"{pulse.peak_a:.0f} A" in page.text and f"{pulse.precharge_ohm:g} Ω for" in page.text
    assert f"{result.fuses['main'].inrush_a2s:.3g} of" in page.text
    for told in (cable.hum, cable.bass):
        assert f"−{abs(told.level_db):.0f} dB" in page.text
    assert f"{strip.strip_drop_v:.2f} V at its dimmest place" in page.text
    assert "switch “boot switch”" in page.text and "W3 amplifier ground" in page.text
    for words in (*result.cautions, *result.assumptions):
        assert words in page.text


@pytest.mark.parametrize("words", ["What signal cables hear", "When a feed comes on", "Why these sizes"])
def test_what_a_build_has_not_is_left_out(words: str) -> None:
    assert words not in made(CAR)


def test_a_contact_too_small_and_a_fuse_that_the_inrush_melts_stand_out() -> None:
    """A switch of 0.5 A before 1.3 A, and a melting I²t below the C·V²/2R of the capacitors."""
    small = FULL.replace('to = "lamps"\n', 'to = "lamps"\nrating_a = 0.5\n', 1)
    melts = FULL.replace("rating_a = 100", "rating_a = 100\nmelting_a2s = 2")
    assert 'class="bad">no</strong></td></tr>' in made(small)
    assert 'class="bad">no</strong>, ' in made(melts)
    assert 'class="bad">no</strong>' not in made(FULL)


def test_every_limit_of_a_proposed_size_is_named_and_the_one_that_decided_is_bold() -> None:
    text = FULL.replace('gauge = "4 AWG"\n', "")
    html, wire = made(text).partition("Why these sizes")[2], solved(text).wires["amplifier feed"]
    assert set(wire.limits) >= {"current", "fuse", "short circuit", "drop"}
    row = next(line for line in html.splitlines() if "<td>amplifier feed</td>" in line and "<b>" in line)
    decided = wire.limits[wire.decided_by].replace("mm2", "mm²")
    assert row.count("<b>") == 1 and f"<b>{decided}</b>" in row


def test_names_in_the_picture_are_escaped() -> None:
    evil = "<b>x</b> & $y$"
    html = made(FULL.replace("radio to amplifier", evil))
    assert Page(html).faults == [] and evil not in html


def test_the_commissioning_sheet_has_contacts_grounds_shields_and_what_to_charge_first() -> None:
    result, rows = solved(FULL), {check.what: check for check in checks(FULL)}
    main = next(check for what, check in rows.items() if what.startswith("F1 main: put it in"))
    assert f"{result.inrush['amplifier'].precharge_ohm:g} Ω across its holder for 1 s first" in main.hint
    behind = (
        FULL.replace('from = "main out"\nto = "amplifier plus"', 'from = "second out"\nto = "amplifier plus"')
        + """
[[fuses]]
name = "second"
from = "main out"
to = "second out"
rating_a = 80
"""
    )
    hints = {check.what.split(":")[0]: check.hint for check in checks(behind) if "put it in" in check.what}
    assert "across its holder" in hints["F3 second"], "the last fuse before the capacitors is the one that sparks"
    assert "across its holder" not in hints["F1 main"]
    ground = rows["signal cable radio to amplifier: chassis to amplifier minus"]
    lift_mv = 1e3 * result.signal_cables["radio to amplifier"].grounds_average_v
    assert ground.expected == pytest.approx(lift_mv) and ground.high is not None and ground.high > lift_mv
    assert any("unplugged at one end" in what and "a balanced one" in what for what in rows)
    assert not any("unplugged at one end" in what and "radio to" in what for what in rows)
    heavy = FULL.replace("power_w = 18", "power_w = 60")
    assert any(check.what == "S1 boot switch: across its closed contact" for check in checks(heavy))
    assert not any("across its closed contact" in what for what in rows), "half of 1.3 A tells nothing"


def test_signal_cables_are_on_the_parts_list() -> None:
    """4.5 m and a tenth and 30 cm are 5.25 m; 1 m becomes 1.4 m."""
    build, result = parse(FULL), solved(FULL)
    rows = {part.used_for: part for part in lists(build, result).parts if part.group == "signal cables"}
    assert {name: part.quantity for name, part in rows.items()} == {"radio to amplifier": 5.25, "a balanced one": 1.4}
    assert "balanced" in rows["a balanced one"].what and "one end" in rows["a balanced one"].what


def test_wire_is_counted_in_feet_where_the_build_is_in_inches() -> None:
    """A foot is 0.3048 m (international yard and pound agreement, 1959); spreadsheets stay in metres, as their heads say."""
    build = parse((FULL + '\n[workshop]\nunits = "US"\n').encode(), file="build.toml")
    result = power.run(build)
    found = lists(build, result)
    rows = view(build, result, found)
    metres = {wire.number: wire.cut_m for wire in found.harness.wires}
    for row in rows["wires"]:
        number, unit = row["cut"].split()
        assert unit == "ft" and float(number) * 0.3048 == pytest.approx(metres[row["number"]], abs=0.002)
    lengths = [text for cut in rows["cuts"] for _, text in cut["pieces"]] + [cut["total"] for cut in rows["cuts"]]
    assert lengths and all(text.endswith(" ft") for text in lengths)
