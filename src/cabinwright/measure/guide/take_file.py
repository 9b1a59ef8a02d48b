"""A take on its way to the disk: block by block into a hidden file, and under its name only when it is whole."""

from __future__ import annotations

import os
import wave
from contextlib import suppress
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from cabinwright.errors import OutputError
from cabinwright.files import told

__all__ = ["TakeFile", "free_name", "leftovers"]

ENDING = ".part"
LARGEST = float(2**23 - 1)
NEEDED = 3  #: bytes for each sample


class TakeFile:
    """24 bit, written as it comes; nothing of it is held in memory. Raises ``OutputError`` with the cure where that fails."""

    def __init__(self, folder: Path, stem: str, *, channels: int, sample_rate_hz: int) -> None:
        self.folder, self.stem, self.frames = folder, stem, 0
        target = folder / f"{stem}.wav"
        self._hidden = target.with_name(f".{target.name}.{os.getpid()}{ENDING}")
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            self._raw = self._hidden.open("wb")
            self._wave = wave.open(self._raw, "wb")  # noqa: SIM115, it lives as long as the take
            self._wave.setparams((channels, NEEDED, sample_rate_hz, 0, "NONE", "not compressed"))
        except OSError as error:
            raise OutputError(told(target, folder, error)) from error

    def write(self, samples: NDArray[np.float32]) -> None:
        """More of it, (frames, channels); what lies beyond full scale is pinned there, where the verdict finds it."""
        steps = np.round(np.clip(samples, -1.0, 1.0) * LARGEST).astype("<i4")
        packed = steps.reshape(-1, 1).view(np.uint8)[:, :NEEDED]
        try:
            self._wave.writeframesraw(packed.tobytes())
        except OSError as error:
            self.drop()
            raise OutputError(told(self.folder / f"{self.stem}.wav", self.folder, error)) from error
        self.frames += len(samples)

    def finish(self) -> str:
        """Give it a name that no file has yet; returns that, relative to the build folder."""
        try:
            self._wave.close()
            self._raw.flush()
            os.fsync(self._raw.fileno())
            self._raw.close()
            name = free_name(self.folder, self.stem)
            self._hidden.rename(self.folder / name)
        except OSError as error:
            self.drop()
            raise OutputError(told(self.folder / f"{self.stem}.wav", self.folder, error)) from error
        return name

    def drop(self) -> None:
        """Take away what there is of it: a take that was broken off is of no use."""
        with suppress(OSError, wave.Error):
            self._wave.close()
        with suppress(OSError):
            self._raw.close()
        with suppress(OSError):
            self._hidden.unlink(missing_ok=True)


def free_name(folder: Path, stem: str) -> str:
    """``stem.wav``, or with the first number that no file there has."""
    there = {path.name.casefold() for path in (folder / stem).parent.glob("*")}
    last = stem.rpartition("/")[2]
    name, number = f"{last}.wav", 2
    while name.casefold() in there:
        name, number = f"{last}_{number}.wav", number + 1
    return stem[: len(stem) - len(last)] + name


def leftovers(folder: Path) -> tuple[Path, ...]:
    """What programs that were killed left of takes that they were recording."""
    own = f".{os.getpid()}{ENDING}"
    return tuple(
        path
        for room in ("recordings", "verification")
        for path in sorted((folder / room).glob(f".*.wav.*{ENDING}"))
        if not path.name.endswith(own)
    )
