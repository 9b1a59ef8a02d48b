"""What moving or turning a place did for the listener: figure by figure, and why, so that the parts add up to the whole.

The figure that places are compared by is a sum (``heard``): the direct sound in the role's octaves, what reflections within
10 ms add to it, and how uneven the head box is. Its change is therefore told part by part without a remainder. A subwoofer
is compared by its level from 25 to 80 Hz instead.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import log10
from statistics import fmean
from typing import Literal

from cabinwright.findings import Finding
from cabinwright.stages.layout.heard import bands_of
from cabinwright.stages.layout.reasons import hertz, strongest
from cabinwright.stages.layout.result import Heard, LayoutResult, PairHeard, PlaceResult

__all__ = ["TELLING_DB", "Figure", "Moved", "moved"]

TELLING_DB = 0.3  #: less is told as the same, as between places
TELLING_MS, TELLING_DEG = 0.02, 0.5
Verdict = Literal["better", "worse", "same", "barred"]


@dataclass(frozen=True)
class Figure:
    """One figure before and after."""

    name: str
    before: str
    after: str
    better: bool | None  #: None: the same as far as it matters


@dataclass(frozen=True)
class Moved:
    """What a move did."""

    verdict: Verdict  #: barred: it now stands where nothing may
    words: str
    figures: tuple[Figure, ...]
    gained: tuple[Finding, ...]  #: findings about the place that are new
    lost: tuple[Finding, ...]  #: and those that are gone


def moved(before: LayoutResult, after: LayoutResult, name: str) -> Moved:
    """The place ``name`` in two comparisons of the same build, which have it at different spots or aims."""
    old, new, seat = before.places[name], after.places[name], after.listening_seat
    gained, lost = _about(after, before, name), _about(before, after, name)
    was, now = old.seats[before.listening_seat], new.seats[seat]
    figures = tuple(_figures(before, after, old, new))
    stops = [item for item in gained if item.severity == "stop"]
    if stops:
        return Moved("barred", f"It may not stand there: {stops[0].message}", figures, gained, lost)
    low = new.role == "subwoofer" and old.low is not None and new.low is not None
    if low:
        assert old.low is not None and new.low is not None
        parts = [("bass at the head", new.low.gain_db[seat] - old.low.gain_db[seat])]
    else:
        parts = _parts(was, now, new.role)
    total = sum(part for _, part in parts)
    verdict: Verdict = "same" if abs(total) < TELLING_DB else "better" if total > 0.0 else "worse"
    return Moved(verdict, _words(total, parts), figures, gained, lost)


def _parts(was: Heard, now: Heard, role: str) -> list[tuple[str, float]]:
    """What the change of the comparing figure is the sum of, in dB."""
    judged = bands_of(role)
    direct = [fmean(item.direct_bands_db[judged]) for item in (was, now)]
    crowd = [-10.0 * log10(1.0 + 10.0 ** (item.early_db / 10.0)) for item in (was, now)]
    names = (
        "nearer its axis" if direct[1] >= direct[0] else "farther off its axis",
        "weaker reflections" if crowd[1] >= crowd[0] else "stronger reflections",
        "more even over the head box" if now.uneven_db <= was.uneven_db else "less even over the head box",
    )
    changes = (direct[1] - direct[0], crowd[1] - crowd[0], was.uneven_db - now.uneven_db)
    if was.occluded != now.occluded:
        names = ("in sight of the head now" if was.occluded else "out of sight of the head now", *names[1:])
    return list(zip(names, changes, strict=True))


def _words(total: float, parts: list[tuple[str, float]]) -> str:
    told = [
        f"{_signed(part)} dB {name}" for name, part in sorted(parts, key=lambda row: -abs(row[1])) if abs(part) >= 0.05
    ]
    why = ": " + ", ".join(told) if told else ""
    if abs(total) < TELLING_DB:
        return f"Sounds the same within {TELLING_DB:.1f} dB{why}."
    return f"{'Better' if total > 0.0 else 'Worse'} by {abs(total):.1f} dB{why}."


def _figures(before: LayoutResult, after: LayoutResult, old: PlaceResult, new: PlaceResult) -> Iterator[Figure]:
    seat = after.listening_seat
    was, now = old.seats[before.listening_seat], new.seats[seat]
    if old.low is not None and new.low is not None:
        yield _higher("Bass, 25 to 80 Hz", old.low.gain_db[seat], new.low.gain_db[seat])
        yield _lower("Bass uneven over the head box", old.low.uneven_db[seat], new.low.uneven_db[seat])
    if new.role != "subwoofer":
        yield _higher("Sound, higher is better", was.sound_db, now.sound_db)
        top = bands_of(new.role).stop - 1
        name = f"Loss off its axis at {hertz(after.bands_hz[top])}"
        yield _lower(name, -was.direct_bands_db[top], -now.direct_bands_db[top])
        yield _lower("Reflections against direct", was.early_db, now.early_db)
        yield _lower("Uneven over the head box", was.uneven_db, now.uneven_db)
        yield from _comb(was, now, new.role)
    ms = [1000.0 * item.distance_m / after.speed_of_sound_m_s for item in (was, now)]
    yield Figure("Arrival at the head", f"{ms[0]:.2f} ms", f"{ms[1]:.2f} ms", None)
    yield from _pair(_partnered(before, new.name), _partnered(after, new.name))


def _comb(was: Heard, now: Heard, role: str) -> Iterator[Figure]:
    """The comb of the strongest reflection."""
    one, other = strongest(was, role), strongest(now, role)
    if one is None or other is None:
        return
    words = [f"{item.peak_to_dip_db:.1f} dB, first dip {hertz(item.dip_hz)}" for item in (one, other)]
    change = one.peak_to_dip_db - other.peak_to_dip_db
    yield Figure(
        "Comb of the strongest reflection", words[0], words[1], None if abs(change) < TELLING_DB else change > 0.0
    )


def _pair(was: PairHeard | None, now: PairHeard | None) -> Iterator[Figure]:
    """Left and right together."""
    if was is None or now is None:
        return
    yield _judged("Left and right apart", 1e3 * was.delay_s, 1e3 * now.delay_s, TELLING_MS, lambda x: f"{x:.2f} ms", -1)
    lean = (abs(was.lean_deg), abs(now.lean_deg))
    yield _judged("Voice leans from the middle", *lean, TELLING_DEG, lambda x: f"{x:.1f}°", -1)


def _partnered(result: LayoutResult, name: str) -> PairHeard | None:
    return next((pair.seats[result.listening_seat] for pair in result.pairs if name in (pair.left, pair.right)), None)


def _higher(name: str, was: float, now: float) -> Figure:
    return _judged(name, was, now, TELLING_DB, lambda x: f"{_signed(x)} dB", 1)


def _lower(name: str, was: float, now: float) -> Figure:
    return _judged(name, was, now, TELLING_DB, lambda x: f"{_signed(x)} dB", -1)


def _judged(name: str, was: float, now: float, telling: float, shown: Callable[[float], str], wanted: int) -> Figure:
    """``wanted`` 1: higher is better; -1: lower is."""
    change = wanted * (now - was)
    return Figure(name, shown(was), shown(now), None if abs(change) < telling else change > 0.0)


def _about(one: LayoutResult, other: LayoutResult, name: str) -> tuple[Finding, ...]:
    """Findings of ``one`` about the place that ``other`` does not have."""
    known = {(item.code, item.where) for item in other.findings}
    mine = [item for item in one.findings if name in item.where.replace(" and ", ", ").split(", ")]
    return tuple(item for item in mine if (item.code, item.where) not in known)


def _signed(value: float) -> str:
    return f"{value:+.1f}".replace("-", "−")
