"""A simulated car around the little car of ``rig``: an obedient person does what the guide asks, and the card hears it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from scipy.signal import butter, sosfilt

from cabinwright.desk import Desk, Recorder
from cabinwright.measure.guide.plan import Item
from cabinwright.measure.sound_card import CardSettings, SimulatedCard, Stream
from measure.rig import PLACES, SPEAKERS, document, responses

TRUTH = responses(5)
GAIN = 0.3  #: of the microphone's input


def truth(channel: str, position: str) -> np.ndarray:
    """What is heard of one channel at one position."""
    return GAIN * TRUTH[list(SPEAKERS).index(channel), list(PLACES).index(position)]


@dataclass
class Car(SimulatedCard):
    """Whoever sits in it unmutes what is asked for and puts the microphone there, unless ``mistakes`` say otherwise."""

    recorder: Recorder | None = None
    timing: str = "loopback"
    mistakes: dict[int, Callable[[Car], None]] = field(default_factory=dict)  #: by number of the stream, from 0
    opened: int = 0
    channel: str = ""
    position: str = ""

    def __post_init__(self) -> None:
        self.noise = {1: 3e-6, 2: 1e-6}

    def open(self, settings: CardSettings, **more: object) -> Stream:
        item = self.recorder.guide.item if self.recorder else None
        if item is not None:
            self.follow(item)
            mistake = self.mistakes.get(self.opened)
            if mistake is not None:
                mistake(self)
            self.opened += 1
        return super().open(settings, **more)

    def follow(self, item: Item) -> None:
        """Unmute and place."""
        self.channel, self.position = item.channel, item.position
        self.hear(truth(self.channel, self.position))

    def hear(self, path: np.ndarray) -> None:
        """``path`` from the car's output to the microphone; the second output is the copy or the markers."""
        if self.timing == "loopback":
            self.paths = {(1, 1): path, (2, 2): np.array([0.0] * 30 + [0.7])}
        else:
            self.paths = {(1, 1): path, (2, 1): truth("right tweeter", self.position)}


def text(timing: str = "loopback", *, sweep_s: float = 1.5, places: int = 5, channels: int = 5) -> str:
    """The little car's build without any recording, cut to a few channels and places."""
    parts = document(timing, sweep_s=sweep_s).split("\n[[")
    kept = [part for part in parts if not part.startswith("recordings]]")]
    tail = parts[-1][parts[-1].index("[tuning]") :]
    gone = [*list(PLACES)[places:], *list(SPEAKERS)[channels:]]
    kept = [part for part in kept if not any(f'name = "{name}"' in part for name in gone)]
    return "\n[[".join(kept) + "\n" + tail


def sit_down(folder: Path, car: Car, content: str, **more: object) -> Recorder:
    """A recorder on a fresh build."""
    folder.mkdir(parents=True, exist_ok=True)
    if not (folder / "build.toml").exists():
        (folder / "build.toml").write_text(content, encoding="utf-8", newline="\n")
    return again(Desk(folder), car, **more)


def again(desk: Desk, car: Car, **more: object) -> Recorder:
    """The next recorder on the same build."""
    wish = {"timing": car.timing, **dict(more.pop("card", {}))}
    recorder = Recorder(desk, car, car.settings(**wish), countdown_s=0.1, **more)
    car.recorder = recorder
    return recorder


def press(recorder: Recorder, key: str) -> str:
    """Press a key and wait for what comes of it; returns the step."""
    recorder.press(key)
    while recorder.turn():
        pass
    return recorder.view.step


def clipped(car: Car) -> None:
    """The preamplifier is at its end, below the converter's."""
    wave = car.paths[1, 1]
    car.paths = {**car.paths, (1, 1): 40.0 * wave}


def another(channel: str) -> Callable[[Car], None]:
    """The wrong channel is unmuted."""
    return lambda car: car.hear(truth(channel, car.position))


def rumble(car: Car) -> None:
    """A lorry with its engine on, beside the car."""
    car.noise = {1: 0.003, 2: 1e-6}


def calm(car: Car) -> None:
    """It has gone."""
    car.noise = {1: 3e-6, 2: 1e-6}


def deaf(car: Car) -> None:
    """A microphone that hears bass alone."""
    car.hear(sosfilt(butter(6, 200.0, fs=48000, output="sos"), truth(car.channel, car.position)))
