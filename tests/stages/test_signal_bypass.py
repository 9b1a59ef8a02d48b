"""Service bypasses: handed back in every state that they name, silent there, and nowhere both bypassed and on."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinwright.build.codec import parse
from cabinwright.stages.signal.bypass import BypassesResult, bypasses
from stages.chains import HEAD
from stages.wired import SUPPLY

CAR = """\
[[wires]]
name = "bus"
from = "bus car"
to = "bus joint"
length_m = 1
[[switches]]
name = "bypass"
from = "bus joint"
to = "bus socket"
closed_when = {service = "on"}
[[wires]]
name = "module feed"
from = "battery plus"
to = "module in"
length_m = 2
[[switches]]
name = "module"
from = "module in"
to = "module plus"
closed_when = {service = "off"}
[[loads]]
name = "module"
from = "module plus"
to = "chassis"
current_a = 0.5
[[states]]
name = "service"
values = ["on", "off"]
[[states]]
name = "key"
values = ["on", "off"]
[[service_bypasses]]
name = "scan tool"
bus = "body bus"
from = "bus car"
to = "bus socket"
when = {service = "on"}
silent = ["module"]
steps = ["Turn the service switch on."]
"""


def judged(old: str = "", new: str = "", *, supply: str = SUPPLY) -> BypassesResult:
    assert old in CAR
    found = bypasses(parse(HEAD + supply + (CAR.replace(old, new, 1) if old else CAR)))
    assert found is not None
    return found


def codes(found: BypassesResult) -> list[str]:
    return [item.code for item in found.findings]


def test_it_holds() -> None:
    found = judged()
    row = found.to_dict()[0]
    assert (row["holds"], row["counterexample"], row["combinations"]) == (True, None, 2)
    assert row["steps"] == ["Turn the service switch on."]
    assert not found.findings


@pytest.mark.parametrize(
    ("old", "new", "code", "words"),
    [
        ('closed_when = {service = "on"}', 'closed_when = {service = "off"}', "signal.bypass_open", "bus socket"),
        (
            'closed_when = {service = "on"}',
            'closed_when = {service = "on", key = "on"}',
            "signal.bypass_open",
            "key = off",
        ),
        ('closed_when = {service = "off"}', 'closed_when = {key = "on"}', "signal.bypass_not_silent", "module"),
        ('closed_when = {service = "on"}', 'closed_when = [{service = "on"}, {key = "on"}]', "signal.bypass_while_on", "key"),
        ('to = "bus joint"', 'to = "bus joint"\nlength_m = 1\n[[wires]]\nname = "stray"\nfrom = "bus joint"\nto = "chassis"',
         "signal.bypass_shorted", "the chassis"),
        ('to = "bus joint"', 'to = "bus joint"\nlength_m = 1\n[[wires]]\nname = "stray"\nfrom = "bus joint"\nto = "battery plus"',
         "signal.bypass_shorted", "battery plus"),
    ],
)  # fmt: skip
def test_each_way_to_be_wrong_is_named(old: str, new: str, code: str, words: str) -> None:
    found = judged(old, new)
    assert found.bypasses[0].holds is False
    assert found.bypasses[0].counterexample is not None
    assert any(item.code == code and words in item.message for item in found.findings), [
        f.message for f in found.findings
    ]


def test_without_a_supply_nothing_is_claimed() -> None:
    found = judged(supply="")
    assert found.to_dict()[0]["holds"] is None
    assert codes(found) == ["signal.bypass_unproved"]


@settings(max_examples=60, deadline=None)
@given(
    bypass=st.sets(st.tuples(st.sampled_from(["on", "off"]), st.sampled_from(["on", "off"])), min_size=1),
    module=st.sets(st.tuples(st.sampled_from(["on", "off"]), st.sampled_from(["on", "off"])), min_size=1),
)
def test_against_every_state_by_hand(bypass: set[tuple[str, str]], module: set[tuple[str, str]]) -> None:
    def tables(pairs: set[tuple[str, str]]) -> str:
        return "[" + ", ".join(f'{{service = "{a}", key = "{b}"}}' for a, b in sorted(pairs)) + "]"

    text = CAR.replace('{service = "on"}', tables(bypass), 1).replace(
        'closed_when = {service = "off"}', f"closed_when = {tables(module)}"
    )
    found = bypasses(parse(HEAD + SUPPLY + text))
    assert found is not None
    wanted = all(
        ((state in bypass) and state not in module) if state[0] == "on" else not (state in bypass and state in module)
        for state in itertools.product(("on", "off"), repeat=2)
    )
    assert found.bypasses[0].holds is wanted
