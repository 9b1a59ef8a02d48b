"""The interview: what the customer wishes for, what that changes in the build, and what it stays held against."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from cabinwright.errors import CabinwrightError
from cabinwright.office.wishes import QUESTIONS, Effects, Wishes, effects, keep_wishes, wishes_of, write_wishes
from cabinwright.web.parts import box, button, table, text
from cabinwright.web.shop.forms import Ask, form
from cabinwright.web.shop.frame import ShopPage, ShopView
from cabinwright.web.shop.pages.job import JobSeen, head, job_seen
from cabinwright.web.words import _

__all__ = ["PAGE"]

KINDS = {"choice": "choice", "several": "several", "lines": "long", "number": "number", "money": "number"}


@dataclass(frozen=True)
class Seen:
    """What the page looked up."""

    job: JobSeen
    wishes: Wishes
    effects: Effects | None
    why_not: str


def look(view: ShopView) -> Seen:
    """The answers, and what they would do to the build; nothing is written."""
    job = job_seen(view)
    wishes = wishes_of(view.store, job.id)
    if not job.job["folder"]:
        return Seen(job, wishes, None, _("The job has no build folder yet; name it on the page “The job”."))
    try:
        return Seen(job, wishes, effects(Path(job.job["folder"]), wishes), "")
    except CabinwrightError as error:
        return Seen(job, wishes, None, str(error))


def body(view: ShopView, seen: Seen) -> None:
    """Questions, then what becomes of the answers."""
    head(view, seen.job)
    given = seen.wishes.to_dict()
    if view.may("work"):

        async def keep(told: dict[str, Any]) -> None:
            answers = {
                item.key: told[item.key].splitlines() if item.kind == "lines" else told[item.key] for item in QUESTIONS
            }
            if seen.wishes.keep_free:
                answers["keep_free"] = given["keep_free"]
            await view.do(
                lambda: keep_wishes(view.store, seen.job.id, answers, count=seen.job.job["count"], by=view.by),
                _("Kept with the job."),
            )

        form(
            [
                Ask(
                    item.key,
                    _(item.says),
                    "\n".join(given.get(item.key, ())) if item.kind == "lines" else given.get(item.key, ""),
                    KINDS[item.kind],
                    [(value, _(words)) for value, words in item.choices],
                    help=_("Becomes: ") + _(item.why),
                    unit=item.unit,
                )
                for item in QUESTIONS
            ],
            _("Keep the answers"),
            keep,
        )
    text("h2", _("What it changes in the build"))
    if seen.effects is None:
        text("p", seen.why_not, "empty")
        return
    rows = [(item.where, item.was or "–", item.becomes, item.because) for item in seen.effects.changes]
    if rows:
        table((_("Field"), _("Is"), _("Becomes"), _("Because")), rows, caption=_("Nothing of this is written yet"))
        if view.may("work"):
            with box("div", "row"):
                button(
                    _("Write it into the build"),
                    lambda: view.do(
                        lambda: write_wishes(Path(seen.job.job["folder"]), seen.wishes, by=f"shop: {view.by}"),
                        _("Written. The build's history can take it back."),
                    ),
                    "main",
                )
    else:
        text("p", _("Nothing: the build says it already, or nothing was answered that it has a field for."))
    if seen.effects.kept:
        text("h3", _("Held against every build of this job"))
        with box("ul"):
            for words in seen.effects.kept:
                text("li", words)


PAGE = ShopPage("/shop/wishes", _("Wishes"), _("What does the customer wish for?"), look, body, listed=False)
