"""The desk: one build folder that is being worked on. What it offers stands in the package's docstring."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from cabinwright.build.checking import shown
from cabinwright.build.codec import FILE_NAME, decode, read, source, toml_data
from cabinwright.build.document import Build
from cabinwright.build.paths import resolved, value_at
from cabinwright.build.rewrite import added_row, rewritten_value, without
from cabinwright.desk.changes import Change, held_against, outdated, said, same_place
from cabinwright.desk.forms import FieldView, field_views, row_names, row_words, spelt_out
from cabinwright.desk.jobs import Job
from cabinwright.errors import BuildError, PersonError, RefusedError
from cabinwright.findings import Finding
from cabinwright.history.compare import Comparison, compared
from cabinwright.history.log import Entry, History, Log, mark_of
from cabinwright.measure.folder import FolderFiles
from cabinwright.pipeline import STAGES, Line, Results
from cabinwright.stages.layout.accepting import accepted
from cabinwright.stages.layout.result import LayoutResult
from cabinwright.stages.memory import Memory

__all__ = ["Desk"]

Path_ = tuple[str | int, ...]
_OPEN: dict[Path, Desk] = {}
_OPENING = threading.Lock()


def unwatched(what: str, share: float) -> None:
    """Progress that nobody looks at."""


class Desk:
    """One build that is being worked on. Reading never waits; changes take turns, and so do calculations."""

    def __init__(self, folder: Path, file_name: str = FILE_NAME) -> None:
        self.folder = folder
        self.file = folder / file_name
        self.log = Log(folder, file_name)
        self.version = 0
        self._changing = threading.RLock()
        self._working = threading.RLock()
        self._memory = Memory()
        content = source(self.file)[1]
        self._take(content, read(content, self.file))
        if self._unknown():  # somebody wrote while no desk was open, or is writing just now
            with self.log.held():
                content = self._on_disk()
                self._take(content, read(content, self.file))
                if self._unknown():
                    self._note_outside()

    @classmethod
    def open(cls, path: Path) -> Desk:
        """The desk of a build folder, or of the build file in it; in one process always the same. Raises ``BuildError``."""
        found = path.resolve()
        file = found / FILE_NAME if found.is_dir() else found
        with _OPENING:
            if file not in _OPEN:
                _OPEN[file] = cls(file.parent, file.name)
            return _OPEN[file]

    # What stands there

    @property
    def build(self) -> Build:
        """The build as it was last read or written."""
        return self._build

    @property
    def text(self) -> str:
        """Its text, without a byte order mark."""
        return self._text

    @property
    def mark(self) -> str:
        """The mark of its bytes."""
        return mark_of(self._content)

    def _take(self, content: bytes, build: Build) -> None:
        self._content, self._text = content, decode(content, str(self.file))
        self._data = toml_data(self._text)
        self._build = build
        files = FolderFiles(build, self.folder, unwatched, keep=self._memory)
        self._line = Line(build, files, unwatched, keep=self._memory)
        self.version += 1

    # Changes

    def edit(self, path: str, value: Any, *, by: str = "screen", why: str = "") -> Change:
        """Write ``value`` at ``path``; None takes the key out."""
        at, value = spelt_out(resolved(path, self._data), value, self._data)
        if value is None:
            return self._change(lambda text, at: without(text, at), at, by=by, why=why, wanted=None)
        return self._change(lambda text, at: rewritten_value(text, at, value), at, by=by, why=why, wanted=value)

    def edit_all(self, values: Mapping[str, Any], *, by: str = "screen", why: str = "") -> Change:
        """Write several keys as one change; all of them or none."""
        base = self._data
        places = {path: same_place(resolved(path, base), base) for path in values}

        def make(text: str, _: Path_) -> str:
            for path, value in values.items():
                at = held_against(places[path], base, self._data, value)
                text = without(text, at) if value is None else rewritten_value(text, at, value)
            return text

        return self._change(make, None, by=by, why=why, wanted=values)

    def rename(self, path: str, name: str, *, by: str = "screen", why: str = "") -> Change:
        """Another ``name`` at ``path``, a row's key; what calls the row by its old one, and would call nothing, goes along."""
        old, values = value_at(resolved(path, self._data), self._data), {path: name}
        while True:
            try:
                return self.edit_all(values, by=by, why=why)
            except BuildError as error:
                places = {item.place for item in error.problems if item.got == shown(old)} - values.keys()
                left = {place: name for place in places if self._says(place) == old}
                if not left:
                    raise
                values |= left

    def _says(self, path: str) -> Any:
        """What stands at a path; None where nothing does."""
        try:
            return value_at(resolved(path, self._data), self._data)
        except RefusedError:
            return None

    def add(self, table: str, row: Mapping[str, Any], *, by: str = "screen", why: str = "") -> Change:
        """One more row at the end of ``table``."""
        at = resolved(table, self._data)
        alone = value_at(at, self._data)
        if isinstance(alone, Mapping):  # one table stands for a list of one
            return self.edit(table, [alone, row], by=by, why=why)
        return self._change(lambda text, _: added_row(text, at, row), None, by=by, why=why, wanted=row)

    def remove(self, path: str, *, by: str = "screen", why: str = "") -> Change:
        """Take a row, a key or an element of a list out."""
        return self.edit(path, None, by=by, why=why)

    def accept(self, places: Sequence[str], *, again: bool = False, by: str = "accept", why: str = "") -> Change:
        """Keep places as speakers, as the command does; ``again``: those that were moved since take theirs along.

        Raises ``RefusedError`` where one may not be.
        """

        def make(text: str, _: Path_) -> str:
            return decode(accepted(text.encode("utf-8"), places, self.file, again=again)[1], str(self.file))

        return self._change(make, None, by=by, why=why, wanted=places)

    def restore(self, number: int, *, by: str = "history", why: str = "") -> Change:
        """Bring the state after entry ``number`` back (0: before the first), as a change of its own."""
        with self._changing, self.log.held():
            self._adopt()
            content = self.log.state(self.log.read().mark(number))
            return self._write(content, by=by, what=f"state {number} brought back", why=why)

    def undo(self, *, by: str = "undo") -> Change | None:
        """Take the last change back; None where there is none."""
        return self._step(by, "undo", -1)

    def redo(self, *, by: str = "redo") -> Change | None:
        """Make the last change again that was taken back."""
        return self._step(by, "redo", +1)

    @property
    def can_undo(self) -> str | None:
        """What would be taken back, in words."""
        past = self._turns()[0]
        return past[-1].what if past and past[-1].after == self.mark else None

    @property
    def can_redo(self) -> str | None:
        """What would be made again."""
        future = self._turns()[1]
        return future[-1].what if future and future[-1].before == self.mark else None

    def refresh(self) -> Change | None:
        """Look at the file: a Change where it was changed outside. Raises ``BuildError`` where it is no build any more."""
        with self._changing:
            if self._on_disk() == self._content:
                return None
            with self.log.held():
                return self._adopt()

    def _change(self, make: Callable[[str, Path_], str], at: Path_ | None, *, by: str, why: str, wanted: Any) -> Change:
        with self._changing, self.log.held():
            base = self._data
            self._adopt()
            if at is not None:
                at = held_against(same_place(at, base), base, self._data, wanted)
            mark = self._content[: len(self._content) - len(self._text.encode("utf-8"))]
            content = mark + make(self._text, at or ()).encode("utf-8")
            return self._write(content, by=by, what="", why=why)

    def _write(self, content: bytes, *, by: str, what: str, why: str, kind: str = "change") -> Change:
        build = read(content, self.file)
        if content == self._content:
            return Change(0, "", by, "nothing to change", why, ())
        if self._on_disk() != self._content:
            raise RefusedError(f"{self.file}: an editor wrote it just now. Look at it and try again.")
        what = what or said(self._build, build)
        entry = self.log.commit(self.file, self._content, content, by=by, what=what, why=why, kind=kind)
        return self._changed(entry, content, build)

    def _changed(self, entry: Entry, content: bytes, build: Build) -> Change:
        stages = outdated(self._memory, self._build, build)
        self._take(content, build)
        return Change(entry.number, entry.when, entry.by, entry.what, entry.why, stages)

    def _on_disk(self) -> bytes:
        return source(self.file)[1]

    def _adopt(self) -> Change | None:
        """Take over what an editor wrote. Raises ``BuildError`` where that is no build; then the desk stays as it was."""
        content = self._on_disk()
        if content == self._content:
            return None
        build = read(content, self.file)
        old, was = self._content, self._build
        entry = self._last_if(content)
        if entry is None:  # another desk's change is in the history already
            before, after = self.log.keep(old), self.log.keep(content)
            entry = self.log.add(by="outside", what=said(was, build), before=before, after=after)
        return self._changed(entry, content, build)

    def _last_if(self, content: bytes) -> Entry | None:
        last = self.log.read().last()
        return last if last is not None and last.after == mark_of(content) else None

    def _unknown(self) -> bool:
        """Whether the history ends with another state than the one that stands there."""
        last = self.log.read().last()
        return last is not None and last.after != self.mark

    def _note_outside(self) -> None:
        last = self.log.read().last()
        assert last is not None
        what = "changed while no desk was open"
        with suppress(PersonError):  # the state before may be lost, or no build of today's rules
            what = f"{what}: {said(read(self.log.state(last.after), self.file), self._build)}"
        self.log.add(by="outside", what=what, before=last.after, after=self.log.keep(self._content))

    def _step(self, by: str, kind: str, way: int) -> Change | None:
        with self._changing, self.log.held():
            self._adopt()
            past, future = self._turns()
            turns = past if way < 0 else future
            if not turns or (turns[-1].after if way < 0 else turns[-1].before) != self.mark:
                return None
            content = self.log.state(turns[-1].before if way < 0 else turns[-1].after)
            word = "taken back" if way < 0 else "made again"
            return self._write(content, by=by, what=f"{word}: {turns[-1].what}", why="", kind=kind)

    def _turns(self) -> tuple[list[Entry], list[Entry]]:
        """Changes that can be taken back, and those that can be made again; the next one last."""
        past: list[Entry] = []
        future: list[Entry] = []
        for entry in self.log.read().entries:
            if entry.kind == "undo" and past:
                future.append(past.pop())
            elif entry.kind == "redo" and future:
                past.append(future.pop())
            else:
                past.append(entry)
                future.clear()
        return past, future

    # Results

    def result(self, stage: str) -> Any:
        """What a stage gives now; None where it gives nothing."""
        return self._answered(stage)[1]

    def skipped(self, stage: str) -> str:
        """What a stage would need, or nothing."""
        return self._answered(stage)[0].skipped.get(stage, "")

    def findings(self, stage: str) -> tuple[Finding, ...]:
        """What a stage found, and why it stopped."""
        line, answer = self._answered(stage)
        return (*(answer.findings if answer is not None else ()), *line.stopped.get(stage, ()))

    def _answered(self, stage: str) -> tuple[Line, Any]:
        line = self._line  # a change that comes meanwhile makes another
        with self._working:
            return line, getattr(line, _stage(stage))

    def tried(self, place: str, **spot: Any) -> LayoutResult | None:
        """The comparison of places with one of them elsewhere (``position_m``, ``aim``), and nothing written."""
        build, memory = self._build, self._memory.copy()
        rows = tuple(item.model_copy(update=spot) if item.name == place else item for item in build.places)
        other = build.model_copy(update={"places": rows})
        files = FolderFiles(other, self.folder, unwatched, keep=memory)
        with self._working:
            return Line(other, files, unwatched, keep=memory).layout

    def results(self) -> Results:
        """Every stage."""
        line = self._line
        with self._working:
            return line.results()

    # Forms, history, long work

    def describe(self, path: str = "") -> tuple[FieldView, ...]:
        """The keys of the table at ``path``; nothing: of the top of the file. Findings are those that are known by now."""
        at = resolved(path, self._data) if path else ()
        known = [getattr(answer, "findings", ()) for name, answer in vars(self._line).items() if name in STAGES]
        stopped = list(self._line.stopped.values())
        found = tuple(item for items in (*known, *stopped) for item in items)
        return field_views(at, self._build, self._data, found)

    def rows(self, table: str) -> tuple[str, ...]:
        """Names of the rows of a table, in their order; empty for one that has none."""
        return row_names(resolved(table, self._data), self._data)

    def row_words(self, table: str) -> tuple[str, ...]:
        """What tells the rows of a table apart, in their order: names, or the first of what each says."""
        return row_words(resolved(table, self._data), self._data)

    def history(self) -> History:
        """Every change, and what is damaged."""
        return self.log.read()

    def state(self, number: int) -> str:
        """The text after entry ``number``."""
        return decode(self.log.state(self.log.read().mark(number)), str(self.file))

    def at(self, number: int) -> Build:
        """The build after entry ``number``. Raises ``PersonError`` where it is lost, or no build of today's rules."""
        return read(self.log.state(self.log.read().mark(number)), self.file)

    def compared(self, number: int) -> Comparison:
        """What differs from the state after entry ``number`` to now, in design and in result."""
        old = self.at(number)
        now, results, memory = self._build, self.results(), self._memory.copy()
        line = Line(old, FolderFiles(old, self.folder, unwatched, keep=memory), unwatched, keep=memory)
        return compared(old, now, line.results(), results)

    def start(self, kind: str, **options: Any) -> Job:
        """Begin long work on the build as it stands. A tune that is there is kept, to be compared with the next."""
        return Job(kind, self.file if self.file.name != FILE_NAME else self.folder, options)


def _stage(name: str) -> str:
    if name not in STAGES:
        raise RefusedError(f"{name}: no stage has this name. Choose {', '.join(STAGES)}.")
    return name
