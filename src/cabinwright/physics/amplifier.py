"""How far an amplifier's output swings before it clips, between and beyond the loads for which its maker states a power.

Model: behind its output stands a source with a resistance (rails that sag, devices that saturate), V = E R / (R + Rs), so
that 1/V is a straight line over 1/R between two stated loads. Above the highest stated load, and with none at all, the
voltage is held: it reaches at least that far. Below the lowest the line of the last two goes on, which is a guess; with
one stated load the voltage is held there too. An unregulated supply lets the voltage follow the supply's, so that power
goes as its square.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

__all__ = ["OutputStage", "music_share"]


@dataclass(frozen=True)
class OutputStage:
    """One output, or a bridged pair of outputs seen from between its terminals."""

    ratings: tuple[tuple[float, float], ...]  #: load [ohm] and power [W] before clipping, at ``rated_v``
    rated_v: float
    regulated: bool

    def __post_init__(self) -> None:
        if not self.ratings:
            raise ValueError("an output stage needs one stated power or more")
        object.__setattr__(self, "ratings", tuple(sorted(self.ratings)))

    @property
    def lowest_ohm(self) -> float:
        """Lowest load with a stated power."""
        return self.ratings[0][0]

    def clip_v(self, *, load_ohm: float | None, supply_v: float) -> float:
        """Voltage [V rms of a sine] at which it clips into a load; ``None``: into none. ``supply_v`` at its own terminals."""
        scale = 1.0 if self.regulated else supply_v / self.rated_v
        return scale / self._inverse_v(0.0 if load_ohm is None else 1.0 / load_ohm)

    def power_w(self, *, load_ohm: float, supply_v: float) -> float:
        """Sine power [W] into a load when it clips."""
        return self.clip_v(load_ohm=load_ohm, supply_v=supply_v) ** 2 / load_ohm

    def bridged(self) -> OutputStage:
        """Two such outputs driven against each other: twice the voltage, each sees half the load."""
        return OutputStage(tuple((2.0 * ohm, 2.0 * power) for ohm, power in self.ratings), self.rated_v, self.regulated)

    def _inverse_v(self, siemens: float) -> float:
        """1/V at rated supply against 1/R."""
        points = [(1.0 / ohm, 1.0 / math.sqrt(power * ohm)) for ohm, power in reversed(self.ratings)]
        if siemens <= points[0][0] or len(points) == 1:
            return points[0][1]
        pairs = list(pairwise(points))
        (x0, y0), (x1, y1) = next((pair for pair in pairs if siemens <= pair[1][0]), pairs[-1])
        slope = (y1 - y0) / (x1 - x0)
        if siemens > x1:
            return y1 + max(slope, 0.0) * (siemens - x1)
        return y0 + slope * (siemens - x0)


def music_share(crest_db: float) -> float:
    """Mean power of music whose peaks just clip, against the power of a sine that just clips.

    A sine's peak is 3.01 dB over its mean power, that of music ``crest_db``.
    """
    if crest_db < 0.0:
        raise ValueError(f"a crest factor is at least 0 dB, got {crest_db:g}")
    return float(2.0 * 10.0 ** (-crest_db / 10.0))
