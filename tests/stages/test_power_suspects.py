"""A broken promise names the contacts it hangs on, and those which, exchanged open for closed, would mend it."""

from __future__ import annotations

import pytest

from cabinwright.build.codec import parse
from cabinwright.findings import Finding
from cabinwright.stages import power
from stages.wired import CAR

SWITCH = 'closed_when = {boot = "open"}'
WRONG = CAR.replace(SWITCH, 'closed_when = {boot = "closed"}')
RELAY = (
    CAR.replace('to = "lamps"\nclosed_when', 'to = "coil"\nclosed_when')
    + """
[[relays]]
name = "lamp relay"
from = "light line"
to = "lamps"
coil_from = "coil"
coil_to = "chassis"
coil_a = 0.15
at_rest = "closed"
[[promises]]
text = "the coil rests while the boot is closed"
load = "lamp relay"
is = "off"
when = {boot = "closed"}
"""
)


def found(text: str) -> list[Finding]:
    result = power.run(parse(text))
    assert result is not None
    return [item for item in result.findings if item.code == "power.promise_broken"]


def test_a_switch_the_wrong_way_round_is_named_and_turning_it_is_the_cure() -> None:
    (item,) = found(WRONG)
    assert "hangs on switch “boot switch”, which is closed there" in item.message
    assert "It would hold with switch “boot switch” the other way round" in item.remedy
    assert found(CAR) == []


def test_of_two_contacts_only_that_one_is_blamed_whose_turning_breaks_nothing_else() -> None:
    """Turning the switch would light the lamps rightly too, but then the coil would work while the boot is closed."""
    (item,) = found(RELAY)
    assert "switch “boot switch”, which is open there" in item.message
    assert "relay “lamp relay”, which is closed there" in item.message
    assert (
        "It would hold with relay “lamp relay” the other way round" in item.remedy and "boot switch" not in item.remedy
    )
    assert found(RELAY.replace('at_rest = "closed"', 'at_rest = "open"')) == [], "and so it is"
    (other,) = found(RELAY.replace(SWITCH, 'closed_when = {boot = "closed"}'))
    assert other.where == "the coil rests while the boot is closed"


@pytest.mark.parametrize(
    ("closed", "turned"),
    [
        ('[{boot = "open"}, {key = "on"}]', False),  # the other way round it would be closed with boot closed, key off
        ('[{boot = "closed", key = "on"}, {boot = "closed", key = "off"}]', True),
    ],
)
def test_what_turning_would_not_mend_is_not_said_to(closed: str, turned: bool) -> None:
    (item,) = found(CAR.replace(SWITCH, f"closed_when = {closed}"))
    assert "hangs on switch “boot switch”" in item.message
    assert ("the other way round" in item.remedy) is turned


def test_where_no_single_contact_decides_none_is_blamed() -> None:
    """Two switches side by side: with both closed, opening either leaves the lamps lit."""
    beside = '\n[[switches]]\nname = "second"\nfrom = "boot contact"\nto = "lamps"\nclosed_when = {boot = "closed"}\n'
    (item,) = found(WRONG + beside)
    assert "hangs on" not in item.message and "other way round" not in item.remedy
