"""A proposal on paper: variants side by side, then what each takes, line by line. Costs and margins never reach it."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from cabinwright.drawings.pdf import page_size_mm
from cabinwright.errors import PersonError
from cabinwright.handover.print import typst_pdf
from cabinwright.shop.house import House
from cabinwright.shop.money import digits

if TYPE_CHECKING:
    from cabinwright.office.offers import LineView, OfferView, VariantView

__all__ = ["PAPERS", "money", "page_pdf"]

PAPERS = ("A4", "Letter")
TERMS = (
    "Prices hold until the day named above. Where a range of hours stands, it is what eight of ten such jobs took in this shop "
    "before; where none stands, no such job was finished yet.",
    "What is cut for good cannot be put back. Figures of sound are worked out, not measured; what the finished car does is "
    "measured and shown at hand-over. What is changed after signing is offered and priced as a change.",
)


def money(amount: Decimal, currency: str) -> str:
    """``1 234.50 EUR``, its thousands apart."""
    return f"{amount:,f} {currency}".replace(",", "\u202f").replace("-", "−")


def page_pdf(view: OfferView, house: House, *, customer: str, car: str, paper: str) -> bytes:
    """PDF bytes; the same proposal gives the same bytes. Raises ``PersonError`` for another paper than A4 or Letter."""
    if paper not in PAPERS:
        raise PersonError(f"{paper}: proposals are printed on {' or '.join(PAPERS)}.")
    kind = "Change of the proposal" if view.changes else "Proposal"
    facts = [
        ["for", customer],
        ["car", car],
        ["drawn up on", f"{view.made_on}"],
        ["valid until", f"{view.valid_until}"],
    ]
    facts += [["changes", view.changes]] if view.changes else []
    several = len(view.variants) > 1
    return typst_pdf(
        "offer",
        page_size_mm(paper),
        title=view.title,
        about=f"{kind} {view.number} of {house.name}",
        kind=kind,
        number=view.number,
        house={"name": house.name, "lines": house.address.splitlines()},
        facts=facts,
        note=view.note,
        rows=_rows(view),
        head=["what", "quantity", "price of one", f"sum, {view.currency}"],
        variants=[_variant(item, view, several) for item in view.variants],
        terms=[*TERMS, *_mark(view)],
        sign=_sign(view, several),
        foot=f"{house.name} · {kind.lower()} {view.number}",
    )


def _mark(view: OfferView) -> list[str]:
    return [f"Frozen under the mark {view.digest}."] if view.digest else []


def _sign(view: OfferView, several: bool) -> list[list[str]]:
    chosen = view.chosen if several else ""
    first = "variant" if several else "place"
    return [[first, chosen], ["date", view.signed_at[:10]], ["accepted by", view.signed_by]]


def _variant(item: VariantView, view: OfferView, several: bool) -> dict[str, Any]:
    total = item.total
    sums = [["without tax", money(total.net, view.currency)]]
    sums += [
        [
            f"tax {100 * rate:f}".rstrip("0").rstrip(".") + f" % on {money(net, view.currency)}",
            money(tax, view.currency),
        ]
        for rate, net, tax in total.taxes
    ]
    sums += [["to pay", money(total.gross, view.currency)]]
    return {
        "name": item.name,
        "chosen": several and item.name == view.chosen,
        "lines": [_line(line, item, view.currency) for line in item.lines],
        "sums": sums,
        "missing": [*item.about.get("unmatched", ()), *item.about.get("unpriced", ())],
    }


def _line(line: LineView, item: VariantView, currency: str) -> list[str]:
    unit = "" if line.unit == "piece" else f" {line.unit.replace('m2', 'm²')}"
    words = line.text
    if line.kind == "labour":
        words = f"Work: {line.text}"
        row = next((row for row in item.about.get("labour", ()) if row["kind"] == line.text), None)
        if row is not None and row["jobs"]:
            words += f" (in {row['jobs']} jobs before {row['low']} to {row['high']} h)"
    figures = [money(value, "").strip() for value in (_plain(line.price), line.net)]
    return [words, f"{digits(line.quantity)}{unit}".replace("-", "−"), *figures]


def _plain(price: Decimal) -> Decimal:
    """A price with two digits, or as many more as it has."""
    short = price.quantize(Decimal("0.01"))
    return short if short == price else price.normalize()


def _rows(view: OfferView) -> list[dict[str, Any]]:
    """What variants are compared by: a row of cells, each a list of lines; rows that say nothing are left out."""

    def row(label: str, cells: list[list[str]], *, strong: bool = False) -> dict[str, Any]:
        return {"label": label, "cells": cells, "strong": strong}

    abouts = [item.about for item in view.variants]
    parts = [_sum_of(item, ("part", "other")) for item in view.variants]
    rows = [
        row("to pay, with tax", [[money(item.total.gross, view.currency)] for item in view.variants], strong=True),
        row("parts, without tax", [[money(value, view.currency)] for value in parts]),
        row("hours", [_hours(about) for about in abouts]),
        row("what it does", [list(about.get("does", ())) for about in abouts]),
        row("against the first", [_first(place, about) for place, about in enumerate(abouts)]),
        row("room of the boxes", [_boot(about) for about in abouts]),
        row("mass added", [[] if about.get("mass_kg") is None else [f"{about['mass_kg']} kg"] for about in abouts]),
        row("not to be put back", [list(about.get("irreversible", ())) for about in abouts]),
        row("your wishes", [_wishes(about) for about in abouts]),
        row("still to be solved", [_open(about) for about in abouts]),
    ]
    if view.changes:
        hours = Decimal(abouts[0]["hours"])
        rows[2] = row("hours more or less", [[f"{digits(hours)} h".replace("-", "−")]] if hours else [["as agreed"]])
        rows[4]["label"] = "changed"
        rows[4]["cells"] = [list(abouts[0].get("differs", ()))]
    silent = {"mass added", "your wishes", "still to be solved", "against the first", "changed"}
    return [
        item for item in rows if item["label"] not in silent or any(cell and cell != ["–"] for cell in item["cells"])
    ]


def _first(place: int, about: dict[str, Any]) -> list[str]:
    return list(about.get("differs", ())) if place else ["–"]


def _sum_of(item: VariantView, kinds: tuple[str, ...]) -> Decimal:
    return sum((line.net for line in item.lines if line.kind in kinds), Decimal(0))


def _hours(about: dict[str, Any]) -> list[str]:
    hours, low, high = (about.get(key) for key in ("hours", "hours_low", "hours_high"))
    if not hours or Decimal(hours) == 0:
        return ["not known yet"]
    return [f"{hours} h" + (f" ({low} to {high})" if low != high else "")]


def _boot(about: dict[str, Any]) -> list[str]:
    if about.get("boot_l") is None:
        return ["no box"]
    return [f"{about['boot_l']} L" + ("" if about.get("boot_exact") else ", walls not counted")]


def _open(about: dict[str, Any]) -> list[str]:
    """How many; which they are is for the shop, and may name its own files."""
    count = len(about.get("stops", ()))
    return [f"{count} {'points' if count > 1 else 'point'} of the design, before work begins"] if count else []


def _wishes(about: dict[str, Any]) -> list[str]:
    signs = {True: "✓", False: "✗", None: "?"}
    return [f"{signs[row['holds']]} {row['wish']}: {row['says']}" for row in about.get("against_wishes", ())]
