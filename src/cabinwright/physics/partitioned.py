"""Convolution of a long signal with responses from several inputs to several outputs, block by block, in bounded memory.

Uniformly partitioned overlap-save: each response is cut into parts of one block, their spectra are kept, and the spectra of the
last blocks are multiplied and added, so that a block costs one transform per input and one per output. The result is that of
direct convolution but for rounding.

Sources: T. G. Stockham, 1966 (overlap-save); W. G. Gardner, J. Audio Eng. Soc. 43(3), 127–136, 1995;
F. Wefers, 2015 (uniform parts).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["BLOCK", "Convolver"]

Real = NDArray[np.float64]
BLOCK = 8192


class Convolver:
    """``responses`` (inputs, outputs, samples); blocks go in as (block, inputs) and come out as (block, outputs)."""

    def __init__(self, responses: Real, *, block: int = BLOCK) -> None:
        if responses.ndim != 3 or block < 1:
            raise ValueError(f"responses are (inputs, outputs, samples), got {responses.shape}, block {block}")
        self.block = block
        self._inputs, self._outputs, length = responses.shape
        parts = max(1, -(-length // block))
        padded = np.zeros((self._inputs, self._outputs, parts * block))
        padded[..., :length] = responses
        cut = padded.reshape(self._inputs, self._outputs, parts, block)
        self._filters = np.ascontiguousarray(np.moveaxis(np.fft.rfft(cut, n=2 * block, axis=-1), 2, 0))
        self._past = np.zeros((parts, self._inputs, block + 1), dtype=np.complex128)  # a ring, newest at ``_at``
        self._last = np.zeros((self._inputs, block))
        self._at = 0
        self.tail = length - 1  #: samples that still come after the last input

    def __call__(self, block: Real) -> Real:
        """The next block of output. Raises ``ValueError`` where it has another size."""
        from scipy.fft import irfft, rfft  # slow to import

        if block.shape != (self.block, self._inputs):
            raise ValueError(f"a block is ({self.block}, {self._inputs}), got {block.shape}")
        new = block.T
        self._at = (self._at - 1) % len(self._past)
        self._past[self._at] = rfft(np.concatenate([self._last, new], axis=1), axis=1)
        self._last = new.copy()
        total = np.zeros((self._outputs, self.block + 1), dtype=np.complex128)
        for part, filters in enumerate(self._filters):
            past = self._past[(self._at + part) % len(self._past)]
            for one, row in zip(past, filters, strict=True):
                total += one * row
        return np.asarray(irfft(total, n=2 * self.block, axis=1)[:, self.block :].T, dtype=np.float64)
