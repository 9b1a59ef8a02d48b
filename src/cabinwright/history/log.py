"""The log of a build: one line for every accepted change, and a copy of every state that it led to.

``BUILD/history/log.jsonl`` is only ever added to. Each line holds the mark (SHA-256) of the line before it, so that a line
that was changed, lost or torn is seen; ``BUILD/history/states/MARK.toml`` holds a state under the mark of its own bytes.
A damaged log is named and left as it is: what can still be read is shown, new lines go on after it.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path

from filelock import FileLock, Timeout

from cabinwright.errors import OutputError, PersonError, RefusedError
from cabinwright.files import overwrite, write_all

__all__ = ["Entry", "History", "Log", "mark_of"]

FOLDER = "history"
LARGEST = 64_000_000  #: bytes of a log; an entry has some 400
LONGEST_WORDS = 2000
WAIT_S = 10.0


def mark_of(content: bytes) -> str:
    """What tells one content from another."""
    return sha256(content).hexdigest()


@dataclass(frozen=True, slots=True)
class Entry:
    """One accepted change."""

    number: int  #: counts from 1
    when: str  #: ISO 8601, UTC, to the second
    by: str  #: command or screen that made it; "outside" where the file was changed by an editor
    what: str  #: what changed, in words
    why: str  #: what the person gave as a reason
    kind: str  #: "change", "undo" or "redo"
    before: str  #: mark of the state before it
    after: str  #: mark of the state that it led to


@dataclass(frozen=True, slots=True)
class History:
    """What the log says, and what is wrong with it."""

    entries: tuple[Entry, ...]
    damage: tuple[str, ...] = ()

    def last(self) -> Entry | None:
        """The newest entry."""
        return self.entries[-1] if self.entries else None

    def mark(self, number: int) -> str:
        """The mark of the state after entry ``number``; 0: before the first. Raises ``RefusedError``."""
        found = next((entry for entry in self.entries if entry.number == max(number, 1)), None)
        if found is None or number < 0:
            last = self.last()
            there = (
                f"It holds 0 to {last.number}." if last else "It is empty: nothing was changed through Cabinwright yet."
            )
            raise RefusedError(f"The history has no state {number}. {there}")
        return found.before if number == 0 else found.after


class Log:
    """The log of one build folder."""

    def __init__(self, folder: Path, file_name: str = "build.toml") -> None:
        own = FOLDER if file_name == "build.toml" else f"{FOLDER}-{Path(file_name).stem}"
        self.folder = folder / own
        self.file = self.folder / "log.jsonl"
        self._known: tuple[tuple[int, int], History] | None = None  #: size and time of the log, and what it said

    @contextmanager
    def held(self) -> Iterator[None]:
        """Nobody else changes the build through Cabinwright meanwhile; the system lets go when a process dies.

        Raises ``OutputError`` where another process does not finish, or nothing can be written there.
        """
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            lock = FileLock(self.folder / "lock", timeout=WAIT_S)
            lock.acquire()
        except Timeout:
            raise OutputError(f"{self.folder}: another Cabinwright is changing this build. Try again.") from None
        except OSError as error:
            raise OutputError(
                f"{self.folder}: the history cannot be written: {error.strerror}. See that you may write in the build folder."
            ) from error
        try:
            yield
        finally:
            lock.release()

    def read(self) -> History:
        """Every entry that can be read, and what is damaged. Raises ``PersonError`` where the file cannot be opened."""
        try:
            stat = self.file.stat()
            now = (stat.st_size, stat.st_mtime_ns)
        except OSError:
            now = (0, 0)
        if self._known is None or self._known[0] != now:
            self._known = (now, self._read())
        return self._known[1]

    def _read(self) -> History:
        lines = self._lines()
        entries, damage = [], []
        previous: str | None = ""
        for number, line in enumerate(lines, start=1):
            try:
                row = json.loads(line)
                linked = row.pop("previous")
                entry = Entry(**row)
                _check(entry)
            except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
                damage.append(f"{self.file}:{number}: this line is no entry of a history any more; it is passed over.")
                previous = None  # what the next line says of this one is no news
            else:
                if previous is not None and linked != previous:
                    damage.append(f"{self.file}:{number}: what stands before this line was changed or lost.")
                entries.append(entry)
                previous = mark_of(line)
        return History(tuple(entries), tuple(damage))

    def keep(self, content: bytes) -> str:
        """A copy of a state; returns its mark."""
        mark = mark_of(content)
        if not self._path(mark).exists():
            write_all(self.folder, {f"states/{mark}.toml": content})
        return mark

    def state(self, mark: str) -> bytes:
        """The state of this mark. Raises ``PersonError`` where its copy is lost or was changed."""
        path = self._path(mark)
        try:
            content = path.read_bytes()
        except OSError as error:
            raise PersonError(
                f"{path}: this state cannot be read: {error.strerror}. Look for the file in a copy of the build folder."
            ) from None
        if mark_of(content) != mark:
            raise PersonError(
                f"{path}: this copy was changed after it was kept. Take it from a copy of the build folder."
            )
        return content

    def add(self, *, by: str, what: str, why: str = "", kind: str = "change", before: str, after: str) -> Entry:
        """One more entry, on the disk when this returns. To be called while ``held``."""
        lines = self._lines()
        whole = self.read().entries
        entry = Entry(
            number=max((item.number for item in whole), default=0) + 1,
            when=datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
            by=by[:LONGEST_WORDS],
            what=what[:LONGEST_WORDS],
            why=why[:LONGEST_WORDS],
            kind=kind,
            before=before,
            after=after,
        )
        row = {**asdict(entry), "previous": mark_of(lines[-1]) if lines else ""}
        line = json.dumps(row, ensure_ascii=False).encode("utf-8") + b"\n"
        try:
            with self.file.open("ab") as file:
                torn = file.tell() > 0 and not self.file.read_bytes().endswith(b"\n")
                file.write(b"\n" + line if torn else line)
                file.flush()
                os.fsync(file.fileno())
        except OSError as error:
            raise OutputError(
                f"{self.file}: cannot be written: {error.strerror}. See to the disk and its rights."
            ) from error
        return entry

    def commit(
        self, file: Path, old: bytes, new: bytes, *, by: str, what: str, why: str = "", kind: str = "change"
    ) -> Entry:
        """Write ``new`` over ``old`` in ``file``, and into the history. To be called while ``held``.

        Copies come first and the log last: a process killed in between leaves a whole file, and a change that the next desk
        finds as one made outside.
        """
        before, after = self.keep(old), self.keep(new)
        overwrite(file, new)
        return self.add(by=by, what=what, why=why, kind=kind, before=before, after=after)

    def _path(self, mark: str) -> Path:
        return self.folder / "states" / f"{mark}.toml"

    def _lines(self) -> list[bytes]:
        try:
            if self.file.exists() and self.file.stat().st_size > LARGEST:
                raise PersonError(f"{self.file}: too large to be a history. Move it out of the way.")
            return [line for line in self.file.read_bytes().split(b"\n") if line]
        except FileNotFoundError:
            return []
        except OSError as error:
            raise PersonError(f"{self.file}: cannot be read: {error.strerror}. See that you may read it.") from None


def _check(entry: Entry) -> None:
    words = (entry.when, entry.by, entry.what, entry.why, entry.kind, entry.before, entry.after)
    if not all(isinstance(word, str) for word in words) or type(entry.number) is not int or entry.number < 1:
        raise ValueError
    for mark in (entry.before, entry.after):
        if len(mark) != 64 or set(mark) - set("0123456789abcdef"):
            raise ValueError  # a mark names a file: nothing but a mark may
