"""Recordings that are dropped on the page: only sound, only so large, only into the build's own folder, never over another."""

from __future__ import annotations

import re
from pathlib import Path

from cabinwright.errors import RefusedError
from cabinwright.files import write_all

__all__ = ["FOLDER", "LARGEST_FILE", "MOST_FILES", "keep"]

FOLDER = "recordings"
LARGEST_FILE = 64 * 2**20  #: bytes
MOST_FILES = 1000  #: in the folder
NAME = re.compile(r"[\w][\w .()+-]{0,120}\.(?:wav|flac)", re.IGNORECASE)
RESERVED = re.compile(r"(?:con|prn|aux|nul|com\d|lpt\d)\.", re.IGNORECASE)  # names that Windows keeps for devices


def keep(folder: Path, name: str, content: bytes) -> str:
    """Write one recording into ``folder/recordings``; returns its name in the build. Raises ``RefusedError``, ``OutputError``."""
    if not NAME.fullmatch(name) or RESERVED.match(name):
        raise RefusedError(f"{name[:80]!r}: not taken. A recording is a plain name that ends in .wav or .flac.")
    if len(content) > LARGEST_FILE:
        raise RefusedError(f"{name}: not taken: larger than {LARGEST_FILE // 2**20} MB. Cut it to the sweep.")
    wave = content[:4] in (b"RIFF", b"RF64") and content[8:12] == b"WAVE"
    if not (content[:4] == b"fLaC" if name.lower().endswith(".flac") else wave):
        raise RefusedError(
            f"{name}: not taken: what is in it is no {name[-4:].strip('.').upper()}. Save it as WAV or FLAC."
        )
    place = folder / FOLDER
    if place.is_symlink():
        raise RefusedError(f"{place}: leads elsewhere. Make it a plain folder in the build.")
    there = {item.name.lower() for item in place.iterdir()} if place.is_dir() else set()
    if name.lower() in there:
        raise RefusedError(f"{FOLDER}/{name}: is there already. Take it away first, or give this one another name.")
    if len(there) >= MOST_FILES:
        raise RefusedError(f"{FOLDER}: holds {MOST_FILES} files already. Take away what is not listed in the build.")
    write_all(folder, {f"{FOLDER}/{name}": content})
    return f"{FOLDER}/{name}"
