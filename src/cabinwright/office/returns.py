"""A car comes back: what was done, what has drifted since it was proved, what differs in its build, what may be replaced."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import func, select

from cabinwright.build.codec import parse
from cabinwright.build.document import Build
from cabinwright.errors import PersonError, RefusedError
from cabinwright.handover.wording import decibels, third_octave
from cabinwright.history.design import design_differences
from cabinwright.office.worked import Progress, Worked, folder_of, unwatched, worked_out
from cabinwright.session import Session
from cabinwright.shop.files import FileStore, keep_file
from cabinwright.shop.jobs import add_job, chain
from cabinwright.shop.money import digits
from cabinwright.shop.offers import agreed_lines
from cabinwright.shop.parts import shelf
from cabinwright.shop.rows import BuildState, Hours, Job, Kept, Movement, Need, Part, Task
from cabinwright.shop.store import Store, found_row
from cabinwright.shop.trail import Work
from cabinwright.stages.tuning.verify.result import VerificationResult, levels_agree

__all__ = ["Done", "Drift", "Replaceable", "Return", "Verified", "come_back", "keep_verification", "looked_back"]

PINNED = "verification"  #: where a kept verification is pinned
Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Verified:
    """A verification as it is kept."""

    at: str  #: ISO 8601, UTC; empty in the file itself
    passed: bool
    summary: str
    causes: tuple[str, ...]
    band_centres_hz: tuple[float, ...]
    measured_db: Mapping[str, tuple[float, ...]]  #: by the name of the comparison; NaN where noise hides it
    tolerance_db: Mapping[str, tuple[float, ...]]

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON types; NaN as None."""
        row = asdict(self) | {"causes": list(self.causes), "band_centres_hz": list(self.band_centres_hz)}
        for name in ("measured_db", "tolerance_db"):
            row[name] = {key: [None if math.isnan(x) else x for x in value] for key, value in row[name].items()}
        return row

    @classmethod
    def of(cls, result: VerificationResult) -> Verified:
        """What is kept of a result."""
        return cls(
            at="",
            passed=result.passed,
            summary=result.summary,
            causes=tuple(cause.text for cause in result.causes),
            band_centres_hz=_floats(result.band_centres_hz),
            measured_db={item.name: _floats(item.measured_db) for item in result.comparisons},
            tolerance_db={item.name: _floats(item.tolerance_db) for item in result.comparisons},
        )

    @classmethod
    def read(cls, content: bytes, at: str) -> Verified:
        """From a kept file. Raises ``PersonError`` where it is none."""
        try:
            row = json.loads(content)
            curves = {
                name: {
                    key: tuple(math.nan if x is None else float(x) for x in value) for key, value in row[name].items()
                }
                for name in ("measured_db", "tolerance_db")
            }
            bands = tuple(float(x) for x in row["band_centres_hz"])
            return cls(at, bool(row["passed"]), str(row["summary"]), tuple(row["causes"]), bands, **curves)
        except (ValueError, TypeError, KeyError, AttributeError):
            raise PersonError(f"The verification kept on {at[:10]} cannot be read. Take it from a backup.") from None


def _floats(values: Array) -> tuple[float, ...]:
    return tuple(round(float(value), 3) for value in values)


@dataclass(frozen=True, slots=True)
class Drift:
    """One comparison, then and now."""

    name: str
    agrees: bool
    worst_db: float  #: now minus then, where it is farthest beyond what may differ
    at_hz: float
    allowed_db: float
    says: str

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON types."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class Done:
    """An earlier job on the car."""

    job_id: int
    number: str
    title: str
    state: str
    closed_at: str
    tasks: tuple[str, ...]  #: that were done, in order
    hours: Mapping[str, float]  #: by kind of work
    agreed: tuple[str, ...]  #: lines that were signed

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON types."""
        return {**asdict(self), "tasks": list(self.tasks), "agreed": list(self.agreed), "hours": dict(self.hours)}


@dataclass(frozen=True, slots=True)
class Replaceable:
    """A part that was built in, and what is there for it today."""

    number: str
    name: str
    quantity: Decimal
    unit: str
    gone: bool  #: no longer to be had
    on_shelf: Decimal
    instead: tuple[str, ...]  #: parts of the library that stand for the same row of the build
    reach: str = ""  #: how far away it is, where the build says so

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON types."""
        row = asdict(self) | {"instead": list(self.instead)}
        return row | {"quantity": str(self.quantity), "on_shelf": str(self.on_shelf)}


@dataclass(frozen=True, slots=True)
class Return:
    """Everything that is known when a car comes back."""

    done: tuple[Done, ...]  #: the oldest first
    verified_then: Verified | None
    verified_now: Verified | None
    drifted: tuple[Drift, ...]
    new_causes: tuple[str, ...]  #: that the later verification names and the earlier did not
    undrifted: str  #: why nothing was compared; empty where it was
    differs: tuple[str, ...]  #: the build now against the last state kept with an earlier job
    replaceable: tuple[Replaceable, ...]

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON types."""
        lists = ("done", "drifted", "replaceable")
        row: dict[str, Any] = {name: [item.to_dict() for item in getattr(self, name)] for name in lists}
        for name in ("verified_then", "verified_now"):
            found: Verified | None = getattr(self, name)
            row[name] = None if found is None else found.to_dict()
        return row | {
            "new_causes": list(self.new_causes),
            "undrifted": self.undrifted,
            "differs": list(self.differs),
        }


def keep_verification(
    store: Store,
    job_id: int,
    folder: Path | None = None,
    *,
    by: str,
    settings_file: Path | None = None,
    progress: Progress = unwatched,
) -> Verified:
    """Verify the build's second round of recordings and keep the outcome, and the build as it is, with the job.

    Raises ``RefusedError`` where there is no such round.
    """
    path = folder_of(store, job_id, folder)
    session = Session.open(path)
    result, _ = session.verify(progress, settings_file=settings_file)
    found = Verified.of(result)
    content = json.dumps(found.to_dict(), ensure_ascii=False, indent=1).encode("utf-8")
    mark, size = FileStore(store.files).put(content)
    item = _as_it_lies(path)

    def make(work: Work) -> str:
        row = keep_file(work, mark, size, job_id=job_id, kind="document", name="verification.json", pinned=PINNED)
        there = select(BuildState.id).where(BuildState.job_id == job_id, BuildState.mark == item[0])
        if work.scalar(there) is None:
            work.add(BuildState(job_id=job_id, mark=item[0], text=item[1], why="as it was verified", by=by))
        work.flush()
        return row.at.isoformat()

    return Verified.read(content, store.change(make, by=by))


def _as_it_lies(path: Path) -> tuple[str, str]:
    """Mark and text of a build as it lies there."""
    from cabinwright.build.codec import source
    from cabinwright.history.log import mark_of

    content = source(path)[1]
    return mark_of(content), content.decode("utf-8")


def come_back(
    store: Store, earlier_id: int, *, title: str, by: str, promised_on: date | None = None, folder: str | None = None
) -> int:
    """A job for a car that comes back, on the same build; returns its id. Raises ``RefusedError`` while that one is open."""

    def make(work: Work) -> int:
        earlier = found_row(work, Job, earlier_id)
        if earlier.state not in ("handed over", "closed"):
            raise RefusedError(
                f"{earlier.number} is {earlier.state}: the car has not gone home yet. Go on with that job."
            )
        place = earlier.folder if folder is None else folder
        job = add_job(
            work, car_id=earlier.car_id, title=title, promised_on=promised_on, folder=place, earlier_id=earlier_id
        )
        return job.id

    return store.change(make, by=by)


def looked_back(store: Store, job_id: int, folder: Path | None = None, *, progress: Progress = unwatched) -> Return:
    """What was done on the car of a job before, and what is to be said of it today. Raises ``PersonError``."""
    files = FileStore(store.files)
    item: Worked | None = None
    with store.read() as work:
        place = found_row(work, Job, job_id).folder
    if folder is not None or place:
        item = worked_out(folder_of(store, job_id, folder), progress)
    with store.read() as work:
        line = chain(work, job_id)
        earlier = line[:-1] or line
        then, now = _two(files, work, [job.id for job in line[:-1]], job_id)
        drifted = () if then is None or now is None else tuple(_drifts(then, now))
        causes = () if then is None or now is None else tuple(row for row in now.causes if row not in then.causes)
        return Return(
            done=tuple(_done(work, job) for job in earlier),
            verified_then=then,
            verified_now=now,
            drifted=drifted,
            new_causes=causes,
            undrifted="" if then is not None and now is not None else _why(then, first=len(line) == 1),
            differs=tuple(_differs(work, [job.id for job in earlier], item.build)) if item is not None else (),
            replaceable=tuple(_replaceable(work, [job.id for job in earlier], item)),
        )


def _why(then: Verified | None, *, first: bool) -> str:
    if first and then is None:
        return (
            "No verification is kept with this job. Before the car goes home, load the settings, record the second round and "
            "keep its verification: that is what the car is held against when it comes back."
        )
    if first:
        return "A verification is kept. When the car comes back, the one of that day is held against it."
    if then is None:
        return "No verification was kept when the car went home, so that nothing can be said of drift."
    return (
        "Record the second round again with the settings that are in the car, and keep the verification with this job."
    )


def _two(files: FileStore, work: Work, earlier: Sequence[int], job_id: int) -> tuple[Verified | None, Verified | None]:
    """The last of the earlier jobs and the last of this one; of a first job its own first and last."""
    find = select(Kept).where(Kept.pinned == PINNED, Kept.kind == "document").order_by(Kept.id)
    before = list(work.scalars(find.where(Kept.job_id.in_(earlier))))
    own = list(work.scalars(find.where(Kept.job_id == job_id)))
    if not earlier:
        before, own = own[:1], own[1:]
    return _kept(files, before[-1:]), _kept(files, own[-1:])


def _kept(files: FileStore, rows: Sequence[Kept]) -> Verified | None:
    for row in rows:
        with files.open(row.mark) as file:
            return Verified.read(file.read(), row.at.isoformat())
    return None


def _drifts(then: Verified, now: Verified) -> list[Drift]:
    """Comparisons that both have. Two rounds may differ by what each may differ, as independent errors add."""
    if then.band_centres_hz != now.band_centres_hz:
        raise RefusedError(
            "The two verifications stand in other bands and cannot be compared. Verify both with one version."
        )
    found = []
    for name in (name for name in now.measured_db if name in then.measured_db):
        change = np.asarray(now.measured_db[name]) - np.asarray(then.measured_db[name])
        allowed = np.hypot(np.asarray(now.tolerance_db[name]), np.asarray(then.tolerance_db[name]))
        known = np.isfinite(change) & np.isfinite(allowed)
        if not known.any():
            continue
        over = np.where(known, np.abs(change) - allowed, -np.inf)
        at = int(np.argmax(over))
        agrees = levels_agree(change, allowed)
        hz, db, may = now.band_centres_hz[at], float(change[at]), float(allowed[at])
        verdict = "as it was" if agrees else "has drifted"
        off = f"{decibels(db)} where {decibels(may, plus=False)} may differ"
        says = f"{name}: {verdict}; farthest at {third_octave(hz)}, {off}"
        found.append(Drift(name, agrees, round(db, 2), hz, round(may, 2), says))
    return found


def _done(work: Work, job: Job) -> Done:
    tasks = work.scalars(
        select(Task).where(Task.job_id == job.id, Task.done_at.is_not(None)).order_by(Task.done_at, Task.id)
    )
    hours: dict[str, float] = {}
    for row in work.scalars(select(Hours).where(Hours.job_id == job.id, Hours.ended_at.is_not(None))):
        assert row.ended_at is not None
        hours[row.kind] = hours.get(row.kind, 0.0) + (row.ended_at - row.began_at).total_seconds() / 3600
    _, lines = agreed_lines(work, job.id)
    agreed = tuple(f"{digits(line.quantity)} {line.unit} {line.text}" for line in lines if line.kind != "labour")
    closed = job.closed_at.isoformat() if job.closed_at else ""
    names = tuple(task.name for task in tasks)
    return Done(
        job.id, job.number, job.title, job.state, closed, names, {k: round(v, 2) for k, v in hours.items()}, agreed
    )


def _differs(work: Work, earlier: Sequence[int], build: Build) -> list[str]:
    find = select(BuildState).where(BuildState.job_id.in_(earlier)).order_by(BuildState.id.desc())
    last = work.scalars(find.limit(1)).first()
    if last is None:
        return []
    before = parse(last.text.encode("utf-8"), file="the build as it went home")
    return [row.words for row in design_differences(before, build)]


def _replaceable(work: Work, earlier: Sequence[int], item: Worked | None) -> list[Replaceable]:
    """Parts that went into the car: taken from the shelf for it, or else needed by what was signed."""
    took = select(Movement.part_id, -func.sum(Movement.quantity)).where(Movement.job_id.in_(earlier))
    amounts: dict[int, Decimal] = {row[0]: row[1] for row in work.execute(took.group_by(Movement.part_id))}
    asked = select(Need.part_id, func.sum(Need.quantity)).where(Need.job_id.in_(earlier)).group_by(Need.part_id)
    for part_id, quantity in work.execute(asked):
        amounts.setdefault(part_id, quantity)
    amounts = {part_id: quantity for part_id, quantity in amounts.items() if quantity > 0}
    there = shelf(work, list(amounts))
    rows = []
    for part in work.scalars(select(Part).where(Part.id.in_(list(amounts))).order_by(Part.kind, Part.number)):
        instead = _instead(work, part)
        about = (part.number, part.name, amounts[part.id], part.unit, part.gone, there[part.id])
        rows.append(Replaceable(*about, instead, _reach(part, item)))
    return rows


def _instead(work: Work, part: Part) -> tuple[str, ...]:
    """Other parts of the same kind that say that they stand for the same row of a build."""
    if not part.data:
        return ()
    find = select(Part).where(Part.kind == part.kind, Part.id != part.id, ~Part.gone).order_by(Part.number)
    return tuple(f"{row.number} {row.name}" for row in work.scalars(find) if row.data == part.data)


def _reach(part: Part, item: Worked | None) -> str:
    """How far away it is by the service graph: for what the part's data, or its name, call by a name of that graph."""
    shop = item.results.workshop if item is not None else None
    if shop is None or shop.service is None:
        return ""
    names = {part.name, *(str(value) for value in part.data.values() if isinstance(value, str))}
    for step in shop.service.parts.values():
        if names & {step.name, *step.of}:
            return f"{step.steps} parts come out before it; {step.whole_minutes:.0f} minutes with everything back"
    return ""
