"""What a sound card is to us: devices, and one stream of blocks in and out on one clock."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from types import TracebackType
from typing import Protocol, Self

import numpy as np
from numpy.typing import NDArray

from cabinwright.measure.sound_card.settings import CardSettings

__all__ = ["Block", "Card", "Device", "Source", "Stream"]

Samples = NDArray[np.float32]

#: What is played: called with the number of the first frame (from 0 when it began) and how many frames are wanted. Gives
#: (frames, channels), linear full scale; fewer frames or fewer channels than wanted are filled with silence. It runs in the
#: sound card's own thread, so it must be quick and must not wait for anything.
Source = Callable[[int, int], Samples]


@dataclass(frozen=True, slots=True)
class Device:
    """One device as one host API of the system offers it."""

    name: str
    host: str  #: host API: how the system reaches it
    inputs: int
    outputs: int
    sample_rate_hz: float  #: its usual one
    latency_s: float  #: the least that it promises for the way it is used for, in if it has inputs
    usual_input: bool = False  #: what the system takes where nothing is chosen
    usual_output: bool = False


@dataclass(frozen=True, slots=True)
class Block:
    """What came in, in order and without overlap."""

    samples: Samples  #: (frames, channels), a copy that nobody else writes to
    first: int  #: number of its first frame since the stream began
    lost: bool = False  #: the system says that samples before or within it were lost (the computer was too slow)
    starved: bool = False  #: the system says that what was played broke off meanwhile


class Stream(Protocol):
    """A running stream. Leaving the ``with`` stops and closes it, whatever happened."""

    def read(self, timeout_s: float = 2.0) -> Block | None:
        """The next block; None once the stream was stopped and all that came before was read.

        A stream without inputs gives blocks of no channels, which tell how far the playing is. Raises ``CardError`` where
        nothing comes for ``timeout_s``, where the device is gone, and where the source failed.
        """

    def play(self, source: Source | None) -> None:
        """From the next block on play this instead, from its beginning; None plays silence."""

    def stop(self) -> None:
        """Silence at once; what was heard until now can still be read."""

    def __enter__(self) -> Self: ...

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None: ...


class Card(Protocol):
    """A way to devices."""

    def devices(self) -> tuple[Device, ...]:
        """All devices of all host APIs, looked up anew. Raises ``CardError`` where there can be no sound at all."""

    def open(self, settings: CardSettings, *, play: Source | None = None, hear: bool = True) -> Stream:
        """A stream with the chosen devices: inputs unless ``hear`` is false, outputs where an output is chosen.

        Raises ``CardError`` with the cure: no such device, too few channels, another rate only, not allowed, busy.
        """
