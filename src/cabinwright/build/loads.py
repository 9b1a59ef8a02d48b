"""The tables of what draws current, and of the signal cables that hear it. No physics."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from cabinwright.build.base import Hertz, Model, require
from cabinwright.build.electrical_fields import CHASSIS, COUNT, Amperes, Length, Ohms, Volts, two_ends
from cabinwright.build.fields import Name, Number, Quantity

__all__ = ["Amplifier", "Driver", "Inrush", "Load", "SignalCable", "Strip"]

Seconds = Annotated[float, Quantity("s", gt=0.0, le=60.0)]
Spacing = Annotated[float, Quantity("m", gt=0.0, le=10.0)]


class Amplifier(Model):
    """What an amplifier draws follows from what it can give and its class."""

    output_w: Annotated[float, Quantity("w", gt=0.0, le=50_000.0)]
    """Rated output of all its channels together, sine."""
    class_: Literal["A", "AB", "B", "D", "G", "H"] = Field(alias="class")
    """Class of its output stage."""
    channels: Annotated[int | tuple[str, ...] | None, COUNT] = None
    """How many channels it has, or the names of the channels it plays."""


class Strip(Model):
    """A strip of lights that draws evenly along its length."""

    resistance_ohm: Annotated[float, Quantity("ohm", gt=0.0, le=1000.0)]
    """Resistance of its two tracks together, from end to end."""
    fed_at: Literal["one end", "both ends"] = "one end"
    """Where the load's two nodes meet it."""
    runs: Annotated[int, Field(ge=1, le=100)] = 1
    """How many such strips lie in parallel; each draws its part of the load's current."""


class Driver(Model):
    """What feeds lamps from the supply: strings of light-emitting diodes in parallel, each at its own current."""

    kind: Literal["constant current", "constant voltage", "resistor"]
    """What it keeps constant; a resistor in each string keeps nothing."""
    output_v: Volts
    """Voltage across one string; of light-emitting diodes in a row, that of all together."""
    current_a: Amperes
    """Current in one string; with a resistor, that at the nominal voltage."""
    strings: Annotated[int, Field(ge=1, le=1000)] = 1
    """How many strings lie in parallel."""
    efficiency: Annotated[Number, Field(gt=0.0, le=1.0)] = 0.85
    """Power into the strings over power from the supply; a resistor has its own."""
    steps: Literal["down", "up", "up or down"] = "up or down"
    """Whether it can give less voltage than it gets, more, or either."""
    headroom_v: Annotated[float, Quantity("v", ge=0.0, le=20.0)] = 1.0
    """What one that steps down needs over its output."""


class Inrush(Model):
    """What a load takes for a moment when its feed comes on. Exactly one of capacitance_f, times and peak_a."""

    capacitance_f: Annotated[float, Quantity("f", gt=0.0, le=100.0)] | None = None
    """Capacitors across its input, empty at first."""
    esr_ohm: Ohms = 0.0
    """Resistance in series with them: their own, and of a thermistor or resistor that limits the first current."""
    times: Annotated[Number, Field(gt=1.0, le=100.0)] | None = None
    """First current over the steady one; a cold filament has some 10 to 15."""
    peak_a: Amperes | None = None
    """First current, as its maker states."""
    duration_s: Seconds | None = None
    """How long times or peak_a last, counted as a rectangle."""

    @model_validator(mode="after")
    def _one_kind(self) -> Self:
        given = sum(kind is not None for kind in (self.capacitance_f, self.times, self.peak_a))
        require(given == 1, "capacitance_f", "an inrush has exactly one of capacitance_f, times and peak_a")
        lasting = self.capacitance_f is None
        require(
            lasting == (self.duration_s is not None),
            "duration_s",
            "duration_s goes with times or peak_a, and only with them",
        )
        return self


class Load(Model):
    """Something that draws current while it is on."""

    name: Name
    """What lists and promises call it."""
    from_: Name = Field(alias="from")
    """Node at its plus end."""
    to: Name = CHASSIS
    """Node at its other end."""
    power_w: Annotated[float, Quantity("w", gt=0.0, le=50_000.0)] | None = None
    """Power at the nominal voltage; it draws power / nominal_v."""
    current_a: Annotated[float, Quantity("a", gt=0.0, le=5000.0)] | None = None
    """Current it draws while on."""
    amplifier: Amplifier | None = None
    """An amplifier, whose draw follows the music."""
    driver: Driver | None = None
    """Lamps behind a driver, whose draw follows from theirs."""
    remote: Name | None = None
    """Node of its turn-on line; with it, it is on only while that node reaches a plus too. The line's own current is nothing."""
    strip: Strip | None = None
    """A strip of lights; its drop from end to end is worked out too."""
    dimmed_share: Annotated[Number, Field(gt=0.0, le=1.0)] = 1.0
    """Part of the time that a dimmer lets it draw; the average is so much of the peak."""
    dimmer_hz: Hertz | None = None
    """How often a second the dimmer switches; absent: it is not known."""
    inrush: Inrush | None = None
    """What it takes for a moment when its feed comes on; absent: nothing beyond its steady current."""
    asleep_a: Annotated[float, Quantity("a", ge=0.0, le=10.0)] = 0.0
    """Current it draws from the battery with everything asleep."""

    @model_validator(mode="after")
    def _one_draw(self) -> Self:
        two_ends(self.from_, self.to)
        given = sum(draw is not None for draw in (self.power_w, self.current_a, self.amplifier, self.driver))
        require(given == 1, "power_w", "a load has exactly one of power_w, current_a, amplifier and driver")
        lights = self.strip is None and self.dimmed_share == 1.0
        require(lights or self.amplifier is None, "amplifier", "an amplifier is no strip and is not dimmed")
        return self


class SignalCable(Model):
    """A signal cable between two devices, held against what it may hear of the supply."""

    name: Name
    """What lists call it."""
    from_: Name = Field(alias="from")
    """Node that is the ground of the device that sends."""
    to: Name
    """Node that is the ground of the device that receives; the same node where both share one."""
    length_m: Length
    """Length, as laid."""
    beside: Name | None = None
    """The wire it runs beside; absent: none."""
    beside_m: Length | None = None
    """How far they run together; absent: over the whole of the shorter one."""
    spacing_m: Spacing = 0.05
    """Distance between the two, axis to axis."""
    height_m: Spacing = 0.02
    """How high both lie above the sheet metal of the body."""
    return_spacing_m: Spacing | None = None
    """Distance between that wire and the one that brings its current back; absent: the body brings it back."""
    pair_spacing_m: Spacing = 0.0005
    """Distance between the signal's two conductors; in a coaxial cable, how far its core is out of the middle."""
    shield_grounded: Literal["both ends", "one end"] = "both ends"
    """Where the shield, or the signal's own return, meets the ground of a device."""
    shield_ohm: Annotated[float, Quantity("ohm", gt=0.0, le=1000.0)] | None = None
    """Resistance of that return from end to end; absent: 20 mΩ per metre."""
    balanced: bool = False
    """Whether the receiver takes the difference of two wires, neither of which is the ground."""
    rejection_db: Annotated[float, Quantity("db", ge=0.0, le=120.0)] = 40.0
    """How much less such a receiver, or one that floats, hears of what both wires share."""
    source_ohm: Ohms = 100.0
    """Output impedance of the device that sends."""
    input_ohm: Annotated[float, Quantity("ohm", gt=0.0, le=1e7)] = 10_000.0
    """Input impedance of the device that receives."""
    level_v: Annotated[float, Quantity("v", gt=0.0, le=100.0)] = 1.0
    """Signal at its full level, effective value, against which noise is counted."""
    target_db: Annotated[float, Quantity("db", ge=-140.0, le=0.0)] = -80.0
    """Hum that is allowed, against that level: what sounds without music."""
    bass_target_db: Annotated[float, Quantity("db", ge=-140.0, le=0.0)] = -40.0
    """What a bass note may put into it by the amplifiers' own draw; the note itself covers it."""
