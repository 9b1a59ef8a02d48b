"""Proposals of a job: up to three variants side by side, signed, frozen, and changed only as a change that is priced.

The owner sees costs and margins, the customer as a guest what was offered to them, a bench what is to be built without a price.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from cabinwright.errors import PersonError
from cabinwright.office.offers import (
    OfferView,
    accept,
    change_offer,
    decline,
    draw_up,
    offer,
    offers_of,
    whole,
)
from cabinwright.office.overview import JobView
from cabinwright.office.pricing import read_hours
from cabinwright.shop.money import rule_names
from cabinwright.shop.offers import MOST_VARIANTS
from cabinwright.web.parts import box, button, link, text
from cabinwright.web.shop.forms import Ask, day_of, form
from cabinwright.web.shop.frame import ShopPage, ShopView, address
from cabinwright.web.shop.long import away, back
from cabinwright.web.shop.pages.job import head, job_seen
from cabinwright.web.shop.pages.offer_lines import edit, lines
from cabinwright.web.shop.said import money, plain
from cabinwright.web.words import _, counted

__all__ = ["FOR_GUESTS", "PAGE", "PAPER"]

PAPER = "/shop/offer.pdf"
SIGNS = {True: "✓ ", False: "✗ ", None: "? "}
STATES = {"draft": _("draft"), "offered": _("offered"), "accepted": _("signed"), "declined": _("declined")}
FOR_GUESTS = ("offered", "accepted")
Row = dict[str, Any]


@dataclass(frozen=True)
class Seen:
    """What the page looked up: proposals as far as this visitor may see them, the newest first."""

    job: JobView
    offers: tuple[tuple[Row, bool], ...]  #: with whether what was signed is still whole
    taxes: tuple[str, ...] = ()


def look(view: ShopView) -> Seen:
    """Every proposal, without what is not for these eyes."""
    job, person = job_seen(view), view.person
    bench = person.may("read") and not person.may("price")
    told = []
    for item in reversed(offers_of(view.store, job.id)):
        if person.may("read") or item.state in FOR_GUESTS:
            row = item.to_dict(costs=person.may("price"), prices=not bench)
            told.append((row, item.state != "accepted" or whole(view.store, item.id)))
    with view.store.read() as work:
        return Seen(job, tuple(told), rule_names(work))


def body(view: ShopView, seen: Seen) -> None:
    """What is open or signed first, then a new one, then what is over."""
    head(view, seen.job)
    now = [pair for pair in seen.offers if pair[0]["state"] != "declined"]
    over = [pair for pair in seen.offers if pair[0]["state"] == "declined"]
    if not now:
        text("p", _("No proposal is open. Each variant is a build of its own: a copy of the folder."), "empty")
    for item, sound in now:
        _one(view, item, sound, seen.taxes)
    if view.may("price"):
        accepted = next((item for item, _sound in now if item["state"] == "accepted" and not item["changes"]), None)
        if accepted is None:
            _new(view, seen.job, first=not now)
        else:
            _change(view, seen.job, accepted)
    if over:
        with box("details"):
            text("summary", counted(len(over), "declined proposal", "declined proposals"), "act")
            for item, sound in over:
                _one(view, item, sound, seen.taxes)


def _one(view: ShopView, item: Row, sound: bool, taxes: tuple[str, ...]) -> None:
    with box("section", "offer"):
        what = _("Change {number} of {changed}: {state}") if item["changes"] else _("Proposal {number}: {state}")
        given = {"number": item["number"], "changed": item["changes"], "state": STATES[item["state"]]}
        text("h2", what.format(**given))
        told = [_("made {day}").format(day=item["made_on"]), _("valid until {day}").format(day=item["valid_until"])]
        if item["signed_by"]:
            words = _("signed by {name} on {day}")
            told.append(words.format(name=item["signed_by"], day=item["signed_at"][:10]))
        text("p", " · ".join(told), "soft")
        if item["note"]:
            text("p", item["note"])
        if item["digest"]:
            _frozen(item, sound)
        with box("div", "variants"):
            for variant in item["variants"]:
                _variant(item, variant)
        _acts(view, item)
        if item["state"] == "offered" and view.may("price"):
            _sign(view, item)
        lines(item)
        if item["state"] == "draft" and view.may("price"):
            edit(view, item, taxes)


def _frozen(item: Row, sound: bool) -> None:
    if sound:
        text("p", _("✓ As it was signed, under the mark {mark} …").format(mark=item["digest"][:16]), "soft")
    else:
        text("p", _("▲ It is no longer what was signed. Hold it against the paper, and restore a backup."), "alert")


def _acts(view: ShopView, item: Row) -> None:
    number, count = item["id"], item["count"]

    def told(call: Callable[..., Any], said: str) -> Awaitable[bool]:
        return view.do(lambda: call(view.store, number, count=count, by=view.by), said, needs="price")

    with box("div", "row"):
        if view.may("price") and item["state"] == "draft":
            button(_("Offer it"), lambda: told(offer, _("Offered. Its prices stand from now on.")), "main")
        if view.may("price") or not view.may("read"):
            for paper in ("A4", "Letter"):
                made = link(_("On paper, {paper}").format(paper=paper), address(PAPER, at=number, paper=paper), "act")
                made.props["download"] = f"{item['number'].replace('/', '-')}-{paper}.pdf"
        if view.may("price") and item["state"] in ("draft", "offered"):
            words = _("It was declined") if item["state"] == "offered" else _("Drop it")
            button(words, lambda: told(decline, _("Declined.")), says=f"{words}: {item['number']}")


def _variant(item: Row, variant: Row) -> None:
    """One column; its parts stand at the same height in every column."""
    chosen, currency = item["chosen"] == variant["name"], item["currency"]
    with box("article", "variant on" if chosen else "variant") as card:
        card.props["aria-label"] = variant["name"]
        with box("header"):
            text("h3", ("✓ " if chosen else "") + variant["name"])
            if "gross" in variant:
                more = "+" if item["changes"] and Decimal(variant["gross"]) > 0 else ""
                text("p", more + money(variant["gross"], currency), "figure")
                text("p", _("{net} and tax").format(net=money(variant["net"], currency)), "soft")
        with box("dl", "facts"):
            if "altogether" in variant:
                text("dt", _("Altogether"))
                text("dd", _altogether(item, variant))
            for name, words in _facts(variant, currency, change=bool(item["changes"])):
                text("dt", name)
                text("dd", words)
        if "altogether" in variant:
            how = _(
                "Altogether is with tax. Equal lines are added up before rounding: a cent off both papers at times."
            )
            text("p", how, "soft")
        _list(_("What it does"), variant.get("does", ()))
        _list(
            _("Against what was signed") if item["changes"] else _("Against the first variant"),
            variant.get("differs", ()),
        )
        wished = [f"{SIGNS[row['holds']]}{row['wish']}: {row['says']}" for row in variant.get("against_wishes", ())]
        _list(_("Against the wishes"), wished)
        _list(_("■ Stops that are open"), variant.get("stops") or (), fold=True)
        missing = [*variant.get("unmatched", ()), *variant.get("unpriced", ())]
        cure = _("To price them: add parts of these names on “Parts”, give hours for work, and draw it up again.")
        _list(_("▲ Not in this price"), missing, fold=True, help=cure if item["state"] == "draft" else "")


def _altogether(item: Row, variant: Row) -> str:
    """What is to be paid for all of it, and of what that is the sum."""
    so_far, then = _("{gross} with what was signed so far"), _("{gross} with what was signed until this was offered")
    words = so_far if item["state"] == "draft" else then
    return words.format(gross=money(variant["altogether"], item["currency"]))


def _facts(variant: Row, currency: str, *, change: bool) -> list[tuple[str, str]]:
    told: list[tuple[str, str]] = []
    if "margin" in variant:
        words = _("{margin} over parts at {cost}") if variant["cost"].strip("-0.") else "{margin}"
        known = words.format(margin=money(variant["margin"], currency), cost=money(variant["cost"], currency))
        told.append((_("Margin"), known))
        if variant["uncosted"]:
            told.append((_("Cost unknown"), ", ".join(variant["uncosted"])))
    hours, low, high = (variant.get(key, "") for key in ("hours", "hours_low", "hours_high"))
    if plain(hours) not in ("", "0"):
        more = "+" if change and Decimal(hours) > 0 else ""
        span = more + _("{hours} h").format(hours=plain(hours))
        known = span if low == high else f"{span} ({plain(low)}–{plain(high)})"
        told.append((_("Work"), known))
    if variant.get("boot_l") is not None:
        told.append((_("Boxes take"), f"{'' if variant.get('boot_exact') else _('at least ')}{variant['boot_l']} L"))
    if variant.get("mass_kg") is not None:
        told.append((_("Adds"), f"{variant['mass_kg']} kg"))
    cut = variant.get("irreversible") or ()
    told.append((_("For good"), "✗ " + "; ".join(cut) if cut else _("✓ nothing: all goes back as it was")))
    return told


def _list(title: str, rows: Sequence[str], *, fold: bool = False, help: str = "") -> None:
    """A group that is there in every column, so that columns stay level; empty where there is nothing to say."""
    with box("div", "group"):
        if rows and fold:
            with box("details"):
                text("summary", f"{title}: {len(rows)}", "act")
                if help:
                    text("p", help, "soft")
                _items(rows)
        elif rows:
            text("h4", title)
            _items(rows)


def _items(rows: Sequence[str]) -> None:
    with box("ul"):
        for words in rows:
            text("li", words if words[:2] in SIGNS.values() else f"· {words}")


def _sign(view: ShopView, item: Row) -> None:
    names = [variant["name"] for variant in item["variants"]]

    async def sign(told: dict[str, Any]) -> None:
        def make() -> OfferView:
            chosen = told.get("variant", names[0])
            given = {"signed_by": told["name"], "count": item["count"], "by": view.by, "on": day_of(told["on"])}
            return accept(view.store, item["id"], chosen, **given)

        await view.do(
            make, _("Signed. It stands as it is from now on; what changes is priced as a change."), needs="price"
        )

    with box("div", "key"):
        text("h3", _("The customer signs"), "first")
        which = Ask("variant", _("Which"), names[0], "choice", [(name, name) for name in names])
        help_ = _("Keep the signed paper as well: local law says what binds.")
        form(
            [
                *([which] if len(names) > 1 else []),
                Ask("name", _("Name of who signs"), needed=True, help=help_),
                Ask("on", _("Day"), kind="date", help=_("Today where nothing is said.")),
            ],
            _("It is signed"),
            sign,
        )


HOURS_HELP = _(
    "For kinds of work that the shop has no hours of yet, or instead of its own. One on a line, such as: wiring 6"
)


def _terms(told: dict[str, Any], by: str) -> dict[str, Any]:
    return {"by": by, "valid_until": day_of(told["valid"]), "hours": read_hours(told["hours"]), "note": told["note"]}


TERMS = (
    Ask("valid", _("Valid until"), kind="date", help=_("30 days where nothing is said.")),
    Ask("hours", _("Hours"), kind="long", help=HOURS_HELP),
    Ask("note", _("Words on it")),
)


def _drawn(
    view: ShopView, words: str, make: Callable[[dict[str, Any]], Any]
) -> Callable[[dict[str, Any]], Awaitable[None]]:
    """What a form starts: a proposal that is drawn up elsewhere, from what ``make`` makes of the answers."""
    said = _("{number} is drawn up. Read it, then offer it.")
    begin = view.runner(words, back(lambda made: said.format(number=made.number)))
    return lambda told: begin(lambda: make(told))


def _new(view: ShopView, job: JobView, *, first: bool) -> None:
    def make(told: dict[str, Any]) -> Any:
        sources: dict[str, Path] = {}
        for k in range(1, MOST_VARIANTS + 1):
            name, folder = told[f"name{k}"].strip(), told[f"folder{k}"].strip()
            if folder and name in sources:
                raise PersonError(_("Two variants are called {name}. Give each a name of its own.").format(name=name))
            if folder:
                sources[name or _("variant {number}").format(number=k)] = Path(folder)
        given = _terms(told, view.by)
        return away(view, [*sources.values()], draw_up, job.id, sources, needs="price", **given)

    draw = _drawn(view, _("Drawing up"), make)
    asks: list[Ask] = []
    for k in range(1, MOST_VARIANTS + 1):
        asks += [
            Ask(f"name{k}", _("Variant {number}").format(number=k), _("as planned") if k == 1 else ""),
            Ask(f"folder{k}", _("Its build folder"), job.folder if k == 1 else ""),
        ]
    with box("details") as fold:
        fold.props["open"] = first
        text("summary", _("Draw up a proposal"), "act")
        form([*asks, *TERMS], _("Draw it up"), draw)


def _change(view: ShopView, job: JobView, accepted: Row) -> None:
    def make(told: dict[str, Any]) -> Any:
        folder = Path(told["folder"].strip())
        given = _terms(told, view.by)
        return away(view, [folder], change_offer, accepted["id"], folder, needs="price", **given)

    draw = _drawn(view, _("Pricing"), make)
    with box("details"):
        text("summary", _("Price a change"), "act")
        words = _("What the build asks for beyond what was signed: more at the agreed price, less as a credit at it.")
        text("p", words)
        form([Ask("folder", _("The changed build"), job.folder, needed=True), *TERMS], _("Price it"), draw)


PAGE = ShopPage(
    "/shop/offers",
    _("Proposals"),
    _("What do we propose, and what was signed?"),
    look,
    body,
    needs="look",
    listed=False,
)
