"""What the report says in sentences: the verdict, the trust it deserves, its limits."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from cabinwright.findings import Finding
from cabinwright.handover.wording import decibels, join, microseconds
from cabinwright.physics.response import RecordedResponses
from cabinwright.stages.tuning.result import TuningResult
from cabinwright.stages.tuning.sides import EVERYTHING

__all__ = ["LIMITS", "TOGETHER", "all_findings", "expectation", "sides_first", "verdict"]

SEVERITY_ORDER = {"stop": 0, "caution": 1, "note": 2}

TOGETHER = (
    "Everything together cannot lie on the curve as well when the sides do: in the bass, left and right add as pressures "
    "(up to 6 dB), in the treble as powers (3 dB). The sides are tuned, because they are what stereo is made of."
)
LIMITS = (
    "It holds for the seat, the places and the state of the car that were recorded. Other people in it, an open "
    "window, heat or cold, or a seat moved by a hand's breadth change what arrives.",
    "It is a prediction: loudspeakers and room are taken as linear. At high level, limiters, heat and rattles come in, "
    "and none of them was recorded.",
    "Above a few kilohertz a head is not a microphone. Trust the average there, not the ripple.",
    "Levels are relative. Recordings carry no absolute sound pressure unless the microphone was calibrated for it.",
    "What filters cannot mend (a dip that moves from place to place, a cancellation) was left alone on purpose.",
    "Load the settings, record again and run the verification: only that shows that the processor does what this says.",
)


def all_findings(result: TuningResult, recordings: RecordedResponses) -> list[Finding]:
    """Findings of the recordings and of the tune, each once, gravest first."""
    seen: dict[tuple[str, str, str], Finding] = {}
    for item in (*result.findings, *recordings.findings):
        seen.setdefault((item.code, item.where, item.message), item)
    return sorted(seen.values(), key=lambda item: SEVERITY_ORDER[item.severity])


def verdict(result: TuningResult, recordings: RecordedResponses) -> list[tuple[str, str]]:
    """Five lines: label and sentence."""
    return [
        ("Found", _found(result, recordings)),
        ("Before", _before(result)),
        ("Predicted", _now(result)),
        ("How sure", expectation(result)),
        ("To load", _load(result, recordings)),
    ]


def expectation(result: TuningResult) -> str:
    """The error to expect where no microphone stood."""
    average = _finite(_of_sides(result.metrics.error_expected_db))
    single = _finite(_of_sides(result.metrics.error_single_place_db))
    whole = result.metrics.error_expected_db.get(EVERYTHING, math.nan)
    if not average or len(result.positions) < 2:
        return (
            "Only one place was recorded, so nothing can be said about any other: a move of the head may change "
            "everything. Record at six places or more around the head."
        )
    text = f"Averaged over places where no microphone stood, expect to lie {_range(average)} from the house curve"
    if single:
        text += f", and {_range(single)} at one such place on its own"
    if math.isfinite(whole) and len(result.sums) > 1:
        text += f"; everything together {decibels(whole, plus=False)}"
    return f"{text}. That is what came out when each of the {len(result.positions)} places was left out in turn."


def _found(result: TuningResult, recordings: RecordedResponses) -> str:
    total, good = len(recordings.verdicts), sum(item.good for item in recordings.verdicts)
    text = f"{good} of {total} recordings are good"
    was, called = ("was", "is") if total - good == 1 else ("ones were", "are")
    if total:
        text += "." if good == total else f"; the other {was} left out and {called} named below."
    else:
        places = _count(len(recordings.positions), "place")
        text = f"Recorded: {_count(len(recordings.channels), 'channel')} at {places}."
    findings = all_findings(result, recordings)
    counts = {name: sum(item.severity == name for item in findings) for name in SEVERITY_ORDER}
    parts = []
    if counts["stop"]:
        parts.append(f"{_count(counts['stop'], 'finding')} must be settled before anything is loaded")
    if counts["caution"]:
        parts.append(f"{_count(counts['caution'], 'finding')} {'calls' if counts['caution'] == 1 else 'call'} for care")
    return text + (f" {join(parts).capitalize()}." if parts else " Nothing stands against loading.")


def _before(result: TuningResult) -> str:
    text = f"With levels and delays by tape alone: {_distances(result.metrics.error_before_db)}"
    apart = result.metrics.arrival_difference_before_s
    return text + (f", the sides {microseconds(abs(apart))} apart." if math.isfinite(apart) else ".")


def _now(result: TuningResult) -> str:
    metrics = result.metrics
    text = f"With these settings: {_distances(metrics.error_after_db)}."
    if math.isfinite(metrics.side_difference_db) and math.isfinite(metrics.arrival_difference_s):
        text += (
            f" At the head centre the sides arrive {microseconds(abs(metrics.arrival_difference_s))} apart, and from "
            f"250 Hz to 8 kHz they differ by {decibels(metrics.side_difference_db, plus=False)} in level."
        )
    return text


def _load(result: TuningResult, recordings: RecordedResponses) -> str:
    count = len(result.settings.channels)
    text = f"settings.html, to key in {_count(count, 'channel')} by hand; settings.json holds the same for machines."
    if any(item.severity == "stop" for item in all_findings(result, recordings)):
        return f"Nothing yet: settle what is marked stop first. Then {text}"
    return text


def _distances(errors: Mapping[str, float]) -> str:
    known = {name: decibels(errors[name], plus=False) for name in sides_first(errors) if math.isfinite(errors[name])}
    sides = join([f"{name} {words}" for name, words in known.items() if name != EVERYTHING])
    whole = f"everything together {known[EVERYTHING]}" if EVERYTHING in known else ""
    if not sides:
        return f"{whole} from the house curve" if whole else "no figure"
    return f"{sides} from the house curve" + (f"; {whole}" if whole else "")


def sides_first(names: Iterable[str]) -> list[str]:
    """The names of sums, the one of everything last."""
    return sorted(names, key=lambda name: name == EVERYTHING)


def _of_sides(errors: Mapping[str, float]) -> Mapping[str, float]:
    """Those of the sides; of everything where nothing else is known."""
    return {name: value for name, value in errors.items() if name != EVERYTHING} or errors


def _finite(errors: Mapping[str, float]) -> list[float]:
    return [value for value in errors.values() if math.isfinite(value)]


def _range(values: list[float]) -> str:
    low, high = decibels(min(values), plus=False), decibels(max(values), plus=False)
    return high if low == high else f"{low.removesuffix(' dB')} to {high}"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
