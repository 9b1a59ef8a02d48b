"""Taking out again what the processor did while a channel was recorded.

A protective high-pass that was on during the sweep is in the recording like a part of the loudspeaker, and it will not be
there once the tune's own is. The response is divided by the filter's, with a gain of at most ``MOST_DB``: further down
the filter leaves nothing but noise, and there only its phase is taken out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft

from cabinwright.build.document import Build, RecordedFilter
from cabinwright.findings import Finding, finding
from cabinwright.measure.deconvolve import band_means
from cabinwright.physics.filters import Filter, filter_sections, sections_response
from cabinwright.physics.response import RecordedResponses

__all__ = ["MOST_DB", "undo_filters"]

Real = NDArray[np.float64]
MOST_DB = 30.0
FADE_S = 0.004  #: at either end of what is kept, so that nothing the division smeared out breaks off


def undo_filters(build: Build, responses: RecordedResponses) -> RecordedResponses:
    """``responses`` as they would have been without every channel's ``recorded_with``; a note says so for each."""
    rows = [(c, item.recorded_with) for c, item in enumerate(build.channels) if item.recorded_with]
    if not rows:
        return responses
    impulse, noise = responses.impulse.copy(), responses.noise_power.copy()
    rate, count = responses.sample_rate_hz, responses.impulse.shape[-1]
    size = next_fast_len(3 * count, real=True)
    frequency: Real = np.fft.rfftfreq(size, 1.0 / rate).astype(np.float64)
    edges = _edges(count, round(FADE_S * rate))
    notes: list[Finding] = []
    for c, filters in rows:
        gain = _inverse(filters, frequency, rate)
        padded = np.pad(impulse[c], ((0, 0), (count, count)))  # silence on both sides takes what the division smears
        impulse[c] = irfft(rfft(padded, n=size) * gain, n=size)[:, count : 2 * count] * edges
        noise[c] *= band_means(np.abs(gain) ** 2, sample_rate_hz=rate)
        notes.append(_note(build.channels[c].name, filters))
    return replace(responses, impulse=impulse, noise_power=noise, findings=(*responses.findings, *notes))


def _inverse(filters: Sequence[RecordedFilter], frequency_hz: Real, sample_rate_hz: float) -> NDArray[np.complex128]:
    """One over the filters' response, its magnitude at most ``MOST_DB``; nothing where they let nothing through."""
    sections = np.concatenate([filter_sections(_as_filter(item), sample_rate_hz=sample_rate_hz) for item in filters])
    response = sections_response(sections, frequency_hz=frequency_hz, sample_rate_hz=sample_rate_hz)
    size = np.abs(response)
    heard = size > 1e-12
    safe = np.where(heard, size, 1.0)
    turned_back = np.where(heard, response.conj() / safe, 0.0)
    return np.asarray(turned_back * np.minimum(1.0 / safe, 10.0 ** (MOST_DB / 20.0)))


def _as_filter(item: RecordedFilter) -> Filter:
    return Filter(item.kind, item.frequency_hz, family=item.family, slope_db_per_octave=item.slope_db_per_octave)


def _edges(count: int, fade: int) -> Real:
    """Ones with a raised-cosine edge at either end, (count,)."""
    window = np.ones(count)
    rise = np.sin(0.5 * np.pi * (np.arange(fade) + 0.5) / fade) ** 2
    window[:fade], window[count - fade :] = rise, rise[::-1]
    return window


def _note(channel: str, filters: Sequence[RecordedFilter]) -> Finding:
    words = " and ".join(
        f"the {item.kind} at {item.frequency_hz:g} Hz ({item.family}, {item.slope_db_per_octave} dB per octave)"
        for item in filters
    )
    return finding("recording-filter-undone", where=channel, value=words, limit=MOST_DB, unit="dB")
