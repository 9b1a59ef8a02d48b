"""The measurement signal: what is written, and that sweep and markers stay apart."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
import soundfile

from cabinwright.build.codec import parse
from cabinwright.files import write_all
from cabinwright.measure.signal import make_sweep, sweep_files

from .rig import document

BARE = 'schema = 1\ntitle = "bare"\n[vehicle]\nname = "invented"\ndriving_side = "left"\n'


def test_a_build_without_a_processor_gets_48_khz_loopback() -> None:
    signal = make_sweep(parse(BARE))
    assert (signal.sample_rate_hz, signal.timing, signal.markers) == (48000, "loopback", None)
    samples = signal.samples()
    assert np.array_equal(samples[:, 0], samples[:, 1])
    assert 20.0 * np.log10(np.abs(samples).max()) == pytest.approx(-12.0, abs=0.01)


def test_the_file_is_what_the_signal_says(tmp_path: Path) -> None:
    build = parse(document("marker"))
    signal = make_sweep(build)
    write_all(tmp_path, sweep_files(build))
    info = soundfile.info(tmp_path / "sweep.wav")
    assert (info.samplerate, info.channels, info.subtype) == (48000, 2, "PCM_24")
    samples, _ = soundfile.read(tmp_path / "sweep.wav", always_2d=True)
    assert np.abs(samples - signal.samples()).max() <= 2.0**-23
    first = (tmp_path / "sweep.wav").read_bytes()
    write_all(tmp_path, sweep_files(build))
    assert (tmp_path / "sweep.wav").read_bytes() == first
    assert sorted(path.name for path in tmp_path.iterdir()) == ["sweep.html", "sweep.wav"]


def test_markers_never_overlap_the_sweep_with_half_a_second_of_room() -> None:
    samples = make_sweep(parse(document("marker"))).samples()
    sweep = np.flatnonzero(samples[:, 0])
    marks = np.flatnonzero(samples[:, 1])
    before, after = marks[marks < sweep[0]], marks[marks > sweep[-1]]
    assert len(before) + len(after) == len(marks)
    assert sweep[0] - before[-1] > 0.5 * 48000
    assert after[0] - sweep[-1] > 0.5 * 48000
    assert len(samples) - after[-1] > 0.5 * 48000


def test_markers_spare_tweeters() -> None:
    """Nothing to speak of below 1.5 kHz, and half the sweep's level."""
    samples = make_sweep(parse(document("marker"))).samples()
    power = np.abs(np.fft.rfft(samples[:, 1])) ** 2
    frequency = np.fft.rfftfreq(len(samples), 1.0 / 48000)
    assert power[frequency < 1500.0].sum() < 1e-3 * power.sum()
    assert np.abs(samples[:, 1]).max() < 0.51 * np.abs(samples[:, 0]).max()


def test_markers_go_to_the_far_tweeter_or_the_one_named() -> None:
    signal = make_sweep(parse(document("marker")))
    assert signal.markers is not None
    assert signal.markers.channel == "left tweeter"
    named = make_sweep(parse(document("marker", tail='marker_channel = "right midbass"')))
    assert named.markers is not None
    assert named.markers.channel == "right midbass"
    assert named.markers.first.end_hz < signal.markers.first.end_hz


def test_settings_are_followed() -> None:
    text = document("loopback", sweep_s=4.0) + '\nlevel_db = -20\nlow_hz = 30\nhigh_hz = "16 kHz"\n'
    signal = make_sweep(parse(text))
    assert (signal.sweep.length_s, signal.sweep.low_hz, signal.sweep.high_hz) == (4.0, 30.0, 16000.0)
    assert 20.0 * np.log10(signal.level) == pytest.approx(-20.0)


def test_the_file_can_be_read_from_memory() -> None:
    held = io.BytesIO(bytes(sweep_files(parse(BARE))["sweep.wav"]))  # type: ignore[arg-type]
    assert soundfile.info(held).duration == pytest.approx(make_sweep(parse(BARE)).length_s, abs=1e-4)
