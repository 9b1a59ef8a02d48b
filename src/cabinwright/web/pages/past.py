"""What was changed, and why? Every change, newest first; any state of then beside today's, in words; the way back."""

from __future__ import annotations

from collections.abc import Iterable

from nicegui import ui

from cabinwright.desk import Job
from cabinwright.errors import CabinwrightError
from cabinwright.history.design import Difference, design_differences
from cabinwright.history.log import Entry
from cabinwright.web.frame import Page, View
from cabinwright.web.jobs import job_panel
from cabinwright.web.parts import box, button, sides, table, text
from cabinwright.web.words import _, counted

__all__ = ["PAGE"]

SHOWN = 60  #: changes at first; the rest on request


def body(view: View) -> None:
    """The state that was chosen beside today's; then every change."""
    past = view.desk.history()
    for words in past.damage:
        text("p", words, "alert")
    if not past.entries:
        text(
            "p", _("Nothing was changed through Cabinwright yet. From the first change on, each is kept here."), "empty"
        )
        return
    at: int | None = view.state.get("state")
    if at is not None:
        _beside(view, at)
    entries = past.entries[::-1]
    whole = view.state.get("whole") or len(entries) <= SHOWN
    text("h2", counted(len(entries), "change", "changes"))
    with box("ul", "changes"):
        for entry in entries if whole else entries[:SHOWN]:
            _entry(view, entry, chosen=at == entry.number)
        _entry(view, None, chosen=at == 0)
    if not whole:
        button(_("Show every change"), lambda: _choose(view, whole=True))


async def _choose(view: View, **chosen: object) -> None:
    view.state.update(chosen)
    await view.draw()


def _entry(view: View, entry: Entry | None, *, chosen: bool) -> None:
    """One change, or the state before all of them."""
    number = entry.number if entry is not None else 0
    with box("li", "change"):
        with box("div"):
            if entry is None:
                text("p", _("Before the first change"), "where")
            else:
                text("p", f"{entry.number}.  {entry.what}", "where")
                if entry.why:
                    text("p", _("Why: ") + entry.why)
                text(
                    "p",
                    _("{when} UTC, {by}").format(when=entry.when.replace("T", " ").rstrip("Z"), by=entry.by),
                    "soft",
                )
        made = button(
            _("Beside today"),
            lambda: _choose(view, state=None if chosen else number),
            says=_("State {number} beside today").format(number=number),
        )
        made.props["aria-pressed"] = str(chosen).lower()


def _beside(view: View, number: int) -> None:
    try:
        content, then = view.desk.state(number), view.desk.at(number)
    except CabinwrightError as error:
        text("p", str(error), "alert")
        return
    with box("section", "key"):
        text("h2", _("State {number} beside today").format(number=number), "first")
        differences = design_differences(then, view.desk.build)
        if differences:
            _differences(differences, _("In design"))
        else:
            text("p", _("Nothing differs in design."))
        with box("div"):
            with box("div", "field"):
                text("label", _("Why (kept with the change)")).props["for"] = "why"
                why = box("input")
            why.props.update({"id": "why", "autocomplete": "off"})
            reason = [""]
            why.on(
                "change", lambda event: reason.__setitem__(0, str(event.args)), js_handler="(e) => emit(e.target.value)"
            )
            with box("div", "row"):
                button(
                    _("Bring state {number} back").format(number=number),
                    lambda: view.do(lambda: view.desk.restore(number, by=view.by, why=reason[0])),
                    "main",
                )
                button(_("Take its build.toml away"), lambda: ui.download(content.encode(), f"build-{number}.toml"))
            text("p", _("Today's state stays in the history: this can be taken back too."), "soft")
        job: Job | None = view.state.get("jobs", {}).get(f"compare {number}")
        if job is not None and job.state == "done" and view.state.get("compared") == (number, view.seen):
            _differences(job.told, _("In result"))
        else:
            job_panel(
                view, "compare", _("Work out both and compare the results"), key=f"compare {number}", number=number
            )
            view.state["compared"] = (number, view.desk.version)


def _differences(differences: Iterable[Difference], caption: str) -> None:
    rows = [(item.where, *sides(item)) for item in differences]
    table((_("What"), _("Then"), _("Today")), rows, caption=caption)
    if not rows:
        text("p", _("No figure differs that matters at the car."))


PAGE = Page("/history", _("History"), _("What was changed, and why?"), body)
