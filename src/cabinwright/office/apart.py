"""Long work of the shop in a process of its own: the shop is opened there anew, what was worked out comes back."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from cabinwright.errors import BuildError
from cabinwright.office.worked import Progress, kept_of, remember
from cabinwright.shop.store import Store

__all__ = ["Apart", "apart", "taken_over"]


@dataclass(frozen=True)
class Apart:
    """What another process brings back."""

    answer: Any
    worked: Mapping[Any, Any]


def apart(
    address: str | None, builds: Sequence[Path], call: Callable[..., Any], *given: Any, **named: Any
) -> Callable[[Progress], Apart]:
    """``call(store, *given, progress=..., **named)`` as one thing that can be sent to another process.

    ``address``: of the shop, as ``Store.open`` takes it. ``builds``: what is known of these here need not be worked out there.
    ``call``: a function of a module. Raises ``BuildError`` where one of the builds cannot be read.
    """
    return partial(_done, address, tuple(builds), kept_of(builds), call, given, named)


def _done(
    address: str | None, builds: Sequence[Path], there: Mapping[Any, Any], call: Callable[..., Any],
    given: tuple[Any, ...], named: dict[str, Any], progress: Progress,
) -> Apart:  # fmt: skip
    remember(there)
    store = Store.open(address)
    try:
        answer, worked = call(store, *given, progress=progress, **named), {}
        with suppress(BuildError):  # one was broken meanwhile: the answer holds all the same
            worked = kept_of(builds)
        return Apart(answer, worked)
    finally:
        store.close()


def taken_over(told: Apart) -> Any:
    """The answer; what was worked out for it is known here from now on."""
    remember(told.worked)
    return told.answer
