"""What the solver sees of the recordings: cross-spectra of the channels in narrow bands, position by position.

The power of any coherent sum in a band is ``g^H S g``, where g are the channels' filters and S the cross-spectral matrix
of the recorded responses, averaged over the band's bins. Filters are smooth inside a twenty-fourth of an octave once the
common travel time is taken out of each channel, so nothing finer is needed; the cost no longer depends on the length
of the recordings, and positions add up or are left out by adding matrices.

Validity: inside such a band a filter of Q 8 bends by some hundredths of a dB, and a residual delay of 0.2 ms turns by less
than a fiftieth of a cycle at 3 kHz. ``tests/stages/test_spectra.py`` shows the error against the full-length sum.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len, rfft

from cabinwright.physics.bands import octave_bands
from cabinwright.physics.response import RecordedResponses

__all__ = [
    "BANDS_PER_GROUP",
    "GROUP_FRACTION",
    "Spectra",
    "band_cross_spectra",
    "octave_mean",
    "third_levels_db",
    "third_octaves",
]

SUB_FRACTION = 24  #: sub-bands per octave
GROUP_FRACTION = 12  #: bands in which errors are judged
THIRD = GROUP_FRACTION // 3  #: groups in a third octave
BANDS_PER_GROUP = SUB_FRACTION // GROUP_FRACTION

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]


@dataclass(frozen=True)
class Spectra:
    """Cross-spectra of the channels; ``shift_s`` of travel has been taken out of each channel."""

    frequency_hz: Real  #: (sub-bands,)
    group_hz: Real  #: (groups,) twelfth-octave centres; each group is ``BANDS_PER_GROUP`` sub-bands
    cross: Complex  #: (positions, sub-bands, channels, channels): mean of h_c conj(h_d) over bins, noise taken off
    shift_s: Real  #: (channels,)
    sample_rate_hz: float

    def only(self, positions: list[int]) -> Spectra:
        """The same with some positions only."""
        return Spectra(self.frequency_hz, self.group_hz, self.cross[positions], self.shift_s, self.sample_rate_hz)


def band_cross_spectra(responses: RecordedResponses, *, shift_s: Real, low_hz: float = 20.0) -> Spectra:
    """Cross-spectra of ``responses`` with ``shift_s`` (channels,) of travel removed from each channel.

    A response that is not present counts as silence at that position (the caller leaves such positions out where the
    channel matters). Noise power of the recordings is subtracted from the diagonal, never below a hundredth of what
    was measured.
    """
    rate = responses.sample_rate_hz
    high_hz = min(20000.0, 0.45 * rate)
    groups = octave_bands(fraction=GROUP_FRACTION, low_hz=low_hz, high_hz=high_hz)
    ratio = 10.0 ** (0.3 / SUB_FRACTION)
    first = groups.lower_hz[0]
    count = len(groups.centres_hz) * BANDS_PER_GROUP
    edges = first * ratio ** np.arange(count + 1)
    centres = np.sqrt(edges[1:] * edges[:-1])

    size = next_fast_len(max(responses.impulse.shape[-1], int(1.4 * rate)), real=True)
    step = rate / size
    starts = np.ceil(edges[:-1] / step).astype(int)
    stops = np.maximum(np.ceil(edges[1:] / step).astype(int), starts + 1)
    nearest = np.round(centres / step).astype(int)
    lone = stops - starts <= 1
    starts, stops = np.where(lone, nearest, starts), np.where(lone, nearest + 1, stops)

    bins = np.arange(starts[0], stops[-1])
    channels, positions = responses.impulse.shape[:2]
    travel = responses.zero_sample / rate + shift_s
    turn = np.exp(2j * np.pi * step * bins[None, :] * travel[:, None])
    cross = np.empty((positions, count, channels, channels), dtype=np.complex128)
    for position in range(positions):
        spectrum = rfft(responses.impulse[:, position], n=size, axis=-1)[:, bins] * turn
        cross[position] = _band_means(spectrum, starts - bins[0], stops - bins[0])
    noise = _noise_power(responses, centres)
    diagonal = np.einsum("pbcc->pbc", cross)
    diagonal[:] = np.maximum(diagonal.real - noise, 0.01 * diagonal.real) + 0.0j
    return Spectra(centres, groups.centres_hz, cross, shift_s, rate)


def _band_means(spectrum: Complex, starts: NDArray[np.int_], stops: NDArray[np.int_]) -> Complex:
    """(bands, channels, channels) means of the outer product over the bins ``starts[b]:stops[b]``."""
    out = np.empty((len(starts), spectrum.shape[0], spectrum.shape[0]), dtype=np.complex128)
    for band, (start, stop) in enumerate(zip(starts, stops, strict=True)):
        part = spectrum[:, start:stop]
        out[band] = part @ part.conj().T / (stop - start)
    return out


def _noise_power(responses: RecordedResponses, centres_hz: Real) -> Real:
    """(positions, sub-bands, channels) noise power, interpolated from third octaves."""
    log_bands = np.log(responses.band_centres_hz)
    channels, positions = responses.noise_power.shape[:2]
    out = np.empty((positions, len(centres_hz), channels))
    for channel in range(channels):
        for position in range(positions):
            out[position, :, channel] = np.interp(
                np.log(centres_hz), log_bands, responses.noise_power[channel, position]
            )
    return out


def octave_mean(level: Real) -> Real:
    """Running mean over one octave of groups, shorter at the ends."""
    ones = np.ones(GROUP_FRACTION + 1)
    return np.convolve(level, ones, "same") / np.convolve(np.ones_like(level), ones, "same")


def third_octaves(group_hz: Real, *, step: int = THIRD) -> NDArray[np.int_]:
    """Groups of every third octave, (thirds, 4); ``step`` 2 adds the bands half way between those of IEC 61260-1."""
    edge = np.round(GROUP_FRACTION / 0.3 * np.log10(group_hz[0] / 1000.0) - 0.5)  # lower edge in twelfths above 1 kHz
    first = int((2 - edge) % step)  # a third octave begins at an edge of index 2 modulo 4
    starts = np.arange(first, len(group_hz) - THIRD + 1, step)
    return np.asarray(starts[:, None] + np.arange(THIRD))


def third_levels_db(level_db: Real, thirds: NDArray[np.int_]) -> Real:
    """(..., thirds) level of the mean power of four groups' levels (..., groups)."""
    return np.asarray(10.0 * np.log10(np.mean(10.0 ** (level_db[..., thirds] / 10.0), axis=-1)))
