"""A study: rows a second on 1 and 2 workers, and what a cluster costs over one process against the size of the batches."""

from __future__ import annotations

import tempfile
import time
from contextlib import nullcontext
from functools import partial
from pathlib import Path

from cabinwright.office.studies import _made_ready
from cabinwright.session import Session
from cabinwright.stages.layout.wide import Grid, Spot, Wide, batch, spots_of
from cabinwright.studies.keep import StudyFolder
from cabinwright.studies.places import batches
from cabinwright.studies.run import Kind, cluster, processes, worked
from common import ROOT, axes, load, save

SIZES = (10, 100, 1000, 10_000)
ROWS = 20_000


def main() -> None:
    """Print both and plot the second."""
    from distributed import LocalCluster

    print(load())
    study, spots = _study()
    rows = 0
    one = 0.0
    for workers in (1, 2):
        where = None if workers == 1 else partial(processes, workers)
        with tempfile.TemporaryDirectory() as folder:
            kept, items = StudyFolder(Path(folder), {"workers": workers}), batches(spots, 8)
            start = time.perf_counter()
            worked(batch, study, items, kept, lambda what, share: None, where=where)
            took = time.perf_counter() - start
            rows = sum((kept.get(n) or {})["stated_db"].size for n in range(len(items)))
        one = one or took
        print(
            f"{workers} workers: {rows} rows in {took:.1f} s, {rows / took:.0f} a second, efficiency {one / took / workers:.0%}"
        )
    options = {"n_workers": 2, "threads_per_worker": 1, "dashboard_address": None, "host": "127.0.0.1"}
    figure, plot = axes()
    with LocalCluster(**options) as local:  # type: ignore[no-untyped-call]
        for name, where in (
            ("2 processes", partial(processes, 2)),
            ("Dask, 2 workers", partial(cluster, local.scheduler_address)),
        ):
            cost = [_cost_s(size, where) for size in SIZES]
            plot.loglog(SIZES, [1e6 * c for c in cost], "o-", label=name)
            print(name, ", ".join(f"{size}: {1e6 * c:.1f} us" for size, c in zip(SIZES, cost, strict=True)))
        here = [_cost_s(size, None) for size in SIZES]
    plot.loglog(SIZES, [1e6 * c for c in here], "o-", label="here, one after another")
    print("here", ", ".join(f"{size}: {1e6 * c:.1f} us" for size, c in zip(SIZES, here, strict=True)))
    plot.set(xlabel="items of a batch", ylabel="cost of one item that costs nothing, µs")
    plot.legend()
    save(figure, "study")


def _study() -> tuple[Wide, tuple[Spot, ...]]:
    grid = Grid(0.06, 0.02, 20.0, 9, 32)
    study = _made_ready(Session.open(ROOT / "demo" / "build"), grid)
    return study.ready(), spots_of(study.build, grid, role="tweeter")[:96]


def _cost_s(size: int, where: object) -> float:
    """Seconds for each item of a study whose items cost nothing, the start of workers left out."""
    from studies.kinds import roots

    items = [tuple(float(k) for k in range(size)) for _ in range(max(4, ROWS // size))]
    kind: Kind = roots
    with tempfile.TemporaryDirectory() as folder, where() if callable(where) else nullcontext(None) as pool:
        again = None if pool is None else partial(nullcontext, pool)
        worked(kind, 1.0, items[:4], StudyFolder(Path(folder), {"warm": 1}), lambda what, share: None, where=again)
        start = time.perf_counter()
        worked(kind, 1.0, items, StudyFolder(Path(folder), {"warm": 0}), lambda what, share: None, where=again)
        return (time.perf_counter() - start) / (len(items) * size)


if __name__ == "__main__":
    main()
