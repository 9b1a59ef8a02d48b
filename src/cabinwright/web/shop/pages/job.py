"""One job: where it stands, what comes next, and the ways to everything that belongs to it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from sqlalchemy import select

from cabinwright.office.showcase import DiaryEntry, diary
from cabinwright.shop.access import job_for
from cabinwright.shop.jobs import FOLLOWS, step
from cabinwright.shop.rows import Hours, Job
from cabinwright.shop.store import held
from cabinwright.shop.trail import Work, columns
from cabinwright.web.parts import box, button, link, table, text
from cabinwright.web.shop.forms import Ask, day_of, form
from cabinwright.web.shop.frame import ShopPage, ShopView, address
from cabinwright.web.words import _

__all__ = ["PAGE", "JobSeen", "address_of", "head", "job_seen"]

WAYS = (
    ("/shop/job", _("The job")),
    ("/shop/wishes", _("Wishes")),
    ("/shop/offers", _("Proposals")),
    ("/shop/bench", _("Bench")),
    ("/shop/log", _("Log")),
    ("/shop/returned", _("Coming back")),
)
NEXT: dict[str, tuple[str, str]] = {
    "asked": ("/shop/wishes", _("Ask what they wish for; then draw up a proposal and offer it.")),
    "offered": ("/shop/offers", _("The customer decides. When they sign, write it down with the proposal.")),
    "agreed": ("/shop/bench", _("Plan the tasks, order what is missing, and begin to build.")),
    "building": ("/shop/bench", _("Work through the tasks; photograph what will be hidden.")),
    "proving": ("/shop/bench", _("Read off the commissioning sheet, measure a second time, close up.")),
    "handed over": ("/shop/log", _("Make the book with the log in it; close the job when nothing is open.")),
    "closed": ("/shop/returned", _("Closed. When the car comes back, open a job for it here.")),
    "called off": ("/shop/job", _("Called off. It can be asked for again.")),
}
DOES = {
    "asked": _("Asked for again"),
    "offered": _("Offered"),
    "agreed": _("Agreed"),
    "building": _("Build it"),
    "proving": _("Prove it"),
    "handed over": _("Handed over"),
    "closed": _("Close it"),
    "called off": _("Call it off"),
}


@dataclass(frozen=True)
class JobSeen:
    """A job as its pages show it."""

    job: dict[str, Any]
    car: str
    customer: str
    customer_id: int

    @property
    def id(self) -> int:
        """Its row."""
        return int(self.job["id"])


def job_seen(view: ShopView) -> JobSeen:
    """The job of the address, if this visitor may look at it. Raises ``PersonError``."""
    with view.store.read() as work:
        row = job_for(work, view.person, view.at)
        customer = row.car.customer
        return JobSeen(columns(row), row.car.name, customer.name, customer.id)


def head(view: ShopView, seen: JobSeen) -> None:
    """Which job, and the ways to its other pages."""
    job = seen.job
    text("p", f"{job['number']} {job['title']}", "figure")
    with box("p", "soft"):
        if view.may("read"):
            link(seen.customer, address("/shop/customer", at=seen.customer_id))
        told = [seen.car, job["state"], _("for {day}").format(day=job["promised_on"]) if job["promised_on"] else ""]
        text("span", " · ".join(["", *filter(None, told)]) if view.may("read") else " · ".join(filter(None, told)))
    if not view.may("read"):
        return
    with box("nav", "row") as ways:
        ways.props["aria-label"] = _("Pages of this job")
        for path, words in WAYS:
            if path == "/shop/offers" and not view.may("price"):
                continue
            made = link(words, address(path, at=seen.id), "act")
            if path == view.page.path:
                made.props["aria-current"] = "page"


def address_of(way: str) -> Callable[[int], str]:
    """A page of a job by its number."""
    return lambda job: address(way, at=job)


@dataclass(frozen=True)
class Seen:
    """What the page looked up."""

    job: JobSeen
    hours: tuple[tuple[str, Decimal], ...]
    shown: tuple[DiaryEntry, ...]


def look(view: ShopView) -> Seen:
    """The job, the hours by kind of work, and for a guest what the shop shows."""
    job = job_seen(view)
    with view.store.read() as work:
        spent: dict[str, Decimal] = {}
        rows = work.scalars(select(Hours).where(Hours.job_id == job.id, Hours.ended_at.is_not(None)).order_by(Hours.id))
        for row in rows:
            if row.ended_at is not None:
                seconds = Decimal(int((row.ended_at - row.began_at).total_seconds()))
                spent[row.kind] = spent.get(row.kind, Decimal(0)) + seconds / 3600
    shown = tuple(item for item in diary(view.store, job.id) if item.public)
    return Seen(job, tuple(spent.items()), shown)


def body(view: ShopView, seen: Seen) -> None:
    """Where it stands and what comes next; for a guest the pictures that are shown to everybody."""
    head(view, seen.job)
    job = seen.job.job
    if not view.may("read"):
        for item in seen.shown:
            with box("figure"):
                made = box("img")
                made.props.update(
                    {"src": address("/shop/photograph", at=item.id), "alt": item.words or _("Photograph of the work")}
                )
                text("figcaption", item.words)
        return
    way, words = NEXT[job["state"]]
    text("h2", _("What comes next"), "first")
    text("p", words)
    with box("div", "row"):
        if way != view.page.path:
            link(dict(WAYS)[way], address(way, at=seen.job.id), "act main")
        if view.may("work"):
            for state in FOLLOWS[job["state"]]:
                if state not in ("offered", "agreed"):  # these follow from the proposal itself

                    def to(state: str = state) -> Any:
                        said = _("{number} is {state} now.").format(number=job["number"], state=state)
                        return view.change(lambda work: step(work, seen.job.id, state, count=job["count"]).id, said)

                    button(DOES[state], to)
    if seen.hours:
        text("h2", _("Hours"))
        rows = [(kind, f"{hours:.2f}") for kind, hours in seen.hours]
        table((_("Kind of work"), _("Hours")), rows, caption=_("Time that was tapped on this job"))
    if not view.may("work"):
        return
    text("h2", _("Change it"))

    async def change(told: dict[str, Any]) -> None:
        def make(work: Work) -> int:
            given = {
                "title": " ".join(told["title"].split())[:200],
                "promised_on": day_of(told["promised"]),
                "folder": told["folder"].strip(),
                "note": told["note"],
            }
            return held(work, Job, seen.job.id, count=job["count"], **given).id

        await view.change(make, _("Kept."))

    form(
        [
            Ask("title", _("What is asked for"), job["title"], needed=True),
            Ask("promised", _("Promised for"), job["promised_on"] or "", "date"),
            Ask("folder", _("Its build folder"), job["folder"], help=_("On the computer that serves this page.")),
            Ask("note", _("Note"), job["note"], "long"),
        ],
        _("Keep"),
        change,
        main=False,
    )


PAGE = ShopPage("/shop/job", _("Job"), _("Where does this job stand?"), look, body, needs="look", listed=False)
