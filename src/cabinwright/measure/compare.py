"""Faults that show only beside the other recordings: another channel playing, another place, the same take twice.

Limits are common practice: tape errors of a few centimetres, and the scatter of levels from place to place in a cabin, must
not look like a fault; a loudspeaker of another kind, the other side's loudspeaker and two positions exchanged must.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cabinwright.measure.deconvolve import THIRDS
from cabinwright.measure.evidence import Evidence
from cabinwright.measure.faults import Fault, core_bands
from cabinwright.physics.air import speed_of_sound_m_s

__all__ = ["fits_better", "may_be_one", "odd_bands", "same_take", "shape_of", "wrong_channels", "wrong_positions"]

Real = NDArray[np.float64]

OTHER_BANDS_DB = 20.0  #: the core band this far below the loudest octave elsewhere is not this kind of loudspeaker
SPECTRUM_DB = 8.0  #: mean difference from the channel's other recordings
SPECTRUM_RATIO = 0.6
SIDE_S = 0.35e-3  #: 12 cm: an arrival this far off may be another loudspeaker's
SIDE_FIT_S = 0.15e-3
PLACE_M = 0.05
PLACE_SWAP_M = 0.03
PLACE_RATIO = 0.45
SAME_ERROR = 1e-5  #: share of the energy by which two copies of one take may differ


def odd_bands(evidence: Evidence, row: int, column: int, roles: set[str]) -> Fault | None:
    """Sound where this kind of loudspeaker has none, and little where it should have much."""
    level = evidence.level_db[row, column]
    audible = np.where(evidence.snr_db[row, column] > 6.0, 10.0 ** (level / 10.0), 0.0)
    inside = core_bands(evidence.core_hz[row])
    core = float(np.mean(audible[inside]))
    octaves = np.convolve(np.where(inside, 0.0, audible), np.full(3, 1.0 / 3.0), mode="same")
    octaves[inside] = 0.0
    best = int(np.argmax(octaves))
    if octaves[best] <= 0.0:
        return None
    below = 10.0 * float(np.log10(octaves[best] / max(core, 1e-30)))
    if below < OTHER_BANDS_DB:
        return None
    kind = " or ".join(sorted(roles)) or "loudspeaker"
    return Fault(
        "recording-wrong-channel",
        f"another loudspeaker plays: it is loudest around {THIRDS.centres_hz[best]:.0f} Hz and {min(below, 99.0):.0f} dB "
        f"weaker where a {kind} plays",
        value=round(min(below, 99.0), 1),
        limit=OTHER_BANDS_DB,
        unit="dB",
        figures={"core_below_db": min(below, 99.0)},
    )


def _model(evidence: Evidence, row: int, skip: int) -> Real | None:
    """Median levels of a channel over its positions but one; ``None`` with fewer than two."""
    rows = np.delete(evidence.level_db[row], skip, axis=0)
    rows = rows[np.isfinite(rows).all(axis=1)]
    return np.asarray(np.median(rows, axis=0)) if len(rows) >= 2 else None


def _spectral_distance(level: Real, model: Real) -> float:
    """Mean absolute difference [dB], each band at most 20 dB, where either plays within 30 dB of its loudest band."""
    use = (level > level.max() - 30.0) | (model > model.max() - 30.0)
    return float(np.mean(np.minimum(np.abs(level - model)[use], 20.0)))


def wrong_channels(evidence: Evidence, channels: tuple[str, ...]) -> dict[tuple[int, int], Fault]:
    """Recordings that resemble another channel more than their own, by levels or by arrival."""
    found = {}
    rows, columns = evidence.arrival_s.shape
    for row in range(rows):
        for column in range(columns):
            if not np.isfinite(evidence.arrival_s[row, column]):
                continue
            fault = _wrong_channel(evidence, channels, row, column)
            if fault is not None:
                found[row, column] = fault
    return found


def _wrong_channel(evidence: Evidence, channels: tuple[str, ...], row: int, column: int) -> Fault | None:
    level, arrival = evidence.level_db[row, column], evidence.arrival_s[row, column]
    own = _model(evidence, row, column)
    if own is None:
        return None
    lateness = evidence.lateness(without=column)
    late = abs(arrival - lateness[row] - evidence.travel_s[row, column])
    distance = _spectral_distance(level, own)
    for other, name in enumerate(channels):
        model = _model(evidence, other, column) if other != row else None
        if model is None:
            continue
        alike = _spectral_distance(level, model)
        figures = {"own_difference_db": distance, "other_difference_db": alike}
        if distance > SPECTRUM_DB and alike < SPECTRUM_RATIO * distance and distance - alike > 4.0:
            return Fault(
                "recording-wrong-channel",
                f"it sounds like {name}: its levels differ by {distance:.0f} dB from this channel's other recordings and by "
                f"{alike:.0f} dB from that one's",
                round(distance, 1), SPECTRUM_DB, "dB", figures,
            )  # fmt: skip
        other_late = abs(arrival - lateness[other] - evidence.travel_s[other, column])
        apart = abs(lateness[row] + evidence.travel_s[row, column] - lateness[other] - evidence.travel_s[other, column])
        near = other_late < min(SIDE_FIT_S, 0.35 * apart)
        if evidence.sharp[row] and late > SIDE_S and near and alike < distance + 0.5:
            return Fault(
                "recording-wrong-channel",
                f"it sounds like {name}: it arrives {1e3 * late:.2f} ms from where this channel should, and "
                f"{1e3 * other_late:.2f} ms from where that one should",
                round(1e3 * late, 2), 1e3 * SIDE_S, "ms",
                {**figures, "arrival_error_s": late, "other_arrival_error_s": other_late},
            )  # fmt: skip
    return None


def wrong_positions(evidence: Evidence, positions: tuple[str, ...], *, free_zero: bool) -> dict[int, Fault]:
    """Positions whose arrivals contradict their stated place.

    ``free_zero``: the time zero of a position rests on its stated place (markers), so only differences between channels
    count. Needs three channels with sharp arrivals and stated places, and three positions.
    """
    found: dict[int, Fault] = {}
    count = len(positions)
    use = evidence.sharp & np.isfinite(evidence.travel_s).any(axis=1)
    if count < 3 or np.count_nonzero(use) < 3:
        return found
    misfit = np.full((count, count), np.nan)
    for at in range(count):
        lateness = evidence.lateness(without=at)
        for place in range(count):
            error = (evidence.arrival_s[:, at] - lateness - evidence.travel_s[:, place])[use]
            error = error[np.isfinite(error)]
            if len(error) >= 3:
                misfit[at, place] = _scatter(error, free=free_zero)
    for at in range(count):
        fault = _misplaced(misfit, at, positions)
        if fault is not None:
            found[at] = fault
    return found


def _scatter(error: Real, *, free: bool) -> float:
    """Robust size of the errors: the root mean square of the smaller three quarters, so one odd arrival does not decide."""
    rest = np.sort(np.abs(error - np.median(error) if free else error))
    keep = max(2, int(np.ceil(0.75 * len(rest))))
    return float(np.sqrt(np.mean(rest[:keep] ** 2)))


def _misplaced(misfit: Real, at: int, positions: tuple[str, ...]) -> Fault | None:
    apart_m = misfit * speed_of_sound_m_s()
    stated = float(apart_m[at, at])
    if not np.isfinite(stated):
        return None
    others = apart_m[at].copy()
    others[at] = np.inf
    best = int(np.nanargmin(others))
    exchanged = others[best] < PLACE_RATIO * stated and misfit[best, at] < PLACE_RATIO * misfit[best, best]
    if not (stated > PLACE_M or (stated > PLACE_SWAP_M and exchanged)):
        return None
    hint = f"; they fit {positions[best]}'s place within {100.0 * others[best]:.0f} cm" if exchanged else ""
    return Fault(
        "recording-position",
        f"the arrivals contradict the stated place of {positions[at]} by {100.0 * stated:.0f} cm{hint}",
        value=round(100.0 * stated, 1),
        limit=100.0 * PLACE_M,
        unit="cm",
        figures={"place_error_m": stated, "best_other_m": float(others[best])},
    )


def same_take(one: Real, two: Real) -> bool:
    """Whether two responses (samples,) come from one take: alike to 50 dB, up to a shift of whole samples and a gain.

    Noise cannot tell: two takes of a subwoofer half a metre apart differ by less than their hiss. But one take holds one
    noise, so what is left between two copies of it is rounding.
    """
    energy_one, energy_two = float(one @ one), float(two @ two)
    if min(energy_one, energy_two) <= 0.0:
        return False
    size = 1 << (len(one) + len(two) - 1).bit_length()
    spectrum = np.fft.rfft(one, n=size).conj() * np.fft.rfft(two, n=size)
    peak = float(np.fft.irfft(spectrum, n=size).max())
    return energy_two - peak * peak / energy_one <= SAME_ERROR * energy_two


def shape_of(one: Real) -> Real:
    """(f,) magnitudes of the spectrum of a response (samples,), of unit energy: neither a shift nor a gain changes them."""
    height = np.abs(np.fft.rfft(one, n=1 << (2 * len(one) - 1).bit_length()))
    height[1:-1] *= np.sqrt(2.0)  # each of these stands for itself and its mirror image
    return np.asarray(height / max(float(np.linalg.norm(height)), 1e-300))


def may_be_one(shape: Real, other: Real) -> bool:
    """False where ``same_take`` is False for sure: no shift correlates more than the shapes do (Cauchy-Schwarz)."""
    return len(shape) != len(other) or 1.0 - float(shape @ other) ** 2 <= 2.0 * SAME_ERROR


def fits_better(evidence: Evidence, first: tuple[int, int], second: tuple[int, int]) -> tuple[int, int] | None:
    """Of two entries that hold one take, the one it belongs to by its arrival; ``None`` where that does not decide."""
    errors = []
    for row, column in (first, second):
        late = evidence.arrival_s[row, column] - evidence.lateness(without=column)[row] - evidence.travel_s[row, column]
        errors.append(abs(float(late)))
    if not np.isfinite(errors).all() or not evidence.sharp[first[0]]:
        return None
    better, worse = sorted((0, 1), key=lambda number: errors[number])
    if errors[better] < 0.1e-3 and errors[worse] > max(0.15e-3, 2.5 * errors[better]):
        return (first, second)[better]
    return None
