"""The frame around every page: where one is, what was changed and how to take it back; and the view that a page draws in."""

from __future__ import annotations

import asyncio
import json
import os
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, TypeVar
from urllib.parse import quote

from nicegui import run, ui

from cabinwright.errors import CabinwrightError
from cabinwright.web.parts import box, button, choice, finding_list, link, text
from cabinwright.web.words import _, counted

if TYPE_CHECKING:
    from nicegui.element import Element
    from nicegui.elements.mixins.text_element import TextElement

    from cabinwright.desk import Desk
    from cabinwright.findings import Finding

__all__ = ["HEAD", "SHOP", "Page", "View", "field_address", "show", "skeleton"]

Answer = TypeVar("Answer")
HEAD = '<link rel="stylesheet" href="/static/screen.css"><script src="/static/screen.js"></script>'
SHOP = "/shop"  #: where the shop's own pages begin
LOOK_S = 0.7  #: how often the file is looked at for changes made elsewhere
_QUOTED = re.compile(r"“([^”]+)”")
_TABLE = re.compile(r"\[\[?([\w.]+)\]")  #: as words on what is needed name tables of the build
NOTICE_S = 0.05  #: and how often whether another tab changed the build


@dataclass(frozen=True)
class Page:
    """One page: the question that a person has there, and the stages that answer it."""

    path: str
    name: str
    question: str
    body: Callable[[View], Callable[[], None] | None]  #: draws; what it returns shows later answers in place
    stages: tuple[str, ...] = ()
    tables: tuple[str, ...] = ()  #: of the build, that are edited for it
    piecemeal: bool = False  #: shown with each stage that is ready, not only when all are


@dataclass
class View:
    """One page in one tab."""

    desk: Desk
    page: Page
    pages: tuple[Page, ...]
    state: dict[str, Any] = field(default_factory=dict)  #: what this tab chose; gone with it
    results: dict[str, Any] = field(default_factory=dict)
    found: dict[str, tuple[Finding, ...]] = field(default_factory=dict)  #: what the stages of this page found
    seen: int = -1
    drawn: bool = False
    trouble: str = ""

    def __post_init__(self) -> None:
        self._turn = asyncio.Lock()
        self._kept: dict[tuple[str, int], Any] = {}
        self._doing = 0
        self._again: Callable[[], None] | None = None

    def result(self, stage: str) -> Any:
        """What a stage of this page gave, or None."""
        return self.results.get(stage)

    def build_page(self) -> None:
        """Everything but the content, at once."""
        ways = [(one.name, one.path) for one in self.pages]
        made = skeleton(
            self.desk.build.title or self.desk.folder.name,
            self._controls,
            [*ways, (_("Shop"), SHOP)],
            self.page.path,
            self.page.question,
        )
        self._said, self._alert, self._content, page = made
        with self._content:
            self._working = text("p", _("Working it out …"), "soft")
        with page:
            self._edit_links()

    def _controls(self) -> None:
        self._undo = button(_("Undo"), lambda: self.do(self.desk.undo))
        self._redo = button(_("Redo"), lambda: self.do(self.desk.redo))

    def _edit_links(self) -> None:
        with box("footer", "row below"):
            for name in self.page.tables:
                link(_("Change ") + _words(name), field_address(name), "act")
            self._units = box("div")
            self._unit_names = {"metric": _("Millimetres"), "US": _("Inches")}

    async def draw(self) -> None:
        """Results first, then the content anew; the rest of the page stays."""
        async with self._turn:
            self.seen = self.desk.version
            for stage in self.page.stages:
                if not self.drawn and not self.found:
                    self._working.text = _("Working it out: {stage} …").format(stage=stage)
                self.results[stage] = await run.io_bound(self.desk.result, stage)
                self.found[stage] = await run.io_bound(self.desk.findings, stage) or ()
                if self.page.piecemeal and not self.drawn:
                    self._show()
            self._show()
            self.drawn = True
            if self._content.is_deleted:
                return
            self._content.classes("drawn")
            self._mark()

    def _show(self) -> None:
        if self._content.is_deleted:  # the tab was closed meanwhile
            return
        if self._again is not None:
            self._again()
            return
        self._content.clear()
        with self._content:
            self._again = self.page.body(self)

    def _mark(self) -> None:
        for made, words, what in (
            (self._undo, _("Undo"), self.desk.can_undo),
            (self._redo, _("Redo"), self.desk.can_redo),
        ):
            made.props["aria-label"] = f"{words}: {what}" if what else f"{words}: {_('nothing')}"
            made.props["aria-disabled"] = str(not what).lower()
            made.update()
        self._units.clear()
        with self._units:
            chosen = self.desk.build.workshop.units
            values = {words: value for value, words in self._unit_names.items()}
            choice(
                _("Lengths in"),
                tuple(values),
                self._unit_names[chosen],
                lambda words: self.do(lambda: self.desk.edit("workshop.units", values[words], by=self.by)),
            )

    def kept(self, name: str, make: Callable[[], Answer]) -> Answer:
        """What ``make`` gave since the build last changed."""
        key = (name, self.seen)
        if key not in self._kept:
            self._kept = {old: value for old, value in self._kept.items() if old[1] == self.seen}
            self._kept[key] = make()
        answer: Answer = self._kept[key]
        return answer

    @property
    def _attended(self) -> bool:
        """Whether a browser shows this page. A page that was left is kept for a while."""
        return self._content.client.has_socket_connection

    @property
    def by(self) -> str:
        """Who changes something here, for the history."""
        return f"screen: {self.page.name.lower()}"

    def say(self, words: str) -> None:
        """What was done; read aloud without interrupting."""
        self._said.text, self._alert.text = words, ""

    @property
    def warned(self) -> str:
        """What was refused last."""
        return str(self._alert.text)

    def warn(self, words: str) -> None:
        """What was refused and how to put it right."""
        self._alert.text = words

    async def attempt(self, call: Callable[[], Answer]) -> Answer | None:
        """What the desk answers; None where it refuses, and the page says why."""
        try:
            answer = await run.io_bound(call)
        except CabinwrightError as error:
            self.warn(self.told(error))
            return None
        return answer

    def told(self, error: CabinwrightError | str) -> str:
        """An error without the build's folder, which stands at no field and fills a line on a phone."""
        return str(error).replace(f"{self.desk.folder}{os.sep}", "")

    async def do(self, call: Callable[[], Any]) -> None:
        """A change: made, told, and shown."""
        self._doing += 1  # or it would be taken for somebody else's
        try:
            change = await self.attempt(call)
            if change is not None:
                self.say(change.what)
                await self.draw()
        finally:
            self._doing -= 1

    async def watch(self) -> None:
        """What other tabs and editors did meanwhile."""
        if not self._attended:
            return
        try:
            change = await run.io_bound(self.desk.refresh)
        except CabinwrightError as error:
            if self.told(error) != self.trouble:
                self.trouble = self.told(error)
                self.warn(self.trouble)
            return
        if self.trouble:
            self.trouble = self._alert.text = ""
        if change is not None:
            await self.notice(change.what)

    async def notice(self, what: str = "") -> None:
        """What the desk holds by now, where this tab did not change it."""
        if (
            self._attended
            and self.drawn
            and not self._doing
            and self.desk.version != self.seen
            and not self._turn.locked()
        ):
            await self.draw()
            self.say(_("Changed elsewhere. ") + what)

    def way_to(self, item: Finding) -> str | None:
        """Where what a finding is about is written: the row of that name or between two, the table, or its stage's first."""
        for page in (self.page, *self.pages):
            for table in page.tables:
                rows = self.desk.rows(table)
                named = next((name for name in _names(item.where) if name and name in rows), None)
                if named is not None:
                    return field_address(f"{table}[{json.dumps(named, ensure_ascii=False)}]")
                between = self._between(table, _QUOTED.findall(item.where))
                if between is not None:
                    return field_address(f"{table}[{between}]")
                if item.where.split("[")[0].split(".")[0] == table:
                    return field_address(table)
        stage = item.code.partition(".")[0]
        home = next((page for page in self.pages if page.stages == (stage,) and page.tables), None)
        return field_address(home.tables[0]) if home else None

    def _between(self, table: str, ends: Sequence[str]) -> int | None:
        """The row without a name that says both of two names, as a tape does."""
        if len(ends) != 2:
            return None
        rows = (words.split(", ") for words in self.desk.row_words(table))
        return next((at for at, told in enumerate(rows) if set(ends) < set(told)), None)

    def verdict(self, stage: str, well: str) -> None:
        """The answer in one line: what stops it, what is to be weighed, or ``well``."""
        severities = [item.severity for item in self.found.get(stage, ())]
        stops, cautions = severities.count("stop"), severities.count("caution")
        if stops:
            words = "■ " + counted(stops, "thing stops you.", "things stop you.")
        elif cautions:
            words = "▲ " + _("Nothing stops you; ") + counted(cautions, "caution to weigh.", "cautions to weigh.")
        else:
            words = "✓ " + well
        text("p", words, "figure")

    def findings(self, stage: str, *, stops: bool = True) -> None:
        """What a stage found, stops and cautions open, notes folded."""
        found = [item for item in self.found.get(stage, ()) if stops or item.severity != "stop"]
        notes = [item for item in found if item.severity == "note"]
        finding_list([item for item in found if item.severity != "note"], self.way_to)
        if notes:
            with box("details"):
                text("summary", counted(len(notes), "note", "notes"), "act")
                finding_list(notes, self.way_to)

    def why_not(self, stage: str) -> bool:
        """Says why a stage has no answer; whether it has none."""
        if self.result(stage) is not None:
            return False
        needs = self.desk.skipped(stage)
        text("p", _("No answer yet: ") + (needs or _("see the findings below.")), "empty")
        with box("div", "row"):
            for name in _TABLE.findall(needs):
                link(_("Write ") + _words(name), field_address(name), "act")
        return True


def skeleton(
    title: str, controls: Callable[[], None], ways: Sequence[tuple[str, str]], here: str, question: str
) -> tuple[TextElement, TextElement, Element, Element]:
    """What every page has around its content. Returns where is said what was done, what is refused, the content, the page."""
    with box("header", "top"):
        link(_("Skip to the page"), "#page", "skip")
        text("p", title, "title")
        with box("div", "row"):
            controls()
            _script(_("Light / dark"), "flip", "")
            _script(_("Pages"), "menu", "menu")
    with box("nav", "pages") as nav:
        nav.props["aria-label"] = _("Pages")
        with box("ul"):
            for name, path in ways:
                with box("li"):
                    made = link(name, path)
                    if path == here:
                        made.props["aria-current"] = "page"
    with box("section", "page") as page:
        page.props["id"] = "page"
        text("h1", question)
        said = text("p", "", "said")
        said.props["role"] = "status"
        alert = text("p", "", "alert")
        alert.props["role"] = "alert"
        content = box("div", "content")
    return said, alert, content, page


def _script(words: str, act: str, classes: str) -> None:
    made = text("button", words, f"act {classes}")
    made.props["type"] = "button"
    made.on("click", js_handler=f"() => cabinwright.{act}()")


def _words(table: str) -> str:
    """A table's name as words; of one within another both names."""
    return table.replace("_", " ").replace(".", ": ")


def _names(where: str) -> tuple[str, ...]:
    """Rows that a finding may be about: all of it, what it quotes, what it joins."""
    return (where, *_QUOTED.findall(where), *re.split(r" and | on |, |: ", where))


def field_address(path: str) -> str:
    """Where a table or key of the build is edited."""
    return f"/fields?at={quote(path)}"


async def show(page: Page, pages: tuple[Page, ...], desk: Desk, **chosen: str) -> None:
    """One page for one tab."""
    ui.add_head_html(HEAD)
    ui.page_title(f"{page.name} · {desk.build.title or desk.folder.name}")
    view = View(desk, page, pages, state=dict(chosen))
    view.build_page()
    ui.timer(0.01, view.draw, once=True)
    ui.timer(LOOK_S, view.watch)
    ui.timer(NOTICE_S, view.notice)
