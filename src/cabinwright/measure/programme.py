"""Recordings of what sources play, for how loud each is."""

from __future__ import annotations

from collections.abc import Callable
from math import isfinite
from pathlib import Path

from cabinwright.build.document import Build
from cabinwright.errors import RecordingError
from cabinwright.findings import Finding, finding
from cabinwright.measure.audio import read_audio
from cabinwright.physics.loudness import BLOCK_S, loudness

__all__ = ["read_programmes"]

SHORT_S = 10.0  #: less than this is no programme but a moment of it


def read_programmes(
    build: Build, folder: Path, progress: Callable[[str, float], None] | None = None
) -> tuple[dict[str, float], tuple[Finding, ...]]:
    """Loudness [LUFS] by the name of each source that has a ``programme``, and what was wrong with the others.

    A file that cannot be used is a finding, and its source goes by what the build states or common practice.
    """
    rows = [row for row in build.sources if row.programme is not None]
    found, doubts = dict[str, float](), list[Finding]()
    for number, row in enumerate(rows):
        if progress:
            progress("measuring loudness", number / len(rows))
        try:
            found[row.name], long_s = _measure(folder, str(row.programme))
        except RecordingError as error:
            doubts.append(finding("signal.programme_unusable", where=row.name, reason=str(error)))
            continue
        if long_s < SHORT_S:
            doubts.append(
                finding("signal.programme_short", where=row.name, value=round(long_s, 1), limit=SHORT_S, unit="s")
            )
    return found, tuple(doubts)


def _measure(folder: Path, file: str) -> tuple[float, float]:
    audio = read_audio(folder, file, max_channels=2)
    long_s = len(audio.samples) / audio.sample_rate_hz
    if long_s < BLOCK_S:
        raise RecordingError(
            f"{file}: {long_s:.2f} s long, at least {BLOCK_S} s are measured. Record a minute of music."
        )
    level = loudness(audio.samples, sample_rate_hz=audio.sample_rate_hz).integrated_lufs
    if not isfinite(level):
        raise RecordingError(f"{file}: silent, or too quiet to be measured. Record it at the source's own full scale.")
    return level, long_s
