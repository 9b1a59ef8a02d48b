"""The best aim inside its limit, and what errors of survey, mounting and aim do to the comparing figure.

Draws use the direct sound and reflections to the second order at the listening head's centre; only how they differ from
the place as stated is kept, and added to the stated figure. What is set in a facet moves with it, and nothing moves
through one. An aim changes only directivity, so that trying aims costs little.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.directivity import band_loss_db
from cabinwright.physics.facets import Facet, blocked
from cabinwright.physics.image_sources import FLUSH_M, Images, Paths, hidden
from cabinwright.stages.layout.heard import EARLY_S, Source, bands_of
from cabinwright.stages.layout.room import Room
from cabinwright.tables import OCTAVES_HZ

__all__ = [
    "DRAW_ORDER",
    "EDGE_DB",
    "SHIFTS_M",
    "TURNS_DEG",
    "aims_within",
    "drawn_aims",
    "drawn_positions_m",
    "forgiven",
    "kept_power",
    "loss_db",
    "shifts_of",
    "sound_of",
    "turns_of",
]

Real = NDArray[np.float64]
OCTAVES = np.asarray(OCTAVES_HZ)
ALL = slice(None)
DRAW_ORDER = 2
RINGS, ROUND = (0.25, 0.5, 0.75, 1.0), 12
EDGE_DB = 5.0  #: what a draw loses that just gets out of sight (Kurze & Anderson 1971, in the plane of the edge)
FORGIVEN_DB = 1.0  #: an error that costs no more than this is forgiven
TURNS_DEG = (1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 15.0, 20.0, 30.0, 45.0)
SHIFTS_M = (0.002, 0.005, 0.01, 0.015, 0.02, 0.03, 0.05)


def aims_within(normal: Real, limit_deg: float) -> Real:
    """(n, 3): directions no further from ``normal`` than the limit: itself and four rings of twelve."""
    return np.vstack([normal[None], *(_ring(normal, limit_deg * part) for part in RINGS)])


def _ring(axis: Real, tilt_deg: float) -> Real:
    """(ROUND, 3): directions at one angle from an axis."""
    first = np.cross(axis, np.eye(3)[int(np.abs(axis).argmin())])
    first = first / np.linalg.norm(first)
    second = np.cross(axis, first)
    turn = 2.0 * np.pi * np.arange(ROUND)[:, None] / ROUND
    tilt = np.radians(tilt_deg)
    return np.asarray(np.cos(tilt) * axis + np.sin(tilt) * (np.cos(turn) * first + np.sin(turn) * second))


def drawn_positions_m(facets: Sequence[Facet], position_m: Real, moves_m: Real) -> Real:
    """(n, 3): where a place ends that is moved by ``moves_m`` (n, 3), without leaving its facet, passing or joining another."""
    moves = np.array(moves_m, dtype=np.float64)
    own = [facet.normal for facet in facets if facet.holds(position_m[None], within_m=FLUSH_M)[0]]
    if own:
        _, size, across = np.linalg.svd(np.asarray(own))
        across = across[: len(size)][size > 1e-6]  # what the facets that hold it fix, each direction once
        moves -= (moves @ across.T) @ across
    start = np.broadcast_to(position_m, moves.shape)
    for facet in facets:
        joins = facet.holds(start + moves, within_m=FLUSH_M) & ~facet.holds(position_m[None], within_m=FLUSH_M)
        through = blocked(facet, start, start + moves) | joins
        moves[through] -= np.outer(moves[through] @ facet.normal, facet.normal)
    for facet in facets:  # in a corner: what still passes one stays where it is
        moves[blocked(facet, start, start + moves)] = 0.0
    return np.asarray(start + moves)


def drawn_aims(aim: Real, turns: Real) -> Real:
    """(n, 3): unit vectors; ``turns`` (n, 3) are small vectors in radians, of which the part across the aim counts."""
    aims = aim + turns - np.outer(turns @ aim, aim)
    return np.asarray(aims / np.linalg.norm(aims, axis=1, keepdims=True))


def sound_of(
    room: Room, images: Images, source: Source, role: str, *, positions_m: Real, aims: Real, screen_db: Real | float
) -> Real:
    """(n,) the comparing figure at receiver 0 of ``images``.

    ``positions_m`` (n, 3) go with ``aims`` (n, 3) one by one; a single position is heard with each aim. ``screen_db`` (bands,)
    is what direct sound loses where it is hidden.
    """
    head = images.receivers_m[0]
    straight = head - positions_m
    distance = np.maximum(np.linalg.norm(straight, axis=1), 1e-6)
    covered = hidden(room.facets, positions_m, head[None])[:, 0] if room.facets else np.zeros(len(distance), dtype=bool)
    which = np.arange(len(aims)) if len(positions_m) > 1 else np.zeros(len(aims), dtype=np.intp)
    direct = loss_db(room, source, straight[which] / distance[which, None], aims)
    direct = direct - np.where(covered[which, None], screen_db, 0.0)
    paths = images.paths(positions_m)
    copies = 1 if len(positions_m) > 1 else len(aims)
    rows = np.tile(np.arange(len(paths.source)), copies)
    owner = np.repeat(np.arange(copies), len(paths.source)) if copies > 1 else paths.source
    power = np.zeros((len(aims), len(OCTAVES)))
    if len(rows):
        off_axis = 10.0 ** (loss_db(room, source, paths.leaving[rows], aims[owner]) / 10.0)
        np.add.at(power, owner, kept_power(room, paths, distance[paths.source])[rows] * off_axis)
    judged = bands_of(role)
    ratio = power[:, judged].mean(axis=1) / np.mean(10.0 ** (direct[:, judged] / 10.0), axis=1)
    return np.asarray(direct[:, judged].mean(axis=1) - 10.0 * np.log10(1.0 + ratio))


def loss_db(room: Room, source: Source, ways: Real, aims: Real, bands: slice = ALL) -> Real:
    """(n, bands): loss off axis along unit vectors ``ways`` (n, 3) of cones that point along ``aims`` (n, 3)."""
    angle = np.arccos(np.clip(np.einsum("ni,ni->n", ways, aims), -1.0, 1.0))
    return band_loss_db(
        angle_rad=angle, bands_hz=OCTAVES[bands], radius_m=source.radius_m, speed_m_s=room.speed_m_s, polar=source.polar
    )


def kept_power(room: Room, paths: Paths, distance_m: Real) -> Real:
    """(paths, bands): power that walls and distance leave of each early path, over direct sound; 0 for late ones.

    ``distance_m`` (paths,): straight from each path's source to its receiver.
    """
    late = (paths.length_m - distance_m) / room.speed_m_s
    walls = np.vstack([np.maximum(1.0 - room.absorption, 1e-6), np.ones(len(OCTAVES))])[paths.facets].prod(axis=1)
    away = (distance_m / paths.length_m) ** 2 * ((late > 0.0) & (late < EARLY_S))
    return np.asarray(walls * away[:, None])


def turns_of(aim: Real) -> Real:
    """(n, 3): aims turned by each of ``TURNS_DEG`` in twelve directions."""
    return np.vstack([_ring(aim, turn) for turn in TURNS_DEG])


def shifts_of(facets: Sequence[Facet], position_m: Real) -> Real:
    """(n, 3): positions shifted by each of ``SHIFTS_M`` along and against the car's axes, as far as panels let them."""
    axes = np.vstack([np.eye(3), -np.eye(3)])
    return drawn_positions_m(facets, position_m, np.vstack([shift * axes for shift in SHIFTS_M]))


def forgiven(stated_db: float, figures_db: Real, steps: Sequence[float]) -> float:
    """The largest step up to which no direction costs more than ``FORGIVEN_DB``; 0 if the first does already."""
    cost = (stated_db - figures_db).reshape(len(steps), -1).max(axis=1)
    bad = np.flatnonzero(cost > FORGIVEN_DB)
    count = int(bad[0]) if len(bad) else len(steps)
    return steps[count - 1] if count else 0.0
