"""A piece of music or speech of the person's own, or a sound of ours, as blocks of stereo at one rate. Never whole in memory."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray

from cabinwright.errors import RecordingError
from cabinwright.measure.audio import AGAIN, FORMATS, STEPS, complete
from cabinwright.physics.partitioned import BLOCK
from cabinwright.physics.stimuli import STIMULI, stimulus

__all__ = ["LONGEST_S", "Track", "open_track", "seconds_of"]

Real = NDArray[np.float64]
LONGEST_S = 3 * 3600.0
SHORTEST_S = 1.0
READ = 65_536  #: frames at a time
LARGEST = 16.0  #: 24 dB over full scale: no music is exported so by intention


@dataclass(frozen=True)
class Track:
    """What is to be heard. ``path`` is None for a sound of ours."""

    name: str
    path: Path | None
    sample_rate_hz: float
    frames: int
    start_s: float = 0.0
    length_s: float | None = None  #: None: to its end

    @property
    def seconds(self) -> float:
        """What will be played of it."""
        left = max(0.0, self.frames / self.sample_rate_hz - self.start_s)
        return left if self.length_s is None else min(left, self.length_s)

    def blocks(self, rate_hz: float) -> Iterator[Real]:
        """(BLOCK, 2) at ``rate_hz``, the last filled with zeros. Raises ``RecordingError`` where it cannot be read on."""
        if self.path is None:
            whole = stimulus(self.name, sample_rate_hz=rate_hz)[round(self.start_s * rate_hz) :]
            yield from _regular(iter([whole[: round(self.seconds * rate_hz)]]))
        else:
            yield from _regular(self._resampled(self.path, rate_hz))

    def _resampled(self, path: Path, rate_hz: float) -> Iterator[Real]:
        if self.sample_rate_hz == rate_hz:
            yield from self._read(path)
            return
        turn = soxr.ResampleStream(self.sample_rate_hz, rate_hz, 2, dtype="float64", quality="VHQ")
        for part in self._read(path):
            yield turn.resample_chunk(part)
        yield turn.resample_chunk(np.zeros((0, 2)), last=True)

    def _read(self, path: Path) -> Iterator[Real]:
        left = round(self.seconds * self.sample_rate_hz)
        try:
            with soundfile.SoundFile(path) as source:
                source.seek(round(self.start_s * self.sample_rate_hz))
                while left > 0:
                    part = source.read(min(READ, left), dtype="float64", always_2d=True)
                    if not len(part):
                        raise RecordingError(f"{path}: cut short: sound is missing at its end. Copy it again.")
                    if not np.isfinite(part).all():
                        raise RecordingError(
                            f"{path}: holds values that are not numbers. Export it again, best as 24 bit."
                        )
                    if np.abs(part).max() > LARGEST:
                        raise RecordingError(
                            f"{path}: reaches {np.abs(part).max():.3g} times full scale, at most {LARGEST:.0f} times is read. "
                            "Export it again with less gain."
                        )
                    left -= len(part)
                    yield part if part.shape[1] == 2 else np.repeat(part, 2, axis=1)
        except (soundfile.SoundFileError, RuntimeError, OSError) as error:
            raise RecordingError(f"{path}: cannot be read on ({error}). Copy it again.") from error


def _regular(parts: Iterator[Real]) -> Iterator[Real]:
    """The same samples in blocks of one size."""
    kept = np.zeros((0, 2))
    for part in parts:
        kept = np.concatenate([kept, part])
        whole = len(kept) // BLOCK * BLOCK
        for start in range(0, whole, BLOCK):
            yield kept[start : start + BLOCK]
        kept = kept[whole:]
    if len(kept):
        yield np.concatenate([kept, np.zeros((BLOCK - len(kept), 2))])


def open_track(name: str, *, start_s: float = 0.0, length_s: float | None = None) -> Track:
    """A file by its path, or ``voice``, ``noise`` or ``clicks``; looked at by its header only.

    Raises ``RecordingError``, naming the file and the cure.
    """
    for words, value, least in (
        ("begins at", start_s, 0.0),
        ("takes", 1.0 if length_s is None else length_s, SHORTEST_S),
    ):
        if not least <= value <= LONGEST_S:
            raise RecordingError(f"{name}: {words} {value:g} s; {least:.0f} to {LONGEST_S:.0f} s are possible.")
    if name in STIMULI:
        rate = 48_000.0
        track = Track(name, None, rate, len(stimulus(name, sample_rate_hz=rate)), start_s, length_s)
    else:
        track = _file(Path(name), start_s, length_s)
    if track.seconds < SHORTEST_S:
        raise RecordingError(
            f"{name}: {track.seconds:.1f} s are left to hear, at least {SHORTEST_S:.0f} s are needed. Begin earlier or take more."
        )
    return track


def seconds_of(text: str) -> float:
    """Seconds of ``75``, ``1:15`` or ``0:01:15``. Raises ``ValueError``."""
    total = 0.0
    parts = text.split(":")
    for part in parts:
        total = 60.0 * total + float(part)
    if len(parts) > 3 or not 0.0 <= total < float("inf") or "-" in text:
        raise ValueError(f"{text!r} is no time")
    return total


def _file(path: Path, start_s: float, length_s: float | None) -> Track:
    if not path.is_file():
        what = "is no plain file" if path.exists() else "there is no such file"
        raise RecordingError(f"{path}: {what}. Name a WAV or FLAC file, or one of {', '.join(STIMULI)}.")
    try:
        complete(path, str(path), path.stat().st_size)
        with soundfile.SoundFile(path) as source:
            if source.format not in FORMATS or source.subtype not in STEPS:
                raise RecordingError(
                    f"{path}: {source.format}, {source.subtype} is not read. Export it as WAV or FLAC."
                )
            if source.channels > 2:
                raise RecordingError(f"{path}: {source.channels} channels, one or two are played. Export it as stereo.")
            if not 8000 <= source.samplerate <= 384_000:
                raise RecordingError(f"{path}: {source.samplerate} Hz, 8 to 384 kHz are read. {AGAIN}.")
            if not 0 < source.frames <= LONGEST_S * source.samplerate:
                raise RecordingError(
                    f"{path}: {source.frames / source.samplerate:.0f} s long, more than 0 and at most {LONGEST_S:.0f} s are "
                    "played. Cut it."
                )
            return Track(path.name, path, float(source.samplerate), source.frames, start_s, length_s)
    except (soundfile.SoundFileError, RuntimeError) as error:
        raise RecordingError(f"{path}: cannot be read as audio. {AGAIN}.") from error
    except OSError as error:
        raise RecordingError(
            f"{path}: cannot be read ({error.strerror or error}). Check the disk and its rights."
        ) from error
