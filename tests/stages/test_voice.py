"""Where the voice stands, in free-field cars whose answer geometry gives: pyroomacoustics knows them too, but a straight line is
enough. Signs and places against the sine law (Clark 1958) and against one loudspeaker's own direction."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from cabinwright.build.document import Build
from cabinwright.errors import RefusedError
from cabinwright.physics.air import speed_of_sound_m_s
from cabinwright.physics.response import RecordedResponses
from cabinwright.stages.tuning.settings import ChannelSettings, Settings
from cabinwright.stages.voice.ears import ears_at
from cabinwright.stages.voice.result import VoiceResult
from cabinwright.stages.voice.run import run, versions

RATE, SAMPLES, ZERO = 48_000.0, 4096, 256
HEAD = (1.4, 0.0, 1.0)
PLACES = {"left": (0.7, -0.6, 0.9), "right": (0.7, 0.6, 0.9)}
ROUND = ((0.0, 0.0, 0.0), (-0.08, 0.05, 0.02), (0.06, -0.07, -0.03))
AT_EARS = ((0.0, -0.085, 0.0), (0.0, 0.085, 0.0))
SPEED = speed_of_sound_m_s()


class Tuned:
    """As much of a tune as the stage reads."""

    def __init__(self, settings: Settings, before: Settings | None = None) -> None:
        self.settings, self.before, self.sums = settings, before, {"left side": None, "right side": None}


def settings(*, delay_s: Mapping[str, float] | None = None, gain_db: Mapping[str, float] | None = None) -> Settings:
    rows = [
        ChannelSettings(name, (gain_db or {}).get(name, 0.0), "normal", (delay_s or {}).get(name, 0.0), ())
        for name in ("left", "right")
    ]
    return Settings(RATE, tuple(rows))


def car(offsets: Any = ROUND, *, head: Any = HEAD, ears: bool = False, **more: Any) -> tuple[Build, RecordedResponses]:
    """Two loudspeakers without walls; the microphone at ``offsets`` from the head's centre."""
    at = np.asarray(head) + np.asarray(offsets)
    rows = [
        {"name": f"p{k}", "at_m": place.tolist(), "seat": "driver", **({"ear": ("left", "right")[k]} if ears else {})}
        for k, place in enumerate(at)
    ]
    build = Build.model_validate_json(
        json.dumps(
            {
                "schema": 1,
                "title": "An invented car",
                "vehicle": {"name": "invented", "driving_side": "right"},
                "seats": [
                    {"name": "driver", "head_m": list(head)},
                    {"name": "passenger", "head_m": [head[0], head[1] - 0.75, head[2]]},
                    {"name": "rear", "head_m": [head[0] + 0.9, 0.0, head[2]]},
                ],
                "speakers": [
                    {"name": name, "role": "coaxial", "side": name, "position_m": place}
                    for name, place in PLACES.items()
                ],
                "channels": [{"name": name, "speakers": [name]} for name in PLACES],
                "microphone_positions": rows,
                **more,
            }
        )
    )
    away = np.linalg.norm(np.asarray(list(PLACES.values()))[:, None] - at[None], axis=-1)
    frequency = np.fft.rfftfreq(SAMPLES, 1.0 / RATE)
    turn = np.exp(-2j * np.pi * frequency * (away[..., None] / SPEED + ZERO / RATE))
    fade = np.clip((20_000.0 - frequency) / 4000.0, 0.0, 1.0)
    present = np.ones(away.shape, dtype=bool)
    nothing = np.zeros((*away.shape, 1))
    responses = RecordedResponses(
        RATE,
        tuple(PLACES),
        tuple(row["name"] for row in rows),
        np.fft.irfft(turn * fade / away[..., None], n=SAMPLES),
        ZERO,
        present,
        np.array([1000.0]),
        nothing,
        nothing,
        np.zeros(away.shape),
        True,
    )
    return build, responses


def worked(build: Build, responses: RecordedResponses, *given: Settings) -> VoiceResult:
    found = run(build, responses, Tuned(given[0], *given[1:]))  # type: ignore[arg-type]
    assert found is not None
    return found


def at_deg(result: VoiceResult, version: str = "proposed", seat: int = 0) -> float:
    image = result.seats[seat].image(version)
    assert image is not None
    return image.at_deg


def test_a_symmetric_car_gives_a_centred_image() -> None:
    result = worked(*car(), settings())
    driver = result.seats[0]
    image = driver.images[0]
    assert (driver.seat, driver.basis, driver.wanted_deg) == ("driver", "round the head", 0.0)
    assert abs(image.at_deg) < 0.6
    assert abs(image.across_m) < 0.01
    assert np.abs(image.lateral_deg).max() < 1.0
    assert np.abs(image.time_s).max() < 5e-6
    assert image.wander_deg < 1.0  # places round one head, moved to it along straight lines, agree
    assert not [item for item in result.findings if item.where == "driver"]
    assert {item.seat for item in result.seats} == {"driver", "passenger"}, "the rear seat is no front seat"


def test_the_later_or_softer_side_loses_the_image_and_it_is_told_in_centimetres() -> None:
    build, responses = car()
    late = worked(build, responses, settings(delay_s={"right": 0.5e-3}), settings(delay_s={"left": 0.5e-3}))
    assert -45.0 < at_deg(late) < -8.0
    assert at_deg(late, "before") == pytest.approx(-at_deg(late), abs=0.6)
    soft = worked(build, responses, settings(gain_db={"right": -6.0}))
    image = soft.seats[0].images[0]
    assert -40.0 < image.at_deg < -5.0
    assert image.across_m == pytest.approx(
        0.7 * np.tan(np.radians(image.at_deg)), abs=1e-9
    )  # 0.7 m to the loudspeakers
    (found,) = [item for item in late.findings if item.where == "driver" and item.code == "voice.off_place"]
    assert (found.severity, found.details["side"]) == ("caution", "left")
    wish = car(voice={"stands_m": [0.7, round(float(image.across_m), 3), 0.9]})
    assert not [i for i in worked(*wish, settings(gain_db={"right": -6.0})).findings if i.where == "driver"]


def test_one_side_alone_stands_at_its_loudspeaker_for_both_seats() -> None:
    result = worked(*car(), settings(gain_db={"right": -120.0}))
    for seat in result.seats:
        towards = np.asarray(PLACES["left"]) - np.asarray(seat.head_m)
        lateral = np.degrees(np.arcsin(towards[1] / np.linalg.norm(towards)))
        assert seat.images[0].at_deg == pytest.approx(lateral, abs=2.0)
    assert result.seats[1].basis == "carried over"
    assert "voice.carried_over" in {item.code for item in result.findings if item.where == "passenger"}


def test_two_places_and_marked_ears() -> None:
    build, responses = car(AT_EARS)
    result = worked(build, responses, settings())
    assert result.seats[0].basis == "at two places"
    assert result.seats[0].places == ("p0 and p1",)
    assert abs(at_deg(result)) < 0.6
    alone = worked(build, responses, settings(gain_db={"left": -120.0}))
    assert at_deg(alone) == pytest.approx(np.degrees(np.arcsin(0.6 / np.linalg.norm([0.7, 0.6, 0.1]))), abs=2.5)
    marked = worked(*car(AT_EARS, ears=True), settings(gain_db={"left": -120.0}))
    assert marked.seats[0].basis == "at the ears"
    # Without a sphere in between, the time is the straight lines' alone.
    near, far = (
        np.linalg.norm(np.asarray(PLACES["right"]) - np.asarray(HEAD) - ear) for ear in np.asarray(AT_EARS)[::-1]
    )
    assert marked.seats[0].images[0].time_s == pytest.approx((far - near) / SPEED, abs=12e-6)


def test_the_same_settings_stand_once_and_others_between() -> None:
    build, responses = car()
    tuned: Any = Tuned(settings(), settings(gain_db={"left": -1.0}))
    names = list(versions(tuned, settings(gain_db={"left": -2.0})))
    assert names == ["before", "now", "proposed"]
    assert list(versions(tuned, settings())) == ["before", "proposed"]
    other = Settings(RATE, settings().channels[:1])
    assert list(versions(tuned, other)) == ["before", "proposed"]
    plain = run(build, responses, tuned)
    assert plain is not None
    data = json.loads(json.dumps(plain.to_dict(), default=lambda value: value.tolist()))
    assert set(data["seats"]["driver"]["images"]) == {"before", "proposed"}


def test_nothing_is_guessed() -> None:
    build, responses = car()
    tuned: Any = Tuned(settings())
    assert run(build, None, tuned) is None
    assert run(build, responses, None) is None
    gone = build.model_copy(
        update={"speakers": (build.speakers[0].model_copy(update={"position_m": None}), build.speakers[1])}
    )
    with pytest.raises(RefusedError, match="position_m is missing of left"):
        run(gone, responses, tuned)
    lost = replace(responses, present=np.array([[True] * 3, [False] * 3]))
    assert ears_at(build, lost, build.seats[0], lends="driver", length_s=0.05, speed_m_s=SPEED) is None
    assert run(build, lost, tuned) is None
