"""The real sound card, through sounddevice and PortAudio. Nothing of them is loaded before sound is wanted.

The callback runs in PortAudio's own thread and only copies: what comes in goes into a queue of some seconds, what goes out is
asked of the source. Whatever goes wrong is told by the next ``read``, in the thread that asked.
"""

from __future__ import annotations

import queue
from contextlib import suppress
from types import TracebackType
from typing import Any, Self

import numpy as np

from cabinwright.errors import CardError
from cabinwright.measure.sound_card.card import Block, Card, Device, Source, Stream
from cabinwright.measure.sound_card.settings import CardSettings

__all__ = ["open_card"]

QUEUE_S = 10.0  #: of blocks that nobody has read yet; more than that and samples count as lost
CURE = "Plug it in, or choose another with `cabinwright record --card`."
EXTRA = (
    'Sound needs the extra "audio": pip install "cabinwright[audio]"; on Linux also the system\'s PortAudio '
    "(Debian: apt install libportaudio2)."
)
#: PortAudio's own numbers (portaudio.h, PaErrorCode): the words differ with the system, these do not
CURES = {
    -9997: "It does not work at this rate. Choose its own with `cabinwright record --card`, or set this one in the system.",
    -9998: "It has fewer channels than are wanted. Choose another, or marker timing, which needs one input only.",
    -9996: "It is gone or may not be used. Plug it in, close other programs that hold it, and allow this program the microphone.",
    -9985: "Another program holds it, or this one is not allowed to use it. Close the other; allow the microphone in the system.",
    -9993: "Input and output belong to different ways of the system. Choose both from one host API.",
    -9999: "The system refused it. Plug it in anew, close other programs that hold it, and allow this program the microphone.",
}


def open_card() -> Card:
    """The sound card of this computer. Raises ``CardError`` where the extra ``audio`` or PortAudio itself is missing."""
    try:
        import sounddevice
    except ImportError:
        raise CardError(f"sounddevice is not installed. {EXTRA}") from None
    except OSError as error:
        raise CardError(f"PortAudio cannot be loaded ({error}). {EXTRA}") from None
    return _PortAudio(sounddevice)


class _PortAudio:
    def __init__(self, sounddevice: Any) -> None:
        self._sd = sounddevice
        self._running: _PortAudioStream | None = None

    def devices(self) -> tuple[Device, ...]:
        sd = self._sd
        try:
            if self._running is None or not self._running.open:  # PortAudio looks only once, when it starts
                sd._terminate()
                sd._initialize()
            hosts = [str(host["name"]) for host in sd.query_hostapis()]
            ways = sd.query_hostapis()
            return tuple(
                Device(
                    name=str(item["name"]),
                    host=hosts[item["hostapi"]],
                    inputs=int(item["max_input_channels"]),
                    outputs=int(item["max_output_channels"]),
                    sample_rate_hz=float(item["default_samplerate"]),
                    latency_s=float(
                        item[
                            "default_low_input_latency" if item["max_input_channels"] else "default_low_output_latency"
                        ]
                    ),
                    usual_input=ways[item["hostapi"]]["default_input_device"] == number,
                    usual_output=ways[item["hostapi"]]["default_output_device"] == number,
                )
                for number, item in enumerate(sd.query_devices())
            )
        except sd.PortAudioError as error:
            raise CardError(f"the system's sound does not answer ({_words(error)}). {CURES[-9999]}") from error

    def open(self, settings: CardSettings, *, play: Source | None = None, hear: bool = True) -> Stream:
        devices = self.devices()
        inputs, outputs = settings.inputs if hear else 0, settings.outputs
        if not inputs and not outputs:
            raise CardError("no input and no output is chosen. Choose them with `cabinwright record --card`.")
        into = _number(devices, settings.input_name, settings.input_host, inputs, "input") if inputs else None
        out = _number(devices, settings.output_name, settings.output_host, outputs, "output") if outputs else None
        stream = _PortAudioStream(self._sd, settings, into, out, inputs, outputs, play)
        self._running = stream
        return stream


def _number(devices: tuple[Device, ...], name: str, host: str, channels: int, way: str) -> int:
    """PortAudio's number of a device. Raises ``CardError``: none of that name, or with too few channels."""
    able = [
        (number, device, device.inputs if way == "input" else device.outputs) for number, device in enumerate(devices)
    ]
    able = [item for item in able if item[2] > 0]
    if not able:
        raise CardError(f"this computer has no {way} for sound. Plug one in, or allow this program the microphone.")
    found = [item for item in able if item[1].name == name and host in ("", item[1].host)]
    if not found:
        there = ", ".join(dict.fromkeys(item[1].name for item in able))
        raise CardError(f"{name}: this {way} is not there now; there are {there}. {CURE}")
    number, _, there_are = found[0]
    if there_are < channels:
        raise CardError(f"{name}: {channels} {way} channels are wanted and it has {there_are}. {CURES[-9998]}")
    return number


def _words(error: Exception) -> str:
    return str(error.args[0] if error.args else error).strip().replace("\n", " ")[:200]


class _PortAudioStream:
    """One stream; its callback writes, ``read`` reads."""

    def __init__(
        self,
        sd: Any,
        settings: CardSettings,
        into: int | None,
        out: int | None,
        inputs: int,
        outputs: int,
        play: Source | None,
    ) -> None:
        self._names = " and ".join(
            dict.fromkeys(filter(None, (settings.input_name if inputs else "", settings.output_name)))
        )
        self._inputs, self._outputs = inputs, outputs
        usual = settings.block_frames or 512
        self._blocks: queue.Queue[Block | None] = queue.Queue(max(8, round(QUEUE_S * settings.sample_rate_hz / usual)))
        self._playing: tuple[Source, list[int]] | None = (play, [0]) if play is not None else None
        self._first, self._dropped, self._stopping, self.open = 0, False, False, False
        self._failure: Exception | None = None
        common = {
            "samplerate": settings.sample_rate_hz,
            "blocksize": settings.block_frames,
            "dtype": "float32",
            "latency": settings.latency_s,
            "finished_callback": self._finished,
            "clip_off": True,
        }
        try:
            if inputs and outputs:
                both = {"device": (into, out), "channels": (inputs, outputs)}
                self._stream = sd.Stream(callback=self._both, **both, **common)
            elif inputs:
                self._stream = sd.InputStream(callback=self._heard, device=into, channels=inputs, **common)
            else:
                self._stream = sd.OutputStream(callback=self._sent, device=out, channels=outputs, **common)
            self._stream.start()
            self.open = True
        except sd.PortAudioError as error:
            code = error.args[1] if len(error.args) > 1 else -9999
            cure = CURES.get(code, CURES[-9999])
            raise CardError(f"{self._names}: cannot be opened ({_words(error)}). {cure}") from error

    # In PortAudio's thread

    def _both(self, heard: Any, sent: Any, frames: int, _time: Any, status: Any) -> None:
        self._fill(sent, frames)
        self._keep(np.array(heard, dtype=np.float32), status)

    def _heard(self, heard: Any, frames: int, _time: Any, status: Any) -> None:
        self._keep(np.array(heard, dtype=np.float32), status)

    def _sent(self, sent: Any, frames: int, _time: Any, status: Any) -> None:
        self._fill(sent, frames)
        self._keep(np.zeros((frames, 0), dtype=np.float32), status)

    def _fill(self, sent: Any, frames: int) -> None:
        sent.fill(0.0)
        playing = self._playing
        if playing is None or self._stopping:
            return
        source, at = playing
        try:
            part = source(at[0], frames)
            sent[: len(part), : part.shape[1]] = part[:frames, : self._outputs]
            at[0] += frames
        except Exception as error:  # an exception must not reach PortAudio; read() tells it
            self._failure, self._playing = error, None

    def _keep(self, samples: Any, status: Any) -> None:
        block = Block(
            samples,
            self._first,
            lost=bool(status.input_overflow) or self._dropped,
            starved=bool(status.output_underflow),
        )
        self._first += len(samples)
        try:
            self._blocks.put_nowait(block)
            self._dropped = False
        except queue.Full:
            self._dropped = True

    def _finished(self) -> None:
        with suppress(queue.Full):
            self._blocks.put_nowait(None)

    # In the caller's

    def read(self, timeout_s: float = 2.0) -> Block | None:
        if self._failure is not None:
            raise self._failure
        try:
            block = self._blocks.get(timeout=timeout_s)
        except queue.Empty:
            if self._stopping:
                return None
            raise CardError(
                f"{self._names}: nothing came from it for {timeout_s:g} s: it was unplugged, or the system stopped it. {CURE}"
            ) from None
        if block is None and not self._stopping:
            raise CardError(f"{self._names}: the system ended it: it was unplugged, or another program took it. {CURE}")
        return block

    def play(self, source: Source | None) -> None:
        self._playing = None if source is None else (source, [0])

    def stop(self) -> None:
        self._stopping, self._playing = True, None
        if self.open:
            self.open = False
            with suppress(Exception):  # a device that is gone complains when it is let go, and that is known by then
                self._stream.abort()
            with suppress(Exception):
                self._stream.close()
            self._finished()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()
