"""The car comes back: what was done, what has drifted since, what may be replaced."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import Any

from cabinwright.office.returns import Return, Verified, come_back
from cabinwright.web.parts import box, table, text
from cabinwright.web.shop import long
from cabinwright.web.shop.door import the_door
from cabinwright.web.shop.forms import Ask, day_of, form
from cabinwright.web.shop.frame import ShopPage, ShopView
from cabinwright.web.shop.pages.job import JobSeen, head, job_seen
from cabinwright.web.shop.said import moment, plain
from cabinwright.web.words import _

__all__ = ["PAGE"]


@dataclass(frozen=True)
class Seen:
    """What the page looked up."""

    job: JobSeen


def look(view: ShopView) -> Seen:
    """The job; looking back takes long and is asked for."""
    return Seen(job_seen(view))


def body(view: ShopView, seen: Seen) -> None:
    """Keep what was measured, look back, open a job for the car that comes back."""
    head(view, seen.job)
    job = seen.job
    text("h2", _("How it plays, kept with the job"), "first")
    text(
        "p",
        _("Keep the second round of recordings at hand-over, and again when the car is back: both are compared then."),
    )
    if view.may("work"):

        def verified(told: Verified) -> str:
            return _("Kept. ") + told.summary

        view.long(
            _("Keep the verification"),
            lambda: partial(long.keep_verification, the_door().address, job.id, view.by),
            verified,
        )
    text("h2", _("Looking back"))

    def back(told: Return) -> str:
        view.state["back"] = told
        return _("Looked back.")

    view.long(_("Look back"), lambda: partial(long.looked_back, the_door().address, job.id), back, main=True)
    if "back" in view.state:
        _told(view.state["back"])
    if job.job["state"] == "closed" and view.may("work"):
        text("h2", _("The car is back"))

        async def again(told: dict[str, Any]) -> None:
            await view.do(
                lambda: come_back(
                    view.store, job.id, title=told["title"], by=view.by, promised_on=day_of(told["promised"])
                ),
                lambda number: _("Opened: job {number}. It stands among the jobs.").format(number=number),
            )

        form(
            [Ask("title", _("What it comes for"), needed=True), Ask("promised", _("Promised for"), kind="date")],
            _("Open a job for it"),
            again,
            main=False,
        )


def _told(back: Return) -> None:
    for item in back.done:
        text("h3", f"{item.number} {item.title}")
        closed = _("closed {at}").format(at=moment(item.closed_at)) if item.closed_at else item.state
        hours = ", ".join(f"{kind} {hours:.1f} h" for kind, hours in item.hours.items())
        text("p", "; ".join(filter(None, (closed, hours))), "soft")
        with box("details"):
            text("summary", _("Tasks and what was signed"), "act")
            with box("ul"):
                for words in (*item.tasks, *item.agreed):
                    text("li", words)
    text("h3", _("What has drifted"))
    if back.undrifted:
        text("p", back.undrifted, "empty")
    rows = [
        (
            ("✓ " if item.agrees else "▲ ") + item.name,
            f"{item.worst_db:+.1f} dB",
            f"{item.at_hz:.0f} Hz",
            f"{item.allowed_db:.1f} dB",
            item.says,
        )
        for item in back.drifted
    ]
    if rows:
        heads = (_("Heard"), _("Farthest off"), _("At"), _("Allowed"), _("In words"))
        table(heads, rows, caption=_("Now against the verification kept before"))
    for words in back.new_causes:
        text("p", "▲ " + words)
    if back.differs:
        text("h3", _("What differs in the build since"))
        with box("ul"):
            for words in back.differs:
                text("li", words)
    text("h3", _("What may be replaced"))
    if not back.replaceable:
        text("p", _("No part of the library was booked on the earlier jobs."), "empty")
        return
    table(
        (_("Part"), _("Built in"), _("On the shelf"), _("Instead"), _("How far away")),
        [
            (
                f"{item.number} {item.name}",
                f"{plain(item.quantity)} {item.unit}",
                plain(item.on_shelf),
                (_("no longer to be had; ") if item.gone else "") + ", ".join(item.instead),
                item.reach,
            )
            for item in back.replaceable
        ],
        caption=_("Parts of the earlier jobs"),
    )


PAGE = ShopPage(
    "/shop/returned", _("Coming back"), _("What was it like, and what has changed?"), look, body, listed=False
)
