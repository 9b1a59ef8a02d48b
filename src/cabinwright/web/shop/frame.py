"""The frame around every page of the shop: who works, what was done or refused, and the view that a page draws in.

A page first looks (``look``, away from the event loop), then draws what it saw. Whoever may not see something is not given it:
roles are asked on the server at each page and again at each press.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from decimal import Decimal
from functools import partial
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from nicegui import run, ui
from sqlalchemy import func, select

from cabinwright.errors import CabinwrightError, MeanwhileError
from cabinwright.shop.access import refuse_unless
from cabinwright.shop.money import digits
from cabinwright.shop.rows import Trace
from cabinwright.web.frame import HEAD, skeleton
from cabinwright.web.jobs import EVERY_S, Gauge
from cabinwright.web.parts import box, button, link, text
from cabinwright.web.shop.door import OUT, Visitor
from cabinwright.web.words import _

if TYPE_CHECKING:
    from cabinwright.shop.access import Person
    from cabinwright.shop.store import Store
    from cabinwright.shop.trail import Work as Database

__all__ = ["ShopPage", "ShopView", "address", "show"]

Make = Callable[[Callable[[str, float], None]], Any]  #: what another process runs, given a progress
LOOK_S = 2.0  #: how often it is asked whether somebody else changed something
HIDDEN_FIELDS = frozenset({"count", "id", "words", "made_at", "allowed_at"})


@dataclass(frozen=True)
class ShopPage:
    """One page: the question that a person has there, who may ask it, what is looked up, and how it is drawn."""

    path: str
    name: str
    question: str
    look: Callable[[ShopView], Any]
    body: Callable[[ShopView, Any], None]
    needs: str = "read"
    listed: bool = True  #: among the pages; the others are reached from a list
    kept: tuple[str, ...] = ()  #: what is chosen on it and stays in its address, so that the way back leads there again


class ShopView:
    """One page of the shop in one tab."""

    def __init__(
        self, page: ShopPage, pages: tuple[ShopPage, ...], visitor: Visitor, state: dict[str, str], title: str
    ) -> None:
        self.page, self.pages, self.visitor = page, pages, visitor
        self.state: dict[str, Any] = dict(state)
        self._title = title
        self._busy = asyncio.Lock()
        self._who: Person | None = None
        self._seen = -1

    @property
    def store(self) -> Store:
        """The open shop."""
        return self.visitor.store

    @property
    def person(self) -> Person:
        """Who works. Raises ``PersonError`` where their login is over."""
        return self.visitor.person

    @property
    def by(self) -> str:
        """Who, for the trail."""
        return self.person.name

    @property
    def at(self) -> int:
        """The row that the address names; 0 for none, and for what is no number."""
        words = str(self.state.get("at", ""))
        return int(words) if words.isdecimal() and len(words) < 10 else 0

    @property
    def after(self) -> int:
        """How many rows of a long list were turned over."""
        words = str(self.state.get("after", ""))
        return int(words) if words.isdecimal() and len(words) < 10 else 0

    def may(self, what: str) -> bool:
        """Whether their role allows it, as it was when this was looked up; what they press is asked anew."""
        return (self._who or self.person).may(what)

    async def turn(self, **chosen: Any) -> None:
        """Another part of what can be seen here."""
        self.state.update(chosen)
        if self.page.kept:
            told = {key: self.state[key] for key in ("at", *self.page.kept) if self.state.get(key)}
            here = json.dumps(address(self.page.path, **told))
            self._content.client.run_javascript(f'history.replaceState(history.state, "", {here})')
        await self.draw()

    def tally(self, words: str) -> None:
        """How many rows of a list are shown, and from which on."""
        first = _("From number {number} on: ").format(number=self.after + 1) if self.after else ""
        text("p", first + words, "figure")

    def turns(self, shown: int, most: int) -> None:
        """Ways to the rows before and after those that are shown."""
        if not self.after and shown < most:
            return
        with box("div", "row"):
            if self.after:
                button(_("Those before"), lambda: self.turn(after=max(self.after - most, 0)))
            if shown == most:
                button(_("Those after"), lambda: self.turn(after=self.after + most))

    def build_page(self) -> None:
        """Everything but the content, at once."""
        person = self._who = self.person
        ways = [(one.name, one.path) for one in self.pages if one.listed and person.may(one.needs)]
        back = [(_("The build"), "/")] if self._title else []
        self._said, self._alert, self._content, _page = skeleton(
            self._title or _("The shop"),
            partial(self._controls, person),
            [*ways, *back],
            self.page.path,
            self.page.question,
        )

    def _controls(self, person: Person) -> None:
        text("span", f"{person.name} ({_(person.role)})", "who")
        if person.user_id is not None:
            link(_("Log out"), OUT, "act")

    async def draw(self) -> None:
        """Looked up, then drawn anew."""
        try:
            seen = await run.io_bound(self._look)
        except CabinwrightError as error:
            self.warn(str(error))
            return
        if self._content.is_deleted:
            return
        self._content.clear()
        with self._content:
            self._news = box("div", "news")
            self.page.body(self, seen)
        self._content.classes("drawn")

    def _look(self) -> Any:
        self._who = self.person
        refuse_unless(self._who, self.page.needs)
        self._seen = _changes(self.store)
        return self.page.look(self)

    def say(self, words: str) -> None:
        """What was done; read aloud without interrupting."""
        self._said.text, self._alert.text = words, ""

    def warn(self, words: str) -> None:
        """What was refused and how to put it right."""
        self._alert.text = words

    async def do(self, call: Callable[[], Any], said: str | Callable[[Any], str] = "", *, needs: str = "work") -> bool:
        """A change: allowed, made, told, and shown. One at a time; whether it was made."""
        if self._busy.locked():
            return False
        async with self._busy:
            try:
                answer = await run.io_bound(self._allowed, call, needs)
            except MeanwhileError as error:
                self.warn(_both(error))
                return False
            except CabinwrightError as error:
                self.warn(str(error))
                return False
            await self._drawn(said(answer) if callable(said) else said)
            return True

    async def _drawn(self, words: str) -> None:
        """Drawn anew, then told: what is typed or pressed before it is there would be lost."""
        self.say("")
        await self.draw()
        self._said.text = words

    async def change(
        self, make: Callable[[Database], Any], said: str | Callable[[Any], str] = "", *, needs: str = "work"
    ) -> bool:
        """The same, for a change of rows in one transaction."""
        return await self.do(lambda: self.store.change(make, by=self.by), said, needs=needs)

    def _allowed(self, call: Callable[[], Any], needs: str) -> Any:
        refuse_unless(self.person, needs)
        return call()

    async def watch(self) -> None:
        """Whether somebody else changed something: said, and shown when it is wanted, so that nothing typed is lost."""
        if self._seen < 0 or self._busy.locked() or self._content.is_deleted:
            return
        if not self._content.client.has_socket_connection:  # the page was left, and may come back
            return
        try:
            now: int | None = await run.io_bound(_changes, self.store)
        except CabinwrightError:
            return
        if now is not None and now != self._seen:
            self._seen = now
            self._news.clear()
            with self._news:
                text("span", _("Something was changed elsewhere."))
                button(_("Show it"), self.draw)

    def runner(self, words: str, done: Callable[[Any], str]) -> Callable[[Callable[[], Make]], Awaitable[None]]:
        """Shows long work of a process of its own, how far it is and a way to cancel; what it returns starts one.

        ``words`` say which, and no other: the page finds it again when it is drawn anew meanwhile. ``done`` says what came of
        it, or raises what it was refused with.
        """
        from cabinwright.desk import Work

        running: dict[str, Work] = self.state.setdefault("running", {})
        with box("div", "key") as panel:
            gauge = Gauge(words, lambda: running[words].cancel())

        async def begin(make: Callable[[], Make]) -> None:
            if words in running:
                return
            try:
                prepared: Any = await run.io_bound(self._allowed, make, "work")
            except CabinwrightError as error:
                self.warn(str(error))
                return
            running[words] = Work(prepared)
            await look()

        async def look() -> None:
            job = running.get(words)
            busy = gauge.show(job, f"{words}: ")
            panel.set_visibility(busy)
            timer.active = busy
            if job is None or busy:
                return
            del running[words]
            if job.state == "failed":
                self.warn(job.error)
            elif job.state == "cancelled":
                self.say(_("Cancelled. Nothing was changed."))
            else:
                try:
                    told = done(job.told)
                except CabinwrightError as error:
                    self.warn(str(error))
                    await self.draw()
                else:
                    await self._drawn(told)

        timer = ui.timer(EVERY_S, look, active=words in running)
        panel.set_visibility(words in running)
        return begin

    def long(self, words: str, make: Callable[[], Make], done: Callable[[Any], str], *, main: bool = False) -> None:
        """A button that starts long work. ``make`` is asked for it when it is pressed, and may refuse."""
        begin = self.runner(words, done)
        with box("div", "row"):
            button(words, lambda: begin(make), "main" if main else "")


def address(path: str, **query: object) -> str:
    """A page with what it is about."""
    return f"{path}?{urlencode(query)}" if query else path


def _changes(store: Store) -> int:
    with store.read() as work:
        return int(work.scalar(select(func.max(Trace.id))) or 0)


def _both(error: MeanwhileError) -> str:
    """What is refused, with both versions of each field that differs."""
    lines = [str(error)]
    for name, mine in error.mine.items():
        theirs, yours = _worded(error.theirs.get(name), like=mine), _worded(mine, like=mine)
        if name not in HIDDEN_FIELDS and theirs != yours:
            words = _("{field}: now {theirs}; yours {mine}")
            lines.append(words.format(field=name.replace("_", " "), theirs=theirs, mine=yours))
    return "\n".join(lines)


def _worded(value: Any, *, like: Any) -> str:
    """A value of either version, in the same words where it is the same; ``like``: what kind it is."""
    if value is None or value == "":
        return _("nothing")
    if isinstance(like, bool):
        return _("yes") if value else _("no")
    return digits(Decimal(value)) if isinstance(like, Decimal) else str(value)


async def show(
    page: ShopPage, pages: tuple[ShopPage, ...], visitor: Visitor, title: str, state: dict[str, str]
) -> None:
    """One page for one tab."""
    ui.add_head_html(HEAD)
    ui.page_title(f"{page.name} · {_('The shop')}")
    view = ShopView(page, pages, visitor, state, title)
    view.build_page()
    ui.timer(0.01, view.draw, once=True)
    ui.timer(LOOK_S, view.watch)
