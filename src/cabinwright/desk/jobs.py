"""Long work in a process of its own, so that a page stays live: progress, and a cancel that leaves nothing half written.

A process spends its first seconds on loading its modules. ``keep_ready`` has one do that before it is needed: it waits for its
order, takes one, and ends with it; it ends as well when nobody is left who could send one.
"""

from __future__ import annotations

import multiprocessing
import threading
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from importlib import import_module
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from cabinwright.errors import CabinwrightError, RefusedError

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
    """A process that takes one order: ``orders`` leads to it, and brings back what it tells. A second word on it means: stop."""

    def __init__(self, *, early: bool = False) -> None:
        self.orders, theirs = _SPAWN.Pipe()
        self.process = _SPAWN.Process(target=_work, args=(theirs, early), daemon=True)
        self.process.start()
        theirs.close()


class _Ready:
    """At most one worker that waits, for all of this process."""

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
        worker = _READY.ordered(make)
        self._orders, self._process = worker.orders, worker.process
        self._unwanted = False
        self._listener = threading.Thread(target=self._listen, daemon=True)
        self._listener.start()

    def cancel(self) -> None:
        """Stop it; earlier results stay as they were. What is being written already is let finish."""
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
        if self._process.is_alive() and self.progress[0] not in WRITING:
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
                    self.error, self.state = words, state  # the process itself takes a while to go
        except (EOFError, OSError):
            pass
        self._process.join()
        if state == "failed" and self._unwanted and self._process.exitcode != 0:
            state, words = "cancelled", ""
        self.error = words
        self.state = state
        self._orders.close()
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
    answer: Any = getattr(Session.open(path), kind)(progress, **options)
    return tuple(answer if kind == "book" else answer[-1])


def _work(messages: Connection, early: bool) -> None:
    """What runs in the other process; ``early``: its order comes later, and what most orders need is loaded before."""
    import warnings

    warnings.simplefilter("ignore")  # nobody reads this process's own words

    def progress(what: str, share: float) -> None:
        if messages.poll():  # told to stop, or nobody is left who could say so
            raise KeyboardInterrupt
        messages.send(("progress", what, share))

    try:
        for name in NEEDED if early else ():
            import_module(name)
        make: Callable[[Progress], Any] = messages.recv()
    except (EOFError, OSError, KeyboardInterrupt):
        return  # nobody is left who could send one
    try:
        messages.send(("done", make(progress)))
    except KeyboardInterrupt:
        with suppress(OSError):  # nobody is left to be told
            messages.send(("cancelled",))
    except CabinwrightError as error:
        messages.send(("failed", str(error)))
    except Exception as error:
        messages.send(("failed", f"a mistake of this program, not yours: {type(error).__name__}: {error}"))
    finally:
        messages.close()
