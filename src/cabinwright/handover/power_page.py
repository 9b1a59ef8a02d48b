"""The wiring on paper: fuse chart, harness, cut list, parts, what to measure before and after power, promises and faults."""

from __future__ import annotations

import math
from collections import defaultdict
from typing import Any

from cabinwright.build.document import Build
from cabinwright.handover.pages import page
from cabinwright.handover.report import finding_groups
from cabinwright.stages.power.result import FaultResult, PowerResult
from cabinwright.stages.power.states import words

__all__ = ["cut_length_m", "power_html"]

NONE = "–"
ALLOWANCE_SHARE, ALLOWANCE_M = 0.10, 0.15
"""What a wire is cut longer than it lies: a tenth for bends, and a hand's breadth at each end. Common practice."""


def cut_length_m(length_m: float) -> float:
    """Length to cut [m], rounded up to 5 cm."""
    wanted = length_m * (1.0 + ALLOWANCE_SHARE) + 2.0 * ALLOWANCE_M
    return math.ceil(wanted / 0.05 - 1e-9) * 0.05


def power_html(build: Build, result: PowerResult) -> str:
    """The whole page as HTML that needs nothing else."""
    promises = [(item.text, item.holds, words(item.counterexample or {})) for item in result.promises]
    return page(
        "power",
        styles=("report",),
        title=build.title,
        combinations=result.states.count,
        findings=finding_groups(list(result.findings)),
        promises=promises,
        fuses=_fuses(build, result),
        wires=_wires(build, result),
        cuts=_cuts(build, result),
        parts=_parts(build),
        cold=_cold(build, result),
        warm=_warm(result),
        faults=[row for fault in result.faults if (row := _fault(fault))],
        budget=_budget(result),
        assumptions=result.assumptions,
        conductor=f"{result.conductor_c:g}",
    )


def _amperes(value: float | None) -> str:
    return NONE if value is None else f"{value:.2f} A" if value < 10.0 else f"{value:.0f} A"


def _fuses(build: Build, result: PowerResult) -> list[dict[str, Any]]:
    return [
        {
            "number": f"F{number}",
            "name": name,
            "rating": f"{fuse.rating_a:g} A",
            "chosen": fuse.chosen,
            "load": _amperes(fuse.load_a),
            "average": _amperes(fuse.average_a),
            "short": _amperes(fuse.prospective_a),
            "clears": fuse.clears,
            "protects": ", ".join(fuse.protects) or NONE,
        }
        for number, (name, fuse) in enumerate(result.fuses.items(), 1)
    ]


def _wires(build: Build, result: PowerResult) -> list[dict[str, Any]]:
    return [
        {
            "number": f"W{number}",
            "name": name,
            "from": wire.from_,
            "to": wire.to,
            "gauge": wire.gauge,
            "why": wire.decided_by,
            "material": "" if wire.material == "copper" else wire.material,
            "colour": build.wires[number - 1].colour or NONE,
            "length": f"{wire.length_m:.2f} m",
            "cut": f"{cut_length_m(wire.length_m):.2f} m",
            "current": _amperes(wire.current_a),
            "drop": f"{wire.drop_v:.3f} V",
            "stands": _amperes(wire.ampacity_a),
            "fuse": wire.fuse or NONE,
        }
        for number, (name, wire) in enumerate(result.wires.items(), 1)
    ]


def _cuts(build: Build, result: PowerResult) -> list[tuple[str, str, str, str]]:
    """Size and colour, which wires, and how much of it in all; thickest first."""
    groups: dict[tuple[float, str, str, str], list[tuple[str, float]]] = defaultdict(list)
    for number, wire in enumerate(result.wires.values(), 1):
        colour = build.wires[number - 1].colour or NONE
        groups[-wire.area_mm2, wire.gauge, wire.material, colour].append((f"W{number}", cut_length_m(wire.length_m)))
    return [
        (
            gauge if material == "copper" else f"{gauge} {material}",
            colour,
            ", ".join(f"{number} {length:.2f} m" for number, length in rows),
            f"{sum(length for _, length in rows):.2f} m",
        )
        for (_, gauge, material, colour), rows in sorted(groups.items())
    ]


def _parts(build: Build) -> list[tuple[str, str]]:
    """Contacts and loads with where they are joined."""
    rows = [(f"switch “{row.name}”", f"{row.from_} to {row.to}") for row in build.switches]
    rows += [
        (
            f"relay “{row.name}”",
            f"{row.from_} to {row.to}, closed at rest: {'yes' if row.at_rest == 'closed' else 'no'}; "
            f"coil {row.coil_from} to {row.coil_to}",
        )
        for row in build.relays
    ]
    return rows + [(f"load “{row.name}”", f"{row.from_} to {row.to}") for row in build.loads]


def _cold(build: Build, result: PowerResult) -> list[tuple[str, str]]:
    """What to measure before power, battery off and fuses out."""
    rows = [
        (f"W{number} “{name}”, end to end", f"{1e3 * wire.resistance_ohm:.1f} mΩ, less than 1 Ω on a plain meter")
        for number, (name, wire) in enumerate(result.wires.items(), 1)
    ]
    return rows + [
        (f"fuse “{name}”, load side to chassis, loads unplugged", "more than 10 kΩ") for name in result.fuses
    ]


def _warm(result: PowerResult) -> list[tuple[str, str, str]]:
    """Load, state, and what to expect there: quiet and at full level."""
    return [
        (name, words(load.state), f"{load.average_v:.2f} V with music, {load.voltage_v:.2f} V at full level")
        for name, load in result.loads.items()
        if load.state is not None and load.voltage_v is not None and load.average_v is not None
    ]


def _fault(fault: FaultResult) -> tuple[str, str] | None:
    """What went wrong, and what then happens; ``None`` where nothing does."""
    said = []
    if fault.kind == "chafed":
        clears = "the wire is harmed first" if not fault.clears else "the wire stands it"
        opens = NONE if fault.clears_s is None else f"{fault.clears_s:.2g} s"
        said.append(f"{_amperes(fault.current_a)} at least; fuse {fault.fuse or NONE} opens within {opens}; {clears}")
    for label, names in (
        ("comes on", fault.lights),
        ("goes dark", fault.dark),
        ("through a shield", fault.through_shield),
    ):
        if names:
            said.append(f"{label}: {', '.join(names)}")
    if fault.stays_live:
        said.append(f"stays live: {', '.join(fault.stays_live)}")
    said += [f"breaks “{item.text}”" for item in fault.breaks]
    return (f"{fault.element} {fault.kind}", "; ".join(said)) if said else None


def _budget(result: PowerResult) -> list[tuple[str, str]]:
    budget = result.budget
    rows = [
        ("draw at full level", f"{_amperes(budget['peak_a'])} ({words(budget['state'])})"),
        ("draw for music", _amperes(budget["average_a"])),
        ("battery's plus on a bass note", f"{budget['sag']['bass_note_v']:.2f} V"),
    ]
    if budget["alternator"]:
        rows.append(("alternator, left at idle", f"{budget['alternator']['spare_at_idle_a']:.0f} A"))
        rows.append(("alternator, left at speed", f"{budget['alternator']['spare_at_speed_a']:.0f} A"))
    if budget["engine_off_hours"] is not None:
        rows.append(("music with the engine off, still starting", f"{budget['engine_off_hours']:.1f} h"))
    if budget["days_until_flat"] is not None:
        rows.append(("asleep until it no longer starts", f"{budget['days_until_flat']:.0f} days"))
    if budget["charge_a"] is not None:
        rows.append(("second battery half empty, first current", f"up to {_amperes(budget['charge_a'])}"))
    return [(label, text.replace("-", "−")) for label, text in rows]
