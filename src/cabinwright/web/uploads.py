"""Recordings that are dropped on the page: only sound, only so large, only into the build's own folder, never over another."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

from nicegui import app as screens
from starlette.responses import FileResponse, PlainTextResponse, Response

from cabinwright.errors import RefusedError
from cabinwright.files import write_all

if TYPE_CHECKING:
    from cabinwright.desk import Desk

__all__ = ["FOLDER", "HEARD", "LARGEST_FILE", "MOST_FILES", "add_listening", "heard", "keep"]

FOLDER = "recordings"
HEARD = "/heard"  #: where a recording is listened to
SOUND = {".wav": "audio/wav", ".flac": "audio/flac"}
LARGEST_FILE = 64 * 2**20  #: bytes
MOST_FILES = 1000  #: in the folder
NAME = re.compile(r"[\w][\w .()+-]{0,120}\.(?:wav|flac)", re.IGNORECASE)
RESERVED = re.compile(r"(?:con|prn|aux|nul|com\d|lpt\d)\.", re.IGNORECASE)  # names that Windows keeps for devices


def keep(folder: Path, name: str, content: bytes, *, into: str = FOLDER) -> str:
    """Write one file into ``folder/into``; returns its name in the build. Raises ``RefusedError``, ``OutputError``."""
    if not NAME.fullmatch(name) or RESERVED.match(name):
        raise RefusedError(f"{name[:80]!r}: not taken. Sound is a plain name that ends in .wav or .flac.")
    if len(content) > LARGEST_FILE:
        raise RefusedError(f"{name}: not taken: larger than {LARGEST_FILE // 2**20} MB. Cut it.")
    wave = content[:4] in (b"RIFF", b"RF64") and content[8:12] == b"WAVE"
    if not (content[:4] == b"fLaC" if name.lower().endswith(".flac") else wave):
        raise RefusedError(
            f"{name}: not taken: what is in it is no {name[-4:].strip('.').upper()}. Save it as WAV or FLAC."
        )
    place = folder / into
    if place.is_symlink():
        raise RefusedError(f"{place}: leads elsewhere. Make it a plain folder in the build.")
    there = {item.name.lower() for item in place.iterdir()} if place.is_dir() else set()
    if name.lower() in there:
        raise RefusedError(f"{into}/{name}: is there already. Take it away first, or give this one another name.")
    if len(there) >= MOST_FILES:
        raise RefusedError(f"{into}: holds {MOST_FILES} files already. Take away what is not needed.")
    write_all(folder, {f"{into}/{name}": content})
    return f"{into}/{name}"


def add_listening(desk: Desk) -> None:
    """Let the page play the build's recordings."""

    @screens.get(HEARD)
    def play(file: str) -> Response:
        path = heard(desk.folder, file)
        if path is None:
            return PlainTextResponse("There is no such recording in the build.", status_code=404)
        return FileResponse(path, media_type=SOUND[path.suffix.lower()])


def heard(folder: Path, file: str) -> Path | None:
    """The sound file of that name in the build folder; None for anything else, and for whatever leads out of it."""
    if "\0" in file or Path(file).suffix.lower() not in SOUND:
        return None
    path = (folder / file).resolve()
    return path if path.is_relative_to(folder.resolve()) and path.is_file() else None
