"""The microphone's calibration: plain text, frequency and level on each line.

A measuring microphone is very nearly a minimum-phase system, so its level errors come with the phase that belongs to
them, and both are taken out together: the correction is the minimum-phase filter (Oppenheim and Schafer, Discrete-Time
Signal Processing, ch. 12: folded cepstrum) of the inverse level. Outside the band of the file its end values are
held, so nothing is corrected that nobody measured.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, rfft

from cabinwright.errors import RecordingError
from cabinwright.measure.audio import inside

__all__ = ["Calibration", "parse_calibration", "read_calibration"]

LIMIT_BYTES = 2_000_000
LIMIT_DB = 60.0
SPLIT = re.compile(r"[,;\s]+")


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
    if path.stat().st_size > LIMIT_BYTES:
        raise RecordingError(f"{file}: over {LIMIT_BYTES / 1e6:.0f} MB; a calibration is a short text. Check the name.")
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        text = path.read_bytes().decode("latin-1")
    except OSError as error:
        raise RecordingError(f"{file}: cannot be read ({error.strerror or error}). Check its rights.") from error
    return parse_calibration(text, file=file)


def parse_calibration(text: str, *, file: str) -> Calibration:
    """Read lines of frequency [Hz] and level [dB]; further columns (phase) are ignored.

    Blank lines, and lines that begin with anything but a number (comments, headings), are skipped. Columns are parted
    by blanks, tabs, commas or semicolons; a decimal comma is understood where blanks or semicolons part the columns.
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
                f" {rows[-2][0]:g} Hz. "
                "Sort the lines and remove doubles."
            )
    if len(rows) < 2:
        raise RecordingError(
            f"{file}: {len(rows)} lines of frequency and level found, at least 2 are needed. Write one pair on"
            " each line, "
            "for example: 1000 0.3"
        )
    table = np.asarray(rows)
    return Calibration(frequency_hz=table[:, 0], level_db=table[:, 1])


def _row(line: str, *, place: str) -> tuple[float, float]:
    shown = line if len(line) <= 60 else line[:59] + "…"
    words = [word for word in SPLIT.split(line) if word]
    if re.match(r"[^,]*\d,\d+[;\s]+[+-]?\d+,\d", line) or re.match(r"[+-]?[\d.]+[;\s]+[+-]?\d+,\d", line):
        words = [word.replace(",", ".") for word in re.split(r"[;\s]+", line) if word]
    try:
        frequency, level = float(words[0]), float(words[1])
    except (ValueError, IndexError):
        raise RecordingError(f'{place}: frequency and level expected, got "{shown}". Write two numbers.') from None
    if not 0.0 < frequency <= 1e6:
        raise RecordingError(f"{place}: a frequency lies above 0 Hz and below 1 MHz, got {words[0]}. Correct the line.")
    if not abs(level) <= LIMIT_DB:
        raise RecordingError(f"{place}: a level lies within ±{LIMIT_DB:.0f} dB, got {words[1]}. Correct the line.")
    return frequency, level
