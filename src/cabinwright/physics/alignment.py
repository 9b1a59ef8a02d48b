"""What a box's curve amounts to: losses at its tuning, half-power frequency, group delay, and its resonances.

Definitions of Small 1972, 1973 and 1974; see ``box``.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.box import Answer, Load, acoustic_compliance, level_db, passband_db, solve
from cabinwright.physics.driver import AIR_DENSITY_KG_M3, AIR_STIFFNESS_PA, Driver

__all__ = [
    "closed_box",
    "closed_load",
    "group_delay_s",
    "half_power_hz",
    "radiator_load",
    "radiator_tuning_hz",
    "vented_load",
]

Real = NDArray[np.float64]
Number = Any
HALF_POWER_DB = 10.0 * np.log10(0.5)
LOWEST_HZ, HIGHEST_HZ = 0.5, 20_000.0


def closed_box(driver: Driver, *, volume_m3: Number, units: int = 1, source_ohm: float = 0.0) -> tuple[Number, Number]:
    """Resonance [Hz] and total Q [1] without losses of the box: fs √(1 + α), Qts √(1 + α), α = units Vas/V.

    ``source_ohm`` [ohm] is what stands before each drive unit.
    """
    rise = np.sqrt(1.0 + units * driver.vas_m3 / volume_m3)
    electrical = driver.qes * (1.0 + source_ohm / driver.re_ohm)
    return driver.fs_hz * rise, rise / (1.0 / electrical + 1.0 / driver.qms)


def closed_load(
    *, volume_m3: Number, resonance_hz: Number = 1.0, ql: float | None = None, qa: float | None = None
) -> Load:
    """A closed volume [m³]; losses are quoted at ``resonance_hz`` [Hz]."""
    compliance = acoustic_compliance(volume_m3=volume_m3)
    at = 2.0 * np.pi * resonance_hz * compliance
    return Load(
        compliance=compliance,
        absorption=None if qa is None else 1.0 / (at * qa),
        leak=None if ql is None else ql / at,
    )


def vented_load(
    *, volume_m3: Number, tuning_hz: Number, ql: float | None = 10.0, qa: float | None = None, qp: float | None = None
) -> Load:
    """A volume [m³] whose port resonates with it at ``tuning_hz`` [Hz], whatever the port looks like."""
    closed = closed_load(volume_m3=volume_m3, resonance_hz=tuning_hz, ql=ql, qa=qa)
    omega = 2.0 * np.pi * tuning_hz
    mass = 1.0 / (omega**2 * closed.compliance)
    friction = 0.0 if qp is None else omega * mass / qp
    return Load(closed.compliance, closed.absorption, closed.leak, mass, friction)


def radiator_load(
    *,
    volume_m3: Number,
    mms_kg: Number,
    cms_m_per_n: Number,
    sd_m2: Number,
    qms: float | None = None,
    count: int = 1,
    ql: float | None = None,
    qa: float | None = None,
) -> Load:
    """A volume [m³] with ``count`` like passive radiators; losses of the volume are quoted at its tuning."""
    tuning = radiator_tuning_hz(volume_m3=volume_m3, mms_kg=mms_kg, cms_m_per_n=cms_m_per_n, sd_m2=sd_m2, count=count)
    closed = closed_load(volume_m3=volume_m3, resonance_hz=tuning, ql=ql, qa=qa)
    friction = 0.0 if qms is None else np.sqrt(mms_kg / cms_m_per_n) / qms
    area = sd_m2**2 * count
    return Load(closed.compliance, closed.absorption, closed.leak, mms_kg / area, friction / area, cms_m_per_n * area)


def radiator_tuning_hz(
    *, volume_m3: Number, mms_kg: Number, cms_m_per_n: Number, sd_m2: Number, count: int = 1
) -> Number:
    """fB = fp √(1 + δ) [Hz], δ = count · ρ c² Cmp Sp² / V: Small 1974."""
    own = 1.0 / (2.0 * np.pi * np.sqrt(mms_kg * cms_m_per_n))
    return own * np.sqrt(1.0 + count * AIR_STIFFNESS_PA * cms_m_per_n * sd_m2**2 / volume_m3)


def port_mass(*, effective_length_m: Number, area_m2: Number) -> Number:
    """Acoustic mass [kg/m⁴] of a port: ρ L/S."""
    return AIR_DENSITY_KG_M3 * effective_length_m / area_m2


def group_delay_s(driver: Driver, load: Load, *, frequency_hz: Real, **feed: Any) -> Real:
    """Group delay [s] of the sound pressure at 1 m, without the way through the air: −dφ/dω by central difference."""
    step = 1e-4 * np.asarray(frequency_hz, dtype=np.float64)
    after, before = (
        solve(driver, load, frequency_hz=frequency_hz + sign * step, **feed).pressure_pa for sign in (1.0, -1.0)
    )
    turned: Real = np.angle(after * np.conj(before))
    return np.asarray(-turned / (2.0 * np.pi * 2.0 * step), dtype=np.float64)


def half_power_hz(driver: Driver, load: Load, *, points: int = 1500, **feed: Any) -> float | None:
    """Lowest frequency [Hz] at half the passband's power, the voice coil's inductance left out; None without one.

    The passband is the level far above resonance. Found on a fine grid, then by bisection between two of its points.
    """
    grid = np.geomspace(LOWEST_HZ, HIGHEST_HZ, points)
    goal = float(passband_db(driver, load, **feed)) + HALF_POWER_DB

    def over(frequency_hz: Real) -> Real:
        answer: Answer = solve(driver, load, frequency_hz=frequency_hz, inductance=False, **feed)
        return np.asarray(level_db(answer.pressure_pa) - goal)

    above = over(grid) >= 0.0
    if not above.any() or above[0]:
        return None
    at = int(np.argmax(above))
    low, high = float(grid[at - 1]), float(grid[at])
    for _ in range(40):
        middle = np.sqrt(low * high)
        low, high = (low, middle) if over(np.asarray([middle]))[0] >= 0.0 else (middle, high)
    return float(np.sqrt(low * high))
