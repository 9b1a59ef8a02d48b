"""Impedance sweeps as people and instruments write them, and files that are none."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinwright.build.codec import parse
from cabinwright.errors import RecordingError
from cabinwright.measure.impedance import LIMIT_BYTES, parse_sweep, read_sweeps
from stages.boxed import HEAD, MODEL

TABLE = '[[impedance_curves]]\nmodel = "ten"\nfile = "free.csv"\n'


@pytest.mark.parametrize(
    "text",
    [
        "Frequency Impedance Phase\n20 5.5 30\n40.5 12.25 -20\n",
        "* made by nobody\n20;5.5;30\n40.5;12.25;-20\n",
        "20;5,5;30\n40,5;12,25;-20\n",
        "20,5.5,30\n40.5,12.25,-20\n",
        "20\t5,5\t30\r\n40,5\t12,25\t-20\r\n",
        "40.5, 12.25, -20\n\n20, 5.5, 30\n",
        '"Frequency (Hz)","Impedance (ohm)","Phase (deg)"\n"20.0","5.5","30"\n"40.5","12.25","-20"\n',
        "f [kHz],Z [ohm],phase [deg]\n0.020,5.5,30\n0.0405,12.25,-20\n",
        "f/Hz;Z/Ω;φ/rad\n20;5,5;0,5235988\n40,5;12,25;-0,3490659\n",
        "* impedance, calibrated at 1 kHz, -20 dBFS\n20 5.5 30\n40.5 12.25 -20\n",
        "Freq Z Phase Coherence\n20 5.5 30 0.98\n40.5 12.25 -20 0.97\n",
    ],
)
def test_the_same_sweep_however_it_is_written(text: str) -> None:
    sweep = parse_sweep(text, file="x")
    assert sweep.frequency_hz.tolist() == pytest.approx([20.0, 40.5])
    assert sweep.magnitude_ohm.tolist() == [5.5, 12.25]
    assert sweep.phase_rad is not None
    assert np.degrees(sweep.phase_rad) == pytest.approx([30.0, -20.0])


def test_phase_may_be_absent_and_high_frequencies_are_left_out() -> None:
    sweep = parse_sweep("20 5\n200 6\n5000 20\n", file="x", added_mass_kg=0.03)
    assert sweep.phase_rad is None
    assert sweep.frequency_hz.tolist() == [20.0, 200.0]
    assert sweep.added_mass_kg == 0.03


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "no line of frequency"),
        ("20 5 10\n30 6\n", "some lines have a phase"),
        ("20 -5\n", "line 1: frequency above 0"),
        ("20 nan\n", "two or three numbers"),
        ("20 x\n", "numbers are wanted"),
        ("0 5\n", "frequency above 0"),
        ("20\n", "two or three numbers"),
        ("Hz,dB\n20,15.2\n", "line 2: the heading says decibels"),
        ("Frequency (Hz), Magnitude (dB re 1 ohm)\n20,15.2\n", "the heading says decibels"),
        ("Frequency [Hz] Phase [deg] Impedance [ohm]\n20 30 5.5\n", "in the order frequency, phase, magnitude"),
        ("f,Z\n20,5,10,1\n", "commas part both columns and decimals"),
        ("20 5\n" * 20_001, "more than 20000 points"),
    ],
)
def test_what_is_no_sweep_says_where_and_why(text: str, words: str) -> None:
    with pytest.raises(RecordingError, match=words):
        parse_sweep(text, file="x")


@given(st.text(max_size=200))
def test_any_text_is_a_sweep_or_a_recording_error(text: str) -> None:
    try:
        sweep = parse_sweep(text, file="x")
    except RecordingError:
        return
    assert np.all(np.isfinite(sweep.magnitude_ohm)) and np.all(sweep.magnitude_ohm > 0.0)


def test_an_unreadable_file_is_a_finding_and_the_rest_is_read(tmp_path: Path) -> None:
    (tmp_path / "free.csv").write_text("20 5\n30 6\n", encoding="utf-8")
    build = parse(HEAD + MODEL + TABLE + TABLE.replace("free.csv", "gone.csv"))
    sweeps, findings = read_sweeps(build, tmp_path)
    assert len(sweeps["ten"]) == 1
    assert [item.code for item in findings] == ["enclosure.curve_unread"]
    assert "gone.csv" in findings[0].message


@pytest.mark.parametrize("content", [b"20 5\n" * (LIMIT_BYTES // 5 + 1), b"\x00\x01\x02", "20 5\n".encode("utf-16")])
def test_no_plain_text_of_sensible_size(content: bytes, tmp_path: Path) -> None:
    (tmp_path / "free.csv").write_bytes(content)
    sweeps, findings = read_sweeps(parse(HEAD + MODEL + TABLE), tmp_path)
    assert sweeps == {} and len(findings) == 1
