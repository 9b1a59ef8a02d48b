"""The one page for the customer: what it is, how to use it, and what never to do. Everything on it stands in the book too."""

from __future__ import annotations

from typing import Any

from cabinwright.drawings.picture_svg import draw
from cabinwright.handover.book.given import Given
from cabinwright.handover.book.owner import ROLES, on_words, speaker_numbers, speakers_picture
from cabinwright.handover.signal_order import preset_rows

__all__ = ["summary"]

MOST_ROWS = 9  #: of one list on the page; what is more stands in the book
NEVER = (
    "a larger fuse than the chart says",
    "anything fixed where an airbag unfolds",
    "a hole drilled where wires may run",
    "so loud that you miss a siren",
)
SILENT = (
    "Right preset? Does the source play?",
    "Off, wait a minute, on again.",
    "Was it hot or loud? Let it cool for a quarter of an hour.",
    "One part dead: its fuse, same rating, once.",
)


def summary(given: Given) -> dict[str, Any]:
    """What the page's template shows."""
    build = given.build
    numbers = speaker_numbers(build)
    drawing = speakers_picture(given, "plan", keep_outs=False, width_mm=170.0)
    found = given.signal.presets if given.signal else None
    power = given.power
    presets = [(row["name"], row["source"]) for row in preset_rows(found.to_dict())] if found else []
    controls = [(name, on_words(item, power.states)) for name, item in power.loads.items()] if power else []
    speakers = [(str(numbers[item.name]), item.name, ROLES[item.role].partition(":")[0]) for item in build.speakers]
    return {
        "heading": build.title,
        "vehicle": build.vehicle.name,
        "svg": "" if drawing is None else draw(drawing).replace("<svg ", "<svg font-family=\"'DejaVu Sans'\" ", 1),
        "says": "" if drawing is None else drawing.says,
        "lists": [
            {"title": "What plays", "rows": _short(speakers)},
            {"title": "Presets", "rows": _short(presets)},
            {"title": "What is on when", "rows": _short(controls)},
        ],
        "silent": list(SILENT),
        "never": list(NEVER),
        "hearing": "If you must raise your voice to be heard beside you, turn it down.",
        "smell": "Smoke or a smell of burning: car off, out, away. Open nothing.",
    }


def _short(rows: list[Any]) -> list[list[str]]:
    more = len(rows) - MOST_ROWS
    shown = [list(row) for row in rows[:MOST_ROWS]]
    if more > 0:
        shown.append(["…", f"and {more} more in the book", *[""] * (len(shown[0]) - 2)])
    return shown
