"""Speed of sound in humid air.

Ideal gas with water vapour: ``c² = gamma R T / M``, with the molar mass and the heat capacities of the mixture of dry
air and water vapour taken by mole fraction. Saturation pressure of water after ISO 9613-1:1993, Annex B. At cabin
temperatures the result lies within 0.2 m/s of Cramer 1993 (J. Acoust. Soc. Am. 93(5) 2510), far closer than anybody
knows the temperature of a cabin.
"""

from __future__ import annotations

import math

__all__ = ["speed_of_sound_m_s"]

ABSOLUTE_ZERO_C = -273.15
TRIPLE_POINT_K = 273.16
ATMOSPHERE_PA = 101_325.0
GAS_CONSTANT_J_MOL_K = 8.314462618
DRY_AIR_KG_MOL = 0.02896546
WATER_KG_MOL = 0.01801528
HEAT_DRY = 3.5009  #: molar heat capacity of dry air at constant pressure over R, near 20 °C
HEAT_WATER = 4.04  #: of water vapour


def speed_of_sound_m_s(
    *, temperature_c: float = 20.0, relative_humidity: float = 0.5, pressure_pa: float = ATMOSPHERE_PA
) -> float:
    """Speed of sound [m/s] at ``temperature_c`` [°C], relative humidity [0 to 1] and static pressure [Pa].

    Valid from -20 to 50 °C. Raises ``ValueError`` where the air could not exist.
    """
    kelvin = temperature_c - ABSOLUTE_ZERO_C
    if not kelvin > 0.0 or not 0.0 <= relative_humidity <= 1.0 or not pressure_pa > 0.0:
        raise ValueError(
            "temperature must lie above absolute zero, humidity between 0 and 1 and pressure above 0, "
            f"got {temperature_c} °C, {relative_humidity}, {pressure_pa} Pa"
        )
    saturation = ATMOSPHERE_PA * 10.0 ** (-6.8346 * (TRIPLE_POINT_K / kelvin) ** 1.261 + 4.6151)
    water = min(1.0, relative_humidity * saturation / pressure_pa)
    molar_mass = DRY_AIR_KG_MOL * (1.0 - water) + WATER_KG_MOL * water
    heat = HEAT_DRY * (1.0 - water) + HEAT_WATER * water
    return math.sqrt(heat / (heat - 1.0) * GAS_CONSTANT_J_MOL_K * kelvin / molar_mass)
