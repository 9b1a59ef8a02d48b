"""For the technician: the car as it was, how to put it back, and how a scan tool gets through."""

from __future__ import annotations

from collections.abc import Iterator

from cabinwright.handover.book.blocks import (
    Block,
    Chapter,
    Section,
    To,
    caution,
    chart,
    facts,
    figures,
    lead,
    missing,
    note,
    para,
    steps,
    table,
)
from cabinwright.handover.book.given import Given
from cabinwright.handover.signal_repair import repair_part, side_chart
from cabinwright.handover.wording import join
from cabinwright.stages.power.states import words
from cabinwright.stages.signal.bypass import BypassResult

__all__ = ["bypass", "configuration"]


def configuration(given: Given) -> Chapter:
    """What the radio hands out, what undoes its doing, what was cut, and the way back."""
    sections = (
        Section("factory-radio", "What the car’s radio hands out", tuple(_radio(given))),
        Section("factory-cut", "What was cut, and what can be put back", tuple(_cut(given))),
        Section("factory-back", "Putting it back", tuple(_back(given))),
    )
    about = lead("The car as it left its maker, as far as this build knows it.")
    return Chapter("factory", "Factory configuration", (about,), sections)


def _radio(given: Given) -> Iterator[Block]:
    build = given.build
    if not build.factory_outputs:
        yield missing("Not in this book: it needs [[factory_outputs]] and captures of them.")
        return
    found = given.signal.factory if given.signal else None
    if found is None:
        names = join([item.name for item in build.factory_outputs])
        yield para(f"Its outputs: {names}.")
        yield missing("What they carry is not in this book: it needs [[factory_recordings]].")
        return
    part = repair_part(found, given.captured)
    rows = [
        (row["name"], row["band"], row["left"], row["right"], row["delay"], row["polarity"]) for row in part["outputs"]
    ]
    head = ("output", "carries", "of left", "of right", "delay", "polarity")
    yield table(head, rows, widths=(1.2, 1.4, "auto", "auto", "auto", "auto"), right=(2, 3, 4))
    if found.refused:
        yield para(f"No repair: {found.refused}")
        return
    volume = "one level" if found.volume is None else str(found.volume)
    yield facts(
        (("made at volume", volume), ("holds", part["holds"] or "as captured"), ("flat within", part["ripple"]))
    )
    repair = [
        (side, row["output"], row["gain"], row["polarity"], row["delay"], "; ".join(row["filters"]) or "none")
        for side, branches in part["sides"]
        for row in branches
    ]
    head = ("side", "output", "gain", "polarity", "delay", "filters")
    yield table(head, repair, widths=("auto", 1.0, "auto", "auto", "auto", 2.2), right=(2, 4))
    drawn = [
        chart(item, f"The {side} side: outputs as they are, and their sum with the repair.", name=f"book-repair-{side}")
        for side, rows in found.repair.items()
        if given.captured and rows and (item := side_chart(found, given.captured, side)) is not None
    ]
    if drawn:
        yield figures(drawn)


def _cut(given: Given) -> Iterator[Block]:
    build = given.build
    fitted = {item.name for item in build.speakers}
    rows = []
    for place in build.places:
        if place.name in fitted:
            back = {True: "yes", False: "no", None: "nobody says"}[place.reversible]
            rows.append((place.name, place.cut or ("nothing" if place.reversible else "nobody says"), back))
    unknown = sorted(fitted - {item.name for item in build.places})
    if rows:
        yield table(("loudspeaker", "what was cut for it", "can be put back"), rows, widths=(1.0, 1.6, 0.8), wide=False)
    if unknown:
        yield missing(
            f"The build does not say what was cut for {join(unknown)}: it needs [[places]] of the same names."
        )
    if not rows and not unknown:
        yield missing("Not in this book: it needs [[places]] with cut and reversible.")


def _back(given: Given) -> Iterator[Block]:
    build = given.build
    yield caution(
        "Battery minus off, and airbags left to who is licensed. The car maker’s instructions go before these steps.",
        severe=True,
    )
    out = [item.name for item in build.loads]
    lines: list[str | tuple[str | To, ...]] = [
        "Note the processor’s settings and the radio’s own, and keep this book: some of it may be wanted again.",
        "Car off, keys away, battery minus off. Wait as long as the car maker says for its buses and airbags.",
        ("Draw the main fuse, then every other fuse of ", To("fuses"), "."),
    ]
    if build.factory_outputs:
        names = join([item.name for item in build.factory_outputs])
        lines.append(
            f"Join the radio’s outputs again to the car’s own loudspeakers, colour to colour as in its papers: {names}."
        )
    if build.service_bypasses:
        lines.append(("Put the bus back for good as it is while bypassed, see ", To("bypass"), "."))
    if out:
        lines.append(f"Take out {join(out)}, and the wires of this harness from their far ends back to the battery.")
    lines += [
        "Close every hole in the body with a grommet or a maker’s plug, bare metal primed: water and fumes come in there.",
        "Battery minus on. Look for stored faults with a scan tool, and try every warning, parking and call sound.",
    ]
    yield steps(lines)
    yield note("Where a step differs in this car, what was found there goes before what stands here.")


def bypass(given: Given) -> Chapter:
    """How each data bus is handed back, proved over all states of the car."""
    found = given.signal.service_bypasses if given.signal else None
    if found is None or not found.bypasses:
        why = given.why_not("signal") if given.signal is None else "Not in this book: it needs [[service_bypasses]]."
        return Chapter("bypass", "Scan-tool bypass", (missing(why),))
    sections = tuple(
        Section(f"bypass-{number}", item.row.name, tuple(_bypass(item)))
        for number, item in enumerate(found.bypasses, start=1)
    )
    about = lead("A scan tool must see the car as its maker built it. Hand the bus back before you join one.")
    return Chapter("bypass", "Scan-tool bypass", (about,), sections)


def _bypass(item: BypassResult) -> Iterator[Block]:
    row = item.row
    proof = {
        True: f"yes, in all {item.combinations} combinations in which it should",
        False: f"no: {words(item.counterexample or {})}",
        None: "not to be seen: the bus is not wired in this build",
    }[item.holds]
    yield facts(
        (
            ("bus", row.bus),
            ("handed back when", words(row.when)),
            ("from", row.from_),
            ("to", row.to),
            ("silent meanwhile", join(list(row.silent)) or "nothing named"),
            ("proved", proof),
        )
    )
    if item.holds is False:
        yield caution("It does not hold in every state: do not join a scan tool before this is put right.", severe=True)
    if row.steps:
        yield steps(row.steps)
    else:
        yield missing("Steps are not in this book: the bypass has none in the build.")
    if row.silent:
        yield para(
            f"While it is handed back, {join(list(row.silent))} must be off: two talkers on one bus disturb the car."
        )
