"""A short interview: what the customer wishes, as limits and weights in the build where it has a field, else kept with the job.

The build holds the seat that is tuned for, the house curve, how much each side of a place counts, and volumes to keep free.
For a budget, the room of all boxes, further seats and parts that must stay as they are it has no field: these stay with the
job, and ``held_against`` says of every build and proposal whether it keeps them. How answers become weights is our own choice
(common practice, no source).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from cabinwright.build.cabin import Weights
from cabinwright.build.codec import parse, source
from cabinwright.build.document import Build
from cabinwright.build.locate import Path as Place
from cabinwright.build.rewrite import added_row, literal, rewritten_value
from cabinwright.errors import PersonError
from cabinwright.history.log import Log
from cabinwright.office.interview import (
    BACK,
    COUNT_WORDS,
    COUNTS,
    QUESTIONS,
    TASTES,
    KeepFree,
    Question,
    Wishes,
    read_wishes,
)
from cabinwright.office.said import boot_m3, irreversible
from cabinwright.pipeline import Results
from cabinwright.shop.money import digits
from cabinwright.shop.rows import Job
from cabinwright.shop.store import Store, found_row, held
from cabinwright.shop.words import folded
from cabinwright.stages.tuning.house import DEFAULT_CURVE

__all__ = [
    "QUESTIONS",
    "Change",
    "Check",
    "Effects",
    "KeepFree",
    "Question",
    "Wishes",
    "budget_check",
    "effects",
    "held_against",
    "keep_wishes",
    "read_wishes",
    "wishes_of",
    "write_wishes",
]


def keep_wishes(store: Store, job_id: int, answers: Mapping[str, Any], *, count: int, by: str) -> Wishes:
    """Write the answers down with the job. Raises ``PersonError``, ``MeanwhileError``."""
    wishes = read_wishes(answers)
    store.change(lambda work: held(work, Job, job_id, count=count, wishes=wishes.to_dict()), by=by)
    return wishes


def wishes_of(store: Store, job_id: int) -> Wishes:
    """What was wished for a job. Raises ``PersonError``."""
    with store.read() as work:
        return Wishes.of(found_row(work, Job, job_id).wishes)


@dataclass(frozen=True, slots=True)
class Change:
    """One field of the build that a wish sets."""

    where: str
    was: str
    becomes: str
    because: str

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON types."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class Effects:
    """What wishes change in a build, and what the build has no field for."""

    changes: tuple[Change, ...]
    kept: tuple[str, ...]  #: stays with the job and is held against every build

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON types."""
        return {"changes": [item.to_dict() for item in self.changes], "kept": list(self.kept)}


def effects(folder: Path, wishes: Wishes) -> Effects:
    """What writing the wishes into this build would do; nothing is written. Raises ``PersonError``."""
    file, content = source(folder)
    return _applied(content, wishes, str(file))[0]


def write_wishes(folder: Path, wishes: Wishes, *, by: str) -> Effects:
    """Write what the build has a field for into ``build.toml``; all else in it stays, and its history knows who did it.

    Raises ``PersonError`` where a seat is not there or the file's shape defeats it; then nothing is written.
    """
    log = Log(folder if folder.is_dir() else folder.parent, "build.toml" if folder.is_dir() else folder.name)
    with log.held():
        file, content = source(folder)
        made, new = _applied(content, wishes, str(file))
        if new != content:
            fields = ", ".join(item.where for item in made.changes)
            log.commit(file, content, new, by=by, what=f"wishes: {fields}", why="the customer's interview")
    return made


def _applied(content: bytes, wishes: Wishes, file: str) -> tuple[Effects, bytes]:
    build = parse(content, file=file)
    mark = content[:3] if content.startswith(b"\xef\xbb\xbf") else b""
    text = content[len(mark) :].decode("utf-8")
    changes = []
    for path, was, value, because in _fields(build, wishes):
        if was != value:
            text = rewritten_value(text, path, value)
            changes.append(
                Change(".".join(map(str, path)), "" if was is None else literal(was), literal(value), because)
            )
    there = {item.name for item in build.cabin.keep_outs} if build.cabin is not None else set()
    for item in wishes.keep_free:
        if item.name not in there:
            row = {"name": item.name, "kind": "other", "corners_m": _corners(item)}
            text = added_row(text, ("cabin", "keep_outs"), row, comment="the customer keeps this free")
            changes.append(Change(f'cabin.keep_outs["{item.name}"]', "", literal(row["corners_m"]), "to be kept free"))
    new = mark + text.encode("utf-8")
    if new != content:
        parse(new, file=file)
    return Effects(tuple(changes), tuple(_kept(wishes))), new


def _corners(item: KeepFree) -> list[list[float]]:
    low, high = item.low_m, item.high_m
    return [[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])]


def _fields(build: Build, wishes: Wishes) -> list[tuple[Place, Any, Any, str]]:
    """Path, value now, value to be, and why; only for what was answered."""
    usual, now = Weights(), build.layout.weights
    rows: list[tuple[Place, Any, Any, str]] = []
    for key, side in (("sound", "sound"), ("looks", "looks"), ("price", "cost")):
        answer = getattr(wishes, key)
        if answer:
            value = round(getattr(usual, side) * COUNTS[answer], 3)
            words = dict(COUNT_WORDS)[answer]
            rows.append((("layout", "weights", side), getattr(now, side), value, f"{key} {words}"))
    if wishes.reversible:
        value = round(usual.irreversible * BACK[wishes.reversible], 3)
        because = dict(next(item.choices for item in QUESTIONS if item.key == "reversible"))[wishes.reversible]
        rows.append((("layout", "weights", "irreversible"), now.irreversible, value, because))
    if wishes.seats:
        seats = {folded(seat.name): seat.name for seat in build.seats}
        unknown = [name for name in wishes.seats if folded(name) not in seats]
        if unknown:
            raise PersonError(
                f'seats: the build has no seat "{unknown[0]}". It has {", ".join(seats.values()) or "none yet"}.'
            )
        was = build.tuning.seat if build.tuning is not None else None
        rows.append((("tuning", "seat"), was, seats[folded(wishes.seats[0])], "the seat that counts most"))
    if wishes.taste:
        curve = build.tuning.house_curve if build.tuning is not None else None
        value_c = _curve(wishes.taste)
        was_c = None if curve is None else [list(point) for point in curve]
        if wishes.taste != "even" or was_c is not None:
            rows.append((("tuning", "house_curve"), was_c, value_c, f"it shall sound {wishes.taste}"))
    return rows


def _curve(taste: str) -> list[list[float]]:
    low, high = TASTES[taste]
    return [[hz, db + (low if hz <= 60.0 else high if hz >= 10_000.0 else 0.0)] for hz, db in DEFAULT_CURVE]


def _kept(wishes: Wishes) -> list[str]:
    rows = []
    if wishes.seats[1:]:
        rows.append(f"seats beside the first ({', '.join(wishes.seats[1:])}): a tune is for one seat")
    if wishes.stock:
        rows.append(f"stays as it is: {', '.join(wishes.stock)}")
    if wishes.boot_l is not None:
        rows.append(f"boxes take {digits(wishes.boot_l)} L at most")
    if wishes.budget is not None:
        rows.append(f"it costs {digits(wishes.budget)} at most, with tax")
    if wishes.reversible == "must":
        rows.append("everything can be put back as it was")
    return rows


@dataclass(frozen=True, slots=True)
class Check:
    """One wish held against a build."""

    wish: str
    holds: bool | None  #: None: it cannot be told yet
    says: str

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON types."""
        return asdict(self)


def held_against(wishes: Wishes, build: Build, results: Results, *, gross: Decimal | None = None) -> tuple[Check, ...]:
    """Every limit that was wished, and whether a build (and its price with tax) keeps it."""
    rows = []
    if wishes.budget is not None:
        rows.append(budget_check(wishes.budget, gross))
    if wishes.boot_l is not None:
        space, exact = boot_m3(build, results)
        litres = 1000.0 * (space or 0.0)
        over = litres > float(wishes.boot_l)
        walls = "" if exact else ", walls not counted"
        rows.append(Check("boot space", False if over else True if exact else None, f"{litres:.1f} L{walls}"))
    if wishes.reversible == "must":
        found = irreversible(build)
        unsaid = all("nobody said" in row for row in found)
        rows.append(Check("everything goes back", not found or (None if unsaid else False), _told(found)))
    if wishes.stock:
        rows.append(_stock(wishes.stock, build))
    if wishes.seats[1:]:
        rows.append(_seats(wishes.seats, results))
    return tuple(rows)


def budget_check(budget: Decimal, gross: Decimal | None) -> Check:
    """Whether a price with tax keeps to what it may cost."""
    if gross is None:
        return Check("budget", None, "no price yet")
    return Check("budget", gross <= budget, f"{gross} of {budget}")


def _told(found: Sequence[str]) -> str:
    return "; ".join(found) or "nothing is cut for good"


def _stock(stock: Sequence[str], build: Build) -> Check:
    """Whether a loudspeaker's place cuts or names what must stay."""
    places = {place.name: place for place in build.places}
    broken, unsaid = [], []
    for speaker in build.speakers:
        place = places.get(speaker.name)
        words = folded(f"{speaker.name} {place.cut or '' if place is not None else ''}")
        hits = [item for item in stock if folded(item).rstrip("s") in words]
        free = place is not None and place.reversible is True and not place.cut
        if hits and not free:
            broken.append(f"{speaker.name} touches {', '.join(hits)}")
        elif place is None:
            unsaid.append(speaker.name)
    says = "; ".join(broken) or (f"nobody said what is cut for {', '.join(unsaid)}" if unsaid else "none of it is cut")
    return Check(f"stays as it is: {', '.join(stock)}", False if broken else None if unsaid else True, says)


def _seats(seats: Sequence[str], results: Results) -> Check:
    """What is known of the seats that the tune is not for; there is no limit to hold it against."""
    found = []
    places = results.layout.places.values() if results.layout is not None else ()
    for seat in seats[1:]:
        figures = [place.seats[seat].sound_db for place in places if seat in place.seats]
        if figures:
            found.append(f"{seat}: {len(figures)} places compared there too")
    return Check(
        f"{', '.join(seats[1:])} count too", None, "; ".join(found) or "not worked out: a tune is for one seat"
    )
