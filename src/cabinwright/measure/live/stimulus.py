"""Pink noise for the loudspeakers, as a source that the sound card asks: it rises slowly, falls at once, and knows what it
played.

It starts 40 dB below the level that was asked for and rises by 20 dB a second, so that there is time to turn down; it falls
silent within a tenth of a second. A louder level is reached at the same pace. What was played is kept for some seconds: it is
the reference where no cable brings one back.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.noise import pink_period

__all__ = ["HIGHEST_DB", "Stimulus"]

Samples = NDArray[np.float32]
PERIOD_S = 10.0
KEPT_S = 4.0
RISE_DB_S, FALL_DB_S = 20.0, 1000.0
BEGIN_DB = -40.0  #: of the level asked for
SILENT = 1e-4
HIGHEST_DB = -16.0  #: rms re full scale; peaks of such noise stand up to 15 dB above


class Stimulus:
    """A source of one signal on one or more outputs."""

    def __init__(self, *, sample_rate_hz: int, channels: tuple[int, ...] = (1,)) -> None:
        self._rate_hz = sample_rate_hz
        self._columns = [channel - 1 for channel in channels if channel > 0]
        self._width = max(self._columns, default=0) + 1
        self._period: Samples | None = None
        self._gain, self._target = 0.0, 0.0
        self._kept = np.zeros(round(KEPT_S * sample_rate_hz), dtype=np.float32)
        self._end = 0  #: frames played since the stream began

    def start(self, *, level_db: float, low_hz: float, high_hz: float) -> None:
        """Play noise of this rms [dB re full scale] between two frequencies. Raises ``ValueError`` for too much of it."""
        if not level_db <= HIGHEST_DB:
            raise ValueError(f"the level must not exceed {HIGHEST_DB:g} dB re full scale, got {level_db:g}")
        frames = round(PERIOD_S * self._rate_hz)
        frames += frames % 2
        top = min(high_hz, 0.48 * self._rate_hz)
        self._period = pink_period(
            frames=frames, sample_rate_hz=self._rate_hz, low_hz=low_hz, high_hz=top, rms=10.0 ** (HIGHEST_DB / 20.0)
        )
        self._gain = 0.0
        self.level(level_db)

    def level(self, level_db: float) -> None:
        """Go to another level, upwards slowly."""
        self._target = 10.0 ** ((min(level_db, HIGHEST_DB) - HIGHEST_DB) / 20.0)

    def stop(self) -> None:
        """Fall silent."""
        self._target = 0.0

    @property
    def wanted(self) -> bool:
        """Whether it plays and is to go on."""
        return self._target > 0.0

    @property
    def playing(self) -> bool:
        """Whether anything is heard, or will be."""
        return self._gain > 0.0 or self._target > 0.0

    def _next_gain(self, seconds: float) -> float:
        gain, target = self._gain, self._target
        if target > gain:
            begin = max(gain, target * 10.0 ** (BEGIN_DB / 20.0))
            return float(min(target, begin * 10.0 ** (RISE_DB_S * seconds / 20.0)))
        lower = float(max(target, gain * 10.0 ** (-FALL_DB_S * seconds / 20.0)))
        return 0.0 if lower < SILENT and target == 0.0 else lower

    def __call__(self, first: int, frames: int) -> Samples:
        """The next frames, (frames, channels). Called by the sound card's own thread."""
        made = np.zeros((frames, self._width), dtype=np.float32)
        period = self._period
        if period is not None and self.playing:
            gain = self._next_gain(frames / self._rate_hz)
            wave = np.take(period, np.arange(first, first + frames), mode="wrap")
            wave = wave * np.linspace(self._gain, gain, frames, dtype=np.float32)
            self._gain = gain
            made[:, self._columns] = wave[:, None]
        size = len(self._kept)
        self._kept[np.arange(first, first + frames) % size] = made[:, self._columns[0]] if self._columns else 0.0
        self._end = first + frames
        return made

    def played(self, first: int, frames: int) -> Samples:
        """What was played from frame ``first`` on; silence for what is not kept any more."""
        at = np.arange(first, first + frames)
        kept = self._kept[at % len(self._kept)]
        return np.asarray(np.where((at < self._end) & (at >= self._end - len(self._kept)), kept, np.float32(0.0)))
