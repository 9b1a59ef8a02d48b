"""The best aim inside its limit, and what errors of survey, mounting and aim do to the comparing figure.

The paths of a place are found once for every drawn position; an aim changes only directivity, so that trying aims costs
little. Draws use reflections to the second order at the listening head's centre.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.directivity import band_loss_db
from cabinwright.physics.edges import MOST_LOSS_DB
from cabinwright.physics.image_sources import Images, hidden
from cabinwright.stages.layout.heard import EARLY_S, Source, bands_of
from cabinwright.stages.layout.room import Room
from cabinwright.tables import OCTAVES_HZ

__all__ = ["aims_within", "drawn_sound_db", "sound_of"]

Real = NDArray[np.float64]
OCTAVES = np.asarray(OCTAVES_HZ)
DRAW_ORDER = 2
RINGS, ROUND = (0.25, 0.5, 0.75, 1.0), 12


def aims_within(normal: Real, limit_deg: float) -> Real:
    """(n, 3): directions no further from ``normal`` than the limit: itself and four rings of twelve."""
    helper = np.eye(3)[int(np.abs(normal).argmin())]
    first = np.cross(normal, helper)
    first = first / np.linalg.norm(first)
    second = np.cross(normal, first)
    out = [normal]
    for ring in RINGS:
        tilt = np.radians(limit_deg) * ring
        for k in range(ROUND):
            turn = 2.0 * np.pi * k / ROUND
            side = np.cos(turn) * first + np.sin(turn) * second
            out.append(np.cos(tilt) * normal + np.sin(tilt) * side)
    return np.asarray(out)


def sound_of(room: Room, images: Images, positions_m: Real, aims: Real, source: Source, role: str) -> Real:
    """(draws,) ``sound_db`` at the listening head for positions (draws, 3) and as many aims, at receiver 0 of ``images``."""
    head = images.receivers_m[0]
    paths = images.paths(positions_m)
    straight = head - positions_m
    distance = np.maximum(np.linalg.norm(straight, axis=1), 1e-6)

    def loss(ways: Real, which: Real) -> Real:
        angle = np.arccos(np.clip(np.einsum("ni,ni->n", ways, which), -1.0, 1.0))
        return band_loss_db(
            angle_rad=angle, bands_hz=OCTAVES, radius_m=source.radius_m, speed_m_s=room.speed_m_s, polar=source.polar
        )

    direct = loss(straight / distance[:, None], aims)
    if room.facets:
        covered = hidden(room.facets, positions_m, head[None])[:, 0]
        direct = np.where(covered[:, None], direct - MOST_LOSS_DB, direct)
    judged = bands_of(role)
    power = np.zeros((len(positions_m), len(OCTAVES)))
    if len(paths.source):
        late = (paths.length_m - distance[paths.source]) / room.speed_m_s
        kept = np.vstack([np.maximum(1.0 - room.absorption, 1e-6), np.ones(len(OCTAVES))])[paths.facets].prod(axis=1)
        away = (distance[paths.source] / paths.length_m) ** 2
        row = kept * away[:, None] * 10.0 ** (loss(paths.leaving, aims[paths.source]) / 10.0)
        np.add.at(power, paths.source, row * ((late > 0.0) & (late < EARLY_S))[:, None])
    ratio = power[:, judged].mean(axis=1) / np.mean(10.0 ** (direct[:, judged] / 10.0), axis=1)
    return np.asarray(direct[:, judged].mean(axis=1) - 10.0 * np.log10(1.0 + ratio))


def drawn_sound_db(
    room: Room, images: Images, source: Source, role: str, *, draws: int, sigmas: Mapping[str, Real | float], seed: int
) -> Real:
    """(draws,) the figure under errors: ``position`` (3,) metres and ``aim`` radians, one standard deviation each."""
    rng = np.random.default_rng(seed)
    positions = source.position_m + rng.normal(size=(draws, 3)) * np.asarray(sigmas["position"])
    aims = source.aim + rng.normal(size=(draws, 3)) * float(np.asarray(sigmas["aim"]))
    aims = aims / np.linalg.norm(aims, axis=1, keepdims=True)
    return sound_of(room, images, positions, aims, source, role)
