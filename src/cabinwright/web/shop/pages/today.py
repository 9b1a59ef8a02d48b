"""What there is to do now: time that runs, tasks that nothing waits for, promises, parts that are not there."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from nicegui import run
from sqlalchemy import select

from cabinwright.errors import CabinwrightError, RefusedError
from cabinwright.office.bench import Missing, TaskLine, finish, finish_or_say, missing_in, today
from cabinwright.office.plan import CLOSING
from cabinwright.office.worked import folder_of, known
from cabinwright.shop.bench import running, start, stop
from cabinwright.shop.jobs import OPEN, listed
from cabinwright.shop.parts import NEEDING
from cabinwright.shop.rows import Customer
from cabinwright.shop.trail import Work, columns
from cabinwright.web.parts import box, button, link, text
from cabinwright.web.shop.frame import Make, ShopPage, ShopView, address
from cabinwright.web.shop.long import away, back
from cabinwright.web.shop.said import STATE_WORDS, lasting, moment, plain
from cabinwright.web.words import _, counted

__all__ = ["PAGE", "own_time", "task_row", "time_panel"]

SOON = timedelta(days=7)
MOST, TASKS = 12, 20


@dataclass(frozen=True)
class Seen:
    """What the page looked up."""

    running: dict[str, Any] | None
    tasks: tuple[TaskLine, ...]
    promised: list[dict[str, Any]]
    missing: list[tuple[dict[str, Any], tuple[Missing, ...]]]
    empty: bool = False  #: nobody has a car built here yet


def look(view: ShopView) -> Seen:
    """Four short questions to the database."""
    by, day = view.by, datetime.now(UTC).astimezone().date()
    with view.store.read() as work:
        promised = [columns(job) for job in listed(work, states=OPEN, promised_before=day + SOON)]
        working = [columns(job) for job in listed(work, states=NEEDING)]
        mine = own_time(work, by)
        empty = work.scalar(select(Customer.id).limit(1)) is None
    missing = missing_in(view.store, [job["id"] for job in working])
    lacking = [(job, missing[job["id"]]) for job in working if missing[job["id"]]]
    return Seen(mine, today(view.store), promised, lacking, empty)


def body(view: ShopView, seen: Seen) -> None:
    """The answer first: how much can be done, and what is late."""
    if seen.empty and view.may("settings"):
        _begin()
        return
    late = [job for job in seen.promised if job["promised_on"] < str(datetime.now(UTC).astimezone().date())]
    said = counted(len(seen.tasks), "task can be done now.", "tasks can be done now.")
    if late:
        said = "▲ " + counted(len(late), "job is late.", "jobs are late.") + " " + said
    text("p", said, "figure")
    time_panel(view, seen.running)
    text("h2", _("To do now"))
    if not seen.tasks:
        text(
            "p",
            _(
                "Nothing. Tasks come from a job's build on its bench, once its proposal is signed and it is being built."
            ),
            "empty",
        )
    with box("ul", "changes"):
        for task in seen.tasks[view.after : view.after + TASKS]:
            task_row(view, task, seen.running, job=True)
    view.turns(len(seen.tasks[view.after : view.after + TASKS]), TASKS)
    text("h2", _("Promised"))
    if not seen.promised:
        text("p", _("Nothing is promised within a week."), "empty")
    with box("ul", "changes"):
        for job in seen.promised:
            with box("li", "change"), box("div"):
                mark = "▲ " if job in late else ""
                link(f"{mark}{job['number']} {job['title']}", address("/shop/job", at=job["id"]), "where")
                words = _("late since {day}") if job in late else _("for {day}")
                text("p", f"{STATE_WORDS[job['state']]}, {words.format(day=job['promised_on'])}", "soft")
    text("h2", _("Parts that are not there"))
    if not seen.missing:
        text("p", _("Nothing is missing for the jobs on the bench."), "empty")
    for job, rows in seen.missing:
        with box("details"):
            words = counted(len(rows), "part", "parts")
            text("summary", f"{job['number']} {job['title']}: {words}", "act")
            with box("ul", "changes"):
                for row in rows[:MOST]:
                    with box("li", "change"), box("div"):
                        link(f"{row.number} {row.name}", address("/shop/part", at=row.part_id), "where")
                        words = _("{needed} needed, {there} there, {ordered} ordered ({unit})")
                        told = {"needed": plain(row.needed), "there": plain(row.there), "ordered": plain(row.ordered)}
                        text("p", words.format(unit=row.unit, **told), "soft")
            link(_("The whole list"), address("/shop/bench", at=job["id"]), "act")


def _begin() -> None:
    """The ways of an empty shop, in the order in which they are gone."""
    text("p", _("The shop is empty. To begin with:"), "figure")
    with box("ol", "changes"):
        for path, name, words in (
            ("/shop/house", _("The shop"), _("its name and currency, what an hour costs, which tax holds")),
            ("/shop/parts", _("Parts"), _("those that you use, one by one or from a supplier's list")),
            ("/shop/customers", _("Customers"), _("a customer and their car")),
            ("/shop/jobs", _("Jobs"), _("what is asked for on that car; the page of the job says what comes next")),
        ):
            with box("li", "change"), box("div"):
                link(name, path, "where")
                text("p", words, "soft")


def own_time(work: Work, by: str) -> dict[str, Any] | None:
    """Somebody's time that runs now, as these pages show it."""
    row = running(work, by)
    return columns(row) if row is not None else None


def time_panel(view: ShopView, mine: dict[str, Any] | None) -> None:
    """What the visitor's time runs on, and the tap that stops it; nothing where none runs."""
    if mine is None:
        return
    with box("div", "key"):
        words = _("Your time runs on {kind} since {since}.")
        text("p", words.format(kind=mine["kind"], since=moment(mine["began_at"])))
        button(_("Stop my time"), lambda: view.change(stopped, _("Stopped.")), "main")


def stopped(work: Work) -> bool:
    """The visitor's own time."""
    return stop(work) is not None


def task_row(view: ShopView, task: TaskLine, mine: dict[str, Any] | None, *, job: bool = False) -> None:
    """One task with its taps: time on, time off, done."""
    with box("li", "change"):
        with box("div"):
            mark = "✓ " if task.done_at else "● " if task.ready else "○ "
            text("p", mark + task.name, "where")
            told = [f"{task.job} {task.title}"] if job else []
            told += [_("{time} planned").format(time=lasting(task.planned_h))] if task.planned_h is not None else []
            told += [_("after {names}").format(names=", ".join(task.after))] if task.after else []
            if task.done_at:
                told += [_("done by {name}, {at}").format(name=task.done_by, at=moment(task.done_at))]
            if task.hidden:
                shot = counted(task.photographs, "photograph of what is hidden", "photographs of what is hidden")
                told += [shot if task.photographs else _("▲ hidden later: needs a photograph")]
            text("p", " · ".join(told), "soft")
        if task.done_at or not view.may("work"):
            return
        with box("div", "row"):
            if mine is not None and mine["task_id"] == task.id:
                button(
                    _("Stop my time"),
                    lambda: view.change(stopped, _("Stopped.")),
                    says=f"{_('Stop my time')}: {task.name}",
                )
            else:
                button(
                    _("Start my time"),
                    lambda: view.change(lambda work: start(work, task.id).id, _("Your time runs.")),
                    says=f"{_('Start my time')}: {task.name}",
                )
            if task.ready:
                button(_("Done"), _finishing(view, task), "main", says=f"{_('Done')}: {task.name}")
            link(_("Job"), address("/shop/job", at=task.job_id), "act") if job else None


def _finishing(view: ShopView, task: TaskLine) -> Callable[[], Awaitable[Any]]:
    """What is done on a press. Closing up asks the whole build: one that is not known is worked out elsewhere, with progress."""
    said = _("Done: {name}.").format(name=task.name)

    async def here() -> None:
        await view.do(lambda: finish(view.store, task.id, count=task.count, by=view.by), said)

    if task.kind != CLOSING:
        return here

    def told(why: str) -> str:
        if why:
            raise RefusedError(why)
        return said

    begin = view.runner(_("Checking {job} before {name}").format(job=task.job, name=task.name), back(told))

    def elsewhere() -> Make:
        place = folder_of(view.store, task.job_id, None)
        return away(view, [place], finish_or_say, task.id, count=task.count, by=view.by)

    async def press() -> None:
        await (here() if await run.io_bound(_at_once, view, task) else begin(elsewhere))

    return press


def _at_once(view: ShopView, task: TaskLine) -> bool:
    """Whether the build need not be worked out: it is known, or cannot be read, which is then told."""
    try:
        return known(folder_of(view.store, task.job_id, None)) is not None
    except CabinwrightError:
        return True


PAGE = ShopPage("/shop", _("Today"), _("What is to be done today?"), look, body)
