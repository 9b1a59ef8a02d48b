"""The live view's analysis without a device: against SciPy, against IEC 61672-1 and against noise whose truth is known."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.signal import coherence, csd, resample_poly, sosfilt, welch

from cabinwright.errors import RefusedError
from cabinwright.measure.live.bank import ThirdOctaveBank
from cabinwright.measure.live.delay import find_delay
from cabinwright.measure.live.levels import LevelMeter
from cabinwright.measure.live.moving import MovingAverage
from cabinwright.measure.live.spectra import Spectra
from cabinwright.physics.noise import pink_period
from cabinwright.physics.octave_filters import band_sections

TABLE = Path(__file__).parents[1] / "references" / "measuring.toml"
ENTRIES: dict[str, dict[str, Any]] = {
    row["id"]: row for row in tomllib.loads(TABLE.read_text(encoding="utf-8"))["entry"]
}
RATE = 48_000.0


def tone(seconds: float, frequency_hz: float = 4000.0) -> np.ndarray:
    return np.sin(2.0 * np.pi * frequency_hz * np.arange(round(seconds * RATE)) / RATE)


def in_blocks(feed: Any, *signals: np.ndarray, sizes: tuple[int, ...] = (1024,)) -> None:
    """As they come from a card, in blocks of these sizes in turn."""
    at, number = 0, 0
    while at < len(signals[0]):
        size = sizes[number % len(sizes)]
        feed(*(signal[at : at + size] for signal in signals))
        at, number = at + size, number + 1


def db(power: Any) -> Any:
    return 10.0 * np.log10(power)


def test_tone_bursts_and_decay() -> None:
    """IEC 61672-1:2013, Tables 4 and 5.8.2 (from memory, and equal to the standard's own formula), in blocks of odd length."""
    entry = ENTRIES["A.weight.tone_burst"]
    steady, meter = tone(8.0), LevelMeter(sample_rate_hz=RATE)
    in_blocks(meter.feed, steady)
    reference = {name: db(value) for name, value in meter.levels()["A"].now.items()}
    for length_ms, fast, slow in zip(entry["inputs"]["length_ms"], *entry["expected"], strict=True):
        burst = np.zeros(round(2.5 * RATE))
        burst[round(RATE) : round(RATE + 0.001 * length_ms * RATE)] = tone(0.001 * length_ms)
        meter = LevelMeter(sample_rate_hz=RATE)
        in_blocks(meter.feed, burst, sizes=(999, 1, 4000))
        highest = meter.levels()["A"].highest
        for name, wanted in (("F", fast), ("S", slow)):
            assert db(highest[name]) - reference[name] == pytest.approx(wanted, abs=entry["tol_abs"]), (length_ms, name)
            assert db(highest[name]) + 0.3 - reference[name] != pytest.approx(wanted, abs=entry["tol_abs"])
    meter = LevelMeter(sample_rate_hz=RATE)
    meter.feed(steady)
    meter.feed(np.zeros(round(0.1 * RATE)))
    before = meter.levels()["C"].now
    meter.feed(np.zeros(round(0.5 * RATE)))
    after = meter.levels()["C"].now
    for name, (aim, least, most) in zip("FS", ENTRIES["A.weight.decay"]["expected"], strict=True):
        fall = (db(before[name]) - db(after[name])) / 0.5
        assert fall == pytest.approx(aim, abs=0.1)
        assert least < fall < most


def test_mean_level_and_restart() -> None:
    meter = LevelMeter(sample_rate_hz=RATE)
    in_blocks(meter.feed, 0.1 * tone(2.0, 1000.0))
    levels = meter.levels()
    assert db(levels["A"].mean) == pytest.approx(-20.0 - 3.0103, abs=0.02)
    assert db(levels["Z"].now["F"]) == pytest.approx(-23.0103, abs=0.02)
    meter.restart()
    in_blocks(meter.feed, 0.01 * tone(1.0, 1000.0))
    assert db(meter.levels()["A"].mean) == pytest.approx(-43.0103, abs=0.1)  # filters ring a little
    assert meter.time_s == pytest.approx(1.0)


def test_bank_is_its_filters() -> None:
    """Multi-rate in odd blocks against each filter at the full rate by SciPy: the same energy of pink noise within 0.05 dB."""
    bank = ThirdOctaveBank(sample_rate_hz=RATE)
    noise = pink_period(frames=2**17, sample_rate_hz=RATE, low_hz=20.0, high_hz=20_000.0, rms=0.1).astype(float)
    in_blocks(bank.feed, noise, sizes=(1024, 7, 480, 5000))
    assert bank.time_s == pytest.approx(len(noise) / RATE)
    for at in (6, 12, 17, 24, 30):
        sections = band_sections(centre_hz=float(bank.bands.centres_hz[at]), sample_rate_hz=RATE)
        straight = np.sum(sosfilt(sections, noise) ** 2) / RATE
        assert db(bank.energy[at]) == pytest.approx(db(straight), abs=0.05), at
        assert db(1.02 * bank.energy[at]) != pytest.approx(db(straight), abs=0.05)


def test_bank_shows_tones_where_they_are() -> None:
    """A sine in each of five bands: its own level there, time weighting as the meter's, and silence 70 dB down far away."""
    for at in (3, 10, 17, 24, 29):
        bank = ThirdOctaveBank(sample_rate_hz=RATE)
        in_blocks(bank.feed, tone(3.0, float(bank.bands.centres_hz[at])), sizes=(1024, 333))
        fast = db(bank.mean_square("F"))
        assert fast[at] == pytest.approx(-3.0103, abs=0.1)
        assert np.delete(fast, slice(max(0, at - 5), at + 6)).max() < -70.0
    bank = ThirdOctaveBank(sample_rate_hz=RATE)
    in_blocks(bank.feed, np.concatenate([tone(2.0, 1000.0), np.zeros(24_000)]), sizes=(1000,))
    for name, wanted in (("F", 34.7), ("S", 4.34)):
        fall = -3.01 - db(bank.mean_square(name)[17])
        start = db(1.0 - np.exp(-2.0)) if name == "S" else 0.0  # S had not settled when the tone ended
        assert (fall + start) / 0.5 == pytest.approx(wanted, rel=0.02)


@pytest.mark.parametrize(("size", "hop"), [(1024, 512), (512, 64)])
def test_transfer_function_and_coherence_are_scipys(size: int, hop: int) -> None:
    rng = np.random.default_rng(2)
    x = rng.standard_normal(size + 60 * hop)
    y = sosfilt([[0.3, 0.2, 0.1, 1.0, -0.5, 0.2]], x) + 0.3 * rng.standard_normal(len(x))
    spectra = Spectra(sample_rate_hz=RATE, size=size, hop=hop, averaging="linear")
    in_blocks(spectra.feed, y, x, sizes=(700, 33))
    options = {"fs": RATE, "window": "hann", "nperseg": size, "noverlap": size - hop, "detrend": False}
    got = spectra.transfer()
    assert got is not None
    inner = slice(1, -1)
    response = csd(x, y, **options)[1] / welch(x, **options)[1]
    together = coherence(x, y, **options)[1]
    assert np.abs(got.response - response)[inner].max() < 1e-9
    assert np.abs(got.coherence - together)[inner].max() < 1e-9
    assert np.abs(got.coherence - coherence(x, y, **{**options, "noverlap": 0})[1])[inner].max() > 1e-3
    spectrum = welch(y, scaling="spectrum", **options)[1]
    assert np.abs(spectra.narrow().mean_square / spectrum - 1.0)[inner].max() < 1e-9


def test_a_sine_shows_its_level_and_an_average_forgets() -> None:
    spectra = Spectra(sample_rate_hz=RATE, size=4096, hop=1024, time_constant_s=0.2)
    in_blocks(lambda part: spectra.feed(part, None), tone(2.0, 100 * RATE / 4096))
    narrow = spectra.narrow()
    assert db(narrow.mean_square[100]) == pytest.approx(-3.0103, abs=1e-3)
    assert spectra.transfer() is None
    in_blocks(lambda part: spectra.feed(part, None), np.zeros(round(0.6 * RATE)))
    assert db(spectra.narrow().mean_square[100]) == pytest.approx(
        -3.01 - 4.343 * (0.6 - 0.5 * 4096 / RATE) / 0.2, abs=2.0
    )
    assert 1.0 <= spectra.independent < 20.0


def test_a_delay_costs_coherence_until_it_is_taken_out() -> None:
    rng = np.random.default_rng(7)
    x = rng.standard_normal(round(4.0 * RATE))
    y = np.concatenate([np.zeros(3000), x[:-3000]])
    spectra = Spectra(sample_rate_hz=RATE, size=4096, hop=1024, averaging="linear")
    in_blocks(spectra.feed, y, x)
    far = spectra.transfer()
    found = find_delay(y, x, sample_rate_hz=RATE)
    assert found.delay_s * RATE == pytest.approx(3000.0, abs=0.01)
    spectra = Spectra(sample_rate_hz=RATE, size=4096, hop=1024, averaging="linear")
    spectra.align(found.delay_s)
    in_blocks(spectra.feed, y, x)
    near = spectra.transfer()
    assert far is not None and near is not None
    assert far.coherence[10:-10].mean() < 0.3
    assert near.coherence[10:-10].min() > 0.999
    assert np.abs(near.response - 1.0)[10:-10].max() < 0.05
    assert near.delay_s * RATE == pytest.approx(3000.0)
    with pytest.raises(ValueError, match="between 0 and"):
        spectra.align(3.0)


def test_delay_between_samples() -> None:
    """Pink noise delayed by a quarter of a sample with SciPy's resampler, echoes and noise beside it."""
    noise = pink_period(frames=2**16, sample_rate_hz=RATE, low_hz=100.0, high_hz=16_000.0, rms=0.1).astype(float)
    fine = np.roll(resample_poly(np.tile(noise, 3), 4, 1, window=("kaiser", 12.0))[: 4 * 3 * 2**16], 4 * 120 + 1)[::4]
    late = fine[2**16 : 2**17] + 0.4 * np.roll(fine[2**16 : 2**17], 333)
    late += 0.05 * np.random.default_rng(1).standard_normal(len(late))
    found = find_delay(late, noise, sample_rate_hz=RATE)
    assert found.delay_s * RATE == pytest.approx(120.25, abs=0.1)
    assert found.clarity_db > 30.0
    inverted = find_delay(-late, noise, sample_rate_hz=RATE)
    assert inverted.delay_s == found.delay_s


def test_no_delay_is_made_up() -> None:
    rng = np.random.default_rng(9)
    with pytest.raises(RefusedError, match="No arrival stands out"):
        find_delay(rng.standard_normal(48_000), rng.standard_normal(48_000), sample_rate_hz=RATE)
    with pytest.raises(RefusedError, match="nothing comes back"):
        find_delay(np.zeros(48_000), rng.standard_normal(48_000), sample_rate_hz=RATE)


def test_interval_of_a_moved_microphone_holds_what_it_says() -> None:
    """400 walks whose level drifts (first-order process of 0.8 s) while noise scatters: the true mean lies in 19 of 20 intervals.

    Pieces taken for independent, as many would do, miss it far more often.
    """
    rng, pieces, trials = np.random.default_rng(11), 320, 400
    bandwidth = np.full(trials, 58.0)
    keep = np.exp(-0.125 / 0.8)
    place = np.zeros((pieces, trials))
    place[0] = rng.standard_normal(trials)
    for at in range(1, pieces):
        place[at] = keep * place[at - 1] + np.sqrt(1.0 - keep**2) * rng.standard_normal(trials)
    level = np.exp(0.5 * place) / np.exp(0.125)  # its expectation is 1
    shape = 58.0 * 0.125
    energy = 0.125 * level * rng.gamma(shape, 1.0 / shape, (pieces, trials))
    moving = MovingAverage(bandwidth_hz=bandwidth)
    for row in energy:
        moving.add(row, time_s=0.125)
    got = moving.average()
    truth = -db(got.mean_square)
    held = np.mean((truth > got.low_db) & (truth < got.high_db))
    assert 0.90 < held < 0.985
    naive = 1.96 * np.std(energy / 0.125, axis=0) / np.sqrt(pieces)
    assert np.mean(np.abs(got.mean_square - 1.0) < naive) < 0.75
    assert got.time_s == pytest.approx(40.0)
    # From the process itself: variance of the mean of exp(0.5 p) over 40 s, by its autocovariance.
    lags = np.arange(1, pieces)
    covariance = np.exp(0.25 * keep**lags) - 1.0
    variance = (np.exp(0.25) - 1.0 + 2.0 * np.sum((1.0 - lags / pieces) * covariance)) / pieces
    assert np.median(got.positions) == pytest.approx(1.0 / variance, rel=0.35)


def test_steady_noise_counts_bandwidth_times_time_and_memory_stays() -> None:
    """Nothing moves: independent averages are B T, and pieces are merged, never more than 512."""
    rng, shape = np.random.default_rng(12), 10.0
    moving = MovingAverage(bandwidth_hz=np.full(200, shape / 0.125))
    assert np.isinf(moving.average().high_db).all()
    for row in rng.gamma(shape, 0.125 / shape, (1200, 200)):
        moving.add(row, time_s=0.125)
    got = moving.average()
    assert got.pieces < 512
    assert np.median(got.independent) == pytest.approx(shape / 0.125 * got.time_s, rel=0.15)
    assert np.mean((-db(got.mean_square) > got.low_db) & (-db(got.mean_square) < got.high_db)) > 0.9
