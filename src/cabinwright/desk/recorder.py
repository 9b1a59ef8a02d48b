"""Recording into a build that is being worked on: the guide says what is to be done, this does it.

A take lies on the disk under its own name before anything is said about it, and joins ``build.toml`` through the desk, as one
change that can be taken back. So whatever happens in between (a device pulled out, a full disk, a killed process) costs the
take that was being made and nothing else; one that was whole but not yet joined is found again by the next recorder.
"""

from __future__ import annotations

import shutil
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path

from cabinwright.build.document import Build, Tuning
from cabinwright.desk.desk import Desk
from cabinwright.errors import CabinwrightError, CardError, OutputError, PersonError, RefusedError
from cabinwright.files import told, write_all
from cabinwright.measure.calibration import read_calibration
from cabinwright.measure.factory_signal import make_factory_signal
from cabinwright.measure.guide import Do, Guide, Heard, Item, Round, TakeFile, View, leftovers, plan_of
from cabinwright.measure.guide.plan import Kind
from cabinwright.measure.signal import SweepSignal, make_sweep
from cabinwright.measure.sound_card import Card, CardSettings, Stream
from cabinwright.stages import survey

__all__ = ["Recorder", "ready_for"]

TABLES = {"tuning": "recordings", "verification": "verification_recordings", "factory": "factory_recordings"}
CALIBRATION = "microphone-calibration.txt"
LEAST_FREE = 200_000_000  #: bytes of disk below which a round is not begun
IDLE_S = 0.05


class Recorder:
    """One round in one build, with one sound card. Raises ``PersonError`` where it cannot be begun, with the cure."""

    def __init__(
        self,
        desk: Desk,
        card: Card,
        settings: CardSettings,
        *,
        kind: Kind = "tuning",
        by_car: bool = False,
        countdown_s: float = 5.0,
        volumes: Sequence[int] = (),
    ) -> None:
        self.desk, self.card, self.kind = desk, card, kind
        self.by_car = by_car or kind == "factory"
        self.settings, self.signal = ready_for(desk.build, settings, kind=kind, by_car=self.by_car)
        plan = plan_of(desk.build, kind, volumes=volumes)
        if not plan:
            raise RefusedError(f"{desk.file}: {_nothing(kind)}")
        _room(desk.folder)
        self.round = Round(desk.folder, verifying=kind == "verification")
        whole_s = make_factory_signal(desk.build).length_s if kind == "factory" else 0.0
        self._lock, self._next = threading.RLock(), threading.Lock()
        self._stream: Stream | None = None
        self._file: TakeFile | None = None
        self._stored = ""
        self._closed = threading.Event()
        self.notes = [*self._unfinished()]
        plan, joined = self._recovered(plan)
        self.notes += joined
        self.guide = Guide(
            plan, self.signal, self.settings, by_car=self.by_car, countdown_s=countdown_s, length_s=whole_s
        )

    @property
    def view(self) -> View:
        """What is to be shown."""
        return self.guide.view

    def press(self, key: str) -> None:
        """A key of the person; it waits for one block of sound at most."""
        with self._my_turn():
            self._do(self.guide.press(key))

    def turn(self) -> bool:
        """One block of sound, if one is wanted; else False: there is nothing to do until a key is pressed."""
        with self._my_turn():
            if self._stream is None or not self.guide.listening:
                return False
            try:
                block = self._stream.read()
                self._do(self.guide.hear(block) if block is not None else self.guide.failed("the sound card ended."))
            except CabinwrightError as error:
                self._failed(error)
            return True

    def run(self) -> None:
        """Work until ``close``; for a thread of its own."""
        while not self._closed.is_set():
            try:
                busy = self.turn()
            except Exception as error:  # a thread must not die in silence, and nothing must go on playing
                busy = False
                with self._my_turn():
                    self._failed(RefusedError(f"a mistake of this program: {type(error).__name__}: {error}"))
            if not busy:
                self._closed.wait(IDLE_S)

    def start(self) -> None:
        """Work in a thread of its own."""
        threading.Thread(target=self.run, daemon=True, name="recorder").start()

    def close(self) -> None:
        """Stop whatever plays; a take that was being made is dropped, everything else is on the disk."""
        self._closed.set()
        with self._my_turn():
            self._do([Do("drop"), Do("close")])

    @contextmanager
    def _my_turn(self) -> Iterator[None]:
        """The lock, to each as it was asked for: else the thread that records would take it back before a key had it."""
        with self._next:
            self._lock.acquire()
        try:
            yield
        finally:
            self._lock.release()

    # What the guide asks for

    def _do(self, asked: Sequence[Do]) -> None:
        try:
            for one in asked:
                self._one(one)
        except CabinwrightError as error:
            self._failed(error)

    def _failed(self, error: CabinwrightError) -> None:
        """Silence first; then what went wrong is shown, and the take can be tried again."""
        for one in self.guide.failed(f"stopped: {error}"):
            with suppress(CabinwrightError):
                self._one(one)

    def _one(self, one: Do) -> None:
        if one.what == "open":
            self._close()
            self._stream = self.card.open(self.settings)
        elif one.what == "play" and self._stream is not None:
            self._stream.play(one.source)
        elif one.what == "close":
            self._close()
        elif one.what == "begin":
            assert one.item is not None
            self._drop()
            rate = self.settings.sample_rate_hz
            self._file = TakeFile(self.desk.folder, one.item.stem, channels=len(self._kept), sample_rate_hz=rate)
        elif one.what == "keep" and self._file is not None and one.samples is not None:
            self._file.write(one.samples[:, self._kept])
        elif one.what == "finish" and self._file is not None:
            file, self._file = self._file, None
            self._stored = file.finish()
        elif one.what == "drop":
            self._drop()
        elif one.what == "judge" and one.item is not None:
            self._do(self.guide.judged(self._heard(self.desk.build, one.item, self._stored)))
        elif one.what == "join" and one.item is not None:
            self._join(one.item)

    @property
    def _kept(self) -> list[int]:
        """Columns of the input that a take holds: the microphone, and what it is timed or compared by."""
        copied = self.kind == "factory" or self.settings.timing == "loopback"
        own = [self.settings.microphone_channel - 1]
        return [*own, self.settings.copy_channel - 1] if copied else own

    def _close(self) -> None:
        if self._stream is not None:
            stream, self._stream = self._stream, None
            stream.stop()

    def _drop(self) -> None:
        if self._file is not None:
            file, self._file = self._file, None
            file.drop()

    def _heard(self, build: Build, item: Item, file: str) -> Heard:
        if self.kind == "factory":
            return self.round.hear_capture(build, item, file)
        with suppress(PersonError):  # without an answer of the survey arrivals are held against nothing
            build = survey.locate(build)
        return self.round.hear(build, item, file)

    # The build

    def _join(self, item: Item) -> None:
        """The take's row: a new one, or the file of the one that is there."""
        table, build = TABLES[self.kind], self.desk.build
        by, why = "record", f"recorded {item.name}"
        if self.kind == "factory":
            rows = build.factory_recordings
            there = [(row.output, row.volume) == (item.channel, item.volume) for row in rows]
            row = {
                "output": item.channel,
                **({} if item.volume is None else {"volume": item.volume}),
                "file": item.done,
            }
        else:
            self._settle_tuning(build)
            takes = getattr(build, table)
            there = [(row.channel, row.position) == (item.channel, item.position) for row in takes]
            row = {"channel": item.channel, "position": item.position, "kind": "sweep", "file": item.done}
        if True in there:
            self.desk.edit(f"{table}[{there.index(True)}].file", item.done, by=by, why=why)
        else:
            self.desk.add(table, row, by=by, why=why)

    def _settle_tuning(self, build: Build) -> None:
        """Say how recordings keep time, and copy the microphone's calibration into the build, where nobody did."""
        tuning = build.tuning
        if tuning is None or tuning.timing is None:
            self.desk.edit("tuning.timing", self.settings.timing, by="record")
        wish = self.settings.microphone_calibration
        if wish and (tuning is None or tuning.microphone_calibration is None):
            path = Path(wish)
            try:
                content = path.read_bytes()
            except OSError as error:
                cure = "Name it anew with `cabinwright record --card`."
                raise CardError(
                    f"{path}: the microphone's calibration cannot be read ({error.strerror}). {cure}"
                ) from error
            read_calibration(path.parent, path.name)
            if not (self.desk.folder / CALIBRATION).exists():
                write_all(self.desk.folder, {CALIBRATION: content})
            self.desk.edit("tuning.microphone_calibration", CALIBRATION, by="record")

    # What was there before

    def _recovered(self, plan: Sequence[Item]) -> tuple[tuple[Item, ...], list[str]]:
        """Takes that lie on the disk and in no table, from a program that was killed: judged, and joined where they are good."""
        listed = {row.file.casefold() for table in TABLES.values() for row in getattr(self.desk.build, table)}
        found, notes = [], []
        for item in plan:
            held = self.desk.folder / item.stem
            names = (
                []
                if item.done
                else sorted(held.parent.glob(f"{held.name}*.wav"), key=lambda path: path.stat().st_mtime)
            )
            names = [
                path
                for path in names
                if path.stem.removeprefix(held.name).strip("_").isdigit() or path.stem == held.name
            ]
            for path in reversed(names):
                file = path.relative_to(self.desk.folder).as_posix()
                if file.casefold() in listed:
                    continue
                heard = self._heard(self.desk.build, item, file)
                if heard.verdict.good:
                    item = replace(item, done=file)
                    self._join(item)
                    notes.append(f"{file}: was recorded and not yet in build.toml; it is good, and joined.")
                    break
            found.append(item)
        return tuple(found), notes

    def _unfinished(self) -> list[str]:
        return [
            f"{path}: was being recorded when the program ended. It is cut short and of no use; take it away when you like."
            for path in leftovers(self.desk.folder)
        ]


def ready_for(build: Build, settings: CardSettings, *, kind: Kind, by_car: bool) -> tuple[CardSettings, SweepSignal]:
    """Settings and signal as this round needs them. Raises ``CardError`` or ``RefusedError`` where they do not go together."""
    stated = build.tuning.timing if build.tuning else None
    timing = stated or ("marker" if by_car else settings.timing)
    if by_car and kind != "factory" and timing != "marker":
        raise RefusedError(
            'build.toml: a car that plays by itself keeps time by markers, and [tuning] says timing = "loopback". Write timing = '
            '"marker", write sweep.wav anew with `cabinwright sweep`, and record the whole round that way.'
        )
    copied = kind == "factory" or timing == "loopback"
    if copied and not settings.copy_channel:
        what = "the reference output" if kind == "factory" else "the electrical copy"
        cure = "Choose it with `cabinwright record --card`" + (
            "." if kind == "factory" else ', or write timing = "marker".'
        )
        raise CardError(f"no input is chosen for {what}. {cure}")
    changed = {"timing": timing, **({"output_name": ""} if by_car else {}), **({} if copied else {"copy_channel": 0})}
    settings = settings.model_copy(update=changed)
    if not settings.input_name:
        raise CardError("no input is chosen. Choose one with `cabinwright record --card`.")
    if not by_car and not settings.output_name:
        raise CardError(
            "no output is chosen. Choose one with `cabinwright record --card`, or let the car play: --by-car."
        )
    if not by_car and not settings.second_channel:
        raise CardError(
            "no second output is chosen, for the copy or the markers. Choose it with `cabinwright record --card`."
        )
    tuning = (build.tuning or Tuning()).model_copy(update={"timing": timing})
    signal = make_sweep(build.model_copy(update={"tuning": tuning}))
    rate = settings.sample_rate_hz
    if not by_car and rate != signal.sample_rate_hz:
        if signal.sweep.high_hz >= 0.5 * rate:
            raise CardError(
                f"the sound card runs at {rate} Hz, and the sweep goes up to {signal.sweep.high_hz:g} Hz: more "
                "than half of it. Choose a "
                f"higher rate with `cabinwright record --card`, or lower high_hz in [tuning.sweep]."
            )
        signal = replace(signal, sample_rate_hz=rate)
    return settings, signal


def _nothing(kind: Kind) -> str:
    if kind == "factory":
        return "there are no [[factory_outputs]] to capture. Name them first; docs/factory.md shows how."
    return (
        "there is nothing to record. Name [[channels]] and [[microphone_positions]] first; docs/recording.md says where "
        "they belong."
    )


def _room(folder: Path) -> None:
    try:
        free = shutil.disk_usage(folder).free
    except OSError as error:
        raise OutputError(told(folder, folder, error)) from error
    if free < LEAST_FREE:
        raise OutputError(
            f"{folder}: {free / 1e6:.0f} MB are free on this disk, a round needs {LEAST_FREE / 1e6:.0f} MB or "
            "more. Free some space first."
        )
