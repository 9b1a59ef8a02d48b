"""The tables of what holds a loudspeaker at its aim: rings, pods, their trim, and the jigs to make them. No geometry."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from cabinwright.build.base import Model, require
from cabinwright.build.fields import Name, Quantity, Spot

__all__ = ["Jig", "Mount", "Pod", "Ring", "Trim"]

Size = Annotated[float, Quantity("m", gt=0.0, le=2.0)]
Height = Annotated[float, Quantity("m", gt=0.0, le=0.5)]
Small = Annotated[float, Quantity("m", gt=0.0, le=0.1)]
Three = Annotated[tuple[Spot, Spot, Spot], Field(strict=False)]


class Trim(Model):
    """A ring before the loudspeaker, with a rebate that takes a frame covered with grille cloth."""

    sheet: Name
    """Name of the sheet it is cut from. A laser or knife makes the rebate of two rings, a router or saw of one."""
    sight_diameter_m: Size | None = None
    """Diameter that is seen through; absent: the model's cut-out."""
    outer_diameter_m: Size | None = None
    """Diameter over all; absent: as the ring or pod."""
    rebate_m: Small = 0.005
    """How much wider the rebate is than the sight, all round."""
    cloth_m: Annotated[float, Quantity("m", ge=0.0, le=0.01)] = 0.0008
    """Thickness of the cloth, which goes round the frame's edge."""


class Mount(Model):
    """What rings and pods have in common."""

    name: Name
    """What lists and files call it."""
    place: Name | None = None
    """Name of the [[places]] it is made for: its position, and the best aim that `layout` found."""
    speaker: Name | None = None
    """Name of the [[speakers]] it is made for, in place of a place: its position and aim as written."""
    model: Name
    """Name of the [[speaker_models]] that goes into it; its `cut_out_m` must be known."""
    surface: Name | None = None
    """Name of the [[cabin.surfaces]] it stands on; absent: the one that the place lies on."""
    surface_points_m: Three | None = None
    """Three points of the surface it stands on, where that is none of the cabin's: points or names of surveyed points."""
    outer_diameter_m: Size | None = None
    """Diameter at the loudspeaker; absent: the frame and 6 mm all round, or what its screws need."""
    height_m: Height | None = None
    """Height on the axis, from the surface to the loudspeaker's plane; absent: up to the place, or what the angle needs."""
    trim: Trim | None = None
    """A trim ring for grille cloth."""

    @model_validator(mode="after")
    def _one(self) -> Self:
        require((self.place is None) != (self.speaker is None), "place", "it is for one place or one speaker")
        both = self.surface is not None and self.surface_points_m is not None
        require(not both, "surface", "the surface is told by surface or by surface_points_m, not both")
        return self


class Ring(Mount):
    """A baffle ring: turned to the aim, cut to meet the surface."""

    sheet: Name | None = None
    """Name of the sheet that its layers are cut from; absent: one solid only, to print or to mill."""
    least_m: Height = 0.006
    """Least height, where it is thinnest."""


class Pod(Mount):
    """A moulded pod's skeleton: a ring at the loudspeaker, a foot on the surface, ribs between them to wrap."""

    sheet: Name
    """Name of the sheet that ring and foot are cut from."""
    rib_sheet: Name | None = None
    """Name of the sheet that ribs are cut from; absent: the same."""
    ribs: Annotated[int, Field(ge=3, le=48)] = 8
    """Number of ribs."""
    flare_m: Annotated[float, Quantity("m", ge=0.0, le=0.3)] = 0.015
    """How much farther out the foot reaches than the ring, seen along the axis."""
    least_m: Height = 0.005
    """Least height of a rib between foot and ring."""
    fit_m: Annotated[float, Quantity("m", ge=0.0, le=0.002)] = 0.0001
    """How much wider a slot is than the rib that goes into it."""


class Jig(Model):
    """A plate to set an angle by, to drill through, or to draw the hole in the surface from."""

    name: Name
    """What lists and files call it."""
    kind: Literal["angle", "drill", "surface"]
    """What it is for."""
    of: Name | None = None
    """Name of the ring or pod."""
    model: Name | None = None
    """For a drill jig alone: name of the loudspeaker's model in place of a ring or pod."""
    sheet: Name
    """Name of the sheet it is cut from."""

    @model_validator(mode="after")
    def _one(self) -> Self:
        require((self.of is None) != (self.model is None), "of", "a jig is of one ring or pod, or of one model")
        require(self.model is None or self.kind == "drill", "model", "only a drill jig is of a model alone")
        return self
