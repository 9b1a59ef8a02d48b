"""Loads of whole builds against figures worked out by hand here: passive pairs, shared coils, boxes, other networks."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from cabinwright.build.codec import BuildError, parse
from cabinwright.findings import Finding
from cabinwright.physics.filters import Filter
from cabinwright.stages import enclosure
from cabinwright.stages.signal import run
from cabinwright.stages.signal.loads import Loads, work_out
from cabinwright.stages.tuning.settings import ChannelSettings, Settings
from stages.boxed import MODEL, box

HEAD = """\
schema = 1
title = "invented"
[vehicle]
name = "car"
driving_side = "left"
[[seats]]
name = "driver"
head_m = [1.0, -0.4, 1.0]
[processor]
output_v = 4.0
output_ohm = 100
"""


def speaker(name: str, role: str, side: str = "left", **more: object) -> str:
    rows = "".join(f"{key} = {value}\n" for key, value in more.items())
    return f'[[speakers]]\nname = "{name}"\nrole = "{role}"\nside = "{side}"\n{rows}'


def channel(name: str, *speakers: str) -> str:
    return f'[[channels]]\nname = "{name}"\nspeakers = {list(speakers)}\n'


def amplifier(lines: str, ratings: str = "{load_ohm = 4, power_w = 100}", **more: object) -> str:
    rows = "".join(f"{key} = {value}\n" for key, value in more.items())
    return f'[[amplifiers]]\nname = "amp"\n{rows}ratings = [{ratings}]\nchannels = [{lines}]\n'


def loaded(text: str, **given: Any) -> tuple[dict[str, Any], list[Finding]]:
    """``signal.loads`` of the one amplifier, and what is found."""
    found = work_out(parse(text.encode(), file="build.toml"), **given)
    assert isinstance(found, Loads)
    return found.to_dict()["amp"], list(found.findings)


def codes(found: list[Finding]) -> set[str]:
    return {item.code for item in found}


PAIR = (
    HEAD + speaker("low", "midbass", impedance_ohm=4, pe_w=120) + speaker("high", "tweeter", impedance_ohm=6, pe_w=60)
)
LINE = '{name = "A", from = "front", speakers = ["low", "high"]}'


def test_a_passive_pair_is_one_load_at_a_time() -> None:
    """4 and 6 ohm behind a passive crossover are 4 ohm, not 2.4 and not 10; 20 V give the tweeter 400 / 6 W."""
    text = PAIR + channel("front", "low", "high") + amplifier(LINE, regulated="true", minimum_ohm=4)
    rows, found = loaded(text)
    row = rows["A"]
    assert row["wiring"] == "passive crossover"
    assert row["nominal_ohm"] == pytest.approx(4.0)
    assert row["minimum_ohm"] == pytest.approx(3.2)
    assert row["each_w"] == pytest.approx({"low": 100.0, "high": 400.0 / 6.0})
    assert (row["band_low_hz"], row["band_high_hz"]) == (50.0, 20_000.0)
    assert "signal.load_low" not in codes(found) and "signal.power_uneven" not in codes(found)
    assert [item.details["speaker"] for item in found if item.code == "signal.sine_burns"] == ["high"]


def test_the_build_may_say_that_there_is_none() -> None:
    text = PAIR + channel("front", "low", "high")
    none = LINE.replace('"A"', '"A", passive_crossover = false, wiring = "parallel"')
    row = loaded(text + amplifier(none, minimum_ohm=4))[0]["A"]
    assert row["nominal_ohm"] == pytest.approx(2.4)
    assert row["allowed"] is False


def test_two_of_one_role_beside_a_tweeter() -> None:
    """Two 8 ohm midbasses side by side and a 6 ohm tweeter: 4 ohm, half the power for each midbass."""
    text = HEAD + speaker("a", "midbass", impedance_ohm=8) + speaker("b", "midbass", impedance_ohm=8)
    text += speaker("t", "tweeter", impedance_ohm=6) + channel("front", "a", "b", "t")
    row = loaded(text + amplifier('{name = "A", from = "front", speakers = ["a", "b", "t"]}', regulated="true"))[0]["A"]
    assert row["nominal_ohm"] == pytest.approx(4.0)
    assert row["each_w"] == pytest.approx({"a": 50.0, "b": 50.0, "t": 400.0 / 6.0})


def test_level_behind_a_passive_crossover_is_that_of_its_weaker_way() -> None:
    """20 V are 16.99 dB over 2.83 V, at 1 m: the midbass of 86 dB brings least, and nothing adds to it."""
    place: dict[str, Any] = {"position_m": "[1.0, -0.4, 0.0]", "impedance_ohm": 4}
    text = HEAD + speaker("low", "midbass", sensitivity_db=86, **place)
    text += speaker("high", "tweeter", sensitivity_db=91, **place) + channel("front", "low", "high")
    row = loaded(text + amplifier(LINE, regulated="true"))[0]["A"]
    assert row["seat_peak_db"] == pytest.approx(86.0 + 20.0 * math.log10(20.0 / 2.83) + 3.0103, abs=1e-3)


SUB = HEAD + speaker("sub", "subwoofer", "centre", impedance_ohm=4, coils=2, pe_w=400) + channel("sub", "sub")


def test_each_coil_on_a_channel_of_its_own() -> None:
    """Two coils of 4 ohm, one on each channel: either sees 4 ohm, not 2 or 8, and gives its coil half of what they stand."""
    lines = ", ".join(f'{{name = "{name}", from = "sub", speakers = ["sub"]}}' for name in "AB")
    rows, found = loaded(SUB + amplifier(lines, "{load_ohm = 4, power_w = 150}", regulated="true", minimum_ohm=4))
    for row in rows.values():
        assert row["nominal_ohm"] == pytest.approx(4.0)
        assert row["each_w"] == pytest.approx({"sub": 150.0})
        assert row["pe_w"] == {"sub": 200.0}
        assert len(row["alternatives"]) == 1
    assert "signal.load_low" not in codes(found)


def test_a_stated_power_says_what_an_amplifier_stands() -> None:
    """Its maker states a power into 2 ohm, and one bridged into 4: neither is refused where no lowest load is written."""
    ratings = (
        "{load_ohm = 4, power_w = 75}, {load_ohm = 2, power_w = 110}, {load_ohm = 4, power_w = 220, bridged = true}"
    )
    bridged = '{name = "A", from = "sub", speakers = ["sub"], bridged = true, coils = "parallel"}'
    rows, found = loaded(SUB.replace("impedance_ohm = 4", "impedance_ohm = 8") + amplifier(bridged, ratings))
    assert rows["A"]["amplifier_minimum_ohm"] == 4.0
    assert rows["A"]["allowed"] is True
    assert not {"signal.not_bridgeable", "signal.load_low"} & codes(found)
    single = '{name = "A", from = "sub", speakers = ["sub"], coils = "parallel"}'
    assert loaded(SUB + amplifier(single, ratings))[0]["A"]["amplifier_minimum_ohm"] == 2.0
    rows, found = loaded(SUB + amplifier(single))
    assert rows["A"]["amplifier_minimum_ohm"] == 4.0
    assert "signal.load_low" in codes(found)


def test_one_load_has_one_power() -> None:
    twice = "{load_ohm = 4, power_w = 100}, {load_ohm = 4, power_w = 120}"
    with pytest.raises(BuildError, match="each load has one power"):
        parse((SUB + amplifier('{name = "A", from = "sub", speakers = ["sub"]}', twice)).encode(), file="build.toml")


def test_power_below_the_lowest_stated_load_is_called_a_guess() -> None:
    """400 W into 4 and 700 W into 2 ohm are 40 and 37.4 V: 1/V over 1/R goes on to 33.1 V, 1098 W, into 1 ohm."""
    ratings = "{load_ohm = 4, power_w = 400}, {load_ohm = 2, power_w = 700}"
    line = '{name = "A", from = "sub", speakers = ["sub"], coils = "parallel"}'
    text = SUB.replace("impedance_ohm = 4", "impedance_ohm = 2")
    rows, found = loaded(text + amplifier(line, ratings, regulated="true", minimum_ohm=1))
    high, low = 1.0 / 40.0, 1.0 / math.sqrt(1400.0)
    volts = 1.0 / (low + (low - high) / 0.25 * 0.5)
    assert rows["A"]["power_w"] == pytest.approx(volts**2)
    assert "signal.power_guessed" in codes(found)
    rows, found = loaded(text + amplifier(line, ratings + ", {load_ohm = 1, power_w = 1000}", minimum_ohm=1))
    assert "signal.power_guessed" not in codes(found)


def test_figures_that_are_equal_as_quoted_burn_nothing() -> None:
    """1000 W into 1 ohm shared by two that stand 500 W each."""
    text = HEAD + "".join(speaker(n, "subwoofer", "centre", impedance_ohm=2, pe_w=500) for n in "ab")
    line = '{name = "A", from = "sub", speakers = ["a", "b"], wiring = "parallel"}'
    text += channel("sub", "a", "b")
    ratings = "{load_ohm = 2, power_w = 700}, {load_ohm = 1, power_w = 1000}"
    _, found = loaded(text + amplifier(line, ratings, regulated="true", minimum_ohm=1))
    assert "signal.sine_burns" not in codes(found)
    _, found = loaded(text + amplifier(line, ratings.replace("1000", "1010"), regulated="true", minimum_ohm=1))
    assert "signal.sine_burns" in codes(found)


@pytest.mark.parametrize(("volts", "code"), [(27.6, "signal.supply_high"), (9.0, "signal.supply_low"), (13.8, None)])
def test_an_amplifier_on_another_network(volts: float, code: str | None) -> None:
    text = SUB + amplifier('{name = "A", from = "sub", speakers = ["sub"]}') + f"[supply]\nnominal_v = {volts}\n"
    _, found = loaded(text)
    assert codes(found) & {"signal.supply_high", "signal.supply_low"} == ({code} if code else set())
    assert all(item.severity == "stop" for item in found if item.code == "signal.supply_high")


# Through a computed box

TEN = MODEL
VENTED = box("bay", "vented", "0.060", tuning_hz="32", speakers='["sub"]')
LONE = '{name = "A", from = "sub", speakers = ["sub"]}'


def in_box(tables: str, settings: Settings | None = None, **more: object) -> tuple[dict[str, Any], list[Finding], Any]:
    text = HEAD + TEN + tables + speaker("sub", "subwoofer", "centre", model='"ten"', **more) + channel("sub", "sub")
    text += amplifier(LONE, "{load_ohm = 4, power_w = 400}", regulated="true", minimum_ohm=4)
    build = parse(text.encode(), file="build.toml")
    boxed = enclosure.run(build)
    assert boxed is not None
    found = work_out(build, settings=settings, boxed=boxed)
    assert found is not None
    return found.to_dict()["amp"]["A"], list(found.findings), boxed.boxes["bay"]


def crossed(low_hz: float) -> Settings:
    """A subwoofer with a fourth-order high-pass."""
    filters = (Filter("high-pass", low_hz, family="Butterworth", slope_db_per_octave=24),)
    return Settings(48_000.0, (ChannelSettings("sub", 0.0, "normal", 0.0, filters),))


def test_the_box_says_how_far_the_load_dips() -> None:
    """At its tuning a vented box takes a drive unit down to its coil's resistance, 3.4 ohm, above four fifths of 4."""
    row, found, vented = in_box(VENTED)
    assert row["minimum_ohm"] == pytest.approx(float(np.min(vented.curves.impedance_ohm)), rel=1e-9)
    assert 3.4 <= row["minimum_ohm"] < 3.6
    assert row["minimum_from"] == {"sub": "box"}
    assert "signal.load_dips" not in codes(found)
    row, found, _ = in_box(VENTED, impedance_ohm=4, minimum_ohm=3.0)  # the lower of the two counts
    assert (row["minimum_ohm"], row["minimum_from"]) == (3.0, {"sub": "stated"})
    assert "signal.load_dips" in codes(found)


def test_a_drive_unit_of_low_resistance_dips_in_its_box() -> None:
    """A coil of 2.9 ohm that is sold as 4: the box's curve goes below 3.2 ohm, which four fifths by themselves would hide."""
    weak = TEN.replace("re_ohm = 3.4", "re_ohm = 2.9")
    text = HEAD + weak + VENTED + speaker("sub", "subwoofer", "centre", model='"ten"', impedance_ohm=4)
    text += channel("sub", "sub") + amplifier(LONE, "{load_ohm = 4, power_w = 400}", minimum_ohm=4)
    build = parse(text.encode(), file="build.toml")
    with_box, without = work_out(build, boxed=enclosure.run(build)), work_out(build)
    assert with_box is not None and without is not None
    assert "signal.load_dips" in codes(list(with_box.findings))
    assert "signal.load_dips" not in codes(list(without.findings))


def test_travel_through_a_vented_box_follows_the_crossover() -> None:
    """40 V through a 24 dB high-pass, by the box's own curve and a Butterworth's closed form (bilinear, so low is exact)."""
    row, _, vented = in_box(VENTED, crossed(20.0))
    f, moved = vented.curves.frequency_hz, vented.curves.excursion_m / vented.voltage_v * 40.0
    passed = 1.0 / np.sqrt(1.0 + (20.0 / f) ** 8)
    told = row["travel"]["sub"]
    assert told["peak_m"] == pytest.approx(float(np.max(moved * passed)), rel=0.01)
    assert told["at_hz"] == pytest.approx(float(f[np.argmax(moved * passed)]), rel=0.05)
    assert told["peak_m"] != pytest.approx(float(np.max(moved)), rel=0.2)  # without the crossover it is far more


def test_travel_is_found_without_a_high_pass_and_not_with_one() -> None:
    """Below its tuning a vented box lets go of the cone; a high-pass at its tuning keeps it within 13 mm."""
    _, found, vented = in_box(VENTED, crossed(10.0))
    told = next(item for item in found if item.code == "signal.travel")
    assert told.details["speaker"] == "sub"
    assert float(told.details["hertz"]) < 32.0
    f, moved = vented.curves.frequency_hz, vented.curves.excursion_m / vented.voltage_v * 40.0
    assert told.value == pytest.approx(1e3 * float(np.max(moved / np.sqrt(1.0 + (10.0 / f) ** 8))), rel=0.01)
    _, found, _ = in_box(VENTED, crossed(60.0))
    assert "signal.travel" not in codes(found)


def test_a_tweeter_behind_a_passive_crossover_travels_in_its_own_band() -> None:
    small = (
        TEN.replace('"ten"', '"small"')
        .replace("fs_hz = 28.0", "fs_hz = 900.0")
        .replace("xmax_m = 0.013", "xmax_m = 0.0005")
    )
    text = HEAD + TEN + small.replace("vas_m3 = 0.041", "vas_m3 = 0.00001").replace("0.0480", "0.0006")
    text += speaker("low", "midbass", model='"ten"', impedance_ohm=4)
    text += speaker("high", "tweeter", model='"small"', impedance_ohm=4) + channel("front", "low", "high")
    row = loaded(text + amplifier(LINE, regulated="true"))[0]["A"]
    assert row["travel"]["high"]["at_hz"] >= 2000.0
    assert row["travel"]["low"]["at_hz"] < 100.0


def test_more_than_the_processor_gives_is_said() -> None:
    """Clipping together at 6 V is no use where its outputs clip at 4 V."""
    text = SUB + amplifier('{name = "A", from = "sub", speakers = ["sub"]}')
    for volts, there in ((6.0, True), (3.0, False)):
        result = run(parse((text + f"[chain]\nclip_at_v = {volts}\n").encode(), file="build.toml"))
        assert result is not None
        assert ("signal.clip_level" in codes(list(result.findings))) is there
        gain = result.to_dict()["gains"]["sub"]
        assert gain["clip_at_v"] == min(volts, 4.0)


def test_a_control_that_nobody_states_is_said() -> None:
    text = SUB + amplifier('{name = "A", from = "sub", speakers = ["sub"]}')
    result = run(parse(text.encode(), file="build.toml"))
    assert result is not None and "signal.control_assumed" in codes(list(result.findings))
    text = text.replace('name = "amp"', 'name = "amp"\ninput_min_v = 0.2\ninput_max_v = 8')
    result = run(parse(text.encode(), file="build.toml"))
    assert result is not None and "signal.control_assumed" not in codes(list(result.findings))


def test_a_pad_is_known_by_its_gain_alone() -> None:
    """8 V over 9900 / 10 000, a quarter, and the same division again are 1.9602 V: that is what the input is set to."""
    text = (
        HEAD
        + """\
[[sources]]
name = "player"
kind = "analogue"
output_v = 8.0
output_ohm = 100
[[converters]]
name = "pad"
from = "player"
input_ohm = 9900
gain_db = -12.0412
output_ohm = 100
[[inputs]]
name = "in"
from = ["pad"]
input_v = 4.0
input_min_v = 0.5
input_ohm = 9900
"""
    )
    result = run(parse(text.encode(), file="build.toml"))
    assert result is not None
    assert result.to_dict()["inputs"]["in"]["sensitivity_v"] == pytest.approx(1.9602, abs=1e-4)
    assert "signal.level_unknown" not in codes(list(result.findings))
