"""The screen of a build whose sound card is a simulated car, at several times the pace of a real one. For a process of its own.

    python -m web.simulated_screen BUILD

The fourth take is a bad one: the wrong channel is left unmuted; whoever is asked to record it again does it right. With HANDS
in the surroundings nobody makes mistakes, and that file says what a person's hands did beside a round: "polarity CHANNEL",
"turned CHANNEL" (its wires exchanged), "joined", "coil", "calibrator", "finger" (no calibrator after all).
"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np

from cabinwright.desk import Desk
from cabinwright.measure.factory_signal import make_factory_signal
from cabinwright.measure.guide.plan import Item
from cabinwright.measure.sound_card import Block, CardSettings, load_settings
from cabinwright.web import live_stream
from cabinwright.web.recording import round_of
from cabinwright.web.serve import serve
from measure.rig import RATE
from measure.simulated_car import Car, another, truth
from measure.test_bench import divider

PACE = float(os.environ.get("PACE", "4"))


class Paced:
    """A stream that takes its time."""

    def __init__(self, stream: Any, settings: CardSettings) -> None:
        self._stream, self._rate, self._at = stream, settings.sample_rate_hz, time.monotonic()

    def read(self, timeout_s: float = 2.0) -> Block | None:
        block = self._stream.read(timeout_s)
        if block is not None:
            self._at += len(block.samples) / self._rate / PACE
            time.sleep(max(0.0, self._at - time.monotonic()))
        return block

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)

    def __enter__(self) -> Paced:
        return self

    def __exit__(self, *_more: object) -> None:
        self._stream.stop()


class PacedCar(Car):
    """As the simulated car, for a person in front of a browser."""

    desk: Desk
    hands: Path | None = None

    def open(self, settings: CardSettings, **more: object) -> Any:
        self.recorder, self.stick = round_of(self.desk), None
        if self.recorder is None and self.hands is not None and self.hands.exists():
            self.handle(*self.hands.read_text(encoding="utf-8").partition(" ")[::2])
        return Paced(super().open(settings, **more), settings)

    def handle(self, what: str, name: str) -> None:
        """What a person's hands did, beside a round."""
        whole, copy = np.ones(1), {(2, 2): np.array([0.0] * 30 + [0.7])}
        self.noise = {1: 1e-6, 2: 1e-6}
        if what in ("polarity", "turned"):
            self.paths = {(1, 1): (3.0 if what == "polarity" else -3.0) * truth(name, "p1"), **copy}
        elif what in ("joined", "coil"):
            self.paths = {(1, 1): whole if what == "joined" else divider()[: RATE // 2], (1, 2): whole}
        elif what == "calibrator":
            self.stick = 0.1 * np.sqrt(2.0) * np.sin(2.0 * np.pi * 1000.0 * np.arange(6 * RATE) / RATE)[:, None]
            self.paths = {(1, 1): whole}
        else:
            self.noise = {1: 0.01, 2: 1e-6}

    def follow(self, item: Item) -> None:
        """Besides: who records from a stick puts it in, and a radio's outputs are its own."""
        assert self.recorder is not None
        self.noise, self.channel, self.position = {1: 3e-6, 2: 1e-6}, item.channel, item.position
        if item.kind == "factory":
            self.paths, played = {(1, 1): np.array([0.5]), (2, 2): np.array([0.4])}, signal_of(self.desk)
        else:
            names = sounding(item.channel)
            self.hear(sum((truth(name, item.position) for name in names), np.zeros(1)))
            played = self.recorder.signal.samples() if self.recorder.by_car else None
        if played is not None:
            self.stick = np.concatenate([np.zeros((3 * RATE, 2)), played])


def sounding(channel: str) -> list[str]:
    """Loudspeakers that play: the channel's own, or a side's one, or both sides' for everything."""
    both = ["left tweeter", "right tweeter"]
    if channel == "everything":
        return both
    return [f"{channel.split()[0]} tweeter"] if channel.endswith(" side") else [channel]


def signal_of(desk: Desk) -> np.ndarray:
    """What is captured of the radio, from the stick."""
    return make_factory_signal(desk.build).samples()


def main() -> None:
    desk = Desk.open(Path(sys.argv[1]))
    hands = os.environ.get("HANDS")
    car = PacedCar(timing="marker") if hands else PacedCar(mistakes={3: another("left tweeter")})
    car.desk, car.hands = desk, Path(hands) if hands else None
    live_stream.find_card = lambda: (car, load_settings())
    serve(desk, say=lambda words: print(words, flush=True), port=0, browser=False)


if __name__ == "__main__":
    main()
