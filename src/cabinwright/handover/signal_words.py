"""Voltages and resistances of the signal chain, as they are written for people."""

from __future__ import annotations

import math

__all__ = ["ohm", "volts"]


def volts(value_v: float) -> str:
    """With as many digits as a meter tells."""
    if not math.isfinite(value_v):
        return "–"
    if value_v >= 10.0:
        return f"{value_v:.1f} V"
    if value_v >= 0.1:
        return f"{value_v:.2f} V"
    return f"{1e3 * value_v:.3g} mV" if value_v >= 1e-3 else f"{1e6 * value_v:.3g} µV"


def ohm(value_ohm: float) -> str:
    """Three digits."""
    return f"{value_ohm / 1000.0:.3g} kΩ" if value_ohm >= 1000.0 else f"{value_ohm:.3g} Ω"
