"""The bench of a job: tasks in their order, time with one tap, what is missing, what to read off, whether it may be closed."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from cabinwright.errors import CabinwrightError
from cabinwright.office.bench import (
    NOT_SEEN,
    SEEN,
    Closing,
    Missing,
    SheetLine,
    TaskLine,
    closing,
    missing_parts,
    outside,
    plan_tasks,
    read_off,
    sheet,
    tasks,
)
from cabinwright.office.overview import JobView
from cabinwright.office.plan import KINDS
from cabinwright.office.worked import known
from cabinwright.shop.bench import WORKING, add_task
from cabinwright.web.parts import box, button, link, table, text
from cabinwright.web.shop.forms import Ask, amount_of, form
from cabinwright.web.shop.frame import ShopPage, ShopView, address
from cabinwright.web.shop.long import away, back
from cabinwright.web.shop.pages.job import head, job_seen
from cabinwright.web.shop.pages.today import own_time, task_row, time_panel
from cabinwright.web.shop.said import moment, plain
from cabinwright.web.words import _, counted

__all__ = ["PAGE"]

NO_FOLDER = _("The job has no build folder yet; name it on the page “The job”.")


@dataclass(frozen=True)
class Seen:
    """What the page looked up."""

    job: JobView
    tasks: tuple[TaskLine, ...]
    running: dict[str, Any] | None
    missing: tuple[Missing, ...]
    outside: tuple[str, ...]  #: what the signed build asks for and the library does not hold
    sheet: tuple[SheetLine, ...] | None  #: None: not opened yet
    closing: Closing | None  #: None: the build was not worked out yet
    why_not: str


def look(view: ShopView) -> Seen:
    """Tasks and parts; sheet and check at once where the build is worked out, else when they are asked for."""
    job, by = job_seen(view), view.by
    with view.store.read() as work:
        running = own_time(work, by)
    rows, left, why_not = None, None, "" if job.folder else NO_FOLDER
    if job.folder:
        try:
            ready = known(Path(job.folder)) is not None
            if ready or view.state.get("sheet"):
                rows = sheet(view.store, job.id)
            left = closing(view.store, job.id) if ready else None
        except CabinwrightError as error:
            why_not = str(error)
    there = tasks(view.store, job.id)
    lacking, other = missing_parts(view.store, job.id), outside(view.store, job.id)
    return Seen(job, there, running, lacking, other, rows, left, why_not)


def body(view: ShopView, seen: Seen) -> None:
    """What can be done comes first."""
    head(view, seen.job)
    _tasks(view, seen)
    _missing(seen)
    _closing(view, seen)
    _readings(view, seen)


def _tasks(view: ShopView, seen: Seen) -> None:
    left = [task for task in seen.tasks if not task.done_at]
    ready = [task for task in left if task.ready]
    done = [task for task in seen.tasks if task.done_at]
    time_panel(view, seen.running)
    if seen.tasks:
        can = counted(len(ready), "task can be done now", "tasks can be done now")
        waits = counted(len(left) - len(ready), "waits for others", "wait for others")
        text("p", f"{can}, {waits}." if left else _("✓ Every task is done."), "figure")
    else:
        text(
            "p", _("No tasks yet. They follow from the build: what is cut before what, what is hidden later."), "empty"
        )
    if seen.tasks and seen.job.state not in WORKING:
        text("p", _("They stand on the list of the day once the job is being built."), "soft")
    with box("ul", "changes"):
        for task in ready:
            task_row(view, task, seen.running)
    for rows, words, opened in (
        ([task for task in left if not task.ready], counted(len(left) - len(ready), "later task", "later tasks"), True),
        (done, counted(len(done), "task is done", "tasks are done"), False),
    ):
        if rows:
            with box("details") as fold:
                fold.props["open"] = opened
                text("summary", words, "act")
                with box("ul", "changes"):
                    for task in rows:
                        task_row(view, task, seen.running)
    if view.may("work"):
        if seen.job.folder:
            view.long(
                _("Plan what the build asks for now") if seen.tasks else _("Plan the tasks from the build"),
                lambda: away(view, [Path(seen.job.folder)], plan_tasks, seen.job.id, by=view.by),
                back(lambda rows: counted(len(rows), "task is on the list now.", "tasks are on the list now.")),
                main=not seen.tasks,
            )
        _add(view, seen)


def _add(view: ShopView, seen: Seen) -> None:
    async def add(told: dict[str, Any]) -> None:
        def make(work: Any) -> int:
            given = {"planned_h": amount_of(told["planned"], _("Hours")), "hidden": told["hidden"]}
            after = [int(task) for task in told["after"]]
            return add_task(work, job_id=seen.job.id, name=told["name"], kind=told["kind"], after=after, **given).id

        await view.change(make, _("Added."))

    open_ = [(str(task.id), task.name) for task in seen.tasks if not task.done_at]
    with box("details"):
        text("summary", _("Add a task"), "act")
        form(
            [
                Ask("name", _("What is to be done"), needed=True),
                Ask("kind", _("Kind of work"), KINDS[0], "select", [(kind, kind) for kind in KINDS]),
                Ask("planned", _("Hours"), kind="number", unit="h"),
                Ask("hidden", _("Hidden afterwards"), False, "yes/no", help=_("It needs a photograph then.")),
                *([Ask("after", _("Comes after"), [], "several", open_)] if open_ else []),
            ],
            _("Add the task"),
            add,
            main=False,
        )


def _missing(seen: Seen) -> None:
    text("h2", _("Parts that are not there"))
    if seen.outside:
        words = _("▲ Not in the library, so that nobody counts whether they are there")
        with box("details"):
            text("summary", f"{words}: {len(seen.outside)}", "act")
            with box("ul"):
                for row in seen.outside:
                    text("li", row)
    if not seen.missing:
        early = seen.job.state in ("asked", "offered")
        text("p", _("Known once its proposal is signed.") if early else _("✓ No part of the library is missing."))
        return
    rows = [
        (f"{row.number} {row.name}", f"{plain(row.needed)} {row.unit}", plain(row.there), plain(row.ordered))
        for row in seen.missing
    ]
    heads = (_("Part"), _("Needed"), _("On the shelf"), _("Ordered"))
    table(heads, rows, caption=counted(len(rows), "part that this job still needs", "parts that this job still needs"))


def _closing(view: ShopView, seen: Seen) -> None:
    text("h2", _("May it be closed up?"))
    if seen.why_not:
        text("p", seen.why_not, "empty")
        return
    found = seen.closing
    if found is None:
        text("p", _("The build has to be worked out for that, which takes its moment. It is kept until it changes."))
        view.long(
            _("Check before closing up"),
            lambda: away(view, [Path(seen.job.folder)], closing, seen.job.id, needs="read"),
            back(lambda left: _("It may be closed up.") if left.ready else _("Not yet; what is left stands below.")),
        )
        return
    text("p", _("✓ Yes: nothing is left.") if found.ready else _("■ Not yet."), "figure")
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
    if found.unphotographed:
        link(_("Photograph them"), address("/shop/log", at=seen.job.id), "act")


def _readings(view: ShopView, seen: Seen) -> None:
    text("h2", _("Commissioning sheet"))
    if seen.why_not:
        text("p", seen.why_not, "empty")
        return
    if seen.sheet is None:

        async def show() -> None:
            view.state["sheet"] = True
            await view.draw()

        with box("div", "row"):
            button(_("Open the sheet"), show)
        return
    if not seen.sheet:
        text("p", _("The build has no electrical system to be commissioned."), "empty")
        return
    read = sum(line.ok is not None for line in seen.sheet)
    text("p", _("{read} of {all} lines are read.").format(read=read, all=len(seen.sheet)), "figure")
    text("p", _("Read with the meter that the sheet names; first power only when every joint is made and checked."))
    for phase in dict.fromkeys(line.phase for line in seen.sheet):
        rows = [line for line in seen.sheet if line.phase == phase]
        open_ = [line for line in rows if not line.ok]
        with box("details") as fold:
            fold.props["open"] = bool(open_) and phase == next(line.phase for line in seen.sheet if not line.ok)
            mark = "○" if open_ else "✓"
            text("summary", f"{mark} {phase}: {len(rows) - len(open_)} / {len(rows)}", "act")
            for line in rows:
                _line(view, seen, line)


def _line(view: ShopView, seen: Seen, line: SheetLine) -> None:
    mark = {None: "○", True: "✓", False: "✗"}[line.ok]

    async def keep(value: str) -> None:
        await view.do(lambda: read_off(view.store, seen.job.id, line.key, value, by=view.by), _("Kept."))

    async def read(told: dict[str, Any]) -> None:
        await keep(told["value"])

    what = f"{line.what} ({line.state})" if line.state else line.what
    with box("div", "reading bad" if line.ok is False else "reading"):
        with box("div"):
            text("p", f"{mark} {what}", "where")
            told = [_("passes: {bounds}").format(bounds=line.passes)] if line.passes else []
            if line.reading:
                words = _("read {value}, by {name}, {at}")
                told.append(words.format(value=line.reading, name=line.by, at=moment(line.at)))
            text("p", " · ".join(told), "soft")
        if not view.may("work"):
            return
        if line.unit:
            form([Ask("value", what, kind="number", unit=line.unit, needed=True)], _("Keep"), read, main=False)
        else:
            with box("div", "row tight"):
                button(_("Seen"), lambda: keep(SEEN), says=f"{_('Seen')}: {what}")
                button(_("Not seen"), lambda: keep(NOT_SEEN), says=f"{_('Not seen')}: {what}")


PAGE = ShopPage("/shop/bench", _("Bench"), _("What is next on this car?"), look, body, listed=False)
