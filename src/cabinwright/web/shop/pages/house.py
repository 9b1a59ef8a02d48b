"""The shop itself, for its owner: its papers, its tax rules, who may log in, what was changed by whom."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import select

from cabinwright.office.offers import set_house
from cabinwright.shop.access import add_user, barred
from cabinwright.shop.house import House, house
from cabinwright.shop.money import CURRENCIES, new_rate
from cabinwright.shop.rows import Customer, TaxRule, Trace, User
from cabinwright.shop.rows.people import ROLES
from cabinwright.shop.trail import Work, columns
from cabinwright.web.parts import box, button, link, table, text
from cabinwright.web.shop.forms import PASSWORD, Ask, amount_of, day_of, form, tax_rule
from cabinwright.web.shop.frame import ShopPage, ShopView, address
from cabinwright.web.shop.said import moment, plain, typed
from cabinwright.web.words import _

__all__ = ["PAGE"]

NEWEST = 30


@dataclass(frozen=True)
class Seen:
    """What the page looked up."""

    house: House
    taxes: list[TaxRule]
    users: list[dict[str, Any]]
    trail: list[dict[str, Any]]


def look(view: ShopView) -> Seen:
    """Rules, users and the newest entries of the trail."""
    with view.store.read() as work:
        rows = work.execute(select(User, Customer.name).outerjoin(Customer, Customer.id == User.customer_id))
        users = [
            {
                "id": row.id,
                "name": row.name,
                "role": row.role,
                "active": row.active,
                "customer_id": row.customer_id,
                "whose": whose or "",
            }
            for row, whose in sorted(rows.tuples(), key=lambda pair: pair[0].name.lower())
        ]
        return Seen(
            house(work),
            list(work.scalars(select(TaxRule).order_by(TaxRule.name, TaxRule.from_on))),
            users,
            [columns(row) for row in work.scalars(select(Trace).order_by(Trace.id.desc()).limit(NEWEST))],
        )


def body(view: ShopView, seen: Seen) -> None:
    """Papers, tax, users, trail."""
    own, rules = seen.house, sorted({row.name for row in seen.taxes})

    async def papers(told: dict[str, Any]) -> None:
        def make() -> Any:
            rate = amount_of(told["rate"], _("An hour"))
            given = {
                "name": told["name"],
                "address": told["address"],
                "currency": told["currency"],
                "hourly_rate": rate,
                "tax": told["tax"],
            }
            return set_house(view.store, by=view.by, was=own, by_line=told["by_line"], **given)

        await view.do(make, _("Kept."), needs="settings")

    text("h2", _("On the shop's papers"))
    form(
        [
            Ask("name", _("Name"), own.name, needed=True),
            Ask("address", _("Address"), own.address, "long"),
            Ask("currency", _("Currency"), own.currency, "select", [(one, one) for one in CURRENCIES]),
            Ask("rate", _("An hour of work, without tax"), typed(own.hourly_rate), "number", unit=own.currency),
            tax_rule(
                _("Tax rule for work"), own.tax, rules, help=_("One of those below; its rate is that of the day.")
            ),
            Ask("by_line", _("Round tax on each line"), own.by_line, "yes/no", help=_("Else once for each rate.")),
        ],
        _("Keep"),
        papers,
    )
    text("h2", _("Tax"))
    text(
        "p",
        _(
            "Your tax adviser knows which rules apply. A rule holds from its first day until another of its name begins."
        ),
    )
    if rules and own.tax not in rules:
        words = _("▲ Work is taxed by the rule {name}, which is not there. Choose one above, or add it here.")
        text("p", words.format(name=own.tax), "alert")
    if seen.taxes:
        table(
            (_("Rule"), _("Rate"), _("From")),
            [(row.name, f"{plain(row.rate * 100)} %", str(row.from_on)) for row in seen.taxes],
            caption=_("Tax rules"),
        )

    async def tax(told: dict[str, Any]) -> None:
        def make(work: Work) -> int:
            percent, begins = amount_of(told["percent"], _("Rate")), day_of(told["begins"])
            return new_rate(work, told["name"], percent, begins).id

        await view.change(make, _("Added."), needs="settings")

    form(
        [
            Ask("name", _("Name"), "standard", needed=True),
            Ask("percent", _("Rate"), kind="number", unit="%", needed=True),
            Ask("begins", _("From"), str(date.today()), "date", needed=True),
        ],
        _("Add the rule"),
        tax,
        main=False,
    )
    _users(view, seen)
    if not seen.trail:
        return
    text("h2", _("Who changed what"))
    table(
        (_("When"), _("Who"), _("What"), _("Where")),
        [(moment(row["at"]), row["by"], row["what"], f"{row['subject']} {row['row']}") for row in seen.trail],
        caption=_("The newest entries of the trail; all of it: cabinwright shop house trail"),
    )


def _users(view: ShopView, seen: Seen) -> None:
    text("h2", _("Who may log in over a network"))
    text(
        "p",
        _(
            "Owner: everything. Bench: everything but costs, sums, users and erasing. Guest: looks at the jobs of "
            "one customer; let them in on that customer's own page. At this computer nobody logs in."
        ),
    )
    with box("ul", "changes"):
        for user in seen.users:
            with box("li", "change"):
                with box("div"):
                    text("p", user["name"], "where")
                    told = [user["role"], user["whose"], "" if user["active"] else _("let in no more")]
                    text("p", " · ".join(filter(None, told)), "soft")
                    if user["whose"]:
                        link(_("Customer"), address("/shop/customer", at=user["customer_id"]))
                if user["active"]:
                    button(
                        _("Let in no more"),
                        lambda number=user["id"]: view.change(
                            lambda work: barred(work, number).id, _("Let in no more, on no device."), needs="users"
                        ),
                        says=f"{_('Let in no more')}: {user['name']}",
                    )

    async def add(told: dict[str, Any]) -> None:
        given = {"name": told["name"], "role": told["role"], "password": told["password"]}
        await view.change(lambda work: add_user(work, **given).id, _("Added."), needs="users")

    form(
        [
            Ask("name", _("Name"), needed=True),
            Ask("role", _("Role"), "bench", "choice", [(role, role) for role in ROLES if role != "guest"]),
            PASSWORD,
        ],
        _("Add the user"),
        add,
        main=False,
    )


PAGE = ShopPage("/shop/house", _("The shop"), _("What are the shop's own rules?"), look, body, needs="settings")
