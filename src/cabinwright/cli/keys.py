"""Single keys from a terminal, without waiting for Enter; whole lines where there is no terminal."""

from __future__ import annotations

import sys
import time
from types import TracebackType
from typing import Any, Self

__all__ = ["Keys"]

ENDED = "\x04"
TICK_S = 0.02


class Keys:
    """Keys as they are pressed. Leaving the ``with`` gives the terminal back as it was."""

    def __init__(self) -> None:
        self.live = sys.stdin is not None and sys.stdin.isatty()
        self._before: Any = None

    def __enter__(self) -> Self:
        if self.live and sys.platform != "win32":
            import termios
            import tty

            self._before = termios.tcgetattr(sys.stdin)
            tty.setcbreak(sys.stdin)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._before is not None and sys.platform != "win32":
            import termios

            termios.tcsetattr(sys.stdin, termios.TCSADRAIN, self._before)

    def read(self, timeout_s: float) -> str:
        """A key that was pressed within ``timeout_s``, Enter as a line end; nothing where none was."""
        if not self.live:
            return ""
        if sys.platform == "win32":
            import msvcrt

            ends = time.monotonic() + timeout_s
            while not msvcrt.kbhit():
                if time.monotonic() >= ends:
                    return ""
                time.sleep(TICK_S)
            return msvcrt.getwch().replace("\r", "\n")
        import select

        ready, _, _ = select.select([sys.stdin], [], [], timeout_s)
        return sys.stdin.read(1) or ENDED if ready else ""

    def line(self) -> str:
        """A whole line, for what is no terminal: a script, or a test. Its first sign is the key; an end of input ends the
        round."""
        text = sys.stdin.readline() if sys.stdin is not None else ""
        return (text.strip()[:1] or "\n") if text else ENDED
