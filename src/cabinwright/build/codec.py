"""From ``build.toml`` to a ``Build``: every problem at once, each with its line, and never a traceback."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Callable, Iterable, Mapping
from functools import lru_cache
from itertools import chain, islice
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from cabinwright.build.checking import Fault, shown
from cabinwright.build.checks import cross_check, fit_check
from cabinwright.build.document import Build
from cabinwright.build.faults import faults_of
from cabinwright.build.locate import Locator
from cabinwright.errors import BuildError, Problem, RecordingError

__all__ = [
    "FILE_NAME",
    "SCHEMA",
    "SIZE_LIMIT_BYTES",
    "decode",
    "load",
    "parse",
    "place_of",
    "read",
    "resolve_inside",
    "source",
    "toml_data",
    "toml_string",
]

FILE_NAME = "build.toml"
SCHEMA = 1
SIZE_LIMIT_BYTES = 1_000_000
"""A large build is some 30 kB; what is larger than this is some other file."""
_MOST_PROBLEMS = 100
_ENDLESS_KEY = re.compile(r"""(?<![\w"'-])(?:[\w"'-]++[ \t]*+\.[ \t]*+){64}""")
"""A dotted key of so many parts is no key, and costs a TOML reader time in the square of its length."""
_AT_LINE = re.compile(r"\s*\(at (?:line (\d+), column \d+|end of document)\)$")


def load(path: Path | str) -> Build:
    """Read the build in a folder (its ``build.toml``) or in a file.

    Raises:
        BuildError: the file cannot be read, is no TOML, or breaks rules; it carries every problem found.
    """
    file, content = source(path)
    return read(content, file)


def read(content: bytes, file: Path) -> Build:
    """The build in ``content``, which stands or is to stand in ``file``: links in its folder are looked at too.

    Raises ``BuildError``.
    """
    text = decode(content, str(file))
    if len(content) > SIZE_LIMIT_BYTES:
        raise _refuse(file, f"a build is at most {SIZE_LIMIT_BYTES // 1000} kB of text", "Shorten it first.")
    build = parse(text, file=str(file))
    faults = list(islice(_strays(build, file.parent), _MOST_PROBLEMS))
    if faults:
        raise BuildError(_problems(faults, data={}, text=text, file=str(file)))
    return build


def source(path: Path | str) -> tuple[Path, bytes]:
    """The file that ``load`` reads for this folder or file, and what it holds. Raises ``BuildError``."""
    file = Path(path)
    if _answers(file.is_dir):
        file = file / FILE_NAME
    return file, _read(file)


def parse(text: str | bytes, *, file: str = FILE_NAME) -> Build:
    """The build in ``text``, without touching the disk; ``file`` only names it in messages.

    Raises:
        BuildError: with every problem found.
    """
    words = decode(text, file) if isinstance(text, bytes) else text.removeprefix("\ufeff")
    data = _toml(words, file)
    other_schema = _schema_fault(data)
    if other_schema:
        raise BuildError(_problems([other_schema], data=data, text=words, file=file))
    build, found = None, list[Iterable[Fault]]()
    try:
        build = Build.model_validate(data)
        found.append(fit_check(build))
    except ValidationError as error:
        found.append(faults_of(error))
    faults = list(islice(chain(*found, cross_check(data)), _MOST_PROBLEMS + 1))
    if build is None or faults:
        raise BuildError(_problems(faults, data=data, text=words, file=file))
    return build


@lru_cache(maxsize=4)
def toml_data(text: str) -> dict[str, Any]:
    """What a text of TOML holds, to be read and not to be changed: the last few texts are remembered. Raises ``ValueError``."""
    return tomllib.loads(text)


def toml_string(text: str) -> str:
    """A basic string of TOML; what JSON escapes in a line without control characters, TOML escapes alike."""
    return json.dumps(text, ensure_ascii=False)


def resolve_inside(folder: Path, relative: str) -> Path:
    """The real path of a file that a build names, which need not exist.

    Raises:
        RecordingError: the path leads out of the build folder, through a link for example.
    """
    try:
        root = folder.resolve()
        target = (root / relative).resolve()
        inside = target.is_relative_to(root)
    except (OSError, RuntimeError, ValueError) as error:  # a loop of links, a name the system refuses
        raise RecordingError(
            f"{relative}: the path cannot be followed ({error}). Copy the file itself there."
        ) from None
    if not inside:
        raise RecordingError(
            f"{relative}: the path leads out of the build folder. Copy the file into the folder in place of a link."
        )
    return target


def _strays(build: Build, folder: Path) -> Iterable[Fault]:
    """Paths of ``build`` that a link takes out of ``folder``."""
    named: list[tuple[tuple[str | int, ...], str]] = [
        ((table, index, "file"), row.file)
        for table in ("recordings", "verification_recordings")
        for index, row in enumerate(getattr(build, table))
    ]
    if build.tuning and build.tuning.microphone_calibration:
        named.append((("tuning", "microphone_calibration"), build.tuning.microphone_calibration))
    named += [(("places", index, "polar"), row.polar) for index, row in enumerate(build.places) if row.polar]
    for path, relative in named:
        try:
            resolve_inside(folder, relative)
        except RecordingError:
            rule = "a path stays inside the build folder, and this one leads out of it through a link"
            yield Fault(path, rule, shown(relative), "Copy the file into the folder instead of a link to it.")


def _read(file: Path) -> bytes:
    """The bytes of a plain file of sensible size."""
    if _answers(file.exists) and not _answers(file.is_file):
        raise _refuse(file, "this is no plain file", "Name the build folder, or the build.toml in it.")
    try:
        with file.open("rb") as stream:
            content = stream.read(SIZE_LIMIT_BYTES + 1)
    except FileNotFoundError:
        folder = file.parent if file.name == FILE_NAME else file
        cure = f"Make one with `cabinwright new {folder}`, or name the folder that holds it."
        raise _refuse(file, "there is no such file", cure) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise _refuse(file, f"the file cannot be read ({reason})", "See to its name and permissions.") from None
    if len(content) > SIZE_LIMIT_BYTES:
        rule = f"a build is at most {SIZE_LIMIT_BYTES // 1000} kB of text, and this file is larger"
        raise _refuse(file, rule, "Check that it is a build.toml and not a recording.")
    return content


def _answers(question: Callable[[], bool]) -> bool:
    """Whether the system says yes; where it will not say (a locked folder, a name too long), opening tells why."""
    try:
        return question()
    except (OSError, ValueError):
        return False


def _refuse(file: Path | str, rule: str, cure: str, line: int | None = None) -> BuildError:
    return BuildError([Problem(file=str(file), line=line, place="", rule=rule, got="", cure=cure)])


def decode(content: bytes, file: str) -> str:
    """The text of a build without its byte order mark. Raises ``BuildError`` where it is no UTF-8."""
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise _refuse(file, "the text is UTF-16, and TOML is UTF-8", "Save it again with the encoding UTF-8.")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise _refuse(file, "the text is not UTF-8", "Save it again with the encoding UTF-8.", line) from None


def _toml(text: str, file: str) -> dict[str, Any]:
    if not text.strip():
        raise _refuse(file, "the file is empty", "`cabinwright new` writes a starter to begin from.")
    endless = _ENDLESS_KEY.search(text)
    if endless:
        first = text.count("\n", 0, endless.start()) + 1
        raise _refuse(file, "more than 64 words are joined by dots", "A key has at most three.", first)
    try:
        return toml_data(text)
    except RecursionError:
        raise _refuse(file, "brackets are nested too deeply", "Close what was opened by mistake.") from None
    except ValueError as error:  # TOMLDecodeError is one; a number of thousands of digits is another
        message = str(error)
        place = _AT_LINE.search(message)
        line = int(place[1]) if place and place[1] else text.count("\n") + 1 if place else None
        reason = shown(_AT_LINE.sub("", message), limit=200)[1:-1]
        cure = 'Text stands in double quotes, lists in [ ], the decimal point is ".", and a key stands once per table.'
        raise _refuse(file, f"not valid TOML: {reason}", cure, line) from None


def _schema_fault(data: Mapping[str, Any]) -> Fault | None:
    """A build of another schema number: whatever else is said about it would mislead."""
    schema = data.get("schema")
    if not isinstance(schema, int) or isinstance(schema, bool) or schema == SCHEMA:
        return None
    if schema > SCHEMA:
        rule, cure = f"this Cabinwright reads schema {SCHEMA}, and the file is newer", "Update Cabinwright."
    else:
        rule, cure = f"there is no such schema; the first is {SCHEMA}", f"Write schema = {SCHEMA}."
    return Fault(("schema",), rule, shown(schema), cure)


def _problems(faults: list[Fault], *, data: Mapping[str, Any], text: str, file: str) -> list[Problem]:
    """Faults with their places, in order of line."""
    lines = Locator(text)
    found = [
        Problem(
            file=file,
            line=lines.line(fault.path),
            place=place_of(fault.path, data),
            rule=fault.rule,
            got=fault.got,
            cure=fault.cure,
        )
        for fault in faults[:_MOST_PROBLEMS]
    ]
    found.sort(key=lambda problem: problem.line or 0)
    if len(faults) > _MOST_PROBLEMS:
        rule = f"there are more problems than the {_MOST_PROBLEMS} listed"
        found.append(Problem(file=file, line=None, place="", rule=rule, got="", cure="Correct these first."))
    return found


def place_of(path: tuple[str | int, ...], data: Any) -> str:
    """``channels["left tweeter"].speakers[0]``: tables by name where they have one, else counted from 0."""
    place, here = "", data
    for part in path:
        here = _step(here, part)
        if isinstance(part, int):
            name = here.get("name") if isinstance(here, Mapping) else None
            place += f"[{shown(name)}]" if isinstance(name, str) and name else f"[{part}]"
        else:
            word = shown(part)[1:-1]
            place += f".{word}" if place else word
    return place


def _step(here: Any, part: str | int) -> Any:
    try:
        return here[part]
    except (KeyError, IndexError, TypeError):
        return None
