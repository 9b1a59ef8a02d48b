"""Measured impedance sweeps of drive units: plain text or CSV with frequency, magnitude and perhaps phase on each line."""

from __future__ import annotations

import math
import re
from collections import defaultdict
from pathlib import Path

import numpy as np

from cabinwright.build.document import Build
from cabinwright.build.loudspeaker import ImpedanceCurve
from cabinwright.errors import PersonError, RecordingError
from cabinwright.findings import Finding, finding
from cabinwright.measure.audio import inside
from cabinwright.physics.impedance import Sweep

__all__ = ["parse_sweep", "read_sweeps"]

LIMIT_BYTES = 2_000_000
LIMIT_POINTS = 20_000
HIGHEST_HZ = 2000.0
"""Above it the coil is no pure inductance any more and tells nothing about the cone."""
CURE = "Write frequency in Hz, magnitude in ohm and, if measured, phase in degrees on each line, for example 31.5 18.4 -12."
WORDS = {
    "frequency": r"freq|\bk?hz\b",
    "magnitude": r"\bdb|decibel|imped|magn|\bohm|ω|\b\|?z\|?\b",
    "phase": r"phase|\bdeg|°|\brad",
}
"""How headings call the columns, in the order that is read."""
_NUMBER = re.compile(r"[+\-]?(?:\d|\.\d)")


def read_sweeps(build: Build, folder: Path) -> tuple[dict[str, list[Sweep]], tuple[Finding, ...]]:
    """Sweeps by name of the model, and a finding for each that cannot be read."""
    sweeps: dict[str, list[Sweep]] = defaultdict(list)
    findings = []
    for curve in build.impedance_curves:
        try:
            sweep = _read(curve, folder)
            sweeps[curve.model].append(sweep)
        except PersonError as error:
            findings.append(finding("enclosure.curve_unread", where=curve.model, reason=str(error).rstrip(".")))
    return dict(sweeps), tuple(findings)


def _read(curve: ImpedanceCurve, folder: Path) -> Sweep:
    path = inside(folder, curve.file)
    try:
        with path.open("rb") as stream:
            content = stream.read(LIMIT_BYTES + 1)
    except OSError as error:
        raise RecordingError(
            f"{curve.file}: cannot be read ({error.strerror or error}). Check its name and rights."
        ) from error
    if len(content) > LIMIT_BYTES:
        raise RecordingError(
            f"{curve.file}: larger than {LIMIT_BYTES // 1_000_000} MB, which no sweep is. Check the file."
        )
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = content.decode("latin-1")  # digits are the same in all of them
    if "\0" in text:
        raise RecordingError(f"{curve.file}: is no plain text. Save it as UTF-8.")
    return parse_sweep(text, file=curve.file, added_mass_kg=curve.added_mass_kg, box_volume_m3=curve.box_volume_m3)


def parse_sweep(
    text: str, *, file: str, added_mass_kg: float | None = None, box_volume_m3: float | None = None
) -> Sweep:
    """The sweep in ``text``; lines that begin with no number (comments) are passed over.

    Columns are parted by semicolons, tabs, blanks or commas, the first of these that a line has; where it is no comma, a
    comma is the decimal point. The line before the first numbers may head the columns: kHz and radians are understood,
    decibels and another order are refused. Points above 2 kHz are left out. Raises ``RecordingError`` with file, line
    and cure.
    """
    rows: list[tuple[float, float, float | None]] = []
    scales = (1.0, 1.0)
    heading = ""
    for number, line in enumerate(text.replace('"', "").splitlines(), start=1):
        if not _NUMBER.match(line.strip()):
            heading = line.strip().lower() or heading
            continue
        place = f"{file}, line {number}"
        if not rows:
            scales = _headed(heading, place=place)
        rows.append(_row(line.strip(), scales, place=place))
        if len(rows) > LIMIT_POINTS:
            raise RecordingError(f"{file}: more than {LIMIT_POINTS} points. Thin it out.")
    if any((row[2] is None) != (rows[0][2] is None) for row in rows):
        raise RecordingError(f"{file}: some lines have a phase and some have none. {CURE}")
    kept = [row for row in sorted(rows, key=lambda row: row[0]) if row[0] <= HIGHEST_HZ]
    if not kept:
        raise RecordingError(f"{file}: no line of frequency and magnitude up to {HIGHEST_HZ:g} Hz was found. {CURE}")
    frequency, magnitude = (np.asarray([row[column] for row in kept], dtype=np.float64) for column in (0, 1))
    phase = None if kept[0][2] is None else np.radians(np.asarray([row[2] for row in kept], dtype=np.float64))
    return Sweep(frequency, magnitude, phase, added_mass_kg, box_volume_m3)


def _headed(line: str, *, place: str) -> tuple[float, float]:
    """What frequencies and phases are to be multiplied with for Hz and degrees, by what is written over the columns."""
    heading = re.sub(r"\d[\d.,]*\s*[a-zω]+", "", line)  # "at 1 kHz" in a comment is no unit of a column
    found = {name: match.start() for name, word in WORDS.items() if (match := re.search(word, heading))}
    if len(found) < 2:
        return 1.0, 1.0  # no heading
    if re.search(r"\bdb|decibel", heading):
        cure = "Export the magnitude in ohm; decibels over 1 ohm are 20 log of it."
        raise RecordingError(f"{place}: the heading says decibels, and ohms are wanted. {cure}")
    order = sorted(found, key=lambda name: found[name])
    if order != list(found):
        raise RecordingError(f"{place}: the heading has its columns in the order {', '.join(order)}. {CURE}")
    return 1e3 if "khz" in heading else 1.0, math.degrees(1.0) if re.search(r"\brad", heading) else 1.0


def _row(line: str, scales: tuple[float, float], *, place: str) -> tuple[float, float, float | None]:
    try:
        words = _columns(line)
        numbers = [float(word) for word in words[:3]]
    except ValueError:
        raise RecordingError(f"{place}: numbers are wanted. {CURE}") from None
    if len(numbers) < 2 or not all(map(math.isfinite, numbers)):
        raise RecordingError(f"{place}: two or three numbers are wanted. {CURE}")
    if len(words) > 3 and "," in line and "." not in line and ";" not in line and not re.search(r"\s", line):
        raise RecordingError(f"{place}: commas part both columns and decimals. Part the columns by semicolons.")
    frequency, magnitude = numbers[0] * scales[0], numbers[1]
    phase = numbers[2] * scales[1] if len(numbers) > 2 else None
    if not 0.0 < frequency <= 200_000.0 or not 0.01 <= magnitude <= 10_000.0 or abs(phase or 0.0) > 360.0:
        raise RecordingError(f"{place}: frequency above 0, magnitude 0.01 to 10 000 ohm, phase within 360°. {CURE}")
    return frequency, magnitude, phase


def _columns(line: str) -> list[str]:
    for mark in (";", "\t"):
        if mark in line:
            return [word.strip().replace(",", ".") for word in line.split(mark) if word.strip()]
    words = re.split(r",?\s+", line)
    if len(words) > 1:
        return [word.replace(",", ".") for word in words]
    return line.split(",")
