"""The textbook method with a tape alone, as the tune's "before": usual crossovers, delays from distances, levels from bands."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from cabinwright.stages.tuning.prepare import Prepared
from cabinwright.stages.tuning.problem import Problem, State
from cabinwright.stages.tuning.rounding import to_settings
from cabinwright.stages.tuning.settings import Settings
from cabinwright.stages.tuning.start import first_gains, plain_layout

__all__ = ["tape_settings"]


def tape_settings(prepared: Prepared) -> Settings:
    """Settings by tape: no filters but the crossovers, all polarities normal, no delay where no place is stated."""
    problem: Problem = prepared.problem
    crossovers = [
        item if item.kind_kept else replace(item, family="Linkwitz-Riley", slope_db_per_octave=24)
        for item in prepared.crossovers
    ]
    layout, vector = plain_layout(problem, crossovers, np.ones(len(problem.channels)))
    vector[: layout.channels] = first_gains(problem, layout, vector)
    travel = prepared.head_distance_m / prepared.sound_speed_m_s
    longest = np.nanmax(travel) if np.isfinite(travel).any() else 0.0
    delay_s = np.where(np.isfinite(travel), longest - travel, 0.0)
    # The vector holds delays beyond alignment; undo the alignment that measured arrivals would give.
    vector[layout.at_delay : layout.at_edge] = (delay_s + problem.arrivals.at_head_s) * 1000.0
    return to_settings(problem, State(layout, vector))
