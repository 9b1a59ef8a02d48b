"""The shop's pages where much is kept: lists by the page, and everything still reached. Without a browser."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from nicegui.testing import User

from cabinwright.shop.jobs import add_job, listed
from cabinwright.shop.people import add_car, add_customer
from cabinwright.shop.rows import Car
from cabinwright.shop.store import Store
from cabinwright.shop.trail import Work
from shop import invented
from web.conftest import visit_shop

JOBS = 70  #: more than a page of each list holds


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A shop with more customers, jobs and parts than a page shows."""
    folder = str(tmp_path_factory.mktemp("long"))

    def make(work: Work) -> None:
        for k in range(JOBS):
            customer = add_customer(work, name=f"Invented {k:03d}")
            car = add_car(work, customer_id=customer.id, name=f"car {k:03d}", mark=f"XX {k:03d}")
            job = add_job(work, car_id=car.id, title=f"stage {k:03d}", promised_on=date(2026, 1, 1) + timedelta(k))
            job.state = "closed" if k % 2 else "asked"
            invented.part(work, f"P-{k:03d}", name=f"clip {k:03d}", kind="fixing", unit="piece", least=Decimal(5))
        invented.job(work, name="Mara Invented", title="Zoë's boot")

    store = Store.open(folder)
    store.change(make, by="owner")
    store.close()
    return folder


def test_long_lists_are_turned_and_what_is_old_is_found(place: str) -> None:
    async def walk(user: User) -> None:
        await user.open("/shop/customers")
        await user.should_see("Invented 049", retries=30)
        await user.should_not_see("Invented 050")
        user.find("Those after").click()
        await user.should_see("Invented 069", retries=30)
        await user.should_see("From number 51 on")
        await user.should_not_see("Invented 049")
        await user.should_not_see("Those after")
        user.find("Those before").click()
        await user.should_see("Invented 000", retries=30)

        await user.open("/shop/jobs")
        await user.should_see("stage 068", retries=30)  # 35 are open
        await user.should_not_see("stage 067")
        user.find("Closed").click()
        await user.should_see("stage 069", retries=30)
        for asked, seen in (
            ("group=Closed", "stage 069"),
            ("group=None&after=x", "stage 068"),
            ("asked=zoe", "Zoë's boot"),
        ):
            await user.open(f"/shop/jobs?{asked}")
            await user.should_see(seen, retries=30)
        await user.open("/shop/parts?after=60")
        await user.should_see("clip 060", retries=30)
        await user.open("/shop/parts")
        await user.should_see("clip 059", retries=30)
        await user.should_see("70 parts are to be ordered.")
        await user.should_see("The first 20; as they are ordered, the others follow.")
        assert len(user.find("Ordered").elements) == 20
        await user.should_not_see("clip 060")
        user.find("Those after").click()
        await user.should_see("clip 060", retries=30)
        await user.open("/shop/customer?at=1")
        await user.should_see("car 000 XX 000", retries=30)  # the oldest car can still be given a job
        await user.should_see("Let them look at their jobs")

    visit_shop(place, walk)


def test_jobs_are_listed_by_promise_or_the_newest_first_or_of_one_customer(place: str) -> None:
    store = Store.open(place)
    with store.read() as work:
        closed = [job.title for job in listed(work, states=("closed",), newest=True, most=3)]
        assert closed == ["stage 069", "stage 067", "stage 065"]
        assert [job.title for job in listed(work, states=("closed",), after=1, most=2)] == ["stage 003", "stage 005"]
        mine = work.get(Car, 1)
        assert mine is not None
        assert [job.title for job in listed(work, customer_id=mine.customer_id)] == ["stage 000"]
    store.close()


def test_an_empty_shop_says_where_to_begin(tmp_path: Path) -> None:
    async def walk(user: User) -> None:
        await user.open("/shop")
        await user.should_see("The shop is empty. To begin with:", retries=30)
        await user.should_see("a customer and their car")
        await user.open("/shop/parts")
        await user.should_see("The library is empty.", retries=30)

    visit_shop(str(tmp_path), walk)
