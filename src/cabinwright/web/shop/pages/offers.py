"""Proposals of a job: up to three variants side by side, signed, frozen, and changed only as a change that is priced."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import partial
from pathlib import Path
from typing import Any

from cabinwright.errors import PersonError
from cabinwright.office.offers import (
    LineView,
    OfferView,
    VariantView,
    accept,
    decline,
    drop_line,
    offer,
    offers_of,
    put_line,
    whole,
)
from cabinwright.web.parts import box, button, html, link, text
from cabinwright.web.shop import long
from cabinwright.web.shop.door import the_door
from cabinwright.web.shop.forms import Ask, amount_of, day_of, form
from cabinwright.web.shop.frame import ShopPage, ShopView, address
from cabinwright.web.shop.pages.job import JobSeen, head, job_seen
from cabinwright.web.shop.said import money, plain
from cabinwright.web.words import _, counted

__all__ = ["PAGE", "PAPER"]

PAPER = "/shop/offer.pdf"
VARIANTS = 3
SIGNS = {True: "✓", False: "✗", None: "?"}
STATES = {"draft": _("draft"), "offered": _("offered"), "accepted": _("signed"), "declined": _("declined")}


@dataclass(frozen=True)
class Seen:
    """What the page looked up."""

    job: JobSeen
    offers: tuple[tuple[OfferView, bool], ...]  #: with whether what was signed is still whole


def look(view: ShopView) -> Seen:
    """Every proposal, the newest first."""
    job = job_seen(view)
    rows = reversed(offers_of(view.store, job.id))
    return Seen(job, tuple((item, item.state != "accepted" or whole(view.store, item.id)) for item in rows))


def body(view: ShopView, seen: Seen) -> None:
    """Each proposal, and a new one."""
    head(view, seen.job)
    if not seen.offers:
        text(
            "p",
            _("No proposal yet. Each variant is a build of its own: copy the build folder and change what differs."),
            "empty",
        )
    for item, sound in seen.offers:
        _one(view, item, sound)
    accepted = next((item for item, _sound in seen.offers if item.state == "accepted" and not item.changes), None)
    if accepted is None:
        _new(view, seen.job)
    else:
        _change(view, seen.job, accepted)


def _one(view: ShopView, item: OfferView, sound: bool) -> None:
    with box("section", "offer"):
        what = _("Change of {number}").format(number=item.changes) if item.changes else _("Proposal")
        text("h2", f"{what} {item.number}: {STATES.get(item.state, item.state)}")
        told = [
            _("made {day}").format(day=item.made_on),
            _("valid until {day}").format(day=item.valid_until),
            item.note,
        ]
        if item.signed_by:
            told.append(_("signed by {name}").format(name=item.signed_by))
        text("p", " · ".join(filter(None, told)), "soft")
        if not sound:
            text(
                "p",
                _("▲ What was signed is no longer whole in the database. Compare with the paper and restore a backup."),
                "alert",
            )
        with box("div", "tiles"):
            for variant in item.variants:
                _variant(item, variant)
        for variant in item.variants:
            with box("details"):
                text("summary", _("Lines of {name}").format(name=variant.name), "act")
                _lines(item, variant)
                if item.state == "draft":
                    _edit(view, item, variant)
        with box("div", "row"):
            for paper in ("A4", "Letter"):
                made = link(_("On paper, {paper}").format(paper=paper), address(PAPER, at=item.id, paper=paper), "act")
                made.props["download"] = f"{item.number}-{paper}.pdf"
            if item.state == "draft":
                button(
                    _("Offer it"),
                    lambda: _told(
                        view, lambda: offer(view.store, item.id, count=item.count, by=view.by), _("Offered.")
                    ),
                    "main",
                )
            if item.state in ("draft", "offered"):
                button(
                    _("It was declined") if item.state == "offered" else _("Drop it"),
                    lambda: _told(
                        view, lambda: decline(view.store, item.id, count=item.count, by=view.by), _("Declined.")
                    ),
                )
        if item.state == "offered":
            _sign(view, item)


async def _told(view: ShopView, call: Any, said: str) -> None:
    await view.do(call, said, needs="price")


def _variant(item: OfferView, variant: VariantView) -> None:
    about = variant.about
    with box("div", "tile on" if item.chosen == variant.name else "tile"):
        text("p", ("✓ " if item.chosen == variant.name else "") + variant.name, "where")
        text("p", money(variant.total.gross, item.currency), "figure")
        text("p", _("{net} and tax").format(net=money(variant.total.net, item.currency)), "soft")
        for words in about.get("does", ()):
            text("p", words)
        if about.get("hours") not in (None, ""):
            words = _("{hours} h of work, {low} to {high} by the shop's own jobs")
            text("p", words.format(hours=about["hours"], low=about.get("hours_low"), high=about.get("hours_high")))
        if about.get("boot_l") is not None:
            about_l = "" if about.get("boot_exact") else _("about ")
            text("p", _("takes {litres} L of the boot").format(litres=f"{about_l}{about['boot_l']}"))
        cut = about.get("irreversible") or ()
        text("p", _("cannot be put back: ") + "; ".join(cut) if cut else _("everything can be put back"))
        for words in about.get("differs", ()):
            text("p", "↔ " + words)
        for check in about.get("against_wishes", ()):
            text("p", f"{SIGNS[check['holds']]} {check['wish']}: {check['says']}")
        for key, words in (("unmatched", _("▲ not in the library: ")), ("unpriced", _("▲ without a price: "))):
            if about.get(key):
                text("p", words + ", ".join(str(name) for name in about[key]))
        if about.get("stops"):
            text(
                "p",
                "■ "
                + counted(
                    len(about["stops"]) if isinstance(about["stops"], Sequence) else about["stops"],
                    "stop is open",
                    "stops are open",
                ),
            )


def _lines(item: OfferView, variant: VariantView) -> None:
    from html import escape

    heads = (_("What"), _("How much"), _("Price"), _("Net"), _("Tax"))
    rows = "".join(_row(line, item.currency) for line in variant.lines)
    words = _("tax {rate} % on {net}")
    taxes = "".join(
        f'<tr><th scope="row" colspan="3">{escape(words.format(rate=plain(rate * 100), net=money(net, item.currency)))}</th>'
        f'<td data-head="{escape(heads[3])}">{money(tax, item.currency)}</td><td></td></tr>'
        for rate, net, tax in variant.total.taxes
    )
    top = "".join(f'<th scope="col">{escape(one)}</th>' for one in heads)
    caption = escape(
        _("{name}, in all {gross}").format(name=variant.name, gross=money(variant.total.gross, item.currency))
    )
    html(f"<table><caption>{caption}</caption><thead><tr>{top}</tr></thead><tbody>{rows}{taxes}</tbody></table>")


def _row(line: LineView, currency: str) -> str:
    from html import escape

    cells = (
        (_("How much"), f"{plain(line.quantity)} {line.unit}"),
        (_("Price"), money(line.price, currency)),
        (_("Net"), money(line.net, currency)),
        (_("Tax"), f"{plain(line.tax_rate * 100)} %"),
    )
    rest = "".join(f'<td data-head="{escape(head)}">{escape(cell)}</td>' for head, cell in cells)
    return f'<tr><th scope="row">{escape(line.text)}</th>{rest}</tr>'


def _edit(view: ShopView, item: OfferView, variant: VariantView) -> None:
    async def put(told: dict[str, Any]) -> None:
        def make() -> Any:
            quantity, price = amount_of(told["quantity"], _("How much")), amount_of(told["price"], _("Price"))
            if quantity is None or price is None:
                raise PersonError(_("A line needs how much and a price."))
            line = next((row for row in variant.lines if str(row.id) == told["line"]), None)
            kept = {"tax": line.tax, "line_id": line.id} if line is not None else {}
            return put_line(
                view.store, item.id, count=item.count, by=view.by, variant=variant.name, text=told["text"], quantity=quantity,
                kind=line.kind if line is not None else "other", unit=told["unit"] or "piece", price=price, **kept,
            )  # fmt: skip

        await view.do(make, _("Kept."), needs="price")

    async def drop(told: dict[str, Any]) -> None:
        line = int(told["line"]) if told["line"].isdecimal() else 0
        await view.do(
            lambda: drop_line(view.store, item.id, line, count=item.count, by=view.by), _("Taken out."), needs="price"
        )

    lines = [("", _("a new line")), *((str(row.id), row.text) for row in variant.lines)]
    form(
        [
            Ask("line", _("Line"), "", "select", lines),
            Ask("text", _("What"), needed=True),
            Ask("quantity", _("How much"), "1", "number"),
            Ask("unit", _("Unit"), "piece"),
            Ask("price", _("Price of one, without tax"), kind="number", unit=item.currency),
        ],
        _("Keep the line"),
        put,
        main=False,
    )
    form([Ask("line", _("Line"), "", "select", lines[1:])], _("Take the line out"), drop, main=False)


def _sign(view: ShopView, item: OfferView) -> None:
    async def sign(told: dict[str, Any]) -> None:
        given = {"signed_by": told["name"], "count": item.count, "by": view.by}
        await view.do(
            lambda: accept(view.store, item.id, told["variant"] or item.variants[0].name, **given),
            _("Signed. It stands as it is from now on; what changes is priced as a change."),
            needs="price",
        )

    text("h3", _("The customer signs"))
    form(
        [
            Ask(
                "variant", _("Which"), item.variants[0].name, "choice", [(one.name, one.name) for one in item.variants]
            ),
            Ask(
                "name",
                _("Name of who signs"),
                needed=True,
                help=_("Keep the signed paper as well: local law says what binds."),
            ),
        ],
        _("It is signed"),
        sign,
    )


def _hours(words: str) -> dict[str, Decimal]:
    """``fabrication 6``, one on a line."""
    told: dict[str, Decimal] = {}
    for line in filter(None, (line.strip() for line in words.splitlines())):
        kind, _space, figure = line.rpartition(" ")
        hours = amount_of(figure, line)
        if not kind or hours is None:
            raise PersonError(
                _("{line}: write a kind of work and its hours, such as: fabrication 6").format(line=line[:60])
            )
        told[kind.strip()] = hours
    return told


HOURS_HELP = _(
    "For kinds of work that the shop has no hours of yet, or instead of its own. One on a line, such as: fabrication 6"
)


def _new(view: ShopView, job: JobSeen) -> None:
    text("h2", _("Draw up a proposal"))
    begin = view.runner(_("Drawing up"), lambda number: _("{number} is drawn up.").format(number=number))

    async def draw(told: dict[str, Any]) -> None:
        def make() -> Any:
            if not view.may("price"):
                raise PersonError(_("Proposals are the owner's."))
            sources = {
                told[f"name{k}"].strip() or f"{_('variant')} {k}": Path(told[f"folder{k}"].strip())
                for k in range(1, VARIANTS + 1)
                if told[f"folder{k}"].strip()
            }
            given = (sources, day_of(told["valid"]), _hours(told["hours"]), told["note"], view.by)
            return partial(long.draw_up, the_door().address, job.id, *given)

        await begin(make)

    asks: list[Ask] = []
    for k in range(1, VARIANTS + 1):
        asks += [
            Ask(f"name{k}", _("Variant {number}").format(number=k), _("as planned") if k == 1 else ""),
            Ask(f"folder{k}", _("Its build folder"), job.job["folder"] if k == 1 else ""),
        ]
    asks += [
        Ask("valid", _("Valid until"), kind="date", help=_("30 days where nothing is said.")),
        Ask("hours", _("Hours"), kind="long", help=HOURS_HELP),
        Ask("note", _("Note")),
    ]
    form(asks, _("Draw it up"), draw)


def _change(view: ShopView, job: JobSeen, accepted: OfferView) -> None:
    text("h2", _("Price a change"))
    text(
        "p", _("What the build asks for now beyond what was signed: more at the agreed price, less as a credit at it.")
    )
    begin = view.runner(_("Pricing"), lambda number: _("{number} is drawn up.").format(number=number))

    async def draw(told: dict[str, Any]) -> None:
        def make() -> Any:
            given = (Path(told["folder"].strip()), _hours(told["hours"]), told["note"], view.by)
            return partial(long.change_offer, the_door().address, accepted.id, *given)

        await begin(make)

    form(
        [
            Ask("folder", _("The changed build"), job.job["folder"], needed=True),
            Ask("hours", _("Hours"), kind="long", help=HOURS_HELP),
            Ask("note", _("Note")),
        ],
        _("Price it"),
        draw,
        main=False,
    )


PAGE = ShopPage(
    "/shop/offers",
    _("Proposals"),
    _("What do we propose, and what was signed?"),
    look,
    body,
    needs="price",
    listed=False,
)
