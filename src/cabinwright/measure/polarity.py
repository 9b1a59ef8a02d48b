"""Which way a loudspeaker moves first, by pulses of one sign: heard over and over, averaged, held against their electrical copy.

A high-pass, a low-pass and a band-pass of minimum phase all let the first half-wave through with the sign of the pulse, so the
first excursion over a third of the highest tells (common practice, no source). It does not hold for linear-phase filters, and a
loudspeaker behind an all-pass may answer either way: compare left with right, and trust the tune where the two disagree.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from cabinwright.errors import PersonError, RefusedError
from cabinwright.measure.sound_card import Card, CardSettings
from cabinwright.measure.sound_card.check import listen

__all__ = ["Heard", "polarity_in", "polarity_of"]

Real = NDArray[np.float64]
Samples = NDArray[np.float32]
EVERY_S, TIMES = 0.3, 10
PEAK = 0.25  #: linear full scale
FIRST = 0.33  #: of the highest excursion
CLEAR_DB = 20.0
BEFORE_S, AFTER_S = 0.005, 0.1


@dataclass(frozen=True, slots=True)
class Heard:
    """What the pulses told. ``clear_db``: of the answer's peak over the noise before it."""

    sign: Literal["+", "-"]
    clear_db: float

    @property
    def words(self) -> str:
        """What it means."""
        way = "outwards, as the copy (+)" if self.sign == "+" else "inwards, against the copy (-): turned somewhere"
        return f"moves first {way}; {self.clear_db:.0f} dB over the noise"


def polarity_of(card: Card, settings: CardSettings, *, band_hz: tuple[float, float]) -> Heard:
    """Play pulses for a loudspeaker of ``band_hz`` and hear which way it moves first.

    Raises ``PersonError`` without a second input, ``RefusedError`` where nothing clear is heard, ``CardError``.
    """
    if not settings.output_name or not settings.copy_channel or not settings.second_channel:
        raise PersonError(
            "The copy is wanted: two inputs and two outputs. Choose them with `cabinwright record --card`, timing loopback."
        )
    rate = settings.sample_rate_hz
    half = round(0.5 * rate / float(np.sqrt(band_hz[0] * min(band_hz[1], 0.4 * rate))))
    period = round(EVERY_S * rate)
    pulse = np.zeros(period, dtype=np.float32)
    pulse[: max(half, 2)] = PEAK * np.sin(np.pi * (np.arange(max(half, 2)) + 0.5) / max(half, 2))
    wave = np.tile(pulse, TIMES)

    def source(first: int, count: int) -> Samples:
        part = wave[first : first + count]
        sent = np.zeros((len(part), settings.outputs), dtype=np.float32)
        sent[:, settings.car_channel - 1] = sent[:, settings.second_channel - 1] = part
        return sent

    blocks = listen(card, settings, (TIMES + 1) * EVERY_S, source)
    if any(block.lost for block in blocks):
        raise RefusedError("samples were lost. Close other programs, choose a larger latency, and try again.")
    heard = np.concatenate([block.samples for block in blocks]).astype(np.float64)
    return polarity_in(
        heard[:, settings.microphone_channel - 1], heard[:, settings.copy_channel - 1], period=period, rate=rate
    )


def polarity_in(microphone: Real, copy: Real, *, period: int, rate: float) -> Heard:
    """The sign in a recording of pulses every ``period`` samples, (samples,) each. Raises ``RefusedError``."""
    turns = min(TIMES, len(copy) // period)
    mean = copy[: turns * period].reshape(turns, period).mean(axis=0)
    start = int(np.argmax(np.abs(mean))) - round(BEFORE_S * rate)
    if np.abs(mean).max() < 0.01:
        raise RefusedError("the pulses do not come back as a copy. Join the second output to the copy's input.")
    if np.abs(microphone).max() > 0.98 or np.abs(copy).max() > 0.98:
        raise RefusedError("an input reaches full scale. Turn the volume down and try again.")
    answers = microphone[: turns * period].reshape(turns, period).mean(axis=0)
    answers = np.roll(answers - answers.mean(), -start)
    noise = float(np.sqrt(np.mean(answers[round(0.2 * rate) : round(0.28 * rate)] ** 2)))
    part = answers[: round(AFTER_S * rate)]
    highest = float(np.abs(part).max())
    clear_db = 20.0 * float(np.log10(max(highest, 1e-12) / max(noise, 1e-12)))
    if clear_db < CLEAR_DB:
        raise RefusedError(
            f"the pulses stand only {clear_db:.0f} dB over the noise, {CLEAR_DB:.0f} are wanted. Unmute this loudspeaker "
            "alone, turn the volume up, wait for quiet, or bring the microphone nearer."
        )
    first = part[int(np.argmax(np.abs(part) > FIRST * highest))]
    return Heard("+" if first * np.sign(mean[np.argmax(np.abs(mean))]) > 0.0 else "-", clear_db)
