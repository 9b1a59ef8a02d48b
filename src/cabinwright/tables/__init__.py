"""Tables of the trade as CSV files, every row with its source. Read once, handed out as plain rows."""

from __future__ import annotations

import csv
import math
from bisect import bisect
from functools import cache
from importlib.resources import files

from cabinwright.units import read_gauge

__all__ = [
    "OCTAVES_HZ",
    "absorption",
    "ampacity_a",
    "amplifier_efficiency",
    "breaking_capacity_a",
    "bundle_factor",
    "crossover_range",
    "fuse_ratings_a",
    "greatest_resistance_ohm_km",
    "role_radius_m",
    "role_row",
    "rows",
]


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


def amplifier_efficiency(class_: str) -> tuple[float, float]:
    """Efficiency of an amplifier class at full sine output and at an eighth of it. Raises ``KeyError`` for an unknown class."""
    for row in rows("amplifier_classes"):
        if row["class"] == class_:
            return float(row["efficiency_full"]), float(row["efficiency_music"])
    raise KeyError(class_)


@cache
def _ampacities() -> tuple[tuple[float, ...], tuple[float, ...], tuple[tuple[float, ...], ...]]:
    """Insulation temperatures, areas in mm² and currents in A of the table of ampacities."""
    table = rows("ampacity")
    temperatures = tuple(float(key) for key in table[0] if key.isdigit())
    areas = tuple(read_gauge(f"{row['awg']} AWG").area_mm2 for row in table)
    return temperatures, areas, tuple(tuple(float(row[f"{t:.0f}"]) for t in temperatures) for row in table)


def ampacity_a(*, area_mm2: float, rating_c: float) -> float:
    """Current of one copper wire in air at 30 °C: between rows along straight lines over logarithms, beyond them likewise.

    Insulation between two columns is interpolated; below or above all it takes the nearest.
    """
    temperatures, areas, table = _ampacities()
    rating = min(max(rating_c, temperatures[0]), temperatures[-1])
    upper = next(i for i, at in enumerate(temperatures) if at >= rating and i > 0)
    part = (rating - temperatures[upper - 1]) / (temperatures[upper] - temperatures[upper - 1])
    column = [row[upper - 1] + part * (row[upper] - row[upper - 1]) for row in table]
    k = min(max(bisect(areas, area_mm2), 1), len(areas) - 1)
    slope = math.log(column[k] / column[k - 1]) / math.log(areas[k] / areas[k - 1])
    return column[k - 1] * math.pow(area_mm2 / areas[k - 1], slope)


def bundle_factor(wires: int) -> float:
    """Part of a wire's current that is left in a bundle of so many."""
    return next(float(row["factor"]) for row in reversed(rows("bundles")) if int(row["wires"]) <= wires)


def fuse_ratings_a() -> tuple[float, ...]:
    """Standard ratings of fuses, rising."""
    return tuple(sorted(float(row["rating_a"]) for row in rows("fuse_ratings")))


def breaking_capacity_a(rating_a: float) -> float | None:
    """Current that a standard fuse of this rating is known to break; ``None`` where no source says."""
    known = [row for row in rows("fuse_ratings") if float(row["rating_a"]) >= rating_a]
    return float(known[0]["breaking_a"]) if known and known[0]["breaking_a"] != "unknown" else None


def greatest_resistance_ohm_km(area_mm2: float) -> float | None:
    """Most resistance in Ω/km at 20 °C that IEC 60228 allows a flexible copper conductor of this nominal area."""
    for row in rows("wire_sizes"):
        if abs(float(row["mm2"]) - area_mm2) < 1e-9:
            return float(row["max_ohm_per_km"])
    return None
