"""How the electrical tables are read: sizes, insulations, conditions and quantities, with their words. No physics."""

from __future__ import annotations

import re
from typing import Annotated, Any

from pydantic import Field

from cabinwright.build.base import require
from cabinwright.build.fields import Number, Quantity, Written, wording
from cabinwright.units import Gauge, UnitError, read_gauge

__all__ = [
    "ANY_TABLE",
    "BATTERY_PLUS",
    "CHASSIS",
    "COATING",
    "COUNT",
    "ONE_TABLE",
    "SIZE",
    "Amperes",
    "Capacity",
    "Celsius",
    "Conditions",
    "Length",
    "Ohms",
    "SourceOhms",
    "Volts",
    "two_ends",
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


TABLE = {"type": "object", "maxProperties": 32, "additionalProperties": {"type": "string"}}
ONE_TABLE = Written(_table, "table of states and values", TABLE)
ANY_TABLE = Written(
    _conditions,
    "table of states and values, or a list of such tables",
    {"anyOf": [TABLE, {"type": "array", "items": TABLE, "minItems": 1, "maxItems": 64}]},
)
SIZE = Written(
    _gauge,
    "text: size in AWG or mm2",
    {"type": "string", "description": 'size of a wire: "4 AWG" or "25 mm2"'},
)
COATING = Written(
    _insulation,
    "text: kind and temperature in °C",
    {"type": "string", "pattern": "^\\s*[A-Za-z]{2,12}\\s+[0-9]{2,3}", "description": "for example PVC 105"},
)
COUNT = Written(
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


def two_ends(from_: str, to: str) -> None:
    require(from_ != to, "to", "both ends are the same node")
