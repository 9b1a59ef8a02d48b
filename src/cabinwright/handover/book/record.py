"""For the technician: verification before and after, what was measured and with what, and what is still open."""

from __future__ import annotations

import math
from collections.abc import Iterator

from cabinwright.handover import report_charts as charts
from cabinwright.handover.book.blocks import (
    Block,
    Chapter,
    Section,
    bullets,
    caution,
    chart,
    facts,
    figures,
    lead,
    missing,
    note,
    para,
    picture,
    table,
)
from cabinwright.handover.book.given import Given
from cabinwright.handover.report import finding_groups, recording_grid
from cabinwright.handover.report_words import LIMITS, expectation, sides_first
from cabinwright.handover.verification import cause_words, comparison_chart, shown_shift_db
from cabinwright.handover.voice import ABOUT, HEAD, basis_words, voice_picture, voice_rows
from cabinwright.handover.voice import LIMITS as VOICE_LIMITS
from cabinwright.handover.wording import NONE, decibels, join, small_unit
from cabinwright.units import from_si

__all__ = ["measured", "open_findings", "verification"]


AGAIN = "as above"  #: what the row before it asks for


def verification(given: Given) -> Chapter:
    """Before and after by prediction, then what a second round of recordings said."""
    sections = (
        Section("verification-before", "Before and after", tuple(_before(given))),
        Section("verification-voice", "Where a voice stands", tuple(_voice(given))),
        Section("verification-after", "Measured again", tuple(_again(given))),
    )
    return Chapter("verification", "Verification", (lead("What it was, what it should be, and what it is."),), sections)


def _before(given: Given) -> Iterator[Block]:
    tuned = given.tuning
    if tuned is None:
        yield missing(given.why_not("tuning"))
        return
    metrics = tuned.metrics
    names = sides_first(tuned.sums)
    rows = [
        (name, *(decibels(errors.get(name, math.nan), plus=False)
                 for errors in (metrics.error_before_db, metrics.error_after_db, metrics.error_expected_db)))
        for name in names
    ]  # fmt: skip
    head = ("off the house curve", "by tape alone", "with these settings", "expected where nobody measured")
    yield table(head, rows, widths=(1.4, 1.0, 1.0, 1.2), right=(1, 2, 3), wide=False)
    drawn = [
        chart(
            charts.sum_chart(tuned, tuned.sums[name], wide=number == len(names) - 1 and number % 2 == 0),
            f"{name.capitalize()}.",
            name=f"book-sum-{number}",
        )
        for number, name in enumerate(names)
    ]
    yield figures(drawn[: len(drawn) // 2 * 2])
    yield from drawn[len(drawn) // 2 * 2 :]
    if math.isfinite(metrics.arrival_difference_s):
        yield figures(
            [
                chart(charts.level_difference_chart(tuned), "Level, left minus right.", name="book-sides-level"),
                chart(charts.arrival_chart(tuned), "Arrival, left minus right.", name="book-sides-arrival"),
            ]
        )
    yield note(expectation(tuned))


def _voice(given: Given) -> Iterator[Block]:
    result, build = given.voice, given.located
    if result is None:
        yield missing(given.why_not("voice"))
        return
    yield para(ABOUT)
    yield picture(
        voice_picture(build, result),
        "From above, nose up. Bars: two thirds of the bands; dotted: where the voice should stand.",
        width_mm=136.0,
    )
    yield table(HEAD, voice_rows(build, result), widths=(1.0, 1.2, 1.0, 0.8, 1.2, 1.0), right=(2, 3, 4, 5))
    yield note(" ".join((*basis_words(result), *VOICE_LIMITS)))


def _again(given: Given) -> Iterator[Block]:
    result = given.verification
    if result is None:
        yield missing(
            given.unverified or "Not in this book: it needs [[verification_recordings]], made with the settings loaded."
        )
        return
    tuned = given.tuning
    yield para(result.summary)
    if given.loaded:
        yield facts((("held against settings", given.loaded),))
    if tuned is not None and given.loaded and given.loaded != tuned.settings.fingerprint:
        yield caution(
            f"The settings that were loaded ({given.loaded}) are not those of this book ({tuned.settings.fingerprint}): load "
            "these and verify again, or keep the book that belongs to those."
        )
    rows = [(item.name, join(item.positions), "agrees" if item.within else "differs") for item in result.comparisons]
    yield table(("recording", "positions", "verdict"), rows, widths=(1.0, 1.6, 0.6), wide=False)
    for number, item in enumerate(result.comparisons):
        drawing = comparison_chart(result, item, shown_shift_db(result, item))
        yield chart(
            drawing,
            f"{item.name.capitalize()}: predicted and measured.",
            name=f"book-verified-{number}",
            width_mm=136.0,
        )
    causes = [cause_words(item) for item in result.causes]
    if causes:
        yield table(
            ("what differs", "how sure", "what to do"),
            [(row["text"], row["confidence"], row["remedy"]) for row in causes],
            widths=(1.4, "auto", 1.4),
            strong=(),
        )
    if result.not_checked:
        yield missing(f"Not checked: {join(result.not_checked)}.")


def measured(given: Given) -> Chapter:
    """Which recordings, with which microphone, and how far they hold."""
    recordings, build = given.recordings, given.build
    if recordings is None:
        why = given.why_not("tuning") if given.tuning is None else "No recordings stand in this book."
        return Chapter("measured", "What was measured", (missing(why),))
    calibration = build.tuning.microphone_calibration if build.tuning else None
    timing = {
        "loopback": "electrical loopback",
        "marker": "markers from one loudspeaker",
        None: "impulse responses, one time zero",
    }
    rows = [
        (
            "microphone",
            f"corrected by its calibration, {calibration}" if calibration else "no calibration stated: taken as flat",
        ),
        ("timing", timing[build.tuning.timing if build.tuning else None]),
        ("rate", f"{recordings.sample_rate_hz:g} Hz"),
        ("channels, positions", f"{len(recordings.channels)}, {len(recordings.positions)}"),
    ]
    grid = recording_grid(build, recordings)
    head = ("channel", *grid["positions"])
    cells = [(row["name"], *(f"{cell['symbol']} {cell['word']}" for cell in row["cells"])) for row in grid["grid"]]
    blocks: list[Block] = [lead("Figures in this book rest on these recordings."), facts(rows)]
    if not calibration:
        blocks.append(note("A microphone without calibration may be several decibels off at both ends of the scale."))
    if len(head) <= 13:
        blocks.append(table(head, cells, widths=(1.6, *[1.0] * (len(head) - 1))))
    left = [(row["channel"], row["position"], row["file"], row["reason"]) for row in grid["left_out"]]
    if left:
        blocks.append(table(("left out", "position", "file", "why"), left, widths=(1.0, "auto", 1.4, 2.0)))
    symbol = small_unit(build)
    places = [
        (item.name, item.seat, NONE if isinstance(item.at_m, str) else _small(item.at_m, symbol))
        for item in given.located.microphone_positions
    ]
    where = table(("position", "seat", f"x, y, z ({symbol})"), places, wide=False)
    sections = [Section("measured-where", "Where the microphone stood", (where,))] if places else []
    sections.append(Section("measured-limits", "How far it holds", (bullets(LIMITS),)))
    return Chapter("measured", "What was measured", tuple(blocks), tuple(sections))


def _small(at_m: tuple[float, float, float], symbol: str) -> str:
    return ", ".join(f"{from_si(value, symbol=symbol):.1f}" for value in at_m).replace("-", "−")


def open_findings(given: Given) -> Chapter:
    """What every stage still says, gravest first, and what a person answered for."""
    found = [item for items in given.findings.values() for item in items]
    groups = finding_groups(found)
    sections = []
    for group in groups:
        rows = [
            (item.message, AGAIN if number and item.remedy else item.remedy, item.source)
            for alike in group["alike"]
            for number, item in enumerate(alike)
        ]
        body = table(("found", "what to do", "by"), rows, widths=(1.7, 1.5, 0.7), strong=())
        sections.append(Section(f"findings-{group['severity']}", f"{group['word']}: {group['means']}", (body,)))
    waivers = Section(
        "findings-waivers", "Waivers", (para("None: nothing that was found has been answered for in this build."),)
    )
    counts = {group["word"]: sum(len(alike) for alike in group["alike"]) for group in groups}
    words = join([f"{count} × {word.lower()}" for word, count in counts.items()])
    about = lead(
        f"Still open when this book was made: {words}." if words else "Nothing was open when this book was made."
    )
    blocks: list[Block] = [about]
    if given.results.skipped:
        blocks.append(
            table(
                ("not worked out", "what it would need"), given.results.skipped.items(), widths=(0.6, 2.0), wide=False
            )
        )
    return Chapter("findings", "Open findings and waivers", tuple(blocks), (*sections, waivers))
