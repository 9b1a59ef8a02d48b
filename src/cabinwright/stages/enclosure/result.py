"""What the enclosure stage hands over. ``docs/enclosure.md`` and ``docs/plan.md`` explain the keys."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cabinwright.findings import Finding
from cabinwright.physics.driver import Driver
from cabinwright.stages.enclosure.shape_result import ShapeResult

__all__ = [
    "Alternative",
    "BoxResult",
    "Curves",
    "EnclosureResult",
    "InCar",
    "ModelResult",
    "PortResult",
    "RadiatorSet",
    "Search",
]

Real = NDArray[np.float64]


@dataclass(frozen=True)
class ModelResult:
    """One drive unit: its figures, complete, and where they come from."""

    driver: Driver
    used: tuple[str, ...]  #: stated figures that the others follow from
    fitted: dict[str, dict[str, float]] | None  #: figure: value, error_share; None without a sweep
    misfit: float | None = None

    def to_dict(self) -> dict[str, Any]:
        """All figures, whether they were stated or follow."""
        names = ("fs_hz", "qes", "qms", "qts", "vas_m3", "mms_kg", "cms_m_per_n", "rms_kg_s", "bl_t_m", "re_ohm")
        figures = {name: float(getattr(self.driver, name)) for name in (*names, "le_h", "sd_m2")}
        return {**figures, "used": list(self.used), "fitted": self.fitted, "misfit": self.misfit}


@dataclass(frozen=True)
class Curves:
    """Everything that depends on frequency, each of shape (f,). Peaks are peaks of a sine, not rms."""

    frequency_hz: Real
    level_db: Real  #: at 1 m in half space at the stated power
    excursion_m: Real  #: peak, of one cone
    port_velocity_m_s: Real  #: peak, in the port or of the radiator's cone; zeros where there is none
    impedance_ohm: Real
    impedance_phase_deg: Real
    group_delay_s: Real
    radiator_excursion_m: Real | None = None


@dataclass(frozen=True)
class PortResult:
    """The port, as built."""

    diameter_m: float | None
    width_m: float | None
    height_m: float | None
    count: int
    length_m: float
    end_correction_m: float
    area_m2: float  #: of all of them
    volume_m3: float  #: air in all of them, which the box does not have
    peak_velocity_m_s: float  #: at the stated power, from 20 Hz up
    peak_velocity_hz: float
    limit_m_s: float
    pipe_resonance_hz: float
    bends: int
    bends_wanted: int  #: right-angle bends that let it lie in a box as long as it is high
    chosen: bool  #: True: nobody stated a shape
    flare_radius_m: float = 0.0  #: its rims are rounded with


@dataclass(frozen=True)
class InCar:
    """The level at the listener, by the cabin's modes as the comparison of places has them."""

    place: str
    seat: str
    frequency_hz: Real
    level_db: Real
    gain_db: Real


@dataclass(frozen=True)
class RadiatorSet:
    """Like passive radiators of one alignment; figures of one of them."""

    count: int
    sd_m2: float
    cms_m_per_n: float
    qms: float | None
    mms_kg: float  #: with what was added
    added_mass_kg: float


@dataclass(frozen=True)
class Alternative:
    """One alignment of the search."""

    kind: str
    volume_m3: float
    tuning_hz: float | None
    f3_hz: float
    level_db: float  #: lowest of the highest level from 25 to 80 Hz
    group_delay_s: float  #: longest from 20 to 100 Hz
    peak_db: float  #: highest above the passband
    spread_db: float  #: 90 % of drive units as they come lie within so much of the drawn curve, 20 to 100 Hz
    port_diameter_m: float | None
    port_length_m: float | None
    radiator: RadiatorSet | None
    score: float  #: 0 to 1, higher is better


@dataclass(frozen=True)
class Search:
    """What was searched and what bounds it: no listed alignment is beaten in everything by another."""

    tried: int
    fitting: int
    room_m3: float
    weights: dict[str, float]
    front: dict[str, Real]  #: columns of the alignments that none beats in everything


@dataclass(frozen=True)
class BoxResult:
    """One box."""

    kind: str
    model: str
    speakers: tuple[str, ...]
    wiring: str
    net_volume_m3: float | None
    system_resonance_hz: float
    q_tc: float | None
    f3_hz: float | None
    tuning_hz: float | None
    power_w: float
    voltage_v: float
    curves: Curves
    max_level_db: Real  #: (f,) held back by power, excursion and the radiator's excursion
    limits_db: dict[str, Real]  #: thermal, excursion, radiator, port: level at which each is reached
    passband_db: float
    linear_power_w: float | None  #: most power for which the cone stays within xmax from 20 Hz up
    minimum_impedance_ohm: float
    port: PortResult | None = None
    in_car: InCar | None = None
    alternatives: tuple[Alternative, ...] = ()
    search: Search | None = None
    shape: ShapeResult | None = None

    def to_dict(self) -> dict[str, Any]:
        """The keys of ``plan.json``."""
        row = _plain(self, skip=("curves", "limits_db", "port", "shape"))
        return {
            **row,
            "port_length_m": None if self.port is None else self.port.length_m,
            "port": None if self.port is None else _plain(self.port),
            "response": _plain(self.curves),
            "limits_db": dict(self.limits_db),
            "in_car": None if self.in_car is None else _plain(self.in_car),
            "alternatives": [
                {**_plain(item), "radiator": None if item.radiator is None else _plain(item.radiator)}
                for item in self.alternatives
            ],
            "search": None if self.search is None else _plain(self.search),
            "shape": None if self.shape is None else self.shape.to_dict(),
            "conditions": CONDITIONS,
        }


CONDITIONS = "half space at 1 m, free of the cabin, linear; sqrt(power_w × re_ohm) volts rms; air at 20 °C, 101 325 Pa"


@dataclass(frozen=True)
class EnclosureResult:
    """Every box that could be computed."""

    boxes: dict[str, BoxResult]
    models: dict[str, ModelResult]
    assumptions: tuple[str, ...]
    findings: tuple[Finding, ...] = field(default=())

    def to_dict(self) -> dict[str, Any]:
        """The keys of ``plan.json``."""
        return {
            "boxes": {name: item.to_dict() for name, item in self.boxes.items()},
            "models": {name: item.to_dict() for name, item in self.models.items()},
            "assumptions": list(self.assumptions),
            "findings": [item.to_dict() for item in self.findings],
        }


def _plain(item: Any, skip: tuple[str, ...] = ()) -> dict[str, Any]:
    rows: Mapping[str, Any] = {name: getattr(item, name) for name in item.__dataclass_fields__ if name not in skip}
    return {key: list(value) if isinstance(value, tuple) else value for key, value in rows.items()}
