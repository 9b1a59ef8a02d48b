"""``shop bench``: what is to be done now, the time it takes, and what keeps a car from being closed up."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from cabinwright.cli.shop.command import Command, a_number, an_amount, argument, count_of, option
from cabinwright.cli.shop.jobs import JOB
from cabinwright.cli.terminal import with_progress

if TYPE_CHECKING:
    from cabinwright.shop.store import Store

__all__ = ["COMMANDS"]


def _today(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.office.bench import today

    return [row.to_dict() for row in today(store)]


def _plan(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.office.bench import plan_tasks

    rows = with_progress(lambda progress: plan_tasks(store, options.job, by=options.by, progress=progress))
    return [row.to_dict() for row in rows]


def _tasks(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.office.bench import tasks

    return [row.to_dict() for row in tasks(store, options.job)]


def _add(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.shop.bench import add_task, link
    from cabinwright.shop.trail import Work, columns

    def make(work: Work) -> dict[str, Any]:
        given = {"name": options.name, "kind": options.kind, "planned_h": options.planned, "hidden": options.hidden}
        task = add_task(work, job_id=options.job, **given)
        for before in options.after:
            link(work, task.id, before)
        return columns(task)

    return store.change(make, by=options.by)


def _start(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.shop.bench import start
    from cabinwright.shop.trail import columns

    return store.change(lambda work: columns(start(work, options.task)), by=options.by)


def _stop(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.shop.bench import stop
    from cabinwright.shop.trail import Work, columns

    def make(work: Work) -> Any:
        row = stop(work)
        return "No time was running." if row is None else columns(row)

    return store.change(make, by=options.by)


def _done(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.office.bench import finish
    from cabinwright.shop.rows import Task

    return finish(store, options.task, count=count_of(store, Task, options.task), by=options.by).to_dict()


def _missing(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.office.bench import missing_parts

    return [row.to_dict() for row in missing_parts(store, options.job)]


def _sheet(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.office.bench import sheet

    rows = with_progress(lambda progress: sheet(store, options.job, progress=progress))
    return [row.to_dict() for row in rows]


def _read(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.office.bench import read_off

    return read_off(store, options.job, options.key, options.value, by=options.by).to_dict()


def _closing(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.office.bench import closing

    found = with_progress(lambda progress: closing(store, options.job, progress=progress))
    return found.to_dict()


TASK = argument("task", "number of the task", type=a_number)
COMMANDS = (
    Command("bench", "today", "list what can be done now, in every job", _today),
    Command("bench", "plan", "derive the tasks of a job from its build; those that are there stay", _plan, (JOB,)),
    Command("bench", "tasks", "list the tasks of a job in their order", _tasks, (JOB,)),
    Command(
        "bench",
        "add",
        "add a task to a job",
        _add,
        (
            JOB,
            argument("name", "what is to be done"),
            option("kind", "kind of work, by which hours are compared", required=True),
            option("planned", "hours", type=an_amount, metavar="HOURS"),
            option("hidden", "closed up afterwards", action="store_true"),
            option(
                "after",
                "number of a task that comes before; may be said again",
                type=a_number,
                action="append",
                default=[],
                metavar="TASK",
            ),
        ),
    ),
    Command("bench", "start", "your time runs on a task from now on", _start, (TASK,)),
    Command("bench", "stop", "your time runs no more", _stop),
    Command("bench", "done", "a task is done; closing up is refused while something is missing", _done, (TASK,)),
    Command("bench", "missing", "list parts that a job needs and that are not there", _missing, (JOB,)),
    Command("bench", "sheet", "list the commissioning readings of a job", _sheet, (JOB,)),
    Command(
        "bench",
        "read",
        "write down one reading",
        _read,
        (JOB, argument("key", "key of the line, as in the sheet"), argument("value", "a figure, or: seen, not seen")),
    ),
    Command("bench", "closing", "say what keeps a car from being closed up", _closing, (JOB,)),
)
