"""Large studies of builds: places by the hundred thousand, and every build of a folder tuned anew."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor
from contextlib import AbstractContextManager
from dataclasses import asdict, dataclass
from functools import partial
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cabinwright import __version__
from cabinwright.build.codec import FILE_NAME
from cabinwright.errors import PersonError, RefusedError
from cabinwright.files import write_all, write_lines
from cabinwright.handover.study_page import study_html
from cabinwright.measure.polars import read_polars
from cabinwright.session import Session
from cabinwright.stages import layout, survey, tuning
from cabinwright.stages.layout.wide import SEED, Grid, Wide, batch, spots_of
from cabinwright.studies.keep import StudyFolder
from cabinwright.studies.places import Outcome, batches, outcome, table
from cabinwright.studies.run import cluster, processes, worked

__all__ = ["Retuned", "retuned", "study_places", "where_to_work"]

Progress = Callable[[str, float], None]
Where = Callable[[], AbstractContextManager[tuple[Executor, int]]]
TYPED_M = (
    0.005  #: standard deviation of a position that was typed rather than surveyed: a tape's; common practice, no source
)
MOST_BUILDS = 10_000


def where_to_work(*, workers: int | None = None, scheduler: str | None = None) -> Where | None:
    """Where batches run: on a cluster, in processes (one for each core unless said otherwise), or here for one worker."""
    if scheduler:
        return partial(cluster, scheduler)
    return None if workers == 1 else partial(processes, workers)


def study_places(
    path: Path, grid: Grid, progress: Progress, *, role: str = "", size: int = 8, where: Where | None = None
) -> tuple[Outcome, tuple[Path, ...]]:
    """Try every spot and aim of a grid and write ``out/study.html`` and ``out/study.csv``. Raises ``RefusedError``."""
    session = Session.open(path)
    study = _made_ready(session, grid)
    spots = spots_of(study.build, grid, role=role)
    items = batches(spots, size)
    if not items:
        raise RefusedError(
            "Nothing may be where any of these spots is: an airbag's way, or another volume that must stay free."
        )
    folder = StudyFolder(session.folder / "studies", _asked(study, role, size))
    worked(batch, study.ready(), items, folder, progress, where=where)
    progress("reading the outcome", 1.0)
    places = {place.name: place for place in study.build.places}
    result = outcome(folder, spots, items, places)
    page = study_html(study.build, result, grid, seat=layout.listening_seat(study.build))
    rows = session.out / "study.csv"
    write_lines(rows, table(folder, items))
    return result, (*write_all(session.out, {"study.html": page}), rows)


def _made_ready(session: Session, grid: Grid) -> Wide:
    build, located = session.build, session.located
    surveyed = survey.run(build) if survey.has_names(build) else None
    names = survey.named_places(build) if surveyed is not None else {}

    def doubt(where: str) -> tuple[float, float, float]:
        point = names.get(where)
        return surveyed.points[point].sigma_m if surveyed is not None and point is not None else (TYPED_M,) * 3

    seat = layout.listening_seat(located) if build.seats else ""
    number = next((k for k, item in enumerate(build.seats) if item.name == seat), 0)
    head = doubt(f"seats[{number}].head_m")
    return Wide(
        build=located,
        grid=grid,
        mount_m={place.name: place.position_sigma_m for place in build.places},
        survey_m={
            place.name: tuple(np.hypot(head, doubt(f"places[{k}].position_m")).tolist())
            for k, place in enumerate(build.places)
        },
        polars=read_polars(build, session.folder),
    )


def _asked(study: Wide, role: str, size: int) -> dict[str, Any]:
    """All that the answer depends on. What of the build cannot be heard is left out, so that its words may change."""
    keep = {"cabin", "seats", "places", "tuning", "vehicle"}
    return {
        "kind": "places",
        "version": __version__,
        "seed": SEED,
        "role": role,
        "batch": size,
        "grid": asdict(study.grid),
        "mount_m": dict(study.mount_m),
        "survey_m": {name: list(value) for name, value in study.survey_m.items()},
        "polars": {name: sha256(repr(polar).encode()).hexdigest() for name, polar in study.polars.items()},
        "build": study.build.model_dump(mode="json", include=keep, warnings=False),
    }


@dataclass(frozen=True)
class Retuned:
    """One build tuned anew."""

    build: str  #: its folder, below the one that was named
    was: str  #: fingerprint of the settings that lie beside it; empty where there are none
    now: str
    error_was_db: dict[str, float]  #: by sum, before any tune
    error_now_db: dict[str, float]
    refused: str  #: why it gave no settings


def retuned(folder: Path, progress: Progress, *, where: Where | None = None) -> tuple[tuple[Retuned, ...], Path]:
    """Tune every build below ``folder`` with today's defaults and hold it against what lies beside it; writes one table.

    Nothing in a build changes. Raises ``PersonError`` where there is no build below ``folder``.
    """
    builds = sorted(file.parent for file in folder.rglob(FILE_NAME))[: MOST_BUILDS + 1]
    if not builds:
        raise PersonError(f"{folder}: no {FILE_NAME} in it or below. Name the folder that holds the shop's builds.")
    if len(builds) > MOST_BUILDS:
        raise PersonError(f"{folder}: more than {MOST_BUILDS} builds. Take them in parts.")
    names = [build.relative_to(folder).as_posix() for build in builds]
    items = [((str(folder.resolve()), name),) for name in names]
    asked = {"kind": "retune", "version": __version__, "builds": {name: _mark(folder / name) for name in names}}
    kept = StudyFolder(folder / "studies", asked)
    worked(_retune, None, items, kept, progress, where=where)
    rows = []
    for number in range(len(items)):
        arrays = kept.get(number)
        assert arrays is not None  # ``worked`` kept every one
        rows.append(Retuned(**json.loads(str(arrays["row"]))))
    page = folder / "studies" / "retune.json"
    write_lines(page, [json.dumps([asdict(row) for row in rows], indent=1, ensure_ascii=False)])
    return tuple(rows), page


def _mark(folder: Path) -> str:
    """Of the build and of how its recordings lie there: names, sizes and times."""
    seen = sha256((folder / FILE_NAME).read_bytes())
    for path in _audio(folder):
        stat = path.stat()
        seen.update(f"{path.name} {stat.st_size} {stat.st_mtime_ns}".encode())
    return seen.hexdigest()


def _audio(folder: Path) -> Iterator[Path]:
    yield from sorted(path for path in folder.rglob("*") if path.suffix.lower() in (".wav", ".flac") and path.is_file())


def _retune(_: None, items: Sequence[tuple[str, str]]) -> dict[str, NDArray[Any]]:
    """Run by a worker, which has to see the same folder."""
    ((parent, name),) = items
    folder = Path(parent) / name
    row: dict[str, Any] = {"build": name, "was": "", "now": "", "error_was_db": {}, "error_now_db": {}, "refused": ""}
    try:
        old = folder / "out" / "settings.json"
        row["was"] = str(json.loads(old.read_text(encoding="utf-8")).get("fingerprint", "")) if old.exists() else ""
        session = Session.open(folder)
        result = tuning.run(session.located, session.recordings())
        row["now"] = result.settings.fingerprint
        row["error_was_db"] = dict(result.metrics.error_before_db)
        row["error_now_db"] = dict(result.metrics.error_after_db)
    except (PersonError, OSError, ValueError) as error:
        row["refused"] = str(error)
    return {"row": np.array(json.dumps(row, ensure_ascii=False))}
