"""Wires: resistance, the current they stand, and how long they stand a short circuit.

Resistance ``R = ρ20 (1 + α20 (t − 20 °C)) l / A`` of the nominal area. Copper: ρ20 = 1/58 Ω mm²/m, α20 = 0.00393 1/K (IEC
60028). Copper-clad aluminium with a tenth of copper by area: 0.0274 Ω mm²/m (ASTM B566 class 10A, from memory) and
0.0040 1/K. Stranding adds 2 to 5 %, which nominal area leaves out; IEC 60228 states what is allowed at most.

Current in free air: heat made equals heat lost by free convection from a horizontal cylinder (Churchill & Chu 1975) and by
radiation, through the insulation. Short circuit: nothing is lost, ``t = (k A / I)²`` (IEC 60364-4-43), valid to 5 s and
on the safe side beyond.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

__all__ = [
    "CONDUCTORS",
    "Conductor",
    "adiabatic_k",
    "adiabatic_s",
    "ambient_factor",
    "free_air_current_a",
    "resistance_ohm",
    "temperature_factor",
]

Material = Literal["copper", "copper-clad aluminium"]


@dataclass(frozen=True)
class Conductor:
    """What a conductor is made of."""

    rho20_ohm_mm2_m: float
    alpha20_per_k: float
    adiabatic: float  #: A s^½/mm² before the logarithm, IEC 60364-5-54 annex A
    beta_c: float  #: reciprocal of the temperature coefficient at 0 °C, same annex


CONDUCTORS: dict[str, Conductor] = {
    "copper": Conductor(1.7241e-2, 0.00393, 226.0, 234.5),
    # k as for plain aluminium, which is less than copper-clad: on the safe side
    "copper-clad aluminium": Conductor(2.74e-2, 0.00400, 148.0, 228.0),
}
SHORT_LIMIT_C = {"EPR": 250.0, "XLPE": 250.0, "silicone": 250.0, "ETFE": 250.0, "PTFE": 250.0}
"""Conductor at the end of a short circuit: IEC 60364-4-43 table 43A. Silicone and fluoropolymers stand more, taken as XLPE."""
PLASTIC_LIMIT_C = 160.0  #: PVC, same table, and other thermoplastics taken as PVC
EMISSIVITY = 0.9
STEFAN_BOLTZMANN = 5.670374e-8
INSULATION_W_MK = 0.17  #: plastics, typical; from memory
GRAVITY = 9.80665


def temperature_factor(*, conductor_c: float, material: Material = "copper") -> float:
    """Resistance at ``conductor_c`` over that at 20 °C [1]."""
    return 1.0 + CONDUCTORS[material].alpha20_per_k * (conductor_c - 20.0)


def resistance_ohm(*, length_m: float, area_mm2: float, conductor_c: float, material: Material = "copper") -> float:
    """Resistance [Ω] of a length of wire, one way.

    >>> round(resistance_ohm(length_m=10.0, area_mm2=35.0, conductor_c=60.0), 7)
    0.0057004
    """
    factor = temperature_factor(conductor_c=conductor_c, material=material)
    return CONDUCTORS[material].rho20_ohm_mm2_m * factor * length_m / area_mm2


def adiabatic_k(*, insulation: str, start_c: float, material: Material = "copper") -> float:
    """Factor k [A s^½/mm²] from ``start_c`` to what the insulation (its first word) stands in a short circuit.

    >>> round(adiabatic_k(insulation="PVC", start_c=70.0))
    115
    """
    conductor = CONDUCTORS[material]
    end_c = SHORT_LIMIT_C.get(insulation.split()[0], PLASTIC_LIMIT_C)
    rise = (end_c - start_c) / (conductor.beta_c + start_c)
    return conductor.adiabatic * math.sqrt(math.log1p(rise))


def adiabatic_s(*, current_a: float, area_mm2: float, k: float) -> float:
    """How long [s] a wire stands a short-circuit current. ``math.inf`` for none."""
    return math.inf if current_a <= 0.0 else (k * area_mm2 / current_a) ** 2


def ambient_factor(*, rating_c: float, ambient_c: float, table_ambient_c: float = 30.0) -> float:
    """Part of a current tabulated at ``table_ambient_c`` that is left at ``ambient_c``: current goes as √ΔT; 0 above."""
    return math.sqrt(max(0.0, rating_c - ambient_c) / (rating_c - table_ambient_c))


@lru_cache(maxsize=4096)
def free_air_current_a(
    *, area_mm2: float, conductor_c: float, ambient_c: float, material: Material = "copper"
) -> float:
    """Current [A] that heats one wire alone in still air to ``conductor_c``; 0 where the air is as hot already.

    Within some 10 % of published tables for single wires in air; no bundle, no conduit.
    """
    if conductor_c <= ambient_c:
        return 0.0
    bare_m = math.sqrt(4.0 * area_mm2 / math.pi) * 1e-3 * 1.13  # strands fill some 78 % of their circle
    outer_m = bare_m + 2.0 * (0.4e-3 + 0.1 * bare_m)
    path = 2.0 * math.pi * INSULATION_W_MK / math.log(outer_m / bare_m)
    low, high = ambient_c, conductor_c
    for _ in range(50):
        surface_c = 0.5 * (low + high)
        if _lost_w_m(surface_c, ambient_c, outer_m) < path * (conductor_c - surface_c):
            low = surface_c
        else:
            high = surface_c
    per_m = resistance_ohm(length_m=1.0, area_mm2=area_mm2, conductor_c=conductor_c, material=material)
    return math.sqrt(_lost_w_m(low, ambient_c, outer_m) / per_m)


def _lost_w_m(surface_c: float, ambient_c: float, diameter_m: float) -> float:
    """Heat [W/m] lost by a horizontal cylinder: Churchill & Chu 1975, air at film temperature (power laws in kelvin)."""
    film_k = 0.5 * (surface_c + ambient_c) + 273.15
    viscosity = 1.59e-5 * math.pow(film_k / 300.0, 1.76)
    conductivity, prandtl = 0.0263 * math.pow(film_k / 300.0, 0.83), 0.707
    rise = surface_c - ambient_c
    rayleigh = GRAVITY * rise * diameter_m**3 * prandtl / (film_k * viscosity**2)
    bracket = math.pow(1.0 + math.pow(0.559 / prandtl, 9 / 16), 8 / 27)
    nusselt = (0.60 + 0.387 * math.pow(rayleigh, 1 / 6) / bracket) ** 2
    radiated = EMISSIVITY * STEFAN_BOLTZMANN * ((surface_c + 273.15) ** 4 - (ambient_c + 273.15) ** 4)
    return math.pi * (conductivity * nusselt * rise + diameter_m * radiated)
