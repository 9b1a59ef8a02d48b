"""Earlier states of a build, and two builds or states held against each other, for commands."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from cabinwright.build.codec import FILE_NAME, read, source
from cabinwright.build.document import Build
from cabinwright.errors import RefusedError
from cabinwright.history.compare import Comparison, compared
from cabinwright.history.design import Difference, design_differences
from cabinwright.history.log import Entry, History, Log
from cabinwright.measure.folder import FolderFiles
from cabinwright.pipeline import Line, Results
from cabinwright.stages.memory import Memory

__all__ = ["bring_back", "compare", "design_since", "history_of"]

_STATE = re.compile(r"(?P<folder>.*)@(?P<number>\d{1,9})")


@dataclass(frozen=True)
class _State:
    """A build as it stands, or as it stood."""

    file: Path
    build: Build

    def results(self, progress: Callable[[str, float], None], memory: Memory) -> Results:
        """What the stages give for it, with the files that lie in the folder today."""
        files = FolderFiles(self.build, self.file.parent, progress, keep=memory)
        return Line(self.build, files, progress, keep=memory).results()


def history_of(path: Path) -> History:
    """The history of a build folder, which need not hold a build that can be read. Raises ``PersonError``."""
    return _log(path)[0].read()


def design_since(path: Path, number: int) -> tuple[Difference, ...]:
    """What the design had in state ``number`` and has now. Raises ``PersonError``."""
    return design_differences(_stood(path, number).build, _stands(path).build)


def bring_back(path: Path, number: int, *, why: str = "") -> Entry | None:
    """Write state ``number`` over the build, as a change of its own; None where it stands there already.

    The build that stands there now may be broken: it is kept as it is. Raises ``PersonError``.
    """
    log, file = _log(path)
    with log.held():
        content = log.state(log.read().mark(number))
        read(content, file)
        now = source(file)[1] if file.exists() else b""  # a build that was deleted comes back too
        if now == content:
            return None
        return log.commit(file, now, content, by="history", what=f"state {number} brought back", why=why)


def compare(one: str, other: str, progress: Callable[[str, float], None]) -> Comparison:
    """From ``one`` to ``other``: each a build, ``BUILD@N`` for state N of it, or ``@N`` for a state of the other one."""
    for word, beside in ((one, other), (other, one)):
        if re.fullmatch(r"@\d+", word) and "@" in Path(beside).name and _STATE.fullmatch(beside):
            raise RefusedError(f"{word}: a state of which build? Write for example my-car@3.")
    before, after = _state(one, other), _state(other, one)
    memory = Memory()
    was = before.results(progress, memory)
    return compared(before.build, after.build, was, after.results(progress, memory))


def _state(word: str, beside: str) -> _State:
    if Path(word).exists():
        return _stands(Path(word))
    told = _STATE.fullmatch(word)
    if told is None:
        return _stands(Path(word))  # which says what is missing
    return _stood(Path(told["folder"] or beside), int(told["number"]))


def _stands(path: Path) -> _State:
    file, content = source(path)
    return _State(file, read(content, file))


def _stood(path: Path, number: int) -> _State:
    log, file = _log(path)
    return _State(file, read(log.state(log.read().mark(number)), file))


def _log(path: Path) -> tuple[Log, Path]:
    file = path / FILE_NAME if path.is_dir() else path
    if not file.parent.is_dir() or (file == path and path.suffix != ".toml"):
        raise RefusedError(f"{path}: there is no such build folder. Name the folder that holds build.toml.")
    return Log(file.parent, file.name), file
