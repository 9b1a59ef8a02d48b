"""Who may speak to the screen: this computer only, from this page only; on a network, who typed the one-time word.

A page elsewhere in the same browser must not be able to read or change a build: the Host header has to be our own address (else a
name that was pointed at 127.0.0.1 would do), the Origin has to be the page itself, and nothing may frame it.
Sources: OWASP cheat sheets on cross-site request forgery and on WebSockets; RFC 6454 (origin); W3C Fetch Metadata.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable
from html import escape
from ipaddress import ip_address
from typing import TYPE_CHECKING
from urllib.parse import parse_qs

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["LARGEST_REQUEST", "Guard", "Word"]

LARGEST_REQUEST = 96 * 2**20  #: bytes; ten minutes of one channel at 96 kHz and 24 bit fit
LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"  #: none that is taken for another when read aloud
COOKIE = "cabinwright-device"
TRIES = 5
HEADERS = (
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"same-origin"),  # with no-referrer a browser sends our own forms under the origin "null"
    (
        b"content-security-policy",
        # NiceGUI compiles its templates in the browser, which needs eval; everything else stays on this server.
        b"default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval' blob:; style-src 'self' 'unsafe-inline'; "
        b"img-src 'self' data: blob:; font-src 'self' data:; worker-src 'self' blob:; media-src 'self' blob:; "
        b"frame-ancestors 'none'; form-action 'self'; base-uri 'self'",
    ),
)


class Word:
    """The one-time word: it lets one device in, then another word is due. Five wrong tries spend it too."""

    def __init__(self, tell: Callable[[str], None]) -> None:
        self._tell, self._devices, self._wrong = tell, set[str](), 0
        self._new()

    def _new(self) -> None:
        self._word, self._wrong = "".join(secrets.choice(LETTERS) for _ in range(8)), 0
        self._tell(self._word)

    def admit(self, word: str) -> str | None:
        """The new device's mark, or None where the word is wrong."""
        if not secrets.compare_digest(word.strip().lower().encode(), self._word.encode()):
            self._wrong += 1
            if self._wrong >= TRIES:
                self._new()
            return None
        mark = secrets.token_urlsafe(32)
        self._devices.add(mark)
        self._new()
        return mark

    def knows(self, mark: str) -> bool:
        """Whether a device was let in while this server runs."""
        return any(secrets.compare_digest(mark.encode(), known.encode()) for known in self._devices)


class Guard:
    """Stands before the whole application, websockets included."""

    def __init__(self, app: ASGIApp, *, port: int, word: Word | None = None, start: str = "/") -> None:
        self.app, self.port, self.word, self.start = app, port, word, start

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """ASGI."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        headers = {name.decode("latin-1").lower(): value.decode("latin-1") for name, value in scope["headers"]}
        refused = self._refused(scope, headers)
        if refused:
            await _answer(scope, receive, send, *refused)
        elif self.word is not None and not self.word.knows(_cookie(headers.get("cookie", ""))):
            await self._ask(scope, receive, send, self.word)
        else:
            await self.app(scope, _limited(receive), _with_headers(send))

    def _refused(self, scope: Scope, headers: dict[str, str]) -> tuple[int, str] | None:
        host, origin = headers.get("host", ""), headers.get("origin")
        if not self._ours(host):
            return 421, "This address is not the screen's own. Open the one that cabinwright printed."
        if origin is None and scope["type"] == "websocket":
            return 403, "A connection without an origin is refused."
        if origin is not None and origin != f"http://{host}":
            return 403, "Another site's page may not speak to this one."
        if headers.get("sec-fetch-site") in ("cross-site", "same-site") and headers.get("sec-fetch-mode") != "navigate":
            return 403, "Another site's page may not speak to this one."
        length = headers.get("content-length", "0")
        if not length.isdecimal() or int(length) > LARGEST_REQUEST:
            return 413, f"Larger than {LARGEST_REQUEST // 2**20} MB. Send fewer or shorter files."
        return None

    def _ours(self, host: str) -> bool:
        """On a network any plain address of ours will do: a rebound name never is one."""
        name, _, port = host.rpartition(":")
        if port != str(self.port):
            return False
        if name in ("127.0.0.1", "localhost", "[::1]"):
            return True
        try:
            return self.word is not None and bool(ip_address(name.strip("[]")))
        except ValueError:
            return False

    async def _ask(self, scope: Scope, receive: Receive, send: Send, word: Word) -> None:
        if scope["type"] == "websocket":
            await _answer(scope, receive, send, 403, "")
            return
        said = ""
        if scope["method"] == "POST" and scope["path"] == "/word":
            mark = word.admit(await _typed(receive))
            if mark:
                cookie = f"{COOKIE}={mark}; HttpOnly; SameSite=Strict; Path=/".encode()
                await _send(send, 303, b"", ((b"location", self.start.encode()), (b"set-cookie", cookie)))
                return
            said = "That is not the word. Look at the window that cabinwright runs in: it may have changed."
        await _send(
            send, 401, _FORM.format(said=escape(said)).encode(), ((b"content-type", b"text/html; charset=utf-8"),)
        )


_FORM = """<!doctype html><html lang="en"><meta name="viewport" content="width=device-width"><title>Cabinwright</title>
<style>body{{font:20px/1.5 sans-serif;margin:2rem;max-width:30rem}}
input,button{{font:inherit;padding:.6rem;min-height:44px}}</style>
<main><h1>Which word?</h1><p>The window that cabinwright runs in shows a word of eight letters. It lets one device in.</p>
<form method="post" action="/word"><label>Word <input name="word" autocomplete="off" autocapitalize="none" autofocus></label>
<button>Let me in</button></form><p role="alert">{said}</p></main></html>"""


def _cookie(text: str) -> str:
    for part in text.split(";"):
        name, _, value = part.strip().partition("=")
        if name == COOKIE:
            return value
    return ""


async def _typed(receive: Receive) -> str:
    body = b""
    while len(body) < 1000:
        message = await receive()
        body += message.get("body", b"")
        if not message.get("more_body"):
            break
    return parse_qs(body[:1000].decode("latin-1")).get("word", [""])[0]


def _limited(receive: Receive) -> Receive:
    """Counts what comes in: a length that was promised need not be kept."""
    taken = 0

    async def counted() -> Message:
        nonlocal taken
        message = await receive()
        if message["type"] == "http.request":
            taken += len(message.get("body", b""))
            if taken > LARGEST_REQUEST:
                return {"type": "http.disconnect"}
        return message

    return counted


def _with_headers(send: Send) -> Send:
    async def more(message: Message) -> None:
        if message["type"] == "http.response.start":
            message = {**message, "headers": [*message.get("headers", ()), *HEADERS]}
        await send(message)

    return more


async def _answer(scope: Scope, receive: Receive, send: Send, status: int, text: str) -> None:
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": 1008, "reason": text[:100]})
        return
    await _send(send, status, text.encode(), ((b"content-type", b"text/plain; charset=utf-8"),))


async def _send(send: Send, status: int, body: bytes, headers: tuple[tuple[bytes, bytes], ...]) -> None:
    length = (b"content-length", str(len(body)).encode())
    await send({"type": "http.response.start", "status": status, "headers": [*headers, length, *HEADERS]})
    await send({"type": "http.response.body", "body": body})
