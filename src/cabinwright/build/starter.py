"""The commented build that ``cabinwright new`` writes for a person to begin from."""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path
from typing import Literal

from cabinwright.build.codec import FILE_NAME, parse
from cabinwright.errors import OutputError
from cabinwright.files import write_all

__all__ = ["create", "starter_text"]

RECORDINGS_FOLDER = "recordings"


def starter_text(*, title: str = "A new build", driving_side: Literal["left", "right"] = "left") -> str:
    """The starter as text. Raises ``BuildError`` for a title that a build cannot have."""
    template = files("cabinwright.build").joinpath("starter.toml").read_text(encoding="utf-8")
    sign = "-" if driving_side == "left" else ""
    text = template.replace("@SIDE@", driving_side).replace("@Y@", sign)
    text = text.replace("@TITLE@", json.dumps(title, ensure_ascii=False))  # a JSON string is a TOML string
    parse(text, file=FILE_NAME)
    return text


def create(folder: Path, *, title: str = "A new build", driving_side: Literal["left", "right"] = "left") -> list[Path]:
    """Write the starter and a folder for recordings into ``folder``, making it if need be; returns what was made.

    Raises:
        OutputError: a build stands there already (it is left as it is), or the folder cannot be written.
        BuildError: the title is none.
    """
    text = starter_text(title=title, driving_side=driving_side)
    target, recordings = folder / FILE_NAME, folder / RECORDINGS_FOLDER
    if target.exists():
        raise OutputError(f"{target}: there is a build already, and it was left as it is. Name another folder.")
    write_all(folder, {FILE_NAME: text})
    try:
        recordings.mkdir(exist_ok=True)
    except OSError as error:
        raise OutputError(f"{recordings}: cannot be made ({error.strerror}). Move what stands there away.") from None
    return [target, recordings]
