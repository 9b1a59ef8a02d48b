"""A stereo signal at two ears: free-field cars whose answer straight lines give, and places with paths that are said."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from cabinwright.errors import RefusedError
from cabinwright.stages.layout import LayoutResult, run
from cabinwright.stages.voice.stereo import (
    Stereo,
    before_and_after,
    joined,
    known,
    listening_seat,
    pairs_of,
    through_places,
    through_settings,
)
from stages.cabin_build import cabin_build
from stages.test_voice import AT_EARS, HEAD, PLACES, RATE, SPEED, car, settings

Real = NDArray[np.float64]
SIDES = ("left", "right")


def moment(response: Real) -> float:
    """Where it peaks [samples], between samples by a parabola."""
    size = np.abs(response)
    k = int(size.argmax())
    a, b, c = size[k - 1 : k + 2]
    return float(k + 0.5 * (a - c) / (a - 2.0 * b + c))


def heard(**sets: object) -> Stereo:
    build, recorded = car(AT_EARS, ears=True)
    return through_settings(build, recorded, sets, listening_seat(build, None))  # type: ignore[arg-type]


def test_each_side_reaches_each_ear_along_its_straight_line() -> None:
    stereo = heard(after=settings())
    assert (stereo.seat, stereo.basis, stereo.sample_rate_hz) == ("driver", "at the ears", RATE)
    found = stereo.responses["after"]
    away = np.array(
        [[np.linalg.norm(np.subtract(PLACES[side], np.add(HEAD, ear))) for ear in AT_EARS] for side in SIDES]
    )
    moments = np.array([[moment(found[side, ear]) for ear in range(2)] for side in range(2)])
    assert moments - moments[0, 0] == pytest.approx((away - away[0, 0]) / SPEED * RATE, abs=0.05)
    levels = np.sqrt(np.sum(found**2, axis=-1))
    assert levels / levels[0, 0] == pytest.approx(away[0, 0] / away, rel=0.005)


def test_a_side_is_played_by_its_own_channel_alone_with_its_delay_and_gain() -> None:
    found = heard(plain=settings(), after=settings(delay_s={"right": 5e-4}, gain_db={"right": -6.0})).responses
    gap = [moment(item[1, 0]) - moment(item[0, 0]) for item in (found["plain"], found["after"])]
    assert gap[1] - gap[0] == pytest.approx(5e-4 * RATE, abs=0.05)
    ratio = [np.abs(item[1]).max() / np.abs(item[0]).max() for item in (found["plain"], found["after"])]
    assert 20.0 * np.log10(ratio[1] / ratio[0]) == pytest.approx(-6.0, abs=0.05)
    mute = heard(after=settings(gain_db={"right": -120.0})).responses["after"]
    assert np.abs(mute[1]).max() < 1e-5 * np.abs(mute[0]).max()


def test_versions_stand_on_one_time_line() -> None:
    late = settings(delay_s={"left": 0.004, "right": 0.004})
    found = heard(before=late, after=settings()).responses
    assert found["before"].shape == found["after"].shape
    for side in range(2):
        assert moment(found["before"][side, 0]) == pytest.approx(moment(found["after"][side, 0]), abs=0.6)


def test_settings_of_other_channels_are_refused() -> None:
    build, recorded = car()
    one = replace(settings(), channels=settings().channels[:1])
    with pytest.raises(RefusedError, match="Run the tune again"):
        before_and_after(build, recorded, one, listening_seat(build, None))
    with pytest.raises(RefusedError, match=r'"boot" is no seat of this build\. There are: driver, passenger'):
        listening_seat(build, "boot")


# Candidate places


@pytest.fixture(scope="module")
def layout() -> LayoutResult:
    got = run(cabin_build(extra="[layout]\ndraws = 0\n"))
    assert got is not None
    return got


def said(layout: LayoutResult, *, azimuth_deg: float = 30.0, echo: bool = False) -> LayoutResult:
    """The pillars at angles that are said, with one path that is said besides."""
    rows = dict(layout.places)
    flat = (0.0,) * len(layout.bands_hz)
    for name, sign in (("left pillar", -1.0), ("right pillar", 1.0)):
        seat = rows[name].seats["driver"]
        path = replace(
            seat.reflections[0],
            delay_s=0.002,
            bands_db=tuple(-6.0 for _ in flat),
            azimuth_deg=sign * azimuth_deg,
            elevation_deg=0.0,
        )
        own = replace(
            seat,
            azimuth_deg=sign * azimuth_deg,
            elevation_deg=0.0,
            direct_bands_db=flat,
            reflections=(path,) if echo else (),
        )
        rows[name] = replace(rows[name], seats={**rows[name].seats, "driver": own})
    return replace(layout, places=rows)


def pillars(layout: LayoutResult) -> Real:
    stereo = through_places(layout, pairs_of(layout, ["left pillar"]), "driver", sample_rate_hz=RATE)
    assert stereo.basis == "predicted"
    (found,) = stereo.responses.values()
    return found


def test_a_place_is_heard_from_its_side(layout: LayoutResult) -> None:
    found = pillars(said(layout))
    assert np.allclose(found[0, 0], found[1, 1], atol=1e-9) and np.allclose(found[0, 1], found[1, 0], atol=1e-9)
    for side in range(2):
        near, far = found[side, side], found[side, 1 - side]
        # Woodworth & Schlosberg 1954: a/c (angle + sin angle), a = 87.5 mm: what high frequencies do.
        wanted = 0.0875 / SPEED * (np.radians(30.0) + np.sin(np.radians(30.0))) * RATE
        onset = [int(np.argmax(np.abs(item) > 0.3 * np.abs(item).max())) for item in (near, far)]
        assert onset[1] - onset[0] == pytest.approx(wanted, abs=2.5)
        assert np.sum(near**2) > 2.0 * np.sum(far**2)
    ahead = pillars(said(layout, azimuth_deg=0.0))
    assert np.allclose(ahead[0, 0], ahead[0, 1], atol=1e-9)


def test_a_reflection_comes_as_late_and_as_loud_as_it_is_said(layout: LayoutResult) -> None:
    plain, echo = pillars(said(layout)), pillars(said(layout, echo=True))
    scale = np.abs(plain[0, 0]).max() / np.abs(echo[0, 0]).max()
    rest = scale * echo[0, 0] - plain[0, 0]
    late = round(0.002 * RATE)
    assert rest[late:] == pytest.approx(10.0 ** (-6.0 / 20.0) * plain[0, 0][:-late], abs=0.01 * np.abs(plain).max())


def test_measured_and_predicted_share_a_time_line(layout: LayoutResult) -> None:
    measured = heard(before=settings(delay_s={"left": 0.003, "right": 0.003}), after=settings())
    found = pairs_of(layout, ["right pillar"])
    both = joined(measured, through_places(said(layout), found, "driver", sample_rate_hz=RATE))
    assert list(both.responses) == ["before", "after", "left pillar and right pillar"]
    assert len({item.shape for item in both.responses.values()}) == 1
    moments = [moment(item.sum(axis=(0, 1))) for item in both.responses.values()]
    assert max(moments) - min(moments) < 0.5e-3 * RATE
    assert both.basis == "at the ears"


def test_names_that_make_no_pair(layout: LayoutResult) -> None:
    with pytest.raises(RefusedError, match="two of them are one pair"):
        pairs_of(layout, ["left pillar", "right pillar"])
    alone = replace(layout, pairs=())
    with pytest.raises(RefusedError, match="no partner on the other side"):
        pairs_of(alone, ["left pillar"])
    with pytest.raises(RefusedError, match=r'"boot" is no place of this build\. There are: .*left pillar'):
        known(cabin_build(), ["boot"])
