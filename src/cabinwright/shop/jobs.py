"""Jobs and their states: what may follow what, and what each step asks for."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import contains_eager

from cabinwright.errors import PersonError, RefusedError
from cabinwright.shop.kinds import now
from cabinwright.shop.rows import Car, Hours, Job, Note, Offer, Task
from cabinwright.shop.store import found_row, held
from cabinwright.shop.trail import Work

__all__ = ["FOLLOWS", "OPEN", "OVER", "STATES", "add_job", "chain", "change_job", "listed", "note", "step"]

FOLLOWS: dict[str, tuple[str, ...]] = {
    "asked": ("offered", "called off"),
    "offered": ("asked", "agreed", "called off"),
    "agreed": ("building", "called off"),
    "building": ("proving", "called off"),
    "proving": ("building", "handed over"),
    "handed over": ("closed", "building"),
    "closed": (),
    "called off": ("asked",),
}
"""State -> states that may follow. A car that comes back later is a job of its own, which names the earlier one."""
STATES = tuple(FOLLOWS)
OVER = ("closed", "called off")
OPEN = tuple(state for state in STATES if state not in OVER)


def add_job(
    work: Work,
    *,
    car_id: int,
    title: str,
    promised_on: date | None = None,
    folder: str = "",
    earlier_id: int | None = None,
) -> Job:
    """One more job, numbered by year. Raises ``PersonError``."""
    title, folder = _title(title), _folder(folder)
    if work.get(Car, car_id) is None:
        raise PersonError(f"There is no car {car_id}; add it to its customer first.")
    earlier = work.get(Job, earlier_id) if earlier_id is not None else None
    if earlier_id is not None and (earlier is None or earlier.car_id != car_id):
        raise PersonError(f"There is no earlier job {earlier_id} on this car.")
    job = Job(
        number=_next_number(work),
        car_id=car_id,
        title=title,
        promised_on=promised_on,
        folder=folder,
        earlier_id=earlier_id,
    )
    work.add(job)
    work.flush()
    return job


def change_job(work: Work, job_id: int, *, count: int, title: str, **fields: Any) -> Job:
    """Other words, another day (``promised_on``), folder or note. Raises ``PersonError``, ``MeanwhileError``."""
    was = work.scalar(select(Job.folder).where(Job.id == job_id))  # no row of it before it is held
    if "folder" in fields and fields["folder"] != was:  # else it may lie on another bench
        fields["folder"] = _folder(fields["folder"])
    return held(work, Job, job_id, count=count, title=_title(title), **fields)


def _title(words: str) -> str:
    title = " ".join(words.split())
    if not 1 <= len(title) <= 200:
        raise PersonError("A job needs a title of 1 to 200 characters.")
    return title


def _folder(words: str) -> str:
    """A build's folder on this computer, or none yet."""
    if words and not (Path(words) / "build.toml").is_file():
        raise PersonError(
            f"{words[:200]}: there is no build.toml in it. Name the folder of a build, or make one first: cabinwright new FOLDER"
        )
    return words


def _next_number(work: Work) -> str:
    """Year and running number. Of two who get the same at once, the unique column lets one through; the other tries again."""
    year = f"{now():%Y}-"
    last = work.scalar(select(func.max(Job.number)).where(Job.number.startswith(year, autoescape=True)))
    return f"{year}{int(last[5:]) + 1 if last else 1:05d}"


def step(work: Work, job_id: int, to: str, *, count: int) -> Job:
    """Bring a job into another state. Raises ``RefusedError`` where something is missing or it may not follow."""
    job = held(work, Job, job_id, count=count)
    if to not in STATES:
        raise PersonError(f'"{to}" is no state of a job. States are {", ".join(STATES)}.')
    if to not in FOLLOWS[job.state]:
        next_ = ", ".join(FOLLOWS[job.state]) or "nothing: open another job for a car that comes back"
        raise RefusedError(f"{job.number} is {job.state}; {to} cannot follow. What can: {next_}.")
    words = _lacks(work, job, to)
    if words:
        raise RefusedError(f"{job.number} cannot be {to} yet: {words}")
    job.state = to
    job.closed_at = now() if to in ("closed", "called off") else None
    work.flush()
    return job


def _lacks(work: Work, job: Job, to: str) -> str:
    offers = work.scalars(select(Offer.state).where(Offer.job_id == job.id)).all()
    if to == "offered" and "offered" not in offers:
        return "no proposal was offered. Make one and offer it."
    if to == "agreed" and "accepted" not in offers:
        return "no proposal was accepted. Have one signed."
    if to == "handed over":
        open_ = work.scalars(select(Task.name).where(Task.job_id == job.id, Task.done_at.is_(None))).all()
        if open_:
            return f"{len(open_)} tasks are not done, among them {open_[0]}."
    if to in ("handed over", "closed", "called off") and work.scalar(
        select(Hours.id).where(Hours.job_id == job.id, Hours.ended_at.is_(None)).limit(1)
    ):
        return "somebody's time still runs on it. Stop it."
    return ""


def chain(work: Work, job_id: int) -> list[Job]:
    """A job and those it comes back from, the oldest first."""
    rows: list[Job] = []
    at: int | None = job_id
    while at is not None and at not in [job.id for job in rows]:
        rows.append(found_row(work, Job, at))
        at = rows[-1].earlier_id
    return rows[::-1]


def listed(
    work: Work, *, states: Sequence[str] = (), promised_before: date | None = None, customer_id: int | None = None,
    newest: bool = False, after: int = 0, most: int = 50,
) -> list[Job]:  # fmt: skip
    """Jobs with their cars and customers, those first that are promised first and those without a promise last.

    ``newest``: those opened last at the head.
    """
    ids = select(Job.id)  # counted off before cars and customers are joined to those of this page
    if states:
        ids = ids.where(Job.state.in_(states))
    if promised_before is not None:
        ids = ids.where(Job.promised_on < promised_before)
    if customer_id is not None:
        ids = ids.join(Job.car).where(Car.customer_id == customer_id)
    order = (Job.id.desc(),) if newest else (Job.promised_on.is_(None), Job.promised_on, Job.id)
    page = ids.order_by(*order).offset(after).limit(most).subquery()
    find = select(Job).join(Job.car).options(contains_eager(Job.car).joinedload(Car.customer))
    return list(work.scalars(find.where(Job.id.in_(select(page.c.id))).order_by(*order)))


def note(work: Work, job_id: int, text: str, *, pinned: str = "") -> Note:
    """Write something down in the log of a job."""
    if not text.strip() or len(text) > 20_000:
        raise PersonError("A note needs 1 to 20,000 characters.")
    found_row(work, Job, job_id)
    row = Note(job_id=job_id, text=text.strip(), pinned=pinned.strip()[:200], at=now(), by=work.by)
    work.add(row)
    work.flush()
    return row
