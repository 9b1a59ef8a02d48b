"""What the power stage gives. Currents in A, voltages in V; what is called average is for music, all else at full level."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cabinwright.findings import Finding
from cabinwright.stages.power.promises import PromiseResult
from cabinwright.stages.power.states import States

__all__ = ["FaultResult", "FuseResult", "LoadResult", "PowerResult", "WireResult"]

Assignment = dict[str, str]


@dataclass(frozen=True)
class WireResult:
    """One wire, in its own worst state."""

    from_: str
    to: str
    gauge: str
    area_mm2: float
    material: str
    length_m: float
    resistance_ohm: float  #: by nominal area, at the build's conductor temperature
    resistance_max_ohm: float | None  #: what IEC 60228 allows at most, where that is more; at the same temperature
    resistance_hot_ohm: float  #: with the conductor as hot as its insulation stands
    current_a: float
    drop_v: float
    state: Assignment
    average_a: float
    average_drop_v: float
    ampacity_a: float  #: by the cited table, with bundle and surroundings
    free_air_a: float  #: by heat balance, alone in still air
    sized: bool  #: whether the size is ours
    decided_by: str  #: the limit that decided it; empty where the build states the size
    fuse: str | None  #: the one that has to protect it
    short_a: float | None  #: least current into a short at its far end; None where no state feeds it


@dataclass(frozen=True)
class FuseResult:
    """One fuse."""

    rating_a: float
    chosen: bool  #: whether the rating is ours
    load_a: float
    average_a: float
    state: Assignment
    prospective_a: float | None  #: greatest current it may have to break; None without a battery's resistance
    breaking_a: float | None
    clears: bool  #: whether it opens before any wire it protects is harmed, by a short or by a lasting overload
    protects: tuple[str, ...]
    spoils: tuple[str, ...]  #: wires among these that are harmed first
    slowest_s: float | None  #: longest time to open; None where it never must, or protects nothing
    after: tuple[str, ...]  #: fuses upstream
    selective: bool | None  #: opens before all of those in any short; None where there is none


@dataclass(frozen=True)
class LoadResult:
    """One load, in its own worst state: the least voltage while on."""

    voltage_v: float | None  #: None where it is never on
    current_a: float
    average_v: float | None
    average_a: float
    feed_drop_v: float | None  #: from the battery's plus, at average draw
    return_drop_v: float | None
    strip_drop_v: float | None  #: from where a strip of lights is fed to its dimmest place; None where it is no strip
    state: Assignment | None
    on: NDArray[np.bool_]  #: (combinations,)
    by_voltage_v: NDArray[np.float64]  #: (combinations,)


@dataclass(frozen=True)
class FaultResult:
    """One thing gone wrong, over all states."""

    kind: str  #: ``stuck open``, ``stuck closed``, ``blown``, ``ground lost``, ``chafed``
    element: str  #: kind and name
    breaks: tuple[PromiseResult, ...] = ()  #: promises that held before
    lights: tuple[str, ...] = ()  #: loads that come on where they should not
    dark: tuple[str, ...] = ()  #: loads that fail where they should be on
    stays_live: tuple[str, ...] = ()  #: nodes beyond the opened contact that still reach a plus
    through_shield: tuple[str, ...] = ()  #: loads whose current then comes home through a signal cable's shield
    current_a: float | None = None  #: least short-circuit current
    fuse: str | None = None
    clears_s: float | None = None  #: longest time until that fuse opens; None: never
    stands_s: float | None = None  #: how long the wire stands it
    clears: bool | None = None


@dataclass(frozen=True)
class PowerResult:
    """The electrical system in every combination of states."""

    states: States
    conductor_c: float
    wires: dict[str, WireResult]
    fuses: dict[str, FuseResult]
    loads: dict[str, LoadResult]
    promises: tuple[PromiseResult, ...]
    faults: tuple[FaultResult, ...]
    budget: dict[str, Any]
    assumptions: tuple[str, ...]
    findings: tuple[Finding, ...] = field(default=())

    def to_dict(self) -> dict[str, Any]:
        """The keys of ``plan.json``; see ``docs/plan.md``."""
        return {
            "combinations": self.states.count,
            "conductor_c": self.conductor_c,
            "wires": {name: _plain(item) for name, item in self.wires.items()},
            "fuses": {name: _plain(item) for name, item in self.fuses.items()},
            "loads": {name: self._load(item) for name, item in self.loads.items()},
            "promises": [_plain(item) for item in self.promises],
            "faults": [_plain(item) for item in self.faults],
            "budget": self.budget,
            "assumptions": list(self.assumptions),
            "findings": [item.to_dict() for item in self.findings],
        }

    def _load(self, item: LoadResult) -> dict[str, Any]:
        row = {key: value for key, value in _pairs(item) if key not in ("on", "by_voltage_v")}
        return row | {
            "by_state": [
                {
                    "state": self.states.assignment(number),
                    "on": bool(on),
                    "voltage_v": float(volts),
                    "current_a": item.current_a if on else 0.0,
                }
                for number, (on, volts) in enumerate(zip(item.on, item.by_voltage_v, strict=True))
            ]
        }


def _pairs(item: Any) -> Iterator[tuple[str, Any]]:
    for entry in fields(item):
        yield entry.name.rstrip("_"), getattr(item, entry.name)


def _plain(item: Any) -> dict[str, Any]:
    return {
        key: [_plain(row) if isinstance(row, PromiseResult) else row for row in value]
        if isinstance(value, tuple)
        else value
        for key, value in _pairs(item)
    }
