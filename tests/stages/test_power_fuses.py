"""Fuses against the wires they protect and the shorts they break, by hand."""

from __future__ import annotations

import pytest

from stages.wired import codes, only, run


def test_a_fuse_chosen_too_large_is_refused_with_the_wire_it_would_burn() -> None:
    """200 A through 4 AWG; published tables give 160 A for the wire, and its heat balance some 168 A."""
    result = run(("rating_a = 100", "rating_a = 200"))
    found = [item for item in result.findings if item.code == "power.fuse_burns_wire"]
    fed_through = {"battery lead", "amplifier feed", "amplifier ground"}
    assert {item.details["wire"] for item in found} == fed_through, "the lead before it is held by no other fuse"
    assert found[0].severity == "stop" and not found[0].waivable and "main" in found[0].message
    assert not result.fuses["main"].clears and set(result.fuses["main"].spoils) == fed_through
    assert "power.fuse_burns_wire" not in codes(run(("rating_a = 100", "rating_a = 160")))
    caution = [
        item for item in run(("rating_a = 100", "rating_a = 165")).findings if item.code.startswith("power.fuse_")
    ]
    assert {(item.code, item.severity) for item in caution} == {("power.fuse_over_table", "caution")}, (
        "what is recalled cautions and never refuses"
    )
    bundled = run(('length_m = 5.2\ngauge = "4 AWG"', 'length_m = 5.2\ngauge = "4 AWG"\nbundle = 7'))
    assert bundled.wires["amplifier feed"].ampacity_a == pytest.approx(0.5 * result.wires["amplifier feed"].ampacity_a)


def test_a_lead_before_the_first_fuse_is_sized_for_what_the_fuse_lets_through() -> None:
    """Amplifier and lamps draw some 8 A on average; the fuse of 100 A lets 100 A through the lead for ever."""
    result = run(('length_m = 0.3\ngauge = "4 AWG"', "length_m = 0.3"))
    lead = result.wires["battery lead"]
    assert (lead.fuse, lead.held_by) == (None, "main")
    assert lead.sized and lead.ampacity_a >= 100.0 > 4.0 * lead.average_a and "fuse" in lead.limits
    thin = run(('length_m = 0.3\ngauge = "4 AWG"', 'length_m = 0.3\ngauge = "1.5 mm2"'))
    assert {item.details["wire"] for item in thin.findings if item.code == "power.fuse_burns_wire"} == {"battery lead"}


def test_a_fuse_that_opens_too_late_is_refused() -> None:
    """A thin wire so long that a short at its end hardly moves a large fuse: I²t of the wire against the gates."""
    result = run(
        ("rating_a = 5\n", "rating_a = 25\n"),
        ('length_m = 2\ngauge = "0.75 mm2"', 'length_m = 12\ngauge = "0.5 mm2"'),
    )
    found = only(result, "power.fuse_slow")
    short = 13.8 / (0.006 + 1.7241e-2 * (0.3 / 21.15064 + 12.0 / 0.5))
    assert found.details["current"] == pytest.approx(short, rel=0.01)
    assert result.fuses["lights"].clears is False and result.fuses["lights"].spoils == ("light feed",)
    assert run().fuses["lights"].clears and run().fuses["main"].clears


def test_prospective_current_is_what_the_battery_gives_up_to_the_fuse() -> None:
    lead = 1.7241e-2 * 0.3 / 21.15064
    assert run().fuses["main"].prospective_a == pytest.approx(13.8 / (0.006 + lead), rel=1e-4)
    weak = run(("breaking_a = 3000", "breaking_a = 1000"))
    assert only(weak, "power.fuse_breaking").severity == "stop"
    unknown = run(("from_battery_m = 0.3\nbreaking_a = 3000", "from_battery_m = 0.3"))
    assert only(unknown, "power.fuse_breaking_unknown").severity == "caution"
    no_battery = run(("battery = {capacity_ah = 80, resistance_ohm = 0.006}\n", ""))
    assert no_battery.fuses["main"].prospective_a is None and "power.battery_unknown" in codes(no_battery)


def test_a_fuse_that_a_short_never_opens_is_said_to_never_open() -> None:
    """A thin long wire behind 100 A: the short draws less than the fuse carries for ever."""
    thin = ('length_m = 5.2\ngauge = "4 AWG"', 'length_m = 9\ngauge = "0.75 mm2"')
    assert "at worst the fuse opens never, and" in only(run(thin), "power.fuse_slow").message
