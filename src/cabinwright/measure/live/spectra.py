"""Narrow-band spectrum, and transfer function with coherence: averaged spectra of overlapping windows (P. D. Welch, 1967).

``H1 = Sxy / Sxx``: noise at the microphone averages out; noise on the reference does not, and there is none on an
electrical copy. The reference is delayed so that both windows hold the same sound: a delay that is left over and is not
short against the window costs coherence.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.averages import exponential_averages, linear_averages, overlap_correlation
from cabinwright.physics.weighting_filters import exponential_share

__all__ = ["Averaging", "Narrow", "Spectra", "Transfer"]

Real = NDArray[np.float64]
Averaging = Literal["exponential", "linear"]
LONGEST_DELAY_S = 2.0


@dataclass(frozen=True)
class Narrow:
    """Lines of a real transform. A sine shows its own mean square, noise that of 1.5 lines (a Hann window's noise bandwidth)."""

    frequency_hz: Real
    mean_square: Real
    independent: float  #: averages; 0: nothing yet


@dataclass(frozen=True)
class Transfer:
    """From the reference to the microphone, the delay that is taken out not in it."""

    frequency_hz: Real
    response: NDArray[np.complex128]
    coherence: Real
    reference: Real  #: mean square of the reference, which tells where there is anything to compare
    delay_s: float  #: that is taken out
    independent: float


class Spectra:
    """Both, of two signals on one clock."""

    def __init__(
        self, *, sample_rate_hz: float, size: int = 16_384, hop: int = 2048,
        averaging: Averaging = "exponential", time_constant_s: float = 1.0,
    ) -> None:  # fmt: skip
        if size < 16 or size % 2 or not 1 <= hop <= size:
            raise ValueError(f"the window must be even, of 16 samples or more and no shorter than the hop, got {size}")
        self.size, self.hop, self._rate_hz = size, hop, sample_rate_hz
        self._window = np.hanning(size + 1)[:-1]  # periodic
        self._correlation = overlap_correlation(self._window, hop=hop)
        self._scale = 2.0 / np.sum(self._window) ** 2
        self.frequency_hz: Real = np.fft.rfftfreq(size, 1.0 / sample_rate_hz).astype(np.float64)
        self._delay = 0
        self._held = np.zeros((2, size))
        self._filled = 0
        self._late = np.zeros(round(LONGEST_DELAY_S * sample_rate_hz))  #: newest last
        self.average(averaging, time_constant_s=time_constant_s)

    def average(self, averaging: Averaging, *, time_constant_s: float = 1.0) -> None:
        """Begin a new average: exponential forgets, linear weighs everything alike until the next beginning."""
        self.averaging: Averaging = averaging
        self._share = exponential_share(time_constant_s=time_constant_s, sample_rate_hz=self._rate_hz / self.hop)
        self.restart()

    def restart(self) -> None:
        """Forget what was averaged."""
        lines = len(self.frequency_hz)
        self._count = 0
        self._xx, self._yy = np.zeros(lines), np.zeros(lines)
        self._xy = np.zeros(lines, dtype=np.complex128)

    @property
    def delay_s(self) -> float:
        """By how much the reference is delayed before it is compared."""
        return self._delay / self._rate_hz

    def align(self, delay_s: float) -> None:
        """Delay the reference by whole samples and begin anew. Raises ``ValueError`` for less than 0 or more than 2 s."""
        if not 0.0 <= delay_s <= LONGEST_DELAY_S:
            raise ValueError(f"the delay must lie between 0 and {LONGEST_DELAY_S} s, got {delay_s}")
        self._delay, self._filled = round(delay_s * self._rate_hz), 0
        self.restart()

    def feed(self, microphone: Real, reference: Real | None) -> None:
        """Take the next samples of both, (frames,); without a reference there is no transfer function."""
        frames = len(microphone)
        both = np.zeros((2, frames))
        both[1] = microphone
        if reference is not None:
            line = np.concatenate([self._late, reference])
            end = len(line) - self._delay
            both[0] = line[end - frames : end]
            self._late = line[-len(self._late) :]
        taken = 0
        while taken < frames:
            part = both[:, taken : taken + self.size - self._filled]
            self._held[:, self._filled : self._filled + part.shape[1]] = part
            self._filled += part.shape[1]
            taken += part.shape[1]
            if self._filled == self.size:
                self._one(reference is not None)
                self._held[:, : -self.hop] = self._held[:, self.hop :]
                self._filled = self.size - self.hop

    def _one(self, paired: bool) -> None:
        from scipy.fft import rfft

        made = rfft(self._held * self._window if paired else self._held[1:] * self._window, axis=-1)
        y = made[-1]
        self._count += 1
        share = 1.0 / self._count
        if self.averaging == "exponential":
            share = max(share, self._share)  # a plain mean until there is enough to forget
        self._yy += share * (self._scale * (y.real**2 + y.imag**2) - self._yy)
        if paired:
            x = made[0]
            self._xx += share * (self._scale * (x.real**2 + x.imag**2) - self._xx)
            self._xy += share * (self._scale * x.conj() * y - self._xy)

    @property
    def independent(self) -> float:
        """Averages that count as independent."""
        if self.averaging == "linear":
            return linear_averages(self._correlation, spectra=self._count)
        return exponential_averages(self._correlation, share=self._share, spectra=self._count)

    def narrow(self) -> Narrow:
        """The microphone's spectrum. The first and the last line hold twice their mean square."""
        return Narrow(self.frequency_hz, self._yy.copy(), self.independent)

    def transfer(self) -> Transfer | None:
        """The transfer function; None where nothing came from a reference."""
        if not self._xx.any():
            return None
        floor = 1e-24 * float(self._xx.max())
        response = self._xy / np.maximum(self._xx, floor)
        coherence = np.abs(self._xy) ** 2 / np.maximum(self._xx * self._yy, 1e-300)
        coherence = np.clip(coherence, 0.0, 1.0)
        return Transfer(self.frequency_hz, response, coherence, self._xx.copy(), self.delay_s, self.independent)
