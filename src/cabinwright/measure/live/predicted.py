"""What was predicted, in third octaves, held against what is heard.

A prediction has no absolute level, nor has a loudspeaker a known sensitivity here: the two are laid over one another by the
median of their difference. Valid while pink noise plays through the very settings that were predicted: a third octave of pink
noise is then the mean power of the response over that third of an octave. Music has a spectrum of its own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.bands import Bands
from cabinwright.stages.layout.result import LayoutResult
from cabinwright.stages.tuning.result import TuningResult

__all__ = ["Against", "Prediction", "from_layout", "from_tune", "held_against", "in_bands"]

Real = NDArray[np.float64]
COMMON = 6  #: bands that both must have


@dataclass(frozen=True)
class Prediction:
    """One curve."""

    name: str  #: "left side, with these settings"
    frequency_hz: Real  #: (points,) rising, evenly spaced in octaves
    level_db: Real


@dataclass(frozen=True)
class Against:
    """Heard less predicted, third octave by third octave."""

    predicted_db: Real  #: (bands,) moved to the level of what was heard; NaN where nothing was predicted
    difference_db: Real
    rms_db: float
    beyond: NDArray[np.bool_]  #: (bands,) further apart than the average's own 95 % interval reaches
    bands: int  #: compared


def from_tune(result: TuningResult) -> tuple[Prediction, ...]:
    """Every sum that a tune predicts, before and after, and every channel alone after."""
    x = result.band_centres_hz
    told = [Prediction(f"{name}, with these settings", x, item.after_db) for name, item in result.sums.items()]
    told += [Prediction(f"{name}, by tape alone", x, item.before_db) for name, item in result.sums.items()]
    told += [Prediction(f"{name}, with these settings", x, item.after_db) for name, item in result.channels.items()]
    return tuple(told)


def from_layout(result: LayoutResult) -> tuple[Prediction, ...]:
    """Every place as every seat hears it, a loudspeaker that is level on its axis standing there: mean power over the head
    box."""
    told = []
    for place in result.places.values():
        for seat, heard in place.seats.items():
            level = 10.0 * np.log10(np.mean(10.0 ** (0.1 * heard.box_db), axis=0))
            told.append(Prediction(f"{place.name} at {seat}", heard.box_hz, level))
        if place.low is not None:
            for seat, low_db in place.low.third_db.items():
                told.append(Prediction(f"{place.name} at {seat}, below 200 Hz", place.low.third_hz, low_db))
    return tuple(told)


def in_bands(prediction: Prediction, bands: Bands) -> Real:
    """Mean power of a curve over each band, (bands,); NaN where it does not reach across the band."""
    log_f = np.log(prediction.frequency_hz)
    step = float(np.median(np.diff(log_f)))
    inside = 0.5 * step
    power = 10.0 ** (0.1 * prediction.level_db)
    told = np.full(len(bands), np.nan)
    for number, (low, high) in enumerate(zip(np.log(bands.lower_hz), np.log(bands.upper_hz), strict=True)):
        if log_f[0] - inside > low + 1e-6 + 0.01 or log_f[-1] + inside < high - 1e-6 - 0.01:
            continue
        share = np.clip(np.minimum(log_f + inside, high) - np.maximum(log_f - inside, low), 0.0, None)
        here = share > 0.0
        if np.isfinite(prediction.level_db[here]).all() and here.any():
            told[number] = 10.0 * np.log10(np.sum(share[here] * power[here]) / np.sum(share[here]))
    return told


def held_against(
    heard_db: Real, prediction: Prediction, bands: Bands, *, low_db: Real | None = None, high_db: Real | None = None
) -> Against | None:
    """Heard less predicted; None where fewer than six third octaves are there in both."""
    predicted = in_bands(prediction, bands)
    both = np.isfinite(predicted) & np.isfinite(heard_db)
    if np.count_nonzero(both) < COMMON:
        return None
    predicted = predicted + np.median((heard_db - predicted)[both])
    difference = np.where(both, heard_db - predicted, np.nan)
    beyond = np.zeros(len(bands), dtype=bool)
    if low_db is not None and high_db is not None:
        with np.errstate(invalid="ignore"):
            beyond = both & ((predicted - heard_db < low_db) | (predicted - heard_db > high_db))
    return Against(
        predicted, difference, float(np.sqrt(np.nanmean(difference**2))), beyond, int(np.count_nonzero(both))
    )
