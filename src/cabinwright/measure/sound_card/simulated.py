"""A sound card that is none: what is played goes through known responses to the inputs, with noise and faults as wanted.

Time is counted in frames, not waited for: a session of hours takes seconds, and the same one gives the same samples every time.
The convolution is direct in blocks (overlap-save), so what is heard is exact to rounding.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import TracebackType
from typing import Self

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft

from cabinwright.errors import CardError
from cabinwright.measure.sound_card.card import Block, Device, Source, Stream
from cabinwright.measure.sound_card.settings import CardSettings

__all__ = ["SimulatedCard"]

Real = NDArray[np.float64]
BLOCK = 1024


@dataclass
class SimulatedCard:
    """A card with one device of each way. Everything may be changed between streams and while one runs."""

    paths: Mapping[tuple[int, int], Real] = field(default_factory=dict)
    """Impulse responses by (output, input), both from 1."""
    noise: Mapping[int, float] = field(default_factory=dict)
    """Rms of white noise by input, from 1."""
    stick: Real | None = None
    """What the car plays by itself, (frames, channels), through ``paths`` as if it came from the outputs."""
    clips_at: float = 1.0
    """Input converters know no more than this."""
    inputs: int = 2
    outputs: int = 2
    sample_rate_hz: int = 48_000
    rates: tuple[int, ...] = ()
    """Rates that it works at; none: any."""
    seed: int = 1
    refusal: str = ""
    """Why it cannot be opened, if it cannot."""
    unplugged_at: int | None = None
    """Frame of the stream at which it is unplugged."""
    loses: tuple[tuple[int, int], ...] = ()
    """Frames that never arrive: (first, how many). The block after them says so if ``tells_loss``."""
    tells_loss: bool = True
    played: int = 0
    """Frames that streams have run in all: the simulated clock."""

    @property
    def clock_s(self) -> float:
        """Time that has passed on this card."""
        return self.played / self.sample_rate_hz

    def devices(self) -> tuple[Device, ...]:
        """Its two devices; none where it was unplugged before."""
        found = []
        if self.inputs:
            found.append(
                Device("simulated input", "simulated", self.inputs, 0, self.sample_rate_hz, 0.01, usual_input=True)
            )
        if self.outputs:
            found.append(
                Device("simulated output", "simulated", 0, self.outputs, self.sample_rate_hz, 0.01, usual_output=True)
            )
        return tuple(found)

    def settings(self, **more: object) -> CardSettings:
        """Settings that choose it."""
        return CardSettings.model_validate(
            {
                "input_name": "simulated input",
                "output_name": "simulated output",
                "sample_rate_hz": self.sample_rate_hz,
                "block_frames": BLOCK,
                **more,
            }
        )

    def open(self, settings: CardSettings, *, play: Source | None = None, hear: bool = True) -> Stream:
        """As the protocol has it."""
        if self.refusal:
            raise CardError(self.refusal)
        there = {device.name: device for device in self.devices()}
        for name, wanted, way in (
            (settings.input_name, settings.inputs if hear else 0, "input"),
            (settings.output_name, settings.outputs, "output"),
        ):
            if not wanted:
                continue
            if name not in there:
                raise CardError(
                    f"{name}: this {way} is not there now; there are {', '.join(there) or 'none'}. Plug it in."
                )
            has = there[name].inputs if way == "input" else there[name].outputs
            if has < wanted:
                raise CardError(f"{name}: {wanted} {way} channels are wanted and it has {has}. Choose another.")
        if self.rates and settings.sample_rate_hz not in self.rates:
            raise CardError(
                f"{settings.input_name}: it does not work at {settings.sample_rate_hz} Hz. Choose its own rate."
            )
        return _SimulatedStream(self, settings, play, settings.inputs if hear else 0)


class _SimulatedStream:
    def __init__(self, card: SimulatedCard, settings: CardSettings, play: Source | None, inputs: int) -> None:
        self._card, self._settings, self._inputs = card, settings, inputs
        self._playing: tuple[Source, list[int]] | None = (play, [0]) if play is not None else None
        self._frames = settings.block_frames or BLOCK
        self._outputs = max(settings.outputs, card.stick.shape[1] if card.stick is not None else 0, 1)
        self._history = np.zeros((self._outputs, 0))
        self._random = np.random.default_rng(card.seed + card.played)
        self._first = 0
        self._stopped = False

    def read(self, timeout_s: float = 2.0) -> Block | None:
        card = self._card
        if self._stopped:
            return None
        if card.unplugged_at is not None and self._first >= card.unplugged_at:
            card.inputs = card.outputs = 0
            raise CardError(f"{self._settings.input_name}: nothing came from it for {timeout_s:g} s: it was unplugged.")
        heard, lost = self._next(), False
        for first, count in card.loses:
            here = np.arange(self._first, self._first + len(heard))
            kept = (here < first) | (here >= first + count)
            lost = lost or (card.tells_loss and not bool(kept.all()))
            heard = heard[kept] if not kept.all() else heard
        block = Block(heard.astype(np.float32), self._first, lost=lost)
        self._first += self._frames
        card.played += self._frames
        return block

    def _next(self) -> Real:
        """What the inputs hear in the next block: (frames, inputs)."""
        card, count = self._card, self._frames
        sent = np.zeros((count, self._outputs))
        if self._playing is not None:
            source, at = self._playing
            part = source(at[0], count)
            sent[: len(part), : part.shape[1]] += part[:, : self._outputs]
            at[0] += count
        if card.stick is not None and self._first < len(card.stick):
            own = card.stick[self._first : self._first + count]
            sent[: len(own), : own.shape[1]] += own
        longest = max((len(path) for path in card.paths.values()), default=1)
        reach = longest - 1
        before = self._history[:, -reach:] if reach else self._history[:, :0]
        whole = np.concatenate([np.zeros((self._outputs, reach - before.shape[1])), before, sent.T], axis=1)
        self._history = whole[:, -max(reach, 1) :]
        size = next_fast_len(reach + count, real=True)
        spectra: dict[int, NDArray[np.complex128]] = {}
        heard = np.zeros((count, self._inputs))
        for (output, into), path in card.paths.items():
            if output > self._outputs or into > self._inputs:
                continue
            if output not in spectra:
                spectra[output] = rfft(whole[output - 1], n=size)
            wave = irfft(spectra[output] * rfft(path, n=size), n=size)
            heard[:, into - 1] += wave[reach : reach + count]
        for into, rms in card.noise.items():
            if into <= self._inputs:
                heard[:, into - 1] += self._random.normal(scale=rms, size=count)
        return np.asarray(np.clip(heard, -card.clips_at, card.clips_at))

    def play(self, source: Source | None) -> None:
        self._playing = None if source is None else (source, [0])

    def stop(self) -> None:
        self._stopped = True

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()
