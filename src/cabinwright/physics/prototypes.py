"""Log-responses of filter sections and their analytic derivatives, for solvers.

Every section here is the bilinear transform of an analogue prototype with its corner pre-warped, so on the unit circle
the prototype is evaluated at ``s = j x`` with ``x = tan(w/2) / tan(w0/2)`` (w, w0 in radians per sample). That is
algebraically the same filter as ``physics.filters`` writes as coefficients (audio-EQ cookbook, Bristow-Johnson; a test
holds the two together), but its logarithm has short exact derivatives by ln f0, gain in dB and ln Q.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["all_pass", "high_pass", "low_pass", "peaking", "warp"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

LN10 = float(np.log(10.0))


def warp(*, frequency_hz: Real, corner_hz: Real, sample_rate_hz: float) -> tuple[Real, Real]:
    """Return ``x`` and ``d ln x / d ln f0``; shapes broadcast from ``frequency_hz`` (..., F) and ``corner_hz`` (..., 1)."""
    w0 = 2.0 * np.pi * corner_hz / sample_rate_hz
    x = np.tan(np.pi * frequency_hz / sample_rate_hz) / np.tan(w0 / 2.0)
    return x, -w0 / np.sin(w0)


def peaking(x: Real, slope: Real, *, gain_db: Real, q: Real) -> tuple[Complex, Complex, Complex, Complex]:
    """Response and the derivatives of its logarithm by ln f0, gain in dB and ln Q.

    ``x`` and ``slope`` come from ``warp``; ``gain_db`` and ``q`` broadcast against ``x``.
    """
    amp = 10.0 ** (gain_db / 40.0)
    upper, lower = 1j * (x * amp / q), 1j * (x / (amp * q))
    flat = (1.0 - x * x).astype(np.complex128)
    top, bottom = flat + upper, flat + lower
    up, low = upper / top, lower / bottom
    by_x = up - low - 2.0 * x * x * (1.0 / top - 1.0 / bottom)
    return _complex(top / bottom), _complex(by_x * slope), _complex((up + low) * (LN10 / 40.0)), _complex(low - up)


def all_pass(x: Real, slope: Real, *, q: Real) -> tuple[Complex, Complex, Complex]:
    """Second-order all-pass and the derivatives of its logarithm by ln f0 and ln Q."""
    turn = 1j * x / q
    flat = (1.0 - x * x).astype(np.complex128)
    top, bottom = flat - turn, flat + turn
    by_x = -2.0 * x * x * (1.0 / top - 1.0 / bottom) - turn / top - turn / bottom
    return _complex(top / bottom), _complex(by_x * slope), _complex(turn / top + turn / bottom)


def low_pass(x: Real, slope: Real, *, qs: list[float | None]) -> tuple[Complex, Complex]:
    """Low-pass of sections with Qs ``qs`` (None: first order) and the derivative of its logarithm by ln f0."""
    total = np.ones(x.shape, dtype=np.complex128)
    by_x = np.zeros(x.shape, dtype=np.complex128)
    for q in qs:
        bottom = 1.0 + 1j * x if q is None else 1.0 - x * x + 1j * x / q
        lean = 1j * x if q is None else -2.0 * x * x + 1j * x / q
        total /= bottom
        by_x -= lean / bottom
    return total, by_x * slope


def high_pass(x: Real, slope: Real, *, qs: list[float | None]) -> tuple[Complex, Complex]:
    """High-pass of sections with Qs ``qs`` (None: first order) and the derivative of its logarithm by ln f0."""
    total, by_corner = low_pass(x, slope, qs=qs)
    order = sum(1 if q is None else 2 for q in qs)
    return total * (1j * x) ** order, by_corner + order * slope


def _complex(values: NDArray[Any]) -> Complex:
    return np.asarray(values, dtype=np.complex128)
