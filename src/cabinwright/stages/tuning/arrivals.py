"""When each channel's first sound arrives, at every microphone and at the head centre.

Arrival is the moment at which the envelope of the band-limited response first passes 30 % of its largest value. Errors that
are common to one channel (processor latency, the loudspeaker's own delay) and to one position (tape, timing) are told apart
by a two-way table of arrival minus straight-line travel time, fitted by medians (Tukey 1977, median polish), so that one
misplaced microphone or one strong reflection does not move the rest. A subwoofer's rise is slower than its way is long: it
takes the lateness of the other channels, and its delay is settled by how it adds to them (``align``).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import fft, ifft, next_fast_len

__all__ = ["Arrivals", "find_arrivals", "onset_times"]

Real = NDArray[np.float64]
THRESHOLD = 0.3
DULL_HZ = 400.0  #: a channel with nothing above this has no edge to time


@dataclass(frozen=True)
class Arrivals:
    """Arrival times in seconds after the common time zero."""

    at_positions_s: Real  #: (channels, positions); NaN where not recorded
    at_head_s: Real  #: (channels,)
    lateness_s: Real  #: (channels,) arrival beyond straight-line travel: latency and the loudspeaker's own delay
    scatter_s: Real  #: (channels,) median absolute deviation over positions


def onset_times(impulse: Real, *, sample_rate_hz: float, low_hz: float, high_hz: float) -> Real:
    """Onset in samples (fractional) of responses (..., samples), band-limited without phase shift."""
    size = next_fast_len(impulse.shape[-1] + 2048)
    frequency = np.fft.fftfreq(size, 1.0 / sample_rate_hz)
    octaves = np.log2(np.maximum(frequency, 1e-3))
    rise = np.clip((octaves - np.log2(low_hz)) + 0.5, 0.0, 1.0)
    fall = np.clip((np.log2(high_hz) - octaves) + 0.5, 0.0, 1.0)
    shape = 2.0 * np.sin(0.5 * np.pi * rise) ** 2 * np.sin(0.5 * np.pi * fall) ** 2 * (frequency > 0.0)
    envelope = np.abs(ifft(fft(impulse, n=size, axis=-1) * shape, axis=-1))[..., : impulse.shape[-1]]
    level = THRESHOLD * envelope.max(axis=-1, keepdims=True)
    index = np.argmax(envelope >= level, axis=-1)
    before = np.take_along_axis(envelope, np.maximum(index - 1, 0)[..., None], -1)[..., 0]
    after = np.take_along_axis(envelope, index[..., None], -1)[..., 0]
    step = np.where(after > before, (level[..., 0] - before) / np.where(after > before, after - before, 1.0), 0.0)
    return np.asarray(np.maximum(index - 1, 0) + np.clip(step, 0.0, 1.0))


def find_arrivals(
    impulse: Real,
    present: NDArray[np.bool_],
    *,
    sample_rate_hz: float,
    zero_sample: int,
    bands_hz: list[tuple[float, float]],
    distance_m: Real,
    head_distance_m: Real,
    sound_speed_m_s: float,
) -> Arrivals:
    """Arrivals of ``impulse`` (channels, positions, samples).

    ``bands_hz`` gives each channel's band; ``distance_m`` (channels, positions) and ``head_distance_m`` (channels,) hold NaN
    for a loudspeaker without a stated place: its arrival at the head is then the median over the microphones.
    """
    times = np.full(present.shape, np.nan)
    for channel, (low, high) in enumerate(bands_hz):
        rows = present[channel]
        if rows.any():
            onset = onset_times(impulse[channel, rows], sample_rate_hz=sample_rate_hz, low_hz=low, high_hz=high)
            times[channel, rows] = (onset - zero_sample) / sample_rate_hz
    placed = np.isfinite(head_distance_m)
    travel = np.where(placed[:, None], np.nan_to_num(distance_m) / sound_speed_m_s, 0.0)
    lateness, residual = _polish(times - travel)
    dull = np.asarray([high < DULL_HZ for _, high in bands_hz])
    if dull.any() and not dull.all():
        lateness = np.where(dull, np.median(lateness[~dull]), lateness)
    head = lateness + np.where(placed, np.nan_to_num(head_distance_m) / sound_speed_m_s, 0.0)
    scatter = np.asarray([np.nanmedian(np.abs(row)) if np.isfinite(row).any() else np.nan for row in residual])
    return Arrivals(times, head, lateness, scatter)


def _polish(table: Real, rounds: int = 10) -> tuple[Real, Real]:
    """Row effects (the columns' effects have median zero) and residuals of a two-way table with gaps."""
    rest = table.copy()
    row_effect = np.zeros(table.shape[0])
    column_effect = np.zeros(table.shape[1])
    for _ in range(rounds):
        step = np.asarray([np.nanmedian(row) if np.isfinite(row).any() else 0.0 for row in rest])
        row_effect += step
        rest -= step[:, None]
        step = np.asarray([np.nanmedian(column) if np.isfinite(column).any() else 0.0 for column in rest.T])
        column_effect += step
        rest -= step[None, :]
    shift = float(np.median(column_effect))
    return row_effect + shift, rest
