"""The tables of what holds boxes and amplifiers in a crash, and of what all of it weighs. No mechanics, no disk."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from cabinwright.build.base import Model, require
from cabinwright.build.fields import Direction, Name, Number, Quantity, Spot

__all__ = ["AddedMass", "Fixing", "Payload"]

Planar = Annotated[float, Quantity("m", ge=-3.0, le=3.0)]
Flat = Annotated[tuple[Planar, Planar], Field(strict=False)]
Size = Annotated[float, Quantity("m", gt=0.0, le=3.0)]
Pair = Annotated[tuple[Size, Size], Field(strict=False)]
Solid = Annotated[tuple[Size, Size, Size], Field(strict=False)]
Mass = Annotated[float, Quantity("kg", gt=0.0, le=2000.0)]
Kilograms = Annotated[float, Quantity("kg", ge=0.0, le=5000.0)]
Gravities = Annotated[Number, Field(gt=0.0, le=100.0)]
Thread = Literal["M5", "M6", "M8", "M10", "M12"]
PropertyClass = Literal["4.6", "5.6", "8.8", "10.9"]


class Fixing(Model):
    """What holds something heavy to the car: bolts through steel are worked out, anything else is not relied on."""

    name: Name
    """What lists call it."""
    holds: Annotated[tuple[Name, ...], Field(strict=False, max_length=20)] = ()
    """Names of what it holds, as the list of masses has them; a box brings its loudspeakers and passive radiators along."""
    mass_kg: Mass | None = None
    """Mass that it holds; absent: that of `holds`."""
    body_m: Solid
    """Size of what is held: along and across the surface that it is fixed to, and height over it."""
    centre_height_m: Size | None = None
    """Height of its centre of gravity over that surface; absent: half its height."""
    normal: Direction = (0.0, 0.0, 1.0)
    """Direction away from that surface; absent: up, as on a floor."""
    kind: Literal["bolt", "wood screw", "other"] = "bolt"
    """What it is; only bolts through steel are counted on."""
    size: Thread | None = None
    """Thread; absent: chosen."""
    property_class: PropertyClass = "8.8"
    """Property class of bolts by ISO 898-1."""
    count: Annotated[int, Field(ge=2, le=40)] | None = None
    """How many; absent: chosen."""
    pattern_m: Pair | None = None
    """Rectangle that they stand on, in two rows along its longer side; absent: four fifths of the body."""
    at_m: Annotated[tuple[Flat, ...], Field(strict=False, min_length=2, max_length=40)] | None = None
    """Where they stand, from the middle of the body, in place of `pattern_m` and `count`."""
    sheet_m: Annotated[float, Quantity("m", ge=0.0005, le=0.02)] = 0.0007
    """Thickness of the steel they go through; 0.7 mm is common in floors of cars."""
    sheet_pa: Annotated[Number, Field(ge=1e8, le=2e9)] = 270e6
    """Tensile strength of that steel."""
    washer_m: Annotated[float, Quantity("m", gt=0.0, le=0.3)] | None = None
    """Diameter of the washer or plate behind the steel; absent: three times the thread (ISO 7093)."""
    along_g: Gravities = 20.0
    """Forwards and rearwards, as a multiple of g; 20 as UN Regulations 100 and 110 ask of what is built into cars."""
    across_g: Gravities = 8.0
    """To the sides; 8 as these regulations ask."""
    up_g: Gravities = 8.0
    """Upwards; common practice: as to the sides."""

    @model_validator(mode="after")
    def _sense(self) -> Self:
        require(bool(self.holds) or self.mass_kg is not None, "holds", "it says what it holds, or mass_kg")
        require(any(self.normal), "normal", "normal is a direction and cannot be all zeros")
        require(
            self.at_m is None or (self.count is None and self.pattern_m is None),
            "at_m",
            "at_m stands in place of count and pattern_m",
        )
        require(self.count is None or self.count % 2 == 0, "count", "two rows need an even count; else write at_m")
        return self


class AddedMass(Model):
    """A mass that the build adds to the car or takes out of it, or what is known better than the plan works it out."""

    name: Name
    """What it is; the name of an amplifier, speaker, box, panel, ring or pod stands for that one."""
    mass_kg: Kilograms | None = None
    """How heavy it is; absent: as worked out."""
    at_m: Spot | None = None
    """Where it lies: x, y, z, or a surveyed point's name; absent: where the build has it, if it does."""
    removed: bool = False
    """Whether it comes out of the car: a spare wheel, the old loudspeakers."""

    @model_validator(mode="after")
    def _sense(self) -> Self:
        require(not self.removed or self.mass_kg is not None, "mass_kg", "what is removed needs its mass_kg")
        return self


class Payload(Model):
    """What the car may carry, from its papers, and where its axles are."""

    limit_kg: Kilograms
    """Payload: gross mass less the mass of the empty car as its papers count it."""
    people_kg: Kilograms = 0.0
    """People who usually ride, as far as the papers count them as payload; 75 kg each is common."""
    luggage_kg: Kilograms = 0.0
    """Luggage that usually rides."""
    front_axle_x_m: Annotated[float, Quantity("m", ge=-12.0, le=12.0)] | None = None
    """Where the front axle is."""
    wheelbase_m: Annotated[float, Quantity("m", gt=0.5, le=12.0)] | None = None
    """From axle to axle."""
    front_spare_kg: Kilograms | None = None
    """What the front axle may still carry."""
    rear_spare_kg: Kilograms | None = None
    """What the rear axle may still carry."""

    @model_validator(mode="after")
    def _sense(self) -> Self:
        both = (self.front_axle_x_m is None) == (self.wheelbase_m is None)
        require(both, "wheelbase_m", "front_axle_x_m and wheelbase_m go together")
        spare = self.front_spare_kg is not None or self.rear_spare_kg is not None
        require(not spare or self.wheelbase_m is not None, "wheelbase_m", "an axle's share needs wheelbase_m")
        return self
