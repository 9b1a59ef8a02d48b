"""What each seat hears of one place: the direct sound, every reflection, and the two together over the head box."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.directivity import Polar, band_loss_db
from cabinwright.physics.edges import screen_loss_db
from cabinwright.physics.image_sources import Paths, hidden
from cabinwright.physics.interference import dip_hz, dips_wander, draws_image, peak_to_dip_db
from cabinwright.stages.layout.result import Heard, Reflection
from cabinwright.stages.layout.room import Room
from cabinwright.tables import OCTAVES_HZ

__all__ = ["EARLY_S", "SPEECH", "Source", "bands_of", "hear"]

Real = NDArray[np.float64]
OCTAVES = np.asarray(OCTAVES_HZ)
SPEECH = slice(2, 6)  #: the octaves from 500 Hz to 4 kHz
EARLY_S = 0.010  #: reflections up to here colour the sound
BANDS = {
    "tweeter": slice(4, 7), "midrange": slice(2, 6), "coaxial": slice(2, 7), "fullrange": slice(2, 7),
    "centre": slice(2, 7), "rear fill": slice(2, 6), "midbass": slice(0, 4), "woofer": slice(0, 3), "subwoofer": slice(0, 1),
}  # fmt: skip
"""The octaves that a role is judged in (common practice, no source)."""
PER_OCTAVE = 24
CURVE_HZ = 100.0 * 2.0 ** (np.arange(0, int(np.log2(100.0) * PER_OCTAVE)) / PER_OCTAVE)  #: 100 Hz to 10 kHz
ALONG = np.stack([np.interp(np.log(CURVE_HZ), np.log(OCTAVES), one) for one in np.eye(len(OCTAVES))])
"""(bands, f): from octave bands to the curve, straight on a logarithmic axis, the last values held beyond."""


@dataclass(frozen=True, eq=False)
class Source:
    """A place with everything that sounds: where, how large, where it points."""

    position_m: Real
    aim: Real  #: unit vector
    radius_m: float
    polar: Polar | None = None


def bands_of(role: str) -> slice:
    """Octaves that a role is judged in."""
    return BANDS[role]


def hear(room: Room, source: Source, role: str) -> dict[str, Heard]:
    """Per seat. Behind each figure see ``docs/layout.md``."""
    at = source.position_m[None]
    centre, box = room.head_images.paths(at), room.box_images.paths(at)
    covered = hidden(room.facets, at, room.heads_m)[0] if room.facets else np.zeros(len(room.seats), dtype=bool)
    return {
        seat.name: _one_seat(room, source, role, number, centre, box, bool(covered[number]))
        for number, seat in enumerate(room.seats)
    }


def _one_seat(room: Room, source: Source, role: str, number: int, centre: Paths, box: Paths, covered: bool) -> Heard:
    head = room.heads_m[number]
    straight = head - source.position_m
    distance = max(float(np.linalg.norm(straight)), 1e-6)
    angle = _angle(source.aim, straight[None] / distance)
    direct = _loss(room, source, angle)[0]
    detour = room.detour_m(source.position_m, head) if covered else 0.0
    screen = (
        screen_loss_db(detour_m=detour, frequency_hz=OCTAVES, speed_m_s=room.speed_m_s) if covered else 0.0 * OCTAVES
    )
    rows = centre.of(0, number)
    bands = _levels(room, source, centre, rows, distance) - direct
    delays = (centre.length_m[rows] - distance) / room.speed_m_s
    reflections = _reflections(room, source, number, centre, rows, bands, delays, box)
    heard_direct = direct - screen
    judged = bands_of(role)
    early = (delays < EARLY_S) & (delays > 0.0)
    power = 10.0 ** ((bands[early] + direct)[:, judged] / 10.0)
    ratio = power.sum(axis=0).mean() / np.mean(10.0 ** (heard_direct[judged] / 10.0))
    azimuth, elevation = _direction(-straight / distance)
    curve = _box_curve(room, source, number, box, covered, distance)
    early_db = float(10.0 * np.log10(max(ratio, 1e-6)))
    uneven = _uneven_db(curve, judged)
    return Heard(
        distance_m=distance,
        off_axis_deg=float(np.degrees(angle[0])),
        occluded=covered,
        detour_m=float(detour) if covered and np.isfinite(detour) else None,
        azimuth_deg=azimuth,
        elevation_deg=elevation,
        direct_bands_db=tuple(float(v) for v in heard_direct),
        reflections=reflections,
        early_db=early_db,
        box_hz=CURVE_HZ,
        box_db=curve,
        uneven_db=uneven,
        sound_db=float(np.mean(heard_direct[judged]) - 10.0 * np.log10(1.0 + 10.0 ** (early_db / 10.0)) - uneven),
    )


def _uneven_db(curve_db: Real, judged: slice) -> float:
    """Standard deviation over the head box of third-octave levels, mean over the role's octaves: what no filter helps.

    Each point's own mean level is taken off first: louder all over where the head is nearer is no fault.
    """
    low, high = OCTAVES[judged][0] / np.sqrt(2.0), OCTAVES[judged][-1] * np.sqrt(2.0)
    here = np.flatnonzero((low <= CURVE_HZ) & (high > CURVE_HZ))
    power = 10.0 ** (curve_db[:, here] / 10.0)
    thirds = np.add.reduceat(power, np.arange(0, len(here), PER_OCTAVE // 3), axis=1)
    level = 10.0 * np.log10(thirds)
    return float(np.mean(np.std(level - level.mean(axis=1, keepdims=True), axis=0)))


def _loss(room: Room, source: Source, angle: Real) -> Real:
    """(n, bands): level off axis."""
    return band_loss_db(
        angle_rad=angle, bands_hz=OCTAVES, radius_m=source.radius_m, speed_m_s=room.speed_m_s, polar=source.polar
    )


def _angle(aim: Real, ways: Real) -> Real:
    return np.arccos(np.clip(ways @ aim, -1.0, 1.0))


def _levels(room: Room, source: Source, paths: Paths, rows: NDArray[np.intp], distance_m: float) -> Real:
    """(n, bands): level of each path over the direct sound on axis at ``distance_m``."""
    spread = 20.0 * np.log10(distance_m / paths.length_m[rows])
    kept = 10.0 * np.log10(np.maximum(1.0 - room.absorption, 1e-6))
    kept = np.vstack([kept, np.zeros(len(OCTAVES_HZ))])  # the row that -1 points at
    walls = kept[paths.facets[rows]].sum(axis=1)
    return np.asarray(spread[:, None] + walls + _loss(room, source, _angle(source.aim, paths.leaving[rows])))


def _direction(arriving: Real) -> tuple[float, float]:
    """Azimuth (0 ahead, positive right) and elevation in degrees of where sound comes from, in the car's axes."""
    x, y, z = (float(v) for v in arriving)
    return float(np.degrees(np.arctan2(y, -x))), float(np.degrees(np.arcsin(np.clip(z, -1.0, 1.0))))


def _reflections(
    room: Room,
    source: Source,
    number: int,
    paths: Paths,
    rows: NDArray[np.intp],
    bands: Real,
    delays: Real,
    box: Paths,
) -> tuple[Reflection, ...]:
    spread = _over_the_box(room, source, number, box)
    out = []
    angles = np.degrees(_angle(source.aim, paths.leaving[rows]))
    for k, row in enumerate(rows):
        order = int(paths.order[row])
        way = tuple(int(i) for i in paths.facets[row, :order])
        level, late = float(bands[k, SPEECH].mean()), max(float(delays[k]), 1e-7)
        azimuth, elevation = _direction(paths.arriving[row])
        wander = dips_wander(spread[way]) if way in spread else None
        out.append(
            Reflection(
                surfaces=tuple(room.names[i] for i in way),
                order=order,
                delay_s=float(delays[k]),
                level_db=level,
                bands_db=tuple(float(v) for v in bands[k]),
                azimuth_deg=azimuth,
                elevation_deg=elevation,
                off_axis_deg=float(angles[k]),
                points_m=tuple((float(x), float(y), float(z)) for x, y, z in paths.points_m[row, :order]),
                dip_hz=float(dip_hz(late)),
                peak_to_dip_db=float(peak_to_dip_db(level)),
                dip_range_hz=wander[:2] if wander else None,
                stays_put=wander[2] if wander else None,
                draws_image=bool(draws_image(late, level)),
            )
        )
    return tuple(sorted(out, key=lambda item: (item.delay_s, item.surfaces)))


def _over_the_box(room: Room, source: Source, number: int, box: Paths) -> dict[tuple[int, ...], Real]:
    """Delays of each way at all points of the head box, for ways that are heard at every one of them."""
    points = room.boxes_m.shape[1]
    straight = np.linalg.norm(room.boxes_m[number] - source.position_m, axis=1)
    mine = np.flatnonzero(box.receiver // points == number)
    found: dict[tuple[int, ...], list[float]] = {}
    for row in mine:
        way = tuple(int(i) for i in box.facets[row, : int(box.order[row])])
        late = (box.length_m[row] - straight[box.receiver[row] % points]) / room.speed_m_s
        found.setdefault(way, []).append(max(float(late), 1e-7))
    return {way: np.asarray(late) for way, late in found.items() if len(late) == points}


def _box_curve(room: Room, source: Source, number: int, box: Paths, covered: bool, distance_m: float) -> Real:
    """(points, f): level of direct sound and reflections together, 0 dB being the direct sound on axis at the centre.

    Phases follow the paths' lengths; twelfth-octave means of the power. Hidden direct sound comes by its detour alone.
    """
    points = room.boxes_m.shape[1]
    heads = room.boxes_m[number]
    straight = heads - source.position_m
    away = np.maximum(np.linalg.norm(straight, axis=1), 1e-6)
    level = _loss(room, source, _angle(source.aim, straight / away[:, None])) @ ALONG
    shade = hidden(room.facets, source.position_m[None], heads)[0] if room.facets else np.zeros(points, dtype=bool)
    for point in np.flatnonzero(shade):
        detour = room.detour_m(source.position_m, heads[point])
        level[point] -= screen_loss_db(detour_m=detour, frequency_hz=CURVE_HZ, speed_m_s=room.speed_m_s)
    level += 20.0 * np.log10(distance_m / away)[:, None]
    rows = np.flatnonzero(box.receiver // points == number)
    level = np.vstack([level, _levels(room, source, box, rows, distance_m) @ ALONG])
    length = np.concatenate([away, box.length_m[rows]])
    wave = 2.0 * np.pi * CURVE_HZ / room.speed_m_s
    each = np.exp(level * (np.log(10.0) / 20.0) - 1j * np.outer(length, wave))
    total = np.zeros((points, len(CURVE_HZ)), dtype=np.complex128)
    np.add.at(total, np.concatenate([np.arange(points), box.receiver[rows] % points]), each)
    power = np.abs(total) ** 2
    smooth = np.stack([np.convolve(np.pad(row, 1, mode="edge"), np.ones(3) / 3.0, mode="valid") for row in power])
    return np.asarray(10.0 * np.log10(np.maximum(smooth, 1e-9)))
