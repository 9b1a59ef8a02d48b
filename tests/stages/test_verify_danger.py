"""A mistake that could harm a loudspeaker stops; one that merely sounds wrong does not.

The limits are written in the build here, so that they are known outside the package: tweeters 2500 Hz, midbass 60 Hz.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace

import pytest

from cabinwright.build.document import Build
from cabinwright.findings import Finding
from cabinwright.stages.tuning.settings import ChannelSettings, Settings
from cabinwright.stages.tuning.sides import EVERYTHING, SUM_NAMES, sounding_channels
from cabinwright.stages.tuning.verify import Cause, VerificationResult, verify
from cabinwright.stages.tuning.verify.danger import exposed, with_exposed
from stages import small_car
from stages.small_car import CROSSOVERS, SPEAKERS, Circumstances

SAFE_HZ = {"tweeter": 2500.0, "midrange": 250.0, "midbass": 60.0, "subwoofer": 20.0}
TWEETER, MIDBASS = "left tweeter", "left midbass"
NOW = Circumstances(latency_s=0.0123, level_db=-7.0)


def _build() -> Build:
    row = json.loads(small_car.build().model_dump_json(by_alias=True, exclude_none=True))
    for speaker in row["speakers"]:
        speaker["safe_low_hz"] = SAFE_HZ[speaker["role"]]
    return Build.model_validate_json(json.dumps(row))


BUILD = _build()


def _verify(
    loaded: Settings, *, outputs: dict[str, str] | None = None, sums: tuple[str, ...] = SUM_NAMES
) -> VerificationResult:
    car = small_car.car(0)
    feeds = {name: sounding_channels(BUILD, name) for name in sums}
    after = small_car.verification(0, car, loaded, feeds, NOW, outputs)
    return verify(BUILD, small_car.recorded(0, car, NOW), small_car.settings(0), after)


def _altered(name: str, change: Callable[[ChannelSettings], ChannelSettings]) -> Settings:
    settings = small_car.settings(0)
    return replace(settings, channels=tuple(change(c) if c.name == name else c for c in settings.channels))


def _exchanged(one: str, other: str) -> Settings:
    settings, order = small_car.settings(0), {one: other, other: one}
    rows = (replace(settings.channel(order.get(c.name, c.name)), name=c.name) for c in settings.channels)
    return replace(settings, channels=tuple(rows))


def _high_pass(hertz: float) -> Callable[[ChannelSettings], ChannelSettings]:
    return lambda item: replace(item, filters=(replace(item.filters[0], frequency_hz=hertz), *item.filters[1:]))


def _told(result: VerificationResult, kind: str) -> Finding:
    assert [cause.kind for cause in result.causes] == [kind], result.summary
    (told,) = (item for item in result.findings if item.code == "verify-cause")
    return told


def _cause(kind: str, *channels: str, amount: float | None = None, index: int | None = None) -> Cause:
    return Cause(kind, channels, amount, "", "text", "remedy", "clear", index)


# As heard


def test_outputs_of_tweeter_and_midbass_exchanged_stops() -> None:
    """The tweeter alone tells outputs from settings; in a sum of both loudspeakers they sound alike."""
    result = _verify(small_car.settings(0), outputs={TWEETER: MIDBASS, MIDBASS: TWEETER}, sums=(*SUM_NAMES, TWEETER))
    told = _told(result, "outputs swapped")
    assert told.severity == "stop"
    assert "Play nothing" in told.remedy
    assert TWEETER in told.remedy
    assert told.remedy.endswith("Exchange their cables.")


def test_settings_of_tweeter_and_midbass_exchanged_stops() -> None:
    assert (
        _told(_verify(_exchanged(TWEETER, MIDBASS), sums=(*SUM_NAMES, TWEETER)), "settings swapped").severity == "stop"
    )


def test_tweeter_high_pass_far_too_low_stops() -> None:
    result = _verify(_altered(TWEETER, _high_pass(700.0)))
    assert _told(result, "crossover moved").severity == "stop"
    assert result.causes[0].exposes == (TWEETER,)


def test_tweeter_high_pass_that_is_still_safe_is_a_caution() -> None:
    assert _told(_verify(_altered(TWEETER, _high_pass(2700.0))), "crossover moved").severity == "caution"


def test_tweeter_gain_far_too_high_is_a_caution() -> None:
    told = _told(_verify(_altered(TWEETER, lambda item: replace(item, gain_db=item.gain_db + 12.0))), "gain")
    assert told.severity == "caution"
    assert "Play nothing" not in told.remedy


@pytest.mark.parametrize(("pair", "severity"), [((TWEETER, MIDBASS), "stop"), ((TWEETER, "right tweeter"), "note")])
def test_a_dangerous_alternative_stops(pair: tuple[str, str], severity: str) -> None:
    """In "everything" exchanged outputs may sound like exchanged settings; then either may be what happened."""
    result = _verify(small_car.settings(0), outputs=dict([pair, pair[::-1]]), sums=(EVERYTHING,))
    assert result.alternatives
    (told,) = (item for item in result.findings if item.code == "verify-undecided")
    assert told.severity == severity


# From structure


@pytest.mark.parametrize(
    ("cause", "names"),
    [
        (_cause("outputs swapped", TWEETER, MIDBASS), (TWEETER,)),
        (_cause("settings swapped", MIDBASS, TWEETER), (TWEETER,)),
        (_cause("outputs swapped", TWEETER, "right tweeter"), ()),
        (_cause("outputs swapped", MIDBASS, "subwoofer"), (MIDBASS,)),
        (_cause("crossover moved", TWEETER, amount=2490.0, index=0), (TWEETER,)),
        (_cause("crossover moved", TWEETER, amount=2510.0, index=0), ()),
        (_cause("crossover moved", "left midrange", amount=100.0, index=1), ()),  # its low-pass
        (_cause("filter missing", TWEETER, index=0), (TWEETER,)),
        (_cause("filter missing", TWEETER, index=1), ()),
        (_cause("filter missing", "left midrange", index=1), ()),
        (_cause("filters missing", MIDBASS), (MIDBASS,)),
        (_cause("nothing loaded", *SPEAKERS), tuple(SPEAKERS)),
        (_cause("peaking missing", TWEETER), ()),
        (_cause("polarity", TWEETER), ()),
        (_cause("sides exchanged", TWEETER, "right tweeter", MIDBASS, "right midbass"), ()),
    ],
    ids=lambda item: f"{item.kind} {item.channels[0]} {item.amount}" if isinstance(item, Cause) else "",
)
def test_what_each_cause_exposes(cause: Cause, names: tuple[str, ...]) -> None:
    assert exposed(BUILD, small_car.settings(0), (cause,)) == names


def test_sides_that_differ_expose_when_exchanged() -> None:
    """The right tweeter stands lower in the spectrum by the maker's leave; the left one may not."""
    settings = replace(_altered("right tweeter", _high_pass(1800.0)))
    pairs = (TWEETER, "right tweeter", MIDBASS, "right midbass")
    for kind in ("sides exchanged", "side outputs exchanged"):
        assert exposed(BUILD, settings, (_cause(kind, *pairs),)) == (TWEETER,)


def test_a_wish_below_the_limit_is_not_blamed_on_a_mistake() -> None:
    settings = _altered(TWEETER, _high_pass(1800.0))
    assert exposed(BUILD, settings, (_cause("polarity", TWEETER),)) == ()
    assert exposed(BUILD, settings, (_cause("crossover moved", TWEETER, amount=2000.0, index=0),)) == ()
    assert exposed(BUILD, settings, (_cause("crossover moved", TWEETER, amount=1700.0, index=0),)) == (TWEETER,)


def test_two_mistakes_that_undo_each_other_expose_nothing() -> None:
    both = (_cause("outputs swapped", TWEETER, MIDBASS), _cause("settings swapped", TWEETER, MIDBASS))
    assert exposed(BUILD, small_car.settings(0), both) == ()


def test_two_mistakes_that_only_together_expose_are_both_marked() -> None:
    low, high = CROSSOVERS["tweeter"][0], replace(CROSSOVERS["tweeter"][0], frequency_hz=3000.0)
    settings = _altered(TWEETER, lambda item: replace(item, filters=(low, high)))
    both = (_cause("filter missing", TWEETER, index=0), _cause("filter missing", TWEETER, index=1))
    assert exposed(BUILD, settings, both[:1]) == exposed(BUILD, settings, both[1:]) == ()
    marked = with_exposed(BUILD, settings, (*both, _cause("polarity", MIDBASS)))
    assert [cause.exposes for cause in marked] == [(TWEETER,), (TWEETER,), ()]
