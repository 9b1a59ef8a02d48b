"""The commented build that ``cabinwright new`` writes for a person to begin from."""

from __future__ import annotations

import json
import os
from importlib.resources import files
from pathlib import Path
from typing import Literal

from cabinwright.build.codec import FILE_NAME, parse
from cabinwright.errors import OutputError

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
    fresh = target.with_name(f".{FILE_NAME}.{os.getpid()}.part")
    try:
        if target.exists():
            raise OutputError(f"{target}: there is a build already, and it was left as it is. Name another folder.")
        recordings.mkdir(parents=True, exist_ok=True)
        try:
            fresh.write_text(text, encoding="utf-8", newline="\n")
            fresh.replace(target)
        finally:
            fresh.unlink(missing_ok=True)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise OutputError(f"{folder}: cannot be written ({reason}). Choose a folder you may write to.") from None
    return [target, recordings]
