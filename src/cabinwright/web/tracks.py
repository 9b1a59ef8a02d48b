"""What the page “Listen” plays: the files that were made to be heard, and no other."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import quote

from nicegui import app as screens
from nicegui import ui
from starlette.responses import FileResponse, PlainTextResponse, Response

from cabinwright.measure.listening import read_heard
from cabinwright.session import LISTENING

if TYPE_CHECKING:
    from cabinwright.desk import Desk

__all__ = ["add_tracks", "heard_folder", "track_address"]

PLACE = "/listen/sound"
KINDS = {".wav": "audio/wav", ".flac": "audio/flac"}

_desks: list[Desk] = []


def heard_folder(desk: Desk) -> Path:
    """Where they are."""
    return desk.folder / "out" / LISTENING


def track_address(file: Path) -> str:
    """Where the page gets one from; another one once it was written anew."""
    return f"{PLACE}?file={quote(file.name)}&at={file.stat().st_mtime_ns}"


def add_tracks(desk: Desk) -> None:
    """The player's script, and the address of its sounds."""
    _desks[:] = [desk]
    ui.add_head_html('<script src="/static/listen.js" defer></script>', shared=True)
    if not any(getattr(route, "path", "") == PLACE for route in screens.routes):
        screens.get(PLACE)(_sound)


def _sound(file: str) -> Response:
    """Only by a name that ``heard.json`` holds: what a browser sends is no more trusted than a file."""
    found = read_heard(heard_folder(_desks[0]))
    for item in found[1].versions if found else ():
        if item.file.name == file and item.file.suffix in KINDS:
            return FileResponse(item.file, media_type=KINDS[item.file.suffix])
    return PlainTextResponse("There is no such sound. Make it audible again.", status_code=404)
