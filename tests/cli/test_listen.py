"""``cabinwright listen`` as it is typed: on the demo, on what is odd, and broken off."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pyloudnorm
import pytest
import soundfile

from cabinwright.cli.main import main
from cli.test_interrupted import SCRIPT

DEMO = Path(__file__).parents[2] / "demo" / "build"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("listen") / "car"
    shutil.copytree(DEMO, made)
    (made / "out").mkdir(exist_ok=True)
    shutil.copyfile(made / "verification" / "loaded_settings.json", made / "out" / "settings.json")
    return made


def test_before_after_and_a_candidate(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    options = ["--place", "left pillar", "--form", "wav", "--length", "0:02"]
    assert main(["listen", str(folder), "noise", *options]) == 0
    told = capsys.readouterr().out
    for words in (
        "driver",
        "before, by tape",
        "after",
        "left pillar and right pillar",
        "What headphones cannot",
        "turned down",
    ):
        assert words in told, words
    files = sorted((folder / "out" / "listening").glob("noise-*.wav"))
    assert len(files) == 3
    heard = [soundfile.read(file)[0] for file in files]
    assert len({item.shape for item in heard}) == 1
    meter = pyloudnorm.Meter(48_000, filter_class="DeMan")
    levels = [meter.integrated_loudness(item) for item in heard]
    assert max(levels) - min(levels) < 0.05
    assert not np.allclose(heard[0], heard[1], atol=1e-3)
    # On one time line, or switching would jump: by the phase alone (Knapp & Carter 1976), within half a millisecond.
    for item in heard[1:]:
        cross = np.fft.rfft(heard[0].sum(axis=1)) * np.conj(np.fft.rfft(item.sum(axis=1)))
        alike = np.fft.irfft(cross / np.maximum(np.abs(cross), 1e-12))
        lag = int(np.argmax(np.abs(alike)))
        assert min(lag, len(alike) - lag) <= 24


@pytest.mark.parametrize(
    ("words", "cure"),
    [
        (["noise", "--seat", "roof"], "There are: driver, passenger"),
        (["noise", "--place", "boot"], '"boot" is no place'),
        (["absent.wav"], "no such file"),
        (["noise", "--start", "1:00"], "Begin earlier"),
    ],
)
def test_what_is_refused_says_why(
    folder: Path, capsys: pytest.CaptureFixture[str], words: list[str], cure: str
) -> None:
    before = {path: path.stat().st_mtime_ns for path in folder.rglob("*")}
    assert main(["listen", str(folder), *words]) == 2
    assert cure in capsys.readouterr().err
    assert {path: path.stat().st_mtime_ns for path in folder.rglob("*")} == before


def test_a_time_that_is_none(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="2"):
        main(["listen", str(folder), "noise", "--start", "soon"])
    assert "1:15" in capsys.readouterr().err


def test_a_build_without_recordings_or_tune(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["new", str(tmp_path / "new")]) == 0
    assert main(["listen", str(tmp_path / "new"), "voice"]) == 2
    assert "Record first, or name two places" in capsys.readouterr().err
    untuned = tmp_path / "untuned"
    untuned.mkdir()
    shutil.copyfile(folder / "build.toml", untuned / "build.toml")
    assert main(["listen", str(untuned), "voice"]) == 2
    assert "tune" in capsys.readouterr().err


@pytest.mark.skipif(os.name == "nt", reason="a single process cannot be sent Ctrl-C there")
def test_interrupting_leaves_what_was_there(folder: Path) -> None:
    place = folder / "out" / "listening"
    place.mkdir(exist_ok=True)
    (place / "mine-1-before-by-tape.flac").write_bytes(b"earlier")
    track = folder / "mine.wav"
    with soundfile.SoundFile(track, "w", 48_000, 2) as out:
        second = 0.05 * np.random.default_rng(1).normal(size=(48_000, 2))
        for _ in range(200):
            out.write(second)
    before = {path: path.stat().st_mtime_ns for path in place.rglob("*")}
    process = subprocess.Popen(
        [sys.executable, "-c", SCRIPT, "listen", str(folder), str(track)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, encoding="utf-8",
    )  # fmt: skip
    with process:
        assert process.stderr is not None
        assert any("listening through the car" in line for line in process.stderr)
        process.send_signal(signal.SIGINT)
        err = process.stderr.read()
    assert process.returncode == 130, err
    assert "interrupted" in err and "Traceback" not in err
    assert {path: path.stat().st_mtime_ns for path in place.rglob("*")} == before
