"""Arrivals against delays that are known to a fraction of a sample."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from cabinwright.stages.tuning.arrivals import find_arrivals, onset_times

RATE = 48000.0
ZERO = 200
SPEED = 343.0


def _pulse(delay_s: float, samples: int = 2048) -> NDArray[np.float64]:
    """A band-limited loudspeaker's impulse that arrives at a time between samples."""
    f = np.fft.rfftfreq(samples, 1.0 / RATE)
    s = 1j * f
    shape = (s / 150.0) ** 2 / (1 + 1.4 * s / 150.0 + (s / 150.0) ** 2) / (1 + 1.4 * s / 15000.0 + (s / 15000.0) ** 2)
    return np.fft.irfft(shape * np.exp(-2j * np.pi * f * (delay_s + ZERO / RATE)), samples)


@pytest.mark.parametrize("noise_db", [None, -50.0])
def test_fractional_delays(noise_db: float | None) -> None:
    """Differences of arrival within 5 µs; a quarter of a sample more would show."""
    rng = np.random.default_rng(3)
    delays = rng.uniform(0.001, 0.006, 40)
    rows = np.array([_pulse(delay) for delay in delays])
    if noise_db is not None:
        rows = rows + np.abs(rows).max() * 10.0 ** (noise_db / 20.0) * rng.normal(size=rows.shape) * 0.1
    got = onset_times(rows, sample_rate_hz=RATE, low_hz=300.0, high_hz=8000.0) / RATE
    error = got - got[0] - (delays - delays[0])
    assert np.abs(error).max() < 5e-6
    got[7] += 0.25 / RATE
    assert np.abs(got - got[0] - (delays - delays[0])).max() > 5e-6


def test_reflection_does_not_count() -> None:
    """A reflection 2 ms later and half as loud again is not the arrival; the threshold is 30 % of the largest."""
    direct = _pulse(0.002)
    loud = direct + 1.5 * _pulse(0.004)
    first, both = onset_times(np.array([direct, loud]), sample_rate_hz=RATE, low_hz=300.0, high_hz=8000.0) / RATE
    assert abs(first - both) < 40e-6
    _, faint = onset_times(
        np.array([direct, direct + 5.0 * _pulse(0.004)]), sample_rate_hz=RATE, low_hz=300.0, high_hz=8000.0
    )
    assert faint / RATE - first > 1e-3


def _scene(seed: int = 2) -> tuple[NDArray[np.float64], ...]:
    """Distances (3 channels, 7 positions), to the head, and each channel's own lateness."""
    rng = np.random.default_rng(seed)
    head = np.array([0.9, 1.3, 2.1])
    distance = head[:, None] + rng.uniform(-0.1, 0.1, (3, 7))
    return distance, head, np.array([0.0004, 0.0011, 0.0002])


def _find(
    impulse: NDArray[np.float64], present: NDArray[np.bool_], distance: NDArray[np.float64], head: NDArray[np.float64]
):  # type: ignore[no-untyped-def]
    return find_arrivals(
        impulse,
        present,
        sample_rate_hz=RATE,
        zero_sample=ZERO,
        bands_hz=[(300.0, 8000.0)] * 3,
        distance_m=distance,
        head_distance_m=head,
        sound_speed_m_s=SPEED,
    )


def test_latency_is_told_from_tape() -> None:
    """A microphone 4 cm off its place and a strong reflection leave the others' arrival within 5 µs."""
    distance, head, late = _scene()
    true = distance.copy()
    true[:, 2] += 0.04
    impulse = np.array([[_pulse(true[c, p] / SPEED + late[c]) for p in range(7)] for c in range(3)])
    impulse[1, 5] *= -1.0
    present = np.ones((3, 7), dtype=bool)
    found = _find(impulse, present, distance, head)
    differences = found.at_head_s - found.at_head_s[0]
    expected = head / SPEED + late
    assert np.abs(differences - (expected - expected[0])).max() < 5e-6
    assert found.scatter_s.max() < 5e-6
    moved = _find(impulse, present, distance + np.array([[0.0], [0.01], [0.0]]), head)
    assert np.abs(moved.at_head_s - moved.at_head_s[0] - (expected - expected[0])).max() > 5e-6


def test_missing_recordings_and_places() -> None:
    distance, head, late = _scene()
    impulse = np.array([[_pulse(distance[c, p] / SPEED + late[c]) for p in range(7)] for c in range(3)])
    present = np.ones((3, 7), dtype=bool)
    present[0, [1, 4]] = False
    impulse[0, [1, 4]] = 0.0
    unplaced = head.copy()
    unplaced[2] = np.nan
    distance[2] = np.nan
    found = _find(impulse, present, distance, unplaced)
    assert np.isnan(found.at_positions_s[0, [1, 4]]).all()
    assert np.isfinite(found.at_head_s).all()
    assert abs(found.at_head_s[1] - found.at_head_s[0] - (head[1] - head[0]) / SPEED - (late[1] - late[0])) < 5e-6
    # Without a place it is the middle of what the microphones heard: within what 10 cm of travel make of it.
    assert (
        abs(found.at_head_s[2] - found.at_head_s[0] - (head[2] - head[0]) / SPEED - (late[2] - late[0])) < 0.1 / SPEED
    )


def test_silence_gives_numbers() -> None:
    distance, head, _ = _scene()
    found = _find(np.zeros((3, 7, 2048)), np.ones((3, 7), dtype=bool), distance, head)
    assert np.isfinite(found.at_head_s).all()
