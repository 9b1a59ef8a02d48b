"""A drive unit as lumped parts, and the figures that are quoted for it.

Definitions: Small 1972 (direct-radiator analysis), Thiele 1971. With ω = 2π fs:

    fs = 1/(2π √(Mms Cms))       Vas = ρ c² Cms Sd²
    Qes = ω Mms Re / Bl²         Qms = ω Mms / Rms          1/Qts = 1/Qes + 1/Qms

Valid where the cone moves as one piece and is small against the wavelength. Air at 20 °C and 101 325 Pa, dry.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["AIR_DENSITY_KG_M3", "AIR_STIFFNESS_PA", "SOUND_SPEED_M_S", "Driver"]

AIR_DENSITY_KG_M3 = 1.204
SOUND_SPEED_M_S = 343.2
AIR_STIFFNESS_PA = AIR_DENSITY_KG_M3 * SOUND_SPEED_M_S**2  #: ρ c², adiabatic

Real = Any  #: a float, or an array of floats that broadcasts against the frequencies


@dataclass(frozen=True, slots=True)
class Driver:
    """Lumped parts of one drive unit. Every part may be an array, for many units at once."""

    mms_kg: Real
    cms_m_per_n: Real
    rms_kg_s: Real  #: mechanical resistance, N·s/m
    bl_t_m: Real
    re_ohm: Real
    sd_m2: Real
    le_h: Real = 0.0

    @property
    def fs_hz(self) -> Real:
        """Resonance [Hz]."""
        return 1.0 / (2.0 * np.pi * np.sqrt(self.mms_kg * self.cms_m_per_n))

    @property
    def qes(self) -> Real:
        """Electrical Q [1]."""
        return np.sqrt(self.mms_kg / self.cms_m_per_n) * self.re_ohm / self.bl_t_m**2

    @property
    def qms(self) -> Real:
        """Mechanical Q [1]."""
        return np.sqrt(self.mms_kg / self.cms_m_per_n) / self.rms_kg_s

    @property
    def qts(self) -> Real:
        """Total Q [1]."""
        return 1.0 / (1.0 / self.qes + 1.0 / self.qms)

    @property
    def vas_m3(self) -> Real:
        """Air volume as compliant as the suspension [m³]."""
        return AIR_STIFFNESS_PA * self.cms_m_per_n * self.sd_m2**2

    def column(self) -> Driver:
        """The same with a last axis of length one on every array, to broadcast against frequencies."""
        parts = {name: _column(getattr(self, name)) for name in self.__slots__}
        return Driver(**parts)


def _column(value: Real) -> float | NDArray[np.float64]:
    array = np.asarray(value, dtype=np.float64)
    return array[..., None] if array.ndim else float(array)
