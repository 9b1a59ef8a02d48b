"""The installer's lists as plain words: rows for the pages, and the same lists for spreadsheets."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any

from cabinwright.build.designations import designations
from cabinwright.build.document import Build
from cabinwright.handover.commissioning import Check, Phase, commissioning
from cabinwright.handover.csv_text import csv_text
from cabinwright.handover.harness import Cut, End, Harness, HarnessWire, harness
from cabinwright.handover.labels import Label, labels
from cabinwright.handover.parts import Part, parts
from cabinwright.handover.wording import NONE, wire_length
from cabinwright.stages.power.result import PowerResult

__all__ = ["Lists", "csv_files", "figures", "lists", "passes", "view"]

Length = Callable[[float], str]


@dataclass(frozen=True)
class Lists:
    """Everything an installer takes along, as data."""

    harness: Harness
    parts: tuple[Part, ...]
    labels: tuple[Label, ...]
    phases: tuple[Phase, ...]


def lists(build: Build, result: PowerResult) -> Lists:
    """All lists of a build that the power stage has worked out."""
    rows = harness(build, result)
    return Lists(rows, parts(build, result, rows), labels(build, result, rows), commissioning(build, result))


def csv_files(found: Lists) -> dict[str, str]:
    """``harness.csv``, ``cut-list.csv`` and ``parts.csv``."""
    ends = [f"{word} {what}" for word in ("from", "to") for what in ("node", "terminal", "connector pin")]
    return {
        "harness.csv": csv_text(
            ["number", "name", *ends, "size", "colour", "insulation", "length as laid (m)", "allowance (m)",
             "length to cut (m)", "fuse"],
            [_harness_row(wire) for wire in found.harness.wires],
        ),
        "cut-list.csv": csv_text(
            ["size", "colour", "insulation", "wire", "length to cut (m)"],
            [
                [cut.size, cut.colour or "", cut.insulation, number, length]
                for cut in found.harness.cuts
                for number, length in cut.pieces
            ],
        ),
        "parts.csv": csv_text(
            ["group", "part", "quantity", "unit", "used for"],
            [[part.group, part.what, part.quantity, part.unit, part.used_for] for part in found.parts],
        ),
    }  # fmt: skip


def _harness_row(wire: HarnessWire) -> list[str | float]:
    ends = [text or "" for end in wire.ends for text in (end.node, end.terminal, end.pin)]
    lengths = [wire.length_m, wire.allowance_m, wire.cut_m]
    return [wire.number, wire.name, *ends, wire.size, wire.colour or "", wire.insulation, *lengths, wire.fuse or ""]


def view(build: Build, result: PowerResult, found: Lists) -> dict[str, Any]:
    """The lists as the templates take them: every value a text that is ready to read."""
    length: Length = partial(wire_length, units=build.workshop.units)
    return {
        "fuses": fuse_rows(build, result),
        "wires": [_wire(wire, length) for wire in found.harness.wires],
        "cuts": [_cut(cut, length) for cut in found.harness.cuts],
        "parts": _grouped(found.parts, length),
        "connectors": _connectors(build, found.harness),
        "phases": [_phase(phase) for phase in found.phases],
    }


def fuse_rows(build: Build, result: PowerResult) -> list[dict[str, Any]]:
    """The fuse chart: number, rating, and what goes dark without it."""
    numbers = designations(build)
    dark = {fault.element: fault.dark for fault in result.faults if fault.kind == "blown"}
    return [
        {
            "number": numbers["fuse", name],
            "name": name,
            "rating": f"{fuse.rating_a:g} A",
            "chosen": fuse.chosen,
            "protects": ", ".join(f"{numbers['wire', wire]} {wire}" for wire in fuse.protects) or NONE,
            "feeds": ", ".join(dark.get(f"fuse “{name}”", ())) or NONE,
            "holds": fuse.clears,
        }
        for name, fuse in result.fuses.items()
    ]


def _wire(wire: HarnessWire, length: Length) -> dict[str, Any]:
    return {
        "number": wire.number,
        "name": wire.name,
        "ends": [{"node": end.node, "joined": _joined(end)} for end in wire.ends],
        "either": ", ".join(wire.either),
        "size": _together(wire.size),
        "colour": wire.colour or NONE,
        "length": length(wire.length_m),
        "allowance": length(wire.allowance_m),
        "cut": length(wire.cut_m),
        "fuse": wire.fuse or NONE,
    }


def _joined(end: End) -> str:
    """``ring M8 · X1 pin 2``, the pin on one line."""
    pin = end.pin.replace(" ", "\u00a0") if end.pin else None
    return " · ".join(text for text in (end.terminal, pin) if text)


def _cut(cut: Cut, length: Length) -> Any:
    return {
        "size": _together(cut.size),
        "colour": cut.colour or NONE,
        "insulation": cut.insulation,
        "pieces": [(number, length(piece_m)) for number, piece_m in cut.pieces],
        "total": length(cut.total_m),
    }


def _together(size: str) -> str:
    """The number and its unit on one line."""
    return size.replace(" ", "\u00a0", 1)


def _grouped(found: tuple[Part, ...], length: Length) -> list[dict[str, Any]]:
    groups: dict[str, list[dict[str, str]]] = {}
    for part in found:
        quantity = length(part.quantity) if part.unit == "m" else f"{part.quantity:g}"
        groups.setdefault(part.group, []).append({"what": part.what, "quantity": quantity, "for": part.used_for})
    return [{"name": name, "rows": rows} for name, rows in groups.items()]


def _connectors(build: Build, rows: Harness) -> list[dict[str, Any]]:
    numbers = designations(build)
    tables = []
    for connector, pins in zip(build.connectors, rows.pins, strict=True):
        found = []
        for row in pins:
            wire = row.wire
            other = None if wire is None or row.end is None else wire.ends[1 - row.end]
            ends = " or ".join(end.node for end in wire.ends) if wire else ""
            found.append(
                {
                    "pin": row.pin,
                    "wire": f"{wire.number} {wire.name}" if wire else "",
                    "size": _together(wire.size) if wire else "",
                    "colour": (wire.colour or NONE) if wire else "",
                    "terminal": (wire.ends[row.end].terminal or NONE) if wire and row.end is not None else "",
                    "other": other.node if other else ends,
                    "use": row.use or ("" if wire else "empty"),
                }
            )
        about = " · ".join(text for text in (connector.where, connector.housing) if text)
        tables.append(
            {"number": numbers["connector", connector.name], "name": connector.name, "about": about, "pins": found}
        )
    return tables


def _phase(phase: Phase) -> dict[str, Any]:
    rows = [
        {
            "what": check.what,
            "state": check.state,
            "expect": check.seen or figures(check.expected, check.unit),
            "passes": "" if check.seen else passes(check),
            "hint": check.hint,
            "unit": check.unit,
        }
        for check in phase.checks
    ]
    return {"title": phase.title, "first": phase.first, "checks": rows}


def passes(check: Check) -> str:
    """``12.35 to 12.95 V``, ``up to 0.20 Ω``, ``at least 10 kΩ``."""
    low, high, unit = check.low, check.high, check.unit
    if high is None:
        return f"at least {figures(low, unit)}"
    if not low:
        return f"up to {figures(high, unit)}"
    if low == high:
        return figures(low, unit)
    return f"{figures(low, unit).removesuffix(f' {unit}')} to {figures(high, unit)}"


def figures(value: float | None, unit: str) -> str:
    """A reading as a meter shows it: ``1.9 mΩ``, ``12.65 V``, ``3.30 A``, ``10 kΩ``."""
    if value is None:
        return NONE
    if unit == "Ω":
        if value >= 1000.0:
            return f"{value / 1000.0:g} kΩ"
        return f"{1000.0 * value:.2g} mΩ" if value < 0.1 else f"{value:.2f} Ω"
    if unit == "A":
        return f"{value:g} A" if value == round(value) else f"{value:.2f} A" if value < 10.0 else f"{value:.1f} A"
    return f"{value:.2f} V" if unit == "V" else f"{value:.1f} {unit}" if value < 10.0 else f"{value:.0f} {unit}"
