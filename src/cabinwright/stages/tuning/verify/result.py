"""What verifying gives: frozen, plain arrays, ready for a page or for JSON."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from cabinwright.findings import Finding

__all__ = ["Cause", "Comparison", "Confidence", "VerificationResult", "levels_agree"]

Array = NDArray[np.float64]
Confidence = Literal["clear", "likely", "one of several"]


@dataclass(frozen=True)
class Comparison:
    """One verification recording against its prediction, in third octaves of ``VerificationResult.band_centres_hz``."""

    name: str  #: "left side", "right side", "everything" or a channel
    channels: tuple[str, ...]  #: the channels that sound
    positions: tuple[str, ...]  #: where it could be compared
    measured_db: Array  #: (bands,) spatial average, moved by the common level
    predicted_db: Array  #: (bands,) spatial average with the settings as they should be
    explained_db: Array  #: (bands,) spatial average with the settings as they seem to be
    tolerance_db: Array  #: (bands,) what noise and putting the microphones back may differ; NaN where noise hides it
    measured_positions_db: Array  #: (positions, bands)
    predicted_positions_db: Array  #: (positions, bands)

    @property
    def difference_db(self) -> Array:
        """Measured minus predicted, ``(bands,)``."""
        return self.measured_db - self.predicted_db

    @property
    def within(self) -> bool:
        """Whether measured and predicted agree."""
        return levels_agree(self.difference_db, self.tolerance_db)

    @property
    def explained(self) -> bool:
        """Whether measured and explained agree."""
        return levels_agree(self.measured_db - self.explained_db, self.tolerance_db)


def levels_agree(difference_db: Array, tolerance_db: Array) -> bool:
    """Whether no two neighbouring bands (last axis) lie outside the tolerance; bands with NaN say nothing."""
    outside = np.abs(difference_db) > tolerance_db
    return not bool((outside[..., 1:] & outside[..., :-1]).any())


@dataclass(frozen=True)
class Cause:
    """One thing that differs from the settings, and how sure that is."""

    kind: str  #: stable word, for example "polarity", "delay", "gain", "filter missing", "outputs swapped"
    channels: tuple[str, ...]
    amount: float | None  #: signed, as found minus as it should be; None where the kind has none
    unit: str  #: "s", "dB", "Hz" (the frequency found) or ""
    text: str  #: one sentence for a person
    remedy: str  #: what to do next
    confidence: Confidence
    filter_index: int | None = None  #: which of the channel's filters, from 0
    exposes: tuple[str, ...] = ()  #: channels whose loudspeakers it leaves with less high-pass than is safe


@dataclass(frozen=True)
class VerificationResult:
    """Pass, or what differs and its likeliest causes."""

    passed: bool
    summary: str  #: one sentence
    level_db: float  #: free overall level: measured over predicted
    latency_s: float  #: free common delay (median over positions)
    position_delay_s: dict[str, float]  #: per position, latency included
    band_centres_hz: Array
    comparisons: tuple[Comparison, ...]
    causes: tuple[Cause, ...]  #: the likeliest story; every cause belongs to it
    alternatives: tuple[tuple[Cause, ...], ...]  #: stories that explain the recordings as well, best first
    runner_up: tuple[Cause, ...]  #: the next best story, however far behind; empty where there is none
    runner_up_behind: float  #: how much less likely it is, in units of log-likelihood
    explained_share: float  #: 0 to 1: how much of the mismatch above noise the causes explain; 1 where all is well
    record_next: str | None  #: the recording that would tell the alternatives apart
    not_checked: tuple[str, ...]  #: channels that sound in none of the recordings
    findings: tuple[Finding, ...] = ()
