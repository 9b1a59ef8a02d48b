"""Programmes of sources: measured from files, against pyloudnorm; bad files are findings."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyloudnorm
import pytest
import soundfile

from cabinwright.measure.programme import read_programmes
from stages.chains import chained


def written(folder: Path, name: str, data: np.ndarray, rate: int = 44_100) -> None:
    soundfile.write(folder / name, data, rate, subtype="PCM_24")


def test_measured_from_a_file(tmp_path: Path) -> None:
    rng = np.random.default_rng(4)
    data = 0.1 * rng.standard_normal((44_100 * 12, 2))
    written(tmp_path, "music.wav", data)
    build = chained(replace=(("loudness_lufs = -14\n", 'programme = "music.wav"\n'),))
    found, doubts = read_programmes(build, tmp_path)
    wanted = pyloudnorm.Meter(44_100, filter_class="DeMan").integrated_loudness(data)
    assert found == {"phone": pytest.approx(wanted, abs=0.01)}
    assert not doubts


@pytest.mark.parametrize(
    ("make", "code", "words"),
    [
        (lambda folder: None, "signal.programme_unusable", "no such file"),
        (lambda folder: (folder / "music.wav").write_bytes(b"RIFF"), "signal.programme_unusable", "music.wav"),
        (lambda folder: written(folder, "music.wav", np.zeros((44_100, 2))), "signal.programme_unusable", "silent"),
        (lambda folder: written(folder, "music.wav", np.ones(800)), "signal.programme_unusable", "0.02 s"),
        (lambda folder: written(folder, "music.wav", np.zeros((44_100, 3))), "signal.programme_unusable", "3 channels"),
        (
            lambda folder: written(folder, "music.wav", 0.1 * np.sin(np.arange(44_100))),
            "signal.programme_short",
            "1.0 s",
        ),
    ],
)
def test_bad_files_are_findings(tmp_path: Path, make: object, code: str, words: str) -> None:
    make(tmp_path)  # type: ignore[operator]
    build = chained(replace=(("loudness_lufs = -14\n", 'programme = "music.wav"\n'),))
    found, doubts = read_programmes(build, tmp_path)
    assert [item.code for item in doubts] == [code]
    assert words in doubts[0].message
    assert doubts[0].where == "phone"
    assert bool(found) == (code == "signal.programme_short")
