"""Marker timing: start and clock drift of a recording, from a chirp before and one after the sweep.

Both chirps come from one loudspeaker through one room, so the time between them is known to a small part of a sample
whatever that room does: the phase between the two responses grows in proportion to frequency. The recorder's clock
follows from it, and the sweep is then evaluated as that clock would have recorded it.

Recordings at one position hold the same response of the marker loudspeaker, and are brought to one zero by the phase
between those. The flight from the marker loudspeaker, where its place is known, turns that into the moment at which the
markers left.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.fft import fft, ifft, next_fast_len, rfft

from cabinwright.measure.deconvolve import Reference, transform_size
from cabinwright.measure.faults import Fault
from cabinwright.measure.signal import Markers, SweepSignal
from cabinwright.physics.sweep import Chirp

__all__ = ["MarkerResponse", "Start", "cut_marker", "delay_between", "find_start", "first_arrival_s"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
DRIFT_LIMIT = 1e-3  #: looked for
USUAL_DRIFT = 3e-4  #: a person's equipment stays within 200 ppm
ROOM_S = 0.08  #: of the marker's response that is kept
EARLY_S = 0.02
FADE_USED = 0.38
CLEAR = 12.0  #: both markers stand above the rest of the search by this factor of amplitude
ALIKE = 0.5  #: the two markers of one recording, once its clock is known
OTHER = 0.25  #: a chirp that meets the other marker's filter, or the sweep's, stays well below this of its own
BEST_PAIR = (
    0.25  #: two markers far from their distance, and this much higher than the pair that keeps it, are the true ones
)
NEAR_S, SHARP = 0.06, 6.0  #: a marker stands so far above what is heard within this time of it
LOST_S = 0.5  #: fewer lost samples than this leave two markers that can be told from anything else


@dataclass(frozen=True)
class MarkerResponse:
    """Response of the marker loudspeaker between ``first_bin`` and the last, at ``step_hz``; zero is its nominal start."""

    spectrum: Complex
    first_bin: int
    step_hz: float

    @property
    def frequency_hz(self) -> Real:
        return np.asarray((self.first_bin + np.arange(len(self.spectrum))) * self.step_hz)


@dataclass(frozen=True)
class Start:
    """When playing began, in the recorder's own seconds, and how fast its clock runs."""

    begin_s: float  #: start of the played file; the marker's first sound counts as flight
    drift: float  #: recorder's clock against the player's: +1e-6 is 1 ppm fast
    response: MarkerResponse
    clarity: float  #: height of the markers over the rest, amplitude ratio


def find_start(recorded: NDArray[np.float32], signal: SweepSignal, *, sample_rate_hz: float) -> Start | Fault:
    """Start and drift of ``recorded`` (samples,), or why they cannot be told."""
    marks = signal.markers
    assert marks is not None
    envelopes = _envelopes(recorded, marks, sample_rate_hz)
    found = _coarse(envelopes, marks)
    if found is None:
        return _unclear(envelopes, marks)
    begin, drift, clarity = found
    response: MarkerResponse | None = None
    likeness = 0.0
    for _ in range(6):
        first = _response(recorded, marks.first, begin + marks.first_s * (1.0 + drift), drift, sample_rate_hz)
        last = _response(recorded, marks.last, begin + marks.last_s * (1.0 + drift), drift, sample_rate_hz)
        if first is None or last is None:
            return _no_markers("begins or ends inside a marker")
        late, likeness = delay_between(first, last)
        step = late / (marks.last_s - marks.first_s)
        drift += step
        response = replace(first, spectrum=0.5 * (first.spectrum + last.spectrum * _turn(last, late)))
        if abs(step) < 1e-9:
            break
    # Only now: while the clock is wrong (the search may have taken an echo for a marker) equal markers look different.
    if likeness < ALIKE:
        return _lost(envelopes, marks, least=USUAL_DRIFT) or _no_markers("holds two markers that differ")
    assert response is not None
    return Start(begin, drift, response, clarity)


def _no_markers(reason: str) -> Fault:
    return Fault("recording-no-sweep", f"the recording {reason}")


def _turn(response: MarkerResponse, late_s: float) -> Complex:
    return np.asarray(np.exp(2j * np.pi * response.frequency_hz * late_s))


@lru_cache(maxsize=8)
def _pattern(chirp: Chirp, rate: float, size: int, first: int, count: int) -> Complex:
    """Matched filter of a chirp at ``count`` bins, the same for every recording of about one length."""
    grid = np.arange(round(chirp.length_s * rate)) / rate
    return np.array(rfft(chirp.at(grid), n=size)[first : first + count].conj())


@dataclass(frozen=True)
class Envelopes:
    """Output of the markers' matched filters at ``slow_hz``; they wrap round some time after ``length_s``."""

    first: Real
    last: Real
    slow_hz: float
    length_s: float


def _envelopes(recorded: NDArray[np.float32], marks: Markers, rate: float) -> Envelopes:
    """Only the bins of the markers' band are transformed back, which gives the envelope at a reduced rate for little work."""
    size = transform_size(len(recorded))
    low, high = sorted((marks.first.start_hz, marks.first.end_hz))
    step = rate / size
    a, b = int(low / step), int(high / step)
    count = next_fast_len(b - a)
    band = rfft(recorded, n=size)[a : a + count]
    first, last = (np.abs(ifft(band * _pattern(one, rate, size, a, count))) for one in (marks.first, marks.last))
    return Envelopes(first, last, count * step, len(recorded) / rate)


def _coarse(envelopes: Envelopes, marks: Markers) -> tuple[float, float, float] | None:
    """Start [s], drift and clarity to within a fraction of a millisecond; ``None`` where the pair is not plainly there."""
    from scipy.ndimage import maximum_filter1d  # slow to import

    first, last, slow, length_s = envelopes.first, envelopes.last, envelopes.slow_hz, envelopes.length_s
    count = len(first)
    apart = (marks.last_s - marks.first_s) * slow
    reach = max(2, int(np.ceil(apart * DRIFT_LIMIT)) + 2)
    shifted = np.roll(maximum_filter1d(last, size=2 * reach + 1, mode="wrap"), -round(apart))
    both = np.minimum(first / max(first.max(), 1e-30), 1.0) * shifted
    usable = max(1, min(count, round(length_s * slow) - round(apart)))
    at = int(np.argmax(both[:usable] if usable > 8 else both))
    window = (at + round(apart) + np.arange(-reach, reach + 1)) % count
    end = int(window[np.argmax(last[window])])
    clarity = min(first[at] / max(float(np.median(first)), 1e-30), last[end] / max(float(np.median(last)), 1e-30))
    long_enough = length_s >= marks.last_s - marks.first_s + marks.last.length_s
    if clarity < CLEAR or not long_enough or first[at] * last[end] < BEST_PAIR * _best_pair(envelopes, apart):
        return None
    drift = (end - at) / apart - 1.0
    return at / slow - marks.first_s, drift if abs(drift) < 2.0 * DRIFT_LIMIT else 0.0, float(clarity)


def _before(envelopes: Envelopes, apart: float) -> NDArray[np.intp]:
    """Where the rising marker may be if sound was lost or doubled between it and the highest falling one."""
    end, reach = int(np.argmax(envelopes.last)), LOST_S * envelopes.slow_hz
    return np.arange(max(0, round(end - apart - reach)), max(0, min(round(end - apart + reach), end)))


def _best_pair(envelopes: Envelopes, apart: float) -> float:
    """Product of the highest falling marker and the highest rising one about where that should be, or 0."""
    around = _before(envelopes, apart)
    return float(envelopes.first[around].max() * envelopes.last.max()) if len(around) else 0.0


def _stands_out(envelope: Real, at: int, slow_hz: float) -> bool:
    """Whether a marker is at ``at``: high above the rest, and sharp, as a sweep in its filter is not."""
    near = envelope[max(0, at - round(NEAR_S * slow_hz)) : at + round(NEAR_S * slow_hz)]
    return bool(envelope[at] > CLEAR * np.median(envelope) and envelope[at] > SHARP * np.median(near))


def _unclear(envelopes: Envelopes, marks: Markers) -> Fault:
    """Which of the markers is not there, and why.

    The falling chirp is told from everything else in the signal; the rising one may be mistaken for the sweep, so it is
    looked for where the falling one says that it should be.
    """
    first, last, slow = envelopes.first, envelopes.last, envelopes.slow_hz
    apart = marks.last_s - marks.first_s
    end, at = int(np.argmax(last)), int(np.argmax(first))
    if last[end] > OTHER * first[at] and _stands_out(last, end, slow):
        late = apart - end / slow
        if (lost := _lost(envelopes, marks, least=DRIFT_LIMIT)) is not None:
            return lost
        if late > 0.0:
            return _no_markers(f"began {late:.1f} s after the first marker: its start is cut off")
        return _no_markers("holds only the second of the two markers of this build's sweep.wav")
    if first[at] > last[end] / OTHER and _stands_out(first, at, slow):
        if at / slow + apart + marks.last.length_s > envelopes.length_s:
            return _no_markers("ends before the second marker is over: its end is cut off")
        return _no_markers("holds only the first of the two markers of this build's sweep.wav")
    return _no_markers("holds neither marker of this build's sweep.wav")


def _lost(envelopes: Envelopes, marks: Markers, *, least: float) -> Fault | None:
    """Both markers are there, and by more than ``least`` of it not as far apart as they were played."""
    first, last, slow = envelopes.first, envelopes.last, envelopes.slow_hz
    apart = marks.last_s - marks.first_s
    around, end = _before(envelopes, apart * slow), int(np.argmax(last))
    if not len(around):
        return None
    at = int(around[np.argmax(first[around])])
    lost = apart - (end - at) / slow
    if abs(lost) < least * apart or first[at] < OTHER * last[end] or not _stands_out(first, at, slow):
        return None
    reason = f"{1e3 * abs(lost):.1f} ms of sound were {'lost' if lost > 0.0 else 'doubled'} between the markers"
    return Fault("recording-gap", reason, round(1e3 * abs(lost), 1), 0, "ms", {"lost_s": float(lost)})


def _response(
    recorded: NDArray[np.float32], chirp: Chirp, start_s: float, drift: float, rate: float
) -> MarkerResponse | None:
    """What the room made of one chirp that started at ``start_s`` on the recorder's clock."""
    length = chirp.length_s * (1.0 + drift)
    begin = round((start_s - EARLY_S) * rate)
    count = round((EARLY_S + length + ROOM_S) * rate)
    if begin + round(EARLY_S * rate) < 0 or begin + round((EARLY_S + length) * rate) > len(recorded):
        return None
    piece = np.zeros(count)
    a, b = max(0, begin), min(len(recorded), begin + count)
    piece[a - begin : b - begin] = recorded[a:b]
    size = next_fast_len(count, real=True)
    time = (np.arange(begin, begin + count) / rate - start_s) / (1.0 + drift)
    pattern = rfft(chirp.at(time), n=size)
    low, high = sorted((chirp.start_hz, chirp.end_hz))
    step = rate / size
    first, last = int(np.ceil(low / step)), int(high / step)
    keep = slice(first, last + 1)
    energy = np.abs(pattern[keep]) ** 2
    quotient = rfft(piece, n=size)[keep] * pattern[keep].conj() / (energy + 0.01 * np.median(energy))
    return MarkerResponse(quotient, first, step)


def delay_between(early: MarkerResponse, late: MarkerResponse) -> tuple[float, float]:
    """How much later ``late`` is than ``early`` [s], and how alike they then are (0 to 1).

    The strongest lag of their cross-spectrum is refined by the straight line through its phase, each frequency weighted
    with its power.
    """
    count = min(len(early.spectrum), len(late.spectrum))
    cross = late.spectrum[:count] * early.spectrum[:count].conj()
    size = next_fast_len(8 * count)
    lag = int(np.argmax(np.abs(fft(cross, n=size))))
    lag = lag if lag < size // 2 else lag - size
    # fft gives sum c_k exp(-2 pi i k m / size), largest where m / size is the phase step per bin over 2 pi
    delay = -lag / size / early.step_hz
    frequency = early.frequency_hz[:count]
    weight = np.abs(cross)
    total = float(weight.sum())
    if total <= 0.0:
        return 0.0, 0.0
    for _ in range(4):
        turned = cross * np.exp(2j * np.pi * frequency * delay)
        anchor = np.angle(turned.sum())
        phase = np.angle(turned * np.exp(-1j * anchor))
        middle = float((weight * frequency).sum()) / total
        spread = frequency - middle
        slope = float((weight * spread * phase).sum() / (weight * spread**2).sum())
        delay -= slope / (2.0 * np.pi)
    # The line must also pass through zero phase at zero frequency: whole turns at the middle give the exact delay.
    turned = cross * np.exp(2j * np.pi * frequency * delay)
    delay -= float(np.angle(turned.sum())) / (2.0 * np.pi * middle)
    turned = cross * np.exp(2j * np.pi * frequency * delay)
    power = float(np.sum(np.abs(early.spectrum[:count]) ** 2) * np.sum(np.abs(late.spectrum[:count]) ** 2))
    return delay, float(max(turned.sum().real, 0.0) / max(np.sqrt(power), 1e-300))


def first_arrival_s(response: MarkerResponse) -> float:
    """Arrival of the marker loudspeaker's first sound after the nominal start [s]: the first strong peak of the envelope."""
    count = len(response.spectrum)
    size = next_fast_len(16 * count)
    shaped = response.spectrum * np.hanning(count)
    envelope = np.abs(ifft(shaped, n=size))
    span = 1.0 / response.step_hz
    order = np.roll(envelope, round(EARLY_S / span * size))  # the early part, which wrapped, comes first
    strong = order > 0.4 * order.max()
    inner = strong[1:-1] & (order[1:-1] >= order[:-2]) & (order[1:-1] > order[2:])
    at = int(np.flatnonzero(inner)[0]) + 1 if inner.any() else int(np.argmax(order))
    before, here, after = order[max(at - 1, 0)], order[at], order[min(at + 1, size - 1)]
    bend = before - 2.0 * here + after
    shift = 0.5 * (before - after) / bend if bend < 0.0 else 0.0
    return (at + float(shift)) / size * span - EARLY_S


def cut_marker(
    recorded: NDArray[np.float32], signal: SweepSignal, start: Start, *, sample_rate_hz: float
) -> tuple[Real, Reference, int]:
    """The recording around the sweep, markers left out, the sweep as its clock saw it, and where that begins."""
    rate, slow = sample_rate_hz, 1.0 + start.drift
    origin = start.begin_s + signal.sweep_s * slow
    begin = max(0, round((origin - 0.25) * rate))
    end = min(len(recorded), round((origin + (signal.sweep.length_s + 0.7) * slow) * rate))
    count = max(0, end - begin)
    time = (np.arange(begin, end) / rate - origin) / slow
    played = signal.level * signal.sweep.at(time)
    size = transform_size(count)
    # Beyond a third of each fade too little is left to divide by.
    sweep = signal.sweep
    ends = sweep.frequency_hz(np.array([FADE_USED * sweep.fade_in_s, sweep.length_s - FADE_USED * sweep.fade_out_s]))
    band = (float(ends[0]), min(float(ends[1]), 0.49 * rate))
    reference = Reference(rfft(played, n=size), size, rate, *band, sweep.growth_s * slow)
    return recorded[begin:end].astype(np.float64), reference, begin
