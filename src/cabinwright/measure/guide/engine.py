"""The guide: a state machine that is given keys and blocks of sound, and says what is to be done.

    ready --go--> countdown -> ambient -> ramp -> sweep -> judging -> ready for the next (good) or verdict (not good)
                                       \\-> noisy      \\-> stopped (too loud, clipped, samples lost)
                               by the car: ambient -> waiting -> sweep -> ...

All time is counted in frames of the sound card, so that a simulated one may run as fast as it likes. Nothing here opens a
device, writes a file or reads a clock.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from cabinwright.measure.guide import words
from cabinwright.measure.guide.ambient import RAMP_DB, Expected, Quiet, chirp_for, expected, plainly_heard, quiet_of
from cabinwright.measure.guide.onset import Onset
from cabinwright.measure.guide.plan import Item
from cabinwright.measure.guide.round import Heard
from cabinwright.measure.guide.watch import Watch
from cabinwright.measure.signal import SweepSignal
from cabinwright.measure.sound_card import Block, CardSettings, Source

__all__ = ["Do", "Guide", "Step", "View"]

Real = NDArray[np.float64]
Samples = NDArray[np.float32]
Step = Literal[
    "ready", "countdown", "ambient", "ramp", "noisy", "waiting", "sweep", "judging", "verdict", "stopped", "finished"
]
What = Literal["open", "play", "begin", "keep", "finish", "drop", "close", "judge", "join"]
LISTENING = ("countdown", "ambient", "ramp", "waiting", "sweep")
AMBIENT_S = 1.5
ANSWER_S = 0.35  #: for latency and room, after a chirp
AFTER_S = 0.6  #: recorded after the signal's end
PATIENCE_S = 60.0  #: for a car that plays by itself


@dataclass(frozen=True)
class Do:
    """One thing to be done, in order."""

    what: What
    source: Source | None = None  #: to play
    samples: Samples | None = None  #: to keep
    item: Item | None = None


@dataclass(frozen=True)
class View:
    """All that a screen or a terminal shows."""

    step: Step
    item: Item | None
    number: int  #: of the item, from 1
    total: int
    done: int
    headline: str
    lines: tuple[str, ...]
    keys: Mapping[str, str]  #: what may be pressed now -> what it does
    share: float = 0.0  #: of this step
    level_db: float = -120.0
    level_unit: str = ""
    seconds: int = 0  #: until the countdown ends
    last: Heard | None = None
    expected: Expected | None = None


@dataclass
class _Place:
    item: Item
    state: Literal["open", "good", "skipped"] = "open"
    reason: str = ""  #: why it is open once more


@dataclass
class Guide:
    """One round of takes. ``signal`` is what the build's sweep is; ``by_car``: the car plays it by itself."""

    plan: Sequence[Item]
    signal: SweepSignal
    card: CardSettings
    by_car: bool = False
    countdown_s: float = 5.0
    length_s: float = 0.0  #: of another signal that the car plays by itself; 0: the sweep's
    step: Step = field(default="ready", init=False)
    last: Heard | None = field(default=None, init=False)

    def __post_init__(self) -> None:
        self._places = [_Place(item, "good" if item.done else "open") for item in self.plan]
        self._rate = self.card.sample_rate_hz
        self._watch = Watch(self.card)
        self._frames = 0  #: in this step
        self._held: list[Samples] = []  #: of the microphone: never longer than a step that listens
        self._rung = 0
        self._quiet: Quiet | None = None
        self._expected: Expected | None = None
        self._onset: Onset | None = None
        self._why = ""
        self._played: Samples | None = None
        self._ends = 0
        self._at = self._next(-1)
        self._before = -1
        if self._at < 0:
            self.step = "finished"

    # What is shown

    @property
    def listening(self) -> bool:
        """Whether blocks of sound are wanted."""
        return self.step in LISTENING

    @property
    def item(self) -> Item | None:
        """What is to be recorded now."""
        return self._places[self._at].item if self._at >= 0 else None

    @property
    def view(self) -> View:
        """Everything as it stands."""
        done = sum(place.state == "good" for place in self._places)
        place = self._places[self._at] if self._at >= 0 else None
        return View(
            step=self.step,
            item=self.item,
            number=self._at + 1,
            total=len(self._places),
            done=done,
            headline=words.headline(self.step, self.item),
            lines=words.lines(self, place.reason if place else "", self._why),
            keys=words.keys(self.step, again=self._before >= 0),
            share=min(1.0, self._frames / max(1, self._length())),
            level_db=self._watch.level_db,
            level_unit=self._watch.unit,
            seconds=-(-max(0, self._length() - self._frames) // self._rate) if self.step == "countdown" else 0,
            last=self.last,
            expected=self._expected,
        )

    @property
    def states(self) -> tuple[tuple[Item, str], ...]:
        """Every take, and whether it is "open", "good" or "skipped"."""
        return tuple((place.item, place.state) for place in self._places)

    @property
    def noise(self) -> Quiet | None:
        """The car by itself, as it was before the last take."""
        return self._quiet

    @property
    def forecast(self) -> Expected | None:
        """What the next take will bring, from the ramp."""
        return self._expected

    @property
    def moved(self) -> bool:
        """Whether the microphone stands elsewhere for this take than for the one before."""
        before = self._places[self._before].item if self._before >= 0 else None
        return self.item is not None and (before is None or before.position != self.item.position)

    def _length(self) -> int:
        """Frames of this step, as far as that is known."""
        lengths = {
            "countdown": self.countdown_s,
            "ambient": AMBIENT_S,
            "ramp": len(RAMP_DB) * self._rung_s,
            "waiting": PATIENCE_S,
        }
        return self._ends if self.step == "sweep" else round(float(lengths.get(self.step, 0.0)) * self._rate)

    @property
    def _rung_s(self) -> float:
        return chirp_for((100.0, 1000.0), rate=self._rate).length_s + ANSWER_S + self.card.latency_s

    # Keys

    def press(self, key: str) -> list[Do]:
        """What a key leads to; a key that means nothing now does nothing."""
        if key not in words.keys(self.step, again=self._before >= 0):
            return []
        if key == "stop":
            return self._stop("stopped by hand. Nothing was kept of this take.")
        if key == "again" and self.step == "ready":
            self._at = self._before
            return self._go()
        if key == "skip":
            self._places[self._at].state = "skipped"
            return self._move_on(self._at)
        if key == "keep":
            return self._joined("kept by hand: " + (self.last.verdict.reason if self.last else ""))
        if key == "go" and self.step == "noisy":
            return [Do("open"), *self._sweep()]
        return self._go()

    def _go(self) -> list[Do]:
        self._why, self._expected = "", None
        self._watch.fresh()
        self._turn("countdown")
        return [Do("open")]

    def _turn(self, step: Step) -> None:
        self.step, self._frames, self._held = step, 0, []

    def _next(self, at: int) -> int:
        """The next place that is open, from ``at`` on and round; then one that was skipped; -1: none."""
        order: list[int] = [*range(at + 1, len(self._places)), *range(at + 1)]
        for state in ("open", "skipped"):
            for number in order:
                if self._places[number].state == state:
                    return number
        return -1

    def _move_on(self, before: int) -> list[Do]:
        self._before = before
        self._at = self._next(before)
        self._turn("ready" if self._at >= 0 else "finished")
        self._why = ""
        return []

    # Sound

    def hear(self, block: Block) -> list[Do]:
        """One block of sound, and what it leads to."""
        if not self.listening:
            return []
        why = self._watch.hear(block)
        if self.step == "countdown":
            why = ""  # nothing is played yet: a door may slam
        if block.lost and self.step in ("ramp", "sweep", "waiting"):
            why = why or words.LOST
        if why:
            return self._stop(why)
        keep = [Do("keep", samples=block.samples)] if self.step in ("sweep", "waiting") else []
        self._frames += len(block.samples)
        if self.step in ("ambient", "ramp"):
            self._held.append(block.samples)
        after = {
            "countdown": self._counted,
            "ambient": self._listened,
            "ramp": self._ramped,
            "waiting": lambda: self._awaited(block),
            "sweep": self._swept,
        }[self.step]
        return [*keep, *after()]

    def _stop(self, why: str) -> list[Do]:
        self._why = why
        self._turn("stopped")
        return [Do("play"), Do("drop"), Do("close")]

    def failed(self, why: str) -> list[Do]:
        """The device, the disk or the reader gave up: what it said is shown, and the take may be tried again."""
        return self._stop(why)

    def _counted(self) -> list[Do]:
        if self._frames >= self._length():
            self._turn("ambient")
        return []

    def _listened(self) -> list[Do]:
        if self._frames < self._length():
            return []
        self._quiet = quiet_of(self._microphone(), rate=self._rate)
        if self.by_car:
            self._turn("waiting")
            self._onset = Onset(self.signal if not self.length_s else None, self._quiet, rate=self._rate)
            return [Do("begin", item=self.item)]
        self._turn("ramp")
        self._rung = 0
        return [Do("play", source=self._chirp())]

    def _microphone(self) -> Samples:
        return np.concatenate([part[:, self.card.microphone_channel - 1] for part in self._held])

    def _chirp(self) -> Source:
        assert self.item is not None
        sweep = chirp_for(self.item.band_hz, rate=self._rate)
        gain = self.signal.level * 10.0 ** (RAMP_DB[self._rung] / 20.0)
        wave = gain * sweep.at(np.arange(round(sweep.length_s * self._rate)) / self._rate)
        second = wave if self.card.timing == "loopback" else np.zeros(len(wave))
        return self._out(np.stack([wave, second], axis=1).astype(np.float32))

    def _out(self, both: Samples) -> Source:
        """``both`` (frames, 2) on the outputs that were chosen."""
        wide = max(self.card.car_channel, self.card.second_channel)

        def source(first: int, count: int) -> Samples:
            part = both[first : first + count]
            sent = np.zeros((len(part), wide), dtype=np.float32)
            sent[:, self.card.car_channel - 1] = part[:, 0]
            if self.card.second_channel:
                sent[:, self.card.second_channel - 1] = part[:, 1]
            return sent

        return source

    def _ramped(self) -> list[Do]:
        if self._frames < round((self._rung + 1) * self._rung_s * self._rate):
            return []
        assert self.item is not None and self._quiet is not None
        wave = self._microphone()
        self._held = []
        band = self.item.band_hz
        if not plainly_heard(wave, self._quiet, band_hz=band, rate=self._rate):
            self._rung += 1
            if self._rung == len(RAMP_DB):
                return self._stop(words.unheard(self.item))
            return [Do("play", source=self._chirp())]
        self._expected = expected(
            wave,
            self._quiet,
            self.signal.sweep,
            chirp_gain=10.0 ** (RAMP_DB[self._rung] / 20.0),
            band_hz=band,
            rate=self._rate,
            free=self.card.timing == "loopback",
            highest_gain=self._bearable(wave, 10.0 ** (RAMP_DB[self._rung] / 20.0)),
        )
        if self._expected.peak > words.TOO_HIGH and self.card.timing == "marker":
            return self._stop(words.too_high(self._expected.peak))
        if not self._expected.enough:
            self._turn("noisy")
            return [Do("play"), Do("close")]
        return self._sweep()

    def _bearable(self, wave: Samples, gain: float) -> float:
        """Gain of the sweep at which the level at the microphone stays below what was stated; the chirp's loudest 50 ms tell."""
        if self.card.unit_level_db is None:
            return 1.0
        span = round(0.05 * self._rate)
        rows = wave[: len(wave) // span * span].reshape(-1, span).astype(np.float64)
        loudest = float(np.max(np.mean(rows**2, axis=1)))
        level_db = self.card.unit_level_db + 10.0 * np.log10(max(loudest, 1e-20)) - 20.0 * np.log10(gain)
        return float(10.0 ** (min(0.0, self.card.loudest_db - 3.0 - level_db) / 20.0))

    def _sweep(self) -> list[Do]:
        """Play the whole signal and keep what comes."""
        if self._played is None:
            self._played = self.signal.samples().astype(np.float32)
        gain = self._expected.gain if self._expected is not None else 1.0
        self._turn("sweep")
        self._ends = round((self.signal.length_s + AFTER_S + self.card.latency_s) * self._rate)
        return [Do("begin", item=self.item), Do("play", source=self._out(np.float32(gain) * self._played))]

    def _awaited(self, block: Block) -> list[Do]:
        assert self._onset is not None
        late_s = self._onset.hear(block.samples[:, self.card.microphone_channel - 1])
        if late_s is None:
            return self._stop(words.NOTHING_CAME) if self._frames >= self._length() else []
        whole = self.length_s or self.signal.length_s
        self._turn("sweep")
        self._ends = round((whole - late_s + AFTER_S) * self._rate)
        return []

    def _swept(self) -> list[Do]:
        if self._frames < self._ends:
            return []
        self._turn("judging")
        return [Do("play"), Do("close"), Do("finish"), Do("judge", item=self.item)]

    # Verdicts

    def judged(self, heard: Heard) -> list[Do]:
        """The verdict on the take that was made last."""
        self.last = heard
        if heard.verdict.good:
            return self._joined("")
        self._turn("verdict")
        return []

    def _joined(self, note: str) -> list[Do]:
        item = self.item
        assert item is not None and self.last is not None
        place = self._places[self._at]
        place.item = replace(item, done=self.last.verdict.file)
        place.state, place.reason = "good", note
        self._reopen()
        self._move_on(self._at)
        return [Do("join", item=place.item)]

    def _reopen(self) -> None:
        """What turned out bad beside the last take is recorded again."""
        others = {(bad.channel, bad.position): bad.reason for bad in (self.last.others if self.last else ())}
        for number, place in enumerate(self._places):
            reason = others.get((place.item.channel, place.item.position))
            if reason and number != self._at and place.state == "good" and place.reason != reason:
                place.state, place.reason = "open", reason
