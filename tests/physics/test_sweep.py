"""Sweeps against pyfar's generator, and harmonics where Farina 2000 says they land."""

from __future__ import annotations

import numpy as np
import pyfar
import pytest

from cabinwright.physics.sweep import Chirp, Sweep

RATE = 48000
SWEEP = Sweep(low_hz=20.0, high_hz=20000.0, length_s=2.0, fade_in_s=0.1, fade_out_s=0.02)


def test_against_pyfar() -> None:
    expected = pyfar.signals.exponential_sweep_time(
        2 * RATE, [20.0, 20000.0], n_fade_out=0, amplitude=1.0, sampling_rate=RATE
    ).time[0]
    got = SWEEP.at(np.arange(2 * RATE) / RATE)
    inner = slice(round(0.1 * RATE) + 1, 2 * RATE - round(0.02 * RATE) - 1)
    assert np.max(np.abs(got[inner] - expected[inner])) < 1e-6
    late = SWEEP.at(np.arange(2 * RATE) / RATE + 1e-6)
    assert np.max(np.abs(late[inner] - expected[inner])) > 1e-3


def test_silent_outside_and_faded() -> None:
    got = SWEEP.at(np.array([-1.0, 0.0, 2.0, 3.0]))
    assert np.max(np.abs(got)) < 1e-12
    assert np.max(np.abs(SWEEP.at(np.linspace(0.0, 0.01, 500)))) < 0.03


def test_a_harmonic_is_the_sweep_begun_earlier() -> None:
    """cos(2 phi) passes the frequency that the sweep itself passes L ln 2 later (Farina 2000)."""
    lead = SWEEP.growth_s * np.log(2.0)
    assert SWEEP.frequency_hz(np.array([0.7 + lead]))[0] == pytest.approx(2.0 * SWEEP.frequency_hz(np.array([0.7]))[0])


@pytest.mark.parametrize("change", [{"low_hz": 0.0}, {"high_hz": 10.0}, {"length_s": -1.0}, {"fade_in_s": 3.0}])
def test_impossible_sweeps(change: dict[str, float]) -> None:
    values = {"low_hz": 20.0, "high_hz": 20000.0, "length_s": 2.0, "fade_in_s": 0.1, "fade_out_s": 0.02, **change}
    with pytest.raises(ValueError, match=r"rises|fit"):
        Sweep(**values)


def test_a_falling_chirp_is_a_rising_one_played_backwards() -> None:
    up, down = Chirp(1000.0, 4000.0, 0.5, 0.05), Chirp(4000.0, 1000.0, 0.5, 0.05)
    time = np.linspace(0.0, 0.5, 4001)
    # The phase over the whole chirp is a whole number of turns here, so the mirror image is the negative.
    assert np.allclose(up.at(time)[::-1], -down.at(time), atol=1e-9)
