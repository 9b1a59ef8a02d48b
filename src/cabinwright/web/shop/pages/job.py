"""One job: where it stands, what comes next, and the ways to everything that belongs to it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from cabinwright.office.overview import JobView, overview, set_job
from cabinwright.office.showcase import DiaryEntry, diary
from cabinwright.shop.access import job_for
from cabinwright.shop.jobs import STATES, step
from cabinwright.web.parts import box, button, link, table, text
from cabinwright.web.shop.forms import Ask, day_of, form
from cabinwright.web.shop.frame import ShopPage, ShopView, address
from cabinwright.web.shop.said import STATE_WORDS, money, plain
from cabinwright.web.words import _

__all__ = ["PAGE", "PHOTOGRAPH", "head", "job_seen", "picture"]

PHOTOGRAPH = "/shop/photograph"  #: where the log's pictures are looked at
WAYS: dict[str, str] = {
    "job": _("The job"),
    "wishes": _("Wishes"),
    "offers": _("Proposals"),
    "bench": _("Bench"),
    "log": _("Log"),
    "returned": _("Coming back"),
}
GUEST = ("job", "offers")  #: pages of a job that its customer may look at
NEXT: dict[str, str] = {
    "ask": _("Ask the customer what they wish for."),
    "folder": _("Name the folder that holds this job's build, below. Without one there is none yet: cabinwright new."),
    "draw up": _("Draw up a proposal, from one to three builds."),
    "offer": _("Proposal {offer} is a draft. Read it, then offer it."),
    "offer again": _("What was offered is over. Draw up a proposal at today's prices."),
    "sign": _("Proposal {offer} is with the customer until {until}. When they sign, write it down there."),
    "begin": _("It is signed. Order what is missing, and begin to build."),
    "plan": _("Derive the tasks from the build."),
    "work": _("{done} of {tasks} tasks are done; {missing} parts are not there yet."),
    "prove": _("It is built and closed up. Tune it, and prove that it plays as it was designed."),
    "verify": _("Every task is done. Record the second round and keep its verification; then hand the car over."),
    "hand over": _("Done and proved. Hand the car over with its book."),
    "close": _("The car has gone home. Close the job when nothing is open."),
    "over": _("Closed. When the car comes back, open a job for it there."),
    "called off": _("Called off. It can be asked for again."),
}
DOES = {
    "asked": _("Ask again"),
    "building": _("Begin to build"),
    "proving": _("Go on to proving"),
    "handed over": _("Hand it over"),
    "closed": _("Close the job"),
    "called off": _("Call it off"),
}
BACK_TO_BENCH = _("Back to the bench")
COURSE = tuple(state for state in STATES if state != "called off")


def job_seen(view: ShopView) -> JobView:
    """The job of the address, as far as this visitor may look at it. Raises ``PersonError``."""
    person = view.person
    with view.store.read() as work:
        job_for(work, person, view.at)
    seen = overview(view.store, view.at)
    return seen if person.may("price") or not person.may("read") else replace(seen, agreed=None)


def head(view: ShopView, seen: JobView) -> None:
    """Which job, and the ways to its other pages."""
    text("p", f"{seen.number} {seen.title}", "figure")
    with box("p", "soft"):
        if view.may("people"):
            link(seen.customer, address("/shop/customer", at=seen.customer_id))
            text("span", " · ")
        late = "▲ " + _("late since {day}") if seen.late else _("promised for {day}")
        day = late.format(day=seen.promised_on) if seen.promised_on else ""
        text("span", " · ".join(filter(None, (seen.car, STATE_WORDS[seen.state], day))))
    with box("nav", "row ways") as ways:
        ways.props["aria-label"] = _("Pages of this job")
        for name, words in WAYS.items():
            if view.may("read") or name in GUEST:
                made = link(words, address(f"/shop/{name}", at=seen.id), "act")
                if view.page.path == f"/shop/{name}":
                    made.props["aria-current"] = "page"


def picture(number: int, words: str) -> None:
    """A photograph of the log, as a copy without place and camera."""
    made = box("img")
    made.props.update({"src": address(PHOTOGRAPH, at=number), "alt": words or _("Photograph of the work")})
    made.props["loading"] = "lazy"


@dataclass(frozen=True)
class Seen:
    """What the page looked up."""

    job: JobView
    shown: tuple[DiaryEntry, ...]  #: photographs that are shown to everybody; for a guest


def look(view: ShopView) -> Seen:
    """The job at a glance."""
    job = job_seen(view)
    shown = () if view.may("read") else tuple(item for item in diary(view.store, job.id) if item.public)
    return Seen(job, shown)


def body(view: ShopView, seen: Seen) -> None:
    """Where it stands and what comes next; then figures, hours, and what it is."""
    job = seen.job
    head(view, job)
    _course(job.state)
    if not view.may("read"):
        with box("div", "album"):
            for item in seen.shown:
                with box("figure", "tile"):
                    picture(item.id, item.words)
                    text("figcaption", item.words)
        return
    _onward(view, job)
    _figures(view, job)
    _hours(job)
    _family(job)
    if view.may("work"):
        _set(view, job)


def _course(state: str) -> None:
    """All states in their order, and where this job is."""
    at = COURSE.index(state) if state in COURSE else -1
    with box("ol", "course"):
        for number, name in enumerate(COURSE):
            past = number < at or state == "closed"
            mark = "✓ " if past else "● " if number == at else "○ "
            with box("li", "now" if number == at else "past" if past else "") as item:
                text("span", mark + STATE_WORDS[name])
                if number == at:
                    item.props["aria-current"] = "step"


def _onward(view: ShopView, job: JobView) -> None:
    due = job.next
    with box("div", "key"):
        text("h2", _("What comes next"), "first")
        text("p", NEXT[due.key].format(**due.about))
        with box("div", "row"):
            if due.where not in ("", "job"):
                link(WAYS[due.where], address(f"/shop/{due.where}", at=job.id), "act" if due.to else "act main")
            if due.to and view.may("work"):
                _step(view, job, due.to, main=True)
    others = [state for state in job.follows if state != due.to]
    if others and view.may("work"):
        with box("details"):
            text("summary", _("Other steps"), "act")
            with box("div", "row"):
                for state in others:
                    _step(view, job, state)


def _step(view: ShopView, job: JobView, state: str, *, main: bool = False) -> None:
    words = BACK_TO_BENCH if state == "building" and job.state != "agreed" else DOES[state]
    said = _("{number} is {state} now.").format(number=job.number, state=STATE_WORDS[state])
    button(
        words,
        lambda: view.change(lambda work: step(work, job.id, state, count=job.count).id, said),
        "main" if main else "",
    )


def _figures(view: ShopView, job: JobView) -> None:
    told = []
    if job.tasks:
        told.append((_("Tasks"), _("{done} of {all}").format(done=job.tasks_done, all=job.tasks), _("done")))
    if job.agreed is not None and view.may("price"):
        told.append((_("Agreed"), money(job.agreed, job.currency), _("with tax, changes counted in")))
    if job.hours:
        told.append((_("Hours"), f"{plain(job.spent_h)} h", _("spent so far")))
    if told:
        with box("div", "tiles"):
            for name, figure, soft in told:
                with box("div", "tile"):
                    text("p", name, "soft")
                    text("p", figure, "figure")
                    text("p", soft, "soft")


def _hours(job: JobView) -> None:
    told = [line for line in job.hours if line.planned_h is not None or line.spent_h or line.running]
    if not told:
        return
    text("h2", _("Hours"))
    rows = [
        (
            line.kind,
            "–" if line.planned_h is None else plain(line.planned_h),
            plain(line.spent_h),
            ", ".join(line.running) or "–",
        )
        for line in told
    ]
    heads = (_("Kind of work"), _("Planned"), _("Spent"), _("Time runs for"))
    table(heads, rows, caption=_("Hours by kind of work; planned are those that the build or a person gave"))


def _family(job: JobView) -> None:
    if not job.earlier and not job.later:
        return
    text("h2", _("Jobs on this car before and after"))
    with box("ul", "changes"):
        for number, name, title in (*job.earlier, *job.later):
            with box("li", "change"):
                link(f"{name} {title}", address("/shop/job", at=number), "where")


def _set(view: ShopView, job: JobView) -> None:
    text("h2", _("What it is"))

    async def change(told: dict[str, Any]) -> None:
        folder = told.get("folder", job.folder)

        def make() -> None:
            given = {"title": told["title"], "folder": folder, "note": told["note"]}
            set_job(view.store, job.id, count=job.count, by=view.by, promised_on=day_of(told["promised"]), **given)

        await view.do(make, _("Kept."), needs="work" if folder == job.folder else "places")

    place = Ask("folder", _("Its build folder"), job.folder, help=_("On the computer that serves this page."))
    form(
        [
            Ask("title", _("What is asked for"), job.title, needed=True),
            Ask("promised", _("Promised for"), job.promised_on or "", "date"),
            *([place] if view.may("places") else ()),
            Ask("note", _("Note"), job.note, "long", help=_("For the shop alone.")),
        ],
        _("Keep"),
        change,
        main=False,
    )
    if job.folder:
        text("p", _("The build itself is worked on with: cabinwright open {folder}").format(folder=job.folder), "soft")


PAGE = ShopPage("/shop/job", _("Job"), _("Where does this job stand?"), look, body, needs="look", listed=False)
