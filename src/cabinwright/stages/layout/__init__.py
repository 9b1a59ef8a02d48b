"""Comparing places where a speaker could go, before anything is cut."""

from cabinwright.stages.layout.result import LayoutResult
from cabinwright.stages.layout.room import listening_seat
from cabinwright.stages.layout.study import Study, run

__all__ = ["LayoutResult", "Study", "listening_seat", "run"]
