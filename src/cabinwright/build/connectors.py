"""Connectors of the harness: which wire sits in which pin, and the rules that join them to the wires."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from cabinwright.build.base import Model, require
from cabinwright.build.checking import Fault, names_of, repeated, rows_of, shown, unknown
from cabinwright.build.fields import Name

__all__ = ["Connector", "Pin", "connector_check"]


class Pin(Model):
    """One pin of a connector."""

    pin: Annotated[int, Field(ge=1, le=200)]
    """Its number, as moulded into the housing."""
    wire: Name | None = None
    """The wire crimped to it; absent: no wire of this build."""
    end: Literal["from", "to"] | None = None
    """Which end of that wire; absent: the one that no other pin has, or either."""
    use: Name | None = None
    """What it is for, as the connector's other half calls it."""

    @model_validator(mode="after")
    def _one_thing(self) -> Self:
        require(self.wire is not None or self.use is not None, "wire", "a pin has a wire or says what it is for")
        require(self.end is None or self.wire is not None, "end", "an end belongs to a wire")
        return self


class Connector(Model):
    """One connector half with its pins."""

    name: Name
    """What lists and labels call it."""
    where: Name | None = None
    """Where it sits in the car."""
    housing: Name | None = None
    """Kind of housing, for the parts list."""
    ways: Annotated[int, Field(ge=1, le=200)] | None = None
    """How many pins it has room for; absent: up to the highest one listed."""
    pins: Annotated[tuple[Pin, ...], Field(strict=False, min_length=1, max_length=200)]
    """Its pins; whatever is not listed stays empty."""


def connector_check(data: Mapping[str, Any]) -> Iterator[Fault]:
    """Names that are unique, pins that fit and stand once, wires that exist and have no more ends than two."""
    yield from repeated(rows_of(data, "connectors"), ("connectors",), "connector")
    wires = names_of(data, "wires")
    known, ends = set(wires), dict[str, list[tuple[str, str]]]()
    for number, row in rows_of(data, "connectors"):
        name = shown(row.get("name", "without a name"))
        taken: set[int] = set()
        for index, pin in rows_of(row, "pins"):
            path = ("connectors", number, "pins", index)
            at, ways, wire = pin.get("pin"), row.get("ways"), pin.get("wire")
            if type(at) is int:
                if at in taken:
                    yield Fault((*path, "pin"), "this pin stands twice", str(at), "Give each wire a pin of its own.")
                if type(ways) is int and at > ways:
                    rule = f"the connector has {ways} ways"
                    yield Fault((*path, "pin"), rule, str(at), "Take another pin, or write how many ways it has.")
                taken.add(at)
            if not isinstance(wire, str):
                continue
            if wire not in known:
                yield unknown((*path, "wire"), wire, wires, "wire", "wires")
                continue
            end, there = pin.get("end"), ends.setdefault(wire, [])
            where = f"{name} pin {at}"
            same = [at for other, at in there if other == end and isinstance(end, str)]
            if same:
                cure = f"It is in {same[0]} already; write the other end, or take it out there."
                yield Fault((*path, "end"), "this end of the wire is crimped twice", shown(end), cure)
            elif len(there) == 2:
                cure = f"It is in {there[0][1]} and {there[1][1]} already; join more wires at a node."
                yield Fault((*path, "wire"), "a wire has two ends", shown(wire), cure)
            there.append((str(end), where))
