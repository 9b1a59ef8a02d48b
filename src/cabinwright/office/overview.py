"""One job at a glance: whose car, where it stands, what comes next, the hours it took, and the jobs before and after it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from sqlalchemy import func, select

from cabinwright.office.offers import agreed_in
from cabinwright.office.returns import PINNED
from cabinwright.shop import offers
from cabinwright.shop.jobs import FOLLOWS, OPEN, chain, change_job
from cabinwright.shop.kinds import now
from cabinwright.shop.parts import missing
from cabinwright.shop.rows import Hours, Job, Kept, Offer, Task
from cabinwright.shop.store import Store, found_row
from cabinwright.shop.trail import Work, plain

__all__ = ["HoursLine", "JobView", "Next", "overview", "set_job"]

CENT_HOUR = Decimal("0.01")
LAST = frozenset({"tuning", "handing over"})  #: kinds of work that are left when a car is proved


@dataclass(frozen=True, slots=True)
class HoursLine:
    """Hours of one kind of work."""

    kind: str
    planned_h: Decimal | None  #: None: nobody said
    spent_h: Decimal  #: with what runs now
    running: tuple[str, ...]  #: whose time runs


@dataclass(frozen=True, slots=True)
class Next:
    """What comes next. ``key`` says what, ``where`` on which page, ``to`` which state may follow now."""

    key: str
    where: str = ""
    to: str = ""
    about: Mapping[str, str] = field(default_factory=dict)  #: figures and names to say it with


@dataclass(frozen=True, slots=True)
class JobView:
    """One job at a glance."""

    id: int
    count: int
    number: str
    title: str
    state: str
    promised_on: date | None
    late: bool
    folder: str
    note: str
    car: str
    customer: str
    customer_id: int
    shows: bool  #: whether the customer allowed photographs to be shown
    wishes: Mapping[str, Any]
    earlier: tuple[tuple[int, str, str], ...]  #: id, number and title; the oldest first
    later: tuple[tuple[int, str, str], ...]
    hours: tuple[HoursLine, ...]
    tasks: int
    tasks_done: int
    agreed: Decimal | None  #: with tax; None: nothing was signed
    currency: str
    follows: tuple[str, ...]  #: states that a person may bring it into from here
    next: Next

    @property
    def spent_h(self) -> Decimal:
        """Of every kind of work."""
        return sum((line.spent_h for line in self.hours), Decimal(0))

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON types."""
        row = {key: plain(value) for key, value in asdict(self).items()}
        hours = [{key: plain(value) for key, value in asdict(line).items()} for line in self.hours]
        return row | {
            "hours": hours,
            "spent_h": str(self.spent_h),
            "next": asdict(self.next),
            "follows": list(self.follows),
        }


def overview(store: Store, job_id: int) -> JobView:
    """Everything that one looks for first. Raises ``PersonError``."""
    with store.read() as work:
        job = found_row(work, Job, job_id)
        find = select(Task.kind, Task.done_at).where(Task.job_id == job_id)
        tasks = [(row.kind, row.done_at is not None) for row in work.execute(find)]
        signed = agreed_in(work, job_id)
        open_ = job.state in OPEN and job.state != "handed over"
        customer = job.car.customer
        return JobView(
            id=job.id,
            count=job.count,
            number=job.number,
            title=job.title,
            state=job.state,
            promised_on=job.promised_on,
            late=open_ and job.promised_on is not None and job.promised_on < offers.today(),
            folder=job.folder,
            note=job.note,
            car=job.car.name,
            customer=customer.name,
            customer_id=customer.id,
            shows=customer.photographs and customer.erased_at is None,
            wishes=dict(job.wishes),
            earlier=_named(chain(work, job_id)[:-1]),
            later=_named(work.scalars(select(Job).where(Job.earlier_id == job_id).order_by(Job.id)).all()),
            hours=_hours(work, job_id),
            tasks=len(tasks),
            tasks_done=sum(done for _, done in tasks),
            agreed=signed.total.gross if signed is not None else None,
            currency=signed.currency if signed is not None else "",
            follows=_follows(job.state),
            next=_next(work, job, tasks),
        )


def _follows(state: str) -> tuple[str, ...]:
    """Offering and signing bring a job there by themselves; nobody says it of a job beside them."""
    return tuple(item for item in FOLLOWS[state] if item not in ("offered", "agreed"))


def _named(jobs: Any) -> tuple[tuple[int, str, str], ...]:
    return tuple((job.id, job.number, job.title) for job in jobs)


def _hours(work: Work, job_id: int) -> tuple[HoursLine, ...]:
    """Planned and spent by kind of work, in the order of the tasks."""
    planned: dict[str, Decimal | None] = {}
    for kind, hours in work.execute(
        select(Task.kind, Task.planned_h).where(Task.job_id == job_id).order_by(Task.place)
    ):
        before = planned.get(kind)
        planned[kind] = before if hours is None else (before or Decimal(0)) + hours
    seconds: dict[str, float] = {}
    runs: dict[str, list[str]] = {}
    for row in work.scalars(select(Hours).where(Hours.job_id == job_id).order_by(Hours.id)):
        planned.setdefault(row.kind, None)
        seconds[row.kind] = seconds.get(row.kind, 0.0) + ((row.ended_at or now()) - row.began_at).total_seconds()
        if row.ended_at is None:
            runs.setdefault(row.kind, []).append(row.by)
    return tuple(
        HoursLine(kind, hours, Decimal(seconds.get(kind, 0.0) / 3600).quantize(CENT_HOUR), tuple(runs.get(kind, ())))
        for kind, hours in planned.items()
    )


def _next(work: Work, job: Job, tasks: list[tuple[str, bool]]) -> Next:
    """The first thing that is still to be done, in the order in which a job goes."""
    if job.state == "asked":
        return _asked(work, job)
    if job.state == "offered":
        open_ = work.scalars(select(Offer).where(Offer.job_id == job.id, Offer.state == "offered")).all()
        late = [row for row in open_ if row.valid_until < offers.today()]
        if not open_ or late == list(open_):
            return Next("offer again", "offers", about={"offer": late[-1].number if late else ""})
        return Next("sign", "offers", about={"offer": open_[-1].number, "until": str(open_[-1].valid_until)})
    if job.state == "agreed":
        return Next("begin", "bench", to="building")
    if job.state in ("building", "proving"):
        return _building(work, job, tasks)
    if job.state == "handed over":
        return Next("close", to="closed")
    return Next("over", "returned") if job.state == "closed" else Next("called off", to="asked")


def _asked(work: Work, job: Job) -> Next:
    if not job.wishes:
        return Next("ask", "wishes")
    if not job.folder:
        return Next("folder", "job")
    draft = select(Offer.number).where(Offer.job_id == job.id, Offer.state == "draft").order_by(Offer.id.desc())
    number = work.scalar(draft.limit(1))
    return Next("offer", "offers", about={"offer": number}) if number else Next("draw up", "offers")


def _building(work: Work, job: Job, tasks: list[tuple[str, bool]]) -> Next:
    if not tasks:
        return Next("plan", "bench")
    left = [kind for kind, done in tasks if not done]
    about = {
        "done": str(len(tasks) - len(left)),
        "tasks": str(len(tasks)),
        "missing": str(len(missing(work, job.id))),
    }
    if job.state == "building" and set(left) <= LAST:
        return Next("prove", "bench", to="proving", about=about)
    if left:
        return Next("work", "bench", about=about)
    proved = select(func.count()).where(Kept.job_id == job.id, Kept.kind == "document", Kept.pinned == PINNED)
    return Next("hand over" if work.scalar(proved) else "verify", "returned", to="handed over", about=about)


def set_job(
    store: Store, job_id: int, *, count: int, by: str, title: str, promised_on: date | None, folder: str, note: str
) -> None:
    """Write down what a job is. Raises ``PersonError`` where the folder holds no build, ``MeanwhileError``."""
    fields = {"promised_on": promised_on, "folder": folder.strip(), "note": note.strip()}
    store.change(lambda work: change_job(work, job_id, count=count, title=title, **fields).id, by=by)
