"""Who is let in. The attacks are those that OWASP's cheat sheets on request forgery and websockets describe."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest

from cabinwright.web.guard import LARGEST_REQUEST, Guard, Word

PORT = 7717
OURS = {"host": f"127.0.0.1:{PORT}"}


async def inner(scope: Any, receive: Any, send: Any) -> None:
    """What is guarded: it reads everything, then greets."""
    if scope["type"] == "websocket":
        await send({"type": "websocket.accept"})
        return
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            return
        if not message.get("more_body"):
            break
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": b"in"})


def ask(
    headers: dict[str, str],
    *,
    kind: str = "http",
    path: str = "/",
    method: str = "GET",
    body: tuple[bytes, ...] = (b"",),
    word: Word | None = None,
) -> dict[str, Any]:
    """The first thing that comes back; empty where nothing does."""
    sent: list[dict[str, Any]] = []
    parts = [{"type": "http.request", "body": part, "more_body": n < len(body) - 1} for n, part in enumerate(body)]

    async def receive() -> Any:
        return parts.pop(0) if kind == "http" else {"type": "websocket.connect"}

    async def send(message: Any) -> None:
        sent.append(message)

    raw = [(name.encode(), value.encode()) for name, value in headers.items()]
    scope = {"type": kind, "headers": raw, "path": path, "method": method}
    asyncio.run(Guard(inner, port=PORT, word=word)(scope, receive, send))
    return sent[0] if sent else {}


@pytest.mark.parametrize("host", [f"127.0.0.1:{PORT}", f"localhost:{PORT}", f"[::1]:{PORT}"])
def test_this_computer_is_let_in(host: str) -> None:
    answer = ask({"host": host, "origin": f"http://{host}"})
    assert answer["status"] == 200
    names = {name for name, _value in answer["headers"]}
    assert {b"content-security-policy", b"x-frame-options", b"x-content-type-options"} <= names


@pytest.mark.parametrize(
    "host",
    ["", "127.0.0.1", "127.0.0.1:80", f"car.example:{PORT}", f"192.168.1.5:{PORT}", f"127.0.0.1.car.example:{PORT}"],
)
def test_a_rebound_name_is_refused(host: str) -> None:
    assert ask({"host": host})["status"] == 421


@pytest.mark.parametrize("origin", ["null", "http://car.example", "http://127.0.0.1:9", f"https://127.0.0.1:{PORT}"])
def test_another_sites_page_is_refused(origin: str) -> None:
    assert ask({**OURS, "origin": origin})["status"] == 403
    assert ask({**OURS, "origin": origin}, kind="websocket")["type"] == "websocket.close"


def test_a_websocket_says_where_it_comes_from() -> None:
    assert ask(OURS, kind="websocket")["type"] == "websocket.close"
    assert ask({**OURS, "origin": f"http://127.0.0.1:{PORT}"}, kind="websocket")["type"] == "websocket.accept"


def test_a_picture_on_another_site_is_refused_and_a_link_is_not() -> None:
    assert ask({**OURS, "sec-fetch-site": "cross-site", "sec-fetch-mode": "no-cors"})["status"] == 403
    assert ask({**OURS, "sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate"})["status"] == 200


def test_too_much_is_refused_as_promised_and_as_sent() -> None:
    assert ask({**OURS, "content-length": str(LARGEST_REQUEST + 1)})["status"] == 413
    assert ask({**OURS, "content-length": "-1"})["status"] == 413
    half = bytes(LARGEST_REQUEST // 2 + 1)
    assert ask({**OURS, "content-length": "1"}, body=(half, half)) == {}


def test_the_word_lets_one_device_in() -> None:
    told: list[str] = []
    word, here = Word(told.append), {"host": f"192.168.1.5:{PORT}", "origin": f"http://192.168.1.5:{PORT}"}
    assert ask(here, word=word)["status"] == 401
    assert ask(here, word=word, kind="websocket")["type"] == "websocket.close"
    first = told[-1]
    form = {"path": "/word", "method": "POST", "word": word}
    answer = ask(here, body=(f"word={first}".encode(),), **form)  # type: ignore[arg-type]
    assert answer["status"] == 303
    cookie = dict(answer["headers"])[b"set-cookie"].decode()
    assert "HttpOnly" in cookie and "SameSite=Strict" in cookie
    assert ask({**here, "cookie": cookie.split(";")[0]}, word=word)["status"] == 200
    assert told[-1] != first
    assert ask(here, body=(f"word={first}".encode(),), **form)["status"] == 401, "a word serves once"  # type: ignore[arg-type]
    assert ask({**here, "cookie": "cabinwright-device=x"}, word=word)["status"] == 401


def test_guessing_spends_the_word() -> None:
    told: list[str] = []
    word = Word(told.append)
    right = told[-1]
    for _ in range(5):
        assert word.admit("aaaaaaaa") is None
    assert word.admit(right) is None
    assert len(set(told)) == 2
