"""For the technician: the wiring diagram, the fuse chart, the harness, the parts, and labels that lead back here."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from cabinwright.build.designations import designations
from cabinwright.drawings.diagram_svg import sheet_svg
from cabinwright.handover.book.blocks import (
    Block,
    Chapter,
    Section,
    bullets,
    caution,
    facts,
    lead,
    missing,
    note,
    para,
    sheet,
    table,
)
from cabinwright.handover.book.given import Given
from cabinwright.handover.labels import qr_svg
from cabinwright.handover.power_page import fault_words
from cabinwright.handover.wiring_documents import wiring_diagram
from cabinwright.handover.wording import NONE
from cabinwright.stages.power.states import words

__all__ = ["coded", "connector_key", "diagram", "fuses", "harness", "parts", "tags"]

LONGEST_LINE = 48  #: bytes of one line in a code, as on the harness labels


def diagram(given: Given) -> Chapter:
    """Every sheet on a page of its own, then what single faults do."""
    power = given.power
    if power is None:
        return Chapter("wiring", "Wiring diagram", (missing(given.why_not("power")),))
    sheets = wiring_diagram(given.build, power)
    if not sheets:
        return Chapter("wiring", "Wiring diagram", (missing("Not in this book: nothing is wired in this build."),))
    pages = [
        sheet(
            sheet_svg(item), f"Wiring diagram, sheet {number} of {len(sheets)}.", ratio=item.width_mm / item.height_mm
        )
        for number, item in enumerate(sheets, start=1)
    ]
    faults = [row for fault in power.faults if (row := fault_words(fault))]
    promises = [
        (item.text, "yes" if item.holds else f"no: {words(item.counterexample or {})}") for item in power.promises
    ]
    sections = []
    if promises:
        table_ = table(("what was promised", "holds"), promises, widths=(2.0, 1.0), wide=False, strong=())
        sections.append(Section("wiring-promises", "What holds in every state", (table_,)))
    if faults:
        rows = table(("if this happens", "then"), faults, widths=(1.0, 2.2))
        sections.append(Section("wiring-faults", "What single faults do", (rows,)))
    states = [(item.name, " · ".join(item.values)) for item in power.states.variables]
    sections.insert(1 if promises else 0, Section("wiring-sheets", "Sheets", tuple(pages)))
    blocks = [
        lead(f"Solved in all {power.states.count} combinations of what the car can be."),
        *([facts(states)] if states else []),
        para("The same sheets stand at full size in wiring.pdf of the build."),
    ]
    return Chapter("wiring", "Wiring diagram", tuple(blocks), tuple(sections))


def fuses(given: Given) -> Chapter:
    """The chart, and what each fuse stands against."""
    if given.power is None or not given.power.fuses:
        why = given.why_not("power") if given.power is None else "Not in this book: the build has no [[fuses]]."
        return Chapter("fuses", "Fuse chart", (missing(why),))
    rows = [
        (
            row["number"],
            row["name"],
            row["rating"] + (" (proposed)" if row["chosen"] else ""),
            row["protects"],
            row["feeds"],
        )
        for row in given.shown["fuses"]
    ]
    spoiled = [row["name"] for row in given.shown["fuses"] if not row["holds"]]
    blocks: list[Block] = [
        lead("Replace like by like. A fuse protects the wire behind it, not the part at its end."),
        table(
            ("no.", "fuse", "rating", "protects", "dead without it"),
            rows,
            widths=("auto", 1.0, "auto", 1.5, 1.5),
            strong=(0, 2),
        ),
        caution(
            "Never a larger rating than here: the wire would burn before the fuse opens. Battery minus off before the main fuse "
            "is drawn or put in."
        ),
    ]
    if spoiled:
        blocks.append(
            caution(f"Wires behind these may be harmed before the fuse opens: {', '.join(spoiled)}.", severe=True)
        )
    return Chapter("fuses", "Fuse chart", tuple(blocks), (Section("fuses-figures", "Currents", (_currents(given),)),))


def _currents(given: Given) -> Block:
    assert given.power is not None
    numbers = designations(given.build)
    rows = [
        (
            numbers["fuse", name],
            name,
            f"{fuse.rating_a:g} A",
            _amperes(fuse.load_a),
            _amperes(fuse.average_a),
            _amperes(fuse.prospective_a),
        )
        for name, fuse in given.power.fuses.items()
    ]
    head = ("no.", "fuse", "rating", "at full level", "music", "into a short, at most")
    return table(head, rows, widths=("auto", 1.5, 1.0, 1.0, 1.0, 1.2), right=(2, 3, 4, 5))


def _amperes(value: float | None) -> str:
    return NONE if value is None else f"{value:.2f} A" if value < 10.0 else f"{value:.0f} A"


def harness(given: Given) -> Chapter:
    """Every wire with both ends, every connector pin by pin, and where ends meet."""
    if given.power is None or not given.build.wires:
        why = given.why_not("power") if given.power is None else "Not in this book: the build has no [[wires]]."
        return Chapter("harness", "Harness", (missing(why),))
    sections = [Section("harness-wires", "Wires", (_wires(given), note("Lengths are as cut, allowance included.")))]
    for number, row in enumerate(given.shown["connectors"], start=1):
        title = f"{row['number']} {row['name']}"
        sections.append(Section(connector_key(number), title, tuple(_connector(row))))
    if given.lists and given.lists.harness.joints:
        joints = [(item.node, str(item.ends), ", ".join(item.wires) or NONE) for item in given.lists.harness.joints]
        rows = table(("node", "ends", "wires there"), joints, widths=(1.4, "auto", 2.0), right=(1,), wide=False)
        sections.append(Section("harness-joints", "Where ends meet", (rows,)))
    about = lead("Every wire carries its number at both ends, and a label that says the same.")
    return Chapter("harness", "Harness", (about,), tuple(sections))


def connector_key(number: int) -> str:
    """What references call the section of a connector, counted from 1."""
    return f"connector-{number}"


def _wires(given: Given) -> Block:
    rows = []
    for wire in given.shown["wires"]:
        ends = [end["node"] + (f" ({end['joined']})" if end["joined"] else "") for end in wire["ends"]]
        either = f"; either end in {wire['either']}" if wire["either"] else ""
        rows.append(
            (
                wire["number"],
                wire["name"],
                ends[0],
                ends[1] + either,
                wire["size"],
                wire["colour"],
                wire["cut"],
                wire["fuse"],
            )
        )
    head = ("no.", "wire", "from", "to", "size", "colour", "length", "fuse")
    return table(head, rows, widths=("auto", 1.1, 1.3, 1.3, "auto", "auto", "auto", 1.0), right=(6,))


def _connector(row: dict[str, Any]) -> Iterator[Block]:
    if row["about"]:
        yield para(f"{row['about'][:1].upper()}{row['about'][1:]}.")
    pins = [
        (str(pin["pin"]), pin["wire"], pin["size"], pin["colour"], pin["terminal"], pin["other"], pin["use"])
        for pin in row["pins"]
    ]
    head = ("pin", "wire", "size", "colour", "terminal", "leads to", "for")
    yield table(head, pins, widths=("auto", 1.3, "auto", "auto", 1.0, 1.3, 0.8))


def parts(given: Given) -> Chapter:
    """What to order when something has to be replaced."""
    sections = []
    rows = [
        (str(group["name"]) if not number else "", row["what"], row["quantity"], row["for"])
        for group in given.shown.get("parts", [])
        for number, row in enumerate(group["rows"])
    ]
    if rows:
        body = table(("group", "part", "quantity", "for"), rows, widths=("auto", 1.6, "auto", 1.6), right=(2,))
        sections.append(Section("parts-electrical", "Wire, terminals, devices", (body,)))
    cut = given.workshop.cut_list if given.workshop else ()
    if cut:
        sizes = [
            (
                row["part"],
                row["sheet"],
                row["material"],
                str(row["count"]),
                f"{1e3 * row['width_m']:.1f} × {1e3 * row['height_m']:.1f} × {1e3 * row['thickness_m']:.1f} mm",
            )
            for row in cut
        ]
        body = table(
            ("part", "cut from", "material", "count", "finished size"), sizes, widths=(1.5, 1.3, 1.0, "auto", 1.5)
        )
        sections.append(
            Section("parts-panels", "Panels", (para("Their files for machines lie in out/workshop."), body))
        )
    if not sections:
        return Chapter("parts", "Parts", (missing(given.why_not("power")),))
    head = [lead("Counted from the harness and the cut list, so that all three agree.")]
    if given.power is None:
        head.append(missing(given.why_not("power")))
    return Chapter("parts", "Parts", tuple(head), tuple(sections))


def tags(given: Given) -> Chapter:
    """Labels for fuse covers and harnesses; each leads to a section of this book."""
    rows = list(_tags(given)) if given.power else []
    if not rows:
        why = given.why_not("power") if given.power is None else "Not in this book: nothing is wired in this build."
        return Chapter("labels", "Labels that lead here", (missing(why),))
    return Chapter(
        "labels",
        "Labels that lead here",
        (
            lead(
                "Cut them out and stick them on fuse covers, connectors and devices, where they can be seen without a tool."
            ),
            bullets(
                (
                    "Print at actual size: 57 by 24 mm each.",
                    "The code holds the same words as the label, in plain text: any camera reads it, without a network.",
                )
            ),
            {"kind": "tags", "tags": rows},
        ),
    )


def _tags(given: Given) -> Iterator[dict[str, Any]]:
    numbers = designations(given.build)
    wires = [wire["number"] for wire in given.shown["wires"]]
    if wires:
        span = f"{wires[0]} to {wires[-1]}" if len(wires) > 1 else wires[0]
        yield _tag(given, "W", "harness", (span, "every wire with both its ends"), "harness-wires")
    for row in given.shown["fuses"]:
        yield _tag(given, row["number"], row["name"], (f"fuse {row['rating']}", "same rating only"), "fuses")
    for count, row in enumerate(given.shown["connectors"], start=1):
        yield _tag(given, row["number"], row["name"], ("connector", row["about"]), connector_key(count))
    for load in given.build.loads:
        kind = "amplifier" if load.amplifier else "load"
        yield _tag(given, numbers["load", load.name], load.name, (kind,), "wiring")


def _tag(given: Given, number: str, name: str, lines: tuple[str, ...], key: str) -> dict[str, Any]:
    """The label; its code is made where the section's number is known."""
    return {
        "number": number,
        "name": name,
        "lines": [line for line in lines if line],
        "to": key,
        "code": [f"{number} {name}", *[line for line in lines if line], given.build.title],
    }


def coded(tag: dict[str, Any]) -> dict[str, Any]:
    """The label with its code, once the number of its section stands in it."""
    section = tag["word"].split()[-1]
    text = [*tag["code"][:-1], f"Book: {tag['word']}", tag["code"][-1]]
    words_ = "\n".join(line.encode("utf-8")[:LONGEST_LINE].decode("utf-8", "ignore") for line in text)
    return {**tag, "section": section, "qr": qr_svg(words_), "says": f"QR code: {words_}", "code": words_}
