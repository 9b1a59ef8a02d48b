"""What the files of a build folder hold, for the stages that ask: each read when it is asked for, and again when it changed."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cache, cached_property
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel

from cabinwright.build.document import Build
from cabinwright.build.fields import PathRule
from cabinwright.build.shape import marker_in
from cabinwright.errors import PersonError
from cabinwright.findings import Finding
from cabinwright.measure.factory import read_factory
from cabinwright.measure.hollows import read_hollows
from cabinwright.measure.impedance import read_sweeps
from cabinwright.measure.loaded import read_settings_file
from cabinwright.measure.outlines import read_drawings
from cabinwright.measure.polars import read_polars
from cabinwright.measure.programme import read_programmes
from cabinwright.measure.reader import read_recordings
from cabinwright.physics.directivity import Polar
from cabinwright.physics.factory import FactoryResponses
from cabinwright.physics.impedance import Sweep
from cabinwright.physics.outline import Drawn
from cabinwright.physics.response import RecordedResponses
from cabinwright.physics.solid import Mesh
from cabinwright.pipeline import Files, crashed
from cabinwright.stages import survey
from cabinwright.stages.memory import Keeper, afresh
from cabinwright.stages.tuning.settings import Settings

__all__ = ["FolderFiles"]

Answer = TypeVar("Answer")
Stamp = tuple[tuple[str, int, int], ...]


class FolderFiles(Files):
    """The files of one build folder, for one state of its build."""

    def __init__(
        self, build: Build, folder: Path, progress: Callable[[str, float], None], *, keep: Keeper = afresh
    ) -> None:
        self.build = build
        self.folder = folder
        self._progress = progress
        self._keep = keep

    def recordings(self) -> RecordedResponses | None:
        """Responses of every channel, judged; None where none are listed."""
        return self._recordings if self.build.recordings else None

    @cached_property
    def _recordings(self) -> RecordedResponses:
        there = self.build
        if survey.has_names(there):
            there = survey.located(there, self._keep("survey", survey.run, there))
        if there.tuning is not None:  # what a tune aims at is taken away: no recording is read anew because of it
            there = there.model_copy(
                update={"tuning": there.tuning.model_copy(update={"house_curve": None, "crossovers": ()})}
            )
        return self._read(
            "recordings",
            lambda build: read_recordings(build, self.folder, kind="tuning", progress=self._progress),
            there,
        )

    def loaded(self) -> Settings | None:
        """What ``out/settings.json`` holds; None where there is none, or none that can be read."""
        file = self.folder / "out" / "settings.json"
        try:
            found = file.stat()
            read: Settings = self._keep(
                "files: loaded",
                lambda there, stamp: read_settings_file(file),
                self.build,
                (str(file.absolute()), found.st_size, found.st_mtime_ns),
            )
            return read
        except (OSError, PersonError):
            return None

    def polars(self) -> Mapping[str, Polar] | None:
        """Measured polars. Raises ``RecordingError``."""
        return self._read("polars", lambda build: read_polars(build, self.folder))

    def captured(self) -> tuple[FactoryResponses | None, tuple[Finding, ...]]:
        """The radio's captures."""
        if not self.build.factory_recordings:
            return None, ()
        try:
            return self._captured, ()
        except Exception as error:
            return None, (crashed("signal", error),)

    @cached_property
    def _captured(self) -> FactoryResponses:
        return self._read("captures", lambda build: read_factory(build, self.folder, self._progress))

    def programmes(self) -> tuple[Mapping[str, float], tuple[Finding, ...]]:
        """Loudness of the sources' programmes."""
        return self._read("programmes", lambda build: read_programmes(build, self.folder, self._progress))

    def sweeps(self) -> tuple[Mapping[str, Sequence[Sweep]], tuple[Finding, ...]]:
        """Impedance sweeps."""
        return self._read("sweeps", lambda build: read_sweeps(build, self.folder))

    def drawn(self) -> Mapping[str, Drawn | str] | None:
        """Panels' drawings."""
        return self._read("drawings", lambda build: read_drawings(build, self.folder))

    def hollows(self) -> Mapping[str, Drawn | Mesh | str] | None:
        """Shapes of boxes and their openings."""
        return self._read("hollows", lambda build: read_hollows(build, self.folder))

    def _read(self, name: str, work: Callable[[Build], Answer], build: Build | None = None) -> Answer:
        """What ``work`` reads, or what it read when the same rows named the same files."""
        answer: Answer = self._keep(
            f"files: {name}", lambda there, stamp: work(there), build or self.build, self._stamp
        )
        return answer

    @property
    def stamp(self) -> Stamp:
        """Changes with every file that a stage may read: those that the build names, and the settings that were loaded."""
        try:
            found = (self.folder / "out" / "settings.json").stat()
        except OSError:
            return self._stamp
        return (*self._stamp, ("out/settings.json", found.st_size, found.st_mtime_ns))

    @cached_property
    def _stamp(self) -> Stamp:
        """The folder, and size and time of every file that the build names: what tells that one was replaced."""
        rows = [(str(self.folder.absolute()), 0, 0)]
        for name in sorted(set(_files(self.build))):
            try:
                found = (self.folder / name).stat()
                rows.append((name, found.st_size, found.st_mtime_ns))
            except OSError:
                rows.append((name, -1, 0))
        return tuple(rows)


def _files(value: Any) -> Iterator[str]:
    """Every path that a build names."""
    if isinstance(value, BaseModel):
        for key, path in _fields(type(value)):
            item = getattr(value, key)
            if path and isinstance(item, str):
                yield item
            elif isinstance(item, BaseModel | tuple):
                yield from _files(item)
    elif isinstance(value, tuple):
        for item in value:
            yield from _files(item)


@cache
def _fields(model: type[BaseModel]) -> tuple[tuple[str, bool], ...]:
    return tuple(
        (key, marker_in(PathRule, field.annotation, field.metadata) is not None)
        for key, field in model.model_fields.items()
    )
