"""Tunes that lie in a build's folder, and two of them held against each other."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build
from cabinwright.errors import PersonError, RefusedError
from cabinwright.history.design import Difference
from cabinwright.history.figures import settings_differences
from cabinwright.measure.loaded import TUNES, read_settings_file
from cabinwright.measure.reader import read_recordings
from cabinwright.stages import survey
from cabinwright.stages.tuning.beside import beside
from cabinwright.stages.tuning.result import SumCurves

__all__ = ["Beside", "tunes", "tunes_beside"]

NEWEST = "out/settings.json"
KEPT = f"out/{TUNES}"
LOADED = "verification/loaded_settings.json"


@dataclass(frozen=True)
class Beside:
    """What differs between two tunes, and what each gives on today's recordings."""

    differences: tuple[Difference, ...]
    band_centres_hz: NDArray[np.float64]
    sums: Mapping[str, SumCurves]  #: ``before_db`` is the first tune, ``after_db`` the second


def tunes(folder: Path) -> dict[str, str]:
    """Files that hold settings, with their fingerprints; the newest first. What is no settings file is passed over."""
    kept = sorted((folder / KEPT).glob("*.json"), key=lambda path: path.stat().st_mtime, reverse=True)
    found: dict[str, str] = {}
    for file in (NEWEST, *(f"{KEPT}/{path.name}" for path in kept), LOADED):
        try:
            mark = read_settings_file(folder / file).fingerprint
        except PersonError:
            continue
        if mark not in found.values():
            found[file] = mark
    return found


def tunes_beside(build: Build, folder: Path, one: str, other: str) -> Beside:
    """Two of ``tunes`` on today's recordings. Raises ``PersonError``."""
    known = tunes(folder)
    for file in (one, other):
        if file not in known:
            raise RefusedError(f"{file}: holds no settings any more. Choose one of {', '.join(known) or 'none'}.")
    first, second = (read_settings_file(folder / file) for file in (one, other))
    located = survey.locate(build)
    band, sums = beside(located, read_recordings(located, folder), first, second)
    return Beside(settings_differences(first, second), band, sums)
