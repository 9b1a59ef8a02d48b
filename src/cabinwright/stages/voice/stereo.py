"""From a stereo signal to two ears, for headphones: through the processor and the recorded car, or through candidate places.

A channel of the left side plays the left signal, one of the right side the right one, and a channel that belongs to both the mean
of the two, so that a voice in the middle excites what the tune calls everything. All versions are moved onto the same moment, so
that one can be exchanged for another while they play.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build, Seat
from cabinwright.errors import RefusedError
from cabinwright.physics.air import speed_of_sound_m_s
from cabinwright.physics.response import RecordedResponses
from cabinwright.physics.sphere import sphere_response
from cabinwright.stages.layout.result import Heard, LayoutResult, Pair
from cabinwright.stages.tuning.prepare import prepare, tuned_seat
from cabinwright.stages.tuning.settings import Settings
from cabinwright.stages.tuning.sides import channel_side
from cabinwright.stages.tuning.tape import tape_settings
from cabinwright.stages.voice.ears import ears_at, front_seats, unplaced

__all__ = [
    "Stereo",
    "before_and_after",
    "joined",
    "known",
    "listening_seat",
    "pairs_of",
    "through_places",
    "through_settings",
]

Real = NDArray[np.float64]
LENGTH_S = 0.35  #: of each response: a car's cabin is silent by then
LATEST_S = 0.020  #: versions are moved by no more than this
SHARES = {"left": (1.0, 0.0), "right": (0.0, 1.0), "centre": (0.5, 0.5)}
SIZE, STEP_DEG, LEAD_S = 8192, 3.0, 0.010


@dataclass(frozen=True, eq=False)
class Stereo:
    """One seat's responses by the name of the version, on one time axis."""

    seat: str
    basis: str  #: key of ``result.BASES``, or ``predicted``
    sample_rate_hz: float
    responses: Mapping[str, Real]  #: (2 inputs, 2 ears, samples)


def listening_seat(build: Build, name: str | None) -> Seat:
    """A front seat by its name; None: the one that is tuned for. Raises ``RefusedError``."""
    wanted = name or tuned_seat(build)
    for seat in build.seats:
        if seat.name == wanted:
            return seat
    names = ", ".join(seat.name for seat in front_seats(build)) or "none: the build has no [[seats]]"
    raise RefusedError(f'"{wanted}" is no seat of this build. There are: {names}.')


def known(build: Build, places: Sequence[str]) -> None:
    """Raises ``RefusedError`` where one of them is no place of a build."""
    names = [item.name for item in build.places]
    for name in places:
        if name not in names:
            raise RefusedError(f'"{name}" is no place of this build. There are: {", ".join(names) or "no [[places]]"}.')


def before_and_after(build: Build, recorded: RecordedResponses, settings: Settings, seat: Seat) -> Stereo:
    """``through_settings``: by tape alone, and with ``settings``, which have to be of the same channels."""
    if {item.name for item in settings.channels} != set(recorded.channels):
        raise RefusedError("settings.json is of other channels than the recordings. Run the tune again, then listen.")
    return through_settings(
        build, recorded, {"before, by tape": tape_settings(prepare(build, recorded)), "after": settings}, seat
    )


def through_settings(build: Build, recorded: RecordedResponses, sets: Mapping[str, Settings], seat: Seat) -> Stereo:
    """What a stereo signal becomes at the ears of a seat of a located build with each set of settings.

    Raises ``RefusedError`` where too little was recorded or is known.
    """
    lost = unplaced(build)
    if lost:
        raise RefusedError(
            f"position_m is missing of {', '.join(lost)}. Measure where they sit: the ears need directions."
        )
    ears = ears_at(build, recorded, seat, lends=tuned_seat(build), length_s=LENGTH_S, speed_m_s=speed_of_sound_m_s())
    if ears is None:
        raise RefusedError(
            "there is no place of the microphone at which every channel was recorded well. Record it again."
        )
    shares = np.array([SHARES[channel_side(build, name)] for name in ears.channels]).T
    place = _nearest(build, ears.places, seat)
    found = {
        name: np.stack([ears.heard(ears.gains(settings), place, share) for share in shares])
        for name, settings in sets.items()
    }
    return Stereo(seat.name, ears.basis, ears.sample_rate_hz, _together(found, ears.sample_rate_hz))


def joined(measured: Stereo, predicted: Stereo) -> Stereo:
    """Both kinds on one time axis; of one seat and rate."""
    size = max(item.shape[-1] for one in (measured, predicted) for item in one.responses.values())
    every = {**predicted.responses, **measured.responses}
    padded = {name: np.pad(item, ((0, 0), (0, 0), (0, size - item.shape[-1]))) for name, item in every.items()}
    moved = _together(padded, measured.sample_rate_hz)
    order = (*measured.responses, *predicted.responses)
    return Stereo(measured.seat, measured.basis, measured.sample_rate_hz, {name: moved[name] for name in order})


def _nearest(build: Build, places: tuple[str, ...], seat: Seat) -> int:
    """The single place nearest to the head; pairs of ears come alone."""
    at = {item.name: np.asarray(item.at_m, dtype=np.float64) for item in build.microphone_positions}
    head = np.asarray(seat.head_m, dtype=np.float64)
    known = [float(np.linalg.norm(at[name] - head)) if name in at else 0.0 for name in places]
    return int(np.argmin(known))


def _together(found: Mapping[str, Real], rate: float) -> dict[str, Real]:
    """All versions moved so that each is most like the last, and scaled alike."""
    names = list(found)
    base = found[names[-1]].sum(axis=(0, 1))
    size = 2 * len(base)
    reach = round(LATEST_S * rate)
    scale = 1.0 / np.sqrt(np.sum(found[names[-1]] ** 2))
    out = {}
    for name in names:
        own = found[name].sum(axis=(0, 1))
        likeness = np.fft.irfft(np.fft.rfft(base, n=size) * np.conj(np.fft.rfft(own, n=size)), n=size)
        lags = np.concatenate([likeness[-reach:], likeness[: reach + 1]])
        late = int(np.argmax(np.abs(lags))) - reach
        moved = np.zeros((2, 2, len(base) + reach))
        start = max(0, late)
        cut = found[name][..., max(0, -late) :]
        moved[..., start : start + cut.shape[-1]] = cut[..., : moved.shape[-1] - start]
        out[name] = moved * scale
    return out


def pairs_of(layout: LayoutResult, places: Sequence[str]) -> dict[str, Pair]:
    """The pairs that places belong to, by both names. Raises ``RefusedError`` where one has no partner, or two are one pair."""
    found = {}
    for place in places:
        pair = next((pair for pair in layout.pairs if place in (pair.left, pair.right)), None)
        if pair is None:
            raise RefusedError(f'"{place}" has no partner on the other side, so there is no stereo. Name one that has.')
        found[f"{pair.left} and {pair.right}"] = pair
    if len(found) != len(places):
        raise RefusedError(f"{' and '.join(places)}: two of them are one pair. Name one place of each pair.")
    return found


def through_places(layout: LayoutResult, places: Mapping[str, Pair], seat: str, *, sample_rate_hz: float) -> Stereo:
    """What a stereo signal becomes at the ears of a seat with flat loudspeakers at pairs of places, predicted by rays.

    Delay and level of the direct sounds are made alike, as a tune would. Every reflection comes from its own direction.
    """
    frequency: Real = np.asarray(np.fft.rfftfreq(SIZE, 1.0 / sample_rate_hz), dtype=np.float64)
    angles = np.arange(0.0, 180.0 + STEP_DEG, STEP_DEG)
    sphere = sphere_response(
        frequency_hz=frequency, incidence_deg=angles, distance_m=1.0, speed_m_s=layout.speed_of_sound_m_s
    )
    found = {}
    for name, pair in places.items():
        sides = [layout.places[place].seats[seat] for place in (pair.left, pair.right)]
        spectra = np.stack([_place(heard, frequency, sphere, layout.bands_hz) for heard in sides])
        found[name] = np.fft.irfft(spectra * np.exp(-2j * np.pi * frequency * LEAD_S), n=SIZE)
    return Stereo(seat, "predicted", sample_rate_hz, _together(found, sample_rate_hz))


def _place(
    heard: Heard, frequency: Real, sphere: NDArray[np.complex128], bands_hz: tuple[float, ...]
) -> NDArray[np.complex128]:
    """(2, f): both ears, the direct sound at time 0 and level 0."""
    paths = [(0.0, heard.direct_bands_db, heard.azimuth_deg, heard.elevation_deg)]
    paths += [(row.delay_s, row.bands_db, row.azimuth_deg, row.elevation_deg) for row in heard.reflections]
    total = np.zeros((2, len(frequency)), dtype=np.complex128)
    along = np.log(np.maximum(frequency, 1.0))
    for delay_s, bands_db, azimuth, elevation in paths:
        beside = np.sin(np.radians(azimuth)) * np.cos(np.radians(elevation))
        level = 10.0 ** (np.interp(along, np.log(bands_hz), bands_db) / 20.0)
        wave = level * np.exp(-2j * np.pi * frequency * delay_s)
        for ear, side in enumerate((-beside, beside)):
            row = round(float(np.degrees(np.arccos(np.clip(side, -1.0, 1.0)))) / STEP_DEG)
            total[ear] += wave * sphere[row]
    return total
