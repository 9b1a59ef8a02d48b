"""Who is at the shop's door. On this computer whoever sits there is the owner; over a network everybody logs in.

A login is a row in the shop's database and a mark in one browser, kept from scripts and from other sites; it is looked up again
at every page and at every press, so that somebody who was barred is out at once.
"""

from __future__ import annotations

import getpass
import threading
from html import escape
from typing import TYPE_CHECKING
from urllib.parse import parse_qs, quote

from nicegui import app as screens
from sqlalchemy import func, select
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from cabinwright.errors import CabinwrightError, PersonError
from cabinwright.shop.access import Attempts, Person, admitted, known, let_go
from cabinwright.shop.rows import User
from cabinwright.shop.store import Store
from cabinwright.web.words import _

if TYPE_CHECKING:
    from cabinwright.shop.trail import Work

__all__ = ["COOKIE", "LOGIN", "Door", "Visitor", "add_login", "login_first", "the_door"]

COOKIE = "cabinwright-login"
LOGIN, OUT = "/shop/login", "/shop/logout"
LONGEST_FORM = 4000  #: bytes
MAKE = "cabinwright shop user add NAME owner"
HERE = ("127.0.0.1", "::1")

_doors: list[Door] = []


class Visitor:
    """One browser: asks the door again each time who it is."""

    def __init__(self, door: Door, mark: str, *, here: bool) -> None:
        self._door, self._mark, self._here = door, mark, here

    @property
    def person(self) -> Person:
        """Who this is now. Raises ``PersonError`` where the login is over."""
        found = self._door.person(self._mark, here=self._here)
        if found is None:
            raise PersonError(_("Your login is over. Load the page again and log in."))
        return found

    @property
    def store(self) -> Store:
        """The open shop behind the door."""
        return self._door.store

    def leave(self) -> None:
        """Log out on this device."""
        self._door.leave(self._mark)


class Door:
    """The shop behind the screen; its database is opened when somebody first comes."""

    def __init__(self, address: str | None = None, *, network: bool = False) -> None:
        self.address, self.network = address, network
        self.attempts = Attempts()
        self._store: Store | None = None
        self._lock = threading.Lock()

    @property
    def store(self) -> Store:
        """The open shop. Raises ``PersonError``, ``OutputError`` with what to do."""
        with self._lock:
            if self._store is None:
                self._store = Store.open(self.address)
            return self._store

    def close(self) -> None:
        """Let the database go."""
        with self._lock:
            if self._store is not None:
                self._store.close()
                self._store = None

    def visitor(self, request: Request) -> Visitor:
        """Who asks."""
        client = request.client.host if request.client else ""
        return Visitor(self, request.cookies.get(COOKIE, ""), here=not self.network or client in HERE)

    def person(self, mark: str, *, here: bool) -> Person | None:
        """Who works; the owner on this computer itself, None where somebody has to log in."""
        if here:
            return Person(getpass.getuser(), "owner")
        if not mark:
            return None
        with self.store.read() as work:
            return known(work, mark)

    def leave(self, mark: str) -> None:
        """Forget one device."""
        if mark:
            self.store.change(lambda work: let_go(work, mark=mark), by="login")

    def admit(self, name: str, password: str, client: str) -> tuple[str, str]:
        """The mark for a device that is let in, or why it is not."""
        who = (f"name {name.strip().lower()[:80]}", f"address {client}")
        with self._lock:  # counted before it is tried: many at once get no more tries than one after another
            wait = self.attempts.wait_s(*who)
            if not wait:
                self.attempts.wrong(*who)
        if wait:
            return "", _("Too many wrong tries. Wait {minutes} minutes and try again.").format(
                minutes=int(wait // 60) + 1
            )

        def make(work: Work) -> tuple[Person, str] | None:
            return admitted(work, name=name, password=password)

        found = self.store.change(make, by="login")
        if found is None:
            return "", _("Name or password is wrong. The owner makes users: cabinwright shop user add NAME ROLE.")
        with self._lock:
            self.attempts.right(*who)
        return found[1], ""


def the_door() -> Door:
    """The door of the screen that is served."""
    return _doors[0]


def add_login(door: Door) -> None:
    """The page to log in and the way out."""
    _doors[:] = [door]
    if not any(getattr(route, "path", "") == LOGIN for route in screens.routes):
        screens.get(LOGIN)(_ask)
        screens.post(LOGIN)(_try)
        screens.get(OUT)(_leave)


def login_first(way: str) -> RedirectResponse:
    """To the login, and back to ``way`` afterwards."""
    return RedirectResponse(f"{LOGIN}?to={quote(way)}", status_code=303)


def _form(said: str, to: str, *, status: int = 200) -> HTMLResponse:
    words = {
        "title": _("Log in to the shop"),
        "says": _("The shop's data are for people who work in it. Whoever sits at the computer itself needs no login."),
        "name": _("Name"),
        "password": _("Password"),
        "act": _("Log in"),
        "said": said,
        "to": to,
    }
    return HTMLResponse(_FORM.format(**{key: escape(value) for key, value in words.items()}), status_code=status)


def _safe(way: str) -> str:
    """Only a page of the shop: a link from elsewhere must not lead on to elsewhere."""
    return way if way.startswith("/shop") and "\\" not in way and "//" not in way else "/shop"


async def _ask(to: str = "/shop") -> Response:
    try:
        said = (
            ""
            if await run_in_threadpool(_users)
            else _("Nobody can log in yet. On the computer that serves this: ") + MAKE
        )
    except CabinwrightError as error:
        said = str(error)
    return _form(said, _safe(to))


def _users() -> int:
    with the_door().store.read() as work:
        return int(work.scalar(select(func.count()).select_from(User).where(User.active)) or 0)


async def _typed(request: Request) -> bytes:
    body = b""
    async for part in request.stream():
        body += part
        if len(body) > LONGEST_FORM:
            return b""
    return body


async def _try(request: Request) -> Response:
    told = parse_qs((await _typed(request)).decode("utf-8", errors="replace"))
    name, password = (told.get(key, [""])[0] for key in ("name", "password"))
    to = _safe(told.get("to", ["/shop"])[0])
    client = request.client.host if request.client else ""
    try:
        mark, why = await run_in_threadpool(the_door().admit, name, password, client)
    except CabinwrightError as error:
        mark, why = "", str(error)
    if not mark:
        return _form(why, to, status=401)
    answer = RedirectResponse(to, status_code=303)
    answer.set_cookie(COOKIE, mark, httponly=True, samesite="strict", path="/")
    return answer


async def _leave(request: Request) -> Response:
    the_door().visitor(request).leave()
    answer = RedirectResponse(LOGIN, status_code=303)
    answer.delete_cookie(COOKIE, path="/")
    return answer


_FORM = """<!doctype html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>{title}</title><link rel="stylesheet" href="/static/screen.css"><script src="/static/screen.js"></script></head>
<body><main class="page login"><h1>{title}</h1><p>{says}</p><p class="alert" role="alert">{said}</p>
<form method="post" action="/shop/login"><input type="hidden" name="to" value="{to}">
<div class="field"><label for="name">{name}</label><input id="name" name="name" autocomplete="username" required></div>
<div class="field"><label for="password">{password}</label>
<input id="password" name="password" type="password" autocomplete="current-password" required></div>
<p><button class="act main">{act}</button></p></form></main></body></html>"""
