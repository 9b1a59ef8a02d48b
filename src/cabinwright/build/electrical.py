"""The tables of the electrical system: supply, what joins nodes, what draws current, states and promises. No physics."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from cabinwright.build.base import Hertz, Model, require
from cabinwright.build.electrical_fields import (
    ANY_TABLE,
    BATTERY_PLUS,
    CHASSIS,
    COATING,
    ONE_TABLE,
    SIZE,
    Amperes,
    Capacity,
    Celsius,
    Conditions,
    Length,
    Ohms,
    SourceOhms,
    Volts,
    two_ends,
)
from cabinwright.build.fields import Name, Number, Point, Quantity
from cabinwright.build.loads import Amplifier, Driver, Inrush, Load, SignalCable, Strip
from cabinwright.units import Gauge

__all__ = [
    "BATTERY_PLUS",
    "CHASSIS",
    "Alternator",
    "Amplifier",
    "Battery",
    "Conditions",
    "Driver",
    "Fuse",
    "Inrush",
    "Isolator",
    "Load",
    "Promise",
    "Relay",
    "SecondBattery",
    "SignalCable",
    "StateVariable",
    "Strip",
    "Supply",
    "Switch",
    "Wire",
]


class Battery(Model):
    """The battery between `battery plus` and `chassis`."""

    capacity_ah: Capacity
    """Capacity at the 20 h rate, as its label says."""
    resistance_ohm: SourceOhms
    """Internal resistance, charged and warm."""


class SecondBattery(Model):
    """A second battery, between a node of its own and `chassis`."""

    capacity_ah: Capacity
    """Capacity at the 20 h rate."""
    resistance_ohm: SourceOhms
    """Internal resistance."""
    plus: Name = "second battery plus"
    """The node its plus is on."""
    open_v: Volts | None = None
    """Voltage behind its resistance; absent: that of the supply, as where both are charged together."""


class Isolator(Model):
    """What joins the second battery to the first: a relay or an electronic switch, closed in some states."""

    closed_when: Annotated[tuple[dict[str, str], ...], ANY_TABLE]
    """States in which it joins them; all entries of one table must hold, and any table of a list may."""
    resistance_ohm: Ohms = 0.0
    """Resistance while closed."""
    rating_a: Amperes | None = None
    """Current that the contact carries, as its maker states."""
    making_a: Amperes | None = None
    """Current that it may close onto for an instant, as its maker states; absent: its rating."""


class Alternator(Model):
    """The alternator."""

    rated_a: Amperes
    """Current at speed, as its label says."""
    idle_a: Amperes
    """Current at idle, warm."""
    ripple_share: Annotated[Number, Field(ge=0.0, le=1.0)] = 0.0571
    """Amplitude of its ripple as a part of its current; the default is 2/35, of an ideal six-pulse rectifier."""
    ripple_hz: Hertz = 1200.0
    """Frequency of that ripple; the default is a machine of twelve poles turning at 2000 1/min, as at idle."""


class Supply(Model):
    """The supply: an ideal source behind the battery's resistance, between `battery plus` and `chassis`."""

    nominal_v: Volts
    """Voltage with the engine running."""
    engine_off_v: Volts = 12.65
    """Voltage with the engine off; the default is a charged, rested lead-acid battery."""
    battery: Battery | None = None
    """The battery; absent: a source without resistance, and no short-circuit current is known."""
    alternator: Alternator | None = None
    """The alternator; absent: no budget while driving."""
    second_battery: SecondBattery | None = None
    """A second battery."""
    isolator: Isolator | None = None
    """What joins the second battery to `battery plus`; absent: only wires, switches and relays of the build do."""
    conductor_c: Celsius = 20.0
    """Temperature of every conductor for which resistances and drops are stated; sizing takes the insulation's limit."""
    drop_share: Annotated[Number, Field(gt=0.0, le=0.5)] = 0.03
    """Part of the nominal voltage that feed and return of a load may lose together, at average draw."""
    bass_hz: Hertz = 50.0
    """Bass note whose swing of supply current is held against signal cables; it shows there at twice this frequency."""

    @model_validator(mode="after")
    def _joined(self) -> Self:
        require(
            self.isolator is None or self.second_battery is not None, "isolator", "an isolator needs second_battery"
        )
        second = self.second_battery
        taken = second is not None and second.plus in (BATTERY_PLUS, CHASSIS)
        require(not taken, "second_battery", "the second battery's plus is a node of its own")
        return self


class Wire(Model):
    """One wire between two nodes; which end is which means nothing."""

    name: Name
    """What lists and labels call it."""
    from_: Name = Field(alias="from")
    """Node at one end."""
    to: Name
    """Node at the other end."""
    length_m: Length
    """Length one way, as laid."""
    gauge: Annotated[Gauge | None, SIZE] = None
    """Size; absent: to be sized."""
    material: Literal["copper", "copper-clad aluminium"] = "copper"
    """What the conductor is made of."""
    insulation: Annotated[str, COATING] = "PVC 105"
    """Insulation with the temperature it stands, in °C."""
    bundle: Annotated[int, Field(ge=1, le=100)] = 1
    """How many current-carrying wires lie in its bundle, itself included."""
    ambient_c: Celsius = 30.0
    """Temperature around it, in °C; 50 or more beside an engine."""
    shield: bool = False
    """Whether it is the shield of a signal cable, which is not meant to carry supply current."""
    colour: Name | None = None
    """Colour for lists and labels."""
    from_terminal: Name | None = None
    """Terminal at the `from` end, for example `ring M8`."""
    to_terminal: Name | None = None
    """Terminal at the `to` end."""
    allowance_m: Annotated[float, Quantity("m", ge=0.0, le=20.0)] | None = None
    """Cut longer by this, both ends together: bends, service loop, stripping; absent: a tenth of it and 30 cm."""
    route_m: Annotated[tuple[Point, ...], Field(strict=False, min_length=2, max_length=100)] | None = None
    """Points that it passes, in order, in the car's axes: drawn, and held against its length and what must stay free."""

    @model_validator(mode="after")
    def _ends(self) -> Self:
        two_ends(self.from_, self.to)
        return self


class Fuse(Model):
    """One fuse between two nodes; ideal unless given a resistance."""

    name: Name
    """What lists and the fuse chart call it."""
    from_: Name = Field(alias="from")
    """Node at one end."""
    to: Name
    """Node at the other end."""
    rating_a: Amperes | None = None
    """Rating; absent: to be chosen."""
    from_battery_m: Annotated[float, Quantity("m", ge=0.0, le=100.0)] | None = None
    """Length of wire between the battery and it."""
    breaking_a: Annotated[float, Quantity("a", gt=0.0, le=200_000.0)] | None = None
    """Largest current it can break, as its maker states; absent: 1000 A up to 100 A of rating, else unknown."""
    resistance_ohm: Ohms = 0.0
    """Resistance cold."""
    melting_a2s: Annotated[Number, Field(gt=0.0, le=1e9)] | None = None
    """Least I²t that melts it, in A²s, as its maker states; absent: the least that the gates of ISO 8820-3 let pass."""

    @model_validator(mode="after")
    def _ends(self) -> Self:
        two_ends(self.from_, self.to)
        return self


class Switch(Model):
    """One contact that is closed in some states of the car."""

    name: Name
    """What lists call it."""
    from_: Name = Field(alias="from")
    """Node at one end."""
    to: Name
    """Node at the other end."""
    closed_when: Annotated[tuple[dict[str, str], ...], ANY_TABLE]
    """States in which it is closed: all entries of one table must hold, and any table of a list may."""
    resistance_ohm: Ohms = 0.0
    """Resistance while closed."""
    rating_a: Amperes | None = None
    """Current that the contact carries, as its maker states."""
    making_a: Amperes | None = None
    """Current that it may close onto for an instant, as its maker states; absent: its rating."""

    @model_validator(mode="after")
    def _ends(self) -> Self:
        two_ends(self.from_, self.to)
        return self


class Relay(Model):
    """One relay: a contact that a coil moves."""

    name: Name
    """What lists and promises call it; a promise about it means its coil."""
    from_: Name = Field(alias="from")
    """Node at one end of the contact."""
    to: Name
    """Node at the other end of the contact."""
    coil_from: Name
    """Node at the plus end of the coil."""
    coil_to: Name = CHASSIS
    """Node at the other end of the coil."""
    coil_a: Annotated[float, Quantity("a", gt=0.0, le=20.0)] = 0.15
    """Current of the coil."""
    at_rest: Literal["open", "closed"] = "open"
    """The contact while the coil has no current."""
    resistance_ohm: Ohms = 0.0
    """Resistance of the closed contact."""
    rating_a: Amperes | None = None
    """Current that the contact carries, as its maker states."""
    making_a: Amperes | None = None
    """Current that it may close onto for an instant, as its maker states; absent: its rating."""

    @model_validator(mode="after")
    def _ends(self) -> Self:
        two_ends(self.from_, self.to)
        require(self.coil_from != self.coil_to, "coil_to", "both ends of the coil are the same node")
        return self


class StateVariable(Model):
    """Something of the car that can be one way or another: the boot, the key, a door."""

    name: Name
    """What conditions call it."""
    values: Annotated[tuple[Name, ...], Field(strict=False, min_length=1, max_length=16)]
    """What it can be."""

    @model_validator(mode="after")
    def _distinct(self) -> Self:
        require(len(set(self.values)) == len(self.values), "values", "a value stands twice")
        return self


class Promise(Model):
    """What shall hold whatever else the car does."""

    text: Annotated[str, Field(min_length=1, max_length=300)]
    """The promise in words."""
    load: Name
    """The load or relay it is about; for a relay, its coil."""
    is_: Literal["on", "off"] = Field(alias="is")
    """What the load shall be."""
    when: Annotated[dict[str, str] | None, ONE_TABLE] = None
    """States in which it shall hold; absent, or for states that it leaves out: in all."""
