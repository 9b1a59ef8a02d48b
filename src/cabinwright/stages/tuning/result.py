"""What the tuning stage gives: everything that the settings, the report and ``plan.json`` say. Frozen, plain arrays."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from cabinwright.findings import Finding
from cabinwright.stages.tuning.settings import Settings

__all__ = ["ChannelCurves", "Decision", "Metrics", "SumCurves", "TuningResult"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class SumCurves:
    """One coherent sum (left side, right side or everything) before and after, in bands of ``TuningResult``."""

    name: str  #: "left side", "right side" or "everything"
    channels: tuple[str, ...]  #: the channels that sound
    target_db: Array  #: (bands,) house curve moved to the level of this sum
    before_db: Array  #: (bands,) spatial average with the tape method alone
    after_db: Array  #: (bands,) predicted spatial average
    after_positions_db: Array  #: (positions, bands) predicted at each position


@dataclass(frozen=True)
class ChannelCurves:
    """One channel on its own, in bands of ``TuningResult``."""

    name: str
    raw_db: Array  #: (bands,) recorded, spatial average
    raw_positions_db: Array  #: (positions, bands)
    filters_db: Array  #: (bands,) what the processor does, gain included
    after_db: Array  #: (bands,) raw with the processor
    low_limit_hz: float  #: safe range
    high_limit_hz: float
    limit_source: str  #: where the safe range comes from
    arrival_s: float  #: arrival at the head centre as recorded, relative to the common time zero
    impulse: Array  #: (samples,) processed impulse response at the position nearest the head, for the overlays


@dataclass(frozen=True)
class Decision:
    """One choice and its reason in plain words."""

    about: str  #: channel or pair, for example "left midbass"
    choice: str  #: "polarity inverted"
    reason: str  #: "between 180 and 420 Hz it and the left tweeter add 3.1 dB better"
    figures: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Metrics:
    """Single figures, each for the recorded positions unless it says otherwise."""

    error_before_db: dict[str, float]  #: per sum: rms over bands against the house curve, tape method
    error_after_db: dict[str, float]  #: per sum
    error_expected_db: dict[str, float]  #: per sum, at positions nobody measured (positions left out in turn)
    side_difference_db: float  #: left against right 250 Hz to 8 kHz, rms over bands
    arrival_difference_s: float  #: left minus right at the head centre
    coherent_gain_lost_db: float  #: 40 to 500 Hz: level below the best polarity and delay with these filters
    headroom_db: dict[str, float]  #: per channel: room left before its filters and gain exceed 0 dB at any frequency
    error_single_place_db: dict[str, float] = field(default_factory=dict)  #: per sum, at one such place on its own
    side_difference_before_db: float = math.nan  #: the same with the tape method; NaN where unknown
    arrival_difference_before_s: float = math.nan  #: the same with the tape method; NaN where unknown


@dataclass(frozen=True)
class TuningResult:
    """Settings, curves, reasons and findings."""

    settings: Settings
    positions: tuple[str, ...]
    nearest_position: str  #: the one nearest the head centre; overlays show it
    band_centres_hz: Array  #: (bands,) twelfth octaves
    house_curve_db: Array  #: (bands,)
    house_curve_source: str
    sums: dict[str, SumCurves]
    channels: dict[str, ChannelCurves]
    impulse_rate_hz: float
    impulse_start_s: float  #: time of the first sample of ``ChannelCurves.impulse``; 0 is the aligned arrival
    side_level_difference_db: Array  #: (bands,) left minus right after
    side_arrival_difference_s: Array  #: (bands,) left minus right after; NaN where it has no meaning
    metrics: Metrics
    decisions: tuple[Decision, ...]
    findings: tuple[Finding, ...]
    before: Settings | None = None  #: the tape method's settings, for the table of what was heard before
    side_level_difference_before_db: Array | None = None  #: (bands,) left minus right with the tape method
    sound_speed_m_s: float = 343.2  #: turns delays into the lengths of the settings page
