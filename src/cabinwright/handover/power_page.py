"""The electrical system on pages: one that has it all, and one of its own for each list that goes to the bench."""

from __future__ import annotations

from typing import Any

from cabinwright.build.designations import designations
from cabinwright.build.document import Build
from cabinwright.handover.harness import size_words
from cabinwright.handover.labels import label_sheets
from cabinwright.handover.lists import Lists, csv_files, figures, lists, view
from cabinwright.handover.pages import page
from cabinwright.handover.power_extras import amperes, extra_rows, metered
from cabinwright.handover.print import CARE, print_files
from cabinwright.handover.report import finding_groups
from cabinwright.handover.wording import NONE
from cabinwright.stages.power.result import FaultResult, FuseResult, PowerResult
from cabinwright.stages.power.states import words

__all__ = ["fault_words", "power_documents", "power_html"]

PAGES = {
    "fuse-chart": ("Fuse chart", "A card for the lid: print at actual size and cut along the line.", False),
    "harness": ("Harness", "Every wire with both its ends.", True),
    "cut-list": ("Cut list", "What to cut, by size and colour.", False),
    "parts": ("Parts", "What to have on the bench before the first cut.", False),
    "connectors": ("Connectors", "Pins as numbered on the housings, seen from the wire side.", False),
    "labels": (
        "Labels",
        "Print at actual size, 62 by 22 mm each, on A4 or Letter. The code says the same as the label, in plain text.",
        False,
    ),
    "commissioning": ("Commissioning", "What to measure, and between which figures it passes.", False),
}
"""File and body of each page -> its heading, what it is for, and whether it prints across the paper."""


def power_documents(build: Build, result: PowerResult) -> dict[str, str | bytes]:
    """``power.html``, a page for each list, the same for spreadsheets, and what is printed and cut as PDF."""
    found = lists(build, result)
    shown = view(build, result, found)
    kinds = _kinds(build)
    documents = {f"{kind}.html": _list_html(kind, build, found, shown) for kind in kinds}
    sheets = {name: text for name, text in csv_files(found).items() if name.removesuffix(".csv") in kinds}
    printed = print_files(build.title, found, shown)
    return {"power.html": power_html(build, result, shown), **documents, **sheets, **printed}


def _kinds(build: Build) -> list[str]:
    """The pages that have something on them."""
    empty = {"connectors": not build.connectors, "fuse-chart": not build.fuses}
    empty |= dict.fromkeys(("harness", "cut-list"), not build.wires)
    items = (build.wires, build.fuses, build.switches, build.relays, build.loads, build.connectors)
    empty["labels"] = not any(items)
    return [kind for kind in PAGES if not empty.get(kind)]


def _papers(build: Build) -> list[tuple[str, list[str]]]:
    """What each document is called, and its files."""
    also = {
        "fuse-chart": ["fuse-chart.pdf"],
        "labels": ["labels-a4.pdf", "labels-letter.pdf"],
        "commissioning": ["commissioning.pdf"],
        **{kind: [f"{kind}.csv"] for kind in ("harness", "cut-list", "parts")},
    }
    rows = [(PAGES[kind][0], [f"{kind}.html", *also.get(kind, [])]) for kind in _kinds(build)]
    return [("Wiring diagram", ["wiring.svg", "wiring.pdf"]), *rows]


def _list_html(kind: str, build: Build, found: Lists, shown: dict[str, Any]) -> str:
    heading, about, wide = PAGES[kind]
    sheets = label_sheets(found.labels) if kind == "labels" else []
    return page(
        "list",
        styles=("report", "electrical"),
        kind=kind,
        title=build.title,
        heading=heading,
        about=about,
        wide=wide,
        care=CARE,
        sheets=sheets,
        **shown,
    )


def power_html(build: Build, result: PowerResult, shown: dict[str, Any] | None = None) -> str:
    """The whole page as HTML that needs nothing else."""
    promises = [(item.text, item.holds, words(item.counterexample or {})) for item in result.promises]
    return page(
        "power",
        styles=("report", "electrical"),
        title=build.title,
        care=result.cautions,
        combinations=result.states.count,
        findings=finding_groups(list(result.findings)),
        promises=promises,
        papers=_papers(build),
        fuse_figures=_fuses(build, result),
        wire_figures=_wires(build, result),
        devices=_devices(build),
        faults=[row for fault in result.faults if (row := fault_words(fault))],
        budget=_budget(result),
        assumptions=result.assumptions,
        conductor=f"{result.conductor_c:g}",
        **extra_rows(build, result),
        **(shown or view(build, result, lists(build, result))),
    )


def _fuses(build: Build, result: PowerResult) -> list[dict[str, Any]]:
    numbers = designations(build)
    return [
        {
            "number": numbers["fuse", name],
            "name": name,
            "rating": f"{fuse.rating_a:g} A",
            "load": amperes(fuse.load_a),
            "average": amperes(fuse.average_a),
            "short": amperes(fuse.prospective_a),
            "clears": fuse.clears,
            "bar": metered(fuse.load_a, fuse.rating_a, fuse.average_a),
            "why": fuse.decided_by,
            "chosen": fuse.chosen,
            "inrush": _inrush(fuse),
            "stands": fuse.stands_inrush,
        }
        for name, fuse in result.fuses.items()
    ]


def _inrush(fuse: FuseResult) -> str:
    """``75 of 22500 A²s``: what goes through it, and from where on it may open."""
    if fuse.inrush_a2s is None:
        return NONE
    return f"{fuse.inrush_a2s:.3g} of {fuse.melting_a2s:.5g} A²s"


def _wires(build: Build, result: PowerResult) -> list[dict[str, Any]]:
    numbers = designations(build)
    return [
        {
            "number": numbers["wire", name],
            "name": name,
            "size": size_words(wire),
            "why": wire.decided_by,
            "current": amperes(wire.current_a),
            "average": amperes(wire.average_a),
            "stands": amperes(wire.ampacity_a),
            "resistance": figures(wire.resistance_ohm, "Ω"),
            "drop": f"{wire.drop_v:.3f} V",
            "bar": metered(wire.average_a, wire.ampacity_a),
        }
        for name, wire in result.wires.items()
    ]


def _devices(build: Build) -> list[tuple[str, str, str]]:
    """Contacts and loads with where they are joined."""
    numbers = designations(build)
    rows = [(numbers["switch", row.name], row.name, f"{row.from_} to {row.to}") for row in build.switches]
    rows += [
        (
            numbers["relay", row.name],
            row.name,
            f"{row.from_} to {row.to}, closed at rest: {'yes' if row.at_rest == 'closed' else 'no'}; "
            f"coil {row.coil_from} to {row.coil_to}",
        )
        for row in build.relays
    ]
    return rows + [(numbers["load", row.name], row.name, f"{row.from_} to {row.to}") for row in build.loads]


def fault_words(fault: FaultResult) -> tuple[str, str] | None:
    """What went wrong, and what then happens; ``None`` where nothing does."""
    said = []
    if fault.clears is not None:
        clears = "the wire is harmed first" if not fault.clears else "the wire stands it"
        opens = NONE if fault.clears_s is None else f"{max(fault.clears_s, 0.001):.2g} s"
        said.append(f"{amperes(fault.current_a)} at least; fuse {fault.fuse or NONE} opens within {opens}; {clears}")
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
        ("draw at full level", f"{amperes(budget['peak_a'])} ({words(budget['state'])})"),
        ("draw for music", amperes(budget["average_a"])),
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
        rows.append(("second battery half empty, first current", f"up to {amperes(budget['charge_a'])}"))
    return [(label, text.replace("-", "−")) for label, text in rows]
