"""A track through responses, against SciPy in one piece and pyloudnorm; hostile files; blind comparisons and what is kept."""

from __future__ import annotations

import json
import os
import sys
import tracemalloc
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pyloudnorm
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.signal import fftconvolve, resample

from cabinwright.errors import OutputError, RecordingError, RefusedError
from cabinwright.measure.listening import (
    Blind,
    Rendered,
    Trial,
    open_track,
    read_trials,
    render,
    seconds_of,
    told_aim,
    told_result,
)

RATE = 48_000
Real = NDArray[np.float64]
NOW = datetime(2026, 5, 4, 12, 0, tzinfo=UTC)


def sound(folder: Path, name: str, samples: Any, rate: int = RATE, **more: Any) -> str:
    file = folder / name
    soundfile.write(file, samples, rate, **more)
    return str(file)


def noise(frames: int, *, level: float = 0.05, seed: int = 4) -> Real:
    return level * np.random.default_rng(seed).normal(size=(frames, 2))


def responses(size: int = 6000) -> dict[str, Real]:
    rng, fall = np.random.default_rng(5), np.exp(-np.arange(size) / 800.0)
    return {"before": 0.1 * rng.normal(size=(2, 2, size)) * fall, "after": 0.4 * rng.normal(size=(2, 2, size)) * fall}


def through(
    folder: Path, track: str, given: Mapping[str, Real], *, form: Any = "wav", **part: Any
) -> tuple[Rendered, dict[str, Real]]:
    """Written, and read back."""
    files = {name: folder / "out" / f"{name}.{form}" for name in given}
    made = render(
        open_track(track, **part), given, files, sample_rate_hz=RATE, form=form, progress=lambda what, share: None
    )
    assert {path.name for path in (folder / "out").iterdir()} == {file.name for file in files.values()}, "left behind"
    return made, {name: soundfile.read(file)[0] for name, file in files.items()}


@pytest.mark.parametrize("form", ["wav", "flac"])
def test_blocks_give_what_the_whole_gives(tmp_path: Path, form: str) -> None:
    signal, given = noise(3 * RATE), responses()
    made, heard = through(tmp_path, sound(tmp_path, "a.wav", signal, subtype="FLOAT"), given, form=form)
    meter = pyloudnorm.Meter(RATE, filter_class="DeMan")  # ITU-R BS.1770-4
    for item in made.versions:
        kernel = given[item.version]
        whole = np.stack([sum(fftconvolve(signal[:, i], kernel[i, o]) for i in range(2)) for o in range(2)], axis=1)
        got = heard[item.version]
        wanted = whole * 10.0 ** (item.gain_db / 20.0)
        assert np.abs(got[: len(wanted)] - wanted).max() < 2e-7  # a step of 24 bits is 1.2e-7
        assert np.abs(got[len(wanted) :]).max(initial=0.0) < 2e-7
        assert meter.integrated_loudness(got) == pytest.approx(item.loudness_lufs, abs=0.02)
    assert made.versions[0].loudness_lufs == pytest.approx(made.versions[1].loudness_lufs, abs=1e-9)
    assert made.track_lufs == pytest.approx(meter.integrated_loudness(signal), abs=0.02)
    assert made.versions[0].loudness_lufs == pytest.approx(made.track_lufs, abs=1e-9), "there was room"
    assert len({len(item) for item in heard.values()}) == 1, "or they would run apart when repeated"


def test_never_louder_than_it_was_and_never_over_the_peak(tmp_path: Path) -> None:
    low = np.fft.rfft(noise(2 * RATE, level=0.3), axis=0)
    low[2 * 20_000 :] = 0.0  # as recordings are: nothing above 20 kHz
    spiky = np.fft.irfft(low, axis=0)
    given = {"ringing": responses()["before"], "plain": np.eye(2)[:, :, None] * np.ones(1)}
    made, heard = through(tmp_path, sound(tmp_path, "a.wav", spiky), given)
    assert made.versions[0].loudness_lufs == pytest.approx(made.versions[1].loudness_lufs, abs=1e-9)
    assert all(item.loudness_lufs <= made.track_lufs + 1e-9 for item in made.versions)
    for item in made.versions:
        # Band-limited in one piece, four times as dense (SciPy): what a converter would reach.
        peak = np.abs(resample(heard[item.version], 4 * len(heard[item.version]))).max()
        assert 20.0 * np.log10(peak) == pytest.approx(item.true_peak_db, abs=0.1)
        assert item.true_peak_db <= -1.0 + 1e-6
    loudest = max(item.true_peak_db for item in made.versions)
    assert loudest == pytest.approx(-1.0, abs=1e-6), "the peak is what limits here"


def test_part_of_a_track_at_another_rate(tmp_path: Path) -> None:
    time = np.arange(4 * 44_100) / 44_100
    tones = np.where(time < 2.0, np.sin(2.0 * np.pi * 500.0 * time), np.sin(2.0 * np.pi * 1000.0 * time))
    flat = {name: np.eye(2)[:, :, None] * np.ones(1) for name in ("one", "two")}
    made, heard = through(tmp_path, sound(tmp_path, "m.flac", 0.1 * tones, 44_100), flat, start_s=2.0, length_s=1.5)
    assert made.seconds == 1.5
    got = heard["one"][: round(1.5 * RATE)]
    assert np.array_equal(got[:, 0], got[:, 1]), "mono is the same in both ears"
    spectrum = np.abs(np.fft.rfft(got[:, 0] * np.hanning(len(got))))
    assert np.argmax(spectrum) * RATE / len(got) == pytest.approx(1000.0, abs=1.0)
    assert np.sqrt(np.mean(got[4000:-4000] ** 2)) == pytest.approx(0.1 / np.sqrt(2.0), rel=2e-3)


def test_a_long_track_takes_no_more_memory(tmp_path: Path) -> None:
    given, most = responses(2000), []
    for seconds in (4, 16):
        track = sound(tmp_path, f"{seconds}.wav", noise(seconds * RATE))
        tracemalloc.start()
        files = {name: tmp_path / f"{name}.flac" for name in given}
        render(open_track(track), given, files, sample_rate_hz=RATE, form="flac", progress=lambda what, share: None)
        most.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert most[1] < most[0] + 1_000_000, most
    assert most[1] < 2 * 16 * RATE * 8, "less than the track alone, once"


def bad_files(folder: Path) -> dict[str, tuple[str, str]]:
    plain = noise(2 * RATE)
    lost = plain.copy()
    lost[70_000, 1] = np.nan
    (folder / "text.wav").write_text("no sound at all", encoding="utf-8")
    (folder / "empty.flac").write_bytes(b"")
    whole = Path(sound(folder, "whole.wav", plain)).read_bytes()
    (folder / "cut.wav").write_bytes(whole[: len(whole) // 2])
    packed = Path(sound(folder, "whole.flac", plain)).read_bytes()
    (folder / "cut.flac").write_bytes(packed[: len(packed) // 2])
    return {
        "text": (str(folder / "text.wav"), "cannot be read as audio"),
        "empty": (str(folder / "empty.flac"), "cannot be read as audio"),
        "cut": (str(folder / "cut.wav"), "cut short"),
        "packed": (str(folder / "cut.flac"), "cannot be read on|cut short"),
        "nothing in it": (sound(folder, "zero.wav", np.zeros((0, 2))), "more than 0"),
        "channels": (sound(folder, "eight.wav", np.zeros((RATE, 8))), "8 channels, one or two"),
        "no number": (sound(folder, "nan.wav", lost, subtype="FLOAT"), "not numbers"),
        "huge": (sound(folder, "huge.wav", 1e30 * plain, subtype="DOUBLE"), "times full scale"),
        "silent": (sound(folder, "silent.wav", np.zeros((2 * RATE, 2))), "silent, or too quiet"),
        "short": (sound(folder, "short.wav", plain[:900]), "at least 1 s"),
        "slow": (sound(folder, "slow.wav", plain, 4000), "8 to 384 kHz"),
        "other": (sound(folder, "other.ogg", plain), "is not read"),
        "folder": (str(folder), "no plain file"),
        "absent": (str(folder / "absent.wav"), "no such file"),
    }


def test_files_that_cannot_be_heard_are_named_with_the_cure(tmp_path: Path) -> None:
    given = responses(200)
    files = {name: tmp_path / "out" / f"{name}.wav" for name in given}
    files["after"].parent.mkdir()
    files["after"].write_bytes(b"earlier")
    for case, (track, words) in bad_files(tmp_path).items():
        with pytest.raises(RecordingError, match=words) as caught:
            render(open_track(track), given, files, sample_rate_hz=RATE, form="wav", progress=lambda what, share: None)
        assert Path(track).name in str(caught.value), case
        assert [path.name for path in files["after"].parent.iterdir()] == ["after.wav"], case
    assert files["after"].read_bytes() == b"earlier"


def test_a_part_that_is_not_there(tmp_path: Path) -> None:
    track = sound(tmp_path, "a.wav", noise(2 * RATE))
    for part in ({"start_s": 1.5}, {"start_s": -1.0}, {"start_s": float("nan")}, {"length_s": 0.0}, {"length_s": 1e9}):
        with pytest.raises(RecordingError, match=r"a\.wav: .* s"):
            open_track(track, **part)


def test_an_interruption_and_a_full_disk_leave_what_was_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    given, track = responses(200), sound(tmp_path, "a.wav", noise(2 * RATE))
    files = {name: tmp_path / "out" / f"{name}.wav" for name in given}
    through(tmp_path, track, given)
    before = {name: file.read_bytes() for name, file in files.items()}

    def stop(what: str, share: float) -> None:
        raise KeyboardInterrupt

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with pytest.raises(KeyboardInterrupt):
        render(open_track(track), given, files, sample_rate_hz=RATE, form="wav", progress=stop)
    monkeypatch.setattr(sys.modules["cabinwright.measure.listening.render"], "_written", full)
    with pytest.raises(OutputError, match="the disk is full"):
        render(open_track(track), given, files, sample_rate_hz=RATE, form="wav", progress=lambda what, share: None)
    assert {name: file.read_bytes() for name, file in files.items()} == before
    assert len(list(files["after"].parent.iterdir())) == 2


def test_what_a_killed_run_left_is_taken_away(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    old, running = (tmp_path / "out" / f".{name}.wav.1.raw" for name in ("x", "y"))
    for left in (old, running):
        left.write_bytes(b"raw")
    hours_ago = old.stat().st_mtime - 7200.0
    os.utime(old, (hours_ago, hours_ago))
    given = {"one": responses(200)["after"]}
    files = {"one": tmp_path / "out" / "one.wav"}
    track = open_track(sound(tmp_path, "a.wav", noise(RATE)))
    render(track, given, files, sample_rate_hz=RATE, form="wav", progress=lambda what, share: None)
    assert {path.name for path in (tmp_path / "out").iterdir()} == {"one.wav", running.name}


@settings(max_examples=60)
@given(st.text(max_size=12))
def test_whatever_is_typed_as_a_time(text: str) -> None:
    try:
        seconds = seconds_of(text)
    except ValueError:
        return
    assert 0.0 <= seconds < float("inf")


def test_times() -> None:
    assert [seconds_of(text) for text in ("75", "1:15", "0:01:15", "1.5")] == [75.0, 75.0, 75.0, 1.5]
    for text in ("", "a", "1:2:3:4", "-3", "nan", "inf", "1:-2"):
        with pytest.raises(ValueError, match=r"time|float"):
            seconds_of(text)


# Blind comparisons


def coins(*sides: int) -> Any:
    thrown = iter(sides)
    return lambda number: next(thrown)


def test_the_lot_hides_which_is_which() -> None:
    blind = Blind("tell apart", ("before", "after"), 6, draw=coins(1, 0, 1, 0, 0, 1, 0))
    assert (blind.plays("A"), blind.plays("B")) == ("after", "before"), "turned by the first throw, for the whole test"
    for number, hidden in enumerate((0, 1, 0, 0, 1, 0)):
        assert blind.plays("X") == ("after", "before")[hidden]
        assert not blind.done
        with pytest.raises(RefusedError, match=f"{number} of 6 trials"):
            blind.result()
        blind.answer("AB"[hidden] if number else "B")
    assert blind.answers == [False, True, True, True, True, True]
    assert blind.done
    with pytest.raises(RefusedError, match="every trial"):
        blind.answer("A")


def test_a_preference_changes_places_from_trial_to_trial() -> None:
    blind = Blind("prefer", ("before", "after"), 6, draw=coins(*[0, 0, 0] + [1, 0] * 6))
    places = []
    for _ in range(6):
        places.append(blind.plays("A"))
        blind.answer("A" if blind.plays("A") == "after" else "B")
    assert places == ["before", "after", "after", "after", "after", "after"]
    assert blind.answers == [True] * 6
    # Two-sided binomial: six of six comes 2/64 of the time by chance.
    assert "6 of 6 for after, 0 for before" in told_result(blind) and "3.1 %" in told_result(blind)
    assert "prefers after" in told_result(blind)


def test_the_lot_is_fair() -> None:
    blind = Blind("tell apart", ("a", "b"), 100)
    drawn = []
    for _ in range(100):
        drawn.append(blind.plays("X"))
        blind.answer("A")
    assert 20 < drawn.count("a") < 80, "a fair coin does worse once in a billion times"


def test_the_words_claim_no_more_than_chance_allows() -> None:
    # Binomial tables: 12 of 16 is the least under one in twenty (0.038); 11 of 16 comes in 0.105.
    assert "At least 12 of 16" in told_aim("tell apart", 16)
    assert "13 of 16" in told_aim("prefer", 16)
    for right, words in ((12, "tells the two apart"), (11, "does not show that there is none")):
        blind = Blind("tell apart", ("before", "after"), 16)
        for number in range(16):
            hit = "A" if blind.plays("A") == blind.plays("X") else "B"
            blind.answer(hit if number < right else "AB".replace(hit, ""))
        assert words in told_result(blind)
        assert f"{right} of 16 right" in told_result(blind)


@pytest.mark.parametrize(
    ("kind", "versions", "trials"),
    [("guess", ("a", "b"), 16), ("prefer", ("a", "a"), 16), ("prefer", ("a", "b"), 5), ("prefer", ("a", "b"), 101)],
)
def test_a_comparison_that_is_none(kind: str, versions: tuple[str, str], trials: int) -> None:
    with pytest.raises(RefusedError, match="a blind comparison is"):
        Blind(kind, versions, trials)


def test_every_comparison_is_kept_the_broken_off_too(tmp_path: Path) -> None:
    file = tmp_path / "listening" / "blind.json"
    about = {"track": "voice", "seat": "driver"}
    first = Trial(Blind("tell apart", ("before", "after"), 6), file, about=about, now=NOW)
    first.answer("A")
    second = Trial(Blind("prefer", ("before", "after"), 6), file, about=about, now=NOW + timedelta(minutes=1))
    for _ in range(6):
        second.answer("A" if second.blind.plays("A") == "after" else "B")
    broken, whole = read_trials(file)
    assert broken["result"] == "Not finished: 1 of 6 answered. It shows nothing."
    assert "right" not in broken and broken["answered"] == 1
    assert (whole["right"], whole["trials"], whole["p"]) == (6, 6, pytest.approx(2 / 64))
    assert whole["result"] == second.words == told_result(second.blind)
    file.write_text("{", encoding="utf-8")
    with pytest.raises(RefusedError, match=r"blind\.json: cannot be read"):
        Trial(Blind("prefer", ("before", "after"), 6), file, about=about, now=NOW)
    assert file.read_text(encoding="utf-8") == "{"
    file.write_text(json.dumps({"comparisons": [1]}), encoding="utf-8")
    with pytest.raises(RefusedError, match="Move it away"):
        read_trials(file)
