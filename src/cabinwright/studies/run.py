"""Works a study out: a window of batches is under way, each is kept as soon as it comes back, and the rest waits.

The seam is ``concurrent.futures.Executor``: none (here, one after another), processes of this machine, or a Dask cluster, whose
client offers the same seam. A broken pool is made anew for what is still missing; a lost worker of a cluster is its scheduler's
business, which runs the batch elsewhere.
"""

from __future__ import annotations

import logging
import os
import pickle
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    CancelledError,
    Executor,
    Future,
    ProcessPoolExecutor,
    wait,
)
from contextlib import AbstractContextManager, contextmanager
from functools import lru_cache
from multiprocessing import get_context
from typing import Any

from numpy.typing import NDArray

from cabinwright.errors import PersonError
from cabinwright.studies.keep import StudyFolder

__all__ = ["Kind", "cluster", "processes", "worked"]

Progress = Callable[[str, float], None]
Kind = Callable[[Any, Sequence[Any]], dict[str, NDArray[Any]]]
"""(what all batches share, the items of one batch) -> arrays. A function of a module, so that it can be sent."""
AHEAD = 2  #: batches under way for each worker: one is worked out, one waits for it
MOST_BREAKS = 3  #: a pool that breaks so often without a batch done is given up
ANSWERS_S = 10.0  #: within this a scheduler has to answer
AGAIN = "What is done is kept: run the same command again to go on."


def worked(
    kind: Kind,
    shared: Any,
    items: Sequence[Sequence[Any]],
    folder: StudyFolder,
    progress: Progress,
    *,
    where: Callable[[], AbstractContextManager[tuple[Executor, int]]] | None = None,
) -> int:
    """Work out every batch of ``items`` that ``folder`` does not hold; returns how many were worked out now.

    ``where`` opens an executor (a context of executor and number of workers); None: here. Raises whatever ``progress`` raises (an
    interruption), after what came back is kept, and ``PersonError`` where workers die again and again or cannot be reached.
    """
    folder.begin()
    missing = sorted(set(range(len(items))) - folder.done(len(items)))
    before, total = len(items) - len(missing), len(items)
    progress(f"{total} batches, {before} kept", before / max(total, 1))
    if where is None:
        for number in missing:
            folder.put(number, kind(shared, items[number]))
            before += 1
            progress("working", before / total)
        return len(missing)
    blob, left, breaks = pickle.dumps((kind, shared)), list(missing), 0
    while left:
        standing = len(left)
        try:
            with where() as (executor, workers):
                for number, arrays in _as_they_come(executor, workers, blob, items, left):
                    folder.put(number, arrays)
                    left.remove(number)
                    progress("working", 1.0 - len(left) / total)
        except (BrokenExecutor, CancelledError, OSError) as error:
            breaks = breaks + 1 if len(left) == standing else 1
            if breaks >= MOST_BREAKS:
                raise PersonError(f"Workers stop again and again ({type(error).__name__}: {error}). {AGAIN}") from error
    return len(missing)


def _as_they_come(
    executor: Executor, workers: int, blob: bytes, items: Sequence[Sequence[Any]], numbers: Sequence[int]
) -> Iterator[tuple[int, dict[str, NDArray[Any]]]]:
    waiting = iter(tuple(numbers))
    under_way: dict[Future[dict[str, NDArray[Any]]], int] = {}
    try:
        while True:
            while len(under_way) < AHEAD * workers and (number := next(waiting, None)) is not None:
                under_way[executor.submit(_one, blob, items[number])] = number
            if not under_way:
                return
            done, _ = wait(under_way, timeout=1.0, return_when=FIRST_COMPLETED)
            for future in done:
                yield under_way.pop(future), future.result()
    finally:
        for future in under_way:
            future.cancel()


def _one(blob: bytes, items: Sequence[Any]) -> dict[str, NDArray[Any]]:
    """Run by the worker."""
    kind, shared = _shared(blob)
    return kind(shared, items)


@lru_cache(maxsize=2)
def _shared(blob: bytes) -> tuple[Kind, Any]:
    """What all batches share, unpacked once in every worker. It comes from our own client, never from a file."""
    kind, shared = pickle.loads(blob)
    return kind, shared


@contextmanager
def processes(workers: int | None = None) -> Iterator[tuple[Executor, int]]:
    """Processes of this machine, one for each core unless said otherwise."""
    count = workers or os.cpu_count() or 1
    executor = ProcessPoolExecutor(count, mp_context=get_context("spawn"), initializer=_alone)
    try:
        yield executor, count
    finally:
        executor.shutdown(wait=False, cancel_futures=True)


def _alone() -> None:
    """One thread for each worker: several that share the cores only wait for each other. Ctrl-C is for the one who asked."""
    import signal

    from threadpoolctl import threadpool_limits

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threadpool_limits(1)


@contextmanager
def cluster(address: str) -> Iterator[tuple[Executor, int]]:
    """The workers of a Dask cluster by its scheduler's address. Raises ``PersonError`` where it cannot be reached."""
    try:
        from distributed import Client, KilledWorker
    except ImportError:
        raise PersonError(
            'A cluster needs one package more. Install it with: pip install "cabinwright[cluster]"'
        ) from None
    logging.getLogger("distributed").setLevel(logging.CRITICAL)  # what goes wrong is told in our words
    try:
        client: Any = Client(address, timeout=ANSWERS_S)  # type: ignore[no-untyped-call]
    except (OSError, ValueError, TimeoutError) as error:
        raise PersonError(
            f"{address}: no scheduler answers there ({error}). Start it, or see to the address. {AGAIN}"
        ) from None
    try:
        threads = sum(client.nthreads().values())
        if not threads:
            raise PersonError(f"{address}: the scheduler has no workers. Start some: dask worker {address}. {AGAIN}")
        yield client.get_executor(pure=False, retries=3), threads
    except KilledWorker as error:  # several died over one batch
        raise BrokenExecutor(str(error)) from error
    finally:
        client.close(timeout=5)
