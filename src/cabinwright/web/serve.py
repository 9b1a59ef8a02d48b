"""Start the screen: pages of one build, on this computer alone unless a network is asked for."""

from __future__ import annotations

import logging
import os
import socket
import threading
import webbrowser
from collections.abc import Callable
from functools import partial
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

import uvicorn
from fastapi import FastAPI
from nicegui import app as screens
from nicegui import ui

from cabinwright.errors import RefusedError
from cabinwright.web import frame, live_stream, recording, tracks, uploads
from cabinwright.web.frame import SHOP
from cabinwright.web.guard import Guard, Word
from cabinwright.web.pages import (
    book,
    enclosure,
    fields,
    listen,
    live,
    overview,
    past,
    places,
    power,
    record,
    recordings,
    signal,
    survey,
    tune,
    workshop,
)
from cabinwright.web.shop import add_shop
from cabinwright.web.shop.door import Door

if TYPE_CHECKING:
    from cabinwright.desk import Desk

__all__ = ["PAGES", "PORT", "add_pages", "serve"]

PORT = 7717
LOOPBACK, EVERYWHERE = "127.0.0.1", "0.0.0.0"
PAGES: tuple[frame.Page, ...] = tuple(
    room.PAGE
    for room in (
        overview,
        survey,
        places,
        signal,
        power,
        enclosure,
        workshop,
        record,
        live,
        recordings,
        tune,
        listen,
        book,
        past,
        fields,
    )
)


def add_pages(desk: Desk) -> None:
    """Every page of one build."""
    live_stream.add_stream(desk)
    tracks.add_tracks(desk)
    uploads.add_listening(desk)
    recording.add_recording()
    for page in PAGES:
        ui.page(page.path, language="en-US")(partial(_show, page, desk))


async def _show(page: frame.Page, desk: Desk, at: str = "") -> None:
    await frame.show(page, PAGES, desk, at=at)


def application(desk: Desk | None, *, port: int, word: Word | None = None, database: str | None = None) -> Guard:
    """The whole of it, guarded: a build with the shop beside it, or the shop alone."""
    screens.add_static_files("/static", Path(str(files("cabinwright.web") / "static")))
    if desk is not None:
        add_pages(desk)
    add_shop(
        Door(database, network=word is not None),
        title=(desk.build.title or desk.folder.name) if desk is not None else "",
    )
    server = FastAPI(openapi_url=None)
    ui.run_with(server, title="Cabinwright", show_welcome_message=False, reconnect_timeout=30.0)
    return Guard(server, port=port, word=word, start="/" if desk is not None else SHOP)


def serve(
    desk: Desk | None, *, say: Callable[[str], None], port: int | None = None, browser: bool = True, network: bool = False,
    start: str = "", database: str | None = None,
) -> None:  # fmt: skip
    """Serve a build, or the shop alone, until it is interrupted; the browser begins at ``start``.

    ``database``: of the shop, as ``Store.open`` takes it. Raises ``RefusedError`` where the port is taken.
    """
    taken = _bound(EVERYWHERE if network else LOOPBACK, port)
    number = taken.getsockname()[1]
    address = f"http://{LOOPBACK}:{number}/{start}"
    say(f"The screen is at {address}  Ctrl-C ends it; nothing is lost.")
    word = None
    if network:
        say(f"Others in this network open http://{_here()}:{number}/{start} and type the word below. It serves once.")
        word = Word(lambda text: say(f"word: {text}"))
    logging.getLogger("nicegui").setLevel(logging.ERROR)
    guarded = application(desk, port=number, word=word, database=database)
    config = uvicorn.Config(guarded, log_level="error", access_log=False, server_header=False, ws_max_size=2**20)
    if desk is not None:
        from cabinwright.desk import keep_ready  # the shop alone starts without it

        screens.on_connect(keep_ready)  # somebody opened a page: long work may follow
    if browser:
        threading.Timer(
            0.3, webbrowser.open, (address,)
        ).start()  # the socket listens already: the browser waits for it
    uvicorn.Server(config).run(sockets=[taken])


def _bound(host: str, port: int | None) -> socket.socket:
    """A listening socket: the port asked for, or the usual one, or any where that is taken."""
    for number in (PORT, 0) if port is None else (port,):
        made = socket.socket()
        if (
            os.name == "posix"
        ):  # a server that was killed comes back at its address at once; on Windows it would share it
            made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            made.bind((host, number))
        except OSError:
            made.close()
            continue
        made.listen(128)
        return made
    raise RefusedError(f"Port {port} is taken. Name another with --port, or none.")


def _here() -> str:
    """This computer's address in its network, as far as it knows one. Nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as made:
        try:
            made.connect(("192.0.2.1", 9))  # a documentation address (RFC 5737): only the route is looked up
            return str(made.getsockname()[0])
        except OSError:
            return LOOPBACK
