"""What goes into the processor: one ``ChannelSettings`` per output, as ``settings.json`` carries them."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.filters import Filter, filter_sections, sections_response

__all__ = ["ChannelSettings", "Settings"]

FINGERPRINT_DIGITS = 9  #: significant digits that count: the last ones depend on the C library

Polarity = Literal["normal", "inverted"]


@dataclass(frozen=True, slots=True)
class ChannelSettings:
    """One processor output."""

    name: str
    gain_db: float
    polarity: Polarity
    delay_s: float
    filters: tuple[Filter, ...]

    def sections(self, sample_rate_hz: float) -> NDArray[np.float64]:
        """All filters in series, shape ``(sections, 6)``; gain, polarity and delay are not in it."""
        banks = [filter_sections(item, sample_rate_hz=sample_rate_hz) for item in self.filters]
        return np.concatenate(banks) if banks else np.empty((0, 6))

    def response(self, frequency_hz: NDArray[np.float64], *, sample_rate_hz: float) -> NDArray[np.complex128]:
        """Complex response with gain, polarity, delay and filters."""
        sign = -1.0 if self.polarity == "inverted" else 1.0
        turn: NDArray[np.complex128] = np.exp(-2j * np.pi * frequency_hz * self.delay_s)
        sections = self.sections(sample_rate_hz)
        bank = sections_response(sections, frequency_hz=frequency_hz, sample_rate_hz=sample_rate_hz)
        whole: NDArray[np.complex128] = sign * 10.0 ** (self.gain_db / 20.0) * turn * bank
        return whole


@dataclass(frozen=True, slots=True)
class Settings:
    """The whole processor."""

    sample_rate_hz: float
    channels: tuple[ChannelSettings, ...]

    def channel(self, name: str) -> ChannelSettings:
        """The channel called ``name``; raises ``KeyError``."""
        for item in self.channels:
            if item.name == name:
                return item
        raise KeyError(name)

    @property
    def fingerprint(self) -> str:
        """Eight hex digits that name these settings: what a processor plays decides them, names and reasons do not.

        SHA-256 over gain, polarity, delay and sections of every channel, in order, as text of nine digits.
        """
        rows = [
            [
                _digits(item.gain_db),
                item.polarity,
                _digits(item.delay_s),
                [[_digits(number) for number in section] for section in item.sections(self.sample_rate_hz).tolist()],
            ]
            for item in self.channels
        ]
        text = json.dumps([_digits(self.sample_rate_hz), rows], separators=(",", ":"))
        return hashlib.sha256(text.encode("ascii")).hexdigest()[:8]

    def to_dict(self) -> dict[str, Any]:
        """Contents of ``settings.json``."""
        return {
            "sample_rate_hz": self.sample_rate_hz,
            "channels": [
                {
                    "name": item.name,
                    "gain_db": item.gain_db,
                    "polarity": item.polarity,
                    "delay_s": item.delay_s,
                    "sections": item.sections(self.sample_rate_hz).tolist(),
                    "filters": [row.to_dict() for row in item.filters],
                }
                for item in self.channels
            ],
        }

    @staticmethod
    def from_dict(data: Mapping[str, Any], *, file: str = "settings.json") -> Settings:
        """Read what ``to_dict`` wrote; ``file`` is named in messages.

        Raises ``PersonError`` with every problem at once where the file was edited into something that is not a
        setting, or where ``filters`` and ``sections`` of a channel no longer say the same: the sections are what a
        processor plays, so nobody could tell which of the two was loaded.
        """
        from cabinwright.stages.tuning.settings_file import read_settings  # late: it needs this module's classes

        return read_settings(data, file=file)


def _digits(value: float) -> str:
    return f"{value + 0.0:.{FINGERPRINT_DIGITS}g}"  # adding zero turns -0.0 into 0.0
