"""Measured polars of places: plain text with angle, frequency and level on each line.

The points need not lie on a grid: levels are brought to one by straight lines over the logarithm of frequency at each
angle, and each angle's level on its own axis is taken as it is written (write 0 at 0 degrees).
"""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np

from cabinwright.build.document import Build
from cabinwright.errors import RecordingError
from cabinwright.measure.audio import inside
from cabinwright.physics.directivity import Polar

__all__ = ["parse_polar", "read_polars"]

LIMIT_BYTES = 2_000_000
LIMIT_DB = 80.0
_SPLIT = re.compile(r"[\s,;]+")
CURE = "Write angle in degrees, frequency in Hz and level in dB on each line, for example 30 2000 -1.6."


def read_polars(build: Build, folder: Path) -> dict[str, Polar]:
    """The polar of every place that names a file. Raises ``RecordingError`` with file, line and cure."""
    return {place.name: _read(folder, place.polar) for place in build.places if place.polar is not None}


def _read(folder: Path, file: str) -> Polar:
    path = inside(folder, file)
    try:
        with path.open("rb") as stream:
            content = stream.read(LIMIT_BYTES + 1)
    except OSError as error:
        raise RecordingError(
            f"{file}: cannot be read ({error.strerror or error}). Check its name and rights."
        ) from error
    if len(content) > LIMIT_BYTES:
        raise RecordingError(f"{file}: larger than {LIMIT_BYTES // 1_000_000} MB, which no polar is. Check the file.")
    try:
        return parse_polar(content.decode("utf-8-sig"), file=file)
    except UnicodeDecodeError:
        raise RecordingError(f"{file}: the text is not UTF-8. Save it again with the encoding UTF-8.") from None


def parse_polar(text: str, *, file: str = "polar") -> Polar:
    """The polar in ``text``; lines that begin with a sign that is no number are passed over. Raises ``RecordingError``."""
    rows: dict[float, list[tuple[float, float]]] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        words = [word for word in _SPLIT.split(line.strip()) if word]
        if not words or not re.match(r"[+\-.\d]", words[0]):
            continue
        try:
            angle, frequency, level = (float(word) for word in words[:3])
        except ValueError:
            raise RecordingError(f"{file}, line {number}: three numbers are wanted. {CURE}") from None
        sane = all(map(math.isfinite, (angle, frequency, level))) and 0.0 <= angle <= 180.0
        if not sane or not 0.0 < frequency <= 200_000.0 or abs(level) > LIMIT_DB:
            raise RecordingError(
                f"{file}, line {number}: angle 0 to 180, frequency above 0, level within 80 dB. {CURE}"
            )
        rows.setdefault(angle, []).append((frequency, level))
    if len(rows) < 2 or 0.0 not in rows:
        raise RecordingError(f"{file}: needs the axis (angle 0) and one angle more. {CURE}")
    grid = np.unique([f for line in rows.values() for f, _ in line])
    angles = np.asarray(sorted(rows))
    table = []
    for angle in angles:
        frequency, level = np.asarray(sorted(rows[angle])).T
        table.append(np.interp(np.log(grid), np.log(frequency), level))
    return Polar(np.radians(angles), grid, np.asarray(table))
