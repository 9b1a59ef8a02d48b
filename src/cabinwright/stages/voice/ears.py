"""What each channel alone brings to each ear of a seat: recordings brought to the ears.

Three ways, the first that the recordings allow:

* positions marked with an ear: as they are;
* two positions side by side where the ears would be, in an empty seat: each is its own ear's, and the shadow of a head that was
  not there is a rigid sphere's for the direction of the loudspeaker;
* any other positions: each is moved to the centre of the head along the straight line from the loudspeaker (delay, and 1/r), and
  both ears are the sphere's.

A seat without recordings takes another's, moved the same way. Reflections keep the direction of the direct sound; the direct
sound and what follows within the first milliseconds decide where a voice stands.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build, Seat
from cabinwright.physics.response import RecordedResponses
from cabinwright.physics.sphere import sphere_response
from cabinwright.stages.tuning.settings import Settings

__all__ = ["Ears", "ears_at", "front_seats", "unplaced"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
LEAD_S, PAD_S, FADE_S = 0.010, 0.060, 0.005
APART_M = (0.13, 0.21)  #: two places this far apart across the car stand for two ears
ASTRAY_M = 0.035  #: and this far from the line through the head's centre at most
LEAST_M = 0.10
BASS = ("subwoofer", "woofer")  #: may have no place: nobody hears their direction


@dataclass(frozen=True, eq=False)
class Ears:
    """Each channel alone, at each ear, once for every place (or pair of places) of the microphone."""

    seat: str
    basis: str  #: key of ``result.BASES``
    channels: tuple[str, ...]
    places: tuple[str, ...]
    sample_rate_hz: float
    size: int  #: of the transform
    spectra: Complex  #: (places, channels, 2, f); time runs from ``LEAD_S`` before the first arrival

    @property
    def frequency_hz(self) -> Real:
        """(f,)"""
        return np.asarray(np.fft.rfftfreq(self.size, 1.0 / self.sample_rate_hz), dtype=np.float64)

    def gains(self, settings: Settings) -> Complex:
        """(channels, f): what the processor does."""
        below = np.minimum(self.frequency_hz, 0.4999 * settings.sample_rate_hz)
        rows = [
            settings.channel(name).response(below, sample_rate_hz=settings.sample_rate_hz) for name in self.channels
        ]
        return np.stack(rows)

    def heard(self, gains: Complex, place: int, share: Real) -> Real:
        """(2, size): impulse response at both ears with each channel playing its ``share`` (channels,) of one signal."""
        total = np.einsum("c,cf,cef->ef", share, gains, self.spectra[place])
        return np.asarray(np.fft.irfft(total, n=self.size))


def front_seats(build: Build) -> tuple[Seat, ...]:
    """Seats of the first row, the driver's first."""
    if not build.seats:
        return ()
    foremost = min(seat.head_m[0] for seat in build.seats)
    row = [seat for seat in build.seats if seat.head_m[0] < foremost + 0.4]
    sign = 1.0 if build.vehicle.driving_side == "right" else -1.0
    return tuple(sorted(row, key=lambda seat: -sign * float(seat.head_m[1])))


def unplaced(build: Build) -> tuple[str, ...]:
    """Speakers of channels whose direction is heard and whose place nobody stated."""
    used = {name for channel in build.channels for name in channel.speakers}
    return tuple(
        item.name for item in build.speakers if item.name in used and item.role not in BASS and item.position_m is None
    )


def ears_at(
    build: Build, responses: RecordedResponses, seat: Seat, *, lends: str | None, length_s: float, speed_m_s: float
) -> Ears | None:
    """Everything at the ears of ``seat`` of a located build; ``lends``: the seat whose recordings it takes where it has none.

    None where there is no place at which every channel was recorded well.
    """
    for name in dict.fromkeys((seat.name, lends or seat.name)):
        found = [pair for pair in _pairs(build, responses, name) if responses.present[:, list(pair)].all()]
        if found:
            basis = _basis(build, responses, name, found[0]) if name == seat.name else "carried over"
            if basis == "carried over":
                found = [(left, left) for left, _ in found]
            return _brought(build, responses, seat, found, basis, length_s, speed_m_s)
    return None


def _pairs(build: Build, responses: RecordedResponses, seat: str) -> list[tuple[int, int]]:
    """For the left and the right ear: which position each is taken from."""
    rows = {item.name: item for item in build.microphone_positions}
    here = [k for k, name in enumerate(responses.positions) if name in rows and rows[name].seat == seat]
    ears = {rows[responses.positions[k]].ear: k for k in here if rows[responses.positions[k]].ear is not None}
    if "left" in ears and "right" in ears:
        return [(ears["left"], ears["right"])]
    head = np.asarray(next(item.head_m for item in build.seats if item.name == seat), dtype=np.float64)
    beside = list(
        _beside(here, [np.asarray(rows[name].at_m) - head if name in rows else None for name in responses.positions])
    )
    return beside or [(k, k) for k in here]


def _beside(here: list[int], offsets: list[Real | None]) -> Iterator[tuple[int, int]]:
    """Two positions where the ears would be."""
    for left in here:
        for right in here:
            one, other = offsets[left], offsets[right]
            if one is None or other is None or not APART_M[0] <= other[1] - one[1] <= APART_M[1]:
                continue
            middle = 0.5 * (one + other)
            if np.abs((other - one)[[0, 2]]).max() <= ASTRAY_M and np.abs(middle).max() <= ASTRAY_M:
                yield left, right


def _basis(build: Build, responses: RecordedResponses, seat: str, pair: tuple[int, int]) -> str:
    ears = {item.name: item.ear for item in build.microphone_positions}
    if pair[0] == pair[1]:
        return "round the head"
    return "at the ears" if ears[responses.positions[pair[0]]] is not None else "at two places"


def _brought(
    build: Build,
    responses: RecordedResponses,
    seat: Seat,
    pairs: list[tuple[int, int]],
    basis: str,
    length_s: float,
    speed_m_s: float,
) -> Ears:
    rate = responses.sample_rate_hz
    used = sorted({k for pair in pairs for k in pair})
    cut = _cut(responses, used, length_s)
    size = 2 ** int(np.ceil(np.log2(cut.shape[-1] + PAD_S * rate)))
    whole = dict(zip(used, np.moveaxis(np.fft.rfft(cut, n=size, axis=-1), 1, 0), strict=True))
    frequency: Real = np.asarray(np.fft.rfftfreq(size, 1.0 / rate), dtype=np.float64)
    at = {item.name: np.asarray(item.at_m, dtype=np.float64) for item in build.microphone_positions}
    head = np.asarray(seat.head_m, dtype=np.float64)
    spectra = np.empty((len(pairs), len(responses.channels), 2, len(frequency)), dtype=np.complex128)
    for c, channel in enumerate(responses.channels):
        source = _source(build, channel, head)
        shadow = None if basis == "at the ears" or source is None else _shadow(source - head, frequency, speed_m_s)
        for row, pair in enumerate(pairs):
            for ear, k in enumerate(pair):
                spectra[row, c, ear] = whole[k][c]
                if shadow is not None and source is not None:
                    move = _move(source, at[responses.positions[k]], head, frequency, speed_m_s)
                    spectra[row, c, ear] *= move * shadow[ear]
    names = tuple(" and ".join(dict.fromkeys(responses.positions[k] for k in pair)) for pair in pairs)
    return Ears(seat.name, basis, responses.channels, names, rate, size, spectra)


def _cut(responses: RecordedResponses, used: list[int], length_s: float) -> Real:
    """(channels, used, samples) from just before the first arrival of any, faded out at the end."""
    rate = responses.sample_rate_hz
    size = np.abs(responses.impulse[:, used])
    first = int(np.min(np.argmax(size >= 0.1 * size.max(axis=-1, keepdims=True), axis=-1)))
    start = max(0, first - round(LEAD_S * rate))
    part = responses.impulse[:, used, start : start + round(length_s * rate)].copy()
    fade = min(round(FADE_S * rate), part.shape[-1])
    part[..., part.shape[-1] - fade :] *= 0.5 + 0.5 * np.cos(np.pi * (np.arange(fade) + 1.0) / fade)
    return part


def _source(build: Build, channel: str, head: Real) -> Real | None:
    """Where a channel is heard from: the nearest of its loudspeakers that has a place."""
    members = next(item.speakers for item in build.channels if item.name == channel)
    places = [item.position_m for item in build.speakers if item.name in members and item.position_m is not None]
    if not places:
        return None
    return min(
        (np.asarray(place, dtype=np.float64) for place in places), key=lambda at: float(np.linalg.norm(at - head))
    )


def _shadow(towards: Real, frequency: Real, speed_m_s: float) -> Complex:
    """(2, f): left and right ear of a sphere against the free field at its centre."""
    away = max(float(np.linalg.norm(towards)), LEAST_M)
    beside = float(np.clip(towards[1] / away, -1.0, 1.0))
    angles = np.degrees(np.arccos([-beside, beside]))
    return sphere_response(frequency_hz=frequency, incidence_deg=angles, distance_m=away, speed_m_s=speed_m_s)


def _move(source: Real, at: Real, head: Real, frequency: Real, speed_m_s: float) -> Complex:
    """(f,): from a microphone to the head's centre along the straight lines."""
    was = max(float(np.linalg.norm(source - at)), LEAST_M)
    now = max(float(np.linalg.norm(source - head)), LEAST_M)
    return np.asarray(was / now * np.exp(-2j * np.pi * frequency * (now - was) / speed_m_s))
