"""The demo can be wired from as it stands; an interlock the wrong way round and a fuse too large are named."""

from __future__ import annotations

from pathlib import Path

from cabinwright.build.codec import parse
from cabinwright.stages import power
from cabinwright.stages.power import PowerResult

TEXT = (Path(__file__).parents[2] / "demo" / "build" / "build.toml").read_text(encoding="utf-8")


def planned(old: str = "", new: str = "") -> PowerResult:
    assert old in TEXT
    result = power.run(parse(TEXT.replace(old, new, 1)))
    assert result is not None
    return result


def test_the_demo_is_sound() -> None:
    result = planned()
    assert len(result.promises) == 5 and all(item.holds for item in result.promises)
    told = {(item.code, item.where) for item in result.findings if item.severity != "note"}
    assert told == {("power.shield_return", "wire “front amplifier ground”")}, "a cinch cable is grounded at both ends"
    assert all(fuse.clears for fuse in result.fuses.values())


def test_an_interlock_the_wrong_way_round_is_caught_by_name() -> None:
    result = planned('closed_when = {boot = "open"}', 'closed_when = {boot = "closed"}')
    (found,) = [item for item in result.findings if item.code == "power.promise_broken"]
    assert found.where == "boot lamps burn only while the boot is open" and "boot = closed" in found.message


def test_a_main_fuse_too_large_is_refused_with_the_wire_it_would_burn() -> None:
    """300 A on 2 AWG, which tables give 210 A."""
    result = planned("rating_a = 125", "rating_a = 300")
    stops = [item for item in result.findings if item.severity == "stop"]
    assert {item.code for item in stops} == {"power.fuse_burns_wire"}
    assert {item.details["wire"] for item in stops} == {"battery lead", "main feed"}
