"""The microphone's calibration: plain text, frequency and level on each line.

A measuring microphone is very nearly a minimum-phase system, so its level errors come with the phase that belongs to
them, and both are taken out together: the correction is the minimum-phase filter (Oppenheim and Schafer, Discrete-Time
Signal Processing, ch. 12: folded cepstrum) of the inverse level. Outside the band of the file its end values are held:
less is wrong there than with a jump back to nothing, and the phase inside the band stays smooth.
"""

from __future__ import annotations

import codecs
import math
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, rfft

from cabinwright.build.document import Build
from cabinwright.errors import RecordingError
from cabinwright.findings import Finding, finding
from cabinwright.measure.audio import inside
from cabinwright.measure.roles import core_band_hz

__all__ = ["Calibration", "parse_calibration", "read_calibration", "uncovered"]

LIMIT_BYTES = 2_000_000
LIMIT_DB = 60.0
SLACK = 1.13  #: half a third octave short of a band's end is as good as the end


@dataclass(frozen=True)
class Calibration:
    """Level of the microphone [dB] at rising frequencies [Hz], each of shape ``(points,)``."""

    frequency_hz: NDArray[np.float64]
    level_db: NDArray[np.float64]

    def correction(self, *, size: int, sample_rate_hz: float) -> NDArray[np.complex128]:
        """Minimum-phase correction at the ``size // 2 + 1`` bins of a real transform of ``size`` samples."""
        fine = 4 * size  # keeps the folded cepstrum free of wrap-around
        frequency = np.fft.rfftfreq(fine, 1.0 / sample_rate_hz)
        log_f = np.log(np.maximum(frequency, 1e-3))
        log_gain = -np.interp(log_f, np.log(self.frequency_hz), self.level_db) * math.log(10.0) / 20.0
        cepstrum = irfft(log_gain, n=fine)
        cepstrum[1 : fine // 2] *= 2.0
        cepstrum[fine // 2 + 1 :] = 0.0
        return np.asarray(np.exp(rfft(cepstrum))[::4])


def read_calibration(folder: Path, file: str) -> Calibration:
    """Read the calibration ``file`` of the build in ``folder``. Raises ``RecordingError`` with file, line and cure."""
    path = inside(folder, file)
    try:
        with path.open("rb") as stream:
            content = stream.read(LIMIT_BYTES + 1)
    except OSError as error:
        raise RecordingError(f"{file}: cannot be read ({error.strerror or error}). Check its rights.") from error
    if len(content) > LIMIT_BYTES:
        raise RecordingError(f"{file}: over {LIMIT_BYTES / 1e6:.0f} MB; a calibration is a short text. Check the name.")
    return parse_calibration(_text(content, file), file=file)


def _text(content: bytes, file: str) -> str:
    """UTF-8, UTF-16 that says so at its beginning, or any 8-bit encoding: digits are the same in all of them."""
    wide = content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    if not wide and b"\0" in content:
        raise RecordingError(
            f"{file}: is UTF-16 without a byte-order mark, or no text at all; plain text is expected. Save it as UTF-8."
        )
    try:
        return content.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError as error:
        if wide:
            raise RecordingError(f"{file}: damaged UTF-16 text ({error.reason}). Save it as UTF-8.") from error
        return content.decode("latin-1")


def uncovered(build: Build, calibration: Calibration, *, file: str) -> list[Finding]:
    """A finding where ``calibration`` leaves out part of what the build's loudspeakers play."""
    bands = [core_band_hz((item,)) for item in build.speakers]
    low, high = min((band[0] for band in bands), default=20.0), max((band[1] for band in bands), default=20_000.0)
    first, last = float(calibration.frequency_hz[0]), float(calibration.frequency_hz[-1])
    parts: list[str] = []
    if first > SLACK * low:
        parts.append(f"{low:.5g} to {first:.5g} Hz")
    if last < high / SLACK:
        parts.append(f"{last:.5g} to {high:.5g} Hz")
    if not parts:
        return []
    covered = f"{first:.5g} to {last:.5g} Hz"
    return [finding("recording-calibration", where=file, value=covered, limit=" and ".join(parts), unit="Hz")]


def parse_calibration(text: str, *, file: str) -> Calibration:
    """Read lines of frequency [Hz] and level [dB]; further columns (phase) are ignored.

    Blank lines, and lines that begin with anything but a number (comments, headings), are skipped. Columns are parted
    by semicolons, tabs, blanks or commas, the first of these that the line has; where it is no comma, a comma is the
    decimal point.
    Raises ``RecordingError`` with line, rule, what was got and the cure.
    """
    rows: list[tuple[float, float]] = []
    for number, line in enumerate(text.splitlines(), start=1):
        line = line.strip()
        if not line or not re.match(r"[+-]?\.?\d", line):
            continue
        rows.append(_row(line, place=f"{file}:{number}"))
        if len(rows) > 1 and rows[-1][0] <= rows[-2][0]:
            raise RecordingError(
                f"{file}:{number}: frequencies must rise from line to line, got {rows[-1][0]:g} Hz after"
                f" {rows[-2][0]:g} Hz. Sort the lines and remove doubles."
            )
    if len(rows) < 2:
        raise RecordingError(
            f"{file}: {len(rows)} lines of frequency and level found, at least 2 are needed. Write one pair on each line, "
            "for example: 1000 0.3"
        )
    table = np.asarray(rows)
    return Calibration(frequency_hz=table[:, 0], level_db=table[:, 1])


def _columns(line: str) -> list[str]:
    """The columns of a line with decimal points. A comma beside a blank parts columns as the blank does."""
    for mark in (";", "\t"):
        if mark in line:
            words = [word.strip(" \t,") for word in line.split(mark)]
            return [word.replace(",", ".") for word in words if word or mark == ";"]
    words = re.split(r",?\s+,?", line)
    if len(words) > 1:
        return [word.strip(",").replace(",", ".") for word in words]
    words = line.split(",")
    # 20,0,1,5 may be two numbers with decimal commas: nothing is guessed.
    return words if len(words) != 4 or "." in line else []


def _row(line: str, *, place: str) -> tuple[float, float]:
    shown = line if len(line) <= 60 else line[:59] + "…"
    words = _columns(line)
    try:
        frequency, level = float(words[0]), float(words[1])
    except (ValueError, IndexError):
        raise RecordingError(
            f'{place}: frequency and level expected, got "{shown}". Write two numbers with a blank between them.'
        ) from None
    if not 0.0 < frequency <= 1e6:
        raise RecordingError(f"{place}: a frequency lies above 0 Hz and below 1 MHz, got {words[0]}. Correct the line.")
    if not abs(level) <= LIMIT_DB:
        raise RecordingError(f"{place}: a level lies within ±{LIMIT_DB:.0f} dB, got {words[1]}. Correct the line.")
    return frequency, level
