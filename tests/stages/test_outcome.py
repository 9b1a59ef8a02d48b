"""Figures of a finished tune against the responses themselves, processed in the time domain by SciPy."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import sosfilt

from cabinwright.physics.filters import Filter
from cabinwright.stages.tuning.outcome import (
    arrival_difference,
    channel_curves,
    coherent_loss,
    headroom_db,
    rms_error_db,
    side_difference_db,
    sum_curves,
    sum_levels_db,
)
from cabinwright.stages.tuning.prepare import Prepared, prepare
from cabinwright.stages.tuning.settings import ChannelSettings, Settings
from stages.tune_cases import TWO_WAY, ZERO, Case, make_case

RATE = 48000.0
NAMES = (*TWO_WAY, "subwoofer")
CASE: Case = make_case(*NAMES, positions=3, noise=0.0, samples=8192)


def _pass(kind: str, frequency_hz: float) -> Filter:
    return Filter(kind, frequency_hz, family="Linkwitz-Riley", slope_db_per_octave=24)  # type: ignore[arg-type]


def _settings(late_s: float = 0.0, turn: bool = False) -> Settings:
    """Delays that align the direct sounds at the head; ``late_s`` more for the left side."""
    arrival = prepare(CASE.build, CASE.responses).problem.arrivals.at_head_s
    rows = []
    for name, at in zip(NAMES, arrival, strict=True):
        bank = {
            "midbass": (
                _pass("high-pass", 80.0),
                _pass("low-pass", 2500.0),
                Filter("peaking", 300.0, gain_db=-4.0, q=2.0),
            ),
            "tweeter": (_pass("high-pass", 2500.0),),
            "subwoofer": (_pass("high-pass", 25.0), _pass("low-pass", 80.0)),
        }[name.split()[-1]]
        delay = float(arrival.max() - at) + 0.001 + (late_s if name.startswith("left") else 0.0)
        polarity = "inverted" if turn and name == "subwoofer" else "normal"
        rows.append(ChannelSettings(name, -3.0, polarity, delay, bank))  # type: ignore[arg-type]
    return Settings(RATE, tuple(rows))


@pytest.fixture(scope="module")
def prepared() -> Prepared:
    return prepare(CASE.build, CASE.responses)


def _heard(settings: Settings, members: tuple[str, ...]) -> np.ndarray:
    """(positions, samples): the sum as the processor would play it, filters by SciPy, delays by a phase ramp."""
    size = 1 << 17
    frequency = np.fft.rfftfreq(size, 1.0 / RATE)
    total = np.zeros((3, len(frequency)), dtype=complex)
    for k, name in enumerate(NAMES):
        if name not in members:
            continue
        row = settings.channel(name)
        played = sosfilt(row.sections(RATE), np.pad(CASE.responses.impulse[k], ((0, 0), (0, 8192))))
        sign = -1.0 if row.polarity == "inverted" else 1.0
        total += (
            sign
            * 10.0 ** (row.gain_db / 20.0)
            * np.fft.rfft(played, size)
            * np.exp(-2j * np.pi * frequency * row.delay_s)
        )
    return np.abs(total) ** 2


@pytest.mark.parametrize("name", ["left side", "right side", "everything"])
def test_predicted_levels(prepared: Prepared, name: str) -> None:
    """Twelfth octaves from 40 Hz to 16 kHz within 0.3 dB of the full computation, rms 0.05 dB; 0.2 dB of gain would show."""
    settings, problem = _settings(), prepared.problem
    members = tuple(problem.channels[k] for k in problem.members(name))
    power = _heard(settings, members)
    frequency = np.fft.rfftfreq(1 << 17, 1.0 / RATE)
    group, edge = problem.spectra.group_hz, 10.0 ** (0.15 / 12)
    bands = [(frequency >= f / edge) & (frequency < f * edge) for f in group]
    exact = 10.0 * np.log10(np.array([power[:, band].mean(axis=1) for band in bands]).T)
    mean, each = sum_levels_db(problem, settings, name)
    judged = (group > 40.0) & (group < 16000.0)
    error = (each - exact)[:, judged]
    assert np.abs(error).max() < 0.3
    assert np.sqrt(np.mean(error**2)) < 0.05
    louder = replace(settings, channels=tuple(replace(row, gain_db=row.gain_db + 0.2) for row in settings.channels))
    assert np.sqrt(np.mean((sum_levels_db(problem, louder, name)[1] - exact)[:, judged] ** 2)) > 0.15
    np.testing.assert_allclose(mean, 10.0 * np.log10(np.mean(10.0 ** (each / 10.0), axis=0)), atol=1e-9)


def test_missing_position_is_not_a_number(prepared: Prepared) -> None:
    present = prepared.problem.present.copy()
    present[0, 1] = False
    _, each = sum_levels_db(replace(prepared.problem, present=present), _settings(), "left side")
    assert np.isnan(each[1]).all()
    assert np.isfinite(each[[0, 2]]).all()


@pytest.mark.parametrize("late_s", [0.0, 1e-4, -2.5e-4])
def test_arrival_difference(prepared: Prepared, late_s: float) -> None:
    """What is added to the left side's delay comes out, within 10 µs; so it does by frequency."""
    problem = prepared.problem
    aligned, _ = arrival_difference(problem, _settings(), CASE.responses, prepared.move_s)
    late, by_band = arrival_difference(problem, _settings(late_s), CASE.responses, prepared.move_s)
    assert late - aligned == pytest.approx(late_s, abs=10e-6)
    assert abs(aligned) < 30e-6
    group = problem.spectra.group_hz
    assert np.nanmedian(by_band[(group > 500.0) & (group < 4000.0)]) == pytest.approx(late, abs=60e-6)
    assert np.isnan(by_band[group < 100.0]).all()


@pytest.mark.parametrize("turn", [False, True])
def test_coherent_loss_against_a_search_by_hand(prepared: Prepared, turn: bool) -> None:
    """The loss is at least what moving the subwoofer through every 100 µs and both polarities gains, and not more than
    what moving any way gains."""
    problem = prepared.problem
    now = _settings(turn=turn)
    frequency = problem.spectra.frequency_hz
    band = (frequency > 40.0) & (frequency < 500.0)

    def level(role: str, shift_s: float, flip: bool) -> float:
        rows = []
        for row in now.channels:
            mine = row.name.endswith(role)
            g = row.response(frequency, sample_rate_hz=RATE) * (-1.0 if mine and flip else 1.0)
            rows.append(g * np.exp(-2j * np.pi * frequency * shift_s * mine))
        g = np.array(rows) * np.exp(-2j * np.pi * frequency * problem.spectra.shift_s[:, None])
        power = np.einsum("cb,db,bcd->b", g, g.conj(), problem.cross_of("everything")).real
        return float(np.mean(10.0 * np.log10(power[band])))

    shifts = np.arange(-240, 241, 2) * 50e-6
    best = {
        role: max(level(role, s, flip) for s in shifts for flip in (False, True)) for role in ("subwoofer", "midbass")
    }
    loss = coherent_loss(problem, now, "everything").loss_db
    as_set = level("subwoofer", 0.0, False)
    assert loss >= max(best.values()) - as_set - 1e-6
    assert loss <= max(best.values()) - as_set + 0.02
    assert loss > 0.05


def test_headroom_and_errors(prepared: Prepared) -> None:
    problem = prepared.problem
    settings = _settings()
    frequency = problem.spectra.frequency_hz
    for row in settings.channels:
        top = 20.0 * np.log10(np.abs(row.response(frequency, sample_rate_hz=RATE)).max())
        assert headroom_db(problem, settings)[row.name] == pytest.approx(-top, abs=1e-9)
    target = problem.target_db
    for name in problem.sum_names:
        assert rms_error_db(problem, target + 7.0, name) == pytest.approx(0.0, abs=1e-9)
    # Third octaves 1 dB above and below in turn are 1 dB off, as far as the loudspeakers reach; equal levels do not differ.
    reach = replace(problem, reach=dict.fromkeys(problem.sum_names, np.ones_like(target)))
    halves = np.where(np.round(10.0 * np.log10(problem.spectra.group_hz / 1000.0)) % 2, 1.0, -1.0)
    assert rms_error_db(reach, target + halves, "left side") == pytest.approx(1.0, abs=0.15)
    assert side_difference_db(problem, target + 2.0, target) == pytest.approx(2.0)
    assert side_difference_db(problem, target, target) == 0.0


def test_curves_share_one_level(prepared: Prepared) -> None:
    curves = sum_curves(prepared.problem, _settings(turn=True), _settings())
    np.testing.assert_array_equal(curves["left side"].target_db, curves["right side"].target_db)
    assert curves["everything"].channels == NAMES
    np.testing.assert_allclose(np.diff(curves["everything"].target_db), np.diff(prepared.problem.target_db))


def test_overlays_begin_at_the_aligned_arrival(prepared: Prepared) -> None:
    """The processed tweeter peaks where the overlay's zero is, within half a millisecond; recorded, it peaked earlier."""
    settings = _settings()
    curves = channel_curves(prepared.problem, CASE.responses, settings, prepared.nearest, 0.003, 0.015)
    for name in TWO_WAY[2:]:
        impulse = curves[name].impulse
        assert len(impulse) == 720
        assert np.argmax(np.abs(impulse)) / RATE - 0.003 == pytest.approx(0.0, abs=5e-4)
    assert ZERO / RATE < 0.006
