"""The interview: what the customer wishes for, what that changes in the build, and what it stays held against."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from cabinwright.desk import Desk
from cabinwright.errors import CabinwrightError
from cabinwright.office.overview import JobView
from cabinwright.office.wishes import QUESTIONS, Effects, Wishes, effects, keep_wishes, wishes_of, write_wishes
from cabinwright.web.parts import box, button, table, text
from cabinwright.web.shop.forms import Ask, form
from cabinwright.web.shop.frame import ShopPage, ShopView
from cabinwright.web.shop.pages.job import head, job_seen
from cabinwright.web.words import _

__all__ = ["PAGE"]

KINDS = {"choice": "choice", "several": "several", "lines": "long", "number": "number", "money": "number"}
WRITTEN = "wishes: "  #: how the build's history names what was written from here


@dataclass(frozen=True)
class Seen:
    """What the page looked up."""

    job: JobView
    wishes: Wishes
    effects: Effects | None
    why_not: str
    undo: str  #: the last change of the build, where it came from here


def look(view: ShopView) -> Seen:
    """The answers, and what they would do to the build; nothing is written."""
    job = job_seen(view)
    wishes = wishes_of(view.store, job.id)
    if not job.folder:
        return Seen(job, wishes, None, _("The job has no build folder yet; name it on the page “The job”."), "")
    try:
        desk = Desk.open(Path(job.folder))
        desk.refresh()
        last = desk.can_undo or ""
        undo = last if last.startswith(WRITTEN) else ""
        return Seen(job, wishes, effects(Path(job.folder), wishes), "", undo)
    except CabinwrightError as error:
        return Seen(job, wishes, None, str(error), "")


def body(view: ShopView, seen: Seen) -> None:
    """What the answers do to the build, once there are any; the questions."""
    head(view, seen.job)
    if seen.job.wishes:
        _becomes(view, seen)
        text("h2", _("The answers"))
    if view.may("work"):
        _ask(view, seen)


def _ask(view: ShopView, seen: Seen) -> None:
    given = seen.wishes.to_dict()

    async def keep(told: dict[str, Any]) -> None:
        await view.do(
            lambda: keep_wishes(view.store, seen.job.id, told, count=seen.job.count, by=view.by),
            _("Kept with the job. What they change in its build stands above."),
        )

    asks = [
        Ask(
            item.key,
            _(item.says),
            "\n".join(given.get(item.key, ())) if item.kind == "lines" else given.get(item.key, ""),
            KINDS[item.kind],
            [("", _("not asked")), *((value, _(words)) for value, words in item.choices)] if item.choices else (),
            unit=item.unit,
        )
        for item in QUESTIONS
    ]
    free = "\n".join(_corners(item) for item in given.get("keep_free", ()))
    help_ = _("A name and two opposite corners in metres, one volume on a line: pram: 2.9, -0.4, 0.3 to 3.6, 0.4, 0.9")
    form(
        [*asks, Ask("keep_free", _("What must stay free?"), free, "long", help=help_)],
        _("Keep the answers"),
        keep,
        main=not seen.job.wishes,
    )


def _corners(item: dict[str, Any]) -> str:
    low, high = (", ".join(f"{number:g}" for number in item[side]) for side in ("low_m", "high_m"))
    return f"{item['name']}: {low} to {high}"


def _becomes(view: ShopView, seen: Seen) -> None:
    text("h2", _("What the answers change in the build"), "first")
    if seen.effects is None:
        text("p", seen.why_not, "empty")
        return
    rows = [(item.where, item.was or "–", item.becomes, item.because) for item in seen.effects.changes]
    if rows:
        with box("div", "effects"):
            table((_("Field"), _("Was"), _("Becomes"), _("Because")), rows, caption=_("Nothing of this is written yet"))
    else:
        text("p", _("✓ The build says all of this."))
    if view.may("work"):
        folder = Path(seen.job.folder)
        with box("div", "row"):
            if rows:
                button(
                    _("Write it into the build"),
                    lambda: view.do(
                        lambda: write_wishes(folder, seen.wishes, by=f"shop: {view.by}"),
                        _("Written into the build. It can be taken back below."),
                    ),
                    "main",
                )
            if seen.undo:
                button(
                    _("Take back what was written"),
                    lambda: view.do(
                        lambda: Desk.open(folder).undo(by=f"shop: {view.by}"),
                        _("Taken back. The answers stay with the job."),
                    ),
                )
    if seen.effects.left:
        text("h3", _("Limits that stand in the build though no answer asks for them"))
        with box("ul"):
            for words in seen.effects.left:
                text("li", words)
        text(
            "p",
            _("Stages and proposals keep to them. Take them out on the page “Build file”, or in build.toml."),
            "soft",
        )
    text("p", _("The answers stay with the job too, and every proposal is held against them."), "soft")


PAGE = ShopPage("/shop/wishes", _("Wishes"), _("What does the customer wish for?"), look, body, listed=False)
