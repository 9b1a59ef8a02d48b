"""Voice coils joined in series and parallel: what an amplifier sees, and how power is shared.

Impedances are taken as resistances: nominal, or least. Kirchhoff's laws, nothing else.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

__all__ = ["Arrangement", "Joined", "Kind", "arrangements", "join"]

Kind = Literal["series", "parallel", "series-parallel"]


@dataclass(frozen=True, slots=True)
class Arrangement:
    """``strings`` side by side, each of ``per_string`` parts one after another, in the order they are listed."""

    strings: int
    per_string: int

    @property
    def kind(self) -> Kind | None:
        """Its name; ``None`` for one part alone."""
        if self.strings == 1:
            return "series" if self.per_string > 1 else None
        return "parallel" if self.per_string == 1 else "series-parallel"


@dataclass(frozen=True, slots=True)
class Joined:
    """Several parts as one."""

    ohm: float
    voltage_share: tuple[float, ...]  #: voltage over each part against the voltage over all
    power_share: tuple[float, ...]  #: power in each part against the whole; they add up to one


def arrangements(count: int) -> tuple[Arrangement, ...]:
    """Every way to join ``count`` parts as equal strings side by side: one for each divisor, series first."""
    if count < 1:
        raise ValueError(f"at least one part is wanted, got {count}")
    return tuple(Arrangement(strings, count // strings) for strings in range(1, count + 1) if count % strings == 0)


def join(parts_ohm: Sequence[float], arrangement: Arrangement) -> Joined:
    """Join parts [ohm], each > 0, in their order. Raises ``ValueError`` where their number does not fit."""
    many = arrangement.per_string
    if len(parts_ohm) != arrangement.strings * many:
        raise ValueError(f"{arrangement.strings} strings of {many} do not hold {len(parts_ohm)} parts")
    strings = [parts_ohm[start : start + many] for start in range(0, len(parts_ohm), many)]
    sums = [math.fsum(string) for string in strings]
    ohm = 1.0 / math.fsum(1.0 / each for each in sums)
    voltage = tuple(part / whole for string, whole in zip(strings, sums, strict=True) for part in string)
    power = tuple(share * share * ohm / part for share, part in zip(voltage, parts_ohm, strict=True))
    return Joined(ohm, voltage, power)
