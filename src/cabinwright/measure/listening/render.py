"""A track through every version, equally loud, peak-safe and never louder than it was; block by block.

Twice through: first convolved and measured into files of 32-bit floats beside the results, then brought to one loudness.
All versions end at the loudness (ITU-R BS.1770) of the softest limit: that of the track itself, or the one at which the loudest
true peak of any version would pass -1 dB below full scale. So nothing is ever turned up beyond what it replaces.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Mapping
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import soundfile
from numpy.typing import NDArray

from cabinwright.errors import OutputError, RecordingError
from cabinwright.files import beside, put, told
from cabinwright.measure.listening.track import Track
from cabinwright.physics.loudness import Meter
from cabinwright.physics.partitioned import BLOCK, Convolver
from cabinwright.physics.true_peak import TruePeak

__all__ = ["HIGHEST_PEAK_DB", "Form", "Heard", "Rendered", "file_names", "render"]

Real = NDArray[np.float64]
Form = Literal["flac", "wav"]
HIGHEST_PEAK_DB = -1.0
SUBTYPE = "PCM_24"
FORSAKEN_S = 3600.0  #: whoever still runs writes several times a second


@dataclass(frozen=True, slots=True)
class Heard:
    """One version as it was written."""

    version: str
    file: Path
    loudness_lufs: float
    gain_db: float  #: that brought it there
    true_peak_db: float  #: after it, below full scale


@dataclass(frozen=True, slots=True)
class Rendered:
    """All versions of one track."""

    track_lufs: float  #: as it was
    seconds: float
    versions: tuple[Heard, ...]


class _Version:
    """One version on its way."""

    def __init__(self, responses: Real, rate: float, file: Path) -> None:
        self.through = Convolver(responses)
        self.meter = Meter(sample_rate_hz=rate, channels=2)
        self.peak = TruePeak(sample_rate_hz=rate, channels=2)
        self.raw = beside(file, "raw")
        self.fresh = beside(file, "part")
        self.file = file

    def take(self, block: Real) -> bytes:
        out = self.through(block)
        self.meter(out)
        self.peak(out)
        return out.astype(np.float32).tobytes()


def file_names(track: Track, versions: Iterable[str], folder: Path, form: Form) -> dict[str, Path]:
    """Where each version of a track goes: plain names, in the order of the versions."""
    stem = _plain(Path(track.name).stem)
    return {name: folder / f"{stem}-{number}-{_plain(name)}.{form}" for number, name in enumerate(versions, start=1)}


def _plain(name: str) -> str:
    words = "".join(sign if sign.isalnum() else " " for sign in name.lower()).split()
    return "-".join(words)[:60] or "sound"


def render(
    track: Track,
    responses: Mapping[str, Real],
    files: Mapping[str, Path],
    *,
    sample_rate_hz: float,
    form: Form,
    progress: Callable[[str, float], None],
) -> Rendered:
    """Write ``files`` by version, all or none. Raises ``RecordingError``, ``OutputError``."""
    versions = {name: _Version(item, sample_rate_hz, files[name]) for name, item in responses.items()}
    folder = next(iter(files.values())).parent
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _swept(folder)
        loud = _convolved(track, versions, sample_rate_hz, progress)
        gains = _gains(track, loud, versions)
        progress("writing", 0.0)
        for name, version in versions.items():
            _written(version, 10.0 ** (gains[name] / 20.0), sample_rate_hz, form)
        put({version.file: version.fresh for version in versions.values()})
    except OSError as error:
        raise OutputError(told(folder, folder, error)) from error
    finally:
        for version in versions.values():
            for left in (version.raw, version.fresh):
                with suppress(OSError):
                    left.unlink(missing_ok=True)
    heard = [
        Heard(
            name,
            version.file,
            version.meter.result().integrated_lufs + gains[name],
            gains[name],
            _db(version.peak.peak) + gains[name],
        )
        for name, version in versions.items()
    ]
    return Rendered(loud, track.seconds, tuple(heard))


def _swept(folder: Path) -> None:
    """Take away what a killed run left: raw sound is large."""
    for left in (*folder.glob(".*.raw"), *folder.glob(".*.part")):
        with suppress(OSError):
            if time.time() - left.stat().st_mtime > FORSAKEN_S:
                left.unlink()


def _convolved(
    track: Track, versions: Mapping[str, _Version], rate: float, progress: Callable[[str, float], None]
) -> float:
    """Fill the raw files; the track's own loudness."""
    own, blocks = Meter(sample_rate_hz=rate, channels=2), max(1.0, track.seconds * rate / BLOCK)
    tail = -(-max(version.through.tail for version in versions.values()) // BLOCK)
    with ExitStack() as stack:
        raws = {name: stack.enter_context(version.raw.open("wb")) for name, version in versions.items()}
        for number, block in enumerate(track.blocks(rate)):
            own(block)
            for name, version in versions.items():
                raws[name].write(version.take(block))
            if number % 16 == 0:
                progress("listening through the car", min(1.0, number / blocks))
        for _ in range(tail):
            for name, version in versions.items():
                raws[name].write(version.take(np.zeros((BLOCK, 2))))
    loud = own.result().integrated_lufs
    if not math.isfinite(loud):
        raise RecordingError(
            f"{track.path or track.name}: silent, or too quiet to be compared. Take another part of it."
        )
    return loud


def _gains(track: Track, loud: float, versions: Mapping[str, _Version]) -> dict[str, float]:
    """By version [dB]: what brings all to one loudness."""
    levels = {name: version.meter.result().integrated_lufs for name, version in versions.items()}
    if not all(map(math.isfinite, levels.values())):
        raise RecordingError(
            f"{track.path or track.name}: one version of it is silent: these loudspeakers play nothing of it. Take another part."
        )
    room = [HIGHEST_PEAK_DB - _db(version.peak.peak) + levels[name] for name, version in versions.items()]
    target = min(loud, *room)
    return {name: target - level for name, level in levels.items()}


def _written(version: _Version, gain: float, rate: float, form: Form) -> None:
    try:
        with (
            version.raw.open("rb") as raw,
            soundfile.SoundFile(version.fresh, "w", round(rate), 2, SUBTYPE, format=form.upper()) as out,
        ):
            while content := raw.read(8 * 65_536):
                out.write(np.frombuffer(content, dtype=np.float32).reshape(-1, 2) * np.float32(gain))
    except soundfile.SoundFileError as error:
        raise OutputError(f"{version.file}: cannot be written ({error}). Free some space and try again.") from error


def _db(value: float) -> float:
    return 20.0 * math.log10(max(value, 1e-12))
