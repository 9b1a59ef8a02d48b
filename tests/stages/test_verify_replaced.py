"""Microphones put back 10 mm elsewhere are no mistake at the processor, and hide none: rooms by pyroomacoustics.

The rooms share no acoustics with the package; microphones are moved in them, in a random direction, and every response
is simulated anew. Without the fit of a move in each position several of the first cases name a delay nobody keyed in.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

import cars
from cabinwright.build.document import Build
from cabinwright.physics.response import RecordedResponses
from cabinwright.stages.tuning.settings import ChannelSettings
from cabinwright.stages.tuning.sides import SUM_NAMES, sounding_channels
from cabinwright.stages.tuning.verify import VerificationResult, verify
from stages import small_car

BUILD = small_car.build()
SEEDS = (302, 304, 306)
MOVED_M = 0.01
LENGTH, ZERO, COUNT = 6000, small_car.ZERO, small_car.COUNT
Change = Callable[[ChannelSettings], ChannelSettings]


@cache
def _heard(seed: int, moved: bool) -> np.ndarray:
    """Responses at the first three positions, ``(channels, positions, samples)``."""
    _, size, head, loudspeakers = cars._plan(seed, "three-way+sub", "right")
    places = _places(head)
    if moved:
        away = np.random.default_rng(seed + 99).normal(size=places.shape)
        places = places + MOVED_M * away / np.linalg.norm(away, axis=1, keepdims=True)
    corner = np.array([0.36, -size[1] / 2.0, 0.16])
    order = {item.name: item for item in loudspeakers}
    rows = [cars.heard_at(order[name], places, corner, size, seed, order=10) for name in small_car.SPEAKERS]
    return np.array(rows)[..., :LENGTH]


def _places(head: np.ndarray) -> np.ndarray:
    return head + np.array([[0.0, 0.0, 0.0], [-0.08, -0.09, 0.03], [-0.08, 0.09, -0.03]])


def _build(seed: int) -> Build:
    """The small car's document with this car's places."""
    _, _, head, loudspeakers = cars._plan(seed, "three-way+sub", "right")
    at = {item.name: tuple(float(x) for x in item.position_m) for item in loudspeakers}
    spots = [tuple(float(x) for x in row) for row in _places(head)]
    speakers = tuple(item.model_copy(update={"position_m": at[item.name]}) for item in BUILD.speakers)
    positions = tuple(
        item.model_copy(update={"at_m": spot}) for item, spot in zip(BUILD.microphone_positions, spots, strict=False)
    )
    return BUILD.model_copy(update={"speakers": speakers, "microphone_positions": positions})


def _spectra(impulse: np.ndarray) -> np.ndarray:
    scale = np.sqrt(np.mean(np.sum(impulse**2, axis=-1)))
    return np.asarray(np.fft.rfft(impulse / scale, COUNT))


def _responses(names: tuple[str, ...], spectra: np.ndarray, rng: np.random.Generator) -> RecordedResponses:
    return small_car._responses(names, spectra, rng, 55.0, True)


def _verified(seed: int, count: int, channel: str = "", change: Change | None = None) -> VerificationResult:
    names = tuple(small_car.SPEAKERS)
    settings = small_car.settings(seed)
    loaded = [change(item) if change and item.name == channel else item for item in settings.channels]
    rng = np.random.default_rng(seed)
    before, after = (_spectra(_heard(seed, moved))[:, :count] for moved in (False, True))
    played = {
        item.name: small_car.processed(item, row) for item, row in zip(loaded, after, strict=True)
    }  # settings and speakers stand in one order
    build = _build(seed)
    sums = np.array([sum(played[name] for name in sounding_channels(build, side)) for side in SUM_NAMES])
    return verify(build, _responses(names, before, rng), settings, _responses(SUM_NAMES, sums, rng))


@pytest.mark.parametrize("count", [1, 2, 3])
@pytest.mark.parametrize("seed", SEEDS)
def test_a_microphone_put_back_elsewhere_is_no_mistake(seed: int, count: int) -> None:
    assert [cause.text for cause in _verified(seed, count).causes] == []


@pytest.mark.parametrize("count", [1, 3])
@pytest.mark.parametrize("seed", SEEDS[:2])
def test_nor_does_it_hide_one(seed: int, count: int) -> None:
    later = _verified(seed, count, "right tweeter", lambda item: replace(item, delay_s=item.delay_s + 1e-4))
    assert [(cause.kind, cause.channels) for cause in later.causes] == [("delay", ("right tweeter",))]
    assert later.causes[0].amount == pytest.approx(1e-4, abs=3e-5)
    turned = {"normal": "inverted", "inverted": "normal"}
    other = _verified(seed, count, "left midrange", lambda c: replace(c, polarity=turned[c.polarity]))  # type: ignore[arg-type]
    assert [(cause.kind, cause.channels) for cause in other.causes] == [("polarity", ("left midrange",))]
