"""The tables of the electrical system: supply, what joins nodes, what draws current, states and promises. No physics."""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from cabinwright.build.base import Model, require
from cabinwright.build.fields import Name, Number, Quantity, Written, wording
from cabinwright.units import Gauge, UnitError, read_gauge

__all__ = [
    "BATTERY_PLUS",
    "CHASSIS",
    "Alternator",
    "Amplifier",
    "Battery",
    "Conditions",
    "Fuse",
    "Isolator",
    "Load",
    "Promise",
    "Relay",
    "SecondBattery",
    "StateVariable",
    "Strip",
    "Supply",
    "Switch",
    "Wire",
]

BATTERY_PLUS = "battery plus"
CHASSIS = "chassis"

Conditions = tuple[dict[str, str], ...]


def _table(value: Any) -> dict[str, str]:
    example = 'Write for example {boot = "open"}.'
    if not isinstance(value, dict):
        raise wording("a table of states and their values is wanted", example)
    if len(value) > 32 or not all(isinstance(word, str) and 0 < len(word) <= 120 for word in value.values()):
        raise wording("each state has one value, a text", example)
    return dict(value)


def _conditions(value: Any) -> Conditions:
    if value == {}:
        raise wording("a contact that no state moves is no switch", "Name a state, or take a wire in its place.")
    if isinstance(value, list):
        if not 0 < len(value) <= 64:
            raise wording("1 to 64 alternatives are wanted", 'Write for example [{boot = "open"}, {key = "on"}].')
        return tuple(_table(item) for item in value)
    return (_table(value),)


def _gauge(value: Any) -> Gauge:
    example = 'Write for example "4 AWG" or "25 mm2", or leave it out to have the wire sized.'
    if not isinstance(value, str):
        raise wording("a size of a wire with its unit is wanted", example)
    try:
        return read_gauge(value[:60])
    except UnitError as error:
        raise wording(str(error), example) from None


_INSULATIONS = {"pvc": 125, "tpe": 125, "pur": 125, "epr": 150, "xlpe": 150, "silicone": 200, "etfe": 200, "ptfe": 200}
"""Kinds, with the highest temperature that any of the kind is made for."""
_INSULATION = re.compile(r"([A-Za-z]{2,12})\s+(\d{2,3})(?:\s*°?C)?")


def _insulation(value: Any) -> str:
    example = 'Write for example "PVC 105" or "XLPE 125".'
    found = _INSULATION.fullmatch(value.strip()) if isinstance(value, str) and len(value) < 40 else None
    if found is None:
        raise wording("a kind of insulation and the temperature it stands in °C are wanted", example)
    kind, rating = found[1].casefold(), int(found[2])
    if kind not in _INSULATIONS:
        known = ", ".join(word if word == "silicone" else word.upper() for word in _INSULATIONS)
        raise wording(f"the insulation is one of {known}", example)
    if not 60 <= rating <= _INSULATIONS[kind]:
        raise wording(f"such insulation stands 60 to {_INSULATIONS[kind]} °C", example)
    return f"{kind if kind == 'silicone' else kind.upper()} {rating}"


def _channels(value: Any) -> int | tuple[str, ...]:
    if type(value) is int and 1 <= value <= 64:
        return value
    if isinstance(value, list) and 0 < len(value) <= 64 and all(isinstance(word, str) and word for word in value):
        return tuple(value)
    raise wording(
        "a number of channels or a list of their names is wanted", 'Write 4, or ["left front", "right front"].'
    )


_TABLE = {"type": "object", "maxProperties": 32, "additionalProperties": {"type": "string"}}
_ONE = Written(_table, "table of states and values", _TABLE)
_ANY = Written(
    _conditions,
    "table of states and values, or a list of such tables",
    {"anyOf": [_TABLE, {"type": "array", "items": _TABLE, "minItems": 1, "maxItems": 64}]},
)
_SIZE = Written(
    _gauge,
    "text: size in AWG or mm2",
    {"type": "string", "description": 'size of a wire: "4 AWG" or "25 mm2"'},
)
_COATING = Written(
    _insulation,
    "text: kind and temperature in °C",
    {"type": "string", "pattern": "^\\s*[A-Za-z]{2,12}\\s+[0-9]{2,3}", "description": "for example PVC 105"},
)
_COUNT = Written(
    _channels,
    "whole number, or list of names",
    {
        "anyOf": [
            {"type": "integer", "minimum": 1, "maximum": 64},
            {"type": "array", "items": {"type": "string", "minLength": 1}, "minItems": 1, "maxItems": 64},
        ]
    },
)

Ohms = Annotated[float, Quantity("ohm", ge=0.0, le=1000.0)]
SourceOhms = Annotated[float, Quantity("ohm", gt=0.0, le=10.0)]
Amperes = Annotated[float, Quantity("a", gt=0.0, le=5000.0)]
Volts = Annotated[float, Quantity("v", gt=0.0, le=60.0)]
Capacity = Annotated[float, Quantity("ah", gt=0.0, le=2000.0)]
Length = Annotated[float, Quantity("m", gt=0.0, le=100.0)]
Celsius = Annotated[Number, Field(ge=-40.0, le=150.0)]


def _two_ends(from_: str, to: str) -> None:
    require(from_ != to, "to", "both ends are the same node")


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

    closed_when: Annotated[tuple[dict[str, str], ...], _ANY]
    """States in which it joins them; all entries of one table must hold, and any table of a list may."""
    resistance_ohm: Ohms = 0.0
    """Resistance while closed."""


class Alternator(Model):
    """The alternator."""

    rated_a: Amperes
    """Current at speed, as its label says."""
    idle_a: Amperes
    """Current at idle, warm."""


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
    gauge: Annotated[Gauge | None, _SIZE] = None
    """Size; absent: to be sized."""
    material: Literal["copper", "copper-clad aluminium"] = "copper"
    """What the conductor is made of."""
    insulation: Annotated[str, _COATING] = "PVC 105"
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

    @model_validator(mode="after")
    def _ends(self) -> Self:
        _two_ends(self.from_, self.to)
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

    @model_validator(mode="after")
    def _ends(self) -> Self:
        _two_ends(self.from_, self.to)
        return self


class Switch(Model):
    """One contact that is closed in some states of the car."""

    name: Name
    """What lists call it."""
    from_: Name = Field(alias="from")
    """Node at one end."""
    to: Name
    """Node at the other end."""
    closed_when: Annotated[tuple[dict[str, str], ...], _ANY]
    """States in which it is closed: all entries of one table must hold, and any table of a list may."""
    resistance_ohm: Ohms = 0.0
    """Resistance while closed."""

    @model_validator(mode="after")
    def _ends(self) -> Self:
        _two_ends(self.from_, self.to)
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

    @model_validator(mode="after")
    def _ends(self) -> Self:
        _two_ends(self.from_, self.to)
        require(self.coil_from != self.coil_to, "coil_to", "both ends of the coil are the same node")
        return self


class Amplifier(Model):
    """What an amplifier draws follows from what it can give and its class."""

    output_w: Annotated[float, Quantity("w", gt=0.0, le=50_000.0)]
    """Rated output of all its channels together, sine."""
    class_: Literal["A", "AB", "B", "D", "G", "H"] = Field(alias="class")
    """Class of its output stage."""
    channels: Annotated[int | tuple[str, ...] | None, _COUNT] = None
    """How many channels it has, or the names of the channels it plays."""


class Strip(Model):
    """A strip of lights that draws evenly along its length."""

    resistance_ohm: Annotated[float, Quantity("ohm", gt=0.0, le=1000.0)]
    """Resistance of its two tracks together, from end to end."""
    fed_at: Literal["one end", "both ends"] = "one end"
    """Where the load's two nodes meet it."""


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
    remote: Name | None = None
    """Node of its turn-on line; with it, it is on only while that node reaches a plus too. The line's own current is nothing."""
    strip: Strip | None = None
    """A strip of lights; its drop from end to end is worked out too."""
    dimmed_share: Annotated[Number, Field(gt=0.0, le=1.0)] = 1.0
    """Part of the time that a dimmer lets it draw; the average is so much of the peak."""
    asleep_a: Annotated[float, Quantity("a", ge=0.0, le=10.0)] = 0.0
    """Current it draws from the battery with everything asleep."""

    @model_validator(mode="after")
    def _one_draw(self) -> Self:
        _two_ends(self.from_, self.to)
        given = sum(draw is not None for draw in (self.power_w, self.current_a, self.amplifier))
        require(given == 1, "power_w", "a load has exactly one of power_w, current_a and amplifier")
        lights = self.strip is None and self.dimmed_share == 1.0
        require(lights or self.amplifier is None, "amplifier", "an amplifier is no strip and is not dimmed")
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
    when: Annotated[dict[str, str] | None, _ONE] = None
    """States in which it shall hold; absent, or for states that it leaves out: in all."""
