"""How well a guess explains the measurement, after the free level and delays that no verification can know.

Model of recording ``r`` at position ``p``:
``M_rp(f) = a exp(-j w t_p) sum_c feed_rc drive_c(f) H_out(c),p(f) + noise``.
The level ``a`` is common to the set. The delays ``t_p`` start from a common latency (or, with markers, from each
position's own) and may differ by what moving a microphone back to its place differs.

The misfit is the logarithm of the residual power in each band, so that bands which cannot agree (treble at a microphone
that stands 10 mm beside its old place) have little say, plus a term in the level of each band, which survives such
moves. It is the negative log-likelihood of Gaussian residuals whose variance in each band is unknown but not below
that of the noise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cabinwright.stages.tuning.verify.bench import Array, Bench, Complex, State

__all__ = ["Fit", "Fitter"]

REPLACED_S = 60e-6  #: a microphone put back within 20 mm
STEP_S = 3e-6
LEVEL_TOLERANCE_DB = 0.35  #: spatially averaged band levels repeat within this (common practice, no source)
MOST_LATENCIES = 3
SCAN_STEP_S = 1e-5


@dataclass(frozen=True)
class Fit:
    """One guess with its best level and delays."""

    misfit: float
    level: float  #: linear, measured over predicted
    delay_s: Array  #: (positions,)
    residual: Array  #: (recordings, bands) residual power over the variance of noise and repeatability
    level_error_db: Array  #: (recordings, bands) measured over predicted, spatial average


class Fitter:
    """Scores guesses on one bench; what does not depend on the guess is computed once."""

    def __init__(self, full: Bench, *, absolute_time: bool) -> None:
        self.bench = full.thinned()
        bench = self.bench
        self.turn = -2j * np.pi * bench.frequency_hz
        steps = np.arange(-REPLACED_S, REPLACED_S + STEP_S / 2, STEP_S)
        self.steps = steps
        self.local: Complex = np.exp(self.turn[:, None] * steps)
        self.count = bench.usable.sum(axis=1)
        self.power = bench.band_sum((bench.weight * np.abs(bench.measured) ** 2).sum(axis=1))
        self.noise = bench.band_sum((bench.weight * bench.noise).sum(axis=1))
        expected = np.minimum(self.noise / self.count[:, None], 1.0)
        self.least = float((self.count[:, None] * np.log1p(expected)).sum())  # misfit that noise alone leaves
        self.latencies = _latencies(full, absolute_time=absolute_time)

    def score(self, state: State) -> Fit:
        """Best fit over the candidate latencies."""
        prediction = self.bench.predict(state)
        cross = np.conj(self.bench.measured) * prediction
        power = np.abs(prediction) ** 2
        return min((self._fit(cross, power, latency) for latency in self.latencies), key=lambda fit: fit.misfit)

    def _fit(self, cross: Complex, power: Array, latency_s: Array) -> Fit:
        bench = self.bench
        weight = bench.weight
        cross = cross * np.exp(self.turn * latency_s[:, None])
        fit = self._pass(cross, power, weight, latency_s)
        bands = np.diff(np.append(bench.band_start, len(bench.frequency_hz)))
        again = weight * np.repeat(1.0 / (1.0 + fit.residual), bands, axis=-1)[:, None, :]
        return self._pass(cross, power, again, latency_s)

    def _pass(self, cross: Complex, power: Array, weight: Array, latency_s: Array) -> Fit:
        """Delays and level by weighted least squares, then the misfit."""
        bench = self.bench
        gathered = (weight * cross).sum(axis=0)
        curve = (gathered @ self.local).real
        best = curve.argmax(axis=1)
        shift = _vertex(curve, best, self.steps)
        turned = (cross * np.exp(self.turn * shift[:, None])).real
        level = max(float((weight * turned).sum()) / max(float((weight * power).sum()), 1e-300), 1e-9)
        along = bench.band_sum((bench.weight * turned).sum(axis=1))
        own = bench.band_sum((bench.weight * power).sum(axis=1))
        residual = np.maximum(self.power - 2.0 * level * along + level**2 * own, 0.0) / self.count[:, None]
        error_db = 10.0 * np.log10((self.power + 1e-9) / (level**2 * own + self.noise + 1e-9))
        misfit = float((self.count[:, None] * np.log1p(residual)).sum())
        misfit += float(np.log1p((error_db / LEVEL_TOLERANCE_DB) ** 2).sum())
        return Fit(misfit, level, latency_s + shift, residual, error_db)

    def delay_peaks(self, state: State, channel: int, low_s: float, high_s: float) -> list[float]:
        """Extra delays of one output worth a closer look, best first."""
        bench = self.bench
        alone = bench.recorded[state.out[channel]] * state.drive[channel] * state.feed[:, channel][:, None, None]
        rest = bench.predict(state) - alone
        scan = np.arange(low_s, high_s + SCAN_STEP_S / 2, SCAN_STEP_S)
        found: list[tuple[float, float]] = []
        for latency in self.latencies:
            turn = bench.weight * np.conj(bench.measured) * np.exp(self.turn * latency[:, None])
            moving = (turn * alone).sum(axis=(0, 1))
            overlap = 2.0 * (bench.weight * np.conj(rest) * alone).sum(axis=(0, 1))
            still = float((turn * rest).real.sum())
            fixed = float((bench.weight * (np.abs(rest) ** 2 + np.abs(alone) ** 2)).sum())

            def gain(delays: Array, parts: tuple[Complex, Complex, float, float]) -> Array:
                both = np.exp(np.outer(delays, self.turn)) @ np.stack(parts[:2], axis=1)
                along = np.maximum(both[:, 0].real + parts[2], 0.0)
                value: Array = along**2 / np.maximum(both[:, 1].real + parts[3], 1e-300)
                return value

            parts = (moving, overlap, still, fixed)
            values = np.concatenate([gain(part, parts) for part in np.array_split(scan, max(1, len(scan) // 500))])
            for index in _peaks(values, 2):
                near = scan[index] + np.arange(-8, 9) * (SCAN_STEP_S / 8)
                close = gain(near, parts)
                found.append((float(close.max()), float(near[close.argmax()])))
        return [delay for _, delay in sorted(found, reverse=True)[:4]]


def _peaks(values: Array, most: int) -> list[int]:
    """Indices of the highest local maxima, ends included."""
    padded = np.concatenate([[-np.inf], values, [-np.inf]])
    tops = np.flatnonzero((padded[1:-1] >= padded[:-2]) & (padded[1:-1] > padded[2:]))
    return [int(index) for index in tops[np.argsort(values[tops])[::-1][:most]]]


def _vertex(curve: Array, best: NDArray[np.intp], steps: Array) -> Array:
    """Place of the maximum of each row by a parabola through three points; the end points stay."""
    inner = np.clip(best, 1, len(steps) - 2)
    rows = np.arange(len(curve))
    left, middle, right = curve[rows, inner - 1], curve[rows, inner], curve[rows, inner + 1]
    bend = left - 2.0 * middle + right
    move = np.where(bend < 0.0, 0.5 * (left - right) / np.where(bend < 0.0, bend, 1.0), 0.0)
    place: Array = steps[inner] + np.clip(move, -1.0, 1.0) * (steps[1] - steps[0])
    return place


def _latencies(bench: Bench, *, absolute_time: bool) -> list[Array]:
    """Candidate latencies, ``(positions,)`` each: from the whole prediction and from each output on its own.

    A wrong delay of the strongest channel pulls the whole prediction with it; some other channel then still shows the
    true latency.
    """
    step_hz = float(bench.frequency_hz[1] - bench.frequency_hz[0])
    index = np.rint(bench.frequency_hz / step_hz).astype(np.intp)
    count = 4 * int(index[-1] + 1)  # twice the rate that the band needs: the peak is then found to a sixth of a period
    each = bench.start.drive[:, None, :] * bench.recorded
    weighted = bench.weight * np.conj(bench.measured)
    total = (weighted * bench.predict(bench.start)).sum(axis=0)
    alone = [(np.tensordot(bench.start.feed[:, c], weighted, axes=(0, 0)) * each[c]) for c in range(len(each))]
    found: list[tuple[float, Array]] = []
    for order, cross in enumerate([total, *alone]):
        spectrum = np.zeros((len(cross), count // 2 + 1), dtype=np.complex128)
        spectrum[:, index] = cross
        track = np.abs(np.fft.irfft(np.conj(spectrum), count))
        if absolute_time:
            track = np.broadcast_to(track.sum(axis=0), track.shape)
        top = track.argmax(axis=1)
        lag = np.where(top > count // 2, top - count, top) / (count * step_hz)
        scale = np.abs(cross).sum() / count * 2.0
        sharp = float(track.max(axis=1).sum() / max(scale, 1e-300))
        found.append((np.inf if order == 0 else sharp, lag))
    chosen: list[Array] = []
    for _, lag in sorted(found, key=lambda pair: -pair[0]):
        if all(np.median(np.abs(lag - other)) > REPLACED_S / 2 for other in chosen):
            chosen.append(lag)
    return chosen[:MOST_LATENCIES]
