"""Every combination of what the car can be, and which contacts each of them closes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from math import prod

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.electrical import StateVariable

__all__ = ["States", "words"]

Flags = NDArray[np.bool_]
Index = NDArray[np.intp]


@dataclass(frozen=True)
class States:
    """All combinations, the first state varying slowest. Without states there is one combination: the car as it is."""

    variables: tuple[StateVariable, ...]

    @cached_property
    def count(self) -> int:
        return prod(len(item.values) for item in self.variables)

    @cached_property
    def table(self) -> Index:
        """(count, variables) number of each variable's value."""
        rows = list(product(*(range(len(item.values)) for item in self.variables)))
        return np.array(rows, dtype=np.intp).reshape(self.count, len(self.variables))

    def assignment(self, row: int) -> dict[str, str]:
        """The values of one combination."""
        found, left = {}, row
        for item in reversed(self.variables):
            left, number = divmod(left, len(item.values))
            found[item.name] = item.values[number]
        return {item.name: found[item.name] for item in self.variables}

    def where(self, conditions: Mapping[str, str]) -> Flags:
        """(count,) combinations in which every entry holds."""
        holds = np.ones(self.count, dtype=np.bool_)
        for column, item in enumerate(self.variables):
            if item.name in conditions:
                holds &= self.table[:, column] == item.values.index(conditions[item.name])
        return holds

    def where_any(self, alternatives: Iterable[Mapping[str, str]]) -> Flags:
        """(count,) combinations in which any of the tables holds."""
        holds = np.zeros(self.count, dtype=np.bool_)
        for conditions in alternatives:
            holds |= self.where(conditions)
        return holds


def words(assignment: Mapping[str, str]) -> str:
    """``boot = open, key = off``; a car without states is as it is."""
    return ", ".join(f"{name} = {value}" for name, value in assignment.items()) or "always"
