"""For the technician: the signal chain with its levels, and what stands in the processor."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from cabinwright.drawings.diagram import Sheet
from cabinwright.drawings.diagram_svg import sheet_svg
from cabinwright.handover import report_charts as charts
from cabinwright.handover.book.blocks import (
    Block,
    Chapter,
    Section,
    beside,
    caution,
    chart,
    facts,
    lead,
    missing,
    note,
    para,
    sheet,
    steps,
    table,
)
from cabinwright.handover.book.given import Given
from cabinwright.handover.report import filter_words
from cabinwright.handover.settings_page import STEPS, channel_card
from cabinwright.handover.signal_blocks import chain_parts
from cabinwright.handover.signal_order import preset_rows, turn_on_rows
from cabinwright.handover.signal_page import cropped, gain_rows, input_rows
from cabinwright.handover.wording import NONE, join
from cabinwright.stages.signal.result import SignalResult
from cabinwright.stages.tuning.result import TuningResult

__all__ = ["chain", "settings"]

MOST_PRESETS = 6  #: beside one another in one table


def chain(given: Given) -> Chapter:
    """From sources to loudspeakers: diagram, presets, inputs, gains, noise and the order of waking."""
    result = given.signal
    sections = [
        Section("chain-presets", "Presets and routes", tuple(_presets(result))),
        Section("chain-gains", "Gains, set with a meter", tuple(_gains(result))),
        Section("chain-noise", "Hum and hiss", tuple(_noise(given))),
        Section("chain-order", "Order of waking", tuple(_order(result))),
    ]
    if result is None:
        return Chapter("chain", "Signal chain", (missing(given.why_not("signal")),), tuple(sections))
    about = lead("From what plays to what is heard, with the levels between.")
    pages = tuple(_page(title, drawing) for title, drawing in chain_parts(given.build, result))
    needs = missing("Not in this book: a diagram needs [[sources]], [[inputs]] and [[amplifiers]].")
    sections.append(Section("chain-diagram", "Diagram", pages or (needs,)))
    return Chapter("chain", "Signal chain", (about,), tuple(sections))


def _page(title: str, drawing: Sheet) -> Block:
    """One part of the diagram on a page of its own; turned where that makes it larger."""
    svg = cropped(sheet_svg(drawing), drawing)
    box = re.search(r'viewBox="\S+ \S+ (\S+) (\S+)"', svg)
    ratio = float(box[1]) / float(box[2]) if box else 1.0
    named = f"{title}: voltages" if title else "Voltages"
    return sheet(svg, f"{named} are rms values of a sine.", ratio=ratio)


def _presets(result: SignalResult | None) -> Iterator[Block]:
    if result is None or result.presets is None or not result.presets.presets:
        yield missing("Not in this book: it needs [[presets]] or [[sources]].")
        return
    found = preset_rows(result.presets.to_dict())
    head = ("preset", "source", "input trim", "inputs", "with it", "the way")
    rows = [
        (
            row["name"] + (" (proposed)" if row["proposed"] else ""),
            row["source"],
            row["trim"],
            join(row["inputs"]) or NONE,
            join(row["also"]) or NONE,
            row["path"],
        )
        for row in found
    ]
    yield table(head, rows, widths=(1.0, 1.0, "auto", 1.5, 1.0, 1.2), right=(2,))
    if len(found) <= MOST_PRESETS:
        yield table(("channel", *(row["name"] for row in found)), _routes(found), wide=False)


def _routes(found: list[dict[str, Any]]) -> list[tuple[str, ...]]:
    """By channel: what it gets in each preset."""
    by_preset = [{channel: (left, right) for channel, left, right in row["routes"]} for row in found]
    channels = dict.fromkeys(channel for routes in by_preset for channel in routes)
    return [(channel, *(_route(*routes.get(channel, (NONE, NONE))) for routes in by_preset)) for channel in channels]


def _route(left: str, right: str) -> str:
    if left == right:
        return NONE if left == NONE else f"both {left}"
    return ", ".join(f"{side} {level}" for side, level in (("left", left), ("right", right)) if level != NONE)


def _gains(result: SignalResult | None) -> Iterator[Block]:
    gains = result.gains if result else None
    if gains is None or not gains.channels:
        yield missing("Not in this book: it needs [[amplifiers]], and output_v of the processor.")
        return
    yield caution(
        "Unplug the loudspeakers while the sine plays: it would burn tweeters within seconds. Meter on alternating voltage, no "
        "terminal touched: an amplifier’s output may hurt."
    )
    rows = [
        (
            row["channel"],
            row["amplifier"],
            f"{row['hertz']} at {row['level']}",
            row["volts"],
            row["flat"],
            row["mark"],
            row["clips"],
        )
        for row in gain_rows(gains)
    ]
    head = ("channel", "amplifier", "sine", "read, with the tune", "read, without", "sensitivity", "clips at")
    yield table(head, rows, widths=(1.2, 1.2, 1.2, 0.9, 0.8, 0.8, 0.7), right=(3, 4, 5, 6))
    inputs = [
        (row["name"], row["set"], row["range"], join([item["name"] for item in row["sources"]]), _levels(row))
        for row in input_rows(gains)
    ]
    yield table(("input", "full scale set to", "range", "from", "arrives at"), inputs, widths=(1.0, 0.9, 1.2, 1.2, 1.2))


def _levels(row: dict[str, Any]) -> str:
    return ", ".join(item["level"] for item in row["sources"])


def _noise(given: Given) -> Iterator[Block]:
    cables = given.power.signal_cables if given.power else {}
    gains = given.signal.gains if given.signal else None
    if not cables and gains is None:
        yield missing("Not in this book: it needs [[signal_cables]] for hum, and noise_v along the chain for hiss.")
        return
    if cables:
        rows = [
            (name, f"{item.from_} to {item.to}", item.beside or NONE, "yes" if item.loop else "no")
            for name, item in cables.items()
        ]
        head = ("signal cable", "between the grounds of", "runs beside", "closes a ground loop")
        yield table(head, rows, widths=(1.2, 1.5, 1.0, 0.8))
    else:
        yield missing("Hum is not in this book: it needs [[signal_cables]].")
    yield para(
        "Hum that stays when the processor’s input is unplugged comes from behind it; a whine that follows the engine comes "
        "over grounds or feeds; hiss that does not follow the volume comes from the amplifier."
    )


def _order(result: SignalResult | None) -> Iterator[Block]:
    if result is None or result.turn_on is None:
        yield missing("Not in this book: it needs [[turn_on]].")
        return
    found = turn_on_rows(result.turn_on.to_dict())
    rows = [(row["device"], row["woken"], row["awake"], row["let_go"], row["asleep"]) for row in found["order"]]
    head = ("device", "woken", "passes sound", "let go", "passes nothing")
    yield table(head, rows, widths=(1.6, 1.0, 1.0, 1.0, 1.0), right=(1, 2, 3, 4), wide=False)
    if found["thumps"]:
        yield caution("A jump is heard from: " + "; ".join(found["thumps"]) + ".")
    if found["unstated"]:
        yield note(f"Nobody states times for {found['unstated']}.")


def settings(given: Given) -> Chapter:
    """Crossovers, delays, gains and filters of every channel, to read back and to key in."""
    tuned = given.tuning
    if tuned is None:
        return Chapter("settings", "Processor settings", (missing(given.why_not("tuning")),))
    cards = [channel_card(item, tuned.sound_speed_m_s) for item in tuned.settings.channels]
    head = ("channel", "high-pass", "low-pass", "polarity", "delay", "gain")
    rows = [
        (
            card["name"],
            *(_edge(edges) for edges in _edges(card)),
            card["polarity"],
            f"{card['delay']['ms']} ms",
            card["gain"],
        )
        for card in cards
    ]
    rate = f"{tuned.settings.sample_rate_hz:g} Hz"
    blocks = [
        lead(
            f"Settings {tuned.settings.fingerprint}. The same mark stands in settings.json and on the page to key in from."
        ),
        caution(
            "No tweeter may play before its high-pass stands: mute every output first. Inverted polarity is set here, never at "
            "the wires."
        ),
        table(head, rows, widths=(1.0, 1.9, 1.9, "auto", "auto", "auto"), right=(4, 5)),
        note(
            f"Linkwitz-Riley crossovers lie 6 dB down at their frequency, Butterworth 3 dB. The filters are for {rate}."
        ),
    ]
    channels = [
        Section(f"settings-{number}", item.name, tuple(_channel(tuned, number, card)))
        for number, (item, card) in enumerate(zip(tuned.settings.channels, cards, strict=True), start=1)
    ]
    loading = Section("settings-load", "Loading them", (steps(STEPS),))
    return Chapter("settings", "Processor settings", tuple(blocks), (*channels, loading))


def _edges(card: dict[str, Any]) -> list[list[dict[str, str]]]:
    """High-passes, then low-passes of a card."""
    return [
        [edge for edge in card["edges"] if edge["kind"] == kind and edge["value"]] for kind in ("High-pass", "Low-pass")
    ]


def _edge(edges: list[dict[str, str]]) -> str:
    return "; ".join(f"{edge['value']} {edge['words']}" for edge in edges) or NONE


def _channel(tuned: TuningResult, number: int, card: dict[str, Any]) -> Iterator[Block]:
    item = tuned.settings.channels[number - 1]
    curves = tuned.channels.get(item.name)
    delay = card["delay"]
    known = facts(
        (
            ("delay", f"{delay['ms']} ms"),
            ("as a way of sound", f"{delay['cm']} cm, {delay['inches']} in"),
            ("gain", card["gain"]),
            ("polarity", card["polarity"]),
            ("safe from, to", f"{curves.low_limit_hz:.0f} to {curves.high_limit_hz:.0f} Hz" if curves else NONE),
        )
    )
    if curves is None:
        yield known
    else:
        said = "As recorded, its filters, and both together; shaded: outside its safe range."
        yield beside(known, chart(charts.channel_chart(tuned, curves), said, name=f"book-channel-{number}"))
    rows = []
    for row in sorted(item.filters, key=lambda one: (one.kind not in ("high-pass", "low-pass"), one.frequency_hz)):
        words = filter_words(row)
        rows.append((words["kind"], words["frequency"], words["figures"], words["reason"]))
    if rows:
        yield table(
            ("filter", "frequency", "setting", "why"), rows, widths=(0.8, "auto", 1.4, 2.4), right=(1,), strong=(1,)
        )
    else:
        yield para("No filters.")
