"""The log of a job: photographs and notes, pinned to a stage or part; the book with them; the page for the shop's own site."""

from __future__ import annotations

import json
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import Any

from nicegui import ui

from cabinwright.office.bench import PIN, TaskLine, tasks
from cabinwright.office.overview import JobView
from cabinwright.office.showcase import DiaryEntry, add_note, allow_on_page, book, diary, page, pins
from cabinwright.shop.files import LARGEST_PHOTOGRAPH
from cabinwright.web.parts import box, button, choice, link, text
from cabinwright.web.shop.forms import Ask, form
from cabinwright.web.shop.frame import ShopPage, ShopView, address
from cabinwright.web.shop.long import away, back
from cabinwright.web.shop.pages.job import head, job_seen, picture
from cabinwright.web.shop.said import moment
from cabinwright.web.words import _, counted

__all__ = ["BOOK", "LONGEST", "PAGE", "PHOTOGRAPHS"]

PHOTOGRAPHS = "/shop/photographs"  #: where a photograph is sent to
BOOK = "/shop/book.pdf"
MOST = 30  #: photographs at once
ACCEPTED = "image/jpeg,image/png,image/webp,image/tiff"
LONGEST = 500  #: characters beside a photograph
PAPERS = ("A4", "Letter")


@dataclass(frozen=True)
class Seen:
    """What the page looked up."""

    job: JobView
    entries: tuple[DiaryEntry, ...]
    tasks: tuple[TaskLine, ...]
    pins: tuple[str, ...]
    book: bool


def look(view: ShopView) -> Seen:
    """Everything in the log, the newest first, and what an entry may be pinned to."""
    job = job_seen(view)
    entries = tuple(reversed(diary(view.store, job.id)))
    there = bool(job.folder) and (Path(job.folder) / "out" / "book.pdf").is_file()
    return Seen(job, entries, tasks(view.store, job.id), pins(view.store, job.id), there)


def body(view: ShopView, seen: Seen) -> None:
    """What is added, then what is there, then what goes out."""
    head(view, seen.job)
    if view.may("work"):
        with box("datalist") as there:
            there.props["id"] = "pins"
            for words in seen.pins:
                box("option").props["value"] = words
        with box("div", "split even"):
            _photographs(view, seen)
            _note(view, seen)
    text("h2", _("The log"))
    shot = sum(item.kind == "photograph" for item in seen.entries)
    told = counted(shot, "photograph", "photographs"), counted(len(seen.entries) - shot, "note", "notes")
    text("p", ", ".join(told), "soft")
    if not seen.entries:
        text("p", _("Nothing yet. Photograph every joint before it is hidden."), "empty")
    for day, items in groupby(seen.entries, key=lambda item: moment(item.at)[:10]):
        _day(view, seen, day, list(items))
    _book(view, seen)
    _site(view, seen)


def _photographs(view: ShopView, seen: Seen) -> None:
    """Sent one by one, so that one that is refused stops no other."""

    async def sent(event: Any) -> None:
        rows = event.args if isinstance(event.args, list) else []
        told = [(bool(row.get("kept")), str(row.get("says", ""))[:400]) for row in rows if isinstance(row, dict)]
        kept = sum(good for good, _words in told)
        view.say(counted(kept, "photograph was kept.", "photographs were kept.") if kept else "")
        await view.draw()
        refused = [words for good, words in told if not good]
        if refused:
            view.warn("\n".join(refused))

    with box("section"):
        text("h2", _("Photographs"), "first")
        words = _(
            "JPEG, PNG, WebP or TIFF, {most} at once, each {size} MB at most. Camera and place are left out of what is shown."
        )
        text("p", words.format(most=MOST, size=LARGEST_PHOTOGRAPH // 2**20), "soft")
        made = box("form", "shop-form")
        made.props.update({"data-to": PHOTOGRAPHS, "data-at": seen.job.id, "data-most": MOST})
        made.props.update({"data-bytes": LARGEST_PHOTOGRAPH, "data-told": json.dumps(_told())})
        made.on(
            "submit",
            sent,
            js_handler="async (event) => { const told = await cabinwright.photographs(event); emit(told); }",
        )
        with made:
            _input("photo-files", _("Pictures"), "files", type="file", multiple=True, accept=ACCEPTED, required=True)
            hidden = [task for task in seen.tasks if task.hidden and not task.photographs]
            with box("div", "field"):
                text("label", _("They show the task")).props["for"] = "photo-task"
                pick = box("select")
                pick.props.update({"id": "photo-task", "name": "task"})
                with pick:
                    _option("", _("none"))
                    for task in (*hidden, *(task for task in seen.tasks if task not in hidden)):
                        _option(str(task.id), ("▲ " if task in hidden else "") + task.name)
            _input("photo-pinned", _("Belongs to"), "pinned", list="pins", maxlength=100)
            _input("photo-words", _("What is to be seen"), "words", maxlength=LONGEST)
            if hidden:
                text("p", _("▲ before a task: it is hidden later, and has no photograph yet."), "soft")
            with box("div", "row"):
                text("button", _("Keep the photographs"), "act main").props["type"] = "submit"
                text("span", "", "sending").props["role"] = "status"


def _told() -> dict[str, str]:
    """What the browser itself has to say."""
    return {
        "many": _("At most {most} at once: nothing was sent. Choose fewer.").format(most=MOST),
        "large": _(": larger than {size} MB. Make it smaller.").format(size=LARGEST_PHOTOGRAPH // 2**20),
        "lost": _(": the connection broke. Send it again."),
    }


def _input(number: str, words: str, name: str, **more: Any) -> None:
    with box("div", "field"):
        text("label", words).props["for"] = number
        box("input").props.update({"id": number, "name": name, "autocomplete": "off", **more})


def _option(value: str, words: str) -> None:
    text("option", words).props["value"] = value


def _note(view: ShopView, seen: Seen) -> None:
    async def note(told: dict[str, Any]) -> None:
        given = {"by": view.by, "pinned": told["pinned"]}
        await view.do(lambda: add_note(view.store, seen.job.id, told["text"], **given), _("Kept in the log."))

    with box("section"):
        text("h2", _("A note"), "first")
        help_ = _("A stage or a part, such as: power, main fuse. It stands there in the book.")
        asks = [
            Ask("text", _("What is to be known"), kind="long", needed=True),
            Ask("pinned", _("Belongs to"), help=help_),
        ]
        form(asks, _("Keep the note"), note, main=False)


def _day(view: ShopView, seen: Seen, day: str, items: list[DiaryEntry]) -> None:
    """One day of the diary: pictures, notes, and what was read off, folded."""
    read = [item for item in items if item.pinned.startswith(PIN)]
    text("h3", day)
    with box("div", "album"):
        for item in items:
            if item.kind == "photograph":
                _photograph(view, seen, item)
    with box("ul", "changes"):
        for item in items:
            if item.kind == "note" and item not in read:
                _words(item)
    if read:
        with box("details"):
            text("summary", counted(len(read), "reading", "readings"), "act")
            with box("ul", "changes"):
                for item in read:
                    _words(item)


def _words(item: DiaryEntry) -> None:
    with box("li", "change"), box("div"):
        for line in item.words.splitlines():
            text("p", line)
        pinned = "" if item.pinned.startswith(PIN) else item.pinned
        text("p", " · ".join(filter(None, (pinned, moment(item.at)[11:], item.by))), "soft")


def _photograph(view: ShopView, seen: Seen, item: DiaryEntry) -> None:
    with box("figure", "tile"):
        picture(item.id, item.words or item.task)
        with box("figcaption"):
            if item.words:
                text("p", item.words, "where")
            text("p", " · ".join(filter(None, (item.pinned, item.task, moment(item.at)[11:], item.by))), "soft")
        if view.may("work") and (seen.job.shows or item.public):
            words = _("On the shop's page") if item.public else _("Show on the shop's page")
            made = button(
                ("✓ " if item.public else "") + words,
                lambda: view.do(
                    lambda: allow_on_page(view.store, item.id, not item.public, count=item.count, by=view.by),
                    _("Taken off the page.") if item.public else _("It will be on the page."),
                ),
                says=f"{words}: {item.words or item.task or item.id}",
            )
            made.props["aria-pressed"] = str(item.public).lower()


def _book(view: ShopView, seen: Seen) -> None:
    if not seen.job.folder:
        return
    text("h2", _("The book, with this log in it"))
    paper = view.state.setdefault("paper", PAPERS[0])

    async def choose(words: str) -> None:
        view.state["paper"] = words
        await view.draw()

    if view.may("work"):
        choice(_("Paper"), PAPERS, paper, choose)
        view.long(
            _("Make the book"),
            lambda: away(view, [Path(seen.job.folder)], book, seen.job.id, paper=paper),
            back(
                lambda paths: _("Made, and written beside the build: {files}").format(
                    files=", ".join(p.name for p in paths)
                )
            ),
        )
    if seen.book:
        with box("div", "row"):
            made = link(_("Take the book along"), address(BOOK, at=seen.job.id), "act")
            made.props["download"] = f"{seen.job.number}-book.pdf"


def _site(view: ShopView, seen: Seen) -> None:
    text("h2", _("A page for the shop's own site"))
    if not seen.job.shows:
        text("p", _("The customer has not allowed it. What they allow is written down on their page."), "empty")
        if view.may("people"):
            link(_("What they allow"), address("/shop/customer", at=seen.job.customer_id), "act")
        return
    chosen = sum(item.public for item in seen.entries)
    told = counted(chosen, "photograph is chosen above.", "photographs are chosen above.")
    text("p", told + " " + _("Look at each: a face or a number plate in a picture is not found here."))
    if not chosen or not view.may("work"):
        return

    async def make(given: dict[str, Any]) -> None:
        made: list[str] = []

        def call() -> None:
            made.append(page(view.store, seen.job.id, title=given["title"], words=given["words"]))

        if await view.do(call, _("Made: one file that holds everything in itself.")):
            ui.download.content(made[0].encode(), f"{seen.job.number}.html")

    help_ = _("Neither may name the customer or the car's registration, unless they allowed it.")
    form(
        [Ask("title", _("Its title"), needed=True), Ask("words", _("A few words"), kind="long", help=help_)],
        _("Make the page"),
        make,
        main=False,
    )


PAGE = ShopPage("/shop/log", _("Log"), _("What was done, and how does it look?"), look, body, listed=False)
