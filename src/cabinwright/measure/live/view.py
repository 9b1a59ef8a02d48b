"""The live view as it runs: a sound card read in a thread of its own, the engine fed, the noise played, everything stopped in
time.

    view = LiveView(card, settings)
    view.begin(); view.frame(); view.noise_on(level_db=-40.0, low_hz=20.0, high_hz=20_000.0); view.end()

Screens and commands ask from any thread. Blocks that the system lost are counted, never bridged over in silence.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

from cabinwright.errors import CabinwrightError, RefusedError
from cabinwright.measure.calibration import Calibration
from cabinwright.measure.live.delay import Delay, find_delay
from cabinwright.measure.live.engine import Engine, Frame
from cabinwright.measure.live.stimulus import Stimulus
from cabinwright.measure.sound_card import Block, Card, CardSettings, Stream

__all__ = ["LiveView", "Running"]

Answer = TypeVar("Answer")
FADE_S = 0.5  #: at most, for the noise to fall silent before the card is let go
CLIPPED = 0.999  #: of full scale


@dataclass(frozen=True, slots=True)
class Running:
    """How it goes."""

    on: bool
    blocks: int
    lost: int  #: blocks before which the system lost samples
    starved: int  #: blocks in which the noise broke off
    clipped: int  #: blocks that reached full scale
    heard_at_s: float  #: when the last block came, by this computer's clock
    noise: bool
    remark: str  #: why it ended, or why the noise did
    calibrated: bool
    reference: str  #: "copy", "played" or ""


class LiveView:
    """One card, one engine, one thread."""

    def __init__(
        self, card: Card, settings: CardSettings, *, calibration: Calibration | None = None, size: int = 16_384
    ) -> None:
        self.settings = settings
        self._card, self._lock = card, threading.RLock()
        self.engine = Engine(
            sample_rate_hz=settings.sample_rate_hz, unit_level_db=settings.unit_level_db,
            calibration=calibration, size=size,
        )  # fmt: skip
        outputs = (settings.car_channel, settings.second_channel if settings.timing == "loopback" else 0)
        self._noise = Stimulus(sample_rate_hz=settings.sample_rate_hz, channels=outputs)
        self._copy = settings.copy_channel if settings.timing == "loopback" else 0
        self._thread: threading.Thread | None = None
        self._stream: Stream | None = None
        self._blocks = self._lost = self._starved = self._clipped = 0
        self._next, self._heard_at_s, self._remark = 0, 0.0, ""
        self._on = self._gap = False

    def begin(self) -> None:
        """Open the card and listen. Raises ``CardError``."""
        if self._on:
            return
        self._stream = self._card.open(self.settings, play=self._noise)
        self._on, self._remark, self._next = True, "", 0
        self._thread = threading.Thread(target=self._listen, args=(self._stream,), name="live view", daemon=True)
        self._thread.start()

    def end(self) -> None:
        """Silence, then let the card go."""
        self._noise.stop()
        until = time.monotonic() + FADE_S
        while self._on and self._noise.playing and time.monotonic() < until:
            time.sleep(0.01)
        thread, stream, self._on = self._thread, self._stream, False
        if stream is not None:
            stream.stop()
        if thread is not None and thread is not threading.current_thread():
            thread.join(5.0)
        self._thread = self._stream = None

    def _listen(self, stream: Stream) -> None:
        try:
            with stream:
                while self._on:
                    block = stream.read()
                    if block is None:
                        break
                    self._take(block)
        except CabinwrightError as error:
            self._remark = str(error)
        except Exception as error:  # a thread must not die in silence
            self._remark = f"a mistake of this program: {type(error).__name__}: {error}"
        self._on = False

    def _take(self, block: Block) -> None:
        samples, settings = block.samples, self.settings
        with self._lock:
            lost = block.lost or (block.first != self._next and not self._gap)
            self._gap = lost  # a block that says so may be short itself
            self._next = block.first + len(samples)
            self._blocks += 1
            self._lost += lost
            self._starved += block.starved
            if not len(samples):
                return
            microphone = samples[:, settings.microphone_channel - 1]
            self._clipped += bool(abs(microphone).max() >= CLIPPED)
            copied = samples[:, self._copy - 1] if self._copy else self._noise.played(block.first, len(samples))
            self.engine.feed(microphone, copied if self._noise.playing or self._copy else None)
            if lost:
                self.engine.spectra.restart()  # windows with a gap in them say nothing about phase
            self._heard_at_s = time.time()
            self._guard()

    def _guard(self) -> None:
        """The noise ends where it is louder at the microphone than was allowed."""
        if not self._noise.playing or self.settings.unit_level_db is None:
            return
        level = self.engine.loudness_db()
        if level > self.settings.loudest_db:
            self._noise.stop()
            self._remark = (
                f"The noise was ended: {level:.0f} dB(A) at the microphone, {self.settings.loudest_db:.0f} dB are allowed. "
                "Turn it down before you start it again."
            )

    def noise_on(self, *, level_db: float, low_hz: float, high_hz: float) -> None:
        """Play pink noise. Raises ``RefusedError`` where there is no output, or the level or band cannot be."""
        if not self.settings.outputs:
            raise RefusedError("No output is chosen on this computer. Choose one with `cabinwright record --card`.")
        try:
            self._noise.start(level_db=level_db, low_hz=low_hz, high_hz=high_hz)
        except ValueError as error:
            raise RefusedError(f"The noise cannot be played: {error}.") from None
        with self._lock:
            self._remark = ""
            self.engine.spectra.restart()

    def noise_level(self, level_db: float) -> None:
        """Another level of the noise that plays."""
        self._noise.level(level_db)

    def noise_off(self) -> None:
        """Silence."""
        self._noise.stop()

    def ask(self, question: Callable[[Engine], Answer]) -> Answer:
        """Something of the engine, between two blocks."""
        with self._lock:
            return question(self.engine)

    def find_delay(self) -> Delay:
        """The delay in the last seconds; it is taken out from now on. Raises ``RefusedError`` where none stands out."""
        microphone, reference = self.ask(lambda engine: engine.recent())
        found = find_delay(microphone, reference, sample_rate_hz=self.settings.sample_rate_hz)
        self.ask(lambda engine: engine.spectra.align(found.delay_s))
        return found

    def frame(self) -> Frame:
        """What there is to draw now."""
        return self.ask(lambda engine: engine.frame())

    @property
    def running(self) -> Running:
        """How it goes."""
        return Running(
            on=self._on, blocks=self._blocks, lost=self._lost, starved=self._starved, clipped=self._clipped,
            heard_at_s=self._heard_at_s, noise=self._noise.wanted, remark=self._remark,
            calibrated=self.settings.unit_level_db is not None,
            reference="copy" if self._copy else "played" if self.settings.outputs else "",
        )  # fmt: skip
