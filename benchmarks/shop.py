"""A shop of 100,000 parts and 10,000 jobs on SQLite: search, lists, what is due today, the pages; and a backup against its size.

    python benchmarks/shop.py [MEGABYTES]

Aims: search and lists under 100 ms, today under 200 ms, a backup whose memory does not grow with what it holds.
"""

from __future__ import annotations

import asyncio
import os
import random
import sys
import tempfile
import time
import tracemalloc
from collections.abc import Awaitable, Callable
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from statistics import median

from nicegui import ui
from nicegui.testing import User
from nicegui.testing.user_simulation import user_simulation

from cabinwright.office.bench import missing_parts, today
from cabinwright.shop import jobs, parts
from cabinwright.shop.backup import backed_up
from cabinwright.shop.bench import add_task
from cabinwright.shop.files import FileStore, keep_file
from cabinwright.shop.people import add_car, add_customer
from cabinwright.shop.rows import Movement, Need, Part
from cabinwright.shop.store import Store
from cabinwright.shop.trail import Work
from cabinwright.shop.words import found
from cabinwright.web.shop import SHOP_PAGES
from cabinwright.web.shop.door import Door, Visitor
from cabinwright.web.shop.frame import ShopPage, ShopView, show
from cabinwright.web.shop.pages import bench as bench_page
from cabinwright.web.shop.pages import customers as customers_page
from cabinwright.web.shop.pages import house as house_page
from cabinwright.web.shop.pages import job as job_page
from cabinwright.web.shop.pages import jobs as jobs_page
from cabinwright.web.shop.pages import parts as parts_page
from cabinwright.web.shop.pages import today as today_page
from common import load

PARTS, JOBS, OPEN = 100_000, 10_000, 60
PAGES: tuple[tuple[str, ShopPage, dict[str, str]], ...] = (
    ("Today", today_page.PAGE, {}),
    ("Jobs", jobs_page.PAGE, {}),
    ("Jobs, closed, from the middle", jobs_page.PAGE, {"group": jobs_page.ENDED, "after": "5000"}),
    ("Jobs, with a search of one word", jobs_page.PAGE, {"asked": "grille"}),
    ("Jobs, with a search of two beginnings", jobs_page.PAGE, {"asked": "brack 43"}),
    ("Parts", parts_page.PAGE, {}),
    ("Parts, from the middle", parts_page.PAGE, {"after": "50000"}),
    ("Parts, of a kind from the middle", parts_page.PAGE, {"kind": "fixing", "after": "50000"}),
    ("Parts, with a search", parts_page.PAGE, {"asked": "grille 43"}),
    ("Customers", customers_page.PAGE, {}),
    ("Customers, from the middle", customers_page.PAGE, {"after": "5000"}),
    ("Customers, with a search", customers_page.PAGE, {"asked": "felt"}),
    ("Customer", customers_page.ONE, {"at": "5000"}),
    ("Part", parts_page.ONE, {"at": "50000"}),
    ("The job", job_page.PAGE, {"at": "30"}),
    ("Bench", bench_page.PAGE, {"at": "30"}),
    ("The shop", house_page.PAGE, {}),
)
"""What it is called, the page, what stands in its address or was chosen on it."""
WORDS = ("bolt", "dome", "ring", "board", "wire", "fuse", "felt", "clip", "plate", "grille", "bracket", "foam")


def main() -> None:
    """Print all of it."""
    megabytes = int(sys.argv[1]) if len(sys.argv) > 1 else 256
    print(load())
    with tempfile.TemporaryDirectory() as folder:
        store = Store.open(str(Path(folder) / "shop"))
        began = time.perf_counter()
        _fill(store)
        print(f"filled in {time.perf_counter() - began:.0f} s")
        for name, work in _questions(store).items():
            work()
            times = sorted(_seconds(work) for _ in range(15))
            print(f"{name}: median {1e3 * median(times):.1f} ms, worst {1e3 * times[-1]:.1f} ms")
        store.close()
        for words, taken in asyncio.run(_drawn(store.files.parent)).items():
            print(f"drawn: {words}: median {1e3 * median(taken):.0f} ms, worst {1e3 * max(taken):.0f} ms")
    for size in (megabytes // 8, megabytes):
        _backup(size)


def _seconds(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def _fill(store: Store) -> None:
    chance = random.Random(4)

    def some_parts(work: Work, start: int) -> None:
        for k in range(start, start + 5000):
            name = f"{chance.choice(WORDS)} {chance.choice(WORDS)} {k % 97} mm"
            about = {"name": name, "kind": "fixing", "least": None if k % 50 else Decimal(5)}
            work.add(Part(number=f"P{k:06d}", price=Decimal(k % 500) / 4, currency="EUR", **about))
        work.flush()
        for part in work.query(Part).filter(Part.number >= f"P{start:06d}"):
            work.add(Movement(part_id=part.id, quantity=Decimal(3), reason="received", by="Kim", at=part.made_at))

    def some_jobs(work: Work, start: int) -> None:
        for k in range(start, start + 1000):
            customer = add_customer(work, name=f"Invented {chance.choice(WORDS)} {k}")
            car = add_car(work, customer_id=customer.id, name=f"car {k}")
            job = jobs.add_job(
                work,
                car_id=car.id,
                title=f"{chance.choice(WORDS)} stage {k}",
                promised_on=date(2026, 1, 1) + timedelta(k % 700),
            )
            job.state = "building" if k < OPEN else "closed"
            for n in range(4):
                add_task(work, job_id=job.id, name=f"{WORDS[n]} {k}", kind=WORDS[n])
            work.add(Need(job_id=job.id, part_id=1 + k % PARTS, quantity=Decimal(5)))

    for start in range(0, PARTS, 5000):
        store.change(lambda work, start=start: some_parts(work, start), by="Kim")  # type: ignore[misc]
    for start in range(0, JOBS, 1000):
        store.change(lambda work, start=start: some_jobs(work, start), by="Kim")  # type: ignore[misc]


def _questions(store: Store) -> dict[str, Callable[[], object]]:
    def reading(ask: Callable[[Work], object]) -> Callable[[], object]:
        def work() -> object:
            with store.read() as open_:
                return ask(open_)

        return work

    def shelf(work: Work) -> object:
        rows = parts.listed(work, kind="fixing", after=50_000)
        return parts.shelf(work, [row.id for row in rows])

    return {
        "search, one word": reading(lambda work: found(work, "grille")),
        "search, two beginnings": reading(lambda work: found(work, "brack 43")),
        "search, a number": reading(lambda work: found(work, "P073412")),
        "50 parts from the middle, with the shelf": reading(shelf),
        "50 jobs by promised day": reading(lambda work: jobs.listed(work)),
        "50 open jobs": reading(lambda work: jobs.listed(work, states=("building",))),
        f"today: tasks of {OPEN} jobs": lambda: today(store),
        "missing parts of one job": lambda: missing_parts(store, 5),
        "what is to be ordered for all jobs": reading(parts.short),
        **{f"page: {words}": _page(store, page, state) for words, page, state in PAGES},
    }


def _page(store: Store, page: ShopPage, state: dict[str, str]) -> Callable[[], object]:
    door = Door(str(store.files.parent))
    view = ShopView(page, (page,), Visitor(door, "", here=True), state, "")
    return lambda: page.look(view)


async def _drawn(place: Path) -> dict[str, list[float]]:
    """Seconds from the request for a page until the server has drawn all of it, without a browser."""
    times: dict[str, list[float]] = {}
    async with user_simulation(root=lambda: None) as user:
        door = Door(str(place))
        for number, (words, page, state) in enumerate(PAGES):
            ui.page(f"/{number}")(_shown(door, page, state))
            times[words] = [await _seconds_drawn(user, f"/{number}") for _ in range(8)][1:]
        door.close()
    return times


def _shown(door: Door, page: ShopPage, state: dict[str, str]) -> Callable[[], Awaitable[None]]:
    return lambda: show(page, SHOP_PAGES, Visitor(door, "", here=True), "", state)


async def _seconds_drawn(user: User, path: str) -> float:
    start = time.perf_counter()
    client = await user.open(path)
    while not any("drawn" in element.classes for element in client.elements.values()):
        await asyncio.sleep(0.001)
    return time.perf_counter() - start


def _backup(megabytes: int) -> None:
    """In a shop of its own, so that files decide."""

    def keep(work: Work) -> None:
        customer = add_customer(work, name="Invented")
        job = jobs.add_job(work, car_id=add_car(work, customer_id=customer.id, name="car").id, title="stage")
        for mark, size in put:
            keep_file(work, mark, size, job_id=job.id, kind="recording", name="take.wav")

    with tempfile.TemporaryDirectory() as folder:
        store = Store.open(str(Path(folder) / "shop"))
        files = FileStore(store.files)
        put = [files.put(os.urandom(8 * 2**20)) for _ in range(megabytes // 8)]
        store.change(keep, by="Kim")
        tracemalloc.start()
        began = time.perf_counter()
        backed_up(store, Path(folder) / "kept.zip")
        took, most = time.perf_counter() - began, tracemalloc.get_traced_memory()[1] / 2**20
        tracemalloc.stop()
        store.close()
    print(f"backup of {megabytes} MB, tried by restoring: {took:.1f} s, {most:.0f} MB of memory at most")


if __name__ == "__main__":
    main()
