"""What a perforated sheet costs in sound: mass and resistance of the air in its holes, and what that takes off the level.

One hole of diameter d in a sheet of thickness t, its air stuck to the wall (Crandall; Maa 1998)::

    z = jωρt / (1 − 2 J₁(κ) / (κ J₀(κ))),   κ = (d/2) √(−jωρ/μ)
    ends: ½√(2ωρμ) of resistance and 8/(3π) d ψ(√σ) of length, both sides together (Ingard 1953)

with Fok's function for what neighbouring holes take from each other's ends, here as the factor
``ψ(ξ) = 1 − 1.4092 ξ + 0.33818 ξ³ + 0.06793 ξ⁵ − 0.02287 ξ⁶ + 0.03015 ξ⁷ − 0.01641 ξ⁸`` (Melling 1973; ξ = √σ, which is Fok's
0.88 d/b of a square field). Holes lie in parallel: volume flows add. Level lost by a plane wave that meets the sheet head-on is
``20 log |1 + z/(2ρc)|``. Holes far smaller than the wavelength, and σ below about 0.7.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import jv

__all__ = [
    "AIR_SPEED_LIMIT_M_S",
    "air_speed_m_s",
    "end_correction",
    "grille_loss_db",
    "hole_impedance",
    "sheet_impedance",
]

DENSITY_KG_M3, SPEED_M_S, VISCOSITY_PA_S = 1.204, 343.2, 1.81e-5  #: air at 20 °C
FOK = (1.0, -1.4092, 0.0, 0.33818, 0.0, 0.06793, -0.02287, 0.03015, -0.01641)
BOTH_ENDS = 8.0 / (3.0 * math.pi)
AIR_SPEED_LIMIT_M_S = 10.0
"""Peak speed in sharp-edged holes before the air is heard; common practice, well below the 17 m/s of a flared port."""

Floats = NDArray[np.float64]
Complex = NDArray[np.complex128]


def end_correction(*, diameter_m: float | Floats, open_share: float) -> float | Floats:
    """Length [m] that both ends of a hole add to its air, where holes take ``open_share`` (0 to 0.7) of the sheet."""
    if not 0.0 <= open_share <= 0.7:
        raise ValueError(f"the open share must lie between 0 and 0.7, got {open_share:g}")
    psi = float(np.polynomial.polynomial.polyval(math.sqrt(open_share), FOK))
    return BOTH_ENDS * diameter_m * max(psi, 0.0)


def hole_impedance(*, frequency_hz: Floats, diameter_m: Floats, thickness_m: float, open_share: float) -> Complex:
    """Pressure over the mean speed in a hole (f, n) [Pa s/m], for frequencies (f,) and diameters (n,)."""
    omega = 2.0 * np.pi * np.asarray(frequency_hz, dtype=float)[:, None]
    d = np.asarray(diameter_m, dtype=float)[None, :]
    kappa = d / 2.0 * np.sqrt(-1j * omega * DENSITY_KG_M3 / VISCOSITY_PA_S)
    # The ratio of two growing functions; beyond |κ| = 80 it is tan's limit and would overflow.
    tame = np.where(np.abs(kappa) < 80.0, kappa, 1.0)
    ratio = np.where(np.abs(kappa) < 80.0, jv(1, tame) / jv(0, tame), -1j)
    inner = 1j * omega * DENSITY_KG_M3 * thickness_m / (1.0 - 2.0 * ratio / kappa)
    ends = 0.5 * np.sqrt(2.0 * omega * DENSITY_KG_M3 * VISCOSITY_PA_S)
    added = end_correction(diameter_m=d, open_share=open_share)
    return np.asarray(inner + ends + 1j * omega * DENSITY_KG_M3 * added)


def sheet_impedance(*, frequency_hz: Floats, diameter_m: Floats, area_share: Floats, thickness_m: float) -> Complex:
    """Pressure over the mean speed before the sheet (f,) [Pa s/m], holes (n,) each open over ``area_share`` (n,) of it.

    Infinite where nothing is open. Sheets in a row add.
    """
    share = float(np.sum(area_share))
    if share <= 0.0:
        return np.full(np.shape(frequency_hz), np.inf, dtype=np.complex128)
    z = hole_impedance(
        frequency_hz=frequency_hz, diameter_m=diameter_m, thickness_m=thickness_m, open_share=min(share, 0.7)
    )
    return np.asarray(1.0 / np.sum(np.asarray(area_share)[None, :] / z, axis=1))


def grille_loss_db(impedance: Complex) -> Floats:
    """Level lost (f,) [dB] by a plane wave through sheets of this impedance (f,)."""
    half = 2.0 * DENSITY_KG_M3 * SPEED_M_S
    return np.asarray(20.0 * np.log10(np.hypot(1.0 + impedance.real / half, impedance.imag / half)))


def air_speed_m_s(*, area_m2: float, excursion_m: float, frequency_hz: float, open_m2: float) -> float:
    """Peak speed of the air in the holes that a cone of ``area_m2`` drives, ``excursion_m`` peak at ``frequency_hz``."""
    return 2.0 * math.pi * frequency_hz * excursion_m * area_m2 / open_m2 if open_m2 > 0.0 else math.inf
