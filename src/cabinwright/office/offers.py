"""Proposals from builds: what each variant does and takes, its parts from the library, labour from the shop's own hours."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

from sqlalchemy import select

from cabinwright.errors import MeanwhileError, PersonError, RefusedError
from cabinwright.office.offer_page import page_pdf
from cabinwright.office.offer_views import Agreed, LineView, OfferView, VariantView, shown
from cabinwright.office.pricing import money_lines, priced
from cabinwright.office.said import about
from cabinwright.office.wishes import Wishes, held_against
from cabinwright.office.worked import Progress, Worked, unwatched, worked_out
from cabinwright.shop import offers as rows
from cabinwright.shop.house import House
from cabinwright.shop.house import house as house_of
from cabinwright.shop.house import set_house as write_house
from cabinwright.shop.money import STANDARD, summed
from cabinwright.shop.rows import BuildState, Customer, Job, Offer
from cabinwright.shop.store import Store, found_row, held
from cabinwright.shop.trail import Work

__all__ = [
    "Agreed",
    "LineView",
    "OfferView",
    "VariantView",
    "accept",
    "agreed",
    "agreed_in",
    "change_offer",
    "decline",
    "draw_up",
    "drop_line",
    "house",
    "offer",
    "offer_pdf",
    "offers_of",
    "put_line",
    "set_house",
    "view",
    "whole",
]

VALID_DAYS = 30


def draw_up(
    store: Store,
    job_id: int,
    sources: Mapping[str, Path],
    *,
    by: str,
    valid_until: date | None = None,
    hours: Mapping[str, Decimal] | None = None,
    note: str = "",
    progress: Progress = unwatched,
) -> OfferView:
    """A draft with a variant for each of ``sources``: name -> build folder or ``build.toml``, one to three.

    ``hours``: for kinds of work that the shop has no hours of yet, or instead of its own. Raises ``PersonError``, ``BuildError``.
    """
    if not 1 <= len(sources) <= rows.MOST_VARIANTS:
        raise PersonError(f"A proposal has one to {rows.MOST_VARIANTS} variants, got {len(sources)}.")
    with store.read() as work:
        found_row(work, Job, job_id)  # before the builds are worked out, which takes its time
    found = {name: worked_out(path, progress) for name, path in sources.items()}
    first = next(iter(found.values()))
    until = valid_until or rows.today() + timedelta(days=VALID_DAYS)

    def make(work: Work) -> int:
        job = found_row(work, Job, job_id)
        variants = {}
        for name, item in found.items():
            lines, said = priced(work, item, hours or {})
            said |= about(item, None if item is first else first)
            gross = summed(money_lines(lines), said["currency"], by_line=said["by_line"]).gross
            wishes = Wishes.of(job.wishes)
            checks = held_against(wishes, item.build, item.results, gross=gross)
            said["against_wishes"] = [check.to_dict() for check in checks]
            said["budget"] = None if wishes.budget is None else str(wishes.budget)
            variants[name] = (said, lines)
            _keep_state(work, job_id, item, f"offered as {name}")
        currency = house_of(work).currency
        made = rows.add_offer(work, job_id=job_id, variants=variants, currency=currency, valid_until=until, note=note)
        return made.id

    return view(store, store.change(make, by=by))


def _keep_state(work: Work, job_id: int, item: Worked, why: str) -> None:
    """The build's own bytes, once under their mark."""
    there = select(BuildState.id).where(BuildState.job_id == job_id, BuildState.mark == item.mark)
    if work.scalar(there) is None:
        work.add(BuildState(job_id=job_id, mark=item.mark, text=item.text, why=why, by=work.by))
        work.flush()


def _signed(work: Work, offer_id: int) -> Offer:
    """An accepted proposal, no change of one. Raises ``RefusedError``."""
    base = found_row(work, Offer, offer_id)
    if base.state != "accepted" or base.changes_id is not None:
        raise RefusedError(f"{base.number} is no accepted proposal; only that can be changed. Draw up a proposal.")
    return base


def change_offer(
    store: Store,
    accepted_id: int,
    source: Path,
    *,
    by: str,
    valid_until: date | None = None,
    hours: Mapping[str, Decimal] | None = None,
    note: str = "",
    progress: Progress = unwatched,
) -> OfferView:
    """What a changed build takes beyond everything agreed so far: more at the agreed price, less as a credit at it.

    Work counts as changed only where ``hours`` say so: the agreed hours stand, whatever other jobs took meanwhile.
    Raises ``RefusedError`` where nothing was accepted or nothing differs.
    """
    with store.read() as work:
        _signed(work, accepted_id)
    found = worked_out(source, progress)
    until = valid_until or rows.today() + timedelta(days=VALID_DAYS)

    def make(work: Work) -> int:
        base = _signed(work, accepted_id)
        offers, agreed_now = rows.agreed_lines(work, base.job_id)
        stand = {line.text: line.quantity for line in agreed_now if line.kind == "labour"}
        lines, said = priced(work, found, {**stand, **(hours or {})})
        by_hand = [line for line in agreed_now if line.kind == "other"]
        fresh = rows.differing(agreed_now, [*lines, *by_hand])
        if not fresh:
            raise RefusedError(f"{base.number}: the build asks for nothing else than what was agreed.")
        last = offers[-1]
        then = work.scalars(
            select(BuildState).where(
                BuildState.job_id == base.job_id, BuildState.mark == last.variants[last.chosen]["mark"]
            )
        ).one()
        wishes = Wishes.of(base.job.wishes)
        checks = held_against(
            wishes, found.build, found.results
        )  # the price of all of it is held where it is looked at
        said |= about(found, None) | {"differs": _texts_differ(then.text, found)}
        said |= {"against_wishes": [check.to_dict() for check in checks]}
        said["budget"] = None if wishes.budget is None else str(wishes.budget)
        said["by_line"] = base.variants[base.chosen]["by_line"]
        _keep_state(work, base.job_id, found, f"change of {base.number}")
        made = rows.add_offer(
            work,
            job_id=base.job_id,
            variants={rows.CHANGED: (said, fresh)},
            currency=base.currency,
            valid_until=until,
            note=note,
            changes_id=base.id,
        )
        return made.id

    return view(store, store.change(make, by=by))


def _texts_differ(then: str, found: Worked) -> list[str]:
    """What differs in the design since the agreed state, in words."""
    from cabinwright.build.codec import parse
    from cabinwright.history.design import design_differences

    before = parse(then.encode("utf-8"), file="the agreed build")
    return [item.words for item in design_differences(before, found.build)]


def view(store: Store, offer_id: int) -> OfferView:
    """One proposal. Raises ``PersonError``."""
    with store.read() as work:
        return shown(work, found_row(work, Offer, offer_id))


def offers_of(store: Store, job_id: int) -> tuple[OfferView, ...]:
    """Every proposal of a job, the oldest first."""
    with store.read() as work:
        return tuple(
            shown(work, row) for row in work.scalars(select(Offer).where(Offer.job_id == job_id).order_by(Offer.id))
        )


def put_line(store: Store, offer_id: int, *, by: str, **line: Any) -> OfferView:
    """Add a line to a draft, or change one (``line_id``); fields as ``shop.offers.put_line`` has them."""
    values = {"unit": "piece", "tax": STANDARD, **line}
    store.change(lambda work: rows.put_line(work, offer_id, **values), by=by)
    return view(store, offer_id)


def drop_line(store: Store, offer_id: int, line_id: int, *, count: int, by: str) -> OfferView:
    """Take a line out of a draft."""
    store.change(lambda work: rows.drop_line(work, offer_id, line_id, count=count), by=by)
    return view(store, offer_id)


def offer(store: Store, offer_id: int, *, count: int, by: str) -> OfferView:
    """A draft goes to the customer; from now on it stands as it is, and so does what is said of it."""

    def make(work: Work) -> None:
        row = held(work, Offer, offer_id, count=count)
        said = {item.name: item.about for item in shown(work, row).variants}
        rows.offered(work, offer_id, count=count, said=said)

    store.change(make, by=by)
    return view(store, offer_id)


def accept(
    store: Store, offer_id: int, variant: str, *, signed_by: str, count: int, by: str, on: date | None = None
) -> OfferView:
    """The customer signed one variant: frozen under its digest, parts needed, job agreed."""
    store.change(lambda work: rows.accepted(work, offer_id, variant, signed_by=signed_by, count=count, on=on), by=by)
    return view(store, offer_id)


def decline(store: Store, offer_id: int, *, count: int, by: str) -> OfferView:
    """The customer does not want it, or the shop takes it back."""
    store.change(lambda work: rows.declined(work, offer_id, count=count), by=by)
    return view(store, offer_id)


def agreed(store: Store, job_id: int) -> Agreed:
    """What was signed for a job. Raises ``RefusedError`` where nothing was."""
    with store.read() as work:
        found = agreed_in(work, job_id)
    if found is None:
        raise RefusedError("Nothing was accepted for this job yet.")
    return found


def agreed_in(work: Work, job_id: int) -> Agreed | None:
    """The same; None where nothing was."""
    offers, lines = rows.agreed_lines(work, job_id)
    if not offers:
        return None
    total = rows.agreed_total(offers, lines)
    return Agreed(tuple(row.number for row in offers), tuple(lines), total, offers[0].currency)


def whole(store: Store, offer_id: int) -> bool:
    """Whether an accepted proposal and the builds that it names are still what was signed."""
    with store.read() as work:
        row = found_row(work, Offer, offer_id)
        if row.state != "accepted" or rows.digest_of(row) != row.digest:
            return False
        from cabinwright.history.log import mark_of

        marks = {item["mark"] for item in row.variants.values()}
        states = list(
            work.scalars(select(BuildState).where(BuildState.job_id == row.job_id, BuildState.mark.in_(marks)))
        )
        return {state.mark for state in states if mark_of(state.text.encode("utf-8")) == state.mark} == marks


def offer_pdf(store: Store, offer_id: int, *, paper: str = "A4") -> bytes:
    """The proposal on paper (``A4`` or ``Letter``), in the shop's own name; the same rows give the same bytes."""
    with store.read() as work:
        row = found_row(work, Offer, offer_id)
        customer: Customer = row.job.car.customer
        return page_pdf(shown(work, row), house_of(work), customer=customer.name, car=row.job.car.name, paper=paper)


def house(store: Store) -> House:
    """The shop as its papers name it."""
    with store.read() as work:
        return house_of(work)


def set_house(store: Store, *, by: str, was: House | None = None, **fields: Any) -> House:
    """Write some of that down; the rest stays. Raises ``PersonError``.

    ``was``: as it stood when it was looked at. Raises ``MeanwhileError`` where it stands otherwise by now.
    """

    def make(work: Work) -> House:
        now = house_of(work)
        if was is not None and now != was:
            words = "The shop's own data were changed meanwhile. Nothing of yours was written: look again."
            raise MeanwhileError(words, theirs=now.to_dict(), mine=fields)
        return write_house(work, replace(now, **fields))

    return store.change(make, by=by)
