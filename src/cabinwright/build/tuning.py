"""The tables of recordings and of the tune. No physics, no disk."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from cabinwright.build.base import Hertz, Model
from cabinwright.build.base import require as _rule
from cabinwright.build.fields import Family, Level, Name, Quantity, RelativePath

__all__ = ["Crossover", "Recording", "Slope", "SweepSettings", "Tuning"]

Slope = Annotated[int, Quantity("db_per_octave", ge=6, le=48, whole=True)]


class Recording(Model):
    """One recording: one channel playing, the microphone at one position."""

    channel: Name
    """The channel that played; for a verification also `left side`, `right side` or `everything`."""
    position: Name
    """The microphone position."""
    kind: Literal["sweep", "impulse"]
    """`sweep`: the microphone's recording of sweep.wav; `impulse`: an impulse response, all on one time zero."""
    file: RelativePath
    """WAV or FLAC inside the build folder, with forward slashes."""


class SweepSettings(Model):
    """The measurement signal that `cabinwright sweep` writes and recordings are read with."""

    length_s: Annotated[float, Quantity("s", ge=1.0, le=60.0)] = 10.0
    """Length of the sweep itself, without markers and silence."""
    level_db: Annotated[float, Quantity("db", ge=-60.0, le=0.0)] = -12.0
    """Peak level below full scale; the default spares tweeters."""
    low_hz: Annotated[float, Quantity("hz", ge=1.0, le=5000.0)] = 10.0
    """Where the sweep begins."""
    high_hz: Annotated[float, Quantity("hz", ge=200.0, le=192_000.0)] = 22000.0
    """Where the sweep ends; never above half the sample rate."""

    @model_validator(mode="after")
    def _band(self) -> Self:
        _rule(self.high_hz >= 4.0 * self.low_hz, "high_hz", "high_hz must be at least four times low_hz")
        return self


class Crossover(Model):
    """A wish about one crossover. What is left out stays free, and what is given is kept."""

    lower: Name
    """The side that plays below: a channel's name, or a role for every channel of that role."""
    upper: Name
    """The side that plays above: a channel's name, or a role."""
    frequency_hz: Annotated[float, Quantity("hz", ge=10.0, le=24_000.0)] | None = None
    """Corner frequency to keep."""
    family: Family | None = None
    """Family to keep."""
    slope_db_per_octave: Slope | None = None
    """Slope to keep."""

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        _rule(self.lower != self.upper, "upper", "lower and upper are the same")
        wishes = (self.frequency_hz, self.family, self.slope_db_per_octave)
        _rule(any(wish is not None for wish in wishes), "lower", "a wish names a frequency, a family or a slope")
        return self


class Tuning(Model):
    """What the tune is for and how its recordings were made."""

    seat: Name | None = None
    """The seat to tune for; absent: the only seat, or the one on the driving side."""
    timing: Literal["loopback", "marker"] | None = None
    """How sweep recordings keep time; absent where all recordings are impulses."""
    house_curve: (
        Annotated[
            tuple[Annotated[tuple[Hertz, Level], Field(strict=False)], ...],
            Field(strict=False, min_length=1, max_length=500),
        ]
        | None
    ) = None
    """Wanted level as pairs of frequency and level in rising order of frequency; absent: our own default curve."""
    microphone_calibration: RelativePath | None = None
    """Plain text inside the build folder: frequency and level of the microphone on each line."""
    marker_channel: Name | None = None
    """The channel that plays the markers; absent: the tweeter on the far side from the driver."""
    crossovers: Annotated[tuple[Crossover, ...], Field(strict=False, max_length=64)] = ()
    """Wishes about crossovers; absent: all free."""
    sweep: SweepSettings = SweepSettings()
    """The measurement signal."""

    @model_validator(mode="after")
    def _curve_rises(self) -> Self:
        curve = self.house_curve or ()
        _rule(
            all(a[0] < b[0] for a, b in pairwise(curve)),
            "house_curve",
            "house_curve frequencies must rise from pair to pair",
        )
        return self
