"""Polarity and delay of whole ways, searched before the solver runs: it can slide down a slope but not jump to the next.

For each way, from the treble down, every delay within a period of the crossover and both polarities are
tried against the ways above it. Cross-spectra make this cheap: with the way's own power A, the others' power B and
their cross term X, the sum is ``A + B + 2 s Re(X exp(-j w t))``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.response import RecordedResponses
from cabinwright.stages.tuning.arrivals import Arrivals
from cabinwright.stages.tuning.ways import Way

__all__ = ["Scan", "match_pair_polarity", "scan_way"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
BASS_HZ = 150.0
BASS_PENALTY_DB, PENALTY_DB = 0.8, 1.0  #: per period squared away from where the two should meet
FURTHEST_PERIODS = 0.6  #: no other period than the one in which both meet


@dataclass(frozen=True)
class Scan:
    """Outcome of a search for one way."""

    polarity: float  #: +1 or -1, to be multiplied onto the way's channels
    delay_s: float
    loss_db: float  #: level below the sum of magnitudes, weighted over the overlap


def scan_way(
    sums: list[tuple[NDArray[np.int_], Complex]],
    frequency_hz: Real,
    response: Complex,
    *,
    way: tuple[int, ...],
    others: tuple[int, ...],
    centre_hz: float,
    span_hz: tuple[float, float],
    reach: float = 1.0,
    steps: int = 321,
) -> list[Scan]:
    """Polarities and delays at which the channels ``way`` add best to ``others``, best first, one per local maximum.

    ``sums`` holds, per coherent sum, its channels and their mean cross-spectra (B, n, n); ``response`` (C, B) is what the
    processor does at present. ``centre_hz`` sets the period that is searched, ``span_hz`` the band that counts. The score is
    the mean level in dB below the sum of magnitudes, weighted by how equal the two are.
    """
    delays = np.linspace(-reach, reach, steps) / centre_hz
    band = (frequency_hz > span_hz[0]) & (frequency_hz < span_hz[1])
    turn = np.exp(-2j * np.pi * np.outer(delays, frequency_hz[band]))
    score, total = np.zeros((2, steps)), 0.0
    shared = np.zeros(int(band.sum()), dtype=np.complex128)
    for members, cross in sums:
        mine = np.flatnonzero(np.isin(members, way))
        rest = np.flatnonzero(np.isin(members, others))
        if not len(mine) or not len(rest):
            continue
        g = response[members][:, band]
        share = np.einsum("cb,db,bcd->bcd", g, g.conj(), cross[band], optimize=True)
        own = np.maximum(share[:, mine][:, :, mine].sum(axis=(1, 2)).real, 1e-30)
        far = np.maximum(share[:, rest][:, :, rest].sum(axis=(1, 2)).real, 1e-30)
        mix = share[:, mine][:, :, rest].sum(axis=(1, 2))
        shared += mix
        swing = 2.0 * (turn * mix).real
        best = (np.sqrt(own) + np.sqrt(far)) ** 2
        weight = 2.0 * np.minimum(own, far) / (own + far)
        for row, sign in enumerate((1.0, -1.0)):
            score[row] += 10.0 * np.log10(np.maximum((own + far + sign * swing) / best, 1e-3)) @ weight
        total += float(weight.sum())
    if total == 0.0:
        return [Scan(1.0, 0.0, 0.0)]
    score /= total
    # Sums a period apart are nearly equal. Where direction is heard, first sounds are kept together; in the bass the choice
    # lies half way between that and the meeting of the envelopes, so that neither is far off.
    bass = centre_hz < BASS_HZ
    meeting = 0.5 * delays[int(np.argmax(np.abs(turn @ shared)))] if bass else 0.0
    periods = np.abs(delays - meeting) * centre_hz
    penalty = BASS_PENALTY_DB if bass else PENALTY_DB
    judged = np.where(periods <= FURTHEST_PERIODS, score - penalty * periods**2, -np.inf)
    found = []
    for row, polarity in enumerate((1.0, -1.0)):
        padded = np.concatenate([[-np.inf], judged[row], [-np.inf]])
        for k in np.flatnonzero((padded[1:-1] >= padded[:-2]) & (padded[1:-1] > padded[2:]) & np.isfinite(judged[row])):
            scan = Scan(polarity, float(delays[k]), -float(score[row, k]))
            found.append((float(judged[row, k]), scan))
    return [scan for _, scan in sorted(found, key=lambda pair: -pair[0])]


def match_pair_polarity(
    responses: RecordedResponses, arrivals: Arrivals, way: Way, band_hz: tuple[float, float]
) -> dict[int, tuple[float, float]]:
    """Polarity of each channel of a way against its first, from the first milliseconds of sound.

    Returns ``{channel: (sign, confidence)}``; confidence is the normalised correlation, mean over positions.
    """
    rate = responses.sample_rate_hz
    low, high = band_hz
    span = int(rate * min(max(3.0 / low, 0.001), 0.02))
    first = way.channels[0]
    found = {first: (1.0, 1.0)}
    for channel in way.channels[1:]:
        shared = np.flatnonzero(responses.present[first] & responses.present[channel])
        peaks = []
        for position in shared:
            pieces = [
                _first_sound(
                    responses.impulse[c, position],
                    responses.zero_sample + round(arrivals.at_positions_s[c, position] * rate),
                    span,
                    rate,
                    band_hz,
                )
                for c in (first, channel)
            ]
            cross = np.fft.irfft(np.fft.rfft(pieces[0]) * np.fft.rfft(pieces[1]).conj())
            reach = max(2, int(0.3 * rate / np.sqrt(low * high)))
            near = np.concatenate([cross[: reach + 1], cross[-reach:]])
            norm = np.sqrt((pieces[0] ** 2).sum() * (pieces[1] ** 2).sum())
            peaks.append(near[np.argmax(np.abs(near))] / max(norm, 1e-30))
        mean = float(np.mean(peaks)) if peaks else 1.0
        found[channel] = (1.0 if mean >= 0.0 else -1.0, abs(mean))
    return found


def _first_sound(impulse: Real, start: int, span: int, rate: float, band_hz: tuple[float, float]) -> Real:
    """Band-limited first ``span`` samples around an arrival, faded, in a block twice as long."""
    low, high = band_hz
    lead = span // 4
    begin = max(0, start - lead)
    spectrum = np.fft.rfft(impulse)
    octaves = np.log2(np.maximum(np.fft.rfftfreq(len(impulse), 1.0 / rate), 1e-3))
    rise = np.clip(octaves - np.log2(low) + 0.5, 0.0, 1.0)
    fall = np.clip(np.log2(high) - octaves + 0.5, 0.0, 1.0)
    piece = np.fft.irfft(spectrum * np.sin(0.5 * np.pi * rise) ** 2 * np.sin(0.5 * np.pi * fall) ** 2, n=len(impulse))
    window = np.concatenate([np.ones(lead + span // 2), 0.5 + 0.5 * np.cos(np.pi * np.arange(span // 2) / (span // 2))])
    out = np.zeros(2 * (lead + span))
    cut = piece[begin : begin + len(window)]
    out[: len(cut)] = cut * window[: len(cut)]
    return out
