"""Tables of the trade as CSV files, every row with its source. Read once, handed out as plain rows."""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files

__all__ = ["OCTAVES_HZ", "absorption", "crossover_range", "role_radius_m", "role_row", "rows"]


OCTAVES_HZ = (125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)
"""Octave bands in which surfaces absorb (IEC 61260-1 nominal centres)."""


@cache
def rows(table: str) -> tuple[dict[str, str], ...]:
    """All rows of ``table`` (a file name without ``.csv``) as strings."""
    text = files("cabinwright.tables").joinpath(f"{table}.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))


def role_row(role: str) -> tuple[int, float, float]:
    """Rank from low to high, lowest and highest safe frequency in Hz of a loudspeaker role."""
    for row in rows("roles"):
        if row["role"] == role:
            return int(row["rank"]), float(row["safe_low_hz"]), float(row["safe_high_hz"])
    raise KeyError(role)


def role_radius_m(role: str) -> float:
    """Usual effective radius of the cone in m of a loudspeaker role. Raises ``KeyError`` for an unknown role."""
    for row in rows("roles"):
        if row["role"] == role:
            return float(row["radius_m"])
    raise KeyError(role)


def crossover_range(lower: str, upper: str) -> tuple[float, float, float]:
    """Lowest, usual and highest crossover frequency in Hz between two roles; the first row that fits."""
    for row in rows("crossovers"):
        if row["lower"] == lower and row["upper"] in (upper, "*"):
            return float(row["low_hz"]), float(row["usual_hz"]), float(row["high_hz"])
    raise KeyError((lower, upper))


def absorption(material: str) -> tuple[float, ...]:
    """Absorption coefficient of a surface material in ``OCTAVES_HZ``. Raises ``KeyError`` for an unknown material."""
    for row in rows("absorption"):
        if row["material"] == material:
            return tuple(float(row[f"{band:.0f}"]) for band in OCTAVES_HZ)
    raise KeyError(material)
