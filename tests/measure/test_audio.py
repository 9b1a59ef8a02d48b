"""Files from strangers: read when sound, refused with file and cure when not."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from cabinwright.errors import RecordingError
from cabinwright.measure import audio
from cabinwright.measure.audio import read_audio, resample

TONE = 0.5 * np.sin(2.0 * np.pi * 997.0 * np.arange(9600) / 48000)


def write(path: Path, *, subtype: str = "PCM_24", rate: int = 48000, data: np.ndarray = TONE) -> Path:
    soundfile.write(path, data, rate, subtype=subtype)
    return path


@pytest.mark.parametrize(
    ("name", "subtype", "step"),
    [("a.wav", "PCM_16", 2.0**-15), ("a.wav", "PCM_24", 2.0**-23), ("a.wav", "PCM_32", 2.0**-23),
     ("a.wav", "FLOAT", 2.0**-23), ("a.wav", "DOUBLE", 2.0**-23), ("a.flac", "PCM_16", 2.0**-15),
     ("a.flac", "PCM_24", 2.0**-23)],
)  # fmt: skip
def test_every_promised_format(tmp_path: Path, name: str, subtype: str, step: float) -> None:
    write(tmp_path / name, subtype=subtype)
    got = read_audio(tmp_path, name)
    assert got.samples.shape == (9600, 1)
    assert np.abs(got.samples[:, 0] - TONE).max() <= step
    assert got.step == step


@pytest.mark.parametrize("rate", [44100, 88200, 96000, 192000])
def test_resampling_keeps_level_and_time(rate: int) -> None:
    """Against the tone evaluated at 48 kHz: an error of a tenth of a sample would show."""
    samples = (0.5 * np.sin(2.0 * np.pi * 997.0 * np.arange(rate // 5) / rate)).astype(np.float32)
    got = resample(samples, from_hz=rate, to_hz=48000)
    inner = slice(2000, 7600)
    assert np.abs(got[inner] - TONE[inner]).max() < 1e-5
    late = 0.5 * np.sin(2.0 * np.pi * 997.0 * (np.arange(9600) + 0.1) / 48000)
    assert np.abs(got[inner] - late[inner]).max() > 1e-3


def cut_short(path: Path) -> None:
    path.write_bytes(write(path).read_bytes()[:-3000])


def cut_flac(path: Path) -> None:
    content = write(path.with_suffix(".flac")).read_bytes()
    path.with_suffix(".flac").unlink()
    path.write_bytes(content[: len(content) // 2])


def with_nan(path: Path) -> None:
    data = TONE.copy()
    data[100] = np.nan
    write(path, subtype="DOUBLE", data=data)


BROKEN = [
    (lambda path: path.write_bytes(b""), "is empty"),
    (lambda path: path.write_bytes(b"RIFF\x00\x00\x00\x00WAVE"), "cannot be read as audio"),
    (lambda path: path.write_bytes(b"this is a shopping list"), "cannot be read as audio"),
    (lambda path: path.mkdir(), "is not a file"),
    (lambda path: None, "no such file"),
    (cut_short, "cut short"),
    (cut_flac, r"cannot be read as audio|cut short"),
    (with_nan, "not numbers"),
    (lambda path: write(path, data=np.zeros((0,))), "holds no samples"),
    (lambda path: write(path, data=np.zeros((100, 9))), "9 channels"),
    (lambda path: write(path, subtype="PCM_U8"), "samples are not read"),
    (lambda path: write(path, rate=4000), "4000 Hz"),
    (lambda path: soundfile.write(path, TONE, 48000, format="AIFF"), "AIFF is not read"),
]


@pytest.mark.parametrize(("make", "words"), BROKEN)
def test_what_cannot_be_used_says_file_and_cure(tmp_path: Path, make: object, words: str) -> None:
    make(tmp_path / "a.wav")  # type: ignore[operator]
    with pytest.raises(RecordingError, match=words) as caught:
        read_audio(tmp_path, "a.wav")
    assert "a.wav" in str(caught.value)
    assert str(caught.value).rstrip().endswith(".")


def test_limits_are_checked_before_reading(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write(tmp_path / "a.wav")
    monkeypatch.setattr(audio, "LIMIT_S", 0.1)
    with pytest.raises(RecordingError, match="at most 0 s"):
        read_audio(tmp_path, "a.wav")
    monkeypatch.setattr(audio, "LIMIT_S", 180.0)
    write(tmp_path / "b.wav", data=np.zeros((9600, 8)))
    monkeypatch.setattr(audio, "LIMIT_SAMPLES", 70_000)
    with pytest.raises(RecordingError, match="million samples"):
        read_audio(tmp_path, "b.wav")
    with (tmp_path / "huge.wav").open("wb") as file:
        file.truncate(3_000_000_000)  # sparse: no room is taken
    with pytest.raises(RecordingError, match="3000 MB"):
        read_audio(tmp_path, "huge.wav")


def test_a_path_cannot_leave_the_folder(tmp_path: Path) -> None:
    inner = tmp_path / "build"
    inner.mkdir()
    write(tmp_path / "a.wav")
    with pytest.raises(RecordingError, match="leads out of the build folder"):
        read_audio(inner, "../a.wav")
    try:
        (inner / "link.wav").symlink_to(tmp_path / "a.wav")
    except OSError:
        pytest.skip("this system lets nobody make symbolic links")
    with pytest.raises(RecordingError, match="leads out of the build folder"):
        read_audio(inner, "link.wav")


def test_three_minutes_are_enough(tmp_path: Path) -> None:
    write(tmp_path / "a.wav", rate=8000, subtype="PCM_16", data=np.zeros(8000 * 181))
    with pytest.raises(RecordingError, match="181 s long, at most 180 s are read"):
        read_audio(tmp_path, "a.wav")
