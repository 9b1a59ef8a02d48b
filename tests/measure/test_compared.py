"""A whole round with one fault that only comparison shows: named as what it is, and nothing else left out."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from cabinwright.errors import RefusedError
from cabinwright.measure.compare import may_be_one, shape_of
from cabinwright.measure.reader import read_recordings
from cabinwright.measure.signal import make_sweep

from .conftest import Fresh
from .rig import PLACES, RATE, SPEAKERS, Rig, record

Array = NDArray[np.float64]
TIMINGS = ("loopback", "marker", "impulse")


def left_out(rig: Rig) -> dict[int, str]:
    """Entries left out, with the code of the finding that names them."""
    got = read_recordings(rig.build, rig.folder)
    bad = [index for index, verdict in enumerate(got.verdicts) if not verdict.good]
    named = {index: [item.code for item in got.findings if f"recordings[{index}]" in item.where] for index in bad}
    assert all(len(found) == 1 for found in named.values())
    return {index: found[0] for index, found in named.items()}


def left_out_codes(rig: Rig) -> list[str]:
    return [item.code for item in read_recordings(rig.build, rig.folder).findings]


def louder(gain: float) -> Callable[[Array], Array]:
    """The microphone's input was turned; a copy beside it was not."""
    return lambda samples: samples * ([gain, 1.0] if samples.shape[1] == 2 else [gain])


def later(seconds: float) -> Callable[[Array], Array]:
    """The microphone moved against its copy."""

    def move(samples: Array) -> Array:
        samples[:, 0] = np.roll(samples[:, 0], round(seconds * RATE))
        return samples

    return move


def exchange(rig: Rig, one: tuple[str, str], two: tuple[str, str]) -> None:
    first, second = rig.path(rig.index(*one)), rig.path(rig.index(*two))
    content = first.read_bytes()
    first.write_bytes(second.read_bytes())
    second.write_bytes(content)


@pytest.mark.parametrize("timing", TIMINGS)
@pytest.mark.parametrize(("channel", "gain"), [("left midbass", 10.0), ("subwoofer", 0.1), ("right tweeter", 1e-3)])
def test_a_level_turned(fresh: Fresh, timing: str, channel: str, gain: float) -> None:
    rig = fresh(timing)
    rig.change(rig.index(channel, "p2"), louder(gain))
    assert left_out(rig) == {rig.index(channel, "p2"): "recording-level"}


def test_a_level_turned_at_one_position(fresh: Fresh) -> None:
    """One finding, not one for each channel."""
    rig = fresh("loopback")
    for channel in SPEAKERS:
        rig.change(rig.index(channel, "p3"), louder(0.1))
    got = read_recordings(rig.build, rig.folder)
    (found,) = got.findings
    assert (found.code, found.where[:4]) == ("recording-level", "p3: ")
    assert "every channel at p3" in found.remedy
    assert got.present.sum(axis=0).tolist() == [5, 5, 0, 5, 5]


def test_markers_turned_down(fresh: Fresh) -> None:
    rig = fresh("marker")
    index = rig.index("subwoofer", "p4")

    played, heard = make_sweep(rig.build).samples(), rig.truth[list(SPEAKERS).index("subwoofer"), 3]
    faint = record(played, heard, np.random.default_rng(7), marker=0.05 * rig.truth[0, 3], drift_ppm=130.0)
    rig.change(index, lambda _: faint[:, None])
    (found,) = read_recordings(rig.build, rig.folder).findings
    assert (found.code, found.value) == ("recording-level", pytest.approx(-26.0, abs=0.5))
    assert "the level of its markers" in found.message
    assert f"recordings[{index}]" in found.where


@pytest.mark.parametrize(
    ("channel", "late_s"),
    [("left tweeter", -0.2), ("left tweeter", -0.001), ("right midbass", 0.001), ("right midbass", 0.03),
     ("subwoofer", 0.005), ("subwoofer", -0.06), ("subwoofer", -0.2), ("left midbass", 0.2)],
)  # fmt: skip
def test_a_recording_moved_against_its_copy(fresh: Fresh, channel: str, late_s: float) -> None:
    rig = fresh("loopback")
    rig.change(rig.index(channel, "p2"), later(late_s))
    assert left_out(rig) == {rig.index(channel, "p2"): "recording-time"}


def test_one_recording_without_the_delay_that_all_others_share(fresh: Fresh) -> None:
    rig = fresh("loopback")
    for index in range(len(rig.build.recordings)):
        if index != 7:
            rig.change(index, later(0.25))
    got = read_recordings(rig.build, rig.folder)
    assert [verdict.good for verdict in got.verdicts].count(False) == 1
    assert {item.code for item in got.findings} == {"recording-time", "recording-late"}


@pytest.mark.parametrize("timing", ["loopback", "impulse"])
def test_two_files_of_one_channel_exchanged(fresh: Fresh, timing: str) -> None:
    rig = fresh(timing)
    exchange(rig, ("left midbass", "p2"), ("left midbass", "p4"))
    pair = (rig.index("left midbass", "p2"), rig.index("left midbass", "p4"))
    assert left_out(rig) == dict.fromkeys(pair, "recording-position")


@pytest.mark.parametrize("pair", [("p2", "p4"), ("p3", "p5"), ("p1", "p4")])
def test_two_positions_exchanged_between_markers(fresh: Fresh, pair: tuple[str, str]) -> None:
    """Markers make each position's own zero, which then is wrong as well; still it is the positions."""
    rig = fresh("marker")
    for channel in SPEAKERS:
        exchange(rig, (channel, pair[0]), (channel, pair[1]))
    assert set(left_out_codes(rig)) <= {"recording-position"}


@pytest.mark.parametrize("timing", TIMINGS)
def test_two_channels_exchanged_at_every_position(fresh: Fresh, timing: str) -> None:
    """Nothing is left of the two, which is a refusal that names them once and blames no position."""
    rig = fresh(timing)
    for place in PLACES:
        exchange(rig, ("left midbass", place), ("right midbass", place))
    with pytest.raises(RefusedError, match="no good recording of left midbass, right midbass") as caught:
        read_recordings(rig.build, rig.folder)
    assert [item.code for item in caught.value.findings] == ["recording-exchanged"]
    assert str(caught.value).count("left midbass and right midbass are exchanged at every position") == 1
    assert "Exchange the two channels' files" in str(caught.value)


def first_sound(samples: Array) -> int:
    wave = samples[:, -1]
    return int(np.flatnonzero(np.abs(wave) > 0.1 * np.abs(wave).max())[0])


@pytest.mark.parametrize("timing", ["loopback", "marker"])
@pytest.mark.parametrize("cut_s", [0.05, 0.5, 1.2])
def test_a_start_cut_off(fresh: Fresh, timing: str, cut_s: float) -> None:
    rig = fresh(timing)
    index = rig.index("left midbass", "p4")
    rig.change(index, lambda samples: samples[first_sound(samples) + round(cut_s * RATE) :])
    got = read_recordings(rig.build, rig.folder)
    (found,) = got.findings
    assert found.code == "recording-no-sweep"
    assert "its start is cut off" in found.message
    assert f"recordings[{index}]" in found.where


@pytest.mark.parametrize("channel", ["right tweeter", "left midbass", "subwoofer"])
def test_samples_lost_while_recording(fresh: Fresh, channel: str) -> None:
    rig = fresh("loopback")
    index = rig.index(channel, "p4")

    def lose(samples: Array) -> Array:
        at = first_sound(samples) + round(1.2 * RATE)
        return np.delete(samples, slice(at, at + 480), axis=0)

    rig.change(index, lose)
    got = read_recordings(rig.build, rig.folder)
    (found,) = got.findings
    assert found.code == "recording-gap"
    assert "the electrical copy jumps" in found.message


@pytest.mark.parametrize("count", [10, 20, 200])
def test_a_few_samples_lost_between_markers(fresh: Fresh, count: int) -> None:
    """Too few to miss the markers' distance by 300 ppm; but no other recording's clock runs so."""
    rig = fresh("marker")
    index = rig.index("left midbass", "p4")

    def lose(samples: Array) -> Array:
        at = first_sound(samples) + round(1.2 * RATE)
        return np.delete(samples, slice(at, at + count), axis=0)

    rig.change(index, lose)
    assert left_out(rig) == {index: "recording-gap"}


def test_a_second_take_that_steps_in_is_judged_too(fresh: Fresh) -> None:
    """Both takes of one channel at one place were made with the input turned, the second 12 dB further."""
    rig = fresh("loopback")
    index = rig.index("left midbass", "p2")
    file = rig.path(index).with_name("again.wav")
    file.write_bytes(rig.path(index).read_bytes())
    again = rig.build.recordings[index].model_copy(update={"file": f"recordings/{file.name}"})
    build = rig.build.model_copy(update={"recordings": (*rig.build.recordings, again)})
    both = Rig(rig.folder, build, rig.truth)
    both.change(index, louder(0.1))
    both.change(len(build.recordings) - 1, louder(0.025))
    assert left_out(both) == {index: "recording-level", len(build.recordings) - 1: "recording-level"}
    assert both.path(index) != file


def test_what_spectra_rule_out_is_no_copy_and_no_copy_is_ruled_out() -> None:
    """Against the correlation at every shift, which tells copies of one take: random pairs, then shifted and gained copies."""
    rng = np.random.default_rng(11)
    for near in (0.0, 1e-4, 1e-3, 2e-2, 1.0):
        one = rng.standard_normal(600) * np.exp(-np.arange(600) / 90.0)
        two = -0.3 * np.roll(np.pad(one, (0, 40)), 17)[:600] + near * rng.standard_normal(600) * 0.1
        alike = np.correlate(two, one, "full")
        left = 1.0 - float(np.abs(alike).max()) ** 2 / float(one @ one) / float(two @ two)
        kept = may_be_one(shape_of(one), shape_of(two))
        assert kept or left > 1e-5
        assert kept == (
            near < 2e-3
        )  # far enough from the limit on either side, so that the test itself is no knife's edge
