"""A finished search, before anything is said about it."""

from __future__ import annotations

from dataclasses import dataclass

from cabinwright.stages.tuning.choices import Crossed, Sized
from cabinwright.stages.tuning.dips import Dip
from cabinwright.stages.tuning.prepare import Prepared
from cabinwright.stages.tuning.problem import Problem, State
from cabinwright.stages.tuning.settings import Settings

__all__ = ["Solved"]


@dataclass(frozen=True)
class Solved:
    """What was posed, what was chosen on the way, and the settings."""

    prepared: Prepared
    problem: Problem
    crossed: Crossed
    sized: Sized
    dips: list[Dip]
    state: State
    settings: Settings
