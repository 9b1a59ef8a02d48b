"""Levels by third octave: measured, predicted, and how far they may differ."""

from __future__ import annotations

import numpy as np

from cabinwright.build.document import Build
from cabinwright.physics.air import speed_of_sound_m_s
from cabinwright.stages.tuning.sides import sounding_channels
from cabinwright.stages.tuning.verify.bench import Array, Bench
from cabinwright.stages.tuning.verify.fitting import Fitter
from cabinwright.stages.tuning.verify.repeatability import LEVEL_LIMIT_DB, REPLACED_USUALLY_M
from cabinwright.stages.tuning.verify.result import Comparison
from cabinwright.stages.tuning.verify.search import Story

__all__ = ["comparisons", "tolerances_db"]

HEARD = 10.0  #: power over noise below which a band's level says nothing


def tolerances_db(bench: Bench) -> Array:
    """How far spatially averaged levels may differ, ``(recordings, bands)``; NaN where noise hides the level.

    Three parts, added as powers: a careful repeat; the microphone put back (phase ``k d`` against fields that mix);
    noise (relative standard deviation of the power of so many bins).
    """
    wave = 2.0 * np.pi * bench.band_centres_hz / speed_of_sound_m_s()
    positions = bench.usable.sum(axis=1)[:, None]
    here = bench.usable[..., None]
    loudest = np.maximum(np.abs(bench.measured) ** 2, np.abs(bench.predict(bench.start)) ** 2)
    power = bench.band_sum((loudest * here).sum(axis=1))
    noise = bench.band_sum((bench.noise * here).sum(axis=1))
    moved = 8.7 * np.minimum(wave * REPLACED_USUALLY_M, 0.7) / np.sqrt(positions)
    relative = noise / np.maximum(power, 1e-300)
    noisy = 2.0 * 4.34 * (relative + 2.0 * np.sqrt(2.0 * relative / np.maximum(bench.sizes, 1.0) / positions))
    total = np.sqrt(LEVEL_LIMIT_DB**2 + moved**2 + noisy**2)
    tolerance: Array = np.where(relative * HEARD < 1.0, total, np.nan)
    return tolerance


def comparisons(build: Build, bench: Bench, fitter: Fitter, best: Story) -> tuple[Comparison, ...]:
    """Every recording against its prediction, on all bins of ``bench``, moved by the level of the best story."""
    level = best.fit.level
    measured = bench.band_sum(np.abs(bench.measured) ** 2) / level**2
    should = bench.band_sum(np.abs(bench.predict(bench.start)) ** 2)
    thin = fitter.bench
    seems_thin = thin.band_sum(np.abs(thin.predict(best.state)) ** 2)
    should_thin = thin.band_sum(np.abs(thin.predict(thin.start)) ** 2)
    tolerance = tolerances_db(bench)
    rows = []
    for index, name in enumerate(bench.names):
        here = bench.usable[index]
        average = should[index, here].mean(axis=0)
        ratio = seems_thin[index, here].sum(axis=0) / np.maximum(should_thin[index, here].sum(axis=0), 1e-300)
        rows.append(
            Comparison(
                name=name,
                channels=sounding_channels(build, name),
                positions=tuple(bench.positions[place] for place in np.flatnonzero(here)),
                measured_db=_db(measured[index, here].mean(axis=0)),
                predicted_db=_db(average),
                explained_db=_db(average * ratio),
                tolerance_db=tolerance[index],
                measured_positions_db=_db(measured[index, here]),
                predicted_positions_db=_db(should[index, here]),
            )
        )
    return tuple(rows)


def _db(power: Array) -> Array:
    level: Array = 10.0 * np.log10(np.maximum(power, 1e-30))
    return level
