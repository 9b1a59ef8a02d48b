"""A job's build as it is now: its bytes, and what every stage gives for it. Nothing is written into its folder.

What was worked out is kept, for a few builds, under the build's bytes and the size and time of every file that it names: asked
again, a build that nobody touched answers at once. What another process worked out is taken over by ``remember``.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from cabinwright.build.codec import FILE_NAME, parse, source
from cabinwright.build.document import Build
from cabinwright.errors import PersonError
from cabinwright.findings import Finding
from cabinwright.history.log import mark_of
from cabinwright.measure.folder import FolderFiles
from cabinwright.pipeline import STAGES, Line, Results, wiring
from cabinwright.shop.rows import Job
from cabinwright.shop.store import Store, found_row
from cabinwright.stages.power.result import PowerResult

__all__ = [
    "Progress",
    "Worked",
    "folder_of",
    "kept_of",
    "known",
    "remember",
    "stops",
    "unwatched",
    "wired",
    "worked_out",
]

Progress = Callable[[str, float], None]
Key = tuple[object, ...]
MOST_KEPT = 8  #: builds; some megabytes each

_kept: OrderedDict[Key, Worked] = OrderedDict()
_lock = threading.Lock()


def unwatched(what: str, share: float) -> None:
    """Progress that nobody looks at."""


@dataclass(frozen=True)
class Worked:
    """One build, worked out."""

    folder: Path
    content: bytes
    build: Build
    results: Results

    @property
    def mark(self) -> str:
        """Of its bytes."""
        return mark_of(self.content)

    @property
    def text(self) -> str:
        """As it is kept with the job."""
        return self.content.decode("utf-8")


def worked_out(path: Path, progress: Progress = unwatched) -> Worked:
    """Read a build folder, or the ``build.toml`` in it, once, and run every stage whose inputs are there.

    Raises ``BuildError``.
    """
    file, content = source(path)
    build = parse(content, file=str(file))
    folder = path if path.is_dir() else path.parent
    files = FolderFiles(build, folder, progress)
    key = _key(file, content, files)
    with _lock:
        found = _kept.get(key)
    if found is None:
        found = Worked(folder, content, build, Line(build, files, progress).results())
        remember({key: found})
    return found


def known(path: Path) -> Worked | None:
    """What was worked out of a build as it lies there now; None where that is still to be done. Raises ``BuildError``."""
    return next(iter(kept_of((path,)).values()), None)


def kept_of(paths: Sequence[Path]) -> dict[Key, Worked]:
    """Those of some builds that are known as they lie there now. Raises ``BuildError``."""
    keys = []
    for path in paths:
        file, content = source(path)
        folder = path if path.is_dir() else path.parent
        keys.append(_key(file, content, FolderFiles(parse(content, file=str(file)), folder, unwatched)))
    with _lock:
        found = {key: _kept[key] for key in keys if key in _kept}
    remember(found)
    return found


def wired(path: Path) -> tuple[Build, PowerResult | None]:
    """A build and its electrical system alone, which takes far less than all of it. Raises ``BuildError``."""
    found = known(path)
    if found is not None:
        return found.build, found.results.power
    file, content = source(path)
    build = parse(content, file=str(file))
    return build, wiring(build)


def remember(more: Mapping[Key, Worked]) -> None:
    """Keep what was worked out; of too many the one that was asked for longest ago is let go."""
    with _lock:
        for key, item in more.items():
            _kept[key] = item
            _kept.move_to_end(key)
        while len(_kept) > MOST_KEPT:
            _kept.popitem(last=False)


def _key(file: Path, content: bytes, files: FolderFiles) -> Key:
    return (str(file.absolute()), mark_of(content), files.stamp)


def stops(build: Build, results: Results) -> tuple[Finding, ...]:
    """Every ``stop`` that is open, stage by stage, each once; those of places without a loudspeaker stop nobody."""
    speakers = {speaker.name for speaker in build.speakers}
    spare = tuple(place.name for place in build.places if place.name not in speakers)
    found: dict[tuple[str, str, str], Finding] = {}
    for stage in STAGES:
        answer = getattr(results, stage)
        for item in (*getattr(answer, "findings", ()), *results.stopped.get(stage, ())):
            if item.severity == "stop" and not (stage == "layout" and _of(item.where, spare)):
                found.setdefault((item.code, item.where, item.message), item)
    return tuple(found.values())


def _of(where: str, places: tuple[str, ...]) -> bool:
    return any(where == name or where.startswith(f"{name} and ") for name in places)


def folder_of(store: Store, job_id: int, folder: Path | None) -> Path:
    """Where a job's build is. Raises ``PersonError`` where nobody said."""
    if folder is not None:
        return folder
    with store.read() as work:
        job = found_row(work, Job, job_id)
        if not job.folder:
            raise PersonError(
                f"{job.number} names no build folder. Give the job the folder that holds its {FILE_NAME}."
            )
        place = Path(job.folder)
        if not (place.is_dir() or place.suffix == ".toml"):
            raise PersonError(f"{job.number}: {place} is no folder any more. Give the job the folder of its build.")
        return place
