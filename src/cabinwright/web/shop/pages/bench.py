"""The bench of a job: tasks in their order, time with one tap, what is missing, what to read off, whether it may be closed."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from sqlalchemy import select

from cabinwright.errors import CabinwrightError
from cabinwright.office.bench import (
    NOT_SEEN,
    SEEN,
    Closing,
    Missing,
    SheetLine,
    TaskLine,
    missing_parts,
    read_off,
    sheet,
    tasks,
)
from cabinwright.shop.bench import add_task
from cabinwright.shop.rows import Hours
from cabinwright.shop.trail import columns
from cabinwright.web.parts import box, button, table, text
from cabinwright.web.shop import long
from cabinwright.web.shop.door import the_door
from cabinwright.web.shop.forms import Ask, amount_of, form
from cabinwright.web.shop.frame import ShopPage, ShopView
from cabinwright.web.shop.pages.job import JobSeen, head, job_seen
from cabinwright.web.shop.pages.today import task_row
from cabinwright.web.shop.said import moment, plain
from cabinwright.web.words import _, counted

__all__ = ["PAGE"]


@dataclass(frozen=True)
class Seen:
    """What the page looked up."""

    job: JobSeen
    tasks: tuple[TaskLine, ...]
    running: dict[str, Any] | None
    missing: tuple[Missing, ...]
    sheet: tuple[SheetLine, ...]
    why_not: str


def look(view: ShopView) -> Seen:
    """Tasks, parts, and the sheet of the build as it is now."""
    job, by = job_seen(view), view.by
    with view.store.read() as work:
        hours = work.scalars(select(Hours).where(Hours.by == by, Hours.ended_at.is_(None))).first()
        running = columns(hours) if hours is not None else None
    rows, why_not = _sheet(view, job)
    return Seen(job, tasks(view.store, job.id), running, missing_parts(view.store, job.id), rows, why_not)


def _sheet(view: ShopView, job: JobSeen) -> tuple[tuple[SheetLine, ...], str]:
    """The sheet where it is open on the page: the wiring is solved for it, which takes its moment."""
    if not job.job["folder"]:
        return (), _("The job has no build folder yet; name it on the page “The job”.")
    if not view.state.get("sheet"):
        return (), ""
    try:
        return sheet(view.store, job.id, Path(job.job["folder"])), ""
    except CabinwrightError as error:
        return (), str(error)


def body(view: ShopView, seen: Seen) -> None:
    """What can be done comes first."""
    head(view, seen.job)
    left = [task for task in seen.tasks if not task.done_at]
    ready = [task for task in left if task.ready]
    if seen.tasks:
        text(
            "p",
            counted(len(left), "task is left", "tasks are left")
            + ", "
            + counted(len(ready), "can be done now", "can be done now"),
            "figure",
        )
    else:
        text(
            "p",
            _("No tasks yet. They can be planned from the build: what comes before what, and what is hidden later."),
            "empty",
        )
    with box("ul", "changes"):
        for task in (*ready, *(task for task in left if not task.ready)):
            task_row(view, task, seen.running)
    done = [task for task in seen.tasks if task.done_at]
    if done:
        with box("details"):
            text("summary", counted(len(done), "task is done", "tasks are done"), "act")
            with box("ul", "changes"):
                for task in done:
                    task_row(view, task, seen.running)
    if view.may("work"):
        view.long(
            _("Plan the tasks from the build"),
            lambda: partial(long.plan_tasks, the_door().address, seen.job.id, view.by),
            lambda number: _("The job has {number} tasks now.").format(number=number),
            main=not seen.tasks,
        )
        _add(view, seen)
    _missing(seen)
    _readings(view, seen)
    _close(view, seen)


def _add(view: ShopView, seen: Seen) -> None:
    with box("details"):
        text("summary", _("Add a task"), "act")

        async def add(told: dict[str, Any]) -> None:
            def make(work: Any) -> int:
                given = {"planned_h": amount_of(told["planned"], _("Hours")), "hidden": told["hidden"]}
                after = [int(task) for task in told["after"]]
                return add_task(work, job_id=seen.job.id, name=told["name"], kind=told["kind"], after=after, **given).id

            await view.change(make, _("Added."))

        form(
            [
                Ask("name", _("What is to be done"), needed=True),
                Ask("kind", _("Kind of work"), needed=True, help=_("By which the shop's hours are compared.")),
                Ask("planned", _("Hours"), kind="number", unit="h"),
                Ask(
                    "hidden",
                    _("Hidden afterwards"),
                    False,
                    "yes/no",
                    help=_("Then it needs a photograph before closing up."),
                ),
                Ask(
                    "after",
                    _("Comes after"),
                    [],
                    "several",
                    [(str(task.id), task.name) for task in seen.tasks if not task.done_at],
                ),
            ],
            _("Add the task"),
            add,
            main=False,
        )


def _missing(seen: Seen) -> None:
    text("h2", _("Parts that are not there"))
    if not seen.missing:
        text("p", _("Nothing is missing. What a job needs is known once its proposal is signed."), "soft")
        return
    table(
        (_("Part"), _("Needed"), _("On the shelf"), _("Ordered")),
        [
            (f"{row.number} {row.name}", f"{plain(row.needed)} {row.unit}", plain(row.there), plain(row.ordered))
            for row in seen.missing
        ],
        caption=_("What this job still needs"),
    )


def _readings(view: ShopView, seen: Seen) -> None:
    text("h2", _("Commissioning sheet"))
    if seen.why_not:
        text("p", seen.why_not, "empty")
        return
    if not view.state.get("sheet"):

        async def show() -> None:
            view.state["sheet"] = True
            await view.draw()

        with box("div", "row"):
            button(_("Open the sheet"), show)
        return
    read = [line for line in seen.sheet if line.ok is not None]
    if not seen.sheet:
        text("p", _("The build has no electrical system to be commissioned."), "empty")
        return
    text("p", _("{read} of {all} lines are read.").format(read=len(read), all=len(seen.sheet)))
    phases = dict.fromkeys(line.phase for line in seen.sheet)
    for phase in phases:
        text("h3", phase)
        for line in (line for line in seen.sheet if line.phase == phase):
            _line(view, seen, line)


def _line(view: ShopView, seen: Seen, line: SheetLine) -> None:
    mark = {None: "○", True: "✓", False: "✗"}[line.ok]
    with box("div", "key"):
        text("p", f"{mark} {line.what}" + (f" ({line.state})" if line.state else ""), "where")
        told = [_("passes: {bounds}").format(bounds=line.passes) if line.passes else ""]
        if line.reading:
            told.append(_("read {value}, by {name}, {at}").format(value=line.reading, name=line.by, at=moment(line.at)))
        text("p", " · ".join(filter(None, told)), "soft")
        if not view.may("work"):
            return
        folder = Path(seen.job.job["folder"])

        async def keep(value: str) -> None:
            await view.do(
                lambda: read_off(view.store, seen.job.id, line.key, value, by=view.by, folder=folder), _("Kept.")
            )

        if line.unit:

            async def read(told: dict[str, Any]) -> None:
                await keep(told["value"])

            form([Ask("value", line.what, kind="number", unit=line.unit, needed=True)], _("Keep"), read, main=False)
        else:
            with box("div", "row"):
                button(_("Seen"), lambda: keep(SEEN), says=f"{_('Seen')}: {line.what}")
                button(_("Not seen"), lambda: keep(NOT_SEEN), says=f"{_('Not seen')}: {line.what}")


def _close(view: ShopView, seen: Seen) -> None:
    text("h2", _("May it be closed up?"))
    if not seen.job.job["folder"]:
        text("p", _("That is told from the build: name its folder on the page “The job”."), "empty")
        return

    def told(answer: Closing) -> str:
        view.state["closing"] = answer
        return _("It may be closed up.") if answer.ready else _("Not yet: {words}.").format(words=answer.said())

    view.long(_("Check before closing up"), lambda: partial(long.closing, the_door().address, seen.job.id), told)
    found: Closing | None = view.state.get("closing")
    if found is None:
        return
    if found.ready:
        text("p", _("✓ Nothing is left. The task that closes up can be marked done."), "figure")
    for words, rows in (
        (_("Stops that are open"), found.stops),
        (_("Lines that nobody read"), found.unread),
        (_("Lines that did not pass"), found.failed),
        (_("Hidden joints without a photograph"), found.unphotographed),
        (_("Tasks that come before"), found.undone),
    ):
        if rows:
            with box("details"):
                text("summary", f"■ {words}: {len(rows)}", "act")
                with box("ul"):
                    for row in rows:
                        text("li", row)


PAGE = ShopPage("/shop/bench", _("Bench"), _("What is next on this car?"), look, body, listed=False)
