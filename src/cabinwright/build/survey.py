"""The tables of a survey: named points and what was measured between them. No physics, no disk."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, model_validator

from cabinwright.build.base import Model, Sigma, require
from cabinwright.build.fields import Coordinate, Name, Point, Quantity

__all__ = ["FlatSurface", "Frame", "Height", "Offset", "Survey", "SurveyPoint", "Tape"]


class SurveyPoint(Model):
    """A point that tapes are held to. Its name may stand wherever the build wants a position."""

    name: Name
    """What tapes and positions call this point."""
    at_m: Point | None = None
    """Known place: x, y, z. It fixes the car's axes and is never moved."""
    near_m: Point | None = None
    """Rough guess that chooses between mirror images; it does not pull the result."""
    mirror_of: Name | None = None
    """The point on the other side of the car that it mirrors, across the centre line y = 0."""
    mirror_sigma_m: Sigma = 0.005
    """How exactly the two sides of the car mirror each other, one standard deviation."""

    @model_validator(mode="after")
    def _one_place(self) -> Self:
        require(self.at_m is None or self.near_m is None, "near_m", "a known point (at_m) needs no guess (near_m)")
        require(self.mirror_of != self.name, "mirror_of", "a point cannot mirror itself")
        return self


class Tape(Model):
    """One distance, taken straight between two points."""

    from_: Name = Field(alias="from")
    """A surveyed point."""
    to: Name
    """Another surveyed point."""
    distance_m: Annotated[float, Quantity("m", gt=0.0, le=25.0)]
    """What the tape read."""
    sigma_m: Sigma = 0.003
    """How exactly it was read, one standard deviation."""

    @model_validator(mode="after")
    def _two_ends(self) -> Self:
        require(self.from_ != self.to, "to", "a tape runs between two different points")
        return self


class Frame(Model):
    """Axes from three named points, where fewer than three points are known."""

    origin: Name
    """The point where the axes begin: x, y and z are 0."""
    right: Name
    """A point to the right of the origin at the same height and the same place along the car: it gives the direction of y."""
    behind: Name
    """A point behind the origin; it gives the direction of x. At its height, unless [[survey.heights]] says otherwise."""

    @model_validator(mode="after")
    def _three(self) -> Self:
        require(len({self.origin, self.right, self.behind}) == 3, "behind", "the frame needs three different points")
        return self


class Height(Model):
    """How much higher one point is than another, or than z = 0."""

    point: Name
    """A surveyed point."""
    above: Name | None = None
    """The surveyed point it is higher than; absent: the level z = 0."""
    height_m: Coordinate
    """Difference in height, negative where the point is lower."""
    sigma_m: Sigma = 0.003
    """How exactly it was measured, one standard deviation."""


class Offset(Model):
    """How far a point is from the centre line of the car (y = 0)."""

    point: Name
    """A surveyed point."""
    offset_m: Coordinate
    """Distance to the right of the centre line; negative to the left."""
    sigma_m: Sigma = 0.005
    """How exactly it was measured, one standard deviation."""


class FlatSurface(Model):
    """Points known to lie on one flat surface."""

    points: Annotated[tuple[Name, ...], Field(strict=False, min_length=4, max_length=50)]
    """Four surveyed points or more."""
    sigma_m: Sigma = 0.003
    """How flat the surface is, one standard deviation."""


class Survey(Model):
    """The cabin measured as distances between named points."""

    points: Annotated[tuple[SurveyPoint, ...], Field(strict=False, max_length=300)] = ()
    """Points, one table each."""
    tapes: Annotated[tuple[Tape, ...], Field(strict=False, max_length=3000)] = ()
    """Distances, one table each."""
    frame: Frame | None = None
    """Axes from named points; needed where fewer than three points are known."""
    heights: Annotated[tuple[Height, ...], Field(strict=False, max_length=300)] = ()
    """Heights, one table each."""
    offsets: Annotated[tuple[Offset, ...], Field(strict=False, max_length=300)] = ()
    """Offsets from the centre line, one table each."""
    flat_surfaces: Annotated[tuple[FlatSurface, ...], Field(strict=False, max_length=100)] = ()
    """Flat surfaces, one table each."""
