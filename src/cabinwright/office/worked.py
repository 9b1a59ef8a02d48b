"""A job's build as it is now: its bytes, and what every stage gives for it. Nothing is written into its folder."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from cabinwright.build.codec import FILE_NAME, parse, source
from cabinwright.build.document import Build
from cabinwright.errors import PersonError
from cabinwright.findings import Finding
from cabinwright.history.log import mark_of
from cabinwright.measure.folder import FolderFiles
from cabinwright.pipeline import STAGES, Line, Results
from cabinwright.shop.rows import Job
from cabinwright.shop.store import Store, found_row

__all__ = ["Progress", "Worked", "folder_of", "stops", "unwatched", "worked_out"]

Progress = Callable[[str, float], None]


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
    return Worked(folder, content, build, Line(build, FolderFiles(build, folder, progress), progress).results())


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
        return Path(job.folder)
