"""The demo's chain holds as it stands; a preset that loses a warning, a thump and a bypass the wrong way round are named."""

from __future__ import annotations

from pathlib import Path

from cabinwright.build.codec import parse
from cabinwright.stages import power, signal
from cabinwright.stages.signal.result import SignalResult

TEXT = (Path(__file__).parents[2] / "demo" / "build" / "build.toml").read_text(encoding="utf-8")


def planned(old: str = "", new: str = "") -> SignalResult:
    assert old in TEXT
    build = parse(TEXT.replace(old, new, 1))
    result = signal.run(build, power=power.run(build))
    assert result is not None
    return result


def test_the_demo_is_sound() -> None:
    result = planned()
    assert result.presets is not None and result.turn_on is not None and result.service_bypasses is not None
    assert list(result.presets.presets) == ["Radio", "Phone", "Player"]
    for preset in result.presets.presets.values():
        assert all(item.reaches for item in preset.sounds.values())
        assert abs(preset.trim.left_over_db or 0.0) <= 0.05 + 1e-9  # half a step
        assert preset.trim.trim_db <= 0.0
    assert not result.turn_on.thumps and not result.turn_on.unstated
    assert result.service_bypasses.bypasses[0].holds is True
    assert not [item for item in result.findings if item.severity == "stop"]


def test_a_preset_without_the_warnings_is_stopped() -> None:
    result = planned('also = {source = "radio"}\n', "")
    stops = [item for item in result.findings if item.severity == "stop"]
    assert {(item.code, item.where) for item in stops} == {("signal.sound_lost", "Phone")}
    assert {item.details["sound"] for item in stops} == {"warnings", "navigation", "parking"}
    assert all('also = {source = "radio"}' in item.remedy for item in stops)


def test_an_amplifier_that_the_radio_wakes_at_once_thumps() -> None:
    result = planned('device = "front amplifier"\nby = "processor"', 'device = "front amplifier"\nby = "radio"')
    told = [item for item in result.findings if item.code == "signal.thump"]
    assert {item.where for item in told} == {"processor"}
    assert any("front amplifier" in item.message for item in told)


def test_a_bypass_the_wrong_way_round_is_named() -> None:
    bus = 'name = "service bypass"\nfrom = "radio bus, car side"\nto = "radio bus, socket"\nclosed_when = {service = '
    result = planned(bus + '"on"', bus + '"off"')
    codes = {item.code for item in result.findings if item.where == "scan tool at the radio bus"}
    assert codes == {"signal.bypass_open", "signal.bypass_while_on"}
