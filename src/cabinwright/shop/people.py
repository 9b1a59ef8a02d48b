"""Customers: added, told everything that is kept of them, erased on request."""

from __future__ import annotations

from typing import Any

from sqlalchemy import select, update

from cabinwright.errors import PersonError, RefusedError
from cabinwright.shop.access import let_go
from cabinwright.shop.jobs import OVER
from cabinwright.shop.kinds import now
from cabinwright.shop.rows import Car, Customer, Hours, Job, Kept, Note, Offer, Row, Trace, User
from cabinwright.shop.store import found_row, held, locking
from cabinwright.shop.trail import Work, columns

__all__ = ["ERASED", "add_car", "add_customer", "allow", "change_car", "change_customer", "erased", "told"]

ERASED = "erased on request"
LONGEST_MARK = 40  #: characters, as the column has them


def add_customer(work: Work, *, name: str, contact: str = "", note: str = "") -> Customer:
    """One more customer. Raises ``PersonError`` for an empty or endless name."""
    row = Customer(name=_name(name), contact=contact.strip(), note=note.strip())
    work.add(row)
    work.flush()
    return row


def change_customer(work: Work, customer_id: int, *, count: int, name: str, contact: str, note: str) -> Customer:
    """Set right what is known of a customer. Raises ``PersonError``, ``MeanwhileError``; erased is erased."""
    mine = {"name": _name(name), "contact": contact.strip(), "note": note.strip()}
    return _known(held(work, Customer, customer_id, count=count, **mine))


def add_car(work: Work, *, customer_id: int, name: str, mark: str = "", note: str = "") -> Car:
    """One more car of a customer. Raises ``PersonError``; of an erased one ``RefusedError``."""
    _known(found_row(work, Customer, customer_id, **locking(work)))
    row = Car(customer_id=customer_id, name=_name(name), mark=_mark(mark), note=note.strip())
    work.add(row)
    work.flush()
    return row


def change_car(work: Work, car_id: int, *, count: int, name: str, mark: str, note: str) -> Car:
    """Set right what is known of a car. Raises ``PersonError``, ``MeanwhileError``; an erased customer's stays as it is."""
    mine = {"name": _name(name), "mark": _mark(mark), "note": note.strip()}
    owner = work.scalar(select(Car.customer_id).where(Car.id == car_id))  # no row of it before it is held
    if owner is None:
        raise PersonError(f"There is no car {car_id}; look at the list again.")
    _known(found_row(work, Customer, owner, **locking(work)))  # the customer, then the car, as erasing takes them
    return held(work, Car, car_id, count=count, **mine)


def allow(work: Work, customer_id: int, *, count: int, photographs: bool, named: bool) -> Customer:
    """Write down what a customer allows the shop to show; nothing is allowed unless they said so."""
    row = held(
        work, Customer, customer_id, count=count, photographs=photographs, named=named and photographs, allowed_at=now()
    )
    if not photographs:
        jobs = select(Job.id).join(Car).where(Car.customer_id == customer_id)
        for kept in work.scalars(select(Kept).where(Kept.job_id.in_(jobs), Kept.public)):
            kept.public = False
    return row


def told(work: Work, customer_id: int) -> dict[str, Any]:
    """Everything that is kept of a customer, as they may ask for it (in the European Union: GDPR, articles 15 and 20)."""
    customer = found_row(work, Customer, customer_id)
    cars = list(work.scalars(select(Car).where(Car.customer_id == customer_id).order_by(Car.id)))
    jobs = list(work.scalars(select(Job).where(Job.car_id.in_([car.id for car in cars])).order_by(Job.id)))
    ids = [job.id for job in jobs]

    def of(kind: type[Row], column: Any) -> list[dict[str, Any]]:
        return [columns(row) for row in work.scalars(select(kind).where(column.in_(ids)).order_by(kind.id))]

    offers = of(Offer, Offer.job_id)
    return {
        "customer": columns(customer),
        "cars": [columns(car) for car in cars],
        "jobs": [columns(job) for job in jobs],
        "offers": offers,
        "notes": of(Note, Note.job_id),
        "hours": of(Hours, Hours.job_id),
        "files": of(Kept, Kept.job_id),
        "users": [columns(user) for user in _guests(work, customer_id)],
    }


def erased(work: Work, customer_id: int, *, count: int) -> tuple[Customer, tuple[str, ...]]:
    """Erase what is personal: name, contact, notes, registration, wishes, signatures, photographs, logins; in the trail too.

    Jobs, parts, hours and sums stay, nameless, as accounts have to. Returns the marks of files that nothing names any more.
    Raises ``RefusedError`` while a job of theirs is open.
    """
    customer = held(work, Customer, customer_id, count=count)
    cars = list(work.scalars(select(Car).where(Car.customer_id == customer_id)))
    jobs = list(work.scalars(select(Job).where(Job.car_id.in_([car.id for car in cars]))))
    still = [job.number for job in jobs if job.state not in OVER]
    if still:
        raise RefusedError(f"{', '.join(still)} of this customer is still open. Close it or call it off, then erase.")
    ids = [job.id for job in jobs]
    files = list(
        work.scalars(select(Kept).where(Kept.job_id.in_(ids), Kept.kind.in_(("photograph", "signature", "document"))))
    )
    notes = list(work.scalars(select(Note).where(Note.job_id.in_(ids))))
    offers = list(work.scalars(select(Offer).where(Offer.job_id.in_(ids))))
    marks = {mark for file in files for mark in (file.mark, file.shown) if mark}
    customer.name, customer.contact, customer.note = f"{ERASED} ({customer.id})", "", ""
    customer.photographs = customer.named = False
    customer.erased_at = now()
    for car in cars:
        car.mark = car.note = ""
    for job in jobs:
        job.wishes, job.note = {}, ""
    for offer in offers:
        offer.signed_by = ERASED if offer.signed_by else ""
    guests = _guests(work, customer_id)
    for user in guests:
        user.name, user.password, user.active = f"{ERASED} (guest {user.id})", "", False
        let_go(work, user_id=user.id)
    for row in (*files, *notes):
        work.delete(row)
    work.flush()
    _clean_trail(
        work,
        {
            Customer: [customer.id],
            Car: [c.id for c in cars],
            Job: ids,
            Offer: [o.id for o in offers],
            Note: [n.id for n in notes],
            Kept: [f.id for f in files],
            User: [user.id for user in guests],
        },
    )
    used = set(work.scalars(select(Kept.mark).where(Kept.mark.in_(marks)))) | set(
        work.scalars(select(Kept.shown).where(Kept.shown.in_(marks)))
    )
    return customer, tuple(sorted(marks - used))


def _guests(work: Work, customer_id: int) -> list[User]:
    return list(work.scalars(select(User).where(User.customer_id == customer_id).order_by(User.id)))


def _clean_trail(work: Work, subjects: dict[type[Row], list[int]]) -> None:
    """What the trail says of these rows keeps who and when, and loses what."""
    for kind, ids in subjects.items():
        here = (Trace.subject == kind.__tablename__, Trace.row.in_(ids))
        work.execute(
            update(Trace).where(*here).values(before={}, after={}), execution_options={"synchronize_session": False}
        )


def _known(customer: Customer) -> Customer:
    """One that nobody else changes now: whether they were erased is asked of a row that is held."""
    if customer.erased_at is not None:
        raise RefusedError(f"Customer {customer.id} was erased on request. Add them anew where they come again.")
    return customer


def _mark(mark: str) -> str:
    mark = " ".join(mark.split())
    if len(mark) > LONGEST_MARK:
        raise PersonError(f"A registration has {LONGEST_MARK} characters at most; what is longer belongs to the note.")
    return mark


def _name(name: str) -> str:
    name = " ".join(name.split())
    if not 1 <= len(name) <= 200:
        raise PersonError("A name needs 1 to 200 characters.")
    return name
