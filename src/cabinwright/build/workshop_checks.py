"""Rules that join the tables of the workshop: names that must exist or be unique."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from cabinwright.build.checking import Fault, names_of, repeated, rows_of, shown, unknown
from cabinwright.build.locate import Path
from cabinwright.build.mount_checks import mount_check

__all__ = ["workshop_check"]

PARTS = {"layers": "layer", "cut_outs": "cut-out", "slots": "slot", "perforations": "perforation", "motifs": "motif"}


def workshop_check(data: Mapping[str, Any]) -> Iterator[Fault]:
    """Every broken rule between panels, sheets and lights."""
    for table, kind in (("sheets", "sheet"), ("panels", "panel"), ("lights", "light")):
        yield from repeated(rows_of(data, table), (table,), kind)
    sheets, speakers = names_of(data, "sheets"), names_of(data, "speakers")
    for number, panel in rows_of(data, "panels"):
        at: Path = ("panels", number)
        yield from _named((*at, "sheet"), panel.get("sheet"), sheets, "sheet", "sheets")
        for key, kind in PARTS.items():
            yield from repeated(rows_of(panel, key), (*at, key), kind)
        for index, layer in rows_of(panel, "layers"):
            yield from _named((*at, "layers", index, "sheet"), layer.get("sheet"), sheets, "sheet", "sheets")
        for index, motif in rows_of(panel, "motifs"):
            layers = names_of(panel, "layers")
            yield from _named((*at, "motifs", index, "layer"), motif.get("layer"), layers, "layer", "panels.layers")
        for index, behind in rows_of(panel, "behind"):
            name = behind.get("speaker")
            yield from _named((*at, "behind", index, "speaker"), name, speakers, "speaker", "speakers")
    yield from _lights(data)
    yield from mount_check(data)


def _lights(data: Mapping[str, Any]) -> Iterator[Fault]:
    panels = {row["name"]: row for _, row in rows_of(data, "panels") if isinstance(row.get("name"), str)}
    loads = names_of(data, "loads")
    for number, light in rows_of(data, "lights"):
        name, along = light.get("panel"), light.get("along", "outline")
        yield from _named(("lights", number, "panel"), name, list(panels), "panel", "panels")
        yield from _named(("lights", number, "load"), light.get("load"), loads, "load", "loads")
        if isinstance(name, str) and name in panels and isinstance(along, str) and along != "outline":
            slots = names_of(panels[name], "slots")
            yield from _named(("lights", number, "along"), along, slots, "slot", "panels.slots")
        yield from repeated(rows_of(light, "primaries"), ("lights", number, "primaries"), "primary")
    for number, panel in rows_of(data, "panels"):
        for index, slot in rows_of(panel, "slots"):
            if slot.get("name") == "outline":
                path: Path = ("panels", number, "slots", index, "name")
                rule = "this name means the panel's own outline and cannot be a slot's"
                yield Fault(path, rule, shown("outline"), 'Call it for example "upper sweep".')


def _named(path: Path, word: Any, choices: list[str], kind: str, table: str) -> Iterator[Fault]:
    if isinstance(word, str) and word not in choices:
        yield unknown(path, word, choices, kind, table)
