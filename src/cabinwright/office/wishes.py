"""A short interview: what the customer wishes, kept with the job, and written into its build as limits and weights.

The stages of the build keep to what is written there; ``held_against`` says of every build and proposal, in the customer's
words, whether it keeps what was wished. How answers become weights is our own choice (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import Any

from cabinwright.build.cabin import Weights
from cabinwright.build.checking import folded
from cabinwright.build.codec import parse, source
from cabinwright.build.document import Build
from cabinwright.build.limits import Limits
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
from cabinwright.office.said import boxes_of, irreversible
from cabinwright.pipeline import Results
from cabinwright.shop.money import digits
from cabinwright.shop.rows import Job
from cabinwright.shop.store import Store, found_row, held
from cabinwright.stages.enclosure.room import room_taken_m3
from cabinwright.stages.layout.limits import named, touched
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
    """What wishes change in a build."""

    changes: tuple[Change, ...]
    left: tuple[str, ...] = ()  #: limits that stand in the build though no answer asks for them

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON types."""
        return {"changes": [item.to_dict() for item in self.changes], "left": list(self.left)}


def effects(folder: Path, wishes: Wishes) -> Effects:
    """What writing the wishes into this build would do; nothing is written. Raises ``PersonError``."""
    file, content = source(folder)
    return _applied(content, wishes, str(file))[0]


def write_wishes(folder: Path, wishes: Wishes, *, by: str) -> Effects:
    """Write them into ``build.toml``; all else in it stays, and its history knows who did it.

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
    return Effects(tuple(changes), tuple(_left(build, wishes))), new


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
    rows += _limits(build, wishes)
    if wishes.seats:
        seats = {folded(seat.name): seat.name for seat in build.seats}
        further = [seats.get(folded(name), name) for name in wishes.seats[1:]]
        unknown = [name for name in wishes.seats if folded(name) not in seats]
        if unknown:
            raise PersonError(
                f'seats: the build has no seat "{unknown[0]}". It has {", ".join(seats.values()) or "none yet"}.'
            )
        was = build.tuning.seat if build.tuning is not None else None
        rows.append((("tuning", "seat"), was, seats[folded(wishes.seats[0])], "the seat that counts most"))
        rows.append((("layout", "further_seats"), list(build.layout.further_seats), further, "they count too"))
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


def _limits(build: Build, wishes: Wishes) -> list[tuple[Place, Any, Any, str]]:
    """The same, for what may not be passed."""
    now = build.limits
    rows: list[tuple[Place, Any, Any, str]] = []
    if wishes.boot_l is not None:
        litres = digits(wishes.boot_l)
        rows.append(
            (("limits", "boxes_m3"), now.boxes_m3, float(wishes.boot_l) / 1000.0, f"boxes take {litres} L at most")
        )
    if wishes.budget is not None:
        because = f"it costs {digits(wishes.budget)} at most, with tax"
        rows.append((("limits", "budget"), now.budget, float(wishes.budget), because))
    if wishes.stock:
        rows.append((("limits", "stock"), list(now.stock), list(wishes.stock), "stays as it is"))
    if wishes.reversible and (wishes.reversible == "must") != now.reversible:
        because = "all can be put back" if wishes.reversible == "must" else "not all has to be put back"
        rows.append((("limits", "reversible"), now.reversible, not now.reversible, because))
    return rows


def _left(build: Build, wishes: Wishes) -> Iterator[str]:
    """A person may have written them there, so that nobody takes them out unasked."""
    now = build.limits
    for key, asked, there in (
        ("limits.boxes_m3", wishes.boot_l, now.boxes_m3),
        ("limits.budget", wishes.budget, now.budget),
        ("limits.stock", wishes.stock, list(now.stock)),
        ("limits.reversible", wishes.reversible, now.reversible),
        ("layout.further_seats", wishes.seats, list(build.layout.further_seats)),
    ):
        if there and not asked:
            yield f"{key} = {literal(there)}"


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
    """Every limit that was wished or stands in the build, the stricter of both, and whether it is kept; ``gross``: with tax."""
    wishes, rows = _strictest(wishes, build.limits), []
    if wishes.budget is not None:
        rows.append(budget_check(wishes.budget, gross))
    if wishes.boot_l is not None:
        space, exact = room_taken_m3(boxes_of(results))
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
        rows.append(_seats(wishes.seats, build))
    return tuple(rows)


def _strictest(wishes: Wishes, limits: Limits) -> Wishes:
    litres = [wishes.boot_l, None if limits.boxes_m3 is None else Decimal(f"{1000.0 * limits.boxes_m3:.9g}")]
    budgets = [wishes.budget, None if limits.budget is None else Decimal(f"{limits.budget:.15g}")]
    return replace(
        wishes,
        boot_l=min((item for item in litres if item is not None), default=None),
        budget=min((item for item in budgets if item is not None), default=None),
        stock=tuple(dict.fromkeys((*wishes.stock, *limits.stock))),
        reversible="must" if limits.reversible else wishes.reversible,
    )


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
    unsaid = [item.name for item in build.speakers if item.name not in places]
    mine = [places[item.name] for item in build.speakers if item.name in places]
    broken = [f"{place.name} touches {', '.join(parts)}" for place in mine if (parts := touched(place, stock))]
    broken += [f"{name} touches {', '.join(parts)}" for name in unsaid if (parts := named(name, stock))]
    says = "; ".join(broken) or (f"nobody said what is cut for {', '.join(unsaid)}" if unsaid else "none of it is cut")
    return Check(f"stays as it is: {', '.join(stock)}", False if broken else None if unsaid else True, says)


def _seats(seats: Sequence[str], build: Build) -> Check:
    """Whether the build counts the seats beside the first where it compares places; a tune is for one seat."""
    counted = {folded(name) for name in build.layout.further_seats}
    missing = [name for name in seats[1:] if folded(name) not in counted]
    says = f"not written into the build: {', '.join(missing)}" if missing else "counted where places are compared"
    return Check(f"{', '.join(seats[1:])} count too", not missing, says)
