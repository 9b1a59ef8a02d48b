"""What a drawing says of its unit, and which other one it may have been drawn in."""

from __future__ import annotations

from dataclasses import dataclass

from cabinwright.physics.read_in import ReadIn

__all__ = ["UNITS_M", "Stated", "read_in"]

UNITS_M = {"mm": 0.001, "cm": 0.01, "m": 1.0, "in": 0.0254, "ft": 0.3048}
OTHER = {"mm": "in", "cm": "in", "in": "mm", "m": "ft", "ft": "m"}  #: what a number is taken for by mistake


@dataclass(frozen=True)
class Stated:
    """A unit that a file states, in metres, its name, and what in the same file speaks against it."""

    unit_m: float
    name: str
    doubt: str = ""
    other: tuple[str, float] | None = None  #: what the file says besides, and one unit of that in metres


def read_in(stated: Stated | None, units: str | None) -> ReadIn | None:
    """How sure the unit is; ``units`` is what the build says. None where nobody says one."""
    if stated is not None:
        other = OTHER[stated.name]
        name, unit_m = stated.other or (other, stated.unit_m * UNITS_M[other] / UNITS_M[stated.name])
        return ReadIn(stated.name, name, unit_m / stated.unit_m, stated.doubt)
    if units is None:
        return None
    other = OTHER[units]
    doubt = f"the file states no unit and file_units says {units}"
    return ReadIn(units, other, UNITS_M[other] / UNITS_M[units], doubt)
