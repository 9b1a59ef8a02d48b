"""How a place stands: its cone's radius, where its axis points, and which way its panel faces."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.cabin import Place, Surface
from cabinwright.build.document import Build
from cabinwright.physics.cavity.triangles import ear_clip, nearest, newell_normal
from cabinwright.tables import role_radius_m

__all__ = ["FLUSH_M", "aim_of", "normal_of", "radius_of", "surface_under"]

Real = NDArray[np.float64]
FLUSH_M = 0.005  #: a place no farther than this from a facet lies on it: about what a tape can tell


def radius_of(place: Place) -> float:
    """Effective radius of the cone [m]; usual for the role where the build does not say (common practice)."""
    return place.radius_m if place.radius_m is not None else role_radius_m(place.role)


def aim_of(build: Build, place: Place) -> Real:
    """Unit vector ``(3,)`` along the speaker's axis: as written, towards the seat named, else towards the nearest head.

    ``build`` has coordinates in place of surveyed names. Without any seat the axis follows the panel, else it points up.
    """
    at = np.asarray(place.position_m, dtype=np.float64)
    if isinstance(place.aim, tuple):
        return _unit(np.asarray(place.aim, dtype=np.float64))
    heads = {seat.name: np.asarray(seat.head_m, dtype=np.float64) - at for seat in build.seats}
    wanted = [heads[place.aim]] if isinstance(place.aim, str) and place.aim in heads else list(heads.values())
    if wanted:
        return _unit(min(wanted, key=lambda way: float(np.linalg.norm(way))))
    if place.normal is not None:
        return _unit(np.asarray(place.normal, dtype=np.float64))
    under = surface_under(build, place)
    return _unit(newell_normal(_corners(under))) if under is not None else np.array([0.0, 0.0, 1.0])


def normal_of(build: Build, place: Place) -> Real:
    """Unit vector ``(3,)`` that the panel faces: as written, else of the facet it lies on (on the aim's side), else the aim."""
    if place.normal is not None:
        return _unit(np.asarray(place.normal, dtype=np.float64))
    aim, under = aim_of(build, place), surface_under(build, place)
    if under is None:
        return aim
    normal = _unit(newell_normal(_corners(under)))
    return normal if normal @ aim >= 0.0 else -normal


def surface_under(build: Build, place: Place) -> Surface | None:
    """The facet that the place lies on, nearest first; ``None`` where it stands free."""
    at = np.asarray(place.position_m, dtype=np.float64)[None]
    best, best_m = None, FLUSH_M
    for surface in build.cabin.surfaces if build.cabin else ():
        corners = _corners(surface)
        away_m = abs(float((at[0] - corners.mean(axis=0)) @ _unit(newell_normal(corners))))
        if away_m > 2.0 * FLUSH_M:  # off its plane, and off what a facet may be warped
            continue
        try:
            triangles = corners[ear_clip(corners)]
        except ValueError:  # no polygon at all; the check of the shell says so
            continue
        distance_m = float(nearest(at, triangles).distance_m[0])
        if distance_m <= best_m:
            best, best_m = surface, distance_m
    return best


def _corners(surface: Surface) -> Real:
    return np.asarray(surface.corners_m, dtype=np.float64)


def _unit(way: Real) -> Real:
    length = float(np.linalg.norm(way))
    return way / length if length > 0.0 else np.array([0.0, 0.0, 1.0])
