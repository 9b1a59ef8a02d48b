"""Rules of the service steps: names that must exist, and an order without a circle."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from graphlib import CycleError, TopologicalSorter
from typing import Any

from cabinwright.build.checking import Fault, did_you_mean, names_of, repeated, rows_of, shown, unknown

__all__ = ["NAMED_ELSEWHERE", "service_check"]

NAMED_ELSEWHERE = (
    "fuses", "relays", "switches", "loads", "connectors", "wires", "amplifiers", "converters", "sources",
    "speakers", "boxes", "panels", "rings", "pods", "lights", "floors", "fixings",
)  # fmt: skip
"""Tables whose names a service step may be `of`."""


def service_check(data: Mapping[str, Any]) -> Iterator[Fault]:
    """Every broken rule between service steps and what they name."""
    rows = rows_of(data, "service_steps")
    yield from repeated(rows, ("service_steps",), "service step")
    names = names_of(data, "service_steps")
    elsewhere = [*(name for table in NAMED_ELSEWHERE for name in names_of(data, table)), "processor", "battery"]
    after: dict[str, list[str]] = {}
    for number, row in rows:
        for index, word in enumerate(_words(row, "after")):
            if word not in names:
                yield unknown(("service_steps", number, "after", index), word, names, "service step", "service_steps")
        for index, word in enumerate(_words(row, "of")):
            if word not in elsewhere:
                near = did_you_mean(word, elsewhere)
                cure = f"Did you mean {shown(near)}?" if near else "Name a part that another table of the build names."
                yield Fault(
                    ("service_steps", number, "of", index), "nothing in the build has this name", shown(word), cure
                )
        if isinstance(row.get("name"), str):
            after.setdefault(row["name"], []).extend(_words(row, "after"))
    yield from _circle(data, after)


def _words(row: Mapping[str, Any], key: str) -> list[str]:
    value = row.get(key)
    return [word for word in value if isinstance(word, str)] if isinstance(value, list) else []


def _circle(data: Mapping[str, Any], after: Mapping[str, list[str]]) -> Iterator[Fault]:
    """The first circle that is met; the way round it is shown."""
    try:
        TopologicalSorter(after).prepare()
    except CycleError as error:
        ring: list[str] = error.args[1]  # each comes before the next; the first stands again at the end
        number = next(n for n, row in rows_of(data, "service_steps") if row.get("name") == ring[1])
        got = ", then ".join(shown(name) for name in ring)
        yield Fault(
            ("service_steps", number, "after"),
            "these wait for one another in a circle, so that none can ever come out",
            got,
            f"Drop one of the names in the `after` of these; {shown(ring[1])} now waits for {shown(ring[0])}.",
        )
