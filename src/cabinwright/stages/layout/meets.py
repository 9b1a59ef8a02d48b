"""Prediction held against measurement: arrivals and early levels of speakers that were predicted and then recorded.

The rays know place, aim, size and surfaces; they know nothing of the speaker's own response, of curved panes or of small
parts. So the comparison is of what rays claim: when sound arrives (envelopes in the first 5 ms, 500 Hz to 8 kHz) and how
third-octave levels of the first 10 ms rise and fall beside one another, mean level free.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, rfft, rfftfreq

from cabinwright.build.document import Build, Speaker
from cabinwright.physics.bands import octave_bands
from cabinwright.physics.directivity import piston
from cabinwright.physics.image_sources import Images, hidden
from cabinwright.physics.response import RecordedResponses
from cabinwright.stages.layout.pose import aim_of, radius_of
from cabinwright.stages.layout.room import ORDER, Room, make_room
from cabinwright.tables import OCTAVES_HZ, role_radius_m

__all__ = ["Met", "meet"]

Real = NDArray[np.float64]
LOW_HZ, HIGH_HZ = 500.0, 8000.0
FIRST_S, EARLY_S, SHOWN_S = 0.005, 0.010, 0.008
BEFORE_S = 0.001
SAME_M = 0.03  #: speaker and place nearer than this are one
SKIPPED = ("subwoofer", "woofer")  #: rays say nothing of them
ONSET_DB = -12.0
SLACK_S = 0.0005  #: the first peak of an envelope is found no better than this where a reflection follows at once


@dataclass(frozen=True)
class Met:
    """One channel at the position nearest to its seat's head."""

    channel: str
    position: str
    time_s: Real  #: (n,) from the direct sound
    measured: Real  #: (n,) envelope, its highest 1
    predicted: Real  #: (n,) likewise
    band_hz: Real  #: (b,) third octaves
    measured_db: Real  #: (b,) mean removed
    predicted_db: Real  #: (b,) likewise
    correlation: float  #: of the envelopes over the first 5 ms
    band_correlation: float  #: of the third-octave levels
    apart_db: float  #: root mean square of their difference


def meet(build: Build, recorded: RecordedResponses) -> tuple[Met, ...]:
    """Every channel of one placed speaker in a cabin with surfaces; empty where there is nothing to compare."""
    if build.cabin is None or not build.cabin.surfaces or not build.seats:
        return ()
    room, _ = make_room(build)
    speakers = {item.name: item for item in build.speakers}
    driven = {item.name: [speakers[name] for name in item.speakers] for item in build.channels}
    places = {item.name: np.asarray(item.at_m, dtype=np.float64) for item in build.microphone_positions}
    heads = np.asarray([seat.head_m for seat in build.seats], dtype=np.float64)
    known = [name for name in recorded.positions if name in places]
    if not known:
        return ()
    nearest = min(known, key=lambda name: float(np.linalg.norm(heads - places[name], axis=1).min()))
    column = recorded.positions.index(nearest)
    images = Images(room.facets, places[nearest][None], most_order=ORDER - room.crowded)
    out = []
    for row, channel in enumerate(recorded.channels):
        mine = driven.get(channel, [])
        if len(mine) != 1 or mine[0].position_m is None or mine[0].role in SKIPPED or not recorded.present[row, column]:
            continue
        found = _one(build, room, images, mine[0], recorded, row, column)
        if found is not None:
            out.append(found)
    return tuple(out)


def _one(
    build: Build, room: Room, images: Images, speaker: Speaker, recorded: RecordedResponses, row: int, column: int
) -> Met | None:
    from scipy.signal import hilbert  # slow to import

    rate = recorded.sample_rate_hz
    impulse = recorded.impulse[row, column]
    heard = _limited(impulse, rate)
    envelope = np.abs(hilbert(heard))
    start = _onset(envelope)
    if start is None:
        return None
    size = round((SHOWN_S + BEFORE_S) * rate)
    first = max(start - round(BEFORE_S * rate), 0)
    ours = _predicted(build, room, images, speaker, rate, len(impulse))
    theirs = np.abs(hilbert(_limited(ours, rate)))
    at = _onset(theirs)
    if at is None or first + size > len(envelope) or not envelope[first : first + size].any():
        return None
    measured = envelope[first : first + size]
    other = _aligned(measured, theirs, max(at - round(BEFORE_S * rate), 0), rate)
    predicted = theirs[other : other + size]
    measured, predicted = measured / measured.max(), predicted / predicted.max()
    time = np.arange(size) / rate - BEFORE_S
    early = (time >= 0.0) & (time <= FIRST_S)
    bands = octave_bands(fraction=3, low_hz=LOW_HZ, high_hz=HIGH_HZ)
    levels = [
        _band_levels(row_, begin, rate, bands.lower_hz, bands.upper_hz)
        for row_, begin in ((impulse, first), (ours, other))
    ]
    one, two = (level - level.mean() for level in levels)
    return Met(
        channel=recorded.channels[row],
        position=recorded.positions[column],
        time_s=time,
        measured=measured,
        predicted=predicted,
        band_hz=np.sqrt(bands.lower_hz * bands.upper_hz),
        measured_db=one,
        predicted_db=two,
        correlation=_correlation(measured[early], predicted[early]),
        band_correlation=_correlation(one, two),
        apart_db=float(np.sqrt(np.mean((one - two) ** 2))),
    )


def _predicted(build: Build, room: Room, images: Images, speaker: Speaker, rate: float, samples: int) -> Real:
    """(samples,) impulse response by rays; the direct sound lies where its distance puts it, 1 ms late."""
    at = np.asarray(speaker.position_m, dtype=np.float64)
    twin = next((p for p in build.places if np.linalg.norm(np.asarray(p.position_m) - at) < SAME_M), None)
    radius = radius_of(twin) if twin is not None else role_radius_m(speaker.role)
    aim = None if speaker.aim is None else np.asarray(speaker.aim, dtype=np.float64)
    if aim is None and twin is not None:
        aim = aim_of(build, twin)
    frequency = rfftfreq(samples, 1.0 / rate)
    paths = images.paths(at[None])
    head = images.receivers_m[0]
    straight = float(np.linalg.norm(head - at))
    lengths = [straight, *paths.length_m]
    leaving = np.vstack([(head - at) / max(straight, 1e-6), paths.leaving])
    octaves, log_f = np.log(OCTAVES_HZ), np.log(np.maximum(frequency, 20.0))
    kept = np.vstack([10.0 * np.log10(np.maximum(1.0 - room.absorption, 1e-6)), np.zeros(len(OCTAVES_HZ))])
    walls = np.vstack([np.zeros((1, len(OCTAVES_HZ))), kept[paths.facets].sum(axis=1)])
    covered = bool(hidden(room.facets, at[None], head[None])[0, 0])
    total = np.zeros(len(frequency), dtype=np.complex128)
    for k, length in enumerate(lengths):
        if k == 0 and covered:
            continue
        gain = 10.0 ** (np.interp(log_f, octaves, walls[k]) / 20.0) / length
        if aim is not None:
            angle = float(np.arccos(np.clip(leaving[k] @ aim / np.linalg.norm(aim), -1.0, 1.0)))
            gain = gain * piston(frequency_hz=frequency, angle_rad=angle, radius_m=radius, speed_m_s=room.speed_m_s)
        late = (length - straight) / room.speed_m_s + 2.0 * BEFORE_S
        total += gain * np.exp(-2j * np.pi * frequency * late)
    return np.asarray(irfft(total, n=samples))


def _limited(impulse: Real, rate: float) -> Real:
    """500 Hz to 8 kHz with half-octave skirts, no phase."""
    frequency = rfftfreq(len(impulse), 1.0 / rate)
    octave = np.log2(np.maximum(frequency, 1.0))
    rise = np.clip((octave - np.log2(LOW_HZ) + 0.5) / 0.5, 0.0, 1.0)
    fall = np.clip((np.log2(HIGH_HZ) + 0.5 - octave) / 0.5, 0.0, 1.0)
    window = np.sin(0.5 * np.pi * rise) ** 2 * np.sin(0.5 * np.pi * fall) ** 2
    return np.asarray(irfft(rfft(impulse) * window, n=len(impulse)))


def _onset(envelope: Real) -> int | None:
    """Index of the first peak that stands within 12 dB of the highest."""
    high = float(envelope.max())
    if not high > 0.0:
        return None
    first = int(np.argmax(envelope >= high * 10.0 ** (ONSET_DB / 20.0)))
    rising = envelope[first:-1] > envelope[first + 1 :]
    return first + (int(np.argmax(rising)) if rising.any() else 0)


def _aligned(measured: Real, theirs: Real, first: int, rate: float) -> int:
    """Where the prediction begins so that both envelopes lie over one another best: latencies are not in the rays."""
    reach = round(SLACK_S * rate)
    starts = [k for k in range(first - reach, first + reach + 1) if 0 <= k <= len(theirs) - len(measured)]
    return max(starts, key=lambda k: _correlation(measured, theirs[k : k + len(measured)]), default=first)


def _band_levels(impulse: Real, first: int, rate: float, low: Real, high: Real) -> Real:
    length = round((EARLY_S + BEFORE_S) * rate)
    part = impulse[first : first + length] * np.minimum(1.0, np.arange(length, 0, -1) / (0.2 * length))
    power = np.abs(rfft(part, 8192)) ** 2
    frequency = rfftfreq(8192, 1.0 / rate)
    means = [power[(frequency >= a) & (frequency < b)].mean() for a, b in zip(low, high, strict=True)]
    return np.asarray(10.0 * np.log10(np.maximum(means, 1e-30)))


def _correlation(one: Real, other: Real) -> float:
    if one.std() == 0.0 or other.std() == 0.0:
        return 0.0
    return float(np.corrcoef(one, other)[0, 1])
