"""The table of a box's shape: the hollow it fills, its board, its opening, what stands in it. No geometry, no disk."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from cabinwright.build.base import Model, require
from cabinwright.build.fields import Name, Number, Quantity, RelativePath
from cabinwright.build.outlines import Flat, Pair, Points, Radius, Size, Thin, Units

__all__ = ["Bend", "BoxShape", "Brace", "CableHole", "Dowels", "Housed", "Level", "Opening", "Post", "WallPlace"]

Gap = Annotated[float, Quantity("m", ge=0.0, le=0.5)]
Height = Annotated[float, Quantity("m", ge=-5.0, le=5.0)]
Solid = Annotated[tuple[Size, Size, Size], Field(strict=False)]
Wall = Literal["top", "bottom"] | Annotated[int, Field(ge=1, le=400)]
Share = Annotated[Number, Field(ge=0.0, le=0.95)]
BassHertz = Annotated[float, Quantity("hz", ge=10.0, le=2000.0)]
OUTLINES = ("outline", "size_m", "diameter_m", "file")


def _one_outline(model: Model, what: str) -> None:
    given = sum(getattr(model, key) is not None for key in OUTLINES)
    require(given == 1, "outline", f"{what} has exactly one of outline, size_m, diameter_m and file")
    file, units = getattr(model, "file", None), getattr(model, "file_units", None)
    require(file is not None or units is None, "file_units", "file_units goes with file")


class CableHole(Model):
    """A hole for the loudspeakers' cable, in the wall that they sit in; sealed round the cable, it takes no air."""

    at_m: Flat
    """Its centre: in plan, or along a wall and up from the floor."""
    diameter_m: Thin
    """Diameter, that of the gland or terminal that fills it."""


class Level(Model):
    """A height over which the outline stays the same, from the floor upwards."""

    height_m: Size
    """How high it is."""
    inset_m: Gap = 0.0
    """How much narrower than the outline it is all round."""


class Brace(Model):
    """A board that stands in the box from the floor to the baffle and ties walls together."""

    from_m: Flat
    """Where it begins, in plan."""
    to_m: Flat
    """Where it ends."""
    open_share: Share = 0.5
    """Share of it that is cut away, so that the air stays one."""
    board_m: Thin | None = None
    """Thickness; absent: the box's board."""


class Post(Model):
    """A round post from the floor to the baffle."""

    at_m: Flat
    """Where it stands, in plan."""
    diameter_m: Size
    """Diameter."""


class Dowels(Model):
    """Dowels of a box's joints, where the usual ones shall not do."""

    diameter_m: Thin | None = None
    """Diameter; absent: the thickest of 5, 6, 8, 10 and 12 mm that is no more than half the board."""
    length_m: Annotated[float, Quantity("m", gt=0.0, le=0.2)] | None = None
    """Length; absent: the usual one of that diameter."""
    pitch_m: Annotated[float, Quantity("m", ge=0.02, le=1.0)] = 0.1
    """Most distance from one to the next, except where something is in the way."""


class Bend(Model):
    """How the walls of a bent box are cut part through, so that they follow arcs."""

    kerf_m: Thin | None = None
    """Width of one cut; absent: the router's bit, or the kerf of a saw."""
    left_m: Thin | None = None
    """What is left under a cut; absent: an eighth of the board, at least 1.5 mm."""
    web_m: Thin | None = None
    """Least width of the wood between two cuts; absent: what is left under them, at least 2 mm."""


class Opening(Model):
    """What the box has to go through on its way in, seen along that way."""

    outline: Points | None = None
    """Its points in order."""
    size_m: Pair | None = None
    """Width and height of a rectangular one."""
    diameter_m: Size | None = None
    """Diameter of a round one."""
    file: RelativePath | None = None
    """DXF or SVG outline inside the build folder."""
    file_units: Units | None = None
    """Unit of that drawing where it does not say so itself."""
    fillet_m: Radius = 0.0
    """Rounding of its corners."""
    gap_m: Gap = 0.005
    """Room all round that trim and fingers want."""
    at_m: Flat | None = None
    """Where its origin lies over the hollow, in plan; absent: what lies behind the opening is not looked at."""
    rim_m: Annotated[float, Quantity("m", ge=0.0, le=0.5)] = 0.001
    """How thick the rim is that it lies in, over the hollow's top."""
    headroom_m: Size | None = None
    """Free height over the rim, up to whatever lies there; absent: nothing does."""

    @model_validator(mode="after")
    def _one(self) -> Self:
        _one_outline(self, "an opening")
        place = self.headroom_m is None or self.at_m is not None
        require(place, "headroom_m", "headroom_m goes with at_m, which says where the opening lies over the hollow")
        return self


class Housed(Model):
    """An amplifier beside, on or above the box, and the air it needs."""

    name: Name
    """Which amplifier."""
    at_m: Flat
    """Its middle, in plan."""
    size_m: Solid
    """Its length along x, width along y, and height."""
    low_m: Height = 0.0
    """Height of its underside over the box's floor."""
    cooling_gap_m: Gap = 0.05
    """Air it needs all round; its maker's figure goes first."""


class WallPlace(Model):
    """A place in a wall of the box."""

    at_m: Flat
    """Its middle: in plan, or along a wall and up from the floor."""
    wall: Wall | None = None
    """The wall, told as `baffle` is; absent: the loudspeakers'."""


class BoxShape(Model):
    """The hollow that a box fills, in plan (x and y as the outline has them) and height, and how the box is made."""

    outline: Points | None = None
    """The hollow's points in order, arcs among them."""
    size_m: Pair | None = None
    """Sides of a rectangular hollow, from (0, 0)."""
    diameter_m: Size | None = None
    """Diameter of a round hollow about (0, 0)."""
    file: RelativePath | None = None
    """DXF or SVG outline, or STL of the hollow itself, inside the build folder."""
    file_units: Units | None = None
    """Unit of that file where it does not say so itself; an STL never does."""
    fillet_m: Radius = 0.0
    """Rounding where the outline would kink."""
    offset_m: Gap = 0.0
    """Gap between the hollow and the box, all round; in an STL below it too."""
    height_m: Size | None = None
    """Most height over all; absent: that of the levels, or of the STL."""
    levels: Annotated[tuple[Level, ...], Field(strict=False, max_length=12)] = ()
    """Heights from the floor up, where the hollow narrows; absent: one."""
    board_m: Thin | None = None
    """Thickness of the board as measured; absent: that of its sheet."""
    sheet: Name | None = None
    """Name of the sheet its panels are cut from; absent: the shape is computed, no panels are."""
    construction: Literal["panels", "stacked", "bent"] | None = None
    """Flat walls, rings lying on one another, or walls bent round arcs; absent: stacked where there is an arc, level or STL."""
    wall_m: Thin | None = None
    """Width of stacked rings; absent: the thickness of the board."""
    joint: Literal["butt", "rabbet", "dowel", "finger"] = "butt"
    """How walls meet; bent ones by a butt or a rabbet."""
    dowels: Dowels = Dowels()
    """Dowels, with that joint."""
    bend: Bend = Bend()
    """Cuts that let walls bend."""
    double_baffle: bool = False
    """Whether the loudspeaker's wall is of two boards."""
    baffle: Wall = "top"
    """Wall that the loudspeakers sit in: top, bottom, or the number of a flat wall, 1 from the first point to the second."""
    speakers_at_m: Annotated[tuple[Flat, ...], Field(strict=False, max_length=16)] = ()
    """Centres of the loudspeakers: in plan, or along a wall and up from the floor; absent: chosen."""
    port_at_m: Annotated[tuple[Flat, ...], Field(strict=False, max_length=16)] = ()
    """Centres of the ports in the same wall; absent: chosen."""
    port_wall_m: Annotated[float, Quantity("m", ge=0.0, le=0.05)] = 0.003
    """Thickness of the port's own wall."""
    radiators_at: Annotated[tuple[WallPlace, ...], Field(strict=False, max_length=16)] = ()
    """Places of passive radiators; those without one are put where they find room."""
    cable_holes: Annotated[tuple[CableHole, ...], Field(strict=False, max_length=16)] = ()
    """Holes for cables or terminals."""
    braces: Annotated[tuple[Brace, ...], Field(strict=False, max_length=24)] = ()
    """Braces."""
    posts: Annotated[tuple[Post, ...], Field(strict=False, max_length=24)] = ()
    """Posts."""
    stiff_above_hz: BassHertz = 250.0
    """Frequency above which every wall's first resonance shall lie."""
    opening: Opening | None = None
    """What the box has to go through; absent: not checked."""
    cover_gap_m: Gap | None = None
    """Free height before the baffle, up to whatever lies over it; absent: not checked."""
    amplifiers: Annotated[tuple[Housed, ...], Field(strict=False, max_length=8)] = ()
    """Amplifiers near it."""

    @property
    def is_hollow(self) -> bool:
        """Whether its file is a solid."""
        return self.file is not None and self.file.lower().endswith(".stl")

    @model_validator(mode="after")
    def _whole(self) -> Self:
        _one_outline(self, "a shape")
        names = [item.name for item in self.amplifiers]
        require(
            len(set(names)) == len(names), "amplifiers", "two amplifiers near one box have the same name; name each"
        )
        unit = not self.is_hollow or self.file_units is not None
        require(unit, "file_units", 'an STL does not say its unit; write file_units = "mm" or "in"')
        flat = self.construction in ("panels", "bent")
        require(not (flat and self.is_hollow), "construction", "a box in an STL's hollow is stacked")
        require(not (flat and len(self.levels) > 1), "construction", "a box of several levels is stacked")
        bent = self.construction == "bent"
        require(not bent or self.joint in ("butt", "rabbet"), "joint", "bent walls meet by a butt or a rabbet")
        require(not (self.levels and self.is_hollow), "levels", "an STL has its own heights")
        known = self.height_m is not None or bool(self.levels) or self.is_hollow
        require(known, "height_m", "a shape needs height_m or levels")
        require(
            self.height_m is None or not self.levels, "height_m", "a height is told by height_m or by levels, not both"
        )
        rings = self.construction in ("stacked", "bent") or len(self.levels) > 1 or self.is_hollow
        wall = rings and isinstance(self.baffle, int)
        require(not wall, "baffle", "a stacked or bent box has its loudspeakers in the top or bottom")
        wall = rings and any(isinstance(item.wall, int) for item in self.radiators_at)
        require(not wall, "radiators_at", "a stacked or bent box has its radiators in the top or bottom")
        return self
