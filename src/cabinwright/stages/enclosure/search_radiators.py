"""Passive radiators that the search for alignments tries: their size, how many, and the mass added to each.

With `radiator` stated it is that one, in other numbers and heavier. Without, it is one made like the drive unit: its suspension
and travel, a cone of its size or a little smaller or larger, whose own mass grows as the 1.5th power of its area. Common
practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.loudspeaker import Box, SpeakerModel
from cabinwright.physics import alignment
from cabinwright.physics.driver import Driver

__all__ = ["MOST_LOAD", "Family", "family"]

Real = NDArray[np.float64]
Flags = NDArray[np.bool_]
VOLUMES, MASSES, SETS = 24, 25, 6
MOST_LOAD = 5.0  #: times the cone's own mass, with what is added: beyond, suspensions sag. Common practice, no source
SIZES = (0.7, 1.0, 1.4)  #: areas, in drive units' own
OWN_QMS = 10.0  #: of a radiator that nobody stated. Common practice, no source
FRAME = 1.2  #: frame over cone, in diameter. Common practice, no source


@dataclass(frozen=True)
class Family:
    """What all tried radiators share, and the sets tried: area and number."""

    cms_m_per_n: float
    qms: float | None
    xmax_m: float | None
    bare_kg: float  #: of one of the area ``bare_m2``
    bare_m2: float
    sets: tuple[tuple[float, int], ...]

    def bare_mass_kg(self, sd_m2: Real) -> Real:
        """Moving mass of one [kg] with nothing added."""
        return np.asarray(self.bare_kg * (sd_m2 / self.bare_m2) ** 1.5)

    def tried(self, room_m3: float, smallest_share: float) -> tuple[Real, Real, Real, Real]:
        """Net volume [m³], area [m²], number and moving mass [kg] of each: all of shape (n,)."""
        volumes = np.geomspace(smallest_share * room_m3, room_m3, VOLUMES)
        grid = np.meshgrid(volumes, np.arange(SETS), np.geomspace(1.0, MOST_LOAD, MASSES), indexing="ij")
        volume, chosen, load = (np.asarray(item.ravel(), dtype=np.float64) for item in grid)
        area, count = np.asarray(self.sets, dtype=np.float64)[chosen.astype(int)].T
        return volume, area, count, load * self.bare_mass_kg(area)

    def tuning_hz(self, volume_m3: Real, sd_m2: Real, count: Real, mms_kg: Real) -> Real:
        """With the box's air."""
        figures = {"mms_kg": mms_kg, "cms_m_per_n": self.cms_m_per_n, "sd_m2": sd_m2}
        return np.asarray(alignment.radiator_tuning_hz(volume_m3=volume_m3, **figures, count=count))  # type: ignore[arg-type]

    def friction(self, mms_kg: Real) -> Real:
        """Mechanical resistance of one [kg/s]."""
        return np.zeros_like(mms_kg) if self.qms is None else np.sqrt(mms_kg / self.cms_m_per_n) / self.qms

    def fit(self, volume_m3: Real, sd_m2: Real, count: Real, room_m3: float) -> Flags:
        """Where air and cones together stay in the room, and a frame is no wider than an edge of a cube of the volume."""
        radius = np.sqrt(sd_m2 / pi)
        inside = volume_m3 + count * 0.5 * sd_m2 * radius <= room_m3 * (1.0 + 1e-9)
        return np.asarray(inside & (2.0 * FRAME * radius <= np.cbrt(volume_m3)))


def family(box: Box, model: SpeakerModel, driver: Driver, units: int) -> Family:
    """The radiator that ``box`` states, in one to six; else sizes near the drive unit's, one or two to each."""
    part = box.radiator
    if part is not None:
        sets = tuple((part.sd_m2, count) for count in range(1, SETS + 1))
        return Family(part.cms_m_per_n, part.qms, part.xmax_m, part.mms_kg, part.sd_m2, sets)
    area = float(driver.sd_m2)
    sets = tuple((size * area, count * units) for size in SIZES for count in (1, 2))
    return Family(float(driver.cms_m_per_n), OWN_QMS, model.xmax_m, float(driver.mms_kg), area, sets)
