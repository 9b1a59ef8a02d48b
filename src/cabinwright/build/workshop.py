"""The tables of flat panels: what they look like, what they are cut from, how they are lit. No geometry, no disk."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from cabinwright.build.base import Hertz, Model, require
from cabinwright.build.fields import Name, Quantity, RelativePath
from cabinwright.build.outlines import Curve, Flat, Offset, Pair, Points, Radius, Size, Small, Thin, Units

__all__ = [
    "Behind",
    "CutOut",
    "Drill",
    "Layer",
    "Motif",
    "Panel",
    "Perforation",
    "Sheet",
    "Slot",
    "Workshop",
]

Kerf = Annotated[float, Quantity("m", ge=0.0, le=0.02)]
Edge = Literal["left", "right", "top", "bottom", "all round"]
Cutter = Literal["laser", "router", "saw", "knife"]
SheetMaterial = Literal[
    "MDF",
    "birch plywood",
    "poplar plywood",
    "hardboard",
    "acrylic",
    "ABS",
    "polycarbonate",
    "PVC",
    "aluminium",
    "steel",
]


def _one_of(model: Model, keys: tuple[str, ...], what: str) -> None:
    given = sum(getattr(model, key) is not None for key in keys)
    require(given == 1, keys[0], f"{what} has exactly one of {', '.join(keys[:-1])} and {keys[-1]}")


def _scored(operation: str, depth_m: float | None) -> None:
    require(
        depth_m is None or operation == "score",
        "depth_m",
        'only a score has a depth: write operation = "score" with it',
    )


class CutOut(Model):
    """An opening, or a line to score or mark, of a shape of its own."""

    name: Name
    """What lists call it."""
    outline: Points | None = None
    """Its points in order."""
    diameter_m: Size | None = None
    """Diameter of a round one."""
    size_m: Pair | None = None
    """Width and height of a rectangular one."""
    at_m: Flat = (0.0, 0.0)
    """Centre of a round or rectangular one; other outlines are shifted by it."""
    fillet_m: Radius | None = None
    """Rounding of its corners; absent: 3 mm."""
    operation: Literal["cut", "score", "mark"] = "cut"
    """What the machine does along it."""
    depth_m: Small | None = None
    """How deep it is scored; absent: as the machine is set."""

    @model_validator(mode="after")
    def _one_shape(self) -> Self:
        _one_of(self, ("outline", "diameter_m", "size_m"), "a cut-out")
        _scored(self.operation, self.depth_m)
        return self


class Slot(Model):
    """An opening of even width along a curve, with round ends: a line that a lit sheet behind it shines through."""

    name: Name
    """What lists and lights call it."""
    curve: Curve
    """Points along its middle."""
    width_m: Small
    """Width."""
    fillet_m: Radius | None = None
    """Rounding where the curve would kink; absent: 20 mm."""


class Perforation(Model):
    """A field of round holes, graded from a focus outwards."""

    name: Name
    """What lists call it."""
    within: Points | None = None
    """Outline it fills; absent: the whole panel."""
    fillet_m: Radius | None = None
    """Rounding of that outline; absent: 3 mm."""
    rows: Literal["hexagonal", "concentric"] = "hexagonal"
    """How holes lie: in rows of 60° stagger, or in rows around the focus."""
    focus_m: Flat | None = None
    """Point that distances count from; absent: the curve, or the middle of the field."""
    focus_curve: Curve | None = None
    """Curve that distances count from."""
    diameter_m: Small
    """Diameter of holes at the focus."""
    diameter_far_m: Small | None = None
    """Diameter at `reach_m` and beyond; absent: as at the focus."""
    pitch_m: Small
    """From centre to centre of neighbours, at the focus."""
    pitch_far_m: Small | None = None
    """The same at `reach_m`; only in concentric rows; absent: as at the focus."""
    reach_m: Size = 0.2
    """Distance from the focus at which the change ends."""
    least_web_m: Thin | None = None
    """Least material between two holes; absent: the thickness of the thickest sheet they go through, at most 2 mm."""
    margin_m: Annotated[float, Quantity("m", ge=0.0, le=0.5)] = 0.005
    """Least distance of a hole's rim from any edge; a hole that would come nearer is left out whole."""
    turn_deg: Annotated[float, Quantity("deg", ge=-360.0, le=360.0)] = 0.0
    """Turns hexagonal rows."""

    @model_validator(mode="after")
    def _sense(self) -> Self:
        require(self.focus_m is None or self.focus_curve is None, "focus_m", "a focus is a point or a curve, not both")
        graded = self.pitch_far_m is not None and self.pitch_far_m != self.pitch_m
        require(not graded or self.rows == "concentric", "pitch_far_m", "a graded pitch needs rows = concentric")
        far = (self.diameter_far_m or self.diameter_m, self.pitch_far_m or self.pitch_m)
        for key, hole, pitch in (("diameter_m", self.diameter_m, self.pitch_m), ("diameter_far_m", *far)):
            require(hole < pitch, key, "holes that are as wide as their pitch would meet")
        smallest = min(self.pitch_m, far[1])
        require(
            self.least_web_m is None or self.least_web_m < smallest,
            "least_web_m",
            "the web must be less than the pitch",
        )
        return self


class Motif(Model):
    """Lines from an SVG of your own, etched or scored."""

    name: Name
    """What lists call it."""
    file: RelativePath
    """SVG inside the build folder: paths and shapes; text turned into paths."""
    at_m: Flat
    """Where the middle of the drawing lies."""
    width_m: Size
    """Width it is scaled to."""
    turn_deg: Annotated[float, Quantity("deg", ge=-360.0, le=360.0)] = 0.0
    """Turns it counter-clockwise."""
    layer: Name | None = None
    """Layer it is made in; absent: the first clear one, or the first."""
    operation: Literal["mark", "score"] = "mark"
    """What the machine does along it."""
    depth_m: Small | None = None
    """How deep it is scored; absent: as the machine is set."""

    @model_validator(mode="after")
    def _deep(self) -> Self:
        _scored(self.operation, self.depth_m)
        return self


class Drill(Model):
    """Round holes of one size for screws or wires."""

    at_m: Annotated[tuple[Flat, ...], Field(strict=False, min_length=1, max_length=500)]
    """Where they lie."""
    diameter_m: Small
    """Diameter."""


class Behind(Model):
    """A loudspeaker behind the panel: how open it is there, and what that costs in sound."""

    speaker: Name
    """Name of the speaker."""
    at_m: Flat
    """Where its axis meets the panel."""
    diameter_m: Size
    """Diameter of the disc in front of its cone that must be open."""
    excursion_m: Annotated[float, Quantity("m", gt=0.0, le=0.1)] | None = None
    """Peak excursion that the air noise is judged at; absent: as its box moves it, or its model's xmax_m."""
    frequency_hz: Hertz | None = None
    """Frequency of that excursion; absent: where its box moves most air, or 40 Hz."""
    loss_limit_db: Annotated[float, Quantity("db", gt=0.0, le=20.0)] = 1.0
    """Loss at 10 kHz (at 1 kHz for a woofer or subwoofer) that is allowed."""


class Layer(Model):
    """One sheet of a panel that is made of several, from the front to the back."""

    name: Name
    """What lists and files call it."""
    sheet: Name
    """Name of the sheet it is cut from."""
    offset_m: Offset = 0.0
    """How far its outline stands outside the panel's; negative: inside."""
    frame_m: Size | None = None
    """Width of the frame that it is, as round a strip of lights, what lies inside is cut away; absent: it is whole."""
    look: Literal["dark face", "clear", "mesh", "board"] = "board"
    """What it looks like: an opaque face, a sheet that carries light, a mesh, or plain board."""
    cut_outs: bool = True
    """Whether it has the cut-outs."""
    slots: bool = True
    """Whether it has the slots."""
    holes: bool = True
    """Whether it has the perforation."""
    drills: bool = True
    """Whether it has the drilled holes."""
    opening_offset_m: Offset = 0.0
    """How much wider than drawn its cut-outs and slots are all round, and its holes in radius."""


class Panel(Model):
    """A flat part, drawn from the front: x to the right, y up."""

    name: Name
    """What lists and files call it."""
    sheet: Name | None = None
    """Name of the sheet it is cut from; absent where it has layers."""
    outline: Points | None = None
    """Its points in order, either way round; the last is joined to the first."""
    size_m: Pair | None = None
    """Width and height of a rectangle, from (0, 0); its corners are hard unless `fillet_m` is given."""
    diameter_m: Size | None = None
    """Diameter of a disc about (0, 0)."""
    file: RelativePath | None = None
    """DXF or SVG outline inside the build folder: the largest closed contour; those inside it are cut out."""
    file_units: Units | None = None
    """Unit of that drawing where it does not say so itself."""
    offset_m: Offset = 0.0
    """Moves the outline as drawn or traced outwards; negative inwards, as a gap for carpet."""
    fillet_m: Radius | None = None
    """Rounding where the outline would kink; absent: 3 mm, in rectangles and files none."""
    count: Annotated[int, Field(ge=1, le=200)] = 1
    """How many are wanted."""
    grain: Literal["along x", "along y", "any"] = "any"
    """Which way the sheet's grain shall run."""
    banded: Annotated[tuple[Edge, ...], Field(strict=False, max_length=5)] = ()
    """Edges that get an edge band."""
    banding_m: Annotated[float, Quantity("m", ge=0.0, le=0.01)] = 0.0008
    """Thickness of the band; a rectangle is cut smaller by it."""
    layers: Annotated[tuple[Layer, ...], Field(strict=False, max_length=12)] = ()
    """Sheets it is made of, from front to back; absent: one."""
    cut_outs: Annotated[tuple[CutOut, ...], Field(strict=False, max_length=200)] = ()
    """Openings."""
    slots: Annotated[tuple[Slot, ...], Field(strict=False, max_length=50)] = ()
    """Openings along curves."""
    perforations: Annotated[tuple[Perforation, ...], Field(strict=False, max_length=20)] = ()
    """Fields of holes."""
    motifs: Annotated[tuple[Motif, ...], Field(strict=False, max_length=20)] = ()
    """Etched drawings."""
    drills: Annotated[tuple[Drill, ...], Field(strict=False, max_length=100)] = ()
    """Holes for screws and wires, through every layer."""
    behind: Annotated[tuple[Behind, ...], Field(strict=False, max_length=20)] = ()
    """Loudspeakers behind it."""

    @model_validator(mode="after")
    def _whole(self) -> Self:
        _one_of(self, ("outline", "size_m", "diameter_m", "file"), "a panel")
        require(
            (self.sheet is None) == bool(self.layers), "sheet", "a panel names the sheet it is cut from, or has layers"
        )
        require(self.file is not None or self.file_units is None, "file_units", "file_units goes with file")
        return self


class Sheet(Model):
    """Stock that parts are cut from: a new sheet or a kept off-cut."""

    name: Name
    """What panels and lists call it."""
    material: SheetMaterial
    """What it is made of."""
    thickness_m: Thin
    """Thickness as measured, not as sold."""
    length_m: Size
    """Length; grain runs along it."""
    width_m: Size
    """Width."""
    count: Annotated[int, Field(ge=1, le=200)] | None = None
    """How many there are; absent: as many as are needed."""
    grained: bool = False
    """Whether it has a grain or pattern that parts must follow."""
    cutter: Cutter = "laser"
    """What cuts it."""
    cutter_diameter_m: Annotated[float, Quantity("m", ge=0.0, le=0.05)] | None = None
    """Diameter of a router's bit: no inside corner is tighter than half of it; absent: 3 mm for a router, else 0."""
    kerf_m: Kerf = 0.0
    """Width that the cut takes, put right in the files; 0: the machine's own program allows for it."""


class Workshop(Model):
    """How parts are laid on sheets and printed."""

    gap_m: Annotated[float, Quantity("m", ge=0.0, le=0.1)] = 0.004
    """Least distance between two parts on a sheet; never less than the kerf or the cutter."""
    border_m: Annotated[float, Quantity("m", ge=0.0, le=0.2)] = 0.005
    """Least distance of a part from the sheet's rim."""
    offcut_m: Size = 0.1
    """Off-cuts at least so long and so wide are kept and listed."""
    paper: Literal["A4", "Letter"] = "A4"
    """Paper of the 1:1 templates."""
    units: Literal["metric", "US"] = "metric"
    """Units on drawings and in the cut list: millimetres, or inches with fractions."""
    step: bool = False
    """Whether solids are written as STEP too; needs the optional part `step`."""
