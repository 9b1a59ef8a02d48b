"""Loudspeakers of an invented car: character, place and layout."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter

RATE = 48000
Array = NDArray[np.float64]

#: role: place on the right-hand side (x, y, z), aim, resonance Hz, upper roll-off Hz, radius m
SPEAKERS = {
    "tweeter": ((0.66, 0.66, 0.96), (0.6, -0.8, 0.0), 1100.0, 24000.0, 0.013),
    "midrange": ((0.56, 0.55, 0.84), (0.8, -0.3, 0.5), 170.0, 9000.0, 0.035),
    "midbass": ((0.80, 0.70, 0.44), (0.1, -1.0, 0.2), 62.0, 5500.0, 0.065),
    "coaxial": ((0.78, 0.70, 0.52), (0.2, -1.0, 0.4), 75.0, 19000.0, 0.030),
    "subwoofer": ((2.60, 0.12, 0.26), (0.0, 0.0, 1.0), 30.0, 600.0, 0.12),
    "rear fill": ((2.05, 0.69, 0.66), (-0.2, -1.0, 0.2), 90.0, 16000.0, 0.035),
    "centre": ((0.50, 0.02, 0.84), (0.8, 0.0, 0.6), 130.0, 17000.0, 0.030),
    "fullrange": ((0.52, 0.20, 0.80), (0.8, 0.1, 0.6), 110.0, 18000.0, 0.030),
}
PAIR, SUB = ("left", "right"), (("subwoofer", "centre"),)


def _pairs(*roles: str) -> tuple[tuple[str, str], ...]:
    return tuple((role, side) for role in roles for side in PAIR)


LAYOUTS: dict[str, tuple[tuple[str, str], ...]] = {
    "two-way": _pairs("midbass", "tweeter"),
    "two-way+sub": _pairs("midbass", "tweeter") + SUB,
    "three-way": _pairs("midbass", "midrange", "tweeter"),
    "three-way+sub": _pairs("midbass", "midrange", "tweeter") + SUB,
    "coaxial": _pairs("coaxial"),
    "coaxial+sub": _pairs("coaxial") + SUB,
    "tweeterless": _pairs("midbass") + SUB,
    "rear fill": _pairs("midbass", "tweeter", "rear fill") + SUB,
    "centre": _pairs("midbass", "tweeter") + SUB + (("centre", "centre"),),
    "one channel": (("fullrange", "centre"),),
}


@dataclass(frozen=True)
class Loudspeaker:
    """One loudspeaker as built; ``gain`` carries sensitivity and polarity."""

    name: str
    role: str
    side: str
    position_m: Array
    aim: Array
    sections: Array
    gain: float
    latency_s: float
    beaming_hz: float


def bell(frequency_hz: float, gain_db: float, q: float) -> Array:
    """A resonance, as an analogue bell taken through the bilinear transform by hand."""
    w = 2.0 * np.pi * frequency_hz / RATE
    a, alpha = 10.0 ** (gain_db / 40.0), np.sin(w) / (2.0 * q)
    row = np.array([1 + alpha * a, -2 * np.cos(w), 1 - alpha * a, 1 + alpha / a, -2 * np.cos(w), 1 - alpha / a])
    return row / row[3]


def high_pass(frequency_hz: float, q: float) -> Array:
    """A loudspeaker's second-order fall below its resonance."""
    w = 2.0 * np.pi * frequency_hz / RATE
    alpha, cos = np.sin(w) / (2.0 * q), np.cos(w)
    row = np.array([(1 + cos) / 2, -(1 + cos), (1 + cos) / 2, 1 + alpha, -2 * cos, 1 - alpha])
    return row / row[3]


def low_pass(frequency_hz: float) -> Array:
    """A loudspeaker's upper roll-off, one section."""
    return np.asarray(butter(2, frequency_hz, fs=RATE, output="sos"))[0]


def make_loudspeaker(role: str, side: str, rng: np.random.Generator, car: dict[str, float]) -> Loudspeaker:
    place, aim, low, high, radius = SPEAKERS[role]
    mirror = -1.0 if side == "left" else 1.0
    at = np.array(place) * [1.0, mirror, 1.0] + rng.uniform(-0.03, 0.03, 3) * [1.0, 0.5, 1.0]
    low, high = low * rng.uniform(0.88, 1.14), high * rng.uniform(0.85, 1.15)
    bells = [
        bell(np.exp(rng.uniform(np.log(low * 1.5), np.log(min(high, 18000.0)))), rng.uniform(-4, 4), rng.uniform(2, 6))
        for _ in range(4)
    ]
    gain = 10.0 ** ((car[role] + rng.uniform(-0.7, 0.7)) / 20.0) * (-1.0 if rng.random() < 0.25 else 1.0)
    latency = car["latency"] + rng.uniform(0.0, car["spread"])
    name = role if side == "centre" else f"{side} {role}"
    aim_unit = np.array(aim) * [1.0, mirror, 1.0]
    sections = np.vstack([[high_pass(low, rng.uniform(0.55, 1.1))], bells, low_pass(min(high, 22500.0))])
    beaming = 343.0 / (2.0 * np.pi * radius)
    return Loudspeaker(name, role, side, at, aim_unit / np.linalg.norm(aim_unit), sections, gain, latency, beaming)
