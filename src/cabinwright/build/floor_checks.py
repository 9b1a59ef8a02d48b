"""Rules that join floors, fixings and masses to the tables they name."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from cabinwright.build.checking import Fault, names_of, repeated, rows_of, shown, unknown

__all__ = ["WEIGHED", "floor_check"]

WEIGHED = ("boxes", "speakers", "amplifiers", "panels", "rings", "pods")
"""Tables whose parts have a mass, worked out or not."""


def floor_check(data: Mapping[str, Any]) -> Iterator[Fault]:
    """Every broken rule between floors, fixings, masses and what they name."""
    for table, kind in (("floors", "floor"), ("fixings", "fixing"), ("masses", "added part")):
        yield from repeated(rows_of(data, table), (table,), kind)
    panels = {row["name"]: row for _, row in rows_of(data, "panels") if isinstance(row.get("name"), str)}
    for number, row in rows_of(data, "floors"):
        panel, layer = row.get("panel"), row.get("layer")
        if isinstance(panel, str) and panel not in panels:
            yield unknown(("floors", number, "panel"), panel, list(panels), "panel", "panels")
        elif isinstance(panel, str) and isinstance(layer, str):
            layers = names_of(panels[panel], "layers")
            if layer not in layers:
                yield unknown(("floors", number, "layer"), layer, layers, "layer", "panels.layers")
        yield from repeated(rows_of(row, "loads"), ("floors", number, "loads"), "load")
    yield from _masses(data)


def _masses(data: Mapping[str, Any]) -> Iterator[Fault]:
    parts = [name for table in WEIGHED for name in names_of(data, table)]
    heavy = [*parts, *names_of(data, "masses")]
    for number, row in rows_of(data, "fixings"):
        held = row.get("holds")
        for index, word in enumerate(held if isinstance(held, list) else []):
            if isinstance(word, str) and word not in heavy:
                yield unknown(("fixings", number, "holds", index), word, heavy, "part with a mass", "masses")
    for number, row in rows_of(data, "masses"):
        name = row.get("name")
        if isinstance(name, str) and "mass_kg" not in row and name not in parts:
            rule = "no part that the plan weighs has this name, so its mass must be written"
            cure = 'Write for example mass_kg = "4.2 kg", or the name of a box, speaker, panel, ring or pod.'
            yield Fault(("masses", number, "name"), rule, shown(name), cure)
