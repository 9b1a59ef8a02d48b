"""The tables of drive units and boxes: what a maker states, what is decided, what was measured. No physics."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from cabinwright.build.base import Model, require
from cabinwright.build.fields import Name, Number, Quantity, RelativePath
from cabinwright.build.shapes import BoxShape

__all__ = ["Box", "BoxKind", "ImpedanceCurve", "PortShape", "Radiator", "SpeakerModel", "Wiring"]

BoxKind = Literal["sealed", "vented", "passive radiator", "infinite baffle"]
Wiring = Literal["parallel", "series", "series-parallel"]
Ends = Literal["flanged and free", "both flanged", "both free"]
Method = Literal["free air", "added mass", "known box"]

Q = Annotated[Number, Field(gt=0.0, le=1000.0)]
Ohms = Annotated[float, Quantity("ohm", gt=0.0, le=1000.0)]
SeriesOhms = Annotated[float, Quantity("ohm", ge=0.0, le=100.0)]
Henries = Annotated[float, Quantity("h", ge=0.0, le=1.0)]
Kilograms = Annotated[float, Quantity("kg", gt=0.0, le=10.0)]
Weight = Annotated[float, Quantity("kg", gt=0.0, le=200.0)]
Compliance = Annotated[float, Quantity("m_per_n", gt=0.0, le=1.0)]
Force = Annotated[float, Quantity("t_m", gt=0.0, le=500.0)]
Area = Annotated[float, Quantity("m2", gt=0.0, le=2.0)]
Volume = Annotated[float, Quantity("m3", gt=0.0, le=50.0)]
Displaced = Annotated[float, Quantity("m3", ge=0.0, le=0.2)]
Travel = Annotated[float, Quantity("m", gt=0.0, le=0.2)]
Size = Annotated[float, Quantity("m", gt=0.0, le=2.0)]
Length = Annotated[float, Quantity("m", gt=0.0, le=10.0)]
Watts = Annotated[float, Quantity("w", gt=0.0, le=50_000.0)]
BassHertz = Annotated[float, Quantity("hz", ge=1.0, le=2000.0)]
Speed = Annotated[float, Quantity("m_s", gt=0.0, le=100.0)]


class SpeakerModel(Model):
    """A drive unit as its maker, or a measurement, states it. Any set of figures that determines it will do.

    Figures that say the same thing twice are held against one another. Where it has several voice coils, the electrical
    figures hold for all of them wired as `coil_wiring` says.
    """

    name: Name
    """What boxes and speakers call this model."""
    fs_hz: BassHertz | None = None
    """Resonance in free air."""
    qes: Q | None = None
    """Electrical Q at that resonance."""
    qms: Q | None = None
    """Mechanical Q at that resonance."""
    qts: Q | None = None
    """Total Q at that resonance."""
    vas_m3: Volume | None = None
    """Air volume as compliant as its suspension."""
    mms_kg: Kilograms | None = None
    """Moving mass with its air load."""
    cms_m_per_n: Compliance | None = None
    """Compliance of its suspension."""
    bl_t_m: Force | None = None
    """Force factor, tesla metres; the same number as newtons for each ampere."""
    re_ohm: Ohms | None = None
    """Resistance of the voice coil for direct current."""
    le_h: Henries = 0.0
    """Inductance of the voice coil, taken as pure."""
    sd_m2: Area | None = None
    """Effective area of the cone."""
    xmax_m: Travel | None = None
    """Linear excursion one way; absent: levels are held back by power alone."""
    xmech_m: Travel | None = None
    """Excursion one way at which something touches."""
    pe_w: Watts | None = None
    """Power its voice coil stands for long; absent: levels are held back by excursion alone."""
    minimum_impedance_ohm: Ohms | None = None
    """Lowest impedance its maker states; absent: the resistance of the voice coil."""
    coils: Annotated[int, Field(ge=1, le=8)] = 1
    """Number of voice coils."""
    coil_wiring: Literal["parallel", "series"] = "parallel"
    """How several coils are wired where the electrical figures hold."""
    cut_out_m: Size | None = None
    """Diameter of its hole in the baffle."""
    mounting_circle_m: Size | None = None
    """Diameter of the circle its screws sit on."""
    screws: Annotated[int, Field(ge=2, le=24)] | None = None
    """Number of those screws."""
    outer_diameter_m: Size | None = None
    """Diameter of its frame over all."""
    depth_m: Size | None = None
    """Depth behind the baffle."""
    displacement_m3: Displaced | None = None
    """Volume that it takes of a box."""
    mass_kg: Weight | None = None
    """Its mass."""

    @model_validator(mode="after")
    def _sense(self) -> Self:
        low, high = self.xmax_m, self.xmech_m
        require(low is None or high is None or low <= high, "xmax_m", "xmax_m cannot be beyond xmech_m")
        _hole_inside_frame(self)
        return self


class PortShape(Model):
    """A port: round, or a slot by its two sides; several alike count together."""

    diameter_m: Size | None = None
    """Inner diameter of a round port."""
    width_m: Size | None = None
    """One side of a slot."""
    height_m: Size | None = None
    """The other side of a slot."""
    count: Annotated[int, Field(ge=1, le=16)] = 1
    """How many of them."""
    length_m: Length | None = None
    """Length along its middle, as built; absent: the length that gives `tuning_hz`."""
    flare_radius_m: Annotated[float, Quantity("m", ge=0.0, le=0.5)] = 0.0
    """Radius its rims are rounded with; 0: sharp."""
    ends: Ends = "flanged and free"
    """What its ends open into: flush with a wall (flanged) or standing free in the air."""
    bends: Annotated[int, Field(ge=0, le=6)] = 0
    """Right-angle bends it makes."""
    speed_limit_m_s: Speed | None = None
    """Highest peak speed of its air; absent: what common practice allows."""

    @model_validator(mode="after")
    def _one_shape(self) -> Self:
        slot = (self.width_m is not None, self.height_m is not None)
        require(
            all(slot) if self.diameter_m is None else not any(slot),
            "diameter_m",
            "a port is round (diameter_m) or a slot (width_m and height_m)",
        )
        long = self.length_m is None or self.length_m >= 2.0 * self.flare_radius_m
        require(long, "flare_radius_m", "a port is at least as long as its two rounded rims")
        return self


class Radiator(Model):
    """A passive radiator; several alike count together, and each figure is one's own."""

    mms_kg: Kilograms
    """Moving mass with its air load and whatever was added to it."""
    cms_m_per_n: Compliance
    """Compliance of its suspension."""
    sd_m2: Area
    """Effective area of its cone."""
    qms: Q | None = None
    """Mechanical Q at its own resonance in free air; absent: no losses."""
    count: Annotated[int, Field(ge=1, le=16)] = 1
    """How many of them."""
    xmax_m: Travel | None = None
    """Linear excursion one way; absent: it does not hold levels back."""
    cut_out_m: Size | None = None
    """Diameter of its hole in the wall; absent: a box with a shape is cut without it."""
    mounting_circle_m: Size | None = None
    """Diameter of the circle its screws sit on."""
    screws: Annotated[int, Field(ge=2, le=24)] | None = None
    """Number of those screws."""
    outer_diameter_m: Size | None = None
    """Diameter of its frame over all; absent: 1.2 times that of its cone."""
    depth_m: Size | None = None
    """Depth behind its wall at rest; absent: half the radius of its cone."""
    displacement_m3: Displaced | None = None
    """Volume that it takes of a box; absent: half a cylinder of its cut-out and depth."""
    mass_kg: Weight | None = None
    """Its mass with its frame; `mms_kg` is what moves of it."""

    @model_validator(mode="after")
    def _sense(self) -> Self:
        _hole_inside_frame(self)
        return self


def _hole_inside_frame(part: SpeakerModel | Radiator) -> None:
    """Cut-out, mounting circle and frame lie one inside the other, as far as they are stated."""
    hole, circle, frame = part.cut_out_m, part.mounting_circle_m, part.outer_diameter_m
    for inner, outer, key, rule in (
        (hole, circle, "cut_out_m", "the cut-out lies inside the mounting circle"),
        (hole, frame, "cut_out_m", "the cut-out is less than outer_diameter_m, or the frame falls through it"),
        (circle, frame, "mounting_circle_m", "the mounting circle is less than outer_diameter_m: screws go through the frame"),
    ):  # fmt: skip
        require(inner is None or outer is None or inner < outer, key, rule)


class Box(Model):
    """An enclosure and the like speakers in it."""

    name: Name
    """What the plan calls this box."""
    speakers: Annotated[tuple[Name, ...], Field(strict=False, max_length=16)] = ()
    """Names of the speakers in it, all of one model; absent: one."""
    model: Name | None = None
    """Name of the speaker model; absent: the one its speakers name."""
    kind: BoxKind
    """How the rear of the cone is dealt with."""
    volume_m3: Volume | None = None
    """Net air volume behind the cone; absent: that of its shape."""
    shape: BoxShape | None = None
    """The hollow it fills and how it is made."""
    tuning_hz: BassHertz | None = None
    """Frequency a vented box is tuned to; absent: what the length of its port gives."""
    port: PortShape | None = None
    """Port of a vented box; absent: a round one is chosen."""
    radiator: Radiator | None = None
    """Radiator of a box with a passive radiator."""
    ql: Q | None = None
    """Q of leakage at the tuning (at the system's resonance where sealed); absent: 10 where vented, else no leak."""
    qa: Q | None = None
    """Q of absorption in the box, at the same frequency; absent: none."""
    qp: Q | None = None
    """Q of friction in the port, at the tuning; absent: none."""
    filling_factor: Annotated[Number, Field(ge=1.0, le=1.4)] = 1.0
    """How much larger damping material makes the air volume seem; 1.4 is the limit for constant temperature."""
    power_w: Watts | None = None
    """Power that would flow into `re_ohm` at the stated voltage; absent: the model's `pe_w`, or 1 W."""
    wiring: Wiring | None = None
    """How several speakers are wired; absent: parallel."""
    wire_resistance_ohm: SeriesOhms = 0.0
    """Resistance of the wire, both ways, between amplifier and box."""
    amplifier_resistance_ohm: SeriesOhms = 0.0
    """Output resistance of the amplifier."""
    gross_volume_m3: Volume | None = None
    """Most net volume that there is room for; the search for alignments keeps within it; absent: `volume_m3`."""

    @model_validator(mode="after")
    def _kind_fits(self) -> Self:
        for key, kind in (
            ("port", "vented"),
            ("tuning_hz", "vented"),
            ("qp", "vented"),
            ("radiator", "passive radiator"),
        ):
            stray = getattr(self, key) is not None and self.kind != kind
            require(not stray, key, f"{key} belongs to a box of kind {kind}")
        require(self.kind != "passive radiator" or self.radiator is not None, "radiator", "the radiator is missing")
        placed = 0 if self.shape is None else len(self.shape.radiators_at)
        room = 0 if self.radiator is None else self.radiator.count
        require(placed <= room, "shape", f"radiators_at has {placed} places for {room} passive radiators")
        known = self.tuning_hz is not None or (self.port is not None and self.port.length_m is not None)
        require(
            self.kind != "vented" or known, "tuning_hz", "a vented box needs tuning_hz, or a port with its length_m"
        )
        square = self.wiring != "series-parallel" or len(self.speakers) in (4, 9, 16)
        require(square, "wiring", "series-parallel takes 4, 9 or 16 speakers")
        return self


class ImpedanceCurve(Model):
    """A measured impedance sweep of a drive unit, to fit its figures to."""

    model: Name
    """The speaker model it was measured on."""
    file: RelativePath
    """Text or CSV inside the build folder: frequency, magnitude and, where there is one, phase on each line."""
    method: Method = "free air"
    """How it was measured."""
    added_mass_kg: Kilograms | None = None
    """Mass stuck to the cone, for `added mass`."""
    box_volume_m3: Volume | None = None
    """Net volume of the closed test box, for `known box`."""

    @model_validator(mode="after")
    def _method_fits(self) -> Self:
        for key, method in (("added_mass_kg", "added mass"), ("box_volume_m3", "known box")):
            given = getattr(self, key) is not None
            require(given == (self.method == method), key, f"{key} belongs to the method {method}, which needs it")
        return self
