"""Levels, gains and noise along a chain of stages. Voltages are rms; noises of different stages do not know one another.

Voltage division and addition of noise in power are the textbook's (Self 2010, Small Signal Audio Design); the noise of
ideal quantisation is Bennett 1948.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "bridging_share",
    "decibels",
    "factor",
    "filtered_noise_factor",
    "pad_ohm",
    "parallel_ohm",
    "quantisation_db",
    "summed_noise_v",
]

SINE_CREST_DB = 20.0 * math.log10(math.sqrt(2.0))
NOISE_LOW_HZ, NOISE_HIGH_HZ = 20.0, 20_000.0
"""Band in which makers state unweighted noise."""


def decibels(ratio: float) -> float:
    """Level [dB] of a ratio of voltages; nothing is minus infinity."""
    return 20.0 * math.log10(ratio) if ratio > 0.0 else -math.inf


def factor(level_db: float) -> float:
    """Ratio of voltages of a level [dB]."""
    return float(10.0 ** (level_db / 20.0))


def parallel_ohm(*resistance_ohm: float) -> float:
    """Resistance [ohm] of several side by side; one of nothing shorts them all."""
    if any(ohm == 0.0 for ohm in resistance_ohm):
        return 0.0
    return 1.0 / sum(1.0 / ohm for ohm in resistance_ohm)


def bridging_share(*, output_ohm: float, input_ohm: float) -> float:
    """Part of an output's open voltage that arrives at an input: Zin / (Zin + Zout). ``input_ohm`` > 0."""
    return input_ohm / (input_ohm + output_ohm)


def summed_noise_v(noises_v: Iterable[float]) -> float:
    """Noise [V] of several independent noises together: their powers add."""
    return math.sqrt(sum(noise * noise for noise in noises_v))


def quantisation_db(bits: int) -> float:
    """Full-scale sine over the noise of ideal quantisation without dither [dB]: 6.02 N + 1.76 (Bennett 1948)."""
    return decibels(2.0**bits * math.sqrt(1.5))


def pad_ohm(*, loss_db: float, output_ohm: float, input_ohm: float, series_ohm: float) -> float:
    """Shunt resistor [ohm] across an input that, behind ``series_ohm``, takes ``loss_db`` off what arrives without a pad.

    Raises ``ValueError`` where the series resistor alone takes more.
    """
    wanted = bridging_share(output_ohm=output_ohm, input_ohm=input_ohm) * factor(-loss_db)
    whole = (output_ohm + series_ohm) * wanted / (1.0 - wanted)  # shunt and input side by side
    if whole >= input_ohm:
        raise ValueError(f"series resistor of {series_ohm:g} ohm alone loses more than {loss_db:g} dB")
    return 1.0 / (1.0 / whole - 1.0 / input_ohm)


def filtered_noise_factor(
    response: NDArray[np.complex128] | NDArray[np.float64], *, frequency_hz: NDArray[np.float64]
) -> float:
    """What a filter leaves of white noise from 20 Hz to 20 kHz, as a ratio of rms voltages.

    ``response`` (n,) on ``frequency_hz`` (n,), rising; trapezoids between them, so a fine grid is wanted.
    """
    inside = (frequency_hz >= NOISE_LOW_HZ) & (frequency_hz <= NOISE_HIGH_HZ)
    f, power = frequency_hz[inside], np.abs(response[inside]) ** 2
    return math.sqrt(float(np.trapezoid(power, f)) / float(f[-1] - f[0]))
