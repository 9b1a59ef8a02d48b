"""Below 200 Hz: modes of the cabin's actual shape, and what each low place makes of them at the heads."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from cabinwright.findings import Finding, finding
from cabinwright.physics.bands import Bands, octave_bands
from cabinwright.physics.cavity import Cavity, OpenShellError, evenness_db, solve_cavity
from cabinwright.stages.layout.result import LowFrequency, LowPlace
from cabinwright.stages.layout.room import Room
from cabinwright.tables import OCTAVES_HZ

__all__ = [
    "BASS",
    "LOW_HZ",
    "LOW_ROLES",
    "MAP_HZ",
    "heads_in_air",
    "hear_low",
    "low_figures",
    "make_cavity",
    "with_map",
]

Real = NDArray[np.float64]
LOW_ROLES = ("subwoofer", "woofer", "midbass")
VALID_HZ = 200.0
CROSSFADE_HZ = (160.0, 320.0)
LEAK_HZ = 12.0  #: a real car leaks: below this its pressure as a whole does not build up (common practice, no source)
LOW_HZ = np.geomspace(20.0, VALID_HZ, 80)
GAIN_HZ = (25.0, 80.0)  #: where a low place earns its keep
BASS = (GAIN_HZ[0] <= LOW_HZ) & (GAIN_HZ[1] >= LOW_HZ)
MAP_HZ = 50.0


def make_cavity(room: Room) -> tuple[Cavity | None, LowFrequency | None, list[Finding]]:
    """The cavity; None with the finding that says why where the shell does not close."""
    if not room.facets:
        return None, None, []
    try:
        cavity = solve_cavity(
            [facet.corners_m for facet in room.facets],
            absorption=room.absorption,
            bands_hz=OCTAVES_HZ,
            names=room.names,
            speed_m_s=room.speed_m_s,
            leak_hz=LEAK_HZ,
        )
    except OpenShellError as error:
        return None, None, [finding("layout.shell_open", where="cabin.surfaces", reason=str(error))]
    except ValueError as error:
        return None, None, [finding("layout.shell_unusable", where="cabin.surfaces", reason=str(error))]
    ignored = tuple(room.names[i] for i in cavity.shell.ignored)
    frequency = cavity.frequency_hz
    low = LowFrequency(
        modes_hz=tuple(float(f) for f in frequency[1:]),
        quality=tuple(float(q) for q in cavity.quality),
        volume_m3=float(cavity.shell.volume_m3),
        valid_to_hz=VALID_HZ,
        crossfade_hz=CROSSFADE_HZ,
        leak_hz=LEAK_HZ,
        ignored=ignored,
    )
    found = [finding("layout.surfaces_ignored", where=", ".join(ignored))] if ignored else []
    return cavity, low, found


def heads_in_air(cavity: Cavity, room: Room) -> dict[str, Real]:
    """Per seat in the air (points, 3) of its head box; a corner outside the shell gives way to the centre."""
    out = {}
    for seat, box in zip(room.seats, room.boxes_m, strict=True):
        air = cavity.shell.inside(box)
        if air[0]:
            out[seat.name] = np.where(air[:, None], box, box[:1])
    return out


def hear_low(cavity: Cavity, heads_m: Mapping[str, Real], position_m: Real) -> LowPlace | None:
    """One place at the head boxes of ``heads_in_air``; None where there are none or the place lies outside the shell."""
    if not heads_m:
        return None
    try:
        level = cavity.level_db(position_m, np.concatenate(list(heads_m.values())), frequency_hz=LOW_HZ)  # (f, points)
    except ValueError:
        return None
    columns = np.split(level, np.cumsum([len(box) for box in heads_m.values()])[:-1], axis=1)
    per_seat = dict(zip(heads_m, columns, strict=True))
    figures = {name: low_figures(rows) for name, rows in per_seat.items()}
    bands = octave_bands(fraction=3, low_hz=float(LOW_HZ[0]), high_hz=VALID_HZ)
    return LowPlace(
        frequency_hz=LOW_HZ,
        level_db={name: rows.T for name, rows in per_seat.items()},
        third_hz=bands.centres_hz,
        third_db={name: _thirds(rows, bands) for name, rows in per_seat.items()},
        uneven_db={name: row["uneven"] for name, row in figures.items()},
        gain_db={name: row["gain"] for name, row in figures.items()},
    )


def _thirds(level_db: Real, bands: Bands) -> Real:
    """(bands,) power mean of levels (f, points) over each band and the points."""
    power = np.mean(10.0 ** (level_db / 10.0), axis=1)
    inside = [(a <= LOW_HZ) & (b > LOW_HZ) for a, b in zip(bands.lower_hz, bands.upper_hz, strict=True)]
    return np.asarray([10.0 * np.log10(power[here].mean()) for here in inside])


def low_figures(level_db: Real) -> Mapping[str, float]:
    """Of levels ``(f, points)``: ``gain`` from 25 to 80 Hz, ``uneven`` over the box, ``ripple`` along frequency, all dB."""
    mean = 10.0 * np.log10(np.mean(10.0 ** (level_db / 10.0), axis=1))
    _, spread = evenness_db(level_db, frequency_hz=LOW_HZ)
    thirds = _thirds(level_db, octave_bands(fraction=3, low_hz=25.0, high_hz=160.0))
    trend = np.polyval(np.polyfit(np.arange(len(thirds)), thirds, 1), np.arange(len(thirds)))
    return {
        "gain": float(mean[BASS].mean()),
        "uneven": float(np.nanmean(spread)),
        "ripple": float(np.std(thirds - trend)),
    }


def with_map(low: LowFrequency, cavity: Cavity, place: str, position_m: Real, height_m: float) -> LowFrequency:
    """The same with a map of one place's level at the height of the heads."""
    try:
        cut = cavity.slice(position_m, frequency_hz=MAP_HZ, normal="z", at_m=height_m)
    except ValueError:
        return low
    return replace(low, map_of=place, map_hz=MAP_HZ, map_x_m=cut.u_m, map_y_m=cut.v_m, map_db=cut.level_db)
