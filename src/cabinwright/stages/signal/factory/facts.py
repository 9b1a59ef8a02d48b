"""What one output carries at one volume: content, band, level in it, delay, polarity."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.factory import FactoryCapture
from cabinwright.stages.signal.factory.phase import ExcessPhase, excess_phase

__all__ = ["Content", "content", "level_db", "phase_of"]

Real = NDArray[np.float64]
EDGE_DB = 3.0
NEAR_DB = (14.0, 6.0, 4.0, 4.0)  #: what counts as passband, from the loudest part, then from its median, once more
STEP, LEVEL_DB = 12, 1.0  #: what falls by less over so many points (half an octave) has levelled out
INNER_DB, FLAT_DB = (
    0.75,
    0.5,
)  #: inside the band: so far under the median and falling by less, it is a shelf's lower step
LOST_DB = 12.0  #: further down there is no band any more
CLEAR_DB = 12.0  #: over noise, for a phase to be read
AUDIBLE_HZ = (15.0, 20_000.0)
EQUAL = 0.9  #: sides that differ by less, 1 dB, are carried alike


@dataclass(frozen=True)
class Content:
    """One capture judged by itself. ``passband`` (F,): where the median is taken."""

    left_db: float
    right_db: float
    noise_db: float
    passband_db: float
    low_hz: float
    high_hz: float
    equalisation_db: tuple[float, float]
    passband: NDArray[np.bool_]
    main: NDArray[np.complex128]  #: the transfer from the side it carries more of, of equals left


def level_db(transfer: NDArray[np.complex128]) -> Real:
    """Level of a transfer [dB]."""
    return np.asarray(20.0 * np.log10(np.maximum(np.abs(transfer), 1e-15)))


def content(capture: FactoryCapture, frequency_hz: Real) -> Content:
    """Levels and band of one capture, those of the side that it carries more of."""
    left, right = level_db(capture.left), level_db(capture.right)
    heard = (frequency_hz >= AUDIBLE_HZ[0]) & (frequency_hz <= AUDIBLE_HZ[1])
    carried = [float(np.mean(np.abs(side[heard]))) for side in (capture.left, capture.right)]
    # Of a sum or difference left counts: noise must not decide which side's sign a difference is said to have.
    main = capture.left if carried[0] >= EQUAL * carried[1] else capture.right
    level = level_db(main)
    passband_db = _passband(level, heard)
    inside = heard & (level >= passband_db - EDGE_DB)
    low_hz, high_hz = _edges(level - (passband_db - EDGE_DB), inside, frequency_hz)
    passband = heard & (frequency_hz >= low_hz) & (frequency_hz <= high_hz)
    low_hz, high_hz = _band(level - passband_db, passband, heard, frequency_hz)
    return Content(
        left_db=float(np.median(left[passband])),
        right_db=float(np.median(right[passband])),
        noise_db=float(np.median(capture.noise_db[passband])),
        passband_db=passband_db,
        low_hz=low_hz,
        high_hz=high_hz,
        equalisation_db=(float((level - passband_db)[passband].min()), float((level - passband_db)[passband].max())),
        passband=passband,
        main=main,
    )


def phase_of(capture: FactoryCapture, found: Content, frequency_hz: Real, *, sample_rate_hz: float) -> ExcessPhase:
    """Delay on the captures' common time, polarity and all-pass."""
    heard = (frequency_hz >= AUDIBLE_HZ[0]) & (frequency_hz <= AUDIBLE_HZ[1])
    trusted = heard & (level_db(found.main) > capture.noise_db + CLEAR_DB)
    return excess_phase(found.main, trusted, frequency_hz, sample_rate_hz=sample_rate_hz)


def _passband(level: Real, heard: NDArray[np.bool_]) -> float:
    """Level of the passband: the median of what is near it, begun from the loudest part, so that slopes drop out."""
    at = float(level[heard].max())
    for number, near in enumerate(NEAR_DB):
        floor = at - near if number == 0 else at - min(near, EDGE_DB + 0.5)
        ceiling = np.inf if number == 0 else at + near
        here = heard & (level >= floor) & (level <= ceiling)
        if np.any(here):
            at = float(np.median(level[here]))
    return at


def _band(level: Real, passband: NDArray[np.bool_], heard: NDArray[np.bool_], frequency: Real) -> tuple[float, float]:
    """The edges of ``passband`` moved out over shelves: a filter keeps falling beyond its edge, an equaliser levels out."""
    floor = np.full(len(level), -EDGE_DB)
    inside = np.flatnonzero(passband)
    for ahead in (-1, 1):
        at = int(inside[0 if ahead < 0 else -1])
        for step in inside[STEP:-STEP][::ahead]:
            outside = slice(inside[0], step + 1) if ahead < 0 else slice(step, inside[-1] + 1)
            flat = abs(level[step] - level[step + ahead * STEP]) < FLAT_DB
            if level[step] < -INNER_DB and flat and level[outside].max() < level[step] + FLAT_DB:
                floor[slice(None, step + 1) if ahead < 0 else slice(step, None)] = level[step] - EDGE_DB
        while 0 <= at + ahead * STEP < len(level) and heard[at + ahead * STEP] and level[at] > -LOST_DB:
            if level[at] - level[at + ahead * STEP] < LEVEL_DB:
                beyond = slice(None, at + 1) if ahead < 0 else slice(at, None)
                floor[beyond] = min(float(level[at]), 0.0) - EDGE_DB
            at += ahead
    return _edges(level - floor, heard & (level >= floor), frequency)


def _edges(over: Real, inside: NDArray[np.bool_], frequency: Real) -> tuple[float, float]:
    """Outermost frequencies at which ``over`` (F,) crosses zero, in between the grid by its slope."""
    found = np.flatnonzero(inside)
    ends = []
    for at, beyond in ((int(found[0]), -1), (int(found[-1]), 1)):
        other = at + beyond
        if not 0 <= other < len(over) or over[other] >= 0.0:
            ends.append(float(frequency[at]))
            continue
        share = over[at] / (over[at] - over[other])
        ends.append(float(frequency[at] * (frequency[other] / frequency[at]) ** share))
    return ends[0], ends[1]
