"""Batteries, alternators and what amplifiers draw for music."""

from __future__ import annotations

import math

__all__ = [
    "REST_V",
    "bridge_limit_w",
    "class_b_efficiency",
    "hours_left",
    "led_resistor",
    "rest_v",
    "sag_v",
    "strip_drop_v",
]

REST_V: tuple[tuple[float, float], ...] = ((0.0, 11.89), (0.25, 12.06), (0.5, 12.24), (0.75, 12.45), (1.0, 12.65))
"""State of charge and voltage of a rested, flooded lead-acid battery at 27 °C: BCI table."""


def rest_v(charge: float) -> float:
    """Voltage [V] of a rested lead-acid battery with this part of its charge, 0 to 1."""
    share = min(max(charge, 0.0), 1.0)
    upper = next(i for i, (at, _) in enumerate(REST_V) if at >= share and i > 0)
    (s0, v0), (s1, v1) = REST_V[upper - 1], REST_V[upper]
    return v0 + (v1 - v0) * (share - s0) / (s1 - s0)


def sag_v(*, open_v: float, current_a: float, resistance_ohm: float) -> float:
    """Voltage [V] left at the end of a resistance: Ohm's law."""
    return open_v - current_a * resistance_ohm


def class_b_efficiency(part: float) -> float:
    """Efficiency of an ideal class B stage at this part of its greatest sine power: π/4 √part (Self 2013)."""
    return math.pi / 4.0 * math.sqrt(part)


def bridge_limit_w(*, supply_v: float, load_ohm: float) -> float:
    """Sine power [W] of a bridged output on the bare supply, without loss."""
    return supply_v**2 / (2.0 * load_ohm)


def hours_left(*, capacity_ah: float, usable: float, current_a: float) -> float:
    """Hours until the usable part of a battery is gone; infinite where nothing draws.

    Capacity counts at the 20 h rate; a heavier draw gives less (Peukert), so this is an upper bound there.
    """
    return math.inf if current_a <= 0.0 else capacity_ah * usable / current_a


def strip_drop_v(*, current_a: float, resistance_ohm: float, both_ends: bool = False) -> float:
    """Voltage [V] lost to the dimmest place of a strip that draws evenly along its length.

    Fed at one end, the far end loses I R/2: the current falls off evenly on the way. Fed at both ends, the middle loses an
    eighth. ``resistance_ohm`` is of both tracks from end to end.
    """
    return current_a * resistance_ohm / (8.0 if both_ends else 2.0)


def led_resistor(*, supply_v: float, string_v: float, current_a: float) -> tuple[float, float]:
    """Resistance [Ω] that sets the current of a string of light-emitting diodes, and the power [W] it turns into heat.

    >>> resistance, power = led_resistor(supply_v=14.4, string_v=9.6, current_a=0.02)
    >>> round(resistance), round(power, 3)
    (240, 0.096)
    """
    left = max(supply_v - string_v, 0.0)
    return left / current_a, left * current_a
