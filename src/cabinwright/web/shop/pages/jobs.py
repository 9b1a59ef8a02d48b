"""Every job by its state, and everything else by its words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select

from cabinwright.shop.bench import WORKING
from cabinwright.shop.jobs import OPEN, OVER, add_job, listed
from cabinwright.shop.rows import Car, Customer, Job, Note, Part
from cabinwright.shop.trail import Work, columns
from cabinwright.shop.words import KINDS, Hit, found
from cabinwright.web.parts import box, choice, link, text
from cabinwright.web.shop.forms import Ask, day_of, form, whole_of
from cabinwright.web.shop.frame import ShopPage, ShopView, address
from cabinwright.web.shop.said import STATE_WORDS
from cabinwright.web.words import _, counted

__all__ = ["PAGE", "brief", "job_rows", "new_job"]

GROUPS: dict[str, tuple[str, ...]] = {
    _("Open"): OPEN,
    _("On the bench"): WORKING,
    _("Waiting for the customer"): ("asked", "offered"),
    _("Closed"): OVER,
}
ENDED = _("Closed")
MOST, NEWEST = 50, 40
SAYS = {
    "customer": _("customer"),
    "car": _("car"),
    "job": _("job"),
    "part": _("part"),
    "note": _("note in the log"),
}


@dataclass(frozen=True)
class Seen:
    """What the page looked up."""

    jobs: list[dict[str, Any]]
    hits: tuple[tuple[str, str, str], ...]  #: what was found, of which kind, and the way there
    cars: tuple[tuple[str, str], ...]


def look(view: ShopView) -> Seen:
    """A guest's own, for anybody else all of a group; and what a search found."""
    person = view.person
    group = view.state["group"] if view.state.get("group") in GROUPS else next(iter(GROUPS))
    view.state["group"] = group
    with view.store.read() as work:
        if not person.may("read"):
            mine = listed(work, customer_id=person.customer_id, newest=True, most=MOST) if person.customer_id else []
            return Seen([brief(job) for job in mine], (), ())
        hits = found(work, view.state.get("asked", ""), most=MOST)
        jobs = listed(work, states=GROUPS[group], newest=group == ENDED, after=view.after, most=MOST)
        cars = select(Car.id, Car.name, Customer.name).join(Customer).where(Customer.erased_at.is_(None))
        rows = work.execute(cars.order_by(Car.id.desc()).limit(NEWEST))
        names = tuple((str(car), f"{customer}: {name}") for car, name, customer in rows)
        return Seen([brief(job) for job in jobs], _named(work, hits), names)


def brief(job: Job) -> dict[str, Any]:
    """A job with whose it is."""
    return {**columns(job), "car": job.car.name, "customer": job.car.customer.name}


def _named(work: Work, hits: Sequence[Hit]) -> tuple[tuple[str, str, str], ...]:
    """What was found, in its own words, and where it is shown: a car at its customer, a note in its job's log."""
    rows: dict[tuple[str, int], Any] = {}
    for table, (kind, _columns) in KINDS.items():
        ids = [hit.ref for hit in hits if hit.kind == kind]
        if ids:
            rows |= {(kind, row.id): row for row in work.scalars(select(table).where(table.id.in_(ids)))}
    there = ((hit.kind, rows[hit.kind, hit.ref]) for hit in hits if (hit.kind, hit.ref) in rows)
    return tuple((*_way(row), SAYS[kind]) for kind, row in there)


def _way(row: Any) -> tuple[str, str]:
    match row:
        case Car():
            return f"{row.name} {row.mark}".strip(), address("/shop/customer", at=row.customer_id)
        case Note():
            return " ".join(row.text.split())[:120], address("/shop/log", at=row.job_id)
        case Job():
            return f"{row.number} {row.title}", address("/shop/job", at=row.id)
        case Part():
            return f"{row.number} {row.name}", address("/shop/part", at=row.id)
    return row.name, address("/shop/customer", at=row.id)


def body(view: ShopView, seen: Seen) -> None:
    """Search, groups, rows, and a new one."""
    if not view.may("read"):
        job_rows(seen.jobs)
        return

    async def search(told: dict[str, Any]) -> None:
        await view.turn(asked=told["asked"])

    form(
        [Ask("asked", _("Find customers, cars, jobs, parts and notes"), view.state.get("asked", ""), "search")],
        _("Find"),
        search,
        main=False,
    )
    if view.state.get("asked"):
        more = _(", the best of them; more words find fewer") if len(seen.hits) == MOST else ""
        text("p", counted(len(seen.hits), "thing found", "things found") + more, "soft")
        with box("ul", "changes"):
            for words, way, kind in seen.hits:
                with box("li", "change"), box("div"):
                    link(words, way, "where")
                    text("p", kind, "soft")

    async def group(words: str) -> None:
        await view.turn(group=words, after=0)

    choice(_("Which"), tuple(GROUPS), view.state["group"], group)
    view.tally(counted(len(seen.jobs), "job", "jobs"))
    job_rows(seen.jobs)
    view.turns(len(seen.jobs), MOST)
    if not view.may("work"):
        return
    text("h2", _("A new job"))
    if not seen.cars:
        text("p", _("A job is on a car: add its customer and the car first."), "empty")
        link(_("Customers"), "/shop/customers", "act")
        return
    if len(seen.cars) == NEWEST:
        text("p", _("On one of the newest cars. For any other, find its customer, and add the job there."), "soft")
    new_job(view, seen.cars)


def new_job(view: ShopView, cars: Sequence[tuple[str, str]]) -> None:
    """A form for one more job on one of these cars: id and what it is called."""

    async def add(told: dict[str, Any]) -> None:
        folder = told.get("folder", "").strip()

        def make(work: Work) -> str:
            car, day = whole_of(told["car"], _("Car")), day_of(told["promised"])
            return add_job(work, car_id=car, title=told["title"], promised_on=day, folder=folder).number

        def said(number: str) -> str:
            return _("Added: job {number}.").format(number=number)

        await view.change(make, said, needs="places" if folder else "work")

    place = Ask("folder", _("Its build folder"), help=_("On the computer that serves this page; may be said later."))
    form(
        [
            Ask("car", _("Car"), cars[0][0], "select", cars),
            Ask("title", _("What is asked for"), needed=True),
            Ask("promised", _("Promised for"), kind="date"),
            *([place] if view.may("places") else ()),
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
                text("span", STATE_WORDS[job["state"]], "state")


PAGE = ShopPage(
    "/shop/jobs", _("Jobs"), _("Where does each job stand?"), look, body, needs="look", kept=("asked", "group", "after")
)
