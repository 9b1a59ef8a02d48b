"""The table of false floors: the panel that one is, what it lies on, what it carries, how it opens. No mechanics, no disk."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from cabinwright.build.base import Model, require
from cabinwright.build.fields import Name, Number, Quantity

__all__ = ["Floor", "FloorLoad", "FloorSupport"]

Planar = Annotated[float, Quantity("m", ge=-5.0, le=5.0)]
Flat = Annotated[tuple[Planar, Planar], Field(strict=False)]
Size = Annotated[float, Quantity("m", gt=0.0, le=5.0)]
Pair = Annotated[tuple[Size, Size], Field(strict=False)]
Height = Annotated[float, Quantity("m", ge=0.0, le=3.0)]
Pascals = Annotated[Number, Field(gt=0.0, le=1e12)]


class FloorLoad(Model):
    """Something that stands on the floor; each is judged alone, with the floor's own weight."""

    name: Name
    """What it is: suitcases, a knee."""
    mass_kg: Annotated[float, Quantity("kg", gt=0.0, le=2000.0)]
    """How heavy it is."""
    at_m: Flat | None = None
    """Its middle, as the panel is drawn; absent: the middle of the panel."""
    size_m: Pair | None = None
    """Width and height of what it stands on; absent: spread over the whole floor."""


class FloorSupport(Model):
    """A bearer from one point to another, or a post."""

    from_m: Flat
    """Where it begins, as the panel is drawn."""
    to_m: Flat | None = None
    """Where it ends; absent: a post."""


class Floor(Model):
    """A false floor: a panel that luggage stands on."""

    name: Name
    """What lists call it."""
    panel: Name
    """Name of the [[panels]] that it is."""
    layer: Name | None = None
    """The layer that carries; absent: the thickest."""
    edge: bool = True
    """Whether it lies on a ledge all round."""
    supports: Annotated[tuple[FloorSupport, ...], Field(strict=False, max_length=40)] = ()
    """Bearers and posts besides, or in place of that ledge; one along the edge holds that edge."""
    loads: Annotated[tuple[FloorLoad, ...], Field(strict=False, min_length=1, max_length=20)]
    """What it shall carry."""
    limit_m: Annotated[float, Quantity("m", gt=0.0, le=0.2)] | None = None
    """How far it may sag; absent: a 200th of its shorter side, common practice."""
    below_m: Height | None = None
    """Free height under it, down to a cone or lid; absent: not checked."""
    young_pa: Pascals | None = None
    """Stiffness of the board; absent: typical of its material."""
    strength_pa: Pascals | None = None
    """Bending strength of the board; absent: typical of its material."""
    how: Literal["lift-out", "hinged", "fixed"] = "lift-out"
    """How it opens."""
    hinge: Literal["left", "right", "top", "bottom"] = "top"
    """Edge of the hinge, as the panel is drawn."""
    above_m: Height | None = None
    """Free height over the hinge that it can swing into; absent: enough."""
    grip_m: Pair | None = None
    """Width and height of the opening that fingers go through; absent: none."""
    grip_depth_m: Height | None = None
    """Free depth under that opening; absent: not checked."""

    @model_validator(mode="after")
    def _sense(self) -> Self:
        require(self.how != "fixed" or self.grip_m is None, "grip_m", "a fixed floor has no grip")
        require(self.how == "hinged" or self.above_m is None, "above_m", "above_m goes with how = hinged")
        require(self.grip_depth_m is None or self.grip_m is not None, "grip_depth_m", "grip_depth_m goes with grip_m")
        require(self.edge or bool(self.supports), "supports", "a floor without a ledge needs supports")
        return self
