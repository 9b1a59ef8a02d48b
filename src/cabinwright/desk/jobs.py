"""Long work in a process of its own, so that a page stays live: progress, and a cancel that leaves nothing half written."""

from __future__ import annotations

import multiprocessing
import threading
from collections.abc import Callable
from functools import partial
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from cabinwright.errors import CabinwrightError, RefusedError

__all__ = ["Job", "Work"]

Progress = Callable[[str, float], None]
KINDS = ("tune", "plan", "layout", "book", "verify", "listen", "compare")
WRITING = ("writing", "drawing", "writing the book")  #: from here on a job is done in a moment, and is let finish
PATIENCE_S = 5.0
_SPAWN = multiprocessing.get_context("spawn")  # the same on every system


class Work:
    """Something that takes long, in a process of its own: ``make`` is given a progress, which raises once it is cancelled.

    ``make`` has to be a function of a module, or a ``functools.partial`` of one: it is sent to the other process.
    """

    def __init__(self, make: Callable[[Progress], Any]) -> None:
        self.progress: tuple[str, float] = ("starting", 0.0)
        self.state = "running"
        self.told: Any = None  #: what ``make`` gave
        self.error = ""
        self._wish = _SPAWN.Event()
        ours, theirs = _SPAWN.Pipe(duplex=False)
        self._process = _SPAWN.Process(target=_work, args=(make, theirs, self._wish), daemon=True)
        self._process.start()
        theirs.close()
        self._listener = threading.Thread(target=self._listen, args=(ours,), daemon=True)
        self._listener.start()

    def cancel(self) -> None:
        """Stop it; earlier results stay as they were. What is being written already is let finish."""
        self._wish.set()
        threading.Thread(target=self._insist, daemon=True).start()

    def wait(self, timeout_s: float | None = None) -> str:
        """Wait until it ends; returns its state."""
        self._listener.join(timeout_s)
        return self.state

    def _insist(self) -> None:
        self._process.join(PATIENCE_S)
        if self._process.is_alive() and self.progress[0] not in WRITING:
            self._process.terminate()  # nothing was begun to be written

    def _listen(self, messages: Connection) -> None:
        state, words = "failed", "The work ended without an answer: the process was stopped from outside."
        try:
            while True:
                kind, *told = messages.recv()
                if kind == "progress":
                    self.progress = (str(told[0]), float(told[1]))
                else:
                    state, words = kind, ""
                    if kind == "done":
                        self.told = told[0]
                    elif kind == "failed":
                        words = str(told[0])
        except (EOFError, OSError):
            pass
        self._process.join()
        if state == "failed" and self._wish.is_set() and self._process.exitcode != 0:
            state, words = "cancelled", ""
        self.error = words
        self.state = state


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


def _work(make: Callable[[Progress], Any], messages: Connection, wish: Any) -> None:
    """What runs in the other process."""
    import warnings

    warnings.simplefilter("ignore")  # nobody reads this process's own words

    def progress(what: str, share: float) -> None:
        if wish.is_set():
            raise KeyboardInterrupt
        messages.send(("progress", what, share))

    try:
        messages.send(("done", make(progress)))
    except KeyboardInterrupt:
        messages.send(("cancelled",))
    except CabinwrightError as error:
        messages.send(("failed", str(error)))
    except Exception as error:
        messages.send(("failed", f"a mistake of this program, not yours: {type(error).__name__}: {error}"))
    finally:
        messages.close()
