"""The electrical tables of a build: what they accept, and what they refuse with its place and cure."""

from __future__ import annotations

import tomllib

import pytest

from build.test_reference import validator
from cabinwright.build.codec import parse
from cabinwright.build.faults import _EXAMPLES
from cabinwright.errors import BuildError
from cabinwright.units import UNITS
from stages.wired import CAR

RELAY = """
[[relays]]
name = "helper"
from = "main out"
to = "horn"
coil_from = "lamps"
coil_to = "chassis"
coil_a = "150 mA"
at_rest = "closed"
"""


def test_the_tables_are_read_with_their_units() -> None:
    build = parse(CAR.replace("power_w = 18", 'power_w = "0.018 kW"') + RELAY)
    assert build.supply is not None and build.supply.battery is not None
    assert build.supply.battery.resistance_ohm == 0.006
    assert build.wires[1].gauge is not None and build.wires[1].gauge.area_mm2 == pytest.approx(21.15064, rel=1e-6)
    assert build.switches[0].closed_when == ({"boot": "open"},)
    assert build.loads[1].power_w == pytest.approx(18.0)
    assert build.relays[0].coil_a == pytest.approx(0.15)
    assert build.promises[0].when == {"boot": "closed"}
    assert list(validator().iter_errors(tomllib.loads(CAR + RELAY))) == []


def test_alternatives_are_a_list_and_channels_a_number_or_names() -> None:
    build = parse(
        CAR.replace('{boot = "open"}', '[{boot = "open"}, {boot = "closed", key = "on"}]').replace(
            "channels = 4", 'channels = ["left", "right"]'
        )
    )
    assert build.switches[0].closed_when == ({"boot": "open"}, {"boot": "closed", "key": "on"})
    amplifier = build.loads[0].amplifier
    assert amplifier is not None and amplifier.channels == ("left", "right")


def test_insulation_is_a_kind_and_a_temperature() -> None:
    text = CAR.replace("length_m = 5.2", 'length_m = 5.2\ninsulation = " xlpe  125 °C"')
    build = parse(text)
    assert list(validator().iter_errors(tomllib.loads(text))) == []
    assert list(validator().iter_errors(tomllib.loads(text.replace(" xlpe  125 °C", "xlpe")))) != []
    assert [wire.insulation for wire in build.wires[:2]] == ["PVC 105", "XLPE 125"]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("length_m = 5.2", "length_m = -5.2", r'wires\["amplifier feed"\].length_m: must be above 0, got -5.2'),
        ("length_m = 5.2", 'length_m = "5.2 kg"', "not a unit this field knows"),
        ('gauge = "4 AWG"', 'gauge = "4 AWQ"', r'gauge: \'4 AWQ\' is no size of a wire.*Write for example "4 AWG"'),
        ('gauge = "4 AWG"', 'gauge = "99 AWG"', "gauge: .*4/0 to 40 AWG"),
        ('gauge = "4 AWG"', "gauge = 4", "a size of a wire with its unit is wanted"),
        ('to = "amplifier plus"', 'to = "main out"', "both ends are the same node"),
        ('name = "amplifier feed"', 'name = "battery lead"', "two wires have the same name"),
        ('{boot = "open"}', '{boto = "open"}', 'no state has this name, got "boto". Did you mean "boot"'),
        ('{boot = "open"}', '{boot = "opne"}', 'the state "boot" has no such value, got "opne". Did you mean "open"'),
        (
            '{boot = "open"}',
            '[{boot = "open"}, {key = "off"}, {key = "of"}]',
            r'closed_when\[2\].key: .*Did you mean "off"',
        ),
        ('{boot = "open"}', '"open"', "a table of states and their values is wanted"),
        ('{boot = "open"}', "{boot = 1}", "each state has one value, a text"),
        ('{boot = "open"}', "{}", "a contact that no state moves is no switch"),
        ('{boot = "open"}', "[]", "1 to 64 alternatives"),
        ('load = "boot lights"', 'load = "boot light"', 'no load or relay has this name.*Did you mean "boot lights"'),
        ('is = "off"', 'is = "of"', 'must be one of on, off, got "of". Did you mean'),
        ('when = {boot = "closed"}', 'when = {boot = "shut"}', 'the state "boot" has no such value'),
        ("power_w = 18", "power_w = 18\ncurrent_a = 2", "exactly one of power_w, current_a, amplifier and driver"),
        ("power_w = 18\n", "", "exactly one of power_w, current_a, amplifier and driver"),
        ('class = "D"', 'class = "T"', "must be one of A, AB, B, D, G, H"),
        ("channels = 4", "channels = 0", "a number of channels or a list of their names"),
        ('values = ["off", "on"]', 'values = ["on", "on"]', "a value stands twice"),
        ("resistance_ohm = 0.006", "resistance_ohm = 0", "must be above 0"),
        ("nominal_v = 13.8\n", "", "required key `nominal_v` is missing"),
        ("nominal_v = 13.8", "nominal_v = 13.8\nvolts = 12", "unknown key `volts`"),
        ("nominal_v = 13.8", 'nominal_v = 13.8\nisolator = {closed_when = {boot = "open"}}', "needs second_battery"),
        ("rating_a = 100", "rating_a = 0", "must be above 0"),
        ("length_m = 5.2", 'length_m = 5.2\ninsulation = "PVC"', "a kind of insulation and the temperature"),
        ("length_m = 5.2", 'length_m = 5.2\ninsulation = "wool 105"', "the insulation is one of PVC"),
        ("length_m = 5.2", 'length_m = 5.2\ninsulation = "PVC 200"', "such insulation stands 60 to 125"),
        ("channels = 4}", "channels = 4}\ndimmed_share = 0.5", "an amplifier is no strip"),
    ],
)
def test_what_does_not_fit_is_named_with_its_place(old: str, new: str, message: str) -> None:
    assert old in CAR
    with pytest.raises(BuildError, match=message):
        parse(CAR.replace(old, new, 1))


def test_more_combinations_than_can_be_solved_are_refused() -> None:
    many = "".join(f'[[states]]\nname = "s{k}"\nvalues = ["a", "b"]\n' for k in range(13))
    with pytest.raises(BuildError, match=r"more than 16384 combinations.*32768"):
        parse(CAR + many)


def test_a_promise_cannot_mean_both_a_load_and_a_relay() -> None:
    with pytest.raises(BuildError, match="a load and a relay have this name"):
        parse(CAR + RELAY.replace('"helper"', '"boot lights"'))


def test_every_unit_has_an_example_for_messages() -> None:
    assert set(_EXAMPLES) == set(UNITS)
