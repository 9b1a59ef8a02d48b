"""The tables of a cabin and of places where a speaker could go. No physics, no disk."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from cabinwright.build.base import Hertz, Model, Sigma, require
from cabinwright.build.fields import Direction, Name, Number, OrName, Quantity, RelativePath, Role, Side, Spot

__all__ = [
    "AIRBAGS",
    "MATERIALS",
    "Cabin",
    "KeepOut",
    "LayoutWishes",
    "Material",
    "Pillar",
    "Place",
    "Surface",
    "Weights",
]

MATERIALS = ("glass", "carpet", "leather", "cloth seat", "headliner", "plastic", "trim", "metal", "wood")
"""Words that a surface's material may be without a [[cabin.materials]] of its own."""

AIRBAGS = ("airbag", "airbag path")
"""Kinds of volume in whose way nobody may allow anything."""
Spots = Annotated[tuple[Spot, ...], Field(strict=False, min_length=3, max_length=64)]
Corners = Annotated[tuple[Spot, ...], Field(strict=False, min_length=4, max_length=64)]
Share = Annotated[Number, Field(ge=0.0, le=1.0)]
Weight = Annotated[Number, Field(ge=0.0, le=100.0)]


class Surface(Model):
    """One flat piece of the cabin's inside. A curved pane is several of them."""

    name: Name
    """What results call this surface."""
    material: Name = "trim"
    """`glass`, `carpet`, `leather`, `cloth seat`, `headliner`, `plastic`, `trim`, `metal`, `wood`, or a [[cabin.materials]]."""
    corners_m: Spots
    """Three corners or more, around the edge in either direction: points or names of surveyed points."""


class Material(Model):
    """A material of your own: how much sound it absorbs."""

    name: Name
    """What surfaces call this material."""
    absorption: Annotated[
        tuple[Annotated[tuple[Hertz, Share], Field(strict=False)], ...],
        Field(strict=False, min_length=1, max_length=30),
    ]
    """Pairs of octave band centre and absorption coefficient (0 to 1) in rising order of frequency."""
    source: Name | None = None
    """Where the figures come from."""

    @model_validator(mode="after")
    def _rising(self) -> Self:
        rises = all(a[0] < b[0] for a, b in pairwise(self.absorption))
        require(rises, "absorption", "absorption frequencies must rise from pair to pair")
        return self


class KeepOut(Model):
    """A volume that nothing may enter: the hull around its corners."""

    name: Name
    """What findings call it."""
    kind: Literal["airbag", "airbag path", "pedals", "knees", "window travel", "seat travel", "other"]
    """What it is kept free for. Nothing in an airbag's way can be waived."""
    corners_m: Corners
    """Four corners or more of the volume, in any order: points or names of surveyed points."""


class Pillar(Model):
    """A roof pillar that the driver looks past: the hull around its corners."""

    name: Name
    """What places and findings call it."""
    side: Literal["left", "right"]
    """The side of the car it stands on."""
    corners_m: Corners
    """Four corners or more of the pillar with its trim, in any order: points or names of surveyed points."""


class Cabin(Model):
    """The inside of the car as flat surfaces, and what must stay free."""

    temperature_c: Annotated[Number, Field(ge=-40.0, le=70.0)] = 20.0
    """Temperature of the air in degrees Celsius; the speed of sound follows from it."""
    surfaces: Annotated[tuple[Surface, ...], Field(strict=False, max_length=200)] = ()
    """Surfaces, one table each; a shell may be closed or open."""
    materials: Annotated[tuple[Material, ...], Field(strict=False, max_length=50)] = ()
    """Materials beside the built-in ones, one table each."""
    keep_outs: Annotated[tuple[KeepOut, ...], Field(strict=False, max_length=100)] = ()
    """Volumes to keep free, one table each."""
    pillars: Annotated[tuple[Pillar, ...], Field(strict=False, max_length=8)] = ()
    """Roof pillars that the driver looks past, one table each."""


class Place(Model):
    """A place where a speaker could go."""

    name: Name
    """What results call this place."""
    role: Role
    """What a speaker there would be for."""
    side: Side
    """The side of the car it would play for."""
    position_m: Spot
    """Centre of the cone: x, y, z, or a surveyed point's name."""
    aim: Annotated[Direction | str, OrName("seat")] | None = None
    """Direction its axis would point to as x, y, z parts of any length, or a seat's name: aim there.

    Absent: at the nearest head.
    """
    aim_limit_deg: Annotated[float, Quantity("deg", ge=0.0, le=90.0)] | None = None
    """How far the speaker can be turned from the panel's normal; absent: the aim is as given."""
    normal: Direction | None = None
    """Direction the panel faces; absent: the surface it lies on, else the aim."""
    radius_m: Annotated[float, Quantity("m", gt=0.0, le=0.5)] | None = None
    """Effective radius of the cone; absent: usual for the role, common practice."""
    polar: RelativePath | None = None
    """Measured level off axis in place of a piston's, plain text: angle in degrees, frequency in Hz, level in dB on each line."""
    depth_m: Annotated[float, Quantity("m", ge=0.0, le=2.0)] | None = None
    """Room behind the panel."""
    volume_m3: Annotated[float, Quantity("m3", ge=0.0, le=2.0)] | None = None
    """Air volume there is behind the cone."""
    cut: Name | None = None
    """What must be cut for it; absent: nothing."""
    reversible: bool | None = None
    """Whether the car can be put back as it was."""
    cost: Annotated[Number, Field(ge=0.0, le=1e7)] | None = None
    """What it costs in parts and hours, in the shop's currency."""
    looks: Annotated[int, Field(ge=1, le=5)] | None = None
    """How it looks, from 1 (an afterthought) to 5 (as if the car's maker had drawn it)."""
    pillar: Name | None = None
    """The [[cabin.pillars]] that a pod here would widen."""
    pod_radius_m: Annotated[float, Quantity("m", gt=0.0, le=0.5)] | None = None
    """Radius of the pod around the cone; absent: the cone's radius and 15 mm."""
    position_sigma_m: Sigma = 0.005
    """How exactly it will be mounted, one standard deviation along each axis."""
    aim_sigma_deg: Annotated[float, Quantity("deg", ge=0.0, le=45.0)] = 3.0
    """How exactly it will be aimed, one standard deviation."""

    @model_validator(mode="after")
    def _directions(self) -> Self:
        require(isinstance(self.aim, str) or self.aim is None or any(self.aim), "aim", "aim cannot be all zeros")
        require(self.normal is None or any(self.normal), "normal", "normal cannot be all zeros")
        return self


class Weights(Model):
    """How much each side of a place counts where no place is better in all of them."""

    sound: Weight = 6.0
    """Sound at the seats."""
    room: Weight = 2.0
    """Depth and volume behind the panel."""
    irreversible: Weight = 2.0
    """What must be cut and cannot be put back."""
    looks: Weight = 1.0
    """How it looks."""
    view: Weight = 2.0
    """The driver's view of the road."""
    cost: Weight = 1.0
    """What it costs."""


class LayoutWishes(Model):
    """How places are compared."""

    weights: Weights = Weights()
    """How much each side of a place counts."""
    draws: Annotated[int, Field(ge=0, le=10_000)] = 200
    """How many times the comparison is repeated with errors of survey and mounting drawn at random."""
    further_seats: Annotated[tuple[Name, ...], Field(strict=False, max_length=20)] = ()
    """Seats that count beside the one that is tuned for, each half as much as that one."""
