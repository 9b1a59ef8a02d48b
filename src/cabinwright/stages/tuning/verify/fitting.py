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
from cabinwright.stages.tuning.verify.repeatability import LEVEL_SPREAD_DB, REPLACED_AT_MOST_S

__all__ = ["Fit", "Fitter"]

STEP_S = 3e-6
MOST_LATENCIES = 4
SCAN_STEP_S = 1e-5
SCAN_BLOCK = 64
REALIGN_BLOCKS = 5  #: 3.2 ms to either side
REALIGN_BLOCKS_WHOLE = 16  #: 10 ms: where all delays are exchanged, everything may come that much earlier or later


@dataclass(frozen=True)
class Fit:
    """One guess with its best level and delays."""

    misfit: float
    level: float  #: linear, measured over predicted
    delay_s: Array  #: (positions,)
    latency: int  #: which candidate latency it started from
    residual: Array  #: (recordings, bands) residual power over the variance of noise and repeatability
    level_error_db: Array  #: (recordings, bands) measured over predicted, spatial average


class Fitter:
    """Scores guesses on one bench; what does not depend on the guess is computed once."""

    def __init__(self, full: Bench, *, absolute_time: bool) -> None:
        self.bench = full.thinned()
        self.absolute_time = absolute_time
        bench = self.bench
        self.turn = -2j * np.pi * bench.frequency_hz
        steps = np.arange(-REPLACED_AT_MOST_S, REPLACED_AT_MOST_S + STEP_S / 2, STEP_S)
        self.steps = steps
        self.local: Complex = np.exp(self.turn[:, None] * steps)
        self.count = bench.usable.sum(axis=1)
        self.power = bench.band_sum((bench.weight * np.abs(bench.measured) ** 2).sum(axis=1))
        self.noise = bench.band_sum((bench.weight * bench.noise).sum(axis=1))
        share = np.minimum(self.noise / np.maximum(self.power, 1e-300), 1.0)
        chance = (2.0 * share + share**2) / (
            bench.sizes * self.count[:, None]
        )  # variance of a noisy power over its square
        self.level_spread_db = np.sqrt(LEVEL_SPREAD_DB**2 + (10.0 / np.log(10.0)) ** 2 * chance)
        expected = np.minimum(self.noise / self.count[:, None], 1.0)
        self.least = float((self.count[:, None] * np.log1p(expected)).sum())  # misfit that noise alone leaves
        self.latencies, self.usual = _latencies(full, absolute_time=absolute_time)
        self.turned: list[Complex] = [np.exp(self.turn * latency[:, None]) for latency in self.latencies]
        self.block: Complex = np.exp(self.turn[:, None] * (SCAN_STEP_S * np.arange(SCAN_BLOCK)))

    def score(self, state: State, *, latencies: tuple[int, ...] | None = None) -> Fit:
        """Best fit over the candidate latencies (by default the usual ones)."""
        prediction = self.bench.predict(state)
        cross = np.conj(self.bench.measured) * prediction
        power = np.abs(prediction) ** 2
        weight = self.bench.weight
        first = min(
            (self._pass(cross, power, weight, index) for index in latencies or range(self.usual)),
            key=lambda fit: fit.misfit,
        )
        again = weight * np.repeat(1.0 / (1.0 + first.residual), self.bench.sizes, axis=-1)[:, None, :]
        return self._pass(cross, power, again, first.latency)

    def realign(self, fit: Fit, state: State, *, whole: bool) -> int:
        """Index of the candidate latency near that of ``fit`` that suits ``state`` best, a new one where none does.

        The candidates come from the settings as they should be; where channels are exchanged they may all miss, where the
        ``whole`` processor differs by far.
        """
        bench = self.bench
        reach = REALIGN_BLOCKS_WHOLE if whole else REALIGN_BLOCKS
        gathered = (bench.weight * np.conj(bench.measured) * bench.predict(state)).sum(axis=0)
        gathered = gathered * np.exp(self.turn * fit.delay_s[:, None])
        blocks = SCAN_STEP_S * SCAN_BLOCK * np.arange(-reach, reach)
        turned = np.exp(np.outer(blocks, self.turn))
        curve = ((gathered[:, None, :] * turned) @ self.block).real.reshape(len(gathered), -1)
        if self.absolute_time:
            curve = np.broadcast_to(curve.sum(axis=0), curve.shape)
        shift = blocks[0] + SCAN_STEP_S * curve.argmax(axis=1)
        latency: Array = (np.median(fit.delay_s) if self.absolute_time else fit.delay_s) + shift
        for index, other in enumerate(self.latencies):
            if np.median(np.abs(latency - other)) < REPLACED_AT_MOST_S / 2:
                return index
        self.latencies.append(latency)
        self.turned.append(np.exp(self.turn * latency[:, None]))
        return len(self.latencies) - 1

    def _pass(self, cross: Complex, power: Array, weight: Array, latency: int) -> Fit:
        """Delays and level by weighted least squares, then the misfit."""
        bench = self.bench
        cross = cross * self.turned[latency]
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
        misfit += float(np.log1p((error_db / self.level_spread_db) ** 2).sum())
        return Fit(misfit, level, self.latencies[latency] + shift, latency, residual, error_db)

    def delay_peaks(self, state: State, channel: int, low_s: float, high_s: float) -> list[float]:
        """Extra delays of one output worth a closer look, best first."""
        bench = self.bench
        alone = bench.heard(state)[state.out[channel]] * state.drive[channel] * state.feed[:, channel][:, None, None]
        rest = bench.predict(state) - alone
        count = int(np.ceil((high_s - low_s) / SCAN_STEP_S)) + 1
        blocks = low_s + SCAN_STEP_S * SCAN_BLOCK * np.arange(-(-count // SCAN_BLOCK))
        near = SCAN_STEP_S / 8 * np.arange(-8, 9)
        coarse_turn, fine = np.exp(np.outer(blocks, self.turn)), np.exp(np.outer(self.turn, near))
        overlap = 2.0 * (bench.weight * np.conj(rest) * alone).sum(axis=(0, 1))
        fixed = float((bench.weight * (np.abs(rest) ** 2 + np.abs(alone) ** 2)).sum())
        powers = ((coarse_turn * overlap) @ self.block).real.ravel()[:count] + fixed
        found: list[tuple[float, float]] = []
        for turned in self.turned[: self.usual]:
            turn = bench.weight * np.conj(bench.measured) * turned
            moving, still = (turn * alone).sum(axis=(0, 1)), float((turn * rest).real.sum())
            along = ((coarse_turn * moving) @ self.block).real.ravel()[:count] + still
            for index in _peaks(_explained(along, powers), 2):
                place = low_s + SCAN_STEP_S * index
                here = np.exp(self.turn * place)
                close = _explained(((here * moving) @ fine).real + still, ((here * overlap) @ fine).real + fixed)
                delay = float(np.clip(place + near[close.argmax()], low_s, high_s))
                found.append((float(close.max()), delay))
        return [delay for _, delay in sorted(found, reverse=True)[:4]]


def _explained(along: Array, power: Array) -> Array:
    """Power of the measurement that a prediction explains at its best level; a negative level explains nothing."""
    value: Array = np.maximum(along, 0.0) ** 2 / np.maximum(power, 1e-300)
    return value


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


def _latencies(bench: Bench, *, absolute_time: bool) -> tuple[list[Array], int]:
    """Candidate latencies, ``(positions,)`` each, and how many of them are the usual ones.

    From the whole prediction and from each output on its own: a wrong delay of the strongest channel pulls the whole
    with it, but some other channel then still shows the true latency. The others are for a processor without any of
    the settings or of the delays.
    """
    weighted = bench.weight * np.conj(bench.measured)
    drive = bench.start.drive
    delays = np.array([item.delay_s for item in bench.settings.channels])[:, None]
    each = [np.tensordot(row, weighted, axes=(0, 0)) for row in bench.start.feed.T]
    alone = [each[c] * drive[c] * bench.recorded[c] for c in range(len(each))]
    bare = sum(each[c] * bench.recorded[c] for c in range(len(each)))
    late = np.exp(2j * np.pi * bench.frequency_hz * delays)
    undelayed = sum(part * late[c] for c, part in enumerate(alone))
    whole, *singles = (_lag(cross, bench, absolute_time=absolute_time) for cross in [sum(alone), *alone])
    ordered = [whole[1], *(lag for _, lag in sorted(singles, key=lambda pair: -pair[0]))]
    usual = _apart([], ordered)[:MOST_LATENCIES]
    others = [_lag(np.asarray(cross), bench, absolute_time=absolute_time)[1] for cross in (bare, undelayed)]
    return _apart(usual, others), len(usual)


def _apart(kept: list[Array], more: list[Array]) -> list[Array]:
    """``kept`` and those of ``more`` that the search for a replaced microphone would not reach from another."""
    kept = list(kept)
    for lag in more:
        if all(np.median(np.abs(lag - other)) > REPLACED_AT_MOST_S / 2 for other in kept):
            kept.append(lag)
    return kept


def _lag(cross: Complex, bench: Bench, *, absolute_time: bool) -> tuple[float, Array]:
    """Peak of the cross-correlation: how well it tells a delay (height, 1 for a pure delay, times mean frequency) and
    where it is, ``(positions,)``."""
    step_hz = float(bench.frequency_hz[1] - bench.frequency_hz[0])
    index = np.rint(bench.frequency_hz / step_hz).astype(np.intp)
    count = 4 * int(index[-1] + 1)  # twice the rate that the band needs: the peak is then found to a sixth of a period
    spectrum = np.zeros((len(cross), count // 2 + 1), dtype=np.complex128)
    spectrum[:, index] = np.conj(cross)
    track = np.abs(np.fft.irfft(spectrum, count))
    if absolute_time:
        track = np.broadcast_to(track.sum(axis=0), track.shape)
    top = track.argmax(axis=1)
    lag = np.where(top > count // 2, top - count, top) / (count * step_hz)
    power = np.abs(cross).sum(axis=0)
    total = float(power.sum())
    if total == 0.0:  # an output that sounds nowhere
        return 0.0, lag
    height = count * float(track.max(axis=1).sum()) / total
    return height * float(power @ bench.frequency_hz) / total, lag
