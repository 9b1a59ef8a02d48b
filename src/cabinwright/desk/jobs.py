"""Long work in a process of its own, so that a page stays live: progress, and a cancel that leaves nothing half written.

A process spends its first seconds on loading its modules. ``keep_ready`` has one do that before it is needed: it waits for its
order, and where it did it well for the next, remembering what still holds of a build: recordings are not read twice. It ends
with work that was cancelled or refused, and when nobody is left who could send it some.
"""

from __future__ import annotations

import multiprocessing
import threading
from collections.abc import Callable
from contextlib import suppress
from functools import lru_cache, partial
from importlib import import_module
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from cabinwright.errors import CabinwrightError, RefusedError
from cabinwright.stages.memory import Memory

__all__ = ["Job", "Work", "keep_ready"]

Progress = Callable[[str, float], None]
KINDS = ("tune", "plan", "layout", "book", "verify", "listen", "compare")
WRITING = ("writing", "drawing", "writing the book")  #: from here on a job is done in a moment, and is let finish
PATIENCE_S = 5.0
PAUSE_S = 3.0  #: before a process is made ready: the page that is being drawn comes first
NEEDED = (
    "cabinwright.session",
    "cabinwright.desk.past",
    "scipy.signal",
    "matplotlib.figure",
    "matplotlib.backends.backend_svg",
)
_SPAWN = multiprocessing.get_context("spawn")  # the same on every system


class _Worker:
    """A process that takes orders: ``orders`` leads to it, and brings back what it tells. A word while it works means: stop."""

    def __init__(self, *, early: bool = False) -> None:
        self.orders, theirs = _SPAWN.Pipe()
        self.process = _SPAWN.Process(target=_work, args=(theirs, early), daemon=True)
        self.process.start()
        theirs.close()


class _Ready:
    """At most one worker that waits, for all of this process; where none is to be kept, a worker ends with its first work."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._kept = False
        self._spare: _Worker | None = None

    def keep(self) -> None:
        """From now on have one, a moment from now and after each work."""
        if not self._kept:
            self._kept = True
            self.renew()

    def renew(self) -> None:
        """Start another a moment from now, where one is wanted and missing."""
        if self._kept and self._spare is None:
            timer = threading.Timer(PAUSE_S, self._start)
            timer.daemon = True
            timer.start()

    def _start(self) -> None:
        with self._lock:
            if self._spare is None:
                self._spare = _Worker(early=True)

    def take_back(self, worker: _Worker) -> bool:
        """Keep a worker that did its work well for the next; False where it is not wanted."""
        with self._lock:
            if not self._kept or self._spare is not None:
                return False
            self._spare = worker
            return True

    def ordered(self, make: Callable[[Progress], Any]) -> _Worker:
        """A worker that was given its order: the one that waits, unless it was ended from outside meanwhile."""
        with self._lock:
            spare, self._spare = self._spare, None
        if spare is not None and spare.process.is_alive():
            with suppress(OSError):  # it ended this moment
                spare.orders.send(make)
                return spare
        worker = _Worker()
        worker.orders.send(make)
        return worker


_READY = _Ready()


def keep_ready() -> None:
    """Have a process ready for the next work: for a program that lives long, as a screen does. Once is enough."""
    _READY.keep()


class Work:
    """Something that takes long, in a process of its own: ``make`` is given a progress, which raises once it is cancelled.

    ``make`` has to be a function of a module, or a ``functools.partial`` of one: it is sent to the other process.
    """

    def __init__(self, make: Callable[[Progress], Any]) -> None:
        self.progress: tuple[str, float] = ("starting", 0.0)
        self.state = "running"
        self.told: Any = None  #: what ``make`` gave
        self.error = ""
        self._worker = _READY.ordered(make)
        self._orders, self._process = self._worker.orders, self._worker.process
        self._unwanted = False
        self._ending = threading.Lock()
        self._listener = threading.Thread(target=self._listen, daemon=True)
        self._listener.start()

    def cancel(self) -> None:
        """Stop it; earlier results stay as they were. What is being written already is let finish."""
        with self._ending:  # or the word would reach a process that works for somebody else by then
            if self.state != "running":
                return
            self._unwanted = True
            with suppress(OSError):  # it has ended
                self._orders.send("stop")
        threading.Thread(target=self._insist, daemon=True).start()

    def wait(self, timeout_s: float | None = None) -> str:
        """Wait until it ends; returns its state."""
        self._listener.join(timeout_s)
        return self.state

    def _insist(self) -> None:
        self._process.join(PATIENCE_S)
        if self.state == "running" and self._process.is_alive() and self.progress[0] not in WRITING:
            self._process.terminate()  # nothing was begun to be written

    def _listen(self) -> None:
        state, words = "failed", "The work ended without an answer: the process was stopped from outside."
        try:
            while True:
                kind, *told = self._orders.recv()
                if kind == "progress":
                    self.progress = (str(told[0]), float(told[1]))
                else:
                    state, words = kind, ""
                    if kind == "done":
                        self.told = told[0]
                    elif kind == "failed":
                        words = str(told[0])
                    with self._ending:
                        self.error, self.state = words, state  # the process itself takes a while to go
                        if state == "done" and _READY.take_back(self._worker):
                            return
                    break
        except (EOFError, OSError):
            pass
        self._orders.close()
        self._process.join()
        if state == "failed" and self._unwanted and self._process.exitcode != 0:
            state, words = "cancelled", ""
        self.error = words
        self.state = state
        _READY.renew()


class Job(Work):
    """One command that runs beside the desk, on the build as it stands in its file now."""

    def __init__(self, kind: str, path: Path, options: dict[str, Any]) -> None:
        if kind not in KINDS:
            raise RefusedError(f"{kind}: no such work. Choose {', '.join(KINDS)}.")
        self.kind = kind
        super().__init__(partial(_command, kind, path, options))

    @property
    def answer(self) -> tuple[Path, ...]:
        """The files that were written."""
        return tuple(self.told) if self.state == "done" and self.kind != "compare" else ()


def _command(kind: str, path: Path, options: dict[str, Any], progress: Progress) -> Any:
    from cabinwright.desk.past import compare
    from cabinwright.session import Session

    if kind == "compare":
        return compare(f"{path}@{options['number']}", str(path), progress).result
    answer: Any = getattr(Session.open(path, keep=_remembered(path)), kind)(progress, **options)
    return tuple(answer if kind == "book" else answer[-1])


@lru_cache(maxsize=1)
def _remembered(path: Path) -> Memory:
    """What this process still knows of the build it worked on last."""
    return Memory()


def _work(messages: Connection, early: bool) -> None:
    """What runs in the other process; ``early``: its orders come later, and what most of them need is loaded before."""
    import warnings

    warnings.simplefilter("ignore")  # nobody reads this process's own words

    def progress(what: str, share: float) -> None:
        if messages.poll():  # told to stop, or nobody is left who could say so
            raise KeyboardInterrupt
        messages.send(("progress", what, share))

    try:
        for name in NEEDED if early else ():
            import_module(name)
        while True:
            make: Callable[[Progress], Any] | str = messages.recv()  # a word that came too late stops nothing
            if callable(make) and not _did(messages, make, progress):
                break
    except (EOFError, OSError, KeyboardInterrupt):
        pass  # nobody is left who could send one
    finally:
        messages.close()


def _did(messages: Connection, make: Callable[[Progress], Any], progress: Progress) -> bool:
    """One order; whether it went well."""
    try:
        messages.send(("done", make(progress)))
        return True
    except KeyboardInterrupt:
        with suppress(OSError):  # nobody is left to be told
            messages.send(("cancelled",))
    except CabinwrightError as error:
        messages.send(("failed", str(error)))
    except Exception as error:
        messages.send(("failed", f"a mistake of this program, not yours: {type(error).__name__}: {error}"))
    return False
