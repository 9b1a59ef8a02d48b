"""What takes long, as functions that another process can run: each opens the shop itself and closes it again."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from datetime import date
from decimal import Decimal
from pathlib import Path

from cabinwright.office import bench, offers, returns, showcase
from cabinwright.shop.store import Store

__all__ = ["book", "change_offer", "closing", "draw_up", "keep_verification", "looked_back", "plan_tasks"]

Progress = Callable[[str, float], None]


@contextmanager
def opened(address: str | None) -> Iterator[Store]:
    store = Store.open(address)
    try:
        yield store
    finally:
        store.close()


def draw_up(
    address: str | None, job: int, sources: Mapping[str, Path], valid: date | None, hours: Mapping[str, Decimal], note: str,
    by: str, progress: Progress,
) -> str:  # fmt: skip
    """The number of a proposal that was drawn up."""
    with opened(address) as store:
        told = {"by": by, "valid_until": valid, "hours": hours, "note": note}
        return offers.draw_up(store, job, sources, progress=progress, **told).number  # type: ignore[arg-type]


def change_offer(
    address: str | None, offer: int, source: Path, hours: Mapping[str, Decimal], note: str, by: str, progress: Progress
) -> str:
    """The number of a change of an accepted proposal."""
    with opened(address) as store:
        return offers.change_offer(store, offer, source, by=by, hours=hours, note=note, progress=progress).number


def plan_tasks(address: str | None, job: int, by: str, progress: Progress) -> int:
    """How many tasks a job has now."""
    with opened(address) as store:
        return len(bench.plan_tasks(store, job, by=by, progress=progress))


def closing(address: str | None, job: int, progress: Progress) -> bench.Closing:
    """What is left before closing up."""
    with opened(address) as store:
        return bench.closing(store, job, progress=progress)


def book(address: str | None, job: int, paper: str, progress: Progress) -> tuple[str, ...]:
    """The files that were written."""
    with opened(address) as store:
        return tuple(str(path) for path in showcase.book(store, job, paper=paper, progress=progress))


def keep_verification(address: str | None, job: int, by: str, progress: Progress) -> returns.Verified:
    """The second round of recordings, kept with the job."""
    with opened(address) as store:
        return returns.keep_verification(store, job, by=by, progress=progress)


def looked_back(address: str | None, job: int, progress: Progress) -> returns.Return:
    """What was done, what has drifted, what may be replaced."""
    with opened(address) as store:
        return returns.looked_back(store, job, progress=progress)
