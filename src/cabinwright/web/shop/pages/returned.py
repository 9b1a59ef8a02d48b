"""The car comes back: what was done, what has drifted since, what may be replaced."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from cabinwright.errors import CabinwrightError
from cabinwright.handover.wording import decibels, third_octave
from cabinwright.office.overview import JobView
from cabinwright.office.returns import Return, come_back, keep_verification, looked_back
from cabinwright.office.worked import known
from cabinwright.web.parts import box, link, table, text
from cabinwright.web.shop.forms import Ask, day_of, form
from cabinwright.web.shop.frame import ShopPage, ShopView, address
from cabinwright.web.shop.long import away, back
from cabinwright.web.shop.pages.job import head, job_seen
from cabinwright.web.shop.said import moment, plain
from cabinwright.web.words import _

__all__ = ["PAGE"]

GONE_HOME = ("handed over", "closed")


@dataclass(frozen=True)
class Seen:
    """What the page looked up."""

    job: JobView
    back: Return | None  #: None: the build was not worked out yet
    why_not: str


def look(view: ShopView) -> Seen:
    """What is known at once, where the build is worked out or there is none."""
    job = job_seen(view)
    try:
        if job.folder and known(Path(job.folder)) is None:
            return Seen(job, None, "")
        return Seen(job, looked_back(view.store, job.id), "")
    except CabinwrightError as error:
        return Seen(job, None, str(error))


def body(view: ShopView, seen: Seen) -> None:
    """The car that is back; what is told of it; how it played."""
    head(view, seen.job)
    if seen.job.state in GONE_HOME and view.may("work"):
        _again(view, seen.job)
    if seen.why_not:
        text("p", seen.why_not, "empty")
    elif seen.back is None:
        text("h2", _("Looking back"), "first")
        text("p", _("The build has to be worked out for that, which takes its moment. It is kept until it changes."))
        view.long(
            _("Look back"),
            lambda: away(view, [Path(seen.job.folder)], looked_back, seen.job.id, needs="read"),
            back(lambda _told: _("Looked back.")),
            main=True,
        )
    _verified(view, seen)
    if seen.back is not None:
        _told(seen.back)


def _again(view: ShopView, job: JobView) -> None:
    with box("div", "key"):
        text("h2", _("The car is back"), "first")
        for number, name, title in job.later:
            with box("p"):
                link(f"{name} {title}", address("/shop/job", at=number))

        async def again(told: dict[str, Any]) -> None:
            def make() -> int:
                day = day_of(told["promised"])
                return come_back(view.store, job.id, title=told["title"], by=view.by, promised_on=day)

            await view.do(make, _("Opened. It stands here, and among the jobs."))

        form(
            [Ask("title", _("What it comes for"), needed=True), Ask("promised", _("Promised for"), kind="date")],
            _("Open a job for it"),
            again,
            main=not job.later,
        )


def _verified(view: ShopView, seen: Seen) -> None:
    text("h2", _("How it plays"))
    told = seen.back
    if told is not None:
        _drift(told)
        for when, item in ((_("Before"), told.verified_then), (_("Now"), told.verified_now)):
            if item is not None:
                text("p", f"{'✓' if item.passed else '✗'} {when}, {moment(item.at)}: {item.summary}")
        if told.undrifted:
            text("p", told.undrifted, "empty")
        for words in told.new_causes:
            text("p", "▲ " + _("New since: {cause}").format(cause=words))
    if view.may("work") and seen.job.folder:
        if told is None or not told.undrifted:
            words = _("Record the second round with the settings in the car; it is held against a later one.")
            text("p", words, "soft")
        view.long(
            _("Keep the verification"),
            lambda: away(view, [Path(seen.job.folder)], keep_verification, seen.job.id, by=view.by),
            back(lambda kept: _("Kept. {summary}").format(summary=kept.summary)),
        )


def _drift(told: Return) -> None:
    if told.drifted:
        gone = [item for item in told.drifted if not item.agrees]
        text("p", _("▲ It has drifted.") if gone else _("✓ It plays as it did."), "figure")
        rows = [
            (
                ("✓ " if item.agrees else "▲ ") + item.name,
                decibels(item.worst_db),
                third_octave(item.at_hz),
                decibels(item.allowed_db, plus=False),
            )
            for item in sorted(told.drifted, key=lambda item: item.agrees)
        ]
        heads = (_("Heard"), _("Farthest off"), _("At"), _("May differ by"))
        table(heads, rows, caption=_("Now against the verification kept before; a different microphone drifts too"))


def _told(told: Return) -> None:
    if told.differs:
        text("h2", _("What differs in the build since"))
        with box("ul"):
            for words in told.differs:
                text("li", words)
    text("h2", _("What was done"))
    for item in told.done:
        with box("div", "key"):
            with box("h3", "first"):
                link(f"{item.number} {item.title}", address("/shop/job", at=item.job_id))
            closed = _("closed {at}").format(at=moment(item.closed_at)) if item.closed_at else item.state
            hours = [f"{kind} {plain(str(hours))} h" for kind, hours in item.hours.items()]
            text("p", " · ".join((closed, *hours)), "soft")
            for title, rows in ((_("Signed parts and more"), item.agreed), (_("Tasks"), item.tasks)):
                if rows:
                    with box("details"):
                        text("summary", f"{title}: {len(rows)}", "act")
                        with box("ul"):
                            for words in rows:
                                text("li", words)
    text("h2", _("What may be replaced"))
    if not told.replaceable:
        text("p", _("No part of the library was booked on the earlier jobs."), "empty")
        return
    parts = [
        (
            f"{item.number} {item.name}",
            f"{plain(item.quantity)} {item.unit}",
            plain(item.on_shelf),
            "; ".join(filter(None, ("▲ " + _("no longer to be had") if item.gone else "", ", ".join(item.instead))))
            or "–",
            item.reach or "–",
        )
        for item in told.replaceable
    ]
    heads = (_("Part"), _("Built in"), _("On the shelf"), _("Instead"), _("How far away"))
    table(heads, parts, caption=_("Parts of the earlier jobs"))


PAGE = ShopPage(
    "/shop/returned", _("Coming back"), _("What was it like, and what has changed?"), look, body, listed=False
)
