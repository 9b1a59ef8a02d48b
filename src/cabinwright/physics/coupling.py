"""What a signal cable hears of a power wire beside it: mutual inductance, the voltage induced, and a shield's share of it.

Thin straight wires of one length side by side have ``M = μ0/2π (l asinh(l/d) − √(l² + d²) + d)`` (Grover 1946, Neumann's
integral), for long ones ``μ0 l/2π (ln(2l/d) − 1)``. A body under them acts as a mirror: each current has its image below,
turned round. That holds where the sheet is thicker than the skin depth, for steel from some hundred hertz up; below, the
current that returns through the body spreads, and the loop is larger than what is counted here.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

__all__ = ["induced_v", "mutual_h", "mutual_over_body_h", "pulse_fundamental", "self_over_body_h", "shield_share"]

Real = NDArray[np.float64]

MU0_H_M = 4e-7 * math.pi


def mutual_h(*, length_m: float, spacing_m: float) -> float:
    """Mutual inductance [H] of two thin parallel wires of one length, end beside end.

    >>> round(mutual_h(length_m=1.0, spacing_m=0.1) * 1e9)
    419
    """
    along = length_m * math.asinh(length_m / spacing_m)
    return MU0_H_M / (2.0 * math.pi) * (along - math.hypot(length_m, spacing_m) + spacing_m)


def mutual_over_body_h(*, length_m: float, spacing_m: float, height_m: float) -> float:
    """Mutual inductance [H] of two loops, each of a wire at this height over the body that brings its current back."""
    image_m = math.hypot(spacing_m, 2.0 * height_m)
    return mutual_h(length_m=length_m, spacing_m=spacing_m) - mutual_h(length_m=length_m, spacing_m=image_m)


def self_over_body_h(*, length_m: float, height_m: float, radius_m: float) -> float:
    """Inductance [H] of a long wire with its return through the body: ``μ0 l/2π acosh(h/a)`` (Paul 2008)."""
    return MU0_H_M / (2.0 * math.pi) * length_m * math.acosh(max(height_m / radius_m, 1.0))


def induced_v(*, frequency_hz: float, inductance_h: float, current_a: Real) -> Real:
    """Voltage [V] that sine currents induce, amplitude for amplitude: Faraday."""
    return 2.0 * math.pi * frequency_hz * inductance_h * current_a


def shield_share(*, frequency_hz: float, shield_ohm: float, ground_ohm: Real, loop_h: float) -> Real:
    """Part of a loop's voltage that falls along the shield and so adds to the signal; 0 where ``ground_ohm`` is infinite."""
    return shield_ohm / np.hypot(shield_ohm + ground_ohm, 2.0 * math.pi * frequency_hz * loop_h)


def pulse_fundamental(*, current_a: float, on_share: float) -> float:
    """Amplitude [A] of the fundamental of a current that is switched on for this part of each period: Fourier."""
    return 2.0 * current_a / math.pi * math.sin(math.pi * on_share)
