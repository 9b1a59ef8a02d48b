"""What a build says and can hardly mean is noticed, each by its own finding, and a sound build is left in peace."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import pytest

from cabinwright.build.document import Build
from cabinwright.findings import Finding, catalogue
from cabinwright.stages import tuning
from cabinwright.stages.tuning.doubts import doubts
from cabinwright.stages.tuning.prepare import prepare
from stages.tune_cases import TWO_WAY, Case, make_case

PROCESSOR = {"peaking_filters": 2}


def two_way(**options: Any) -> Case:
    return make_case(*TWO_WAY, positions=4, processor=PROCESSOR, **options)


def found(case: Case) -> list[Finding]:
    prepared = prepare(case.build, case.responses)
    return list(doubts(prepared.problem, prepared.responses.positions))


def changed(case: Case, key: str, *changes: Mapping[str, Any]) -> Case:
    """The same recordings under a build whose first tables of one kind say something else."""
    rows = list(getattr(case.build, key))
    for index, change in enumerate(changes):
        rows[index] = rows[index].model_copy(update=dict(change))
    return Case(case.build.model_copy(update={key: tuple(rows)}), case.responses)


def moved(build: Build, name: str) -> tuple[float, float, float]:
    place = next(item.position_m for item in build.speakers if item.name == name)
    assert place is not None
    return place


def passive(low: str) -> Case:
    channels = {"left": [f"left {low}", "left tweeter"], "right": [f"right {low}", "right tweeter"]}
    names = [speaker for members in channels.values() for speaker in members]
    return make_case(*names, positions=3, processor=PROCESSOR, channels=channels)


def with_seats(*heads: tuple[float, float, float], names: tuple[str, ...] = ("driver", "rear")) -> Case:
    case = two_way()
    return changed(case, "seats", *({"head_m": head, "name": name} for head, name in zip(heads, names, strict=False)))


def safe_low(**low_hz: float) -> Case:
    return two_way(speaker={f"{side} tweeter": low_hz for side in ("left", "right")})


CASES: dict[str, tuple[Callable[[], Case], str]] = {
    "build.driver_on_other_side": (
        lambda: with_seats((1.3, -0.36, 1.0)), 'driving_side is right, but driver sits 0.36 m to the other side'
    ),
    "build.head_at_speaker": (
        lambda: changed(two_way(), "speakers", {"position_m": (1.31, 0.37, 1.03)}), '"left midbass" stands 0.033 m from'
    ),
    "build.passive_assumed": (
        lambda: passive("woofer"), "one output drives a tweeter and a woofer, and is high-passed for the woofer at"
    ),
    "build.points_far_apart": (
        lambda: changed(two_way(), "speakers", {"position_m": (-5.2, -0.7, 0.4)}),
        'the head of "rear" and "left midbass" are 7.5 m apart',
    ),
    "build.positions_at_one_point": (
        lambda: changed(two_way(), "microphone_positions", *[{"at_m": (1.3, 0.36, 1.0)}] * 4),
        "the 4 positions recorded stand at one point",
    ),
    "build.safe_range_empty": (
        lambda: safe_low(safe_low_hz=23000.0, safe_high_hz=23900.0),
        "23 kHz, lies above 21.6 kHz, the highest corner at this sample rate",
    ),
    "build.sides_exchanged": (
        lambda: changed(two_way(), "speakers", {"side": "right"}, {"side": "left"}, {"side": "right"}, {"side": "left"}),
        "the loudspeakers called left lie at y = 0.68 m and those called right at -0.68 m",
    ),
}  # fmt: skip


def test_every_finding_about_the_build_is_listed() -> None:
    assert {code for code in catalogue() if code.startswith("build.")} == set(CASES)


@pytest.mark.parametrize("code", CASES)
def test_what_can_hardly_be_meant(code: str) -> None:
    make, words = CASES[code]
    got = [item for item in found(make()) if item.code == code]
    assert got
    assert {item.severity for item in got} == {"caution"}
    assert any(words in item.message for item in got), got[0].message
    assert "{" not in got[0].message + got[0].remedy


SOUND: dict[str, Callable[[], Case]] = {
    "two ways": two_way,
    "no places": lambda: two_way(placed=False),
    "a passenger is tuned for": lambda: with_seats((1.3, 0.36, 1.0), (1.3, -0.36, 1.0), names=("driver", "guest")),
    "nobody is called driver": lambda: with_seats((1.3, 0.36, 1.0), (1.3, -0.36, 1.0), names=("one", "two")),
    "a high tweeter": lambda: safe_low(safe_low_hz=6000.0),
    "a centre seat": lambda: with_seats((1.3, 0.0, 1.0)),
    "a long car": lambda: changed(two_way(), "speakers", {"position_m": (-3.5, -0.7, 0.4)}),
}


@pytest.mark.parametrize("name", SOUND)
def test_a_sound_build_is_left_in_peace(name: str) -> None:
    case = SOUND[name]()
    if case.build.tuning is not None and case.build.tuning.seat not in [item.name for item in case.build.seats]:
        seats = case.build.seats
        stands = [item.model_copy(update={"seat": seats[0].name}) for item in case.build.microphone_positions]
        wish = case.build.tuning.model_copy(update={"seat": seats[0].name})
        build = case.build.model_copy(update={"tuning": wish, "microphone_positions": tuple(stands)})
        case = Case(build, case.responses)
    assert found(case) == []


def test_any_origin_may_be_chosen() -> None:
    """The driver's side is told by the loudspeakers, and so by no origin: all of it moved 2 m to the left."""

    def shift(at: tuple[float, float, float]) -> tuple[float, float, float]:
        return at[0], at[1] - 2.0, at[2]

    case = two_way()
    build = case.build
    case = changed(case, "seats", *({"head_m": shift(item.head_m)} for item in build.seats))
    case = changed(case, "speakers", *({"position_m": shift(moved(build, s.name))} for s in build.speakers))
    case = changed(case, "microphone_positions", *({"at_m": shift(item.at_m)} for item in build.microphone_positions))
    assert found(case) == []
    wrong = case.build.vehicle.model_copy(update={"driving_side": "left"})
    assert [item.code for item in found(Case(case.build.model_copy(update={"vehicle": wrong}), case.responses))] == [
        "build.driver_on_other_side"
    ]


def test_a_usual_passive_pair_is_only_noted() -> None:
    got = found(passive("midbass"))
    assert [(item.code, item.severity) for item in got] == [("build.passive_assumed", "note")] * 2
    assert [(item.where, item.severity) for item in found(passive("subwoofer"))] == [
        ("left", "caution"), ("right", "caution")
    ]  # fmt: skip


def test_a_lowest_frequency_above_the_highest() -> None:
    case = safe_low(safe_low_hz=21000.0)
    (got,) = found(case)
    assert got.code == "build.safe_range_empty"
    assert "the highest it is meant to play" in got.message


def test_the_tune_passes_them_on() -> None:
    make, _ = CASES["build.passive_assumed"]
    case = make()
    result = tuning.run(case.build, case.responses, lambda _what, _share: None)
    assert "build.passive_assumed" in {item.code for item in result.findings}
