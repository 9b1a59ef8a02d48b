"""The commissioning sheet against figures worked out by hand, and what it passes and refuses.

By hand: 4 AWG has 21.15 mm² (ASTM B258), copper 1/58 Ω mm²/m at 20 °C (IEC 60028). The amplifier gives an eighth of 600 W
at 75 % from 13.8 V.
"""

from __future__ import annotations

import pytest

from cabinwright.build.codec import parse
from cabinwright.handover.commissioning import Check, Phase, commissioning, load_sides
from cabinwright.handover.lists import figures, passes
from cabinwright.stages import power
from stages.wired import CAR

AREA_MM2 = 21.15064
AMPLIFIER_A = 600.0 / 8.0 / 0.75 / 13.8


def phases(text: str = CAR) -> tuple[Phase, Phase, Phase]:
    build = parse(text)
    result = power.run(build)
    assert result is not None
    before, first, loaded = commissioning(build, result)
    return before, first, loaded


def one(phase: Phase, *words: str) -> Check:
    (found,) = [check for check in phase.checks if all(word in check.what for word in words)]
    return found


def fits(check: Check, value: float) -> bool:
    low, high = check.low, check.high
    return (low is None or value >= low) and (high is None or value <= high)


def test_resistance_of_a_wire() -> None:
    check = one(phases()[0], "W2 amplifier feed", "main out to amplifier plus")
    assert check.expected == pytest.approx(5.2 / 58.0 / AREA_MM2, rel=1e-3)
    assert fits(check, 0.15) and not fits(check, 0.4), "a meter's tenth passes, a bad crimp does not"


def test_nothing_to_the_chassis_before_power() -> None:
    before = phases()[0]
    check = one(before, "F2 lights: load side (light line)")
    assert fits(check, 1e6) and not fits(check, 90.0), "a coil or a chafed wire shows"
    assert one(before, "F1 main: rating").expected == 100.0
    assert not fits(one(before, "F1 main: rating"), 150.0)


def test_the_load_side_is_found_whichever_way_round_a_fuse_is_written() -> None:
    turned = CAR.replace('from = "main out"\nto = "light line"', 'from = "light line"\nto = "main out"')
    assert turned != CAR
    assert load_sides(parse(turned)) == load_sides(parse(CAR)) == {"main": "main out", "lights": "light line"}


def test_a_fuse_in_a_return_has_no_live_side() -> None:
    text = CAR + '\n[[fuses]]\nname = "return"\nfrom = "lamps"\nto = "chassis"\nrating_a = 5\n'
    assert load_sides(parse(text))["return"] is None


def test_fuses_go_in_from_the_battery_and_each_promise_is_tried() -> None:
    first = phases()[1]
    order = [check.what.split(" ")[0] for check in first.checks if "put it in" in check.what]
    assert order == ["F1", "F2"]
    live = one(first, "F1 main: put it in")
    assert live.expected == 12.65 and fits(live, 12.5) and not fits(live, 11.0)
    tried = one(first, "boot lights burn only")
    assert (tried.state, tried.seen) == ("boot = closed", "boot lights off")
    asleep = one(first, "asleep")
    assert asleep.expected == 0.0 and fits(asleep, 0.5) and not fits(asleep, 30.0)


def test_under_load() -> None:
    """Drop of the feed at the amplifier's average current; the main fuse carries the lamps' 18 W at 13.8 V besides."""
    loaded = phases()[2]
    drop = one(loaded, "W2 amplifier feed")
    assert drop.unit == "mV" and drop.expected == pytest.approx(1e3 * AMPLIFIER_A * 5.2 / 58.0 / AREA_MM2, rel=1e-3)
    assert drop.expected is not None and fits(drop, drop.expected) and not fits(drop, 3.0 * drop.expected)
    hot = 1.0 + 0.00393 * (105.0 - 20.0)
    assert drop.high is not None and drop.high >= hot * drop.expected + 19.9, "a hot wire still passes"
    main = one(loaded, "F1 main: current")
    assert main.expected == pytest.approx(AMPLIFIER_A + 18.0 / 13.8, rel=1e-3)
    assert main.expected is not None and not fits(main, 2.0 * main.expected)
    amplifier = one(loaded, "A1 amplifier: across its own terminals")
    assert amplifier.expected is not None and 13.6 < amplifier.expected < 13.8
    assert fits(amplifier, 13.7) and not fits(amplifier, 12.5), "a lost ground shows"


def test_every_figure_lies_between_its_bounds() -> None:
    for phase in phases():
        for check in phase.checks:
            assert check.seen or check.expected is None or fits(check, check.expected), check
            assert check.seen or check.low is not None


@pytest.mark.parametrize(
    ("check", "words"),
    [
        (Check("", "", "V", 12.65, 12.35, 12.95), "12.35 to 12.95 V"),
        (Check("", "", "Ω", 0.0019, 0.0, 0.2019), "up to 0.20 Ω"),
        (Check("", "", "Ω", None, 10_000.0), "at least 10 kΩ"),
        (Check("", "", "A", 125.0, 125.0, 125.0), "125 A"),
    ],
)
def test_bounds_in_words(check: Check, words: str) -> None:
    assert passes(check) == words


@pytest.mark.parametrize(
    ("value", "unit", "words"),
    [(0.0019, "Ω", "1.9 mΩ"), (3.3, "A", "3.30 A"), (34.2, "mV", "34 mV"), (4.0, "mA", "4.0 mA"), (None, "V", "–")],
)
def test_readings_in_words(value: float | None, unit: str, words: str) -> None:
    assert figures(value, unit) == words
