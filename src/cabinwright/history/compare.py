"""Two builds, or two states of one, held against each other in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from cabinwright.build.document import Build
from cabinwright.history.design import Difference, design_differences
from cabinwright.history.figures import result_differences
from cabinwright.pipeline import Results

__all__ = ["Comparison", "compared"]


@dataclass(frozen=True, slots=True)
class Comparison:
    """What differs."""

    design: tuple[Difference, ...]  #: fields of the build
    result: tuple[Difference, ...]  #: figures and findings of the stages

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON types."""
        return {
            "design": [item.to_dict() for item in self.design],
            "result": [item.to_dict() for item in self.result],
        }


def compared(before: Build, after: Build, was: Results, now: Results) -> Comparison:
    """Everything that differs between two builds and what the stages gave for each."""
    return Comparison(design_differences(before, after), result_differences(was, now))
