"""Boxes as lumped circuits: like drive units on one air volume with its leak, and a port or a passive radiator.

Small 1972 (closed boxes), Small 1973 (vented boxes, with the three losses QL, QA and QP), Small 1974 (passive
radiators), Thiele 1971. With ω0 the frequency that the losses are quoted at and Cab = V/(ρ c²):

    leak        Ral = QL/(ω0 Cab), across the volume        absorption  Rab = 1/(ω0 Cab QA), in series with it
    port        jω Map + Rap, Map = ρ L/S, Rap = ω0 Map/QP  radiator    (jω Mmp + Rmp + 1/(jω Cmp))/Sp²

The volume flow that is heard is the sum of cone, port or radiator and leak, which is the flow that compresses the air.
Its pressure at r in half space: p = jωρ U/(2π r). Valid where the box is small against the wavelength and linear.
All that depends on frequency broadcasts, so that thousands of boxes or frequencies are one call.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.driver import AIR_DENSITY_KG_M3, AIR_STIFFNESS_PA, Driver

__all__ = ["Answer", "Load", "acoustic_compliance", "level_db", "passband_db", "solve"]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]
Number = Any  #: a float, or an array that broadcasts against the frequencies

REFERENCE_PA = 20e-6
FAR_ABOVE_HZ = 1e5  #: where nothing but the moving mass is left


@dataclass(frozen=True, slots=True)
class Load:
    """What the rear of the cones works on. Parts that are absent are None; ``compliance`` None is an infinite baffle.

    All in acoustic units: m³/Pa, Pa·s/m³ and kg/m⁴.
    """

    compliance: Number | None = None
    absorption: Number | None = None  #: resistance in series with the compliance
    leak: Number | None = None  #: resistance across the volume
    branch_mass: Number | None = None  #: of the port, or of all radiators together
    branch_resistance: Number = 0.0
    branch_compliance: Number | None = None  #: of a radiator's suspension; None: a port


@dataclass(frozen=True, slots=True)
class Answer:
    """Complex amplitudes (rms), each of the shape that frequencies, drive units and loads broadcast to."""

    frequency_hz: Real
    pressure_pa: Complex  #: at 1 m in half space
    displacement_m: Complex  #: of one cone
    branch_flow_m3_s: Complex  #: through all ports or radiators together, inwards; zeros without one
    coil_v: Complex  #: across one drive unit
    impedance_ohm: Complex  #: of all of them as they are wired, without what feeds them


def acoustic_compliance(*, volume_m3: Number) -> Number:
    """Compliance [m³/Pa] of an air volume, adiabatic."""
    return volume_m3 / AIR_STIFFNESS_PA


def solve(
    driver: Driver,
    load: Load,
    *,
    frequency_hz: Real,
    source_v: float,
    in_series: int = 1,
    in_parallel: int = 1,
    source_ohm: float = 0.0,
    inductance: bool = True,
) -> Answer:
    """The circuit at ``frequency_hz`` [Hz], fed by ``source_v`` [V rms] behind ``source_ohm`` [ohm].

    ``in_series × in_parallel`` like drive units share the load; ``inductance`` False leaves the voice coil's out.
    """
    units = in_series * in_parallel
    s: Complex = np.asarray(2j * np.pi * np.asarray(frequency_hz), dtype=np.complex128)
    rear, air, branch = _rear(load, s)
    mechanical = driver.rms_kg_s + s * driver.mms_kg + 1.0 / (s * driver.cms_m_per_n)
    mechanical = mechanical + units * driver.sd_m2**2 * rear
    coil = driver.re_ohm + driver.bl_t_m**2 / mechanical
    if inductance:
        coil = coil + s * driver.le_h
    whole = coil * in_series / in_parallel
    coil_v = source_v * whole / (whole + source_ohm) / in_series
    velocity = driver.bl_t_m * coil_v / coil / mechanical
    flow = units * driver.sd_m2 * velocity
    inside = flow * rear
    heard = flow if air is None else inside * air
    through = np.zeros_like(heard) if branch is None else inside * branch
    return Answer(
        frequency_hz=np.asarray(frequency_hz, dtype=np.float64),
        pressure_pa=AIR_DENSITY_KG_M3 / (2.0 * np.pi) * s * heard,
        displacement_m=velocity / s,
        branch_flow_m3_s=through,
        coil_v=coil_v,
        impedance_ohm=whole,
    )


def _rear(load: Load, s: Complex) -> tuple[Complex, Complex | None, Complex | None]:
    """Impedance behind the cones, and the admittances of the air and of the branch (None where there is none)."""
    if load.compliance is None:
        return np.zeros_like(s), None, None
    air = s * load.compliance
    if load.absorption is not None:
        air = air / (1.0 + air * load.absorption)
    admittance, branch = air, None
    if load.leak is not None:
        admittance = admittance + 1.0 / load.leak
    if load.branch_mass is not None:
        way = s * load.branch_mass + load.branch_resistance
        if load.branch_compliance is not None:
            way = way + 1.0 / (s * load.branch_compliance)
        branch = 1.0 / way
        admittance = admittance + branch
    return 1.0 / admittance, air, branch


def level_db(pressure_pa: Complex) -> Real:
    """Sound pressure level [dB re 20 µPa] of rms pressures [Pa]; silence is -400."""
    size = np.maximum(np.abs(pressure_pa), 1e-20 * REFERENCE_PA)
    return np.asarray(20.0 * np.log10(size / REFERENCE_PA), dtype=np.float64)


def passband_db(driver: Driver, load: Load, **feed: Any) -> Real:
    """Level far above resonance [dB at 1 m] without the voice coil's inductance; ``feed`` as for ``solve``."""
    answer = solve(driver, load, frequency_hz=np.asarray([FAR_ABOVE_HZ]), inductance=False, **feed)
    return level_db(answer.pressure_pa)[..., 0]
