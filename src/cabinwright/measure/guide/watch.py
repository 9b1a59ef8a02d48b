"""What every block is watched for while something plays: a converter at its end, a level that hurts, samples that were lost."""

from __future__ import annotations

import math

import numpy as np

from cabinwright.measure.sound_card import Block, CardSettings

__all__ = ["Watch"]

RAIL = 0.999
IN_A_ROW = 3  #: samples at full scale that are no longer chance
FAST_S = 0.125  #: time constant F of IEC 61672-1


class Watch:
    """Levels of the microphone as they come, and the reason to stop if there is one."""

    def __init__(self, card: CardSettings) -> None:
        self._card = card
        self._square = 0.0
        self.level_db = (
            -120.0
        )  #: with time constant F: dB re 20 µPa where the card was calibrated, else dB of full scale
        self.loudest_db = -120.0  #: since ``fresh``

    @property
    def unit(self) -> str:
        """What levels are counted in."""
        return "dB SPL" if self._card.unit_level_db is not None else "dB of full scale"

    def fresh(self) -> None:
        """Forget what was loudest."""
        self.loudest_db = -120.0

    def hear(self, block: Block) -> str:
        """Take one block; the reason to stop at once, or nothing."""
        wave = block.samples[:, self._card.microphone_channel - 1]
        if len(wave):
            keep = math.exp(-len(wave) / (FAST_S * self._card.sample_rate_hz))
            mean = float(np.mean(wave.astype(np.float64) ** 2))
            self._square = keep * self._square + (1.0 - keep) * mean
            base = self._card.unit_level_db if self._card.unit_level_db is not None else 10.0 * math.log10(2.0)
            self.level_db = base + 10.0 * math.log10(max(self._square, 1e-12))
            self.loudest_db = max(self.loudest_db, self.level_db)
        return self._reason(block)

    def _reason(self, block: Block) -> str:
        card = self._card
        named = [(card.microphone_channel, "the microphone"), (card.copy_channel, "the electrical copy")]
        for channel, name in named:
            if channel and _pinned(block.samples[:, channel - 1]):
                return f"stopped: {name} reached full scale. Turn its input down by 6 dB or more, or the volume in the car."
        if card.unit_level_db is not None and self.level_db > card.loudest_db:
            return (
                f"stopped: {self.level_db:.0f} dB at the microphone, more than the {card.loudest_db:.0f} dB that "
                "were stated. Turn "
                "the volume down; whoever is in the car wears hearing protection."
            )
        return ""


def _pinned(wave: np.ndarray) -> bool:
    """Some samples in a row at full scale."""
    full = np.abs(wave) >= RAIL
    if np.count_nonzero(full) < IN_A_ROW:
        return False
    return bool((full[2:] & full[1:-1] & full[:-2]).any())
