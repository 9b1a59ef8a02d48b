"""The log of a job: photographs and notes, pinned to a stage or part; the book with them; the page for the shop's own site."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import Any

from nicegui import events, ui

from cabinwright.office.bench import TaskLine, tasks
from cabinwright.office.showcase import DiaryEntry, add_note, add_photograph, allow_on_page, diary
from cabinwright.shop.files import LARGEST_PHOTOGRAPH
from cabinwright.shop.rows import Customer
from cabinwright.shop.store import found_row
from cabinwright.web.parts import box, button, link, text
from cabinwright.web.shop import long
from cabinwright.web.shop.door import the_door
from cabinwright.web.shop.forms import Ask, form
from cabinwright.web.shop.frame import ShopPage, ShopView, address
from cabinwright.web.shop.pages.job import JobSeen, head, job_seen
from cabinwright.web.shop.said import moment
from cabinwright.web.words import _

__all__ = ["PAGE", "PHOTOGRAPH", "SITE"]

PHOTOGRAPH, SITE = "/shop/photograph", "/shop/site.html"
MOST = 30  #: photographs at once


@dataclass(frozen=True)
class Seen:
    """What the page looked up."""

    job: JobSeen
    entries: tuple[DiaryEntry, ...]
    tasks: tuple[TaskLine, ...]
    allowed: bool


def look(view: ShopView) -> Seen:
    """Everything in the log, the newest first."""
    job = job_seen(view)
    with view.store.read() as work:
        allowed = found_row(work, Customer, job.customer_id).photographs
    return Seen(job, tuple(reversed(diary(view.store, job.id))), tasks(view.store, job.id), allowed)


def body(view: ShopView, seen: Seen) -> None:
    """What is added, then what is there."""
    head(view, seen.job)
    if view.may("work"):
        _photographs(view, seen)

        async def note(told: dict[str, Any]) -> None:
            given = {"by": view.by, "pinned": told["pinned"]}
            await view.do(lambda: add_note(view.store, seen.job.id, told["text"], **given), _("Kept in the log."))

        form(
            [
                Ask("text", _("A note"), kind="long", needed=True),
                Ask("pinned", _("Belongs to"), help=_("A stage or a part, such as: power, main fuse.")),
            ],
            _("Keep the note"),
            note,
            main=False,
        )
    text("h2", _("The log"))
    if not seen.entries:
        text("p", _("Nothing yet. Photograph every joint before it is hidden."), "empty")
    with box("div", "album"):
        for item in seen.entries:
            _entry(view, seen, item)
    _out(view, seen)


def _photographs(view: ShopView, seen: Seen) -> None:
    text("h2", _("Photographs"), "first")
    text(
        "p",
        _(
            "JPEG, PNG or WebP. Where and with which camera they were taken is left out of what is shown; the original is kept."
        ),
    )
    about: dict[str, Any] = {"words": "", "pinned": "", "task": ""}
    choices = [("", _("none")), *((str(task.id), task.name) for task in seen.tasks)]

    async def taken(event: events.UploadEventArguments) -> None:
        content, name = await event.file.read(), event.file.name[:120]
        task = int(about["task"]) if about["task"].isdecimal() else None
        given = {"name": name, "by": view.by, "pinned": about["pinned"], "words": about["words"], "task_id": task}
        await view.do(
            lambda: add_photograph(view.store, seen.job.id, content, **given), _("Kept: {name}.").format(name=name)
        )

    with box("div", "shop-form"):
        for key, label in (("words", _("What is to be seen")), ("pinned", _("Belongs to"))):
            with box("div", "field"):
                text("label", label).props["for"] = f"photo-{key}"
                made = box("input")
                made.props.update({"id": f"photo-{key}", "autocomplete": "off"})
                made.on(
                    "change",
                    lambda event, key=key: about.update({key: str(event.args)[:500]}),
                    js_handler="(e) => emit(e.target.value)",
                )
        with box("div", "field"):
            text("label", _("Shows the task")).props["for"] = "photo-task"
            pick = box("select")
            pick.props["id"] = "photo-task"
            with pick:
                for value, words in choices:
                    text("option", words).props["value"] = value
            pick.on(
                "change", lambda event: about.update(task=str(event.args)), js_handler="(e) => emit(e.target.value)"
            )
    ui.upload(
        multiple=True, auto_upload=True, max_file_size=LARGEST_PHOTOGRAPH, max_files=MOST, on_upload=taken,
        label=_("Choose photographs"),
        on_rejected=lambda: view.warn(
            _("Not taken: at most {count} pictures, each of {size} MB.").format(count=MOST, size=LARGEST_PHOTOGRAPH // 2**20)
        ),
    ).props('accept="image/jpeg,image/png,image/webp"')  # fmt: skip


def _entry(view: ShopView, seen: Seen, item: DiaryEntry) -> None:
    with box("figure", "tile"):
        if item.kind == "photograph":
            made = box("img")
            made.props.update(
                {"src": address(PHOTOGRAPH, at=item.id), "alt": item.words or item.task or _("Photograph")}
            )
            made.props["loading"] = "lazy"
        with box("figcaption"):
            text("p", item.words, "where" if item.kind == "photograph" else "")
            text("p", " · ".join(filter(None, (moment(item.at), item.by, item.pinned, item.task))), "soft")
        if item.kind == "photograph" and view.may("work") and (seen.allowed or item.public):
            words = _("Take it off the shop's page") if item.public else _("Show it on the shop's page")
            button(
                ("✓ " if item.public else "") + words,
                lambda: view.do(
                    lambda: allow_on_page(view.store, item.id, not item.public, count=item.count, by=view.by),
                    _("Kept."),
                ),
            )


def _out(view: ShopView, seen: Seen) -> None:
    text("h2", _("Hand it over"))
    if seen.job.job["folder"] and view.may("work"):
        for paper in ("A4", "Letter"):
            view.long(
                _("Make the book with the log, {paper}").format(paper=paper),
                partial(partial, long.book, the_door().address, seen.job.id, paper),
                lambda paths: _("Written: {files}").format(files=", ".join(paths)),
                main=paper == "A4",
            )
    text("h3", _("A page for the shop's own site"))
    if not seen.allowed:
        text("p", _("The customer has not allowed it. What they allow is written down on their page."), "empty")
        return
    text(
        "p",
        _(
            "Only the photographs chosen above. Look at every picture first: a face or a number plate in one is not found here."
        ),
    )
    if view.may("work"):
        with box("div", "row"):
            made = link(_("The page"), address(SITE, at=seen.job.id), "act")
            made.props["download"] = f"{seen.job.job['number']}.html"


PAGE = ShopPage("/shop/log", _("Log"), _("What was done, and how does it look?"), look, body, listed=False)
