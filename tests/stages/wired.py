"""Invented cars with a wiring, for the tests of the power stage."""

from __future__ import annotations

from typing import Any

from cabinwright.build.codec import parse
from cabinwright.build.document import Build
from cabinwright.stages import power
from cabinwright.stages.power import PowerResult

HEAD = """\
schema = 1
title = "An invented car"
[vehicle]
name = "invented hatchback"
driving_side = "left"
"""

SUPPLY = """\
[supply]
nominal_v = 13.8
battery = {capacity_ah = 80, resistance_ohm = 0.006}
alternator = {rated_a = 150, idle_a = 80}
"""

AMPLIFIER = """\
[[wires]]
name = "battery lead"
from = "battery plus"
to = "main in"
length_m = 0.3
gauge = "4 AWG"
[[fuses]]
name = "main"
from = "main in"
to = "main out"
rating_a = 100
from_battery_m = 0.3
breaking_a = 3000
[[wires]]
name = "amplifier feed"
from = "main out"
to = "amplifier plus"
length_m = 5.2
gauge = "4 AWG"
[[wires]]
name = "amplifier ground"
from = "amplifier minus"
to = "chassis"
length_m = 0.6
gauge = "4 AWG"
[[loads]]
name = "amplifier"
from = "amplifier plus"
to = "amplifier minus"
amplifier = {output_w = 600, class = "D", channels = 4}
"""

LIGHTS = """\
[[fuses]]
name = "lights"
from = "main out"
to = "light line"
rating_a = 5
breaking_a = 3000
[[wires]]
name = "light feed"
from = "light line"
to = "boot contact"
length_m = 2
gauge = "0.75 mm2"
[[switches]]
name = "boot switch"
from = "boot contact"
to = "lamps"
closed_when = {boot = "open"}
[[loads]]
name = "boot lights"
from = "lamps"
to = "chassis"
power_w = 18
[[states]]
name = "boot"
values = ["open", "closed"]
[[states]]
name = "key"
values = ["off", "on"]
[[promises]]
text = "boot lights burn only while the boot is open"
load = "boot lights"
is = "off"
when = {boot = "closed"}
"""

CAR = HEAD + SUPPLY + AMPLIFIER + LIGHTS


def car(*changes: tuple[str, str], extra: str = "") -> Build:
    """The car with pieces of its text exchanged, each of which must be there, and more at its end."""
    text = CAR
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    return parse(text + extra)


def run(*changes: tuple[str, str], extra: str = "") -> PowerResult:
    result = power.run(car(*changes, extra=extra))
    assert result is not None
    return result


def codes(result: PowerResult, severity: str | None = None) -> set[str]:
    return {item.code for item in result.findings if severity in (None, item.severity)}


def only(result: PowerResult, code: str) -> Any:
    (found,) = [item for item in result.findings if item.code == code]
    return found
