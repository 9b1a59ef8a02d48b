"""Arrivals: the least that explains a contradiction is blamed, and healthy ones stand errors of tape and place.

Faults are put into the onsets of the rig's true responses; the rig knows flight times from its own geometry.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from cabinwright.measure.evidence import Evidence, distances_m
from cabinwright.measure.timing import exchanged_channels, exchanged_files, odd_times

from .rig import PLACES, SPEAKERS, SPEED, evidence, little_car

SPOTS, CHANNELS = list(PLACES), list(SPEAKERS)
AT = np.asarray(list(PLACES.values()))
APART_S: NDArray[np.float64] = np.linalg.norm(AT[:, None] - AT[None], axis=-1) / SPEED
DULL = CHANNELS.index("subwoofer")


def moved(base: Evidence, late_s: dict[tuple[int, int], float]) -> Evidence:
    arrival = base.arrival_s.copy()
    for place, seconds in late_s.items():
        arrival[place] += seconds
    return replace(base, arrival_s=arrival)


def taped(seed: int, *, microphone_m: float = 0.01, speaker_m: float = 0.02) -> Evidence:
    """Places as a person writes them down."""
    rng = np.random.default_rng(seed)
    base = evidence()
    at = AT + rng.normal(scale=microphone_m, size=AT.shape)
    speakers = np.asarray([item[2] for item in SPEAKERS.values()])
    speakers = speakers + rng.normal(scale=speaker_m, size=speakers.shape)
    return replace(base, travel_s=np.linalg.norm(speakers[:, None] - at[None], axis=-1) / SPEED)


def unplaced(base: Evidence) -> Evidence:
    return replace(base, travel_s=np.full_like(base.travel_s, np.nan))


def verdicts(
    base: Evidence, *, free_zero: bool = False
) -> tuple[set[tuple[int, int]], set[tuple[int, int]], list[str]]:
    pairs = [f"{CHANNELS[a]}, {CHANNELS[b]}" for a, b, _ in exchanged_channels(base, CHANNELS)]
    late = odd_times(base, APART_S, free_zero=free_zero)
    return set(late), set(() if free_zero else exchanged_files(base, SPOTS)), pairs


@pytest.mark.parametrize("free_zero", [False, True])
def test_nothing_healthy_is_blamed(free_zero: bool) -> None:
    """10 mm of error at the microphone and 20 mm at the loudspeaker on each axis, thirty times."""
    for seed in range(30):
        base = taped(seed)
        zero = np.random.default_rng(seed).normal(scale=1e-3 if free_zero else 0.0, size=len(SPOTS))
        base = replace(base, arrival_s=base.arrival_s + zero)
        assert verdicts(base, free_zero=free_zero) == (set(), set(), [])
        assert odd_times(unplaced(evidence()), APART_S, free_zero=False) == {}


@pytest.mark.parametrize("late_ms", [-200.0, -5.0, -1.0, 1.0, 5.0, 200.0])
def test_one_recording_moved(late_ms: float) -> None:
    for row in range(len(CHANNELS)):
        if row == DULL and abs(late_ms) < 3.0:
            continue
        late, files, pairs = verdicts(moved(taped(row), {(row, 3): 1e-3 * late_ms}))
        assert (late, files, pairs) == ({(row, 3)}, set(), [])
        fault = odd_times(moved(taped(row), {(row, 3): 1e-3 * late_ms}), APART_S, free_zero=False)[row, 3]
        assert fault.figures["late_s"] == pytest.approx(1e-3 * late_ms, abs=0.6e-3)
        assert ("later" in fault.reason) == (late_ms > 0.0)


def test_a_recording_moved_where_no_loudspeaker_has_a_place() -> None:
    for late_ms in (-5.0, 5.0):
        late = odd_times(moved(unplaced(evidence()), {(1, 3): 1e-3 * late_ms}), APART_S, free_zero=False)
        assert set(late) == {(1, 3)}


def test_two_positions_that_disagree_blame_neither() -> None:
    base = moved(evidence(), {(1, 1): 0.02})
    base = replace(base, arrival_s=np.where(np.arange(len(SPOTS)) < 2, base.arrival_s, np.nan))
    found = odd_times(base, APART_S, free_zero=False)
    assert set(found) == {(1, 0), (1, 1)}
    assert all("nothing tells which is right" in fault.reason for fault in found.values())


def test_a_wrong_place_is_not_put_down_to_its_recordings() -> None:
    """Every channel 1.2 ms late at one position: that is the place, and ``wrong_positions`` says so."""
    late, files, pairs = verdicts(moved(taped(3), {(row, 2): 1.2e-3 for row in range(len(CHANNELS))}))
    assert (late, files, pairs) == (set(), set(), [])


@pytest.mark.parametrize("pair", [(0, 1), (2, 3)])
def test_two_channels_exchanged_everywhere(pair: tuple[int, int]) -> None:
    for seed in range(5):
        base = taped(seed)
        arrival = base.arrival_s.copy()
        arrival[list(pair)] = arrival[list(pair[::-1])]
        ((a, b, fault),) = exchanged_channels(replace(base, arrival_s=arrival), CHANNELS)
        assert (a, b) == pair
        assert CHANNELS[a] in fault.reason
        assert CHANNELS[b] in fault.reason


def test_two_files_of_a_channel_exchanged() -> None:
    for row in range(DULL):
        base = taped(row)
        arrival = base.arrival_s.copy()
        arrival[row, [1, 3]] = arrival[row, [3, 1]]
        found = exchanged_files(replace(base, arrival_s=arrival), SPOTS)
        apart_s = abs(base.travel_s[row, 1] - base.travel_s[row, 3])
        if apart_s > 0.3e-3:
            assert set(found) == {(row, 1), (row, 3)}
            assert "p4" in found[row, 1].reason
            assert "p2" in found[row, 3].reason
        else:
            assert set(found) <= {(row, 1), (row, 3)}
    assert abs(evidence().travel_s[2, 1] - evidence().travel_s[2, 3]) > 0.3e-3  # one at least was put to the test


def test_two_positions_exchanged_are_not_put_down_to_files() -> None:
    base = taped(4)
    arrival = base.arrival_s.copy()
    arrival[:, [1, 3]] = arrival[:, [3, 1]]
    assert exchanged_files(replace(base, arrival_s=arrival), SPOTS) == {}
    assert odd_times(replace(base, arrival_s=arrival), APART_S, free_zero=False, alone=True) == {}


def test_the_nearest_of_two_alike_is_heard() -> None:
    """One output for both tweeters: an onset is the nearer one's."""
    build = little_car()
    one = build.channels[0].model_copy(update={"speakers": ("left tweeter", "right tweeter")})
    build = build.model_copy(update={"channels": (one, *build.channels[2:])})
    both = distances_m(build, ("left tweeter",), tuple(SPOTS))[0]
    each = [[np.linalg.norm(np.subtract(at, SPEAKERS[name][2])) for at in AT] for name in CHANNELS[:2]]
    assert both == pytest.approx(np.min(each, axis=0))
