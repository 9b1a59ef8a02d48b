"""What every place of a comparison shares: facets with their absorption, heads and their boxes, and the air."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import product

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build, Seat
from cabinwright.findings import Finding, finding
from cabinwright.physics.air import speed_of_sound_m_s
from cabinwright.physics.edges import Edges, bending_edges, detour_m
from cabinwright.physics.facets import Facet, FacetError, may_block
from cabinwright.physics.image_sources import Images
from cabinwright.tables import OCTAVES_HZ, absorption

__all__ = ["BOX_ORDER", "BOX_POINTS", "MANY", "ORDER", "Room", "box_points", "front_row", "listening_seat", "make_room"]

Real = NDArray[np.float64]
ORDER = 3  #: reflections are followed to this order at the head centre
BOX_ORDER = 2  #: and to this one over the head box
BOX_POINTS = 9  #: centre and corners
FRONT_M = 0.5  #: seats no further behind the foremost than this are front seats
LIKELY_M = (1.0, 7.0)  #: length of the inside of a road car; outside it units are probably mixed up
LIKELY_WIDE_M = 2.5
CROWD = 60  #: more surfaces than this that stand free in the cabin are no cabin that sound was ever followed through
MANY = 6  #: fewer surfaces than this need not reach round a cabin


@dataclass(frozen=True, eq=False)
class Room:
    """The cabin as the study sees it."""

    facets: tuple[Facet, ...]
    names: tuple[str, ...]
    absorption: Real  #: (facets, bands of OCTAVES_HZ)
    seats: tuple[Seat, ...]
    speed_m_s: float

    @property
    def heads_m(self) -> Real:
        """(seats, 3)."""
        return np.asarray([seat.head_m for seat in self.seats], dtype=np.float64).reshape(-1, 3)

    @cached_property
    def boxes_m(self) -> Real:
        """(seats, points, 3): centre and corners of each head box."""
        return np.stack([box_points(seat) for seat in self.seats])

    @cached_property
    def _edges(self) -> Edges:
        return bending_edges(self.facets)

    def detour_m(self, source_m: Real, receiver_m: Real) -> float:
        """How much longer the shortest way round an edge is than the straight one; infinite where there is none."""
        return detour_m(self.facets, source_m, receiver_m, edges=self._edges)

    @cached_property
    def crowded(self) -> bool:
        """Whether so many panels stand free that chains of reflections have no end: then one order less is followed."""
        return len(self.facets) > CROWD and len(may_block(self.facets)) > CROWD

    @cached_property
    def head_images(self) -> Images:
        """Images of the head centres."""
        return Images(self.facets, self.heads_m, most_order=ORDER - self.crowded)

    @cached_property
    def box_images(self) -> Images:
        """Images of every point of the head boxes, seat by seat."""
        return Images(self.facets, self.boxes_m.reshape(-1, 3), most_order=BOX_ORDER - self.crowded)


def box_points(seat: Seat) -> Real:
    """(9, 3): the head centre and the corners of its box."""
    half = 0.5 * np.asarray(seat.head_box_m)
    corners = np.asarray(list(product((-1.0, 1.0), repeat=3))) * half
    return np.asarray(seat.head_m) + np.vstack([np.zeros(3), corners])


def listening_seat(build: Build) -> str:
    """The seat whose sound decides: the one that is tuned for, else the foremost on the driving side."""
    if build.tuning and build.tuning.seat:
        return build.tuning.seat
    sign = 1.0 if build.vehicle.driving_side == "right" else -1.0
    return max(front_row(build.seats), key=lambda seat: sign * seat.head_m[1]).name


def front_row(seats: tuple[Seat, ...]) -> list[Seat]:
    """Seats in the first row, however the survey's frame lies sideways."""
    foremost = min(seat.head_m[0] for seat in seats)
    return [seat for seat in seats if seat.head_m[0] < foremost + FRONT_M]


def make_room(build: Build) -> tuple[Room, list[Finding]]:
    """The room of a located build, and what is wrong with it. Facets that are no polygons are left out and named."""
    found: list[Finding] = []
    facets, names, rows = [], [], []
    own = {item.name: item.absorption for item in build.cabin.materials} if build.cabin else {}
    for surface in build.cabin.surfaces if build.cabin else ():
        try:
            facets.append(Facet.of(surface.corners_m))
        except FacetError as error:
            found.append(finding("layout.surface_broken", where=surface.name, reason=str(error)))
            continue
        names.append(surface.name)
        rows.append(_octaves(own[surface.material]) if surface.material in own else absorption(surface.material))
    if not facets:
        found.append(finding("layout.no_surfaces", where="cabin"))
    found += _size(facets)
    temperature = build.cabin.temperature_c if build.cabin else 20.0
    table = np.asarray(rows, dtype=np.float64).reshape(-1, len(OCTAVES_HZ))
    speed = speed_of_sound_m_s(temperature_c=temperature)
    room = Room(tuple(facets), tuple(names), table, tuple(build.seats), speed)
    if room.crowded:
        found.append(finding("layout.crowded", where="cabin", value=len(facets), limit=CROWD, order=ORDER - 1))
    return room, found


def _octaves(pairs: tuple[tuple[float, float], ...]) -> tuple[float, ...]:
    """Absorption at the octaves: straight on a logarithmic axis, the last values held beyond."""
    frequency, part = np.asarray(pairs).T
    return tuple(float(value) for value in np.interp(np.log(OCTAVES_HZ), np.log(frequency), part))


def _size(facets: list[Facet]) -> Iterator[Finding]:
    if not facets:
        return
    corners = np.concatenate([facet.corners_m for facet in facets])
    length, width, _ = np.ptp(corners, axis=0)
    short = length < LIKELY_M[0] and len(facets) >= MANY
    if short or length > LIKELY_M[1]:
        yield finding(
            "layout.size_unlikely",
            where="cabin",
            value=round(float(length), 2),
            limit=LIKELY_M[0] if short else LIKELY_M[1],
            unit="m",
            what="long",
        )
    if width > LIKELY_WIDE_M:
        yield finding(
            "layout.size_unlikely",
            where="cabin",
            value=round(float(width), 2),
            limit=LIKELY_WIDE_M,
            unit="m",
            what="wide",
        )
