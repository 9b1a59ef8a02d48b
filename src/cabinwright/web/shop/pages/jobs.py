"""Every job by its state, and everything else by its words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import select

from cabinwright.shop.jobs import STATES, add_job, listed
from cabinwright.shop.rows import Car, Customer, Job
from cabinwright.shop.store import found_row
from cabinwright.shop.trail import columns
from cabinwright.shop.words import Hit, found
from cabinwright.web.parts import box, choice, link, text
from cabinwright.web.shop.forms import Ask, day_of, form, whole_of
from cabinwright.web.shop.frame import ShopPage, ShopView, address
from cabinwright.web.words import _, counted

__all__ = ["PAGE", "job_rows"]

GROUPS: dict[str, tuple[str, ...]] = {
    _("Open"): ("asked", "offered", "agreed", "building", "proving", "handed over"),
    _("On the bench"): ("building", "proving"),
    _("Waiting for the customer"): ("asked", "offered"),
    _("Closed"): ("closed", "called off"),
}
MOST = 60
WAYS = {"customer": "/shop/customer", "job": "/shop/job", "part": "/shop/part"}


@dataclass(frozen=True)
class Seen:
    """What the page looked up."""

    jobs: list[dict[str, Any]]
    hits: tuple[tuple[Hit, str], ...]
    cars: tuple[tuple[str, str], ...]


def look(view: ShopView) -> Seen:
    """A guest's own, for anybody else all of a group; and what a search found."""
    person = view.person
    states = GROUPS[view.state.setdefault("group", next(iter(GROUPS)))]
    with view.store.read() as work:
        if not person.may("read"):
            mine = select(Job).join(Car).where(Car.customer_id == person.customer_id).order_by(Job.id.desc())
            return Seen([_brief(job) for job in work.scalars(mine.limit(MOST))], (), ())
        hits = found(work, view.state.get("asked", ""), most=MOST)
        told = tuple((hit, _way(work, hit)) for hit in hits)
        rows = work.execute(
            select(Car.id, Car.name, Customer.name)
            .join(Customer)
            .where(Customer.erased_at.is_(None))
            .order_by(Car.id.desc())
        )
        cars = tuple((str(car), f"{customer}: {name}") for car, name, customer in rows.fetchmany(200))
        return Seen([_brief(job) for job in listed(work, states=states, most=MOST)], told, cars)


def _brief(job: Job) -> dict[str, Any]:
    return {**columns(job), "car": job.car.name, "customer": job.car.customer.name}


def _way(work: Any, hit: Hit) -> str:
    """Where a row that was found is shown: a car at its customer, a note at its job."""
    if hit.kind == "car":
        return address("/shop/customer", at=found_row(work, Car, hit.ref).customer_id)
    if hit.kind == "note":
        from cabinwright.shop.rows import Note

        return address("/shop/log", at=found_row(work, Note, hit.ref).job_id)
    return address(WAYS[hit.kind], at=hit.ref)


def body(view: ShopView, seen: Seen) -> None:
    """Search, groups, rows, and a new one."""
    if not view.may("read"):
        job_rows(seen.jobs)
        return

    async def search(told: dict[str, Any]) -> None:
        view.state["asked"] = told["asked"]
        await view.draw()

    form(
        [Ask("asked", _("Find customers, cars, jobs, parts and notes"), view.state.get("asked", ""), "search")],
        _("Find"),
        search,
        main=False,
    )
    if view.state.get("asked"):
        text("p", counted(len(seen.hits), "thing found", "things found"), "soft")
        with box("ul", "changes"):
            for hit, way in seen.hits:
                with box("li", "change"):
                    link(f"{hit.kind}: {hit.text[:120]}", way, "where")

    async def group(words: str) -> None:
        view.state["group"] = words
        await view.draw()

    choice(_("Which"), tuple(GROUPS), view.state["group"], group)
    text("p", counted(len(seen.jobs), "job", "jobs"), "figure")
    job_rows(seen.jobs)
    if not view.may("work"):
        return
    text("h2", _("A new job"))
    if not seen.cars:
        text("p", _("A job is on a car: add its customer and the car first."), "empty")
        link(_("Customers"), "/shop/customers", "act")
        return

    async def add(told: dict[str, Any]) -> None:
        def make() -> int:
            car, day = whole_of(told["car"], _("Car")), day_of(told["promised"])
            given = {"car_id": car, "title": told["title"], "promised_on": day, "folder": told["folder"].strip()}
            return view.store.change(lambda work: add_job(work, **given).id, by=view.by)

        await view.do(make, lambda number: _("Added. It is open below as number {number}.").format(number=number))

    form(
        [
            Ask("car", _("Car"), seen.cars[0][0], "select", seen.cars),
            Ask("title", _("What is asked for"), needed=True),
            Ask("promised", _("Promised for"), kind="date"),
            Ask("folder", _("Its build folder"), help=_("On the computer that serves this page; may be said later.")),
        ],
        _("Add the job"),
        add,
    )


def job_rows(jobs: list[dict[str, Any]]) -> None:
    """Jobs, each a way to it."""
    if not jobs:
        text("p", _("None."), "empty")
    with box("ul", "changes"):
        for job in jobs:
            with box("li", "change"):
                with box("div"):
                    link(f"{job['number']} {job['title']}", address("/shop/job", at=job["id"]), "where")
                    told = [job["customer"], job["car"]] if "customer" in job else []
                    told += [_("for {day}").format(day=job["promised_on"])] if job["promised_on"] else []
                    text("p", " · ".join(told), "soft")
                text("span", job["state"], "state")


PAGE = ShopPage("/shop/jobs", _("Jobs"), _("Where does each job stand?"), look, body, needs="look")
assert set(STATES) == {state for states in (GROUPS[_("Open")], GROUPS[_("Closed")]) for state in states}
