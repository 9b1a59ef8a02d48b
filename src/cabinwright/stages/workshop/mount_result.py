"""What is known of a ring or pod before it is drawn: how it stands, its body, what stands against it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.solid import Mesh
from cabinwright.physics.wedge import Wedge

__all__ = ["MountResult"]

Real = NDArray[np.float64]
Point = tuple[float, float, float]


@dataclass(frozen=True)
class MountResult:
    """One ring or pod. Axes: z along the aim, x to where the body is thinnest, from where the axis meets the surface."""

    kind: str  #: ring or pod
    of: str  #: the place or speaker
    model: str
    surface: str
    body: Wedge
    mesh: Mesh
    origin_m: Point  #: where the axis meets the surface
    frame: Real  #: (3, 3): its x, y and z as columns, in the car's axes
    normal: Point  #: of the surface, into the cabin
    moved_m: float  #: how far along the aim the loudspeaker stands before its place
    screws: tuple[complex, ...]
    pilot_m: float
    pilot_deep_m: float
    parts: tuple[str, ...] = ()  #: names of the flat parts
    layers: int = 0
    stopped: tuple[str, ...] = ()

    @property
    def angle_deg(self) -> float:
        """Between the aim and the surface's normal."""
        return math.degrees(self.body.angle_rad)

    @property
    def aim(self) -> Point:
        """Unit vector along the axis."""
        x, y, z = (float(part) for part in self.frame[:, 2])
        return x, y, z

    @property
    def centre_m(self) -> Point:
        """Middle of the plane that the loudspeaker is screwed to."""
        x, y, z = (float(part) for part in np.asarray(self.origin_m) + self.body.height_m * self.frame[:, 2])
        return x, y, z

    @property
    def thick_way(self) -> Point:
        """Unit vector along the surface to where the body is thickest, in the car's axes."""
        cos, sin = math.cos(self.body.angle_rad), math.sin(self.body.angle_rad)
        x, y, z = (float(part) for part in -(cos * self.frame[:, 0] + sin * self.frame[:, 2]))
        return x, y, z

    @property
    def thick_words(self) -> str:
        """The same in words."""
        named = (("rear", "front"), ("right", "left"), ("top", "bottom"))
        said = [
            pair[0] if part > 0.0 else pair[1]
            for part, pair in zip(self.thick_way, named, strict=True)
            if abs(part) > 0.35
        ]
        return " and ".join(said)

    def to_dict(self, file: str | None) -> dict[str, Any]:
        """What ``plan.json`` holds of it; ``file`` is its solid, None where none is written."""
        return {
            "kind": self.kind,
            "of": self.of,
            "model": self.model,
            "surface": self.surface,
            "aim": self.aim,
            "normal": self.normal,
            "angle_deg": self.angle_deg,
            "thickest_towards": self.thick_way,
            "height_m": self.body.height_m,
            "least_m": self.body.least_m,
            "greatest_m": self.body.greatest_m,
            "outer_diameter_m": self.body.outer_m,
            "foot_diameter_m": self.body.foot_m,
            "bore_m": self.body.bore_m,
            "centre_m": self.centre_m,
            "moved_m": self.moved_m,
            "screws": len(self.screws),
            "layers": self.layers,
            "parts": list(self.parts),
            "solid": {"volume_m3": self.mesh.volume_m3, "open_edges": self.mesh.open_edges, "file": file},
            "refused": list(self.stopped),
        }
