"""What a good tune is, as residuals with exact derivatives.

All residuals are in units of their own tolerance, so that a residual of 1 is "one tolerance off":

* level: spatially averaged level of each coherent sum against the house curve, by power per third octave (IEC 61260-1
  bands and those half way between) and, more lightly, per twelfth octave;
* sides: left against right from 250 Hz to 8 kHz, per third octave;
* waste: level of the sum below what the same filters would give were all channels in phase, where channels overlap;
* ties: pairs keep equal delays, corners of one crossover stay together, filters stay small, boosts smaller.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.prototypes import LN10
from cabinwright.stages.tuning.model import Model
from cabinwright.stages.tuning.spectra import BANDS_PER_GROUP, third_octaves

__all__ = ["Objective", "SumTarget", "Tie", "Weights"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
DB = 10.0 / LN10
FINE, COARSE = 0.6, 1.1  #: weights of twelfth and of (overlapping) third octaves


@dataclass(frozen=True)
class SumTarget:
    """One coherent sum to be judged."""

    name: str
    channels: NDArray[np.int_]  #: indices of the channels that sound
    cross: Complex  #: (sub-bands, n, n): mean over the positions where all of them were recorded
    target_db: Real  #: (groups,) house curve, level free
    weight: Real  #: (groups,) 1 over tolerance in dB; 0 where it is not judged
    fill: (
        Real  #: (groups,) factor on the weight where the level lies below the curve: small in a dip that is left alone
    )
    waste_weight: Real  #: (groups,) 1 over tolerance in dB of level lost to cancellation
    bass: NDArray[np.bool_]  #: (groups,) where the level of the whole is guarded as well
    offset: int  #: which of the free levels it shares


@dataclass(frozen=True)
class Tie:
    """``(coefficients @ x[indices] - value) / tolerance`` as one residual."""

    indices: tuple[int, ...]
    coefficients: tuple[float, ...]
    value: float
    tolerance: float


@dataclass(frozen=True)
class Weights:
    """Tolerances of the softer terms."""

    side_db: float = 0.7  #: left against right
    cut_db: float = 7.0  #: a cut of this size counts as one tolerance
    boost_db: float = 4.0  #: a boost of this size counts as one tolerance
    most_boost_db: float = 6.0  #: all peaking filters of a channel together stay below this
    over_db: float = 0.3  #: tolerance of that limit
    bass_db: float = 0.2  #: level of the whole bass lost to cancellation

    def held(self, factor: float) -> Weights:
        """The same with filters held back ``factor`` times more strongly."""
        return replace(self, cut_db=self.cut_db / factor, boost_db=self.boost_db / factor)


class Objective:
    """Residuals of a model against the sums. The vector is the model's, followed by the free levels."""

    def __init__(
        self,
        model: Model,
        sums: list[SumTarget],
        *,
        group_hz: Real,
        ties: list[Tie],
        weights: Weights,
        offsets: int,
        sides: tuple[int, int] | None,
        boost_limit_db: Real,
    ) -> None:
        """``boost_limit_db`` (channels, sub-bands): what all peaking filters of a channel together may add."""
        self.model, self.sums, self.weights = model, sums, weights
        self.group_hz = group_hz
        self.offsets = offsets
        self.sides = sides
        self._boost_limit = boost_limit_db
        self._runs = third_octaves(group_hz, step=2)
        self.size = model.layout.size + offsets
        self._ties = ties
        self._tie_jacobian = np.zeros((len(ties), self.size))
        for row, tie in enumerate(ties):
            self._tie_jacobian[row, list(tie.indices)] = np.asarray(tie.coefficients) / tie.tolerance
        self._tie_value = np.asarray([tie.value / tie.tolerance for tie in ties])
        self._sides = self._side_rows()
        lay = model.layout
        self._gains = lay.at_peak + 3 * np.arange(lay.channels * lay.peaks) + 1

    def _side_rows(self) -> NDArray[np.int_]:
        """(runs, 4): the third octaves of IEC 61260-1 from 250 Hz to 8 kHz."""
        thirds = third_octaves(self.group_hz)
        centre = np.sqrt(self.group_hz[thirds[:, 0]] * self.group_hz[thirds[:, -1]])
        return thirds[(centre > 240.0) & (centre < 8300.0)]

    def levels_db(self, vector: Real) -> Real:
        """(sums, groups) level of every sum."""
        response, _, _ = self.model.evaluate(vector, derivatives=False)
        return np.stack([self._one_sum(target, response, [])[0] for target in self.sums])

    def __call__(self, vector: Real, want_jacobian: bool) -> tuple[Real, Real | None]:
        """Residuals (m,) and Jacobian (m, n) or None."""
        response, peaked, logs = self.model.evaluate(vector, derivatives=want_jacobian)
        parts = [self._one_sum(target, response, logs) for target in self.sums]
        rows: list[Real] = []
        jacs: list[Real] = []
        base = self.model.layout.size
        for target, (level, level_jac, waste, waste_jac) in zip(self.sums, parts, strict=True):
            judged = target.weight > 0.0
            miss = (level - target.target_db - vector[base + target.offset])[judged]
            weight = FINE * target.weight[judged] * np.where(miss < 0.0, target.fill[judged], 1.0)
            rows.append(weight * miss)
            coarse, coarse_jac = self._thirds(target, level, level_jac, float(vector[base + target.offset]))
            rows.append(coarse)
            lossy = target.waste_weight > 0.0
            rows.append(target.waste_weight[lossy] * waste[lossy])
            lost, lost_jac = self._bass_lost(target, level, level_jac, waste, waste_jac)
            rows.append(lost)
            if want_jacobian:
                block = level_jac[judged] * weight[:, None]
                block[:, base + target.offset] -= weight
                jacs += [block, coarse_jac, waste_jac[lossy] * target.waste_weight[lossy, None], lost_jac]
        if self.sides is not None:
            left, right = self.sides
            both = (self.sums[left].weight > 0.0) & (self.sums[right].weight > 0.0)
            runs = self._sides[both[self._sides].all(axis=1)]
            one, one_jac = _band_power(runs, *parts[left][:2])
            other, other_jac = _band_power(runs, *parts[right][:2])
            rows.append((one - other) / self.weights.side_db)
            if want_jacobian:
                jacs.append((one_jac - other_jac) / self.weights.side_db)
        rows.append(self._tie_jacobian @ vector - self._tie_value)
        gains = vector[self._gains]
        size = np.where(gains > 0.0, self.weights.boost_db, self.weights.cut_db)
        rows.append(gains / size)
        over_rows, over_jacs = self._over_boost(peaked, logs)
        rows += over_rows
        if not want_jacobian:
            return np.concatenate(rows), None
        small = np.zeros((len(gains), self.size))
        small[np.arange(len(gains)), self._gains] = 1.0 / size
        return np.concatenate(rows), np.concatenate([*jacs, self._tie_jacobian, small, *over_jacs])

    def _thirds(self, target: SumTarget, level: Real, level_jac: Real, offset_db: float) -> tuple[Real, Real]:
        """Band power per third octave against the house curve: ripple inside a band counts by its power."""
        runs = self._runs[target.weight[self._runs].min(axis=1) > 0.0]
        heard, jac = _band_power(runs, level, level_jac)
        wanted, _ = _band_power(runs, target.target_db, np.empty((0, 0)))
        miss = heard - wanted - offset_db
        weight = COARSE * target.weight[runs].mean(axis=1) * np.where(miss < 0.0, target.fill[runs].min(axis=1), 1.0)
        if not jac.size:
            return weight * miss, jac
        jac[:, self.model.layout.size + target.offset] -= 1.0
        return weight * miss, jac * weight[:, None]

    def _bass_lost(
        self, target: SumTarget, level: Real, level_jac: Real, waste: Real, waste_jac: Real
    ) -> tuple[Real, Real]:
        """Power of the whole bass against what it would be in phase: one residual, where loud bands count more."""
        bass = np.flatnonzero(target.bass)
        if not len(bass):
            return np.empty(0), np.empty((0, self.size))
        heard = 10.0 ** (level[bass] / 10.0)
        could = 10.0 ** ((level[bass] + waste[bass]) / 10.0)
        lost = DB * np.log(could.sum() / heard.sum()) / self.weights.bass_db
        if not level_jac.size:
            return np.asarray([lost]), level_jac
        share, wanted = heard / heard.sum(), could / could.sum()
        slope = (wanted - share) @ level_jac[bass] + wanted @ waste_jac[bass]
        return np.asarray([lost]), slope[None] / self.weights.bass_db

    def _over_boost(self, peaked: Complex, logs: list[Complex]) -> tuple[list[Real], list[Real]]:
        """How far the peaking filters of each channel together boost beyond the limit."""
        rows, jacs = [], []
        over = 20.0 * np.log10(np.abs(peaked)) - self._boost_limit
        for channel, excess in enumerate(over):
            hit = np.flatnonzero(excess > 0.0)  # rows of zeros would only cost time
            rows.append(excess[hit] / self.weights.over_db)
            if logs:
                jac = np.zeros((len(hit), self.size))
                span = self.model.peak_columns(channel)
                slope = 2.0 * DB / self.weights.over_db * logs[channel][span][:, hit].real
                jac[:, self.model.columns[channel][span]] = slope.T
                jacs.append(jac)
        return rows, jacs

    def _group(self, rows: Real) -> Real:
        """Sum sub-bands (last axis) into groups: every sub-band of a group is close to equally wide."""
        total = rows[..., 0::BANDS_PER_GROUP].copy()
        for k in range(1, BANDS_PER_GROUP):
            total += rows[..., k::BANDS_PER_GROUP]
        return total

    def _one_sum(self, target: SumTarget, response: Complex, logs: list[Complex]) -> tuple[Real, Real, Real, Real]:
        g = response[target.channels].T  # (B, n)
        pull = g * (target.cross @ g.conj()[..., None])[..., 0]  # (B, n): share of each channel
        power = self._group(np.maximum(pull.sum(axis=1).real, 1e-30))
        level = DB * np.log(power)
        alone = (np.abs(g) ** 2 * np.einsum("bcc->bc", target.cross).real).T  # (n, B)
        own = np.sqrt(np.maximum(self._group(alone), 1e-30))  # (n, G)
        total = own.sum(axis=0)
        waste = 2.0 * DB * np.log(total) - level
        if not logs:
            return level, np.empty((0, 0)), waste, np.empty((0, 0))
        level_jac = np.zeros((self.size, len(level)))
        waste_jac = np.zeros((self.size, len(level)))
        for k, channel in enumerate(target.channels):
            columns = self.model.columns[channel]
            log = logs[channel]
            turn = log.real * pull[:, k].real - log.imag * pull[:, k].imag
            level_jac[columns] += 2.0 * DB * self._group(turn) / power
            waste_jac[columns] += 2.0 * DB * self._group(log.real * alone[k]) / (own[k] * total)
        return level, level_jac.T, waste, (waste_jac - level_jac).T


def _band_power(runs: NDArray[np.int_], level_db: Real, level_jac: Real) -> tuple[Real, Real]:
    """Level of the summed power of ``runs`` (n, 4) of groups (g,), and its Jacobian from theirs (g, m); empty if empty."""
    power = 10.0 ** (level_db[runs] / 10.0)
    total = power.sum(axis=1)
    if not level_jac.size:
        return DB * np.log(total), level_jac
    share = np.zeros((len(runs), len(level_db)))
    np.put_along_axis(share, runs, power / total[:, None], axis=1)
    return DB * np.log(total), share @ level_jac
