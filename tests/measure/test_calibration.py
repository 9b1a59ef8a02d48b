"""The microphone's calibration: whatever text comes, it is read or refused with a line."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import minimum_phase

from cabinwright.build.codec import parse
from cabinwright.errors import RecordingError
from cabinwright.measure.calibration import Calibration, parse_calibration, read_calibration, uncovered

from .rig import document


@pytest.mark.parametrize(
    "text",
    [
        "20 -1.5\n1000 0\n20000 2.5",
        "* made in an invented laboratory\nFreq(Hz), SPL(dB)\n\n20.0,-1.5\n1000,0\n2e4,2.5\n",
        "20\t-1.5\t12\r\n1000\t0\t0\r\n20000\t2.5\t-3\r\n",
        "20 -1,5\n1000 0,0\n20000 2,5",
        "20;-1,5\n1000;0\n20000;2,5",
        "20,0;-1,5\n1000,0;0\n20000,0;2,5",
        "20,0;-1,5;0\n1000;0;0\n20000;2,5;1,25",
        "20,0\t-1,5\n1000,0\t0\n20000,0\t2,5",
        "20,0 -1,5\n1000,0 0\n20000,0 2,5",
        "20,0  -1,5  12,5\n1000,0  0  0\n20000,0  2,5  3",
        "20.0, -1.5, 3\n1000.0, 0, 0\n20000, 2.5, 1",
        "20;\t-1.5\n1000;\t0\n20000;\t2.5",
        '"Sens Factor =-1.2dB"\n  20   -1.5\n  1000 0\n  20000 2.5',
    ],
)
def test_usual_ways_of_writing(text: str) -> None:
    got = parse_calibration(text, file="mic.txt")
    assert got.frequency_hz.tolist() == [20.0, 1000.0, 20000.0]
    assert got.level_db.tolist() == [-1.5, 0.0, 2.5]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "at least 2"),
        ("20 1", "at least 2"),
        ("20 1\n20 2", "mic.txt:2: frequencies must rise"),
        ("20 1\n30 loud", "mic.txt:2: frequency and level expected"),
        ("0 1\n30 2", "mic.txt:1: a frequency"),
        ("20 1\n30 999", "mic.txt:2: a level"),
        ("20 1\n30 nan", "mic.txt:2: a level"),
        ("20;;1\n30;;2", "mic.txt:1: frequency and level expected"),
        ("20,0,1,5\n30,0,2,5", "mic.txt:1: frequency and level expected"),
    ],
)
def test_refusals_name_the_line(text: str, words: str) -> None:
    with pytest.raises(RecordingError, match=words):
        parse_calibration(text, file="mic.txt")


@given(st.text(max_size=400) | st.lists(st.text(alphabet="0123456789.,-+;e \t", max_size=20)).map("\n".join))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        got = parse_calibration(text, file="mic.txt")
    except RecordingError as error:
        assert "mic.txt" in str(error)
        return
    assert np.all(np.diff(got.frequency_hz) > 0.0)
    assert np.isfinite(got.level_db).all()


@given(
    st.lists(
        st.tuples(st.floats(1.0, 1e5).map(lambda f: round(f, 2)), st.floats(-59.0, 59.0).map(lambda g: round(g, 2))),
        min_size=2,
        unique_by=lambda row: row[0],
    ),
    st.sampled_from([" ", "\t", ", ", ";"]),
)
def test_what_is_written_is_read(rows: list[tuple[float, float]], between: str) -> None:
    rows = sorted(rows)
    got = parse_calibration("\n".join(f"{f}{between}{g}" for f, g in rows), file="mic.txt")
    assert list(zip(got.frequency_hz, got.level_db, strict=True)) == rows


def test_correction_is_minimum_phase() -> None:
    """Level as asked; phase as SciPy's homomorphic minimum-phase filter of the same level."""
    mic = Calibration(np.array([100.0, 1000.0, 4000.0, 12000.0]), np.array([2.0, 0.0, -3.0, 4.0]))
    size = 8192
    got = mic.correction(size=size, sample_rate_hz=48000.0)
    frequency = np.fft.rfftfreq(size, 1.0 / 48000.0)
    wanted = -np.interp(np.log(np.maximum(frequency, 1.0)), np.log(mic.frequency_hz), mic.level_db)
    assert np.abs(20.0 * np.log10(np.abs(got)) - wanted)[2:].max() < 0.01
    linear = np.roll(np.fft.irfft(10.0 ** (wanted / 20.0)), size // 2)[1:]
    expected = np.fft.rfft(minimum_phase(linear, half=False, n_fft=65536), size)
    inner = (frequency > 200.0) & (frequency < 20000.0)
    assert np.abs(np.angle(got[inner] / expected[inner])).max() < 0.01
    assert np.abs(np.angle(expected[inner])).max() > 0.1


def test_a_comma_alone_parts_columns() -> None:
    got = parse_calibration("20,0,1\n30,2,1\n", file="mic.txt")
    assert (got.frequency_hz.tolist(), got.level_db.tolist()) == ([20.0, 30.0], [0.0, 2.0])


def test_files_that_are_no_calibration(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "mic.txt").write_bytes(b"* 20 \xb0C\n20 1\n30 2\n")  # latin-1
    assert read_calibration(tmp_path, "mic.txt").level_db.tolist() == [1.0, 2.0]
    (tmp_path / "large.txt").write_bytes(b" " * 2_000_001)
    with pytest.raises(RecordingError, match=r"large\.txt: over 2 MB"):
        read_calibration(tmp_path, "large.txt")

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(RecordingError, match=r"mic\.txt: cannot be read \(Permission denied\)"):
        read_calibration(tmp_path, "mic.txt")


@pytest.mark.parametrize("order", ["utf-16-le", "utf-16-be"])
def test_sixteen_bit_text(tmp_path: Path, order: str) -> None:
    text = "20 -1.5\n1000 0\n20000 2.5"
    (tmp_path / "mic.txt").write_bytes(("\ufeff" + text).encode(order))
    assert read_calibration(tmp_path, "mic.txt").level_db.tolist() == [-1.5, 0.0, 2.5]
    (tmp_path / "mic.txt").write_bytes(text.encode(order))
    with pytest.raises(RecordingError, match=r"UTF-16 without a byte-order mark, .* Save it as UTF-8"):
        read_calibration(tmp_path, "mic.txt")
    (tmp_path / "mic.txt").write_bytes(("\ufeff" + text).encode(order) + b"0")
    with pytest.raises(RecordingError, match="damaged UTF-16"):
        read_calibration(tmp_path, "mic.txt")


@pytest.mark.parametrize(
    ("first_hz", "last_hz", "left_out"),
    [
        (20.0, 20000.0, None),
        (34.0, 12000.0, None),  # half a third octave short of what is played
        (100.0, 20000.0, "31.5 to 100 Hz"),
        (20.0, 8000.0, "8000 to 12500 Hz"),
        (900.0, 1000.0, "31.5 to 900 Hz and 1000 to 12500 Hz"),
    ],
)
def test_what_a_calibration_leaves_out(first_hz: float, last_hz: float, left_out: str | None) -> None:
    build = parse(document("loopback"))
    calibration = Calibration(np.array([first_hz, last_hz]), np.zeros(2))
    assert [item.limit for item in uncovered(build, calibration, file="mic.txt")] == ([left_out] if left_out else [])
