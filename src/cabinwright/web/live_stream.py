"""The live view behind its page: one for each build, listened to by every tab, let go when nobody looks.

Pictures go over a websocket of their own, one for each that the page asks for: none waits in line, and a slow browser gets
fewer. The guard stands before it as before everything.
"""

from __future__ import annotations

import asyncio
import json
import time
from contextlib import suppress
from typing import TYPE_CHECKING

from fastapi import WebSocket, WebSocketDisconnect
from nicegui import app as screens
from nicegui import run, ui

from cabinwright.desk.live import SHOWS, Live
from cabinwright.measure.sound_card import Card, CardSettings, load_settings, open_card

if TYPE_CHECKING:
    from cabinwright.desk import Desk

__all__ = ["add_stream", "find_card", "listen", "live_of"]

WAIT_S, LONGEST_S = 0.004, 1.0
EMPTY_S = 4.0  #: without anybody who looks, the card is let go
LARGEST_ASK = 500

_lives: dict[str, Live] = {}
_desks: list[Desk] = []
_watchers = [0, 0]  #: pages that look now, and a count that rises with each that came


def find_card() -> tuple[Card, CardSettings | None]:
    """This computer's card and what was chosen on it. Raises ``CardError``."""
    return open_card(), load_settings()


def live_of(desk: Desk) -> Live | None:
    """The live view of a build; None until somebody listened."""
    return _lives.get(str(desk.folder))


def listen(desk: Desk) -> Live:
    """The card opened, or opened again where the choice was changed meanwhile."""
    live = live_of(desk)
    if live is not None and live.view.running.on:
        return live
    card, settings = find_card()
    if live is None or settings != (live.settings if live.chosen else None):
        live = Live(desk, card, settings)
        _lives[str(desk.folder)] = live
    live.view.begin()
    return live


# Pictures, as often as the page asks


def add_stream(desk: Desk) -> None:
    """Where the page gets its pictures from."""
    _desks[:] = [desk]
    ui.add_head_html('<script src="/static/live.js" defer></script>', shared=True)
    if not any(getattr(route, "path", "") == "/live/frames" for route in screens.routes):
        screens.websocket("/live/frames")(_frames)


async def _frames(socket: WebSocket) -> None:
    await socket.accept()
    _watchers[0] += 1
    _watchers[1] += 1
    try:
        number = 0
        while True:
            asked = _asked(await socket.receive_text())
            live = live_of(_desks[0])
            if live is None:
                await asyncio.sleep(0.1)
                await socket.send_text("{}")
                continue
            await _next_block(live)
            number += 1
            picture = live.picture(asked).plain(number)
            await socket.send_text(json.dumps(picture, separators=(",", ":"), allow_nan=False))
    except WebSocketDisconnect:
        pass
    finally:
        _watchers[0] -= 1
        await _leave(_watchers[1])


def _asked(words: str) -> str:
    """Which picture: what a browser sends is no more trusted than a file."""
    with suppress(ValueError, AttributeError, RecursionError):
        show = json.loads(words[:LARGEST_ASK]).get("show")
        if show in SHOWS:
            return str(show)
    return SHOWS[0]


async def _next_block(live: Live) -> None:
    seen, end = live.view.running.blocks, time.monotonic() + LONGEST_S
    while live.view.running.blocks == seen and time.monotonic() < end:
        if not live.view.running.on:
            await asyncio.sleep(0.25)
            return
        await asyncio.sleep(WAIT_S)


async def _leave(came: int) -> None:
    """Nobody looks: the noise ends at once, and the card is let go if nobody comes back."""
    live = live_of(_desks[0])
    if _watchers[0] > 0 or live is None:
        return
    live.view.noise_off()
    await asyncio.sleep(EMPTY_S)
    if _watchers[0] == 0 and _watchers[1] == came:
        await run.io_bound(live.view.end)
