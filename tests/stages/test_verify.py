"""Verifying finds what was altered, on small synthetic cars that share no acoustics with the package."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from cabinwright.errors import PersonError, RefusedError
from cabinwright.physics.response import RecordedResponses
from cabinwright.stages.tuning.settings import ChannelSettings, Settings
from cabinwright.stages.tuning.sides import (
    EVERYTHING,
    LEFT_SIDE,
    RIGHT_SIDE,
    SUM_NAMES,
    channel_side,
    sounding_channels,
)
from cabinwright.stages.tuning.verify import VerificationResult, verify
from stages import small_car
from stages.small_car import SPEAKERS, STEP_S, Circumstances

BUILD = small_car.build()
SEEDS = range(2)
OTHER_DAY = Circumstances(latency_s=0.0123, level_db=-7.0)
MARKERS = replace(OTHER_DAY, markers=True)
Alter = Callable[[Settings], Settings]
Feeds = dict[str, tuple[str, ...]]


@cache
def _car(seed: int) -> small_car.Car:
    return small_car.car(seed)


@cache
def _recorded(seed: int, now: Circumstances) -> RecordedResponses:
    return small_car.recorded(seed, _car(seed), now)


def _sums(*names: str) -> Feeds:
    return {name: sounding_channels(BUILD, name) for name in names or SUM_NAMES}


def _verify(
    seed: int,
    alter: Alter = lambda settings: settings,
    *,
    feeds: Feeds | None = None,
    now: Circumstances = OTHER_DAY,
    outputs: dict[str, str] | None = None,
) -> VerificationResult:
    settings = small_car.settings(seed)
    after = small_car.verification(seed, _car(seed), alter(settings), feeds or _sums(), now, outputs)
    return verify(BUILD, _recorded(seed, now), settings, after)


def _channel(name: str, change: Callable[[ChannelSettings], ChannelSettings]) -> Alter:
    def alter(settings: Settings) -> Settings:
        rows = tuple(change(item) if item.name == name else item for item in settings.channels)
        return replace(settings, channels=rows)

    return alter


def _inverted(item: ChannelSettings) -> ChannelSettings:
    return replace(item, polarity="normal" if item.polarity == "inverted" else "inverted")


def _without(*indices: int) -> Callable[[ChannelSettings], ChannelSettings]:
    return lambda item: replace(item, filters=tuple(f for i, f in enumerate(item.filters) if i not in indices))


def _only(result: VerificationResult, kind: str, *channels: str) -> Any:
    assert not result.passed
    assert [(cause.kind, cause.channels) for cause in result.causes] == [(kind, channels)], result.summary
    return result.causes[0]


# Unaltered settings pass


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("now", [Circumstances(), OTHER_DAY, MARKERS, replace(MARKERS, moved_m=0.003)], ids=str)
def test_unaltered_settings_pass(seed: int, now: Circumstances) -> None:
    result = _verify(seed, now=now)
    assert result.passed, result.summary
    assert result.causes == ()
    assert [item.code for item in result.findings if hasattr(item, "code")] == ["verify-pass"]
    assert result.level_db == pytest.approx(now.level_db, abs=0.15)
    if not now.markers:
        assert result.latency_s == pytest.approx(now.latency_s, abs=2e-6)


@pytest.mark.parametrize("feeds", [_sums(LEFT_SIDE), _sums(EVERYTHING), {"subwoofer": ("subwoofer",)}], ids=list)
@pytest.mark.parametrize("seed", SEEDS)
def test_unaltered_settings_pass_on_one_recording(seed: int, feeds: Feeds) -> None:
    assert _verify(seed, feeds=feeds, now=replace(OTHER_DAY, positions=1)).passed


# Each mistake is found, with its amount


@pytest.mark.parametrize("now", [OTHER_DAY, MARKERS], ids=["loopback", "marker"])
@pytest.mark.parametrize("name", ["left tweeter", "right midrange", "left midbass", "subwoofer"])
@pytest.mark.parametrize("seed", SEEDS)
def test_polarity(seed: int, name: str, now: Circumstances) -> None:
    cause = _only(_verify(seed, _channel(name, _inverted), now=now), "polarity", name)
    assert cause.confidence == "clear"


@pytest.mark.parametrize("steps", [-20, -3, 2, 5, 96])
@pytest.mark.parametrize("name", ["right tweeter", "left midrange"])
@pytest.mark.parametrize("seed", SEEDS)
def test_delay_to_a_step(seed: int, name: str, steps: int) -> None:
    change = _channel(name, lambda item: replace(item, delay_s=item.delay_s + steps * STEP_S))
    cause = _only(_verify(seed, change), "delay", name)
    assert cause.amount == pytest.approx(steps * STEP_S, abs=STEP_S / 4)
    assert cause.unit == "s"


@pytest.mark.parametrize("name", ["left midbass", "right tweeter"])
@pytest.mark.parametrize("seed", SEEDS)
def test_delay_not_entered(seed: int, name: str) -> None:
    cause = _only(_verify(seed, _channel(name, lambda item: replace(item, delay_s=0.0))), "delay", name)
    assert cause.amount == pytest.approx(-small_car.settings(seed).channel(name).delay_s, abs=STEP_S)
    assert "not to be entered" in cause.remedy


@pytest.mark.parametrize("gain_db", [-6.0, -1.0, 0.6, 3.0])
@pytest.mark.parametrize("name", ["left tweeter", "right midbass"])
@pytest.mark.parametrize("seed", SEEDS)
def test_gain(seed: int, name: str, gain_db: float) -> None:
    cause = _only(
        _verify(seed, _channel(name, lambda item: replace(item, gain_db=item.gain_db + gain_db))), "gain", name
    )
    assert cause.amount == pytest.approx(gain_db, abs=0.1)
    assert cause.unit == "dB"


@pytest.mark.parametrize("name", ["left tweeter", "right midrange", "subwoofer"])
@pytest.mark.parametrize("seed", SEEDS)
def test_one_peaking_filter_missing(seed: int, name: str) -> None:
    last = len(small_car.settings(seed).channel(name).filters) - 1
    cause = _only(_verify(seed, _channel(name, _without(last))), "filter missing", name)
    assert cause.filter_index == last


@pytest.mark.parametrize("seed", SEEDS)
def test_all_peaking_filters_missing(seed: int) -> None:
    _only(_verify(seed, _channel("right midrange", _without(2, 3, 4))), "peaking missing", "right midrange")


@pytest.mark.parametrize("seed", SEEDS)
def test_high_pass_missing_stops(seed: int) -> None:
    result = _verify(seed, _channel("left tweeter", _without(0)))
    assert _only(result, "filter missing", "left tweeter").filter_index == 0
    assert [item.severity for item in result.findings if item.code == "verify-cause"] == ["stop"]


@pytest.mark.parametrize(("index", "found_hz"), [(0, 500.0), (1, 2200.0)])
@pytest.mark.parametrize("seed", SEEDS)
def test_crossover_at_another_frequency(seed: int, index: int, found_hz: float) -> None:
    def change(item: ChannelSettings) -> ChannelSettings:
        rows = list(item.filters)
        rows[index] = replace(rows[index], frequency_hz=found_hz)
        return replace(item, filters=tuple(rows))

    cause = _only(_verify(seed, _channel("left midrange", change)), "crossover moved", "left midrange")
    assert cause.amount == pytest.approx(found_hz, rel=0.02)
    assert cause.filter_index == index


@pytest.mark.parametrize("pair", [("left tweeter", "right tweeter"), ("left midrange", "right midbass")])
@pytest.mark.parametrize("seed", SEEDS)
def test_outputs_swapped(seed: int, pair: tuple[str, str]) -> None:
    result = _verify(seed, outputs=dict([pair, pair[::-1]]))
    _only(result, "outputs swapped", *pair)


@pytest.mark.parametrize("seed", SEEDS)
def test_settings_swapped(seed: int) -> None:
    one, other = "left tweeter", "right tweeter"

    def alter(settings: Settings) -> Settings:
        order = {one: other, other: one}
        rows = (replace(settings.channel(order.get(c.name, c.name)), name=c.name) for c in settings.channels)
        return replace(settings, channels=tuple(rows))

    _only(_verify(seed, alter), "settings swapped", one, other)


@pytest.mark.parametrize("seed", SEEDS)
def test_silent_channel(seed: int) -> None:
    _only(_verify(seed, _channel("left midbass", lambda item: replace(item, gain_db=-200.0))), "silent", "left midbass")


@pytest.mark.parametrize("seed", SEEDS)
def test_sides_crossed(seed: int) -> None:
    feeds = _sums()
    feeds[LEFT_SIDE], feeds[RIGHT_SIDE] = feeds[RIGHT_SIDE], feeds[LEFT_SIDE]
    _only(_verify(seed, feeds=feeds), "inputs crossed", LEFT_SIDE, RIGHT_SIDE)


@pytest.mark.parametrize("now", [OTHER_DAY, MARKERS], ids=["loopback", "marker"])
@pytest.mark.parametrize("seed", SEEDS)
def test_nothing_loaded(seed: int, now: Circumstances) -> None:
    def flat(settings: Settings) -> Settings:
        return replace(settings, channels=tuple(ChannelSettings(n, 0.0, "normal", 0.0, ()) for n in SPEAKERS))

    _only(_verify(seed, flat, now=now), "nothing loaded", *SPEAKERS)


MIRRORED = tuple(f"{side} {role}" for role in ("tweeter", "midrange", "midbass") for side in ("left", "right"))
OPPOSITE = dict(zip(MIRRORED[::2] + MIRRORED[1::2], MIRRORED[1::2] + MIRRORED[::2], strict=True))


def _every(change: Callable[[ChannelSettings], ChannelSettings]) -> Alter:
    return lambda settings: replace(settings, channels=tuple(change(item) for item in settings.channels))


@pytest.mark.parametrize("seed", SEEDS)
def test_settings_of_the_sides_exchanged(seed: int) -> None:
    def alter(settings: Settings) -> Settings:
        rows = (replace(settings.channel(OPPOSITE.get(c.name, c.name)), name=c.name) for c in settings.channels)
        return replace(settings, channels=tuple(rows))

    _only(_verify(seed, alter), "sides exchanged", *MIRRORED)


@pytest.mark.parametrize("seed", SEEDS)
def test_outputs_of_the_sides_exchanged(seed: int) -> None:
    _only(_verify(seed, outputs=OPPOSITE), "side outputs exchanged", *MIRRORED)


@pytest.mark.parametrize("seed", SEEDS)
def test_filter_with_the_opposite_sign(seed: int) -> None:
    def alter(item: ChannelSettings) -> ChannelSettings:
        last = item.filters[-1]
        return replace(item, filters=(*item.filters[:-1], replace(last, gain_db=-(last.gain_db or 0.0))))

    name = "left midrange"
    own = small_car.settings(seed).channel(name).filters
    cause = _only(_verify(seed, _channel(name, alter)), "filter sign", name)
    assert cause.filter_index == len(own) - 1
    assert f"{own[-1].gain_db:+.1f} dB" in cause.remedy


@pytest.mark.parametrize("seed", SEEDS)
def test_no_delay_loaded(seed: int) -> None:
    _only(_verify(seed, _every(lambda item: replace(item, delay_s=0.0))), "no delays", *SPEAKERS)


@pytest.mark.parametrize("seed", SEEDS)
def test_no_gain_loaded(seed: int) -> None:
    _only(_verify(seed, _every(lambda item: replace(item, gain_db=0.0))), "no gains", *SPEAKERS)


@pytest.mark.parametrize("seed", SEEDS)
def test_two_mistakes(seed: int) -> None:
    one = _channel("left midrange", _inverted)
    other = _channel("right tweeter", lambda item: replace(item, gain_db=item.gain_db - 3.0))
    result = _verify(seed, lambda settings: other(one(settings)))
    found = {cause.kind: cause for cause in result.causes}
    assert set(found) == {"polarity", "gain"}
    assert found["polarity"].channels == ("left midrange",)
    assert found["gain"].channels == ("right tweeter",)
    assert found["gain"].amount == pytest.approx(-3.0, abs=0.1)


# With little to go by


@pytest.mark.parametrize("feeds", [_sums(LEFT_SIDE), _sums(EVERYTHING), {n: (n,) for n in SPEAKERS}], ids=len)
@pytest.mark.parametrize("seed", SEEDS)
def test_one_position_is_enough(seed: int, feeds: Feeds) -> None:
    now = replace(OTHER_DAY, positions=1)
    _only(_verify(seed, _channel("left midrange", _inverted), feeds=feeds, now=now), "polarity", "left midrange")
    cause = _only(
        _verify(seed, _channel("left midrange", lambda c: replace(c, gain_db=c.gain_db + 2.0)), feeds=feeds, now=now),
        "gain",
        "left midrange",
    )
    assert cause.amount == pytest.approx(2.0, abs=0.25)


@pytest.mark.parametrize("seed", SEEDS)
def test_moved_microphones_do_not_hide_a_mistake(seed: int) -> None:
    now = replace(MARKERS, moved_m=0.003)
    _only(_verify(seed, _channel("left midbass", _inverted), now=now), "polarity", "left midbass")


@pytest.mark.parametrize("seed", SEEDS)
def test_what_cannot_be_told_is_said(seed: int) -> None:
    """Two channels, each alone: one louder or the other softer is the same once the level is free."""
    feeds = {name: (name,) for name in ("left midrange", "subwoofer")}
    louder = _channel("left midrange", lambda item: replace(item, gain_db=item.gain_db + 4.3))
    result = _verify(seed, louder, feeds=feeds)
    stories = [result.causes, *result.alternatives]
    found = {(c.kind, c.channels): c.amount for story in stories if len(story) == 1 for c in story}
    assert found[("gain", ("left midrange",))] == pytest.approx(4.3, abs=0.2)
    assert found[("gain", ("subwoofer",))] == pytest.approx(-4.3, abs=0.2)
    assert result.causes[0].confidence == "one of several"
    assert result.record_next not in (None, *feeds)
    assert "verify-undecided" in [item.code for item in result.findings]


@pytest.mark.parametrize("seed", SEEDS)
def test_swaps_that_one_sum_cannot_tell(seed: int) -> None:
    """In "everything" exchanged outputs and exchanged settings of two channels sound alike; one of them alone tells."""
    pair = ("left tweeter", "right tweeter")
    result = _verify(seed, feeds=_sums(EVERYTHING), outputs=dict([pair, pair[::-1]]))
    kinds = {story[0].kind for story in (result.causes, *result.alternatives)}
    assert {"outputs swapped", "settings swapped"} <= kinds
    assert result.record_next is not None
    more = {**_sums(EVERYTHING), result.record_next: sounding_channels(BUILD, result.record_next)}
    _only(_verify(seed, feeds=more, outputs=dict([pair, pair[::-1]])), "outputs swapped", *pair)


def test_channels_that_no_recording_holds_are_named() -> None:
    result = _verify(0, feeds=_sums(LEFT_SIDE))
    assert result.not_checked == tuple(name for name in SPEAKERS if name.startswith("right"))
    assert "verify-not-checked" in [item.code for item in result.findings]
    assert "verify-alone" in [item.code for item in _verify(0, feeds={"subwoofer": ("subwoofer",)}).findings]


def test_a_mistake_of_no_known_kind_is_not_passed() -> None:
    """A seat or window changed: responses of another car with the same settings."""
    settings = small_car.settings(0)
    after = small_car.verification(0, small_car.car(77), settings, _sums(), OTHER_DAY)
    result = verify(BUILD, _recorded(0, OTHER_DAY), settings, after)
    assert not result.passed
    assert "verify-unexplained" in [item.code for item in result.findings]


# The comparison itself


def test_levels_agree_with_scipy_run_in_time() -> None:
    result = _verify(1)
    for item in result.comparisons:
        heard = np.isfinite(item.tolerance_db)
        assert heard.sum() > 20
        assert np.abs(item.difference_db[heard]).max() < 0.5
        assert item.measured_positions_db.shape == (7, len(result.band_centres_hz))


def test_level_tolerance_fails_when_perturbed() -> None:
    """One decibel in one channel is seen both in the levels and in the fit."""
    result = _verify(1, _channel("left midrange", lambda item: replace(item, gain_db=item.gain_db + 1.5)))
    left = next(item for item in result.comparisons if item.name == LEFT_SIDE)
    assert not left.within
    assert left.explained


def test_common_level_and_latency_are_no_mistake_but_reported() -> None:
    result = _verify(2, now=replace(OTHER_DAY, level_db=-31.0, latency_s=-0.004))
    assert result.passed
    assert result.level_db == pytest.approx(-31.0, abs=0.15)
    assert result.latency_s == pytest.approx(-0.004, abs=2e-6)


def test_bad_recording_before_is_left_out() -> None:
    """A channel without a good recording at a position: its sums cannot be compared there, the others can."""
    before = _recorded(3, OTHER_DAY)
    present = before.present.copy()
    present[before.channels.index("right tweeter"), 2] = False
    settings = small_car.settings(3)
    after = small_car.verification(3, _car(3), settings, _sums(), OTHER_DAY)
    result = verify(BUILD, replace(before, present=present), settings, after)
    assert result.passed
    places = {item.name: item.positions for item in result.comparisons}
    assert "p3" in places[LEFT_SIDE]
    assert "p3" not in places[RIGHT_SIDE]
    with pytest.raises(RefusedError, match=r"nothing to compare.*At no position.*record again"):
        verify(BUILD, replace(before, present=np.zeros_like(present)), settings, after)
    present[before.channels.index("right tweeter"), :] = False
    present[before.channels.index("left tweeter"), 1:] = False
    only = {RIGHT_SIDE: sounding_channels(BUILD, RIGHT_SIDE)}
    after = small_car.verification(3, _car(3), settings, only, OTHER_DAY)
    with pytest.raises(RefusedError, match=r"record left side at p1, and list it"):
        verify(BUILD, replace(before, present=present), settings, after)


def test_verification_with_no_sound_is_refused() -> None:
    settings = small_car.settings(3)
    after = small_car.verification(3, _car(3), settings, _sums(), OTHER_DAY)
    with pytest.raises(RefusedError, match="no sound"):
        verify(BUILD, _recorded(3, OTHER_DAY), settings, replace(after, impulse=np.zeros_like(after.impulse)))


def test_changed_build_is_refused() -> None:
    settings = small_car.settings(3)
    after = small_car.verification(3, _car(3), settings, _sums(), OTHER_DAY)
    fewer = replace(settings, channels=settings.channels[:-1])
    with pytest.raises(PersonError, match="run the tune again"):
        verify(BUILD, _recorded(3, OTHER_DAY), fewer, after)
    with pytest.raises(PersonError, match="'left sied'"):
        verify(BUILD, _recorded(3, OTHER_DAY), settings, replace(after, channels=("left sied", *after.channels[1:])))


def test_settings_at_another_rate_are_refused() -> None:
    """The same corner and Q give other sections at 44.1 kHz: nobody could say what was loaded."""
    settings = small_car.settings(3)
    after = small_car.verification(3, _car(3), settings, _sums(), OTHER_DAY)
    with pytest.raises(PersonError, match=r"44100 Hz.*48000 Hz.*run the tune again"):
        verify(BUILD, _recorded(3, OTHER_DAY), replace(settings, sample_rate_hz=44100.0), after)


# Sides


def test_sides_hold_their_own_channels_and_the_common_ones() -> None:
    assert channel_side(BUILD, "subwoofer") == "centre"
    left = sounding_channels(BUILD, LEFT_SIDE)
    assert left == ("left tweeter", "left midrange", "left midbass", "subwoofer")
    assert set(left) | set(sounding_channels(BUILD, RIGHT_SIDE)) == set(sounding_channels(BUILD, EVERYTHING))
    assert sounding_channels(BUILD, "left midbass") == ("left midbass",)
    with pytest.raises(KeyError):
        sounding_channels(BUILD, "both sides")


def test_one_output_for_both_sides_sounds_in_both() -> None:
    """Two rear speakers on one output belong to neither side alone."""
    row = json.loads(BUILD.model_dump_json(by_alias=True, exclude_none=True))
    row["channels"] = [{"name": "both tweeters", "speakers": ["left tweeter", "right tweeter"]}]
    build = type(BUILD).model_validate_json(json.dumps(row))
    assert sounding_channels(build, LEFT_SIDE) == sounding_channels(build, RIGHT_SIDE) == ("both tweeters",)
