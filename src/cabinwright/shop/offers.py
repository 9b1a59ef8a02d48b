"""Proposals: drawn up, offered, accepted and then frozen; what changes afterwards is an offer of its own.

Prices are copied into the lines with the rate of tax of that day. A draft may be changed; what was offered stands as it is.
An accepted one lies under a digest (SHA-256) of everything that was agreed but the signer's name, which the customer may have
erased; a row of it that is changed by whatever way no longer has that digest.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date
from decimal import Decimal
from hashlib import sha256
from typing import Any

from sqlalchemy import event, inspect, select
from sqlalchemy.orm import UOWTransaction
from sqlalchemy.orm.attributes import flag_modified

from cabinwright.errors import InternalError, PersonError, RefusedError
from cabinwright.shop.kinds import now
from cabinwright.shop.money import Line, Sum, rate_on, summed
from cabinwright.shop.rows import Job, Need, Offer, OfferLine
from cabinwright.shop.store import found_row, held, locking
from cabinwright.shop.trail import Work

__all__ = [
    "LINE_KINDS",
    "MOST_VARIANTS",
    "NewLine",
    "accepted",
    "add_offer",
    "agreed_lines",
    "agreed_total",
    "declined",
    "differing",
    "digest_of",
    "drop_line",
    "lines_of",
    "offered",
    "put_line",
    "today",
    "total_of",
]

MOST_VARIANTS = 3
LINE_KINDS = ("part", "labour", "other")
CHANGED = "changes"  #: name of the one variant of a change offer
STILL_FREE = {"signed_by", "count"}  #: columns of an accepted offer that may still change: a name that is erased


@dataclass(frozen=True, slots=True)
class NewLine:
    """One line to offer."""

    kind: str
    text: str
    quantity: Decimal
    unit: str
    price: Decimal  #: of one, without tax
    tax: str
    tax_rate: Decimal
    part_id: int | None = None
    cost: Decimal | None = None

    @property
    def key(self) -> tuple[str, object]:
        """What tells whether two lines are of the same thing."""
        return (self.kind, self.part_id if self.part_id is not None else self.text)


def today() -> date:
    """The day it is here."""
    return now().astimezone().date()


def add_offer(
    work: Work,
    *,
    job_id: int,
    variants: Mapping[str, tuple[dict[str, Any], Sequence[NewLine]]],
    currency: str,
    valid_until: date,
    note: str = "",
    changes_id: int | None = None,
) -> Offer:
    """A draft of one to three variants: name -> what is said of it, and its lines. Raises ``PersonError``."""
    job = found_row(work, Job, job_id)
    if not 1 <= len(variants) <= MOST_VARIANTS:
        raise PersonError(f"A proposal has one to {MOST_VARIANTS} variants, got {len(variants)}.")
    for name in variants:
        if not name.strip() or len(name) > 80:
            raise PersonError(f'"{name[:80]}": a variant needs a name of 1 to 80 characters.')
    if valid_until < today():
        raise PersonError(f"{valid_until} is past: a proposal has to be valid for a while. Give a later day.")
    count = len(work.scalars(select(Offer.id).where(Offer.job_id == job_id)).all())
    told = {name: {**about, "place": place} for place, (name, (about, _)) in enumerate(variants.items())}
    row = Offer(
        job_id=job_id,
        number=f"{job.number}/{count + 1}",
        currency=currency,
        valid_until=valid_until,
        variants=told,
        note=note.strip(),
        changes_id=changes_id,
    )
    work.add(row)
    work.flush()
    for name, (_, lines) in variants.items():
        for place, line in enumerate(lines):
            work.add(_row(line, row.id, name, place))
    work.flush()
    work.refresh(row)
    return row


def _row(line: NewLine, offer_id: int, variant: str, place: int) -> OfferLine:
    return OfferLine(
        offer_id=offer_id,
        variant=variant,
        place=place,
        kind=line.kind,
        text=line.text[:300],
        part_id=line.part_id,
        quantity=line.quantity,
        unit=line.unit,
        price=line.price,
        cost=line.cost,
        tax=line.tax,
        tax_rate=line.tax_rate,
    )


def lines_of(offer: Offer, variant: str) -> list[OfferLine]:
    """The lines of one variant, in order."""
    return sorted((line for line in offer.lines if line.variant == variant), key=lambda line: (line.place, line.id))


def total_of(offer: Offer, variant: str) -> Sum:
    """What a variant comes to, by the rule of rounding that held when it was drawn up."""
    lines = (Line(line.quantity, line.price, line.tax_rate) for line in lines_of(offer, variant))
    return summed(lines, offer.currency, by_line=bool(offer.variants[variant].get("by_line")))


def put_line(
    work: Work,
    offer_id: int,
    *,
    count: int,
    variant: str,
    kind: str,
    text: str,
    quantity: Decimal,
    unit: str,
    price: Decimal,
    tax: str,
    line_id: int | None = None,
) -> Offer:
    """One more line of a draft, or other figures for one that is there. Raises ``PersonError``, ``RefusedError``."""
    offer = _draft(work, offer_id, count)
    if variant not in offer.variants:
        raise PersonError(f'"{variant}" is no variant of {offer.number}. It has {", ".join(offer.variants)}.')
    if kind not in LINE_KINDS:
        raise PersonError(f'kind: "{kind}" is none of {", ".join(LINE_KINDS)}.')
    if not text.strip() or len(text) > 300:
        raise PersonError("text: a line needs words, 300 characters at most.")
    for name, value in (("quantity", quantity), ("price", price)):
        if not value.is_finite() or abs(value) >= 10**9 or value != round(value, 4):
            raise PersonError(f"{name}: {value} has more than four digits behind the point, or is a billion or more.")
    rate = rate_on(work, tax, today())
    fresh = {"kind": kind, "text": text.strip(), "quantity": quantity, "unit": unit[:10], "price": price}
    if line_id is None:
        place = max((line.place for line in lines_of(offer, variant)), default=-1) + 1
        row = OfferLine(
            offer_id=offer_id, variant=variant, place=place, tax=tax, tax_rate=rate, part_id=None, cost=None, **fresh
        )
        work.add(row)
    else:
        row = _line(offer, line_id)
        for column, figure in {**fresh, "tax": tax, "tax_rate": rate}.items():
            setattr(row, column, figure)
    return _touched(work, offer)


def drop_line(work: Work, offer_id: int, line_id: int, *, count: int) -> Offer:
    """Take a line out of a draft. Raises ``PersonError``, ``RefusedError``."""
    offer = _draft(work, offer_id, count)
    work.delete(_line(offer, line_id))
    return _touched(work, offer)


def _line(offer: Offer, line_id: int) -> OfferLine:
    row = next((line for line in offer.lines if line.id == line_id), None)
    if row is None:
        raise PersonError(f"There is no line {line_id} in {offer.number}; look at it again.")
    return row


def _touched(work: Work, offer: Offer) -> Offer:
    """A draft whose lines changed counts as changed itself."""
    flag_modified(offer, "variants")
    work.flush()
    work.refresh(offer)
    return offer


def _draft(work: Work, offer_id: int, count: int) -> Offer:
    offer = held(work, Offer, offer_id, count=count)
    if offer.state != "draft":
        raise RefusedError(f"{offer.number} is {offer.state} and stands as it is. Draw up another one.")
    return offer


def offered(work: Work, offer_id: int, *, count: int, said: Mapping[str, dict[str, Any]]) -> Offer:
    """A draft goes to the customer, with what is ``said`` of each variant by now.

    Raises ``RefusedError`` where it is empty or no draft any more.
    """
    offer = _draft(work, offer_id, count)
    empty = [name for name in offer.variants if not lines_of(offer, name)]
    if empty:
        raise RefusedError(f"{offer.number}: {', '.join(empty)} has no line. Add one, or draw it up again.")
    offer.state, offer.variants = "offered", dict(said)
    job = work.get(Job, offer.job_id)
    if job is not None and job.state == "asked":
        job.state = "offered"
    work.flush()
    return offer


def declined(work: Work, offer_id: int, *, count: int) -> Offer:
    """The customer does not want it, or the shop takes it back. Raises ``RefusedError``."""
    offer = held(work, Offer, offer_id, count=count)
    if offer.state not in ("draft", "offered"):
        raise RefusedError(f"{offer.number} is {offer.state}; only what is open can be declined.")
    offer.state = "declined"
    work.flush()
    return offer


def accepted(work: Work, offer_id: int, variant: str, *, signed_by: str, count: int, on: date | None = None) -> Offer:
    """The customer signed one variant: it is frozen, what it needs is written down, the job is agreed.

    Raises ``RefusedError`` where it was not offered, is no longer valid, or another one of the job was signed.
    """
    offer = held(work, Offer, offer_id, count=count)
    job = work.get(Job, offer.job_id, **locking(work))
    assert job is not None
    if offer.state != "offered":
        raise RefusedError(f"{offer.number} is {offer.state}; only what was offered can be accepted. Offer it first.")
    day = on or today()
    if day > offer.valid_until:
        raise RefusedError(f"{offer.number} was valid until {offer.valid_until}. Draw it up again at today's prices.")
    if variant not in offer.variants:
        raise PersonError(f'"{variant}" is no variant of {offer.number}. It has {", ".join(offer.variants)}.')
    if not signed_by.strip() or len(signed_by) > 200:
        raise PersonError("signed_by: who signed? A name of 1 to 200 characters.")
    other = _accepted_of(work, job.id)
    if offer.changes_id is None and other:
        raise RefusedError(f"{other[0].number} was accepted already. What differs now is a change of it.")
    with work.no_autoflush:  # one write: from the moment it is accepted, nothing of it may change
        offer.state, offer.chosen, offer.signed_by, offer.signed_at = "accepted", variant, signed_by.strip(), now()
        offer.digest = digest_of(offer)
    work.flush()
    _write_needs(work, offer)
    if offer.changes_id is None:
        for row in work.scalars(select(Offer).where(Offer.job_id == job.id, Offer.id != offer.id)):
            row.state = "declined" if row.state in ("draft", "offered") else row.state
    if job.state in ("asked", "offered"):
        job.state = "agreed"
    work.flush()
    return offer


def _write_needs(work: Work, offer: Offer) -> None:
    """Parts that the job needs more, or, by a change, less."""
    needs = list(work.scalars(select(Need).where(Need.job_id == offer.job_id).order_by(Need.id)))
    for line in lines_of(offer, offer.chosen):
        if line.part_id is None or line.quantity == 0:
            continue
        if line.quantity > 0:
            work.add(Need(job_id=offer.job_id, part_id=line.part_id, quantity=line.quantity))
            continue
        less = -line.quantity
        for need in (row for row in needs if row.part_id == line.part_id):
            taken = min(need.quantity, less)
            need.quantity, less = need.quantity - taken, less - taken


def digest_of(offer: Offer) -> str:
    """The mark of everything that was agreed: texts, builds by their own marks, lines with prices and rates, sums, dates."""
    total = total_of(offer, offer.chosen)
    told = {
        "number": offer.number,
        "changes": offer.changes_id,
        "currency": offer.currency,
        "valid_until": offer.valid_until.isoformat(),
        "chosen": offer.chosen,
        "signed_at": offer.signed_at.isoformat() if offer.signed_at else "",
        "note": offer.note,
        "variants": offer.variants,
        "lines": [_told(line) for name in offer.variants for line in lines_of(offer, name)],
        "sum": [str(total.net), [[str(figure) for figure in row] for row in total.taxes], str(total.gross)],
    }
    return sha256(json.dumps(told, sort_keys=True, ensure_ascii=False).encode("utf-8")).hexdigest()


def _told(line: OfferLine) -> list[Any]:
    figures = (line.quantity, line.price, line.tax_rate)
    plain = [f"{figure.normalize():f}" for figure in figures]
    return [line.variant, line.place, line.kind, line.text, line.part_id, line.unit, line.tax, *plain]


def _accepted_of(work: Work, job_id: int) -> list[Offer]:
    """The accepted one, then the accepted changes of it."""
    find = select(Offer).where(Offer.job_id == job_id, Offer.state == "accepted").order_by(Offer.signed_at, Offer.id)
    return sorted(work.scalars(find), key=lambda offer: offer.changes_id is not None)


def agreed_lines(work: Work, job_id: int, *, also: Offer | None = None) -> tuple[list[Offer], list[NewLine]]:
    """Everything that was signed for a job, and what it comes to line by line; later changes are counted in.

    ``also``: a change that is counted in as if it were signed too.
    """
    offers = _accepted_of(work, job_id)
    papers = [(offer, offer.chosen) for offer in offers] + ([] if also is None else [(also, CHANGED)])
    found: dict[tuple[object, ...], NewLine] = {}
    for offer, variant in papers:
        for line in lines_of(offer, variant):
            new = NewLine(*(getattr(line, item.name) for item in fields(NewLine)))
            key = (*new.key, new.price, new.tax_rate)
            old = found.get(key)
            found[key] = new if old is None else replace(old, quantity=old.quantity + new.quantity)
    return offers, [line for line in found.values() if line.quantity]


def agreed_total(offers: Sequence[Offer], lines: Iterable[NewLine]) -> Sum:
    """What lines of ``agreed_lines`` come to, by the rule of rounding of what was signed first."""
    first = offers[0]
    money = (Line(line.quantity, line.price, line.tax_rate) for line in lines)
    return summed(money, first.currency, by_line=bool(first.variants[first.chosen].get("by_line")))


def differing(agreed: Iterable[NewLine], wanted: Iterable[NewLine]) -> list[NewLine]:
    """What ``wanted`` asks for beyond ``agreed``: more at the agreed price where there is one, less as a credit at it."""
    was: dict[tuple[str, object], list[NewLine]] = {}
    for line in agreed:
        was.setdefault(line.key, []).append(line)
    will: dict[tuple[str, object], NewLine] = {}
    for line in wanted:
        old = will.get(line.key)
        will[line.key] = line if old is None else replace(old, quantity=old.quantity + line.quantity)
    rows = []
    for key in [*will, *(key for key in was if key not in will)]:
        there = was.get(key, [])
        more = (will[key].quantity if key in will else Decimal(0)) - sum((line.quantity for line in there), Decimal(0))
        if more > 0:
            rows.append(replace(there[-1] if there else will[key], quantity=more))
        for line in reversed(there):  # what was agreed last goes first
            if more < 0 and line.quantity > 0:
                less = max(more, -line.quantity)
                rows.append(replace(line, quantity=less))
                more -= less
    return rows


@event.listens_for(Work, "before_flush")
def _hold_frozen(work: Work, context: UOWTransaction, instances: object) -> None:
    """No row of an accepted offer changes through a session, whoever asks."""
    for row in (*work.new, *work.dirty, *work.deleted):
        if isinstance(row, OfferLine):
            offer = row.offer or work.get(Offer, row.offer_id)
            touched = row in work.new or row in work.deleted or work.is_modified(row)
        elif isinstance(row, Offer) and row not in work.new:
            offer = row
            names = {item.key for item in inspect(row).attrs if item.history.has_changes()} - {"lines"}
            touched = row in work.deleted or bool(names - STILL_FREE)
        else:
            continue
        if offer is not None and touched and _was(offer) == "accepted":
            raise InternalError(f"{offer.number} was accepted and is frozen; make a change offer")


def _was(offer: Offer) -> str:
    """Its state before this change."""
    past = inspect(offer).attrs.state.load_history() if inspect(offer).persistent else None
    if past is None:
        return ""
    return str((past.deleted or past.unchanged or [""])[0])
