"""The two sides of the comparison on one frequency grid: what was recorded before and what was measured after loading.

Everything the fit needs is an array here: the recorded spectra of every channel, the measured spectra of every
verification recording, and for each of its bins the variance that noise and ordinary repeatability explain.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len

from cabinwright.build.document import Build
from cabinwright.errors import InternalError, RefusedError
from cabinwright.physics.response import RecordedResponses
from cabinwright.stages.tuning.settings import Settings
from cabinwright.stages.tuning.sides import SUM_NAMES, sounding_channels
from cabinwright.stages.tuning.verify.repeatability import REPEATABILITY

__all__ = ["Bench", "State", "make_bench"]

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

LEAKAGE = 1e-6  #: of the strongest band's power, in every bin: responses are cut at the end of their window
BINS_PER_BAND = 24  #: more bins cost time and tell no more about one channel's mistake
HIGHEST_OF_RATE = 0.45  #: above this share of the sample rate resampling filters differ


@dataclass(frozen=True)
class State:
    """One guess at what the processor does."""

    drive: Complex  #: (channels, bins) response of every output: filters, gain, polarity, delay
    feed: Array  #: (recordings, channels) 1 where that output sounds
    out: NDArray[np.intp]  #: (channels,) whose loudspeakers the output feeds
    recorded: Complex | None = None  #: as ``Bench.recorded``, where the microphones seem to stand elsewhere now


@dataclass(frozen=True)
class Bench:
    """Recorded and measured spectra.

    Shapes: ``C`` channels, ``R`` verification recordings, ``P`` positions, ``F`` bins.
    """

    channels: tuple[str, ...]
    names: tuple[str, ...]
    positions: tuple[str, ...]
    settings: Settings
    sample_rate_hz: float
    band_centres_hz: Array  #: (bands,) third octaves that hold bins
    band_start: NDArray[np.intp]  #: (bands,) first bin of each band
    frequency_hz: Array  #: (F,)
    recorded: Complex  #: (C, P, F)
    measured: Complex  #: (R, P, F), brought near the level of the prediction
    scale: float  #: what ``measured`` was divided by for that
    usable: NDArray[np.bool_]  #: (R, P)
    noise: Array  #: (R, P, F) power that noise alone adds to the difference
    weight: Array  #: (R, P, F) one over variance and over bins in the band; 0 where not usable
    start: State  #: the settings as they should be

    @property
    def sizes(self) -> NDArray[np.intp]:
        """Bins in each band, ``(bands,)``."""
        return np.diff(np.append(self.band_start, len(self.frequency_hz))).astype(np.intp)

    def band_sum(self, values: Array) -> Array:
        """Sum over the bins of each band, ``(..., F)`` to ``(..., bands)``."""
        total: Array = np.add.reduceat(values, self.band_start, axis=-1)
        return total

    def heard(self, state: State) -> Complex:
        """Response of every loudspeaker at every position, ``(C, P, F)``."""
        return self.recorded if state.recorded is None else state.recorded

    def predict(self, state: State) -> Complex:
        """Response of every recording, ``(R, P, F)``, before the free level and delay."""
        each = state.drive[:, None, :] * self.heard(state)[state.out]
        flat = state.feed.astype(np.complex128) @ each.reshape(len(each), -1)
        return flat.reshape(self.measured.shape)

    def thinned(self) -> Bench:
        """The same with at most ``BINS_PER_BAND`` bins in each band, spread over it."""
        stops = np.append(self.band_start[1:], len(self.frequency_hz))
        picks = [
            np.unique(np.linspace(low, high - 1, min(BINS_PER_BAND, high - low)).astype(np.intp))
            for low, high in zip(self.band_start, stops, strict=True)
        ]
        counts = np.array([len(pick) for pick in picks])
        chosen = np.concatenate(picks)
        scale = np.repeat((stops - self.band_start) / counts, counts)
        state = self.start
        return replace(
            self,
            band_start=np.concatenate([[0], np.cumsum(counts)[:-1]]).astype(np.intp),
            frequency_hz=self.frequency_hz[chosen],
            recorded=self.recorded[..., chosen],
            measured=self.measured[..., chosen],
            noise=self.noise[..., chosen],
            weight=self.weight[..., chosen] * scale,
            start=replace(state, drive=state.drive[:, chosen]),
        )


def make_bench(build: Build, recorded: RecordedResponses, settings: Settings, verification: RecordedResponses) -> Bench:
    """Bring everything to one grid.

    Raises ``RefusedError`` where no verification recording stands at a position at which all its channels were
    recorded before, and ``InternalError`` where the two sets have different sample rates.
    """
    if recorded.sample_rate_hz != verification.sample_rate_hz:
        raise InternalError("both sets of responses must have one sample rate")
    rate = verification.sample_rate_hz
    positions = tuple(name for name in verification.positions if name in recorded.positions)
    slots = tuple(item.name for item in settings.channels)
    feed = np.array([[slot in sounding_channels(build, name) for slot in slots] for name in verification.channels])
    rows = [recorded.channels.index(slot) for slot in slots]
    before = np.ix_(rows, [recorded.positions.index(name) for name in positions])
    after = np.ix_(range(len(verification.channels)), [verification.positions.index(name) for name in positions])
    absent = feed[:, :, None] & ~recorded.present[before]
    usable = verification.present[after] & ~absent.any(axis=1)
    keep = usable.any(axis=1)
    if not positions or not keep.any():
        raise RefusedError(_nothing_to_compare(build, recorded))
    count = next_fast_len(max(recorded.impulse.shape[-1], verification.impulse.shape[-1]), real=True)
    grid, frequency, starts, band, centres = _grid(count, rate, verification.band_centres_hz)
    spectra = _spectra(recorded, before, count, grid, frequency)
    measured = _spectra(verification, after, count, grid, frequency)[keep]
    drive = np.array([item.response(frequency, sample_rate_hz=rate) for item in settings.channels])
    predicted = np.einsum("rc,cf,cpf->rpf", feed[keep].astype(np.float64), drive, spectra)
    scale = _scale(measured, predicted, usable[keep], starts)
    own_noise = np.nan_to_num(verification.noise_power[after][keep])[..., band] / scale**2
    carried = np.nan_to_num(recorded.noise_power[before])[..., band]
    noise = own_noise + np.einsum("rc,cpf,cf->rpf", feed[keep].astype(np.float64), carried, np.abs(drive) ** 2)
    measured = measured / scale
    sizes = np.diff(np.append(starts, len(frequency)))
    per_bin = np.repeat(sizes, sizes)
    level = np.repeat(np.add.reduceat(np.abs(measured) ** 2, starts, axis=-1), sizes, axis=-1) / per_bin
    noise = noise + LEAKAGE * level.max(axis=-1, keepdims=True)
    variance = noise + REPEATABILITY**2 * level
    variance = np.maximum(variance, 1e-12 * max(float(level.max()), 1e-30))
    return Bench(
        channels=slots,
        names=tuple(verification.channels[index] for index in np.flatnonzero(keep)),
        positions=positions,
        settings=settings,
        sample_rate_hz=rate,
        band_centres_hz=centres,
        band_start=starts,
        frequency_hz=frequency,
        recorded=spectra,
        measured=measured,
        scale=scale,
        usable=usable[keep],
        noise=noise,
        weight=usable[keep][..., None] / (variance * per_bin),
        start=State(drive, feed[keep].astype(np.float64), np.arange(len(slots), dtype=np.intp)),
    )


def _nothing_to_compare(build: Build, recorded: RecordedResponses) -> str:
    """Why, and the sums with the positions at which they could be compared."""
    could: dict[tuple[str, ...], list[str]] = {}
    for name in SUM_NAMES:
        rows = [recorded.channels.index(item) for item in sounding_channels(build, name) if item in recorded.channels]
        present = recorded.present[rows]
        places = tuple(place for index, place in enumerate(recorded.positions) if rows and present[:, index].all())
        if places:
            could.setdefault(places, []).append(name)
    why = (
        "There is nothing to compare: no good verification recording stands at a position where all channels that sound "
        "in it have a good recording from before. "
    )
    if not could:
        return why + (
            "At no position do all channels of a side: record again, without processing, what the findings on the "
            "recordings say, all channels at one position at least, and run the tune again."
        )
    options = "; ".join(f"{' or '.join(names)} at {', '.join(places)}" for places, names in could.items())
    return why + f"With the settings loaded, record {options}, and list it under [[verification_recordings]]."


def _scale(measured: Complex, predicted: Complex, usable: NDArray[np.bool_], starts: NDArray[np.intp]) -> float:
    """Roughly how much louder the measurement is: the median over what can be compared of the ratio in each band.

    Noise of the recordings can only be carried over to the measurement once both have one level.
    """
    above, below = (np.add.reduceat(np.abs(part[usable]) ** 2, starts, axis=-1) for part in (measured, predicted))
    ratio = float(np.median(above / np.maximum(below, 1e-300)))
    if not (np.isfinite(ratio) and ratio > 0.0):
        raise RefusedError(
            "The verification recordings hold no sound at all. Check that the processor plays, and record them again."
        )
    return float(np.sqrt(ratio))


def _grid(
    count: int, rate: float, centres_hz: Array
) -> tuple[NDArray[np.intp], Array, NDArray[np.intp], NDArray[np.intp], Array]:
    """Bins inside the bands: their indices, frequencies, the first of each band, the band of each, centres in use."""
    frequency: Array = np.fft.rfftfreq(count, 1.0 / rate).astype(np.float64)
    edges = centres_hz[0] * 10.0 ** (0.1 * (np.arange(len(centres_hz) + 1) - 0.5))
    band = np.searchsorted(edges, frequency, "right") - 1
    inside = (band >= 0) & (band < len(centres_hz)) & (frequency <= HIGHEST_OF_RATE * rate)
    chosen = np.flatnonzero(inside)
    kept = band[chosen]
    used, starts = np.unique(kept, return_index=True)
    return chosen.astype(np.intp), frequency[chosen], starts.astype(np.intp), kept.astype(np.intp), centres_hz[used]


def _spectra(
    responses: RecordedResponses,
    rows: tuple[NDArray[np.intp], ...],
    count: int,
    grid: NDArray[np.intp],
    frequency: Array,
) -> Complex:
    turn = np.exp(2j * np.pi * frequency * responses.zero_sample / responses.sample_rate_hz)
    present = responses.present[rows][..., None]
    spectra: Complex = np.fft.rfft(responses.impulse[rows] * present, count)[..., grid] * turn
    return spectra
