"""A proposal as it is looked at: plain values, loose from the database, costs only where they are asked for."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from cabinwright.office.wishes import budget_check
from cabinwright.shop import offers as rows
from cabinwright.shop.money import Sum, digits, rounded
from cabinwright.shop.offers import NewLine
from cabinwright.shop.rows import Offer
from cabinwright.shop.trail import Work, plain

__all__ = ["Agreed", "LineView", "OfferView", "VariantView", "shown"]

WORK = "work: "  #: begins what is said of work without a price
COSTS = ("cost",)  #: the owner's eyes only
PRICES = ("price", "net", "tax", "tax_rate", "taxes", "gross", "altogether")  #: not for a bench


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

    def to_dict(self, *, costs: bool = False, prices: bool = True) -> dict[str, Any]:
        """Plain JSON types."""
        row = {key: plain(value) for key, value in asdict(self).items()}
        less = (() if costs else COSTS) + (() if prices else PRICES)
        return {key: value for key, value in row.items() if key not in less}


@dataclass(frozen=True, slots=True)
class VariantView:
    """One variant: what is said of it, its lines and what they come to."""

    name: str
    about: dict[str, Any]
    """does, differs, against_wishes, unmatched, unpriced, hours_low, hours, hours_high, boot_l, irreversible, mass_kg, mark."""
    lines: tuple[LineView, ...]
    total: Sum

    def to_dict(self, *, costs: bool = False, prices: bool = True) -> dict[str, Any]:
        """Plain JSON types. ``margin``: what is left of the net price after parts whose cost is known; hours count as earned."""
        total = self.total
        row: dict[str, Any] = {"name": self.name, **self.about}
        row |= {"lines": [line.to_dict(costs=costs, prices=prices) for line in self.lines], "net": str(total.net)}
        row |= {"taxes": [[str(figure) for figure in tax] for tax in total.taxes], "gross": str(total.gross)}
        if costs:
            known = [line.quantity * line.cost for line in self.lines if line.cost is not None]
            cost = rounded(sum(known, Decimal(0)), self.about["currency"])
            uncosted = [line.text for line in self.lines if line.kind == "part" and line.cost is None]
            row |= {"cost": str(cost), "margin": str(total.net - cost), "uncosted": uncosted}
        if not prices:
            row = {key: value for key, value in row.items() if key not in PRICES}
            row["against_wishes"] = [item for item in row.get("against_wishes", ()) if item["wish"] != "budget"]
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

    def to_dict(self, *, costs: bool = False, prices: bool = True) -> dict[str, Any]:
        """Plain JSON types; without ``prices`` what a bench may see: what is built, of what, in how many hours."""
        names = ("id", "count", "number", "job_id", "job", "title", "state", "currency", "valid_until", "made_on")
        more = ("changes", "chosen", "signed_by", "signed_at", "digest", "note")
        row = {name: plain(getattr(self, name)) for name in (*names, *more)}
        return {**row, "variants": [item.to_dict(costs=costs, prices=prices) for item in self.variants]}


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


def shown(work: Work, row: Offer) -> OfferView:
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
        variants=tuple(_variant(work, row, name) for name in names),
    )


def _variant(work: Work, row: Offer, name: str) -> VariantView:
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
    total = rows.total_of(row, name)
    price: Decimal | None
    about, price = dict(row.variants[name]), total.gross
    if row.changes_id is not None:  # of a change only the hours that it adds are in its price
        hours = digits(sum((line.quantity for line in lines if line.kind == "labour"), Decimal(0)))
        about |= {"hours": hours, "hours_low": hours, "hours_high": hours}
        if row.state == "draft":  # what was offered says what stood on its paper, whatever is signed later
            about["altogether"] = str(rows.agreed_total(*rows.agreed_lines(work, row.job_id, also=row)).gross)
        price = Decimal(about["altogether"]) if "altogether" in about else None
    return VariantView(name, _as_it_is(about, lines, price), lines, total)


def _as_it_is(about: dict[str, Any], lines: tuple[LineView, ...], price: Decimal | None) -> dict[str, Any]:
    """What is said of a variant, after a person changed its lines: the budget held, and what a line stands for now left out."""
    budget = about.pop("budget", None)
    if budget is not None:
        check = None if price is None else budget_check(Decimal(budget), price).to_dict()
        there = [check if item["wish"] == "budget" else item for item in about["against_wishes"]]
        about["against_wishes"] = [item for item in there if item is not None]
    texts = {line.text for line in lines}
    for key in ("unmatched", "unpriced"):
        about[key] = [words for words in about.get(key, ()) if words not in texts and _work(words) not in texts]
    return about


def _work(words: str) -> str:
    """The kind of work in ``work: wiring (no hours of the shop's own yet)``."""
    return words.removeprefix(WORK).split(" (")[0].split(", ")[0] if words.startswith(WORK) else ""
