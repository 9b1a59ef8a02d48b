"""Loudness of a programme after ITU-R BS.1770: K-weighting, mean square in blocks, two gates. Mono and stereo.

The recommendation tabulates its two filters for 48 kHz only and asks for the same response at other rates. Both are
bilinear transforms of analogue sections, pre-warped at their own frequency; the constants below reproduce the table.

Source: ITU-R BS.1770-5 (2023), Annex 1. K-weighting for other rates: the same analogue sections transformed anew.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cabinwright.physics.filters import sections_response

__all__ = ["Loudness", "Meter", "k_weighting", "k_weighting_db", "loudness"]

Real = NDArray[np.float64]

SHELF_HZ, SHELF_DB, SHELF_Q = 1681.974450955533, 3.999843853973347, 0.7071752369554196  #: the head, a rigid sphere
SHELF_POWER = 0.4996667741545416  #: of the shelf's gain, where its two halves meet
LOW_HZ, LOW_Q = 38.13547087602444, 0.5003270373238773  #: the revised low-frequency curve B
OFFSET_DB = -0.691  #: so that 997 Hz at full scale in one channel reads -3.01
BLOCK_S, OVERLAP = 0.4, 0.75
ABSOLUTE_LUFS, RELATIVE_LU = -70.0, -10.0


@dataclass(frozen=True, slots=True)
class Loudness:
    """What a programme measures."""

    integrated_lufs: float  #: -inf where every block lies below the absolute gate
    blocks: int  #: 400 ms blocks in all
    kept: int  #: those above both gates


def k_weighting(*, sample_rate_hz: float) -> Real:
    """Sections ``[b0, b1, b2, a0, a1, a2]``, shape (2, 6), of the K-weighting: head shelf, then low cut.

    Raises ``ValueError`` where half the rate lies below the shelf's frequency, so that there is no such filter.
    """
    if not sample_rate_hz > 4.0 * SHELF_HZ:
        raise ValueError(f"K-weighting needs a sample rate above {4.0 * SHELF_HZ:.0f} Hz, got {sample_rate_hz}")
    k = np.tan(np.pi * SHELF_HZ / sample_rate_hz)
    high = 10.0 ** (SHELF_DB / 20.0)
    middle = high**SHELF_POWER
    shelf = [
        high + middle * k / SHELF_Q + k * k,
        2.0 * (k * k - high),
        high - middle * k / SHELF_Q + k * k,
        *_poles(k, SHELF_Q),
    ]
    k_low = np.tan(np.pi * LOW_HZ / sample_rate_hz)
    poles = _poles(k_low, LOW_Q)
    # The recommendation writes this one with plain numerators 1, -2, 1, whatever its poles come to.
    low = [poles[0], -2.0 * poles[0], poles[0], *poles]
    return np.array([np.array(row) / row[3] for row in (shelf, low)])


def _poles(k: float, q: float) -> list[float]:
    return [1.0 + k / q + k * k, 2.0 * (k * k - 1.0), 1.0 - k / q + k * k]


def k_weighting_db(*, frequency_hz: ArrayLike, sample_rate_hz: float = 48_000.0) -> Real:
    """K-weighting [dB] at each frequency [Hz], in the shape of ``frequency_hz``."""
    sections = k_weighting(sample_rate_hz=sample_rate_hz)
    frequency = np.asarray(frequency_hz, dtype=np.float64)
    response = sections_response(sections, frequency_hz=frequency, sample_rate_hz=sample_rate_hz)
    with np.errstate(divide="ignore"):
        return np.asarray(20.0 * np.log10(np.abs(response)))


def loudness(samples: ArrayLike, *, sample_rate_hz: float) -> Loudness:
    """Integrated loudness of ``samples``, (frames,) or (frames, channels) of one or two channels, full scale 1.

    Raises ``ValueError`` for more than two channels, or fewer samples than one block of 400 ms.
    """
    data = np.asarray(samples, dtype=np.float64)
    data = data[:, None] if data.ndim == 1 else data
    if data.ndim != 2 or data.shape[1] not in (1, 2):
        raise ValueError("mono or stereo is measured: the weights of other channels are not part of this")
    meter = Meter(sample_rate_hz=sample_rate_hz, channels=data.shape[1])
    meter(data)
    return meter.result()


class Meter:
    """Loudness of what comes block by block, (frames, channels); it keeps one number for each 100 ms."""

    def __init__(self, *, sample_rate_hz: float, channels: int) -> None:
        self._rate = sample_rate_hz
        self._sections = k_weighting(sample_rate_hz=sample_rate_hz)
        self._state = np.zeros((len(self._sections), 2, channels))
        self._block = round(BLOCK_S * sample_rate_hz)
        self._frames = 0
        self._sum = 0.0
        self._sums: dict[int, float] = {0: 0.0}
        self._next = 0
        self._power: list[float] = []

    def __call__(self, block: Real) -> None:
        """Take the next frames in."""
        from scipy.signal import sosfilt  # slow to import

        if not len(block):
            return
        weighted, self._state = sosfilt(self._sections, block, axis=0, zi=self._state)
        sums = self._sum + np.cumsum(np.sum(weighted**2, axis=1))
        first, self._frames, self._sum = self._frames, self._frames + len(block), float(sums[-1])
        step = BLOCK_S * (1.0 - OVERLAP) * self._rate
        count = int(self._frames / step) + 2
        starts = np.round(np.arange(self._next, count) * step).astype(np.intp)
        for mark in np.union1d(starts, starts + self._block):
            if first < mark <= self._frames:
                self._sums[int(mark)] = float(sums[mark - first - 1])
        while (start := round(self._next * step)) + self._block <= self._frames:
            self._power.append(max(self._sums[start + self._block] - self._sums[start], 0.0) / self._block)
            self._next += 1
        kept = round(self._next * step)
        self._sums = {mark: value for mark, value in self._sums.items() if mark >= kept}

    def result(self) -> Loudness:
        """Of everything so far. Raises ``ValueError`` where that is less than one block of 400 ms."""
        if self._frames < self._block:
            raise ValueError(f"at least {BLOCK_S} s are measured, got {self._frames / self._rate:.3f} s")
        power = np.array(self._power)
        gated = power[_lufs(power) > ABSOLUTE_LUFS]
        if len(gated):
            gated = gated[_lufs(gated) > _lufs(np.array([gated.mean()]))[0] + RELATIVE_LU]
        whole = float(_lufs(np.array([gated.mean()]))[0]) if len(gated) else float("-inf")
        return Loudness(whole, len(power), len(gated))


def _lufs(power: Real) -> Real:
    with np.errstate(divide="ignore"):
        return np.asarray(OFFSET_DB + 10.0 * np.log10(power))
