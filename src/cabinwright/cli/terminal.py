"""Words to the terminal: nothing in them drives it, and nothing is lost silently.

Names of loudspeakers, files and settings come from strangers. A terminal obeys what it is sent (it may be made to move
its cursor, change its title or answer as if typed), so whatever is not plain text is shown as its escape.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from types import FrameType
from typing import TextIO, TypeVar

from cabinwright.errors import OutputError

__all__ = ["Interruptible", "Watched", "flush", "hush", "plain", "rewrite", "say", "tell", "with_progress"]

Answer = TypeVar("Answer")

AGAIN_S = 1.0  #: a second Ctrl-C so soon is the same wish


def plain(text: str) -> str:
    """``text`` with everything but printable signs and line ends written as an escape, ``\\x1b`` for example."""
    return "".join(sign if sign.isprintable() or sign == "\n" else _escape(sign) for sign in text)


def _escape(sign: str) -> str:
    return " " if sign.isspace() and sign not in "\r\v\f\x85\u2028\u2029" else sign.encode("unicode_escape").decode()


def say(*words: object) -> None:
    """One line to standard output. Raises ``OutputError`` where it cannot be written."""
    try:
        print(*(plain(str(word)) for word in words))
    except BrokenPipeError:
        raise
    except OSError as error:
        raise _lost(error) from error


def tell(text: str) -> None:
    """One line to standard error; where that cannot be written either, there is nobody to tell."""
    _to_error(f"{plain(text)}\n")


def rewrite(text: str) -> None:
    """``text`` in place of the line that a terminal shows on standard error; the only words that drive it are ours."""
    _to_error(f"\r\x1b[K{plain(text)}")


def _to_error(text: str) -> None:
    try:
        print(text, end="", file=sys.stderr, flush=True)
    except OSError:
        hush(sys.stderr)


def flush() -> None:
    """Write out what standard output still holds. Raises ``OutputError`` where it cannot be written."""
    try:
        if sys.stdout is not None:
            sys.stdout.flush()
    except BrokenPipeError:
        raise
    except OSError as error:
        raise _lost(error) from error


def hush(stream: TextIO | None) -> None:
    """Let a stream that failed go nowhere: else Python tries once more at its end, and complains."""
    with suppress(OSError, ValueError, AttributeError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())  # type: ignore[union-attr]  # no stream is an AttributeError
        os.close(nowhere)


def _lost(error: OSError) -> OutputError:
    hush(sys.stdout)
    return OutputError(
        f"standard output cannot be written: {error.strerror or error}. Free some space, or send it elsewhere. Files in the "
        "build folder are whole: each is as the command wrote it, or as it was before."
    )


class Interruptible:
    """Ctrl-C raises ``KeyboardInterrupt`` once; pressed again within a second it does not disturb the clearing up."""

    def __init__(self) -> None:
        self._last_s = -1e9
        self._ours = (
            threading.current_thread() is threading.main_thread()
            and signal.getsignal(signal.SIGINT) is signal.default_int_handler
        )

    def __enter__(self) -> Interruptible:
        if self._ours:
            signal.signal(signal.SIGINT, self._caught)
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        """After an interruption the process only ends, and nothing more is to be heard of Ctrl-C."""
        if self._ours:
            signal.signal(signal.SIGINT, signal.default_int_handler if kind is None else signal.SIG_IGN)

    def _caught(self, number: int, frame: FrameType | None) -> None:
        now_s = time.monotonic()
        if now_s - self._last_s > AGAIN_S:
            self._last_s = now_s
            raise KeyboardInterrupt


class Watched:
    """Progress on standard error: one line that rewrites itself in a terminal, one line a step elsewhere."""

    def __init__(self) -> None:
        self._live = sys.stderr.isatty()
        self._what = ""
        self._shown = 0.0

    def __call__(self, what: str, share: float) -> None:
        if self._live and (what != self._what or time.monotonic() - self._shown > 0.1):
            rewrite(f"  {what} {100.0 * share:3.0f} %")
            self._shown = time.monotonic()
        elif not self._live and what != self._what:
            tell(f"  {what}")
        self._what = what

    def done(self) -> None:
        """Clear the line."""
        if self._live:
            rewrite("")


def with_progress(work: Callable[[Watched], Answer]) -> Answer:
    """What ``work`` gives, its progress shown meanwhile."""
    progress = Watched()
    answer = work(progress)
    progress.done()
    return answer
