"""Guided recording against a simulated car: whole sessions, mistakes of the person, and faults made on purpose.

What is true of the car is known (``measure.rig``: rays by NumPy and SciPy), so takes are held against it.
"""

from __future__ import annotations

import errno
import os
import re
import time
import wave
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
import soxr

from cabinwright.build.codec import parse
from cabinwright.desk import Desk
from cabinwright.errors import CardError, OutputError, RefusedError
from cabinwright.measure.guide import plan_of
from cabinwright.measure.reader import read_recordings
from cabinwright.measure.signal import make_sweep
from cabinwright.measure.sound_card import CardSettings
from measure.simulated_car import (
    Car,
    again,
    another,
    calm,
    press,
    rumble,
    sit_down,
    text,
    truth,
)


def listed(desk: Desk) -> list[str]:
    return [row.file for row in desk.build.recordings]


def on_disk(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted((folder / "recordings").glob("*"))}


@pytest.mark.parametrize("timing", ["loopback", "marker"])
def test_a_whole_car_without_leaving_the_seat(tmp_path: Path, timing: str) -> None:
    """Every response within 0.1 dB of the truth in the loudspeaker's band, and within one sample; a gain of 0.2 dB is seen."""
    car = Car(timing=timing)
    recorder = sit_down(tmp_path / "build", car, text(timing, places=2, channels=3))
    walked = [recorder.guide.item.position for _ in iter(lambda: press(recorder, "go") == "finished", True)]
    assert walked == ["p1", "p1", "p2", "p2", "p2"]  # the first was recorded by the time it was asked
    found = read_recordings(recorder.desk.build, tmp_path / "build")
    assert all(verdict.good for verdict in found.verdicts) and len(found.verdicts) == 6
    lags = np.zeros((3, 2))
    for c, channel in enumerate(found.channels):
        for p, place in enumerate(found.positions):
            real = truth(channel, place) / (0.7 if timing == "loopback" else 1.0)
            heard = found.impulse[c, p, found.zero_sample :]
            size = 32768
            one, two = np.fft.rfft(heard, n=size), np.fft.rfft(real[: len(heard)], n=size)
            frequency = np.fft.rfftfreq(size, 1 / 48000)
            inside = (
                (frequency > 3000.0) & (frequency < 12000.0)
                if "tweeter" in channel
                else (frequency > 100.0) & (frequency < 1600.0)
            )
            ratio = 10.0 * np.log10(np.sum(np.abs(one[inside]) ** 2) / np.sum(np.abs(two[inside]) ** 2))
            assert abs(ratio) < 0.1 < abs(ratio + 0.2)
            lag = int(np.argmax(np.fft.irfft(one * np.conj(two), n=size)))
            lag = lag if lag < size // 2 else lag - size
            lags[c, p] = lag
    if timing == "loopback":
        assert np.abs(lags + 30).max() <= 1  # the copy comes 30 samples late
    else:
        assert np.ptp(lags, axis=0).max() <= 1  # a position has one time zero, from the markers


def test_a_bad_take_is_caught_redone_and_nothing_is_overwritten(tmp_path: Path) -> None:
    car = Car(mistakes={3: another("left tweeter"), 4: another("left tweeter")})
    recorder = sit_down(tmp_path / "build", car, text(places=2, channels=3))
    for _ in range(3):
        assert press(recorder, "go") == "ready"
    before = on_disk(recorder.desk.folder)
    assert press(recorder, "go") == "verdict"
    view = recorder.view
    assert view.item.channel == "left midbass" and not view.last.verdict.good and "tweeter" not in view.lines[1]
    assert len(listed(recorder.desk)) == 3 and view.last.picture.needed.any()
    assert press(recorder, "go") == "verdict"
    assert press(recorder, "go") == "ready"
    assert listed(recorder.desk)[-1] == "recordings/left-midbass_p2_3.wav"
    after = on_disk(recorder.desk.folder)
    assert {name: after[name] for name in before} == before and len(after) == 6
    press(recorder, "again")  # of a good one: the newer file stands in its row, the older one stays on the disk
    assert listed(recorder.desk)[-1] == "recordings/left-midbass_p2_4.wav" and len(listed(recorder.desk)) == 4
    assert "left-midbass_p2_3.wav" in on_disk(recorder.desk.folder)
    recorder.desk.undo()
    assert listed(recorder.desk)[-1] == "recordings/left-midbass_p2_3.wav"


def test_tomorrow_it_goes_on_where_it_was_left(tmp_path: Path) -> None:
    """What a killed program had stored but not joined is found; what it was in the middle of is named."""
    car = Car()
    recorder = sit_down(tmp_path / "build", car, text(places=2, channels=2))
    press(recorder, "skip")
    assert recorder.view.item.name == "right tweeter at p1"
    press(recorder, "go")
    press(recorder, "go")
    written = (tmp_path / "build" / "build.toml").read_text(encoding="utf-8")
    cut = written[: written.rindex("[[recordings]]")]  # as if it was killed before the second take joined
    (tmp_path / "build" / "build.toml").write_text(cut, encoding="utf-8", newline="\n")
    half = tmp_path / "build" / "recordings" / ".left-tweeter_p2.wav.1.part"
    half.write_bytes(b"RIFF")
    later = again(Desk(tmp_path / "build"), car)
    assert any("is good, and joined" in note for note in later.notes) and any(str(half) in note for note in later.notes)
    assert later.view.done == 2 and later.view.item.name == "left tweeter at p1" and half.exists()
    assert press(later, "go") == "ready" and press(later, "go") == "finished"
    assert sorted(listed(later.desk)) == sorted(
        f"recordings/{c}-tweeter_{p}.wav" for c in ("left", "right") for p in ("p1", "p2")
    )


def unplug(car: Car) -> None:
    car.unplugged_at = round(3.5 * 48000)


def lose(car: Car) -> None:
    car.loses = ((round(3.5 * 48000), 700),)


def lose_silently(car: Car) -> None:
    car.loses, car.tells_loss = ((round(3.5 * 48000), 700),), False


def whole(car: Car) -> None:
    car.unplugged_at, car.loses, car.inputs, car.outputs = None, (), 2, 2
    car.refusal, car.rates = "", ()


def turn(**more: object) -> object:
    """Another sound card all at once."""
    return lambda car: [setattr(car, key, value) for key, value in more.items()]


@pytest.mark.parametrize(
    ("mistake", "step", "words"),
    [
        (unplug, "stopped", "unplugged"),
        (lose, "stopped", "samples were lost"),
        (lose_silently, "verdict", "lost or doubled|breaks off|jump"),
        (lambda car: car.hear(np.zeros(1)), "stopped", "nothing of right tweeter was heard"),
        (lambda car: car.hear(3000.0 * truth(car.channel, car.position)), "stopped", "full scale"),
        (rumble, "noisy", "Noise leaves"),
        (turn(inputs=1), "stopped", "2 input channels are wanted and it has 1. Choose another"),
        (turn(inputs=0, outputs=0), "stopped", "is not there now; there are none. Plug it in"),
        (turn(rates=(44_100,)), "stopped", "does not work at 48000 Hz. Choose its own rate"),
        (turn(refusal="the system allows no microphone. Allow it."), "stopped", "allows no microphone. Allow it"),
    ],
)
def test_faults_cost_the_take_that_was_being_made(tmp_path: Path, mistake: object, step: str, words: str) -> None:
    car = Car(mistakes={1: mistake})
    recorder = sit_down(tmp_path / "build", car, text(places=1, channels=2))
    press(recorder, "go")
    before = (tmp_path / "build" / "build.toml").read_bytes()
    assert press(recorder, "go") == step
    assert re.search(words, " ".join(recorder.view.lines))
    assert (tmp_path / "build" / "build.toml").read_bytes() == before
    assert [name for name in on_disk(tmp_path / "build") if name.endswith(".part")] == []
    whole(car)
    calm(car)
    assert press(recorder, next(iter(recorder.view.keys))) == "finished"
    assert len(listed(recorder.desk)) == 2


@pytest.mark.parametrize(
    ("number", "words"), [(errno.ENOSPC, "the disk is full"), (errno.EACCES, "writing there is not allowed")]
)
def test_a_disk_that_refuses_stops_the_take_with_its_cure(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, words: str
) -> None:
    recorder = sit_down(tmp_path / "build", Car(), text(places=1, channels=2))
    real, count = wave.Wave_write.writeframesraw, iter(range(10_000))

    def full(self: wave.Wave_write, data: bytes) -> None:
        if next(count) > 20:
            raise OSError(number, os.strerror(number))
        real(self, data)

    with monkeypatch.context() as patch:
        patch.setattr(wave.Wave_write, "writeframesraw", full)
        assert press(recorder, "go") == "stopped"
    assert words in recorder.view.lines[0] and on_disk(tmp_path / "build") == {}
    assert press(recorder, "go") == "ready" and len(listed(recorder.desk)) == 1
    monkeypatch.setattr("cabinwright.desk.recorder.LEAST_FREE", 10**18)
    with pytest.raises(OutputError, match="Free some space first"):
        again(Desk(tmp_path / "build"), Car())


def test_what_does_not_go_together_is_refused_before_anything_plays(tmp_path: Path) -> None:
    desk = sit_down(tmp_path / "build", Car(), text(places=1, channels=1)).desk
    car = Car()
    for wish, words in (
        ({"card": {"copy_channel": 0}}, "no input is chosen for the electrical copy"),
        ({"card": {"output_name": ""}}, "no output is chosen"),
        ({"card": {"input_name": ""}}, "no input is chosen"),
        ({"card": {"sample_rate_hz": 22050}}, "more than half of it"),
    ):
        with pytest.raises(CardError, match=words):
            again(desk, car, **wish)
    with pytest.raises(RefusedError, match='says timing = "loopback"'):
        again(desk, car, by_car=True)
    with pytest.raises(RefusedError, match="factory_outputs"):
        again(desk, car, kind="factory")
    (tmp_path / "bare").mkdir()
    with pytest.raises(RefusedError, match="nothing to record"):
        sit_down(
            tmp_path / "bare", car, 'schema = 1\ntitle = "bare"\n[vehicle]\nname = "invented"\ndriving_side = "left"\n'
        )


def test_over_the_stated_level_it_stops_at_once(tmp_path: Path) -> None:
    """94 dB by a calibrator stand for an rms of 0.1; the sweep is held 3 dB below the stated level, and a slam ends it."""
    car = Car()
    unit = 94.0 - 20.0 * np.log10(0.1)
    recorder = sit_down(
        tmp_path / "build", car, text(places=1, channels=1), card={"unit_level_db": unit, "loudest_db": 80.0}
    )
    assert press(recorder, "go") == "finished"
    samples = soundfile.read(tmp_path / "build" / listed(recorder.desk)[0])[0]
    loudest = unit + 10.0 * np.log10(np.max(np.convolve(samples[:, 0] ** 2, np.full(6000, 1 / 6000), mode="valid")))
    assert 70.0 < loudest < 80.0 and recorder.view.expected.gain < 1.0
    car.paths = {}
    loud = again(recorder.desk, car, card={"unit_level_db": unit, "loudest_db": 60.0})
    loud.guide._places[0].state, loud.guide._at, loud.guide.step = "open", 0, "ready"
    car.mistakes = {car.opened: rumble}
    assert press(loud, "go") == "stopped" and "more than the 60 dB" in loud.view.lines[0]


def test_the_car_plays_by_itself(tmp_path: Path) -> None:
    """The sweep comes from a stick, 200 ppm fast by the SoX resampler and some seconds late; start and drift come from the
    markers."""
    car = Car(timing="marker")
    content = text("marker", places=1, channels=2)
    recorder = sit_down(tmp_path / "build", car, content, by_car=True)
    played = make_sweep(recorder.desk.build).samples()
    late = np.concatenate([np.zeros((round(6.3 * 48000), 2)), played])
    car.stick = soxr.resample(late, 48000, 48000 * (1 - 200e-6), quality="VHQ")
    car.outputs = 0
    assert press(recorder, "go") == "ready"
    assert abs(recorder.view.last.verdict.figures["clock_drift_ppm"] + 200.0) < 2.0
    whole_s = soundfile.info(tmp_path / "build" / listed(recorder.desk)[0]).duration
    assert whole_s < 6.3 + len(played) / 48000 + 1.0
    car.stick = None
    assert press(recorder, "go") == "stopped" and "was not heard within a minute" in recorder.view.lines[0]


def test_the_way_is_short_and_channels_run_to_and_fro() -> None:
    plan = plan_of(parse(text()))
    assert [item.position for item in plan[::5]] == ["p1", "p5", "p2", "p3", "p4"]
    assert plan[4].channel == plan[5].channel == "subwoofer" and plan[9].channel == plan[10].channel
    assert "high-pass" in plan[0].care


def test_a_key_waits_for_one_block_at_most(tmp_path: Path) -> None:
    """The thread that records asks for block after block; a person who wants silence does not wait until it has enough."""
    car, read = Car(), [0]
    opened = car.open

    def slow(settings: CardSettings, **more: object) -> Any:
        stream = opened(settings, **more)
        block = stream.read

        def one(timeout_s: float = 2.0) -> object:
            time.sleep(0.01)
            read[0] += 1
            return block(timeout_s)

        stream.read = one
        return stream

    car.open = slow  # type: ignore[method-assign]
    recorder = sit_down(tmp_path / "build", car, text(places=1, channels=1))
    recorder.start()
    try:
        for _ in range(5):
            recorder.press("go")
            begun = read[0]
            while read[0] < begun + 5:
                time.sleep(0.001)
            asked = read[0]
            recorder.press("stop")
            assert read[0] - asked <= 2
            assert recorder.view.step == "stopped"
    finally:
        recorder.close()


def test_a_mistake_of_ours_ends_in_silence_and_words(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The thread behind the page goes on: what played is stopped, the next press records."""
    recorder = sit_down(tmp_path / "build", Car(), text(places=1, channels=1))
    with monkeypatch.context() as patch:
        patch.setattr(recorder.guide, "hear", lambda _block: 1 / 0)
        recorder.press("go")
        recorder.start()
        end = time.monotonic() + 20.0
        while recorder.view.step != "stopped":
            assert time.monotonic() < end
            time.sleep(0.01)
        assert "a mistake of this program: ZeroDivisionError" in recorder.view.lines[0]
        assert on_disk(tmp_path / "build") == {} and recorder._stream is None
    recorder.press(next(iter(recorder.view.keys)))
    while recorder.view.step != "finished":
        assert time.monotonic() < end + 20.0
        time.sleep(0.01)
    recorder.close()
    assert listed(recorder.desk) == ["recordings/left-tweeter_p1.wav"]
