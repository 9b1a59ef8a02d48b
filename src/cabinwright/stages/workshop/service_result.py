"""What is known of floors, fixings and masses. ``docs/workshop.md`` and ``docs/plan.md`` explain the keys."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from shapely import Polygon

from cabinwright.physics.plate_bending import Bent, Support

__all__ = ["FixingResult", "FloorCase", "FloorResult", "MassResult", "MassRow"]

Point = tuple[float, float, float]


@dataclass(frozen=True)
class FloorCase:
    """A floor under one of its loads and its own weight."""

    mass_kg: float
    bent: Bent
    limit_m: float  #: it may sag so far
    strength_pa: float
    allowed_pa: float  #: for years

    def to_dict(self) -> dict[str, Any]:
        """The keys of ``plan.json``."""
        return {
            "mass_kg": self.mass_kg,
            "deflection_m": self.bent.most_m,
            "deflection_at_m": self.bent.most_at_m,
            "deflection_limit_m": self.limit_m,
            "stress_pa": self.bent.most_pa,
            "allowed_pa": self.allowed_pa,
            "strength_pa": self.strength_pa,
        }


@dataclass(frozen=True)
class FloorResult:
    """A false floor."""

    panel: str
    part: str  #: the one that carries
    material: str
    thickness_m: float
    outline: Polygon
    supports: tuple[Support, ...]
    edge: bool
    way: str  #: series or finite elements
    mass_kg: float  #: all its layers
    cases: dict[str, FloorCase]
    how: str
    lift_n: float
    opens_deg: float | None

    def to_dict(self) -> dict[str, Any]:
        """The keys of ``plan.json``."""
        return {
            "panel": self.panel,
            "part": self.part,
            "material": self.material,
            "thickness_m": self.thickness_m,
            "mass_kg": self.mass_kg,
            "way": self.way,
            "loads": {name: case.to_dict() for name, case in self.cases.items()},
            "how": self.how,
            "lift_n": self.lift_n,
            "opens_deg": self.opens_deg,
        }


@dataclass(frozen=True)
class MassRow:
    """Something the build adds to the car, or takes out of it (negative)."""

    name: str
    kind: str
    mass_kg: float | None  #: None where it is not known
    at_m: Point | None

    def to_dict(self) -> dict[str, Any]:
        """The keys of ``plan.json``."""
        return {"name": self.name, "kind": self.kind, "mass_kg": self.mass_kg, "at_m": self.at_m}


@dataclass(frozen=True)
class MassResult:
    """All that is added, and what that does to payload and axles."""

    rows: tuple[MassRow, ...]
    added_kg: float
    located_kg: float  #: of rows whose place is known
    centre_m: Point | None  #: of those; None where they come to nothing
    unknown: tuple[str, ...]  #: parts whose mass is not known
    payload_kg: float | None  #: what the papers allow
    left_kg: float | None  #: of it, after the build, people and luggage
    front_kg: float | None  #: of the located masses, on each axle; None where the axles are not known
    rear_kg: float | None

    def to_dict(self) -> dict[str, Any]:
        """The keys of ``plan.json``."""
        return {
            "rows": [row.to_dict() for row in self.rows],
            "added_kg": self.added_kg,
            "located_kg": self.located_kg,
            "centre_m": self.centre_m,
            "unknown": list(self.unknown),
            "payload_kg": self.payload_kg,
            "left_kg": self.left_kg,
            "front_axle_kg": self.front_kg,
            "rear_axle_kg": self.rear_kg,
        }


@dataclass(frozen=True)
class FixingResult:
    """What holds one thing in a crash."""

    holds: tuple[str, ...]
    kind: str
    mass_kg: float
    forces_n: dict[str, float]  #: by way: forwards, rearwards, left, right, up
    size: str | None  #: None where nothing up to M12 in class and count would bear it, or where bolts are not used
    property_class: str
    spots: tuple[tuple[float, float], ...]
    worst: str | None  #: the way that asks most
    shear_n: float | None  #: of the worst bolt then
    tension_n: float | None
    used_share: float | None  #: of what it stands
    check: str | None  #: the check that asks most
    choices: dict[str, int | None]  #: by thread, the least even count that bears it, None: none up to 12

    def to_dict(self) -> dict[str, Any]:
        """The keys of ``plan.json``."""
        return {
            "holds": list(self.holds),
            "kind": self.kind,
            "mass_kg": self.mass_kg,
            "forces_n": self.forces_n,
            "size": self.size,
            "property_class": self.property_class,
            "count": len(self.spots),
            "at_m": [list(spot) for spot in self.spots],
            "worst": self.worst,
            "shear_n": self.shear_n,
            "tension_n": self.tension_n,
            "used_share": self.used_share,
            "check": self.check,
            "choices": self.choices,
        }
