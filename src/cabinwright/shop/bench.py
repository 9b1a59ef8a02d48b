"""The bench: tasks in an order that their dependencies allow, and the time they took."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from graphlib import CycleError, TopologicalSorter

import numpy as np
from sqlalchemy import select

from cabinwright.errors import PersonError, RefusedError
from cabinwright.shop.kinds import now
from cabinwright.shop.rows import Hours, Job, Task, TaskOrder
from cabinwright.shop.store import found_row, held
from cabinwright.shop.trail import Work

__all__ = ["Spread", "add_task", "done", "history_of", "in_order", "ready", "running", "start", "stop"]

WORKING = ("building", "proving")  #: states of a job in which its tasks are due
LONGEST_H = 16.0  #: an entry longer than this was forgotten to stop


def add_task(
    work: Work,
    *,
    job_id: int,
    name: str,
    kind: str,
    planned_h: Decimal | None = None,
    hidden: bool = False,
    after: Sequence[int] = (),
) -> Task:
    """One more task of a job, due after the tasks ``after``. Raises ``PersonError``."""
    found_row(work, Job, job_id)
    if not name.strip() or not kind.strip():
        raise PersonError("A task needs a name and the kind of work.")
    if len(name.strip()) > 200 or len(kind.strip()) > 40:
        raise PersonError("A task's name has 200 characters at most, the kind of its work 40. Shorten it.")
    if planned_h is not None and not 0 <= planned_h <= 10_000:
        raise PersonError(f"{planned_h} planned hours are none. Give 0 to 10,000.")
    place = len(list(work.scalars(select(Task.id).where(Task.job_id == job_id))))
    task = Task(job_id=job_id, place=place, name=name.strip(), kind=kind.strip(), planned_h=planned_h, hidden=hidden)
    work.add(task)
    work.flush()
    for before in after:
        link(work, task.id, before)
    return task


def link(work: Work, task_id: int, before_id: int) -> None:
    """``before_id`` has to be done before ``task_id``. Raises ``PersonError`` for a circle or another job's task."""
    task, before = work.get(Task, task_id), work.get(Task, before_id)
    if task is None or before is None or task.job_id != before.job_id:
        raise PersonError("Both tasks have to be of one job.")
    work.add(TaskOrder(task_id=task_id, before_id=before_id))
    try:
        _sorted(work, task.job_id)
    except CycleError as error:
        names = " before ".join(getattr(work.get(Task, item), "name", "?") for item in error.args[1])
        raise PersonError(f"These tasks would wait for each other: {names}. Take one of the orders away.") from None


def in_order(work: Work, job_id: int) -> list[Task]:
    """The tasks of a job so that each comes after what it waits for, otherwise in their own order."""
    tasks = {task.id: task for task in work.scalars(select(Task).where(Task.job_id == job_id))}
    return [tasks[item] for item in _sorted(work, job_id)]


def _sorted(work: Work, job_id: int) -> list[int]:
    work.flush()
    rows = work.execute(select(Task.id, Task.place).where(Task.job_id == job_id)).all()
    places = {task_id: (place, task_id) for task_id, place in rows}
    waits: dict[int, set[int]] = {task_id: set() for task_id in places}
    for order in work.scalars(select(TaskOrder).where(TaskOrder.task_id.in_(list(places)))):
        waits[order.task_id].add(order.before_id)
    sorter = TopologicalSorter(waits)
    sorter.prepare()
    result: list[int] = []
    free: list[int] = []
    while sorter.is_active():
        free = sorted([*free, *sorter.get_ready()], key=places.__getitem__)
        result.append(free.pop(0))
        sorter.done(result[-1])
    return result


def ready(work: Work) -> list[Task]:
    """Everything that can be done today: of jobs that are being built, with nothing before it left to do."""
    find = select(Task).join(Job).where(Job.state.in_(WORKING), Task.done_at.is_(None))
    tasks = list(
        work.scalars(find.order_by(Job.promised_on.is_(None), Job.promised_on, Task.job_id, Task.place, Task.id))
    )
    open_ = {task.id for task in tasks}
    orders = work.execute(
        select(TaskOrder.task_id, TaskOrder.before_id)
        .join(Task, Task.id == TaskOrder.task_id)
        .join(Job)
        .where(Job.state.in_(WORKING), Task.done_at.is_(None))
    )
    waits = {task_id for task_id, before_id in orders if before_id in open_}
    return [task for task in tasks if task.id not in waits]


def done(work: Work, task_id: int, *, count: int) -> Task:
    """A task is done. Raises ``RefusedError`` while something before it is not."""
    task = held(work, Task, task_id, count=count)
    before = select(Task.name).join(TaskOrder, TaskOrder.before_id == Task.id)
    left = work.scalars(before.where(TaskOrder.task_id == task_id, Task.done_at.is_(None))).all()
    if left:
        raise RefusedError(f"{task.name} comes after {', '.join(left)}, which is not done yet.")
    task.done_at, task.done_by = now(), work.by
    work.flush()
    return task


def running(work: Work, by: str) -> Hours | None:
    """The time of somebody that runs now."""
    return work.scalars(select(Hours).where(Hours.by == by, Hours.ended_at.is_(None))).first()


def start(work: Work, task_id: int) -> Hours:
    """One tap: the time of whoever works runs on this task, and stops on any other."""
    task = found_row(work, Task, task_id)
    stop(work)
    row = Hours(job_id=task.job_id, task_id=task.id, kind=task.kind, by=work.by, began_at=now())
    work.add(row)
    work.flush()
    return row


def stop(work: Work) -> Hours | None:
    """Another tap: their time stops; None where none ran."""
    row = running(work, work.by)
    if row is not None:
        row.ended_at = now()
        work.flush()
    return row


@dataclass(frozen=True, slots=True)
class Spread:
    """How long a kind of work took in finished jobs."""

    kind: str
    jobs: int
    low_h: float  #: a tenth took less
    middle_h: float  #: the median
    high_h: float  #: a tenth took more


def history_of(work: Work, kind: str, *, most: int = 200) -> Spread | None:
    """The shop's own hours for a kind of work, one figure a finished job; forgotten stops are left out."""
    find = (
        select(Hours.job_id, Hours.began_at, Hours.ended_at)
        .join(Job)
        .where(Hours.kind == kind, Hours.ended_at.is_not(None), Job.state.in_(("handed over", "closed")))
    )
    spent: dict[int, float] = {}
    for job_id, began, ended in work.execute(find.order_by(Hours.id.desc()).limit(20 * most)):
        assert ended is not None
        hours = (ended - began).total_seconds() / 3600
        if hours <= LONGEST_H:
            spent[job_id] = spent.get(job_id, 0.0) + hours
    if not spent:
        return None
    low, middle, high = np.quantile(list(spent.values())[:most], (0.1, 0.5, 0.9))
    return Spread(kind, len(spent), float(low), float(middle), float(high))
