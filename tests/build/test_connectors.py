"""Connectors of a build: what they accept, and what they refuse with its place and cure."""

from __future__ import annotations

import tomllib

import pytest

from build.test_reference import validator
from cabinwright.build.codec import parse
from cabinwright.errors import BuildError
from stages.wired import CAR

PLUGS = """
[[connectors]]
name = "boot plug"
where = "left rear lamp"
housing = "sealed, 2.8 mm blades"
ways = 3
pins = [
    {pin = 1, wire = "light feed", end = "to"},
    {pin = 3, use = "to be left empty"},
]
[[connectors]]
name = "block plug"
pins = [{pin = 1, wire = "light feed", end = "from"}, {pin = 2, wire = "amplifier feed"}]
"""
TEXT = CAR.replace('gauge = "0.75 mm2"', 'gauge = "0.75 mm2"\nto_terminal = "blade 2.8"\nallowance_m = "25 cm"') + PLUGS


def test_terminals_allowance_and_pins_are_read() -> None:
    build = parse(TEXT)
    wire = next(item for item in build.wires if item.name == "light feed")
    assert (wire.from_terminal, wire.to_terminal, wire.allowance_m) == (None, "blade 2.8", 0.25)
    plug = build.connectors[0]
    assert (plug.ways, plug.pins[0].pin, plug.pins[0].wire, plug.pins[0].end) == (3, 1, "light feed", "to")
    assert list(validator().iter_errors(tomllib.loads(TEXT))) == []


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('wire = "amplifier feed"', 'wire = "amplifier fed"', 'no wire has this name.*Did you mean "amplifier feed"'),
        ("{pin = 2,", "{pin = 1,", r'connectors\["block plug"\].pins\[1\].pin: this pin stands twice, got 1'),
        ("pin = 3", "pin = 4", "the connector has 3 ways, got 4"),
        ('end = "from"', 'end = "to"', 'this end of the wire is crimped twice.*"boot plug" pin 1 already'),
        ('wire = "amplifier feed"', 'wire = "light feed"', "a wire has two ends.*“?.*join more wires at a node"),
        ('use = "to be left empty"', "", "a pin has a wire or says what it is for"),
        ('use = "to be left empty"', 'use = "x", end = "to"', "an end belongs to a wire"),
        ('name = "block plug"', 'name = "boot plug"', "two connectors have the same name"),
        ("pin = 3", "pin = 0", "must be from 1|must be at least 1|1"),
        ('allowance_m = "25 cm"', "allowance_m = -1", "must be"),
    ],
)
def test_what_cannot_be_is_refused_with_its_place(old: str, new: str, message: str) -> None:
    assert TEXT.count(old) == 1
    with pytest.raises(BuildError, match=message):
        parse(TEXT.replace(old, new).replace("pin = 3, }", "pin = 3}"))
