"""Ports: end corrections, the length that tunes a box, and where a port stops being a lump of air.

Effective length for a tuning (Helmholtz resonator): L = c² S/(ω² V), S of all ports together. A port is built shorter
by its end corrections, as parts of its radius a:

    flush with a wall   8/(3π) = 0.8488    piston in a wall, Rayleigh 1896; an open pipe's exact value is 0.8216
    free in the air     0.6133             Levine & Schwinger 1948

A slot's end in a wall is the mean of 1/distance over its opening, exactly (``flush_slot_m``); its free end is taken in
the proportion of a round one. A rim that is rounded widens the way: its air is integrated along the flare, and the end
is corrected for the mouth. A bend counts by its centre line.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import asinh, hypot, pi, sqrt

import numpy as np

from cabinwright.physics.driver import SOUND_SPEED_M_S

__all__ = ["FLUSH", "FREE", "Port", "flush_slot_m"]

FLUSH, FREE = 8.0 / (3.0 * pi), 0.6133
ENDS = {"flanged and free": (FLUSH, FREE), "both flanged": (FLUSH, FLUSH), "both free": (FREE, FREE)}
FLARE_STEPS = 400


@dataclass(frozen=True, slots=True)
class Port:
    """One shape, ``count`` times. A slot has ``height_m`` besides ``width_m``; a round one its diameter in ``width_m``."""

    width_m: float
    height_m: float | None = None
    count: int = 1
    flare_radius_m: float = 0.0
    ends: str = "flanged and free"

    @property
    def area_m2(self) -> float:
        """Narrowest area of one [m²]."""
        return pi / 4.0 * self.width_m**2 if self.height_m is None else self.width_m * self.height_m

    @property
    def total_area_m2(self) -> float:
        """Of all of them together [m²]."""
        return self.count * self.area_m2

    @property
    def radius_m(self) -> float:
        """Radius of a round opening of the same area [m]."""
        return sqrt(self.area_m2 / pi)

    @property
    def end_correction_m(self) -> float:
        """What both ends add to the length as built [m]; less than nothing where wide flares take more than that."""
        return sum(self._end(part) for part in ENDS[self.ends])

    def _end(self, part: float) -> float:
        """One end: its own correction, and what its flare's widening takes away."""
        a, rim = self.radius_m, self.flare_radius_m
        shape = 1.0 if self.height_m is None else flush_slot_m(self.width_m, self.height_m) / (FLUSH * a)
        if rim == 0.0:
            return part * shape * a
        mouth = a + rim
        x = (np.arange(FLARE_STEPS) + 0.5) / FLARE_STEPS * rim
        profile = a + rim - np.sqrt(rim**2 - x**2)
        filled = float(np.mean((a / profile) ** 2)) * rim
        return part * shape * mouth * (a / mouth) ** 2 + filled - rim

    def length_for_m(self, *, tuning_hz: float, volume_m3: float) -> float:
        """Length as built [m] that tunes ``volume_m3`` to ``tuning_hz``; not above nothing: no such port can."""
        omega = 2.0 * pi * tuning_hz
        return SOUND_SPEED_M_S**2 * self.total_area_m2 / (omega**2 * volume_m3) - self.end_correction_m

    def tuning_hz(self, *, length_m: float, volume_m3: float) -> float:
        """Tuning [Hz] that this length gives."""
        effective = length_m + self.end_correction_m
        return SOUND_SPEED_M_S / (2.0 * pi) * sqrt(self.total_area_m2 / (effective * volume_m3))

    def pipe_resonance_hz(self, *, length_m: float) -> float:
        """First resonance along the port [Hz]: half a wave in its effective length, both ends open."""
        return SOUND_SPEED_M_S / (2.0 * (length_m + self.end_correction_m))


def flush_slot_m(width_m: float, height_m: float) -> float:
    """End correction [m] of a rectangular opening flush with a wall, its air moving as one piece.

    1/(2π S) ∬∬ dS dS'/r, the mean of 1/r over the rectangle in closed form (Stenzel 1952; Ingard 1953).
    """
    a, b = width_m, height_m
    whole = 2.0 * a * b * (a * asinh(b / a) + b * asinh(a / b)) + 2.0 / 3.0 * (a**3 + b**3 - hypot(a, b) ** 3)
    return whole / (2.0 * pi * a * b)
