"""Names of the files that a workshop gets, and from what each is made; in one place, so that lists and files agree."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from typing import Any

from cabinwright.stages.workshop.result import WorkshopResult

__all__ = ["FOLDER", "Planned", "mounts_dict", "planned_files", "planned_solids", "solid_of_box", "stem"]

FOLDER = "workshop"
TEMPLATE_M = 1.5  #: parts longer than this get no paper template
RESERVED = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)$")  #: names that Windows keeps for itself


@dataclass(frozen=True, slots=True)
class Planned:
    """One file to write."""

    name: str
    kind: str  #: dxf, svg, pdf, stl, step
    part: str | None = None
    sheet: int | None = None  #: index into the nesting
    mount: str | None = None  #: name of a ring or pod
    box: str | None = None  #: name of a box whose solid it is
    air: bool = False  #: the air in that box instead of its boards


def planned_files(result: WorkshopResult) -> tuple[Planned, ...]:
    """Files of every part, sheet and solid that nothing stands against."""
    taken: set[str] = set()
    rows: list[Planned] = []
    for name, part in result.parts.items():
        if part.stopped:
            continue
        base = stem(name, taken)
        kinds = ("dxf", "svg", "pdf") if max(part.size_m) <= TEMPLATE_M else ("dxf", "svg")
        rows += [Planned(f"{FOLDER}/{base}.{kind}", kind, part=name) for kind in kinds]
    for index, sheet in enumerate(result.nesting):
        if any(result.parts[placed.part].stopped for placed in sheet.placed):
            continue
        base = stem(f"sheet {sheet.sheet} {sheet.number}", taken)
        rows += [Planned(f"{FOLDER}/{base}.{kind}", kind, sheet=index) for kind in ("dxf", "svg")]
    return (*rows, *planned_solids(result))


def planned_solids(result: WorkshopResult) -> tuple[Planned, ...]:
    """Files of every ring, pod and box with a shape that nothing stands against."""
    rows: list[Planned] = []
    kinds = ("stl", "step") if result.step else ("stl",)
    solids: set[str] = set()
    for name, mount in result.mounts.items():
        base = f"{FOLDER}/{stem(name, solids)}_solid"  # no box or part ends so: stem gives no underscore
        rows += [] if mount.stopped else [Planned(f"{base}.{kind}", kind, mount=name) for kind in kinds]
    taken: set[str] = set()
    for name, box in result.boxes.items():
        base = f"{FOLDER}/{stem(name, taken)}"
        rows += [] if box.stopped else [Planned(f"{base}.{kind}", kind, box=name) for kind in kinds]
        rows += [] if box.stopped else [Planned(f"{base}_air.stl", "stl", box=name, air=True)]
    return tuple(row for row in rows if row.name not in result.unmade)


def mounts_dict(result: WorkshopResult) -> dict[str, Any]:
    """Rings and pods as ``plan.json`` has them, with the names of their solids."""
    solids = {item.mount: item.name for item in planned_solids(result) if item.kind == "stl"}
    return {name: item.to_dict(solids.get(name)) for name, item in result.mounts.items()}


def solid_of_box(result: WorkshopResult | None, name: str, *, air: bool = False) -> str | None:
    """The name of a box's STL, or of that of its air; None where it has none."""
    planned = planned_solids(result) if result is not None else ()
    return next((item.name for item in planned if item.box == name and item.kind == "stl" and item.air == air), None)


def stem(name: str, taken: set[str]) -> str:
    """Letters, digits and hyphens that every system takes, told apart by a number where two names come out alike."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    stem = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:60] or "part"
    stem = f"part-{stem}" if RESERVED.match(stem) else stem
    whole, number = stem, 1
    while whole in taken:
        number += 1
        whole = f"{stem}-{number}"
    taken.add(whole)
    return whole
