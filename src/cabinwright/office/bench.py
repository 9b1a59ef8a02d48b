"""The bench: a job's tasks from its build, the commissioning sheet as it is filled in, and whether the car may be closed up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from decimal import Decimal
from hashlib import sha256
from pathlib import Path
from typing import Any

from sqlalchemy import func, select

from cabinwright.build.document import Build
from cabinwright.errors import PersonError, RefusedError
from cabinwright.handover.commissioning import Check
from cabinwright.handover.lists import figures, lists, passes
from cabinwright.office.plan import CLOSING, planned
from cabinwright.office.worked import Progress, folder_of, stops, unwatched, wired, worked_out
from cabinwright.shop import bench, parts
from cabinwright.shop.jobs import note
from cabinwright.shop.offers import agreed_lines
from cabinwright.shop.rows import Job, Kept, Note, Task, TaskOrder
from cabinwright.shop.store import Store, found_row
from cabinwright.shop.trail import Work, plain
from cabinwright.stages.power.result import PowerResult

__all__ = [
    "Closing",
    "Missing",
    "SheetLine",
    "TaskLine",
    "closing",
    "finish",
    "finish_or_say",
    "missing_in",
    "missing_parts",
    "outside",
    "plan_tasks",
    "read_off",
    "sheet",
    "tasks",
    "today",
]

PIN = "commissioning "  #: before the key, where a reading is pinned
PREFIXES = {"µ": 1e-6, "m": 1e-3, "k": 1e3, "M": 1e6}  #: of the SI, as meters show them
SEEN, NOT_SEEN = "seen", "not seen"


@dataclass(frozen=True, slots=True)
class TaskLine:
    """One task as the bench sees it."""

    id: int
    count: int
    job_id: int
    job: str  #: its number
    title: str  #: of the job
    name: str
    kind: str
    hidden: bool
    planned_h: Decimal | None
    done_at: str
    done_by: str
    after: tuple[str, ...]  #: names of tasks before it that are not done
    ready: bool
    photographs: int

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON types."""
        return {**asdict(self), "planned_h": plain(self.planned_h), "after": list(self.after)}


@dataclass(frozen=True, slots=True)
class Missing:
    """A part that a job needs and the shelf does not hold."""

    part_id: int
    number: str
    name: str
    unit: str
    needed: Decimal  #: still
    there: Decimal
    ordered: Decimal

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON types."""
        return {key: plain(value) for key, value in asdict(self).items()}


@dataclass(frozen=True, slots=True)
class SheetLine:
    """One line of the commissioning sheet and what was read."""

    key: str
    phase: str
    what: str
    state: str
    passes: str
    unit: str  #: empty where something has to be seen
    reading: str  #: empty: not yet
    by: str
    at: str
    ok: bool | None  #: None: not read yet

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON types."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class Closing:
    """What is left before the car may be closed up."""

    stops: tuple[str, ...]  #: of the build's stages, in words
    unread: tuple[str, ...]  #: lines of the commissioning sheet that nobody read
    failed: tuple[str, ...]  #: lines that did not pass
    unphotographed: tuple[str, ...]  #: tasks that are hidden afterwards and have no photograph
    undone: tuple[str, ...]  #: tasks that come before closing up

    @property
    def ready(self) -> bool:
        """Whether nothing is left."""
        return not (self.stops or self.unread or self.failed or self.unphotographed or self.undone)

    def said(self) -> str:
        """In one line."""
        kinds = (
            ("stops are open", self.stops),
            ("lines of the commissioning sheet are not read", self.unread),
            ("lines of it did not pass", self.failed),
            ("hidden joints have no photograph", self.unphotographed),
            ("tasks before it are not done", self.undone),
        )
        return "; ".join(f"{len(rows)} {words}, first: {rows[0]}" for words, rows in kinds if rows)

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON types."""
        return {"ready": self.ready, **{key: list(value) for key, value in asdict(self).items()}}


def plan_tasks(
    store: Store, job_id: int, folder: Path | None = None, *, by: str, progress: Progress = unwatched
) -> tuple[TaskLine, ...]:
    """Add every task that the build asks for and the job does not have yet by its name; those there stay as they are."""
    found = worked_out(folder_of(store, job_id, folder), progress)
    rows = planned(found.build, found.results)

    def make(work: Work) -> None:
        there = {task.name: task.id for task in work.scalars(select(Task).where(Task.job_id == job_id))}
        fresh = []
        for row in rows:
            if row.name[:200] not in there:
                hours = None if row.minutes is None else round(Decimal(row.minutes) / 60, 2)
                task = bench.add_task(
                    work, job_id=job_id, name=row.name, kind=row.kind, planned_h=hours, hidden=row.hidden
                )
                there[task.name] = task.id
                fresh.append(row)
        for row in fresh:  # a circle through a person's own order is theirs to keep: add_task's own check names it
            for before in row.after:
                bench.link(work, there[row.name[:200]], there[before[:200]])

    store.change(make, by=by)
    return tasks(store, job_id)


def tasks(store: Store, job_id: int) -> tuple[TaskLine, ...]:
    """Every task of a job, in an order that may be worked."""
    with store.read() as work:
        return tuple(_lines(work, bench.in_order(work, job_id)))


def today(store: Store) -> tuple[TaskLine, ...]:
    """What can be done now, of all jobs on the bench, what is promised first at the head."""
    with store.read() as work:
        return tuple(_lines(work, bench.ready(work)))


def _lines(work: Work, rows: list[Task]) -> list[TaskLine]:
    ids = [task.id for task in rows]
    names = {task.id: task for task in rows}
    before: dict[int, list[str]] = {}
    orders = select(TaskOrder.task_id, Task.name).join(Task, Task.id == TaskOrder.before_id)
    for task_id, name in work.execute(orders.where(TaskOrder.task_id.in_(ids), Task.done_at.is_(None))):
        before.setdefault(task_id, []).append(name)
    counted = select(Kept.task_id, func.count()).where(Kept.task_id.in_(ids), Kept.kind == "photograph")
    shot: dict[int | None, int] = {row[0]: row[1] for row in work.execute(counted.group_by(Kept.task_id))}
    jobs = {job.id: job for job in work.scalars(select(Job).where(Job.id.in_({task.job_id for task in rows})))}
    return [
        TaskLine(
            id=task.id,
            count=task.count,
            job_id=task.job_id,
            job=jobs[task.job_id].number,
            title=jobs[task.job_id].title,
            name=task.name,
            kind=task.kind,
            hidden=task.hidden,
            planned_h=task.planned_h,
            done_at=task.done_at.isoformat() if task.done_at else "",
            done_by=task.done_by,
            after=tuple(before.get(task.id, ())),
            ready=task.done_at is None and task.id not in before,
            photographs=shot.get(task.id, 0),
        )
        for task in names.values()
    ]


def missing_parts(store: Store, job_id: int) -> tuple[Missing, ...]:
    """Parts that the job still needs and the shelf does not hold."""
    return missing_in(store, [job_id])[job_id]


def missing_in(store: Store, job_ids: Sequence[int]) -> dict[int, tuple[Missing, ...]]:
    """The same of several jobs, each held against the shelf as if it were the only one."""
    with store.read() as work:
        return {
            job_id: tuple(
                Missing(part.id, part.number, part.name, part.unit, needed, there, ordered)
                for part, needed, there, ordered in rows
            )
            for job_id, rows in parts.missing_of(work, job_ids).items()
        }


def outside(store: Store, job_id: int) -> tuple[str, ...]:
    """What the signed build asks for and the library does not hold, so that no shelf tells whether it is there."""
    with store.read() as work:
        offers, lines = agreed_lines(work, job_id)
        if not offers:
            return ()
        texts = {line.text for line in lines}  # somebody wrote a line for it
        return tuple(
            words for words in offers[-1].variants[offers[-1].chosen].get("unmatched", ()) if words not in texts
        )


def sheet(
    store: Store, job_id: int, folder: Path | None = None, *, progress: Progress = unwatched
) -> tuple[SheetLine, ...]:
    """The commissioning sheet of a job's build, with what was read; nothing without an electrical system."""
    progress("wiring", 0.0)
    found = wired(folder_of(store, job_id, folder))
    with store.read() as work:
        return _sheet(work, job_id, *found)


def _checks(build: Build, result: PowerResult | None) -> list[tuple[str, str, Check]]:
    """Key, phase and check. The key is of what is done, not of today's figures: a reading stays when a bound moves."""
    if result is None:
        return []
    rows, seen = [], set[str]()
    for phase in lists(build, result).phases:
        for check in phase.checks:
            key = sha256("\n".join((phase.title, check.what, check.state)).encode("utf-8")).hexdigest()[:12]
            while key in seen:
                key = sha256(key.encode("utf-8")).hexdigest()[:12]
            seen.add(key)
            rows.append((key, phase.title, check))
    return rows


def _sheet(work: Work, job_id: int, build: Build, result: PowerResult | None) -> tuple[SheetLine, ...]:
    pinned = Note.pinned.startswith(PIN, autoescape=True)
    notes = work.scalars(select(Note).where(Note.job_id == job_id, pinned).order_by(Note.id))
    last = {row.pinned.removeprefix(PIN): row for row in notes}
    return tuple(_read(key, phase, check, last.get(key)) for key, phase, check in _checks(build, result))


def _read(key: str, phase: str, check: Check, row: Note | None) -> SheetLine:
    words = check.seen or passes(check)
    unit = "" if check.seen else check.unit
    if row is None:
        return SheetLine(key, phase, check.what, check.state, words, unit, "", "", "", None)
    reading = row.text.rpartition(": ")[2]
    return SheetLine(
        key, phase, check.what, check.state, words, unit, reading, row.by, row.at.isoformat(), _holds(check, reading)
    )


def _holds(check: Check, reading: str) -> bool:
    if check.seen:
        return reading == SEEN
    value = float(reading.split(" ")[0])
    printed = [figures(bound, check.unit) for bound in (check.low, check.high) if bound is not None]
    if figures(value, check.unit) in printed:  # what a meter shows alike passes as the sheet has it on paper
        return True
    return (check.low is None or value >= check.low) and (check.high is None or value <= check.high)


def read_off(store: Store, job_id: int, key: str, value: str, *, by: str, folder: Path | None = None) -> SheetLine:
    """Fill in one line: a number in the sheet's own unit (``12.6``, ``300 mV``, ``10 k``), or ``seen`` / ``not seen``.

    A later reading counts, none is lost.

    Raises ``PersonError`` where there is no such line or the value is none.
    """
    found = wired(folder_of(store, job_id, folder))
    row = next(((phase, check) for mark, phase, check in _checks(*found) if mark == key), None)
    if row is None:
        raise PersonError(f'"{key}" is no line of this commissioning sheet. Look at the sheet again.')
    phase, check = row
    text = _value(check, value)
    where = f"{check.what} ({check.state})" if check.state else check.what
    kept = store.change(lambda work: note(work, job_id, f"{phase}, {where}: {text}", pinned=f"{PIN}{key}"), by=by)
    return _read(key, phase, check, kept)


def _value(check: Check, value: str) -> str:
    words = " ".join(value.split())
    if check.seen:
        if words not in (SEEN, NOT_SEEN):
            raise PersonError(f'"{value[:40]}": here something has to be seen. Write "{SEEN}" or "{NOT_SEEN}".')
        return words
    number = words.removesuffix(check.unit).strip().replace(",", ".")
    times = PREFIXES.get(number[-1:], 1.0)
    try:
        figure = float(number[:-1] if number[-1:] in PREFIXES else number) * times
    except ValueError:
        figure = float("nan")
    if not abs(figure) < 1e9:
        raise PersonError(
            f'"{value[:40]}": a number in {check.unit} is wanted, such as {figures(check.low or check.high, check.unit)}.'
        )
    return f"{figure:g} {check.unit}"


def closing(store: Store, job_id: int, folder: Path | None = None, *, progress: Progress = unwatched) -> Closing:
    """What is left before the car may be closed up: every stop, line, photograph and task that comes before it."""
    found = worked_out(folder_of(store, job_id, folder), progress)
    with store.read() as work:
        lines = _sheet(work, job_id, found.build, found.results.power)
        rows = _lines(work, bench.in_order(work, job_id))
        ids = {row.id: row for row in rows}
        orders = work.execute(
            select(TaskOrder.task_id, TaskOrder.before_id).where(TaskOrder.task_id.in_(list(ids)))
        ).all()
    waits: dict[int, set[int]] = {}
    for task_id, before_id in orders:
        waits.setdefault(task_id, set()).add(before_id)
    due = {row.id for row in rows if row.kind == CLOSING}
    todo, before = list(due), set[int]()
    while todo:
        fresh = waits.get(todo.pop(), set()) - before
        before |= fresh
        todo += fresh
    return Closing(
        stops=tuple(f"{item.where}: {item.message}" for item in stops(found.build, found.results)),
        unread=tuple(f"{line.phase}: {line.what}" for line in lines if line.ok is None),
        failed=tuple(f"{line.phase}: {line.what}: {line.reading}" for line in lines if line.ok is False),
        unphotographed=tuple(row.name for row in rows if row.hidden and not row.photographs),
        undone=tuple(row.name for row in rows if row.id in before - due and not row.done_at),
    )


def finish(
    store: Store, task_id: int, *, count: int, by: str, folder: Path | None = None, progress: Progress = unwatched
) -> TaskLine:
    """A task is done. Raises ``RefusedError`` where one before it is not, or the car may not be closed up yet."""
    with store.read() as work:
        task = found_row(work, Task, task_id)
        job_id, kind, name = task.job_id, task.kind, task.name
    if kind == CLOSING:
        left = closing(store, job_id, folder, progress=progress)
        if not left.ready:
            raise RefusedError(f"{name}: the car may not be closed up yet: {left.said()}.")
    store.change(lambda work: bench.done(work, task_id, count=count), by=by)
    return next(row for row in tasks(store, job_id) if row.id == task_id)


def finish_or_say(store: Store, task_id: int, *, count: int, by: str, progress: Progress = unwatched) -> str:
    """The same, saying why not where it is refused, so that what another process worked out for it comes back all the same."""
    try:
        finish(store, task_id, count=count, by=by, progress=progress)
    except RefusedError as error:
        return str(error)
    return ""
