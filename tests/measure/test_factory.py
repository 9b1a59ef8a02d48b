"""Captures of an invented radio, read back: SciPy says what its outputs do, the recorder's clock is off and starts anywhere."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
import soundfile

from build.samples import MINIMAL
from cabinwright.build.codec import parse
from cabinwright.measure.factory import read_factory
from cabinwright.measure.factory_signal import LADDER_DB, factory_files, make_factory_signal
from measure.radio import Output, Radio, butter, capture, capture_all, linkwitz_riley, peaking, response

RADIO = Radio(
    (
        Output("left low", 1, 0, [linkwitz_riley(4, 2500, "low"), butter(2, 40, "high")]),
        Output("right high", 0, 1, [linkwitz_riley(4, 2500, "high"), peaking(6000, -4, 2)], 0.00523, -1.0),
    )
)


def silent(what: str, share: float) -> None:
    """Progress that nobody looks at."""


def test_the_file_holds_what_the_page_says() -> None:
    signal = make_factory_signal(parse(MINIMAL.encode()))
    wave = signal.samples()
    for part in signal.segments:
        first = round(part.start_s * signal.sample_rate_hz)
        peaks = np.abs(wave[first : first + round(part.sweep.length_s * signal.sample_rate_hz)]).max(axis=0)
        wanted = 10 ** (part.level_db / 20) * np.array([part.left, part.right])
        np.testing.assert_allclose(peaks, wanted, atol=1e-3 * part.level)
    assert tuple(part.level_db for part in signal.ladder) == LADDER_DB
    assert tuple((part.left, part.right) for part in signal.left_ladder) == ((1.0, 0.0),) * 3
    assert tuple((part.left, part.right) for part in signal.right_ladder) == ((0.0, 1.0),) * 3
    page = str(factory_files(parse(MINIMAL.encode()))["factory-signal.html"])
    assert "neither is ground" in page
    assert "Disconnect the loudspeakers" in page


def test_transfers_on_one_time_whatever_the_clocks(tmp_path: Path) -> None:
    """Level within 0.2 dB where the output is down by no more than 25 dB, and times within a microsecond of one another."""
    signal = make_factory_signal(parse(MINIMAL.encode())).samples()
    build = parse((MINIMAL + capture_all(tmp_path, RADIO, signal, seed=5)).encode())
    found = read_factory(build, tmp_path, silent)
    assert not found.left_out
    frequency, lags = found.frequency_hz, []
    for item, output in zip(found.captures, RADIO.outputs, strict=True):
        assert 0.1 < abs(item.clock_drift_ppm) < 210.0
        side = "left" if output.left else "right"
        true = 0.5 * response(output, side, frequency)
        got = item.left if output.left else item.right
        use = (np.abs(true) > 0.5 * 10 ** (-25 / 20)) & (frequency > 25.0)
        assert np.max(np.abs(20 * np.log10(np.abs(got / true)[use]))) < 0.2
        other = item.right if output.left else item.left
        assert np.max(np.abs(other)) < 10 ** (-50 / 20)
        angle = np.unwrap(np.angle((got / true)[use]))
        lags.append(np.polyfit(2 * np.pi * frequency[use], angle, 1)[0])
    assert abs(lags[1] - lags[0]) < 1e-6


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda wave: wave[:, :1], "one channel only"),
        (lambda wave: wave * [1.0, 0.0], "reference output, is silent"),
        (lambda wave: np.clip(40.0 * wave, -1.0, 1.0), "clipped by the recorder"),
        (lambda wave: wave[: len(wave) // 2], "began too late or stopped too early"),
        (lambda wave: np.random.default_rng(1).normal(0.0, 0.1, (200_000, 2)), "not to be found"),
    ],
)
def test_a_spoiled_capture_is_left_out_with_the_reason(tmp_path: Path, spoil, words: str) -> None:  # type: ignore[no-untyped-def]
    signal = make_factory_signal(parse(MINIMAL.encode())).samples()
    capture(tmp_path / "a.wav", RADIO, signal, RADIO.outputs[0], volume=None, start_s=0.5, drift=1e-4, seed=3)
    wave, rate = soundfile.read(tmp_path / "a.wav")
    soundfile.write(tmp_path / "a.wav", spoil(wave), rate, subtype="PCM_24")
    rows = '[[factory_outputs]]\nname = "a"\n[[factory_recordings]]\noutput = "a"\nfile = "a.wav"\n'
    found = read_factory(parse((MINIMAL + rows).encode()), tmp_path, silent)
    assert not found.captures
    (item,) = found.findings
    assert re.search(words, item.message)
