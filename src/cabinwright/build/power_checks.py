"""Rules that join the tables of the electrical system: names that exist and are unique, states that have their values."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import prod
from typing import Any

from cabinwright.build.checking import Fault, did_you_mean, names_of, repeated, rows_of, shown, unknown
from cabinwright.build.locate import Path

__all__ = ["MOST_COMBINATIONS", "conditions_check", "power_check", "values_of_states"]

MOST_COMBINATIONS = 1 << 14
"""Every combination of states is solved, so there is an end to them."""
_NAMED = {
    "wires": "wire",
    "fuses": "fuse",
    "switches": "switch",
    "relays": "relay",
    "loads": "load",
    "states": "state",
    "signal_cables": "signal cable",
}


def power_check(data: Mapping[str, Any]) -> Iterator[Fault]:
    """Every broken rule between the tables of the electrical system."""
    for table, kind in _NAMED.items():
        yield from repeated(rows_of(data, table), (table,), kind)
    values = values_of_states(data)
    combinations = prod(max(1, len(words)) for words in values.values())
    if combinations > MOST_COMBINATIONS:
        rule = f"the states have more than {MOST_COMBINATIONS} combinations, and every one is solved"
        yield Fault(("states",), rule, str(combinations), "Leave out states that no switch and no promise names.")
    for number, row in rows_of(data, "switches"):
        yield from conditions_check(row.get("closed_when"), ("switches", number, "closed_when"), values)
    supply = data.get("supply")
    isolator = supply.get("isolator") if isinstance(supply, Mapping) else None
    if isinstance(isolator, Mapping):
        yield from conditions_check(isolator.get("closed_when"), ("supply", "isolator", "closed_when"), values)
    yield from _promises(data, values)
    wires = names_of(data, "wires")
    for number, row in rows_of(data, "signal_cables"):
        beside = row.get("beside")
        if isinstance(beside, str) and beside not in wires:
            yield unknown(("signal_cables", number, "beside"), beside, wires, "wire", "wires")


def values_of_states(data: Mapping[str, Any]) -> dict[str, list[str]]:
    """The values of each state by its name."""
    found = {}
    for _, row in rows_of(data, "states"):
        name, listed = row.get("name"), row.get("values")
        if isinstance(name, str):
            found[name] = [word for word in listed if isinstance(word, str)] if isinstance(listed, list) else []
    return found


def conditions_check(given: Any, path: Path, values: dict[str, list[str]]) -> Iterator[Fault]:
    """One table of states, or a list of such tables: names and values that are not there."""
    if isinstance(given, list):
        for index, item in enumerate(given):
            yield from conditions_check(item, (*path, index), values)
        return
    for state, word in given.items() if isinstance(given, Mapping) else ():
        if state not in values:
            yield unknown((*path, state), state, list(values), "state", "states")
        elif isinstance(word, str) and word not in values[state]:
            near = did_you_mean(word, values[state])
            listed = ", ".join(shown(value) for value in values[state])
            cure = f"Did you mean {shown(near)}?" if near else f"Write one of {listed}, or add it to that state."
            yield Fault((*path, state), f"the state {shown(state)} has no such value", shown(word), cure)


def _promises(data: Mapping[str, Any], values: dict[str, list[str]]) -> Iterator[Fault]:
    loads, relays = names_of(data, "loads"), names_of(data, "relays")
    for number, row in rows_of(data, "promises"):
        word = row.get("load")
        path: Path = ("promises", number, "load")
        if isinstance(word, str) and word not in (*loads, *relays):
            yield unknown(path, word, [*loads, *relays], "load or relay", "loads")
        elif isinstance(word, str) and word in loads and word in relays:
            yield Fault(path, "a load and a relay have this name", shown(word), "Give one of them another name.")
        yield from conditions_check(row.get("when"), ("promises", number, "when"), values)
