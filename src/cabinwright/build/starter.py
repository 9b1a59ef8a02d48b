"""The commented build that ``cabinwright new`` writes for a person to begin from."""

from __future__ import annotations

import json
import re
from importlib.resources import files
from pathlib import Path
from typing import Literal

from cabinwright.build.codec import FILE_NAME, parse
from cabinwright.build.shells import Shell, cabin_text
from cabinwright.errors import OutputError
from cabinwright.files import write_all

__all__ = ["create", "starter_text"]

RECORDINGS_FOLDER = "recordings"
_TRIPLE = re.compile(r"(head_m|at_m|position_m) = \[(-?[\d.]+), (-?[\d.]+), (-?[\d.]+)\]")
_WIDTH_M, _HEIGHT_M = 1.45, 1.16  #: of the car that the starter's numbers were invented for


def starter_text(
    *, title: str = "A new build", driving_side: Literal["left", "right"] = "left", shell: Shell | None = None
) -> str:
    """The starter as text, with a generic cabin if one is given. Raises ``BuildError`` for a title that a build cannot have."""
    template = files("cabinwright.build").joinpath("starter.toml").read_text(encoding="utf-8")
    sign = "-" if driving_side == "left" else ""
    text = template.replace("@SIDE@", driving_side).replace("@Y@", sign)
    if shell is not None:
        text = _fitted(text, shell, driving_side) + cabin_text(shell, driving_side=driving_side)
    text = text.replace("@TITLE@", json.dumps(title, ensure_ascii=False))  # a JSON string is a TOML string
    parse(text, file=FILE_NAME)
    return text


def _fitted(text: str, shell: Shell, driving_side: Literal["left", "right"]) -> str:
    """The starter's invented places moved into the shell: heads and microphones with the head, loudspeakers with the walls."""
    head = shell.head(driving_side)
    old = next(_TRIPLE.finditer(text))
    shift = [new - float(was) for new, was in zip(head, old.groups()[1:], strict=True)]
    wide, high = shell.width_m / _WIDTH_M, shell.height_m / _HEIGHT_M

    def move(match: re.Match[str]) -> str:
        key, x, y, z = match[1], *(float(part) for part in match.groups()[1:])
        if key == "position_m":
            moved = [x, wide * y, high * z] if y else list(shell.bass())
        else:
            moved = [part + by for part, by in zip((x, y, z), shift, strict=True)]
        return f"{key} = [" + ", ".join(f"{part + 0.0:.2f}" for part in moved) + "]"

    other: Literal["left", "right"] = "right" if driving_side == "left" else "left"
    passenger = ", ".join(f"{part:.2f}" for part in shell.head(other))
    text = _TRIPLE.sub(move, text)
    return text.replace(
        "# THE PROCESSOR", f'[[seats]]\nname = "passenger"\nhead_m = [{passenger}]\n\n# THE PROCESSOR', 1
    )


def create(
    folder: Path,
    *,
    title: str = "A new build",
    driving_side: Literal["left", "right"] = "left",
    shell: Shell | None = None,
) -> list[Path]:
    """Write the starter and a folder for recordings into ``folder``, making it if need be; returns what was made.

    Raises:
        OutputError: a build stands there already (it is left as it is), or the folder cannot be written.
        BuildError: the title is none.
    """
    text = starter_text(title=title, driving_side=driving_side, shell=shell)
    target, recordings = folder / FILE_NAME, folder / RECORDINGS_FOLDER
    if target.exists():
        raise OutputError(f"{target}: there is a build already, and it was left as it is. Name another folder.")
    write_all(folder, {FILE_NAME: text})
    try:
        recordings.mkdir(exist_ok=True)
    except OSError as error:
        raise OutputError(f"{recordings}: cannot be made ({error.strerror}). Move what stands there away.") from None
    return [target, recordings]
