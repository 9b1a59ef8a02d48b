"""For the technician: loudspeakers, boxes and panels as they were built."""

from __future__ import annotations

from collections.abc import Iterator

from cabinwright.handover.book.blocks import (
    Block,
    Chapter,
    Section,
    beside,
    caution,
    chart,
    facts,
    figure,
    figures,
    lead,
    missing,
    note,
    table,
)
from cabinwright.handover.book.given import Given
from cabinwright.handover.enclosure_charts import box_charts
from cabinwright.handover.enclosure_page import box_figures
from cabinwright.handover.shown import pieces
from cabinwright.handover.signal_page import amplifier_rows
from cabinwright.handover.wording import NONE
from cabinwright.handover.workshop_page import length_words
from cabinwright.stages.enclosure.result import BoxResult

__all__ = ["loudspeakers"]

LEFT_OUT = ("What holds it back", "Group delay")  #: charts for whoever designs, not for whoever mends
HALF_MM, APART_MM, HUNG_MM = 90.0, 118.0, 136.0


def loudspeakers(given: Given) -> Chapter:
    """What hangs on which amplifier, what is in which box, and what is behind which panel."""
    sections = (
        Section("loudspeakers-loads", "What hangs on the amplifiers", tuple(_loads(given))),
        Section("loudspeakers-made", "What was made", tuple(_made(given))),
        Section("loudspeakers-boxes", "Enclosures", tuple(_boxes(given))),
        Section("loudspeakers-panels", "Behind panels", tuple(_panels(given))),
    )
    return Chapter(
        "loudspeakers",
        "Loudspeakers and enclosures",
        (lead("What to measure at the terminals, and what to put back where."),),
        sections,
    )


def _loads(given: Given) -> Iterator[Block]:
    loads = given.signal.loads if given.signal else None
    if loads is None or not loads.amplifiers:
        yield missing("Not in this book: it needs [[amplifiers]] with their speakers and impedances.")
        return
    rows = []
    for amplifier in amplifier_rows(loads):
        for line in amplifier["lines"]:
            for unit in line["each"] or [{"name": NONE, "gets": NONE, "stands": NONE}]:
                rows.append(
                    (
                        f"{amplifier['name']}: {line['name']}",
                        unit["name"],
                        line["how"],
                        line["load"],
                        unit["gets"],
                        unit["stands"],
                    )
                )
    head = ("amplifier: channel", "loudspeaker", "wired", "load", "gets", "stands")
    yield table(head, rows, widths=(1.4, 1.2, 1.2, "auto", "auto", "auto"), right=(3, 4, 5))
    yield caution(
        "“Gets” is a sine at full level. Where it is more than the loudspeaker stands, music leaves room, tones and clipping do "
        "not."
    )
    yield note("A voice coil’s resistance on a meter is about four fifths of its nominal impedance.")


def _made(given: Given) -> Iterator[Block]:
    """Boxes and panels in the pictures of the report, with the few figures that whoever mends them asks for."""
    made = pieces(given.build, given.enclosure, given.workshop)
    for piece in made:
        known = facts(((piece.says, piece.name), *piece.figures))
        name = f"{piece.name[:1].upper()}{piece.name[1:]}"
        drawn = [figure(svg, f"{name}. {caption}", width_mm=HUNG_MM) for caption, svg in piece.pictures]
        yield from (known, figures(drawn)) if len(drawn) > 1 else (beside(known, drawn[0]),)
        if piece.apart:
            yield figure(piece.apart, f"{name}, drawn apart: it comes apart from above.", width_mm=APART_MM)
    if not made:
        yield missing("Not in this book: it needs [[boxes]] with a shape, or [[panels]].")


def _boxes(given: Given) -> Iterator[Block]:
    if given.enclosure is None:
        yield missing(given.why_not("enclosure"))
        return
    for number, (name, box) in enumerate(given.enclosure.boxes.items(), start=1):
        yield facts((("enclosure", name), ("kind", _kind(box)), *box_figures(box, units=given.build.workshop.units)))
        drawn = [(caption, item) for caption, item in box_charts(name, box) if caption not in LEFT_OUT]
        shown = [
            chart(
                item,
                f"{caption}.",
                name=f"book-box-{number}-{count}",
                width_mm=HUNG_MM if item.width_mm > HALF_MM else None,
            )
            for count, (caption, item) in enumerate(drawn)
        ]
        yield from (item for item, (_, of) in zip(shown, drawn, strict=True) if of.width_mm > HALF_MM)
        yield figures([item for item, (_, of) in zip(shown, drawn, strict=True) if of.width_mm <= HALF_MM])
    if not given.enclosure.boxes:
        yield missing("Not in this book: it needs [[boxes]].")


def _kind(box: BoxResult) -> str:
    speakers = ", ".join(box.speakers)
    return f"{box.kind}, {box.model}" + (f", plays as {speakers}" if speakers else "")


def _panels(given: Given) -> Iterator[Block]:
    if given.workshop is None:
        yield missing(given.why_not("workshop"))
        return
    length = length_words(given.build)
    rows = [
        (item.speaker, name, f"{100.0 * item.open_share:.0f} %", length(item.diameter_m))
        for name, panel in given.workshop.panels.items()
        for item in panel.behind
    ]
    if not rows:
        yield missing("Not in this book: no [[panels.behind]] says what is behind a panel.")
        return
    yield table(("loudspeaker", "behind", "open", "over a disc of"), rows, right=(2, 3), wide=False)
