"""The live view on a simulated card: known responses are shown as they are, noise rises slowly, nothing is lost unseen."""

from __future__ import annotations

import pickle
import time
from collections.abc import Callable

import numpy as np
import pytest
from scipy.signal import firwin2, freqz, sosfilt

from cabinwright.errors import RefusedError
from cabinwright.measure.calibration import Calibration
from cabinwright.measure.live import Engine, LiveView, Prediction, held_against
from cabinwright.measure.live.corrected import Corrected
from cabinwright.measure.live.predicted import in_bands
from cabinwright.measure.live.stimulus import Stimulus
from cabinwright.measure.sound_card import SimulatedCard
from cabinwright.physics.bands import octave_bands
from cabinwright.physics.noise import pink_period

RATE = 48_000
BANDS = octave_bands(fraction=3, low_hz=20.0, high_hz=20_000.0)


def car(delay: int = 300) -> tuple[SimulatedCard, np.ndarray]:
    """A card whose first output reaches the microphone through a known response, its second the copy at once."""
    response = np.concatenate([np.zeros(delay), firwin2(255, [0, 0.01, 0.1, 0.4, 1], [0.2, 0.3, 0.1, 0.2, 0.1])])
    return SimulatedCard(paths={(1, 1): response, (2, 2): np.ones(1)}, noise={1: 1e-5}), response


def run(view: LiveView, until: Callable[[LiveView], bool]) -> None:
    """The card is not paced: seconds of sound take parts of one."""
    end = time.monotonic() + 60.0
    while not until(view):
        assert time.monotonic() < end and view.running.on, view.running
        time.sleep(0.005)


@pytest.mark.parametrize("timing", ["loopback", "marker"])
def test_a_known_response_is_shown_within_a_tenth_of_a_decibel(timing: str) -> None:
    """With the electrical copy, and with nothing but what was played; against SciPy's response of the very filter."""
    card, response = car()
    copy = 2 if timing == "loopback" else 0
    view = LiveView(card, card.settings(timing=timing, copy_channel=copy), size=8192)
    view.begin()
    view.noise_on(level_db=-30.0, low_hz=50.0, high_hz=20_000.0)
    run(view, lambda view: view.frame().time_s > 8.0)
    found = view.find_delay()
    assert round(found.delay_s * RATE) == 300 + 127
    view.ask(lambda engine: engine.average("linear"))
    start = view.frame().time_s
    run(view, lambda view: view.frame().time_s > start + 12.0)
    view.end()
    shown = view.frame().transfer
    assert shown is not None and not view.running.on and view.running.lost == 0
    inside = (shown.frequency_hz > 100.0) & (shown.frequency_hz < 18_000.0)
    truth = 20.0 * np.log10(np.abs(freqz(response, worN=shown.frequency_hz, fs=RATE)[1]))
    assert np.abs(shown.level_db - truth)[inside].max() < 0.1
    assert np.abs(shown.level_db + 0.2 - truth)[inside].max() > 0.1
    assert shown.coherence[inside].min() > 0.99
    assert np.abs(shown.phase_deg[inside]).max() < 3.0
    assert shown.delay_s * RATE == pytest.approx(300 + 127)


def test_noise_rises_slowly_and_falls_at_once() -> None:
    noise = Stimulus(sample_rate_hz=RATE, channels=(1, 3))
    assert not np.any(noise(0, 1024))
    noise.start(level_db=-30.0, low_hz=100.0, high_hz=10_000.0)
    wave = np.concatenate([noise(1024 * (1 + block), 1024) for block in range(190)])
    assert wave.shape[1] == 3 and not wave[:, 1].any() and np.array_equal(wave[:, 0], wave[:, 2])
    level = 10.0 * np.log10(np.mean(wave[:, 0].reshape(19, -1).astype(float) ** 2, axis=1))
    assert level[0] < -65.0 and np.diff(level[:9]).max() < 8.0 and level[12:].mean() == pytest.approx(-30.0, abs=0.5)
    assert np.array_equal(noise.played(1024 * 51, 500), wave[51_200:51_700, 0])
    noise.stop()
    last = np.concatenate([noise(1024 * (191 + block), 1024) for block in range(10)])
    assert last[:300].any() and not last[6000:].any() and not noise.playing
    assert not noise.played(0, 100).any()  # four seconds are kept
    with pytest.raises(ValueError, match="must not exceed"):
        noise.start(level_db=0.0, low_hz=100.0, high_hz=10_000.0)


def test_noise_ends_where_it_is_too_loud() -> None:
    """Nobody at the wheel: the level at the microphone, calibrated, passes what was allowed."""
    card, _ = car()
    view = LiveView(card, card.settings(unit_level_db=140.0, loudest_db=85.0), size=4096)
    view.begin()
    view.noise_on(level_db=-20.0, low_hz=50.0, high_hz=20_000.0)
    run(view, lambda view: bool(view.running.remark))
    run(view, lambda view: not view.running.noise)
    view.end()
    assert "The noise was ended" in view.running.remark and "85 dB are allowed" in view.running.remark
    assert max(view.frame().levels_db["AF max"], 85.0) < 88.0


def test_what_goes_wrong_is_counted_and_told() -> None:
    card, _ = car()
    card.loses, card.unplugged_at = ((RATE + 500, 100),), 2 * RATE
    view = LiveView(card, card.settings(), size=4096)
    view.begin()
    end = time.monotonic() + 30.0
    while view.running.on:
        assert time.monotonic() < end
        time.sleep(0.01)
    assert view.running.lost == 1 and "unplugged" in view.running.remark
    view.end()
    deaf = LiveView(card, card.settings(output_name=""))
    with pytest.raises(RefusedError, match="No output is chosen"):
        deaf.noise_on(level_db=-40.0, low_hz=50.0, high_hz=20_000.0)


def test_memory_stays() -> None:
    """After one second and after forty: the very same number of bytes."""
    engine, sizes = Engine(sample_rate_hz=RATE, size=4096), []
    noise = np.random.default_rng(1).normal(scale=0.1, size=RATE)
    engine.begin_average()
    for _ in range(2):
        for _ in range(1 if not sizes else 9):
            engine.feed(noise, noise)
        sizes.append(len(pickle.dumps(engine)))
    assert abs(sizes[1] - sizes[0]) < 100
    assert engine.frame().average is not None


def test_a_calibration_is_taken_out() -> None:
    """A microphone made by SciPy's sections, its own curve as calibration: flat again, the level at 1 kHz untouched."""
    sections = np.array([[1.0, -1.2, 0.5, 1.0, -0.9, 0.3]])
    frequency = np.geomspace(10.0, 23_900.0, 600)
    curve = 20.0 * np.log10(np.abs(freqz(sections[0, :3], sections[0, 3:], worN=frequency, fs=RATE)[1]))
    noise = pink_period(frames=2**16, sample_rate_hz=RATE, low_hz=20.0, high_hz=20_000.0, rms=0.1).astype(float)
    heard = sosfilt(sections, np.tile(noise, 2))
    corrected = Corrected(Calibration(frequency, curve), sample_rate_hz=RATE)
    flat = np.concatenate([corrected.feed(part) for part in np.array_split(heard, 77)])[2**16 :]
    ratio = np.abs(np.fft.rfft(flat)) / np.maximum(np.abs(np.fft.rfft(noise)), 1e-9)
    at = np.fft.rfftfreq(2**16, 1 / RATE)
    inside = (at > 60.0) & (at < 18_000.0)
    level = 20.0 * np.log10(ratio[inside])
    assert np.ptp(level) < 0.1
    assert level.mean() == pytest.approx(np.interp(1000.0, frequency, curve), abs=0.05)
    assert np.ptp(20.0 * np.log10(np.abs(np.fft.rfft(heard[2**16 :]) / np.fft.rfft(noise)))[inside]) > 3.0


def test_prediction_in_thirds_and_how_far_it_is_off() -> None:
    """Pink noise through a filter, heard in third octaves, against the same filter's curve by SciPy, within 0.3 dB."""
    card, response = car(delay=0)
    view = LiveView(card, card.settings(), size=4096)
    view.engine.shown = "mean"
    view.begin()
    view.noise_on(level_db=-30.0, low_hz=17.0, high_hz=22_500.0)
    run(view, lambda view: view.frame().time_s > 4.0)
    view.ask(lambda engine: (engine.restart(), engine.begin_average()))
    start = view.frame().time_s
    run(view, lambda view: view.frame().time_s > start + 20.0)
    view.end()
    frame, frequency = view.frame(), 1000.0 * 2.0 ** (np.arange(-70, 55) / 12.0)
    curve = 20.0 * np.log10(np.abs(freqz(response, worN=frequency, fs=RATE)[1]))
    ends = {"low_db": frame.average_low_db, "high_db": frame.average_high_db}
    got = held_against(frame.thirds_db, Prediction("known", frequency, curve), BANDS, **ends)
    assert got is not None and got.bands == len(BANDS)
    assert np.abs(got.difference_db[4:]).max() < 0.3
    assert got.beyond.sum() <= 6
    bent = curve + 6.0 * np.exp(-(np.log2(frequency / 1000.0) ** 2) / 0.3)
    off = held_against(frame.thirds_db, Prediction("bent", frequency, bent), BANDS, **ends)
    assert off is not None and off.difference_db[17] == pytest.approx(-5.7, abs=0.5) and off.beyond[17]
    short = Prediction("short", frequency[:30], curve[:30])
    assert np.isnan(in_bands(short, BANDS)[15:]).all()
    assert held_against(np.full(len(BANDS), np.nan), short, BANDS) is None
