"""The owner's part: what to do when something goes silent, what never to do, and how to care for it."""

from __future__ import annotations

from collections.abc import Iterator

from cabinwright.build.designations import designations
from cabinwright.handover.book.blocks import (
    Block,
    Chapter,
    Section,
    To,
    bullets,
    caution,
    lead,
    missing,
    note,
    para,
    steps,
    table,
)
from cabinwright.handover.book.given import Given
from cabinwright.handover.wording import join

__all__ = ["care", "never", "silent"]

CAREFUL = (
    "A fuse that has blown did so for a reason. Put in one of the same rating, once. If it blows again, leave it out and "
    "have it looked at: a larger one lets the wire burn instead."
)
NEVER = (
    "Never put in a larger fuse than the chart says, nor foil or wire in its place: the fuse keeps the wire from burning.",
    "Never fix, hang or stick anything where an airbag unfolds, and never let anyone measure at its wires.",
    "Never drill, screw or cut into trim, floor or panels: wires, and the parts behind them, are not where you would guess.",
    "Never join anything else to these wires, fuses or earth points; ask for a feed of its own.",
    "Never cover or stack things on amplifiers: they cool by the air around them.",
    "Never pour or spray anything on panels, grilles or vents; keep wet things away from the amplifiers.",
    "Never turn up what sounds strained. Distortion is the sound of a loudspeaker being overheated.",
    "Never let it keep you from hearing the road, a siren, or a warning of the car.",
)
HEARING = (
    "This system can play loud enough to harm hearing for good, without hurting at the time. If you must raise your voice to "
    "be heard beside you, turn it down; ringing or dull ears afterwards were a warning."
)
MATERIALS = {
    "acrylic": "Acrylic: a soft wet cloth with a drop of dish soap, no pressure. No alcohol, glass cleaner or dry wiping: "
    "it crazes and scratches.",
    "polycarbonate": "Polycarbonate: a soft wet cloth with a drop of dish soap. No alcohol, ammonia or solvents.",
    "ABS": "ABS: a damp cloth; no solvents.",
    "PVC": "PVC: a damp cloth; no solvents.",
    "MDF": "Board edges: dry only. Water makes them swell.",
    "birch plywood": "Plywood: dry, or barely damp.",
    "poplar plywood": "Plywood: dry, or barely damp.",
    "hardboard": "Hardboard: dry only.",
    "aluminium": "Aluminium: a soft damp cloth; nothing alkaline or abrasive.",
    "steel": "Steel mesh: a soft brush on the vacuum cleaner, without pressing: a dent stays.",
}


def silent(given: Given) -> Chapter:
    """First what anyone can do, then which fuse it may be."""
    sections = [Section("silent-fuses", "Which fuse it may be", tuple(_fuses(given)))]
    amplifiers = given.build.amplifiers
    if amplifiers:
        sections.append(Section("silent-amplifiers", "Which amplifier plays what", (_plays(given),)))
    first = steps(
        (
            ("Is the right preset chosen, for what you play from? See ", To("presets"), "."),
            "Does the source itself play? Try another source, and the car’s own radio.",
            "Switch everything off, wait a minute, switch it on again. A processor that lost its way finds it so.",
            "Was it loud or hot just before? An amplifier that protects itself is silent until it has cooled: wait a quarter "
            "of an hour with the level down.",
            ("Is one part dead, and only that? Look at its fuse, ", To("silent-fuses"), ", with the car switched off."),
            "Still silent: leave it. Note what is silent, what you did, and what the lamps on the amplifiers say, and have it "
            "looked at. The second part of this book is for whoever does.",
        )
    )
    smell = caution(
        "Smoke, a smell of burning, or something too hot to touch: switch the car off, get out, and keep away from it. Do not "
        "open anything. Only when it is safe, have the battery’s minus taken off.",
        severe=True,
    )
    return Chapter(
        "silent",
        "When something goes silent",
        (lead("Nothing here needs a tool. Stop at the first step that helps."), first, smell),
        tuple(sections),
    )


def _fuses(given: Given) -> Iterator[Block]:
    if given.power is None:
        yield missing(given.why_not("power"))
        return
    rows = [(row["number"], row["name"], row["rating"], row["feeds"]) for row in given.shown["fuses"]]
    yield table(
        ("fuse", "called", "rating", "silent or dark without it"), rows, widths=("auto", 1.0, "auto", 2.0), wide=False
    )
    yield caution(CAREFUL)
    yield note("Where each one sits stands on its cover’s label and in ", To("fuses"), ".")


def _plays(given: Given) -> Block:
    numbers = designations(given.build)
    rows = []
    for amplifier in given.build.amplifiers:
        load = amplifier.load or amplifier.name
        known = any(item.name == load for item in given.build.loads)
        mark = f"{numbers['load', load]} {amplifier.name}" if known else amplifier.name
        plays = [name for channel in amplifier.channels for name in channel.speakers]
        rows.append((mark, join(list(dict.fromkeys(plays)))))
    return table(("amplifier", "loudspeakers on it"), rows, widths=(1.0, 2.0), wide=False)


def never(given: Given) -> Chapter:
    """What would hurt people, the car or the system."""
    lines = [*NEVER, *_battery(given)]
    return Chapter(
        "never",
        "What never to do",
        (lead("Each of these can cost a loudspeaker, a car or worse."), bullets(lines), caution(HEARING)),
    )


def _battery(given: Given) -> Iterator[str]:
    budget = given.power.budget if given.power else {}
    hours, days = budget.get("engine_off_hours"), budget.get("days_until_flat")
    if hours is not None:
        yield (
            f"Never play longer than about {hours:.1f} hours with the engine off, with a full and healthy battery, and much "
            "less with an old or cold one: it may not start."
        )
    if days is not None:
        yield (
            f"Never leave the car standing for more than {days:.0f} days without charging its battery; an old battery, or a car "
            "that draws more asleep, stands less."
        )


def care(given: Given) -> Chapter:
    """Cleaning, and what to have checked."""
    kinds = (item.material for item in given.build.sheets)
    used = dict.fromkeys(MATERIALS[kind] for kind in kinds if kind in MATERIALS)
    lines = [
        "Grilles and cloth: a soft brush on the vacuum cleaner, held off, never pressed.",
        *used,
        "After water in the car, in the boot or under the carpet: do not switch it on; have it looked at first.",
        "Heat and frost: let the cabin come to a bearable temperature before playing loud.",
    ]
    checks = [
        "Once a year: terminals at battery, fuses and earth points tight and clean, wires not chafed, cooling air free.",
        "After work by others on battery, radio, seats or trim: play through every preset, left and right, before you leave.",
        (
            "Before a workshop joins a diagnostic tool to the car: show it ",
            To("bypass"),
            ". Before the car is sold or put back: ",
            To("factory"),
            ".",
        ),
        "Keep this book with the car. Its labels lead to its sections by number, without any network.",
    ]
    return Chapter(
        "care",
        "Care",
        (lead("It wants little: dry, clean, and left alone."), bullets(lines)),
        (Section("care-checks", "What to have looked at", (bullets(checks), para(_settings(given)))),),
    )


def _settings(given: Given) -> str:
    if given.tuning is None:
        return "This book holds no settings of the processor: keep those that your installer gave you."
    return (
        f"The processor’s settings of this book are marked {given.tuning.settings.fingerprint}. Should the processor ever lose "
        "them, they can be loaded from the file settings.json of your build, or keyed in from this book."
    )
