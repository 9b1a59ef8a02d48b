"""Designations: a letter for the kind and a number in the build's order."""

from __future__ import annotations

from build.test_connectors import TEXT
from cabinwright.build.codec import parse
from cabinwright.build.designations import designations


def test_each_item_has_its_own_and_it_says_what_it_is() -> None:
    build = parse(TEXT)
    found = designations(build)
    assert found["wire", "amplifier feed"] == "W2" and found["fuse", "lights"] == "F2"
    assert found["load", "amplifier"] == "A1" and found["load", "boot lights"] == "E1"
    assert found["switch", "boot switch"] == "S1" and found["connector", "block plug"] == "X2"
    assert (
        len(set(found.values()))
        == len(found)
        == sum(map(len, (build.wires, build.fuses, build.switches, build.relays, build.loads, build.connectors)))
    )
