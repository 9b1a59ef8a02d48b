"""The screen of a build whose sound card is a simulated car, at several times the pace of a real one. For a process of its own.

    python -m web.simulated_screen BUILD

The fourth take is a bad one: the wrong channel is left unmuted; whoever is asked to record it again does it right.
"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path
from typing import Any

from cabinwright.desk import Desk
from cabinwright.measure.sound_card import Block, CardSettings, load_settings
from cabinwright.web import live_stream
from cabinwright.web.recording import round_of
from cabinwright.web.serve import serve
from measure.simulated_car import Car, another

PACE = float(os.environ.get("PACE", "6"))


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

    def open(self, settings: CardSettings, **more: object) -> Any:
        self.recorder = round_of(self.desk)
        return Paced(super().open(settings, **more), settings)


def main() -> None:
    desk = Desk.open(Path(sys.argv[1]))
    car = PacedCar(mistakes={3: another("left tweeter")})
    car.desk = desk
    live_stream.find_card = lambda: (car, load_settings())
    serve(desk, say=lambda words: print(words, flush=True), port=0, browser=False)


if __name__ == "__main__":
    main()
