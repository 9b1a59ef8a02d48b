"""For the technician: before you start, and how to reach each part."""

from __future__ import annotations

from collections.abc import Iterator

from cabinwright.drawings.diagram_svg import sheets_svg
from cabinwright.handover.book.blocks import (
    Block,
    Chapter,
    Section,
    To,
    bullets,
    caution,
    facts,
    lead,
    missing,
    note,
    para,
    picture,
    sheet,
    table,
)
from cabinwright.handover.book.given import Given
from cabinwright.handover.book.owner import speaker_numbers, speakers_picture
from cabinwright.handover.print import CARE
from cabinwright.handover.service_page import service_sheet
from cabinwright.handover.settings_page import CAUTION
from cabinwright.handover.wording import join, small_unit
from cabinwright.units import from_si

__all__ = ["first", "reaching"]

TOOLS = (
    "A multimeter (true RMS for alternating voltage above 400 Hz), a clamp meter for direct current, fused leads.",
    "Insulated tools at the battery; rings, watch and chain off.",
    "Trim tools of plastic, and new clips for those that break.",
    "For the settings: the processor’s own program, and settings.json of the build.",
)


def first(given: Given) -> Chapter:
    """Cautions, how the book counts, and what it is of."""
    build = given.build
    tuned = given.tuning
    rows = [
        ("car", build.vehicle.name),
        ("steering wheel", f"on the {build.vehicle.driving_side}"),
        ("settings", tuned.settings.fingerprint if tuned else "none in this book"),
        ("tuned for", tuned_for(given)),
        ("supply", f"{build.supply.nominal_v:g} V with the engine running" if build.supply else "not described"),
    ]
    counting = (
        "Left and right are the car’s own, as seen from its seats. Positions are x towards the rear, y to the right and z up.",
        "W is a wire, F a fuse, K a relay, S a switch, X a connector; every other letter stands on the diagram beside its part. "
        "A number is the same on labels, diagram and lists.",
        "Currents and voltages are computed at full level unless called average; average is music.",
        "Levels of recordings are relative: only their differences mean something.",
    )
    return Chapter(
        "first",
        "Before you start",
        (
            lead("Ten minutes here save an afternoon."),
            *_stops(given),
            caution(*CARE, severe=True),
            caution(CAUTION),
            facts(row for row in rows if row[1]),
        ),
        (
            Section("first-counting", "How this book counts", (bullets(counting),)),
            Section("first-tools", "What to have at hand", (bullets(TOOLS),)),
            Section(
                "first-order",
                "Where to look first",
                (
                    table(
                        ("complaint", "look in"),
                        (
                            ("one part dead", [To("fuses"), ", then ", To("wiring")]),
                            ("everything dead", [To("fuses"), ": the main fuse; then ", To("chain-order")]),
                            ("one loudspeaker silent or thin", [To("settings"), ", then ", To("loudspeakers")]),
                            ("hum, hiss or whine", [To("chain-noise")]),
                            ("a thump when switching on or off", [To("chain-order")]),
                            ("it sounds different from before", [To("verification"), ", then ", To("settings")]),
                            ("a scan tool finds nothing", [To("bypass")]),
                        ),
                        wide=False,
                        widths=(1.0, 1.4),
                    ),
                ),
            ),
        ),
    )


def _stops(given: Given) -> Iterator[Block]:
    """What has to be settled before anyone works on, if anything."""
    count = sum(item.severity == "stop" for items in given.findings.values() for item in items)
    if count:
        verb = "finding says" if count == 1 else "findings say"
        yield caution(
            [f"{count} {verb} stop: settle it before anything is loaded, cut or driven, ", To("findings"), "."],
            severe=True,
        )


def tuned_for(given: Given) -> str:
    """The seat of the tune; empty where nothing says."""
    build = given.build
    if build.tuning and build.tuning.seat:
        return f"the seat “{build.tuning.seat}”"
    return ""


def reaching(given: Given) -> Chapter:
    """Where parts are, and how to come at them where the build says so."""
    where = Section("reaching-where", "Where the loudspeakers are", tuple(_speakers(given)))
    plugs = Section("reaching-connectors", "Where the connectors are", tuple(_connectors(given)))
    order = [Section("reaching-order", "What comes out before what", (drawing,)) for drawing in _order(given)]
    return Chapter("reaching", "Reaching each part", tuple(_ways(given)), (plugs, where, *order))


def _ways(given: Given) -> Iterator[Block]:
    """Each part with the way to it."""
    service = given.workshop.service if given.workshop else None
    if service is None:
        yield missing(
            "Steps and tools for each part: not in this book; the build has no [[service_steps]]. Look for hidden fasteners "
            "first, and note what you find."
        )
        return
    rows = []
    for number, part in enumerate(service.parts.values(), 1):
        before = "at once" if not part.first else f"after {', then '.join(part.first)}"
        deep = f" ({part.kind}; deep)" if part.deep else ""
        rows.append(
            (
                str(number),
                f"{part.name}{deep}",
                ". ".join(words for words in (part.how, before) if words),
                join(part.way_tools) or "–",
                f"{part.reach_minutes:g}, {part.whole_minutes:g}",
            )
        )
    yield note(
        "Minutes are the builder’s own estimates; “in all” is the way there, the part itself, and all of it back."
    )
    yield table(
        ("no.", "part", "how, and after what", "tools, with the way", "min to reach, in all"),
        rows,
        widths=("auto", 1.0, 2.0, 1.4, 0.7),
        strong=(0, 1),
    )


def _order(given: Given) -> Iterator[Block]:
    """The order of taking apart as a drawing."""
    service = given.workshop.service if given.workshop else None
    if service is None:
        return
    drawn = service_sheet(service)
    yield sheet(
        sheets_svg((drawn,)),
        "What comes out before what: a line leads from each part to those that wait for it.",
        ratio=drawn.width_mm / drawn.height_mm,
    )


def _speakers(given: Given) -> Iterator[Block]:
    build = given.located
    if not build.speakers:
        yield missing("Not in this book: it needs [[speakers]] in the build.")
        return
    drawn = [(view, speakers_picture(given, view, keep_outs=True)) for view in ("plan", "side")]
    words = {"plan": "From above, nose to the left", "side": "From the left, nose to the left"}
    found = [(words[view], drawing) for view, drawing in drawn if drawing is not None]
    if build.cabin and any(item.kind.startswith("airbag") for item in build.cabin.keep_outs):
        yield caution(
            "Shaded volumes with a broken edge hold airbags, are in their way, or must stay free for another reason. Take "
            "nothing apart at an airbag, and measure at none of its plugs: the car maker’s instructions, and who is licensed, "
            "go first.",
            severe=True,
        )
    for caption, drawing in found:
        yield picture(drawing, f"{caption}. Numbers as in the table; dashed: what must stay free.")
    numbers = speaker_numbers(build)
    symbol = small_unit(build)
    rows = []
    for item in build.speakers:
        at = item.position_m
        place = (
            "–"
            if at is None or isinstance(at, str)
            else ", ".join(f"{from_si(value, symbol=symbol):.0f}" for value in at).replace("-", "−")
        )
        wired = [
            f"{amp.name}: {line.name}"
            for amp in build.amplifiers
            for line in amp.channels
            if item.name in line.speakers
        ]
        rows.append((str(numbers[item.name]), item.name, item.role, place, join(wired) or "–"))
    yield table(
        ("no.", "loudspeaker", "kind", f"x, y, z ({symbol})", "amplifier and channel"),
        rows,
        widths=("auto", 1.2, 1.0, 1.0, 1.4),
        strong=(0, 1),
    )


def _connectors(given: Given) -> Iterator[Block]:
    shown = given.shown.get("connectors", [])
    if not shown:
        yield missing("Not in this book: the build has no [[connectors]].")
        return
    yield para("Their pins stand in ", To("harness"), ".")
    rows = [(row["number"], row["name"], row["about"] or "nobody says where") for row in shown]
    yield table(
        ("no.", "connector", "where, and what housing"), rows, widths=("auto", 1.0, 2.0), wide=False, strong=(0, 1)
    )
