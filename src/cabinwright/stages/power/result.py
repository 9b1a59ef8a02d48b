"""What the power stage gives. Currents in A, voltages in V; what is called average is for music, all else at full level."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, fields, is_dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cabinwright.findings import Finding
from cabinwright.stages.power.promises import PromiseResult
from cabinwright.stages.power.states import States

__all__ = [
    "CableResult",
    "ContactResult",
    "DriverResult",
    "FaultResult",
    "FuseResult",
    "HeardResult",
    "HumResult",
    "InrushResult",
    "LightResult",
    "LoadResult",
    "PowerResult",
    "ReturnResult",
    "WireResult",
]

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
    limits: dict[str, str]  #: smallest size that each limit alone would allow; empty where the build states the size
    assumes: str  #: what its figures stand on
    fuse: str | None  #: the one that has to protect it
    held_by: str | None  #: the one that keeps an overload from it: the same, or the largest behind where none is before
    short_a: float | None  #: least current into a short at its far end; None where no state feeds it


@dataclass(frozen=True)
class FuseResult:
    """One fuse."""

    rating_a: float
    chosen: bool  #: whether the rating is ours
    decided_by: str  #: the limit that decided it; empty where the build states the rating
    assumes: str  #: what its figures stand on
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
    inrush_a: float | None  #: greatest current when everything behind it comes on; None where no load has an inrush
    inrush_a2s: float | None
    inrush_by: tuple[str, ...]  #: loads whose inrush goes through it
    melting_a2s: float  #: stated, or the least that the gates let pass
    stands_inrush: bool | None


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
class InrushResult:
    """What one load takes when its feed comes on, in the state where that is most."""

    peak_a: float  #: an upper bound: wires' inductance lowers it
    i2t_a2s: float
    duration_s: float  #: of a rectangle with both
    energy_j: float | None  #: left in its capacitors; None where it has none
    precharge_ohm: float | None  #: resistor that charges them without any fuse minding
    precharge_s: float | None  #: and how long it takes
    state: Assignment | None


@dataclass(frozen=True)
class ContactResult:
    """One switch, relay or isolator."""

    kind: str
    name: str
    rating_a: float | None
    making_a: float | None
    load_a: float
    average_a: float
    state: Assignment
    inrush_a: float | None  #: None where no load behind it has one
    inrush_by: tuple[str, ...]
    fits: bool | None  #: None where the build states no rating


@dataclass(frozen=True)
class ReturnResult:
    """One way of currents into the chassis."""

    through: tuple[
        str, ...
    ]  #: wires and contacts that join it to the chassis; empty where loads are written straight to it
    loads: tuple[str, ...]
    average_v: float | None  #: most that a load's minus is lifted above the chassis
    peak_v: float | None


@dataclass(frozen=True)
class DriverResult:
    """What feeds lamps."""

    kind: str
    strings: int
    string_a: float
    string_v: float
    strings_w: float  #: into all of them
    lost_w: float  #: turned into heat in the driver or in the resistors
    resistor_ohm: float | None  #: in each string
    string_most_a: float | None  #: behind a resistor, with the greatest voltage; None elsewhere: the driver keeps it
    needs_v: float  #: least voltage that it works with; 0 where it steps up
    starves: bool  #: whether some state leaves it too little voltage
    overruns: bool  #: whether some state gives it more than its output, so that it keeps nothing


@dataclass(frozen=True)
class LightResult:
    """Lamps. Voltages are at the load, over all states in which it is on."""

    driver: DriverResult | None
    runs: int
    run_a: float
    strip_drop_v: float | None
    dimmed_share: float
    dimmer_hz: float | None
    average_a: float
    least_v: float | None  #: at full level, with the engine off
    most_v: float | None
    fuse: str | None
    interlock: tuple[str, ...]  #: contacts that put it out, each on its own
    promises: tuple[str, ...]
    law: str


@dataclass(frozen=True)
class HeardResult:
    """What one signal cable hears of one disturber, in its own worst state. Amplitudes; levels against the signal's."""

    disturber: str
    frequency_hz: float
    wire_a: float  #: in the wire beside it
    grounds_v: float  #: between the two grounds, or along the shield that joins them
    induced_v: float  #: in the loop of shield and body
    by_grounds_db: float
    by_loop_db: float
    by_pair_db: float
    level_db: float  #: the three added as if in phase
    state: Assignment


@dataclass(frozen=True)
class HumResult:
    """Several disturbers together, as power, in their worst state; and what would help."""

    level_db: float
    target_db: float
    disturber: str | None  #: the loudest; None where there is none
    mostly: str | None  #: what it comes by: ``grounds``, ``loop`` or ``pair``
    separate_m: float | None  #: distance from the wire that reaches the target; None where none up to a metre does
    one_point_db: float  #: with the grounds of both devices at one point
    floating_db: float  #: with a receiver that takes the difference, or floats


@dataclass(frozen=True)
class CableResult:
    """One signal cable: an estimate by textbook coupling, not a measurement."""

    from_: str
    to: str
    beside: str | None
    together_m: float
    spacing_m: float
    loop: bool  #: whether shield and grounds close a loop
    loop_area_m2: float  #: of shield and body
    mutual_h: float  #: of the wire with that loop
    shield_ohm: float
    grounds_ohm: (
        float | None
    )  #: between the two grounds without the shield; None where nothing joins them in some state
    grounds_average_v: float  #: direct voltage between them for music
    grounds_peak_v: float  #: and at full level
    heard: tuple[HeardResult, ...]
    hum: HumResult  #: by what sounds without music: alternator and dimmers
    bass: HumResult  #: by the amplifiers' own swing, which the music that makes it also covers
    approximate: bool = True


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
    contacts: tuple[ContactResult, ...]
    inrush: dict[str, InrushResult]
    lighting: dict[str, LightResult]
    grounds: tuple[ReturnResult, ...]
    signal_cables: dict[str, CableResult]
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]
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
            "contacts": [_plain(item) for item in self.contacts],
            "inrush": {name: _plain(item) for name, item in self.inrush.items()},
            "lighting": {name: _plain(item) for name, item in self.lighting.items()},
            "grounds": [_plain(item) for item in self.grounds],
            "signal_cables": {name: _plain(item) for name, item in self.signal_cables.items()},
            "assumptions": list(self.assumptions),
            "cautions": list(self.cautions),
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
        key: [_plain(row) if is_dataclass(row) else row for row in value] if isinstance(value, tuple) else value
        for key, value in _pairs(item)
    }
