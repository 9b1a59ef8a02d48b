"""Containers for recorded responses: what ``measure`` hands to the stages. No build, no file, no device."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from cabinwright.findings import Finding

__all__ = ["RecordedResponses", "Verdict"]


@dataclass(frozen=True, slots=True)
class Verdict:
    """What became of one recording, with the figures behind it."""

    channel: str
    position: str
    file: str
    good: bool  #: False: left out of the tune
    reason: str  #: one sentence for a person; for a good recording what was measured
    figures: dict[str, float] = field(default_factory=dict)  #: name with unit suffix -> value


@dataclass(frozen=True)
class RecordedResponses:
    """Impulse responses of every channel at every position on one common time axis.

    ``impulse[c, p, n]`` is the response at time ``(n - zero_sample) / sample_rate_hz`` after the electrical signal was
    sent (loopback and impulse recordings) or after a moment common to all recordings (markers). Linear full scale of
    the recording over full scale of the signal; microphone calibration applied. Samples before ``zero_sample`` hold what
    arrives "too early" (pre-ringing, wrong stated latency).
    """

    sample_rate_hz: float
    channels: tuple[str, ...]
    positions: tuple[str, ...]
    impulse: NDArray[np.float64]  #: (channels, positions, samples); zeros where not ``present``
    zero_sample: int
    present: NDArray[np.bool_]  #: (channels, positions)
    band_centres_hz: NDArray[np.float64]  #: (bands,) third octaves 20 Hz to 20 kHz
    noise_power: NDArray[np.float64]
    """(channels, positions, bands): expected |FFT(noise in ``impulse``)|² per bin, mean over the band."""
    snr_db: NDArray[np.float64]  #: (channels, positions, bands): signal over noise of the impulse response
    clock_drift_ppm: NDArray[np.float64]  #: (channels, positions); 0 where it does not apply
    absolute_time: bool  #: True where delay since the electrical signal is known (loopback, impulse)
    verdicts: tuple[Verdict, ...] = ()
    findings: tuple[Finding, ...] = ()
