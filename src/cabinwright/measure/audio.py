"""Reading one audio file from a stranger: checked by its header first, then read, then brought to the processor's rate.

WAV and FLAC, 16 to 32 bit integer or float, 44.1 to 192 kHz (and anything between 8 and 384 kHz that libsndfile reads).
Resampling is band-limited (SoX resampler, highest quality), with its own delay taken out.
"""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray

from cabinwright.build.codec import resolve_inside
from cabinwright.errors import RecordingError

__all__ = ["AGAIN", "FORMATS", "STEPS", "Audio", "complete", "inside", "read_audio", "resample"]

LIMIT_BYTES = 600_000_000
LIMIT_S = 180.0  #: three times the longest sweep
LIMIT_SAMPLES = 80_000_000  #: all channels together: 320 MB in memory while read
STEPS = {"PCM_16": 2.0**-15, "PCM_24": 2.0**-23, "PCM_32": 2.0**-23, "FLOAT": 2.0**-23, "DOUBLE": 2.0**-23}
FORMATS = ("WAV", "WAVEX", "RF64", "FLAC")
AGAIN = "Record or export it again as WAV or FLAC"
OPEN_ENDED = (0, 0xFFFFFFFF, 0x7FFFFFFF)  #: sizes that a recorder writes when it does not yet know


@dataclass(frozen=True)
class Audio:
    """One file as recorded: ``samples`` (frames, channels), linear full scale."""

    file: str
    samples: NDArray[np.float32]
    sample_rate_hz: int
    step: float  #: smallest step of the format, linear full scale
    digest: str  #: SHA-256 of the samples


def inside(folder: Path, file: str) -> Path:
    """The real path of ``file`` in ``folder``. Raises ``RecordingError`` where it leads out of it or is no file."""
    path = resolve_inside(folder, file)
    if not path.is_file():
        what = "is not a file" if path.exists() else "there is no such file"
        raise RecordingError(f"{file}: {what} in {folder}. Check the name in build.toml, or record it.")
    return path


def read_audio(folder: Path, file: str, *, max_channels: int = 8) -> Audio:
    """Read ``file`` of the build in ``folder``.

    Raises ``RecordingError``, naming the file and the cure, where it is missing, outside the folder, empty, too large,
    cut short, not audio, in another format, or holds values that are not numbers.
    """
    path = inside(folder, file)
    size = path.stat().st_size
    if size == 0:
        raise RecordingError(f"{file}: the file is empty (0 bytes). {AGAIN}.")
    if size > LIMIT_BYTES:
        raise RecordingError(
            f"{file}: {size / 1e6:.0f} MB, at most {LIMIT_BYTES / 1e6:.0f} MB are read. Cut it to one sweep and export it "
            "again."
        )
    try:
        complete(path, file, size)
        with soundfile.SoundFile(path) as source:
            _header(file, source, max_channels)
            samples = source.read(dtype="float32", always_2d=True)
            claimed, rate, subtype = source.frames, int(source.samplerate), source.subtype
    except (soundfile.SoundFileError, RuntimeError) as error:
        raise RecordingError(f"{file}: cannot be read as audio ({_short(error)}). {AGAIN}.") from error
    except OSError as error:
        raise RecordingError(
            f"{file}: cannot be read ({error.strerror or error}). Check the disk and its rights."
        ) from error
    if len(samples) < claimed:
        raise RecordingError(
            f"{file}: cut short: {len(samples)} of {claimed} samples are there. Copy or record it again."
        )
    if not np.isfinite(samples).all():
        raise RecordingError(f"{file}: holds values that are not numbers. {AGAIN}, best as 24 bit.")
    digest = hashlib.sha256(np.ascontiguousarray(samples).data).hexdigest()
    return Audio(file, samples, rate, STEPS.get(subtype, 2.0**-15), digest)


def _header(file: str, source: soundfile.SoundFile, max_channels: int) -> None:
    """Refuse by the header alone, before memory is taken."""
    if source.format not in FORMATS:
        raise RecordingError(f"{file}: {source.format} is not read. Export it as WAV or FLAC.")
    if source.subtype not in STEPS:
        raise RecordingError(f"{file}: {source.subtype} samples are not read. Export it with 16 to 32 bit or float.")
    if not 8000 <= source.samplerate <= 384_000:
        raise RecordingError(f"{file}: {source.samplerate} Hz, 44.1 to 192 kHz are expected. {AGAIN}.")
    if source.frames == 0:
        raise RecordingError(f"{file}: holds no samples. {AGAIN}.")
    long_s = source.frames / source.samplerate
    if long_s > LIMIT_S:
        raise RecordingError(f"{file}: {long_s:.0f} s long, at most {LIMIT_S:.0f} s are read. Cut it to one sweep.")
    if source.channels > max_channels:
        raise RecordingError(f"{file}: {source.channels} channels, at most {max_channels} are read. Export one or two.")
    if source.frames * source.channels > LIMIT_SAMPLES:
        raise RecordingError(
            f"{file}: {source.frames * source.channels / 1e6:.0f} million samples, at most {LIMIT_SAMPLES / 1e6:.0f} "
            "million are read. Cut it to one sweep, and export one or two channels."
        )


def complete(path: Path, file: str, size: int) -> None:
    """Refuse a WAV whose data chunk claims more than the file holds; libsndfile would silently read what is there."""
    with path.open("rb") as raw:
        head = raw.read(12)
        if head[:4] != b"RIFF" or head[8:12] != b"WAVE":
            return
        while len(chunk := raw.read(8)) == 8:
            length = int.from_bytes(chunk[4:], "little")
            if chunk[:4] == b"data":
                left = size - raw.tell()
                if length not in OPEN_ENDED and left < length:
                    raise RecordingError(
                        f"{file}: cut short: {left} of {length} bytes of sound are there. Copy or record it again."
                    )
                return
            raw.seek(length + length % 2, os.SEEK_CUR)


def resample(samples: NDArray[np.float32], *, from_hz: float, to_hz: float) -> NDArray[np.float32]:
    """``samples`` (frames,) or (frames, channels) at another rate, time zero kept; unchanged where the rates agree.

    Single precision holds every step of 24 bit and half the memory; what is cut out of it is computed on in double.
    """
    if from_hz == to_hz:
        return samples
    return np.asarray(soxr.resample(samples, from_hz, to_hz, quality="VHQ"), dtype=np.float32)


def _short(error: Exception) -> str:
    text = str(error).strip().rstrip(".").replace("\n", " ")
    return text.rsplit(": ", 1)[-1][:160] or type(error).__name__
