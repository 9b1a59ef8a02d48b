"""A sum of outputs through gain, polarity, delay and filters, with exact derivatives of its level and phase.

Everything is complex on the captures' grid. A filter works on some of the outputs (those that carry the frequency it is
for); its derivative is that of the sum through them. Unknowns: per output gain [dB] and delay [ms], then per filter ln f,
gain [dB] and ln Q.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.prototypes import LN10, all_pass, peaking, warp

__all__ = ["TO_DB", "Bell", "Sum", "ripple_db"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

TO_DB = 20.0 / LN10


@dataclass(frozen=True)
class Bell:
    """One peaking filter, and the outputs it works on."""

    frequency_hz: float
    gain_db: float
    q: float
    on: tuple[bool, ...]


@dataclass(frozen=True)
class Sum:
    """Outputs (J, F) of one side and what is done to them."""

    frequency_hz: Real
    sample_rate_hz: float
    own: Complex  #: (J, F): what they carry of the wanted side
    gain_db: Real  #: (J,)
    inverted: tuple[bool, ...]
    delay_s: Real  #: (J,)
    bells: tuple[Bell, ...] = ()
    turns: tuple[tuple[float, float] | None, ...] = field(default=())  #: by output: an all-pass, (f, Q)
    even_db: Real | None = None  #: (J,): gains at which all passbands are level
    taken: tuple[int, ...] = ()  #: by output: filters of its own that it has already

    def parts(self, carried: Complex | None = None) -> Complex:
        """Every output's contribution, (J, F): of the wanted side, or of ``carried`` (J, F) instead of it."""
        sign = np.where(self.inverted, -1.0, 1.0)
        scale = sign * 10.0 ** (self.gain_db / 20.0)
        parts = (self.own if carried is None else carried) * scale[:, None]
        parts = parts * np.exp(-2j * np.pi * self.delay_s[:, None] * self.frequency_hz)
        for bell in self.bells:
            shape = self.bell(bell)[0]
            parts = np.where(np.array(bell.on)[:, None], parts * shape, parts)
        for number, turn in enumerate(self.turns):
            if turn is not None:
                x, slope = self._warp(turn[0])
                parts[number] *= all_pass(x, slope, q=np.array([turn[1]]))[0]
        return np.asarray(parts)

    def _warp(self, corner_hz: float) -> tuple[Real, Real]:
        return warp(frequency_hz=self.frequency_hz, corner_hz=np.array([corner_hz]), sample_rate_hz=self.sample_rate_hz)

    def bell(self, bell: Bell) -> tuple[Complex, Complex, Complex, Complex]:
        x, slope = self._warp(bell.frequency_hz)
        return peaking(x, slope, gain_db=np.array([bell.gain_db]), q=np.array([bell.q]))

    def vector(self) -> Real:
        """The unknowns."""
        rows = [[np.log(bell.frequency_hz), bell.gain_db, np.log(bell.q)] for bell in self.bells]
        return np.concatenate([self.gain_db, 1e3 * self.delay_s, *rows])

    def at(self, vector: Real) -> Sum:
        """The same sum with other values of the unknowns."""
        count = len(self.gain_db)
        rows = vector[2 * count :].reshape(-1, 3)
        bells = tuple(
            replace(bell, frequency_hz=float(np.exp(row[0])), gain_db=float(row[1]), q=float(np.exp(row[2])))
            for bell, row in zip(self.bells, rows, strict=True)
        )
        return replace(self, gain_db=vector[:count], delay_s=1e-3 * vector[count : 2 * count], bells=bells)

    def slopes(self) -> tuple[Complex, Complex]:
        """The sum (F,) and the derivatives of its logarithm by the unknowns, (F, unknowns)."""
        parts = self.parts()
        total = np.sum(parts, axis=0)
        total = np.where(np.abs(total) < 1e-12, 1e-12, total)
        share = parts / total
        columns = [share.T / TO_DB, (share * (-2j * np.pi * 1e-3 * self.frequency_hz)).T]
        for bell in self.bells:
            _, by_corner, by_gain, by_q = self.bell(bell)
            through = np.sum(share[np.array(bell.on)], axis=0)
            columns.append(np.stack([through * by for by in (by_corner, by_gain, by_q)], axis=1))
        return total, np.concatenate(columns, axis=1)

    def level_db(self) -> Real:
        """Level of the sum [dB] (F,)."""
        return np.asarray(TO_DB * np.log(np.maximum(np.abs(np.sum(self.parts(), axis=0)), 1e-12)))


def ripple_db(level_db: Real) -> float:
    """Largest deviation from the middle between highest and lowest."""
    return float(0.5 * (level_db.max() - level_db.min()))
