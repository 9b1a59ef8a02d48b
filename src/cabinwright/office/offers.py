"""Proposals from builds: what each variant does and takes, its parts from the library, labour from the shop's own hours."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path
from typing import Any

from sqlalchemy import select

from cabinwright.errors import PersonError, RefusedError
from cabinwright.office.offer_page import page_pdf
from cabinwright.office.plan import planned
from cabinwright.office.said import about
from cabinwright.office.takeoff import matched, wanted
from cabinwright.office.wishes import Wishes, held_against
from cabinwright.office.worked import Progress, Worked, unwatched, worked_out
from cabinwright.shop import offers as rows
from cabinwright.shop.bench import Spread, history_of
from cabinwright.shop.house import House
from cabinwright.shop.house import house as house_of
from cabinwright.shop.house import set_house as write_house
from cabinwright.shop.money import Line as MoneyLine
from cabinwright.shop.money import Sum, rate_on, rounded, summed
from cabinwright.shop.offers import NewLine
from cabinwright.shop.rows import BuildState, Customer, Job, Offer
from cabinwright.shop.store import Store
from cabinwright.shop.trail import Work, plain

__all__ = [
    "Agreed",
    "LineView",
    "OfferView",
    "VariantView",
    "accept",
    "agreed",
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
HOUR = Decimal("0.1")  #: hours are offered to the tenth


@dataclass(frozen=True, slots=True)
class LineView:
    """One line of a variant."""

    id: int
    kind: str
    text: str
    quantity: Decimal
    unit: str
    price: Decimal
    net: Decimal
    tax: str
    tax_rate: Decimal
    part_id: int | None
    cost: Decimal | None  #: the owner's eyes only

    def to_dict(self, *, costs: bool = False) -> dict[str, Any]:
        """Plain JSON types."""
        row = {key: plain(value) for key, value in asdict(self).items()}
        return row if costs else {key: value for key, value in row.items() if key != "cost"}


@dataclass(frozen=True, slots=True)
class VariantView:
    """One variant: what is said of it, its lines and what they come to."""

    name: str
    about: dict[str, Any]
    """does, differs, against_wishes, unmatched, unpriced, hours_low, hours, hours_high, boot_l, irreversible, mass_kg, mark."""
    lines: tuple[LineView, ...]
    total: Sum

    def to_dict(self, *, costs: bool = False) -> dict[str, Any]:
        """Plain JSON types."""
        total = self.total
        row: dict[str, Any] = {"name": self.name, **self.about}
        row |= {"lines": [line.to_dict(costs=costs) for line in self.lines], "net": str(total.net)}
        row |= {"taxes": [[str(figure) for figure in tax] for tax in total.taxes], "gross": str(total.gross)}
        if costs:
            known = [line.quantity * line.cost for line in self.lines if line.cost is not None]
            row["cost"] = str(sum(known, Decimal(0)))
        return row


@dataclass(frozen=True, slots=True)
class OfferView:
    """A proposal, or a change of one."""

    id: int
    count: int
    number: str
    job_id: int
    job: str
    title: str
    state: str
    currency: str
    valid_until: date
    made_on: date
    changes: str  #: number of the accepted offer that this would change; empty: it changes none
    chosen: str
    signed_by: str
    signed_at: str
    digest: str
    note: str
    variants: tuple[VariantView, ...]

    def to_dict(self, *, costs: bool = False) -> dict[str, Any]:
        """Plain JSON types."""
        names = ("id", "count", "number", "job_id", "job", "title", "state", "currency", "valid_until", "made_on")
        more = ("changes", "chosen", "signed_by", "signed_at", "digest", "note")
        row = {name: plain(getattr(self, name)) for name in (*names, *more)}
        return {**row, "variants": [item.to_dict(costs=costs) for item in self.variants]}


@dataclass(frozen=True, slots=True)
class Agreed:
    """What was signed for a job, changes counted in."""

    numbers: tuple[str, ...]
    lines: tuple[NewLine, ...]
    total: Sum
    currency: str

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON types."""
        names = ("kind", "text", "quantity", "unit", "price", "tax", "tax_rate")
        lines = [{name: plain(getattr(line, name)) for name in names} for line in self.lines]
        sums = {"net": str(self.total.net), "gross": str(self.total.gross), "currency": self.currency}
        return {"numbers": list(self.numbers), "lines": lines, **sums}


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
    found = {name: worked_out(path, progress) for name, path in sources.items()}
    first = next(iter(found.values()))
    until = valid_until or rows.today() + timedelta(days=VALID_DAYS)

    def make(work: Work) -> int:
        job = _job(work, job_id)
        variants = {}
        for name, item in found.items():
            lines, said = _priced(work, item, hours or {})
            said |= about(item, None if item is first else first)
            gross = summed(_money(lines), said["currency"], by_line=said["by_line"]).gross
            checks = held_against(Wishes.of(job.wishes), item.build, item.results, gross=gross)
            said["against_wishes"] = [check.to_dict() for check in checks]
            variants[name] = (said, lines)
            _keep_state(work, job_id, item, f"offered as {name}")
        currency = house_of(work).currency
        made = rows.add_offer(work, job_id=job_id, variants=variants, currency=currency, valid_until=until, note=note)
        return made.id

    return view(store, store.change(make, by=by))


def _job(work: Work, job_id: int) -> Job:
    job = work.get(Job, job_id)
    if job is None:
        raise PersonError(f"There is no job {job_id}; look at the list again.")
    return job


def _money(lines: Sequence[NewLine]) -> list[MoneyLine]:
    return [MoneyLine(line.quantity, line.price, line.tax_rate) for line in lines]


def _keep_state(work: Work, job_id: int, item: Worked, why: str) -> None:
    """The build's own bytes, once under their mark."""
    there = select(BuildState.id).where(BuildState.job_id == job_id, BuildState.mark == item.mark)
    if work.scalar(there) is None:
        work.add(BuildState(job_id=job_id, mark=item.mark, text=item.text, why=why, by=work.by))
        work.flush()


def _priced(work: Work, item: Worked, hours: Mapping[str, Decimal]) -> tuple[list[NewLine], dict[str, Any]]:
    """Lines of a build at today's prices and rates, and what has no price."""
    shop, day = house_of(work), rows.today()
    pairs, missing = matched(work, wanted(item.build, item.results))
    found: dict[int, NewLine] = {}
    unpriced: list[str] = []
    for thing, part in pairs:
        if part.price is None:
            unpriced.append(f"{part.number} {part.name}")
            continue
        if part.currency != shop.currency:
            raise RefusedError(
                f"{part.number} {part.name} is priced in {part.currency}, the shop's papers are in {shop.currency}. "
                "Give it a price in that currency."
            )
        line = NewLine(
            "part",
            part.name,
            thing.amounts[part.unit],
            part.unit,
            part.price,
            part.tax,
            rate_on(work, part.tax, day),
            part.id,
            part.cost,
        )
        old = found.get(part.id)
        found[part.id] = line if old is None else NewLine(*_with(old, line.quantity))
    labour, spreads = _labour(work, item, hours, shop, unpriced)
    said = {
        "mark": item.mark,
        "unmatched": [thing.shown for thing in missing],
        "unpriced": unpriced,
        "currency": shop.currency,
        "by_line": shop.by_line,
        "hours": str(sum((line.quantity for line in labour), Decimal(0))),
        **spreads,
    }
    return [*found.values(), *labour], said


def _with(line: NewLine, more: Decimal) -> tuple[Any, ...]:
    return (
        line.kind,
        line.text,
        line.quantity + more,
        line.unit,
        line.price,
        line.tax,
        line.tax_rate,
        line.part_id,
        line.cost,
    )


def _labour(
    work: Work, item: Worked, hours: Mapping[str, Decimal], shop: House, unpriced: list[str]
) -> tuple[list[NewLine], dict[str, Any]]:
    """A line for each kind of work: the shop's median for a job, or what was said; and the range nine of ten jobs lie in."""
    kinds = list(dict.fromkeys(task.kind for task in planned(item.build, item.results)))
    kinds += [kind for kind in hours if kind not in kinds]
    lines, rows_, low, high = [], [], Decimal(0), Decimal(0)
    for kind in kinds:
        spread = None if kind in hours else history_of(work, kind)
        middle = hours.get(kind, None if spread is None else _tenth(spread.middle_h))
        if middle is None:
            unpriced.append(f"work: {kind} (no hours of the shop's own yet)")
            continue
        if not 0 <= middle < 10_000:
            raise PersonError(f"{kind}: {middle} hours are none. Give 0 to 10,000.")
        span = _span(spread, middle)
        low, high = low + span[0], high + span[1]
        rows_.append(
            {
                "kind": kind,
                "hours": str(middle),
                "low": str(span[0]),
                "high": str(span[1]),
                "jobs": spread.jobs if spread else 0,
            }
        )
        if shop.hourly_rate is None:
            unpriced.append(f"work: {kind}, {middle} h (the shop has no hourly rate yet)")
        elif middle:
            rate = rate_on(work, shop.tax, rows.today())
            lines.append(NewLine("labour", kind, middle, "h", shop.hourly_rate, shop.tax, rate))
    return lines, {"labour": rows_, "hours_low": str(low), "hours_high": str(high)}


def _tenth(value: float) -> Decimal:
    return Decimal(repr(value)).quantize(HOUR, ROUND_HALF_UP)


def _span(spread: Spread | None, middle: Decimal) -> tuple[Decimal, Decimal]:
    return (middle, middle) if spread is None else (_tenth(spread.low_h), _tenth(spread.high_h))


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
    found = worked_out(source, progress)
    until = valid_until or rows.today() + timedelta(days=VALID_DAYS)

    def make(work: Work) -> int:
        base = _offer(work, accepted_id)
        if base.state != "accepted" or base.changes_id is not None:
            raise RefusedError(f"{base.number} is no accepted proposal; only that can be changed. Draw up a proposal.")
        offers, agreed_now = rows.agreed_lines(work, base.job_id)
        stand = {line.text: line.quantity for line in agreed_now if line.kind == "labour"}
        lines, said = _priced(work, found, {**stand, **(hours or {})})
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
        said |= about(found, None) | {"differs": _texts_differ(then.text, found), "against_wishes": []}
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


def _offer(work: Work, offer_id: int) -> Offer:
    row = work.get(Offer, offer_id)
    if row is None:
        raise PersonError(f"There is no proposal {offer_id}; look at the list again.")
    return row


def view(store: Store, offer_id: int) -> OfferView:
    """One proposal. Raises ``PersonError``."""
    with store.read() as work:
        return _view(work, _offer(work, offer_id))


def offers_of(store: Store, job_id: int) -> tuple[OfferView, ...]:
    """Every proposal of a job, the oldest first."""
    with store.read() as work:
        return tuple(
            _view(work, row) for row in work.scalars(select(Offer).where(Offer.job_id == job_id).order_by(Offer.id))
        )


def _view(work: Work, row: Offer) -> OfferView:
    job = row.job
    changed = work.get(Offer, row.changes_id) if row.changes_id is not None else None
    names = sorted(row.variants, key=lambda name: row.variants[name]["place"])
    return OfferView(
        id=row.id,
        count=row.count,
        number=row.number,
        job_id=row.job_id,
        job=job.number,
        title=job.title,
        state=row.state,
        currency=row.currency,
        valid_until=row.valid_until,
        made_on=row.made_at.date(),
        changes=changed.number if changed else "",
        chosen=row.chosen,
        signed_by=row.signed_by,
        signed_at=row.signed_at.isoformat() if row.signed_at else "",
        digest=row.digest,
        note=row.note,
        variants=tuple(_variant(row, name) for name in names),
    )


def _variant(row: Offer, name: str) -> VariantView:
    lines = tuple(
        LineView(
            line.id,
            line.kind,
            line.text,
            line.quantity,
            line.unit,
            line.price,
            rounded(line.quantity * line.price, row.currency),
            line.tax,
            line.tax_rate,
            line.part_id,
            line.cost,
        )
        for line in rows.lines_of(row, name)
    )
    return VariantView(name, dict(row.variants[name]), lines, rows.total_of(row, name))


def put_line(store: Store, offer_id: int, *, by: str, **line: Any) -> OfferView:
    """Add a line to a draft, or change one (``line_id``); fields as ``shop.offers.put_line`` has them."""
    values = {"unit": "piece", "tax": "standard", **line}
    store.change(lambda work: rows.put_line(work, offer_id, **values), by=by)
    return view(store, offer_id)


def drop_line(store: Store, offer_id: int, line_id: int, *, count: int, by: str) -> OfferView:
    """Take a line out of a draft."""
    store.change(lambda work: rows.drop_line(work, offer_id, line_id, count=count), by=by)
    return view(store, offer_id)


def offer(store: Store, offer_id: int, *, count: int, by: str) -> OfferView:
    """A draft goes to the customer; from now on it stands as it is."""
    store.change(lambda work: rows.offered(work, offer_id, count=count), by=by)
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
        offers, lines = rows.agreed_lines(work, job_id)
        if not offers:
            raise RefusedError("Nothing was accepted for this job yet.")
        currency = offers[0].currency
        by_line = bool(offers[0].variants[offers[0].chosen].get("by_line"))
        total = summed(_money(lines), currency, by_line=by_line)
        return Agreed(tuple(row.number for row in offers), tuple(lines), total, currency)


def whole(store: Store, offer_id: int) -> bool:
    """Whether an accepted proposal and the builds that it names are still what was signed."""
    with store.read() as work:
        row = _offer(work, offer_id)
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
        row = _offer(work, offer_id)
        customer: Customer = row.job.car.customer
        return page_pdf(_view(work, row), house_of(work), customer=customer.name, car=row.job.car.name, paper=paper)


def house(store: Store) -> House:
    """The shop as its papers name it."""
    with store.read() as work:
        return house_of(work)


def set_house(store: Store, *, by: str, **fields: Any) -> House:
    """Write that down. Raises ``PersonError``."""
    return store.change(lambda work: write_house(work, House(**{"name": "", **fields})), by=by)
