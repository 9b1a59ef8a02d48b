"""Customers and their cars: no more than a job needs, what they allow, all that is kept of them, and its end."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import select

from cabinwright.errors import PersonError
from cabinwright.shop.access import add_user
from cabinwright.shop.files import FileStore
from cabinwright.shop.people import add_car, add_customer, allow, change_car, change_customer, erased
from cabinwright.shop.rows import Car, Customer, Job, User
from cabinwright.shop.store import found_row
from cabinwright.shop.trail import Work, columns
from cabinwright.web.parts import box, link, text
from cabinwright.web.shop.forms import PASSWORD, Ask, form
from cabinwright.web.shop.frame import ShopPage, ShopView, address
from cabinwright.web.shop.pages.jobs import job_rows, new_job
from cabinwright.web.shop.said import moment
from cabinwright.web.words import _, counted

__all__ = ["ONE", "PAGE", "TOLD"]

MOST = 50
TOLD = "/shop/customer.json"  #: everything that is kept of one


def look(view: ShopView) -> list[dict[str, Any]]:
    """By name; who was erased is no customer any more."""
    asked = str(view.state.get("asked", "")).strip()
    find = select(Customer).where(Customer.erased_at.is_(None))
    if asked:
        find = find.where(Customer.name.icontains(asked, autoescape=True))
    with view.store.read() as work:
        rows = find.order_by(Customer.name, Customer.id).offset(view.after).limit(MOST)
        return [columns(row) for row in work.scalars(rows)]


def body(view: ShopView, rows: list[dict[str, Any]]) -> None:
    """The list, and a new one."""

    async def search(told: dict[str, Any]) -> None:
        await view.turn(asked=told["asked"], after=0)

    form([Ask("asked", _("Part of a name"), view.state.get("asked", ""), "search")], _("Find"), search, main=False)
    view.tally(counted(len(rows), "customer", "customers"))
    with box("ul", "changes"):
        for row in rows:
            with box("li", "change"), box("div"):
                link(row["name"], address("/shop/customer", at=row["id"]), "where")
                text("p", row["contact"], "soft")
    view.turns(len(rows), MOST)
    if not view.may("work"):
        return
    text("h2", _("A new customer"))

    async def add(told: dict[str, Any]) -> None:
        def make(work: Work) -> int:
            row = add_customer(work, name=told["name"], contact=told["contact"], note=told["note"])
            if told["car"].strip():
                add_car(work, customer_id=row.id, name=told["car"])
            return row.id

        await view.change(make, _("Added."), needs="people")

    form(
        [
            Ask(
                "name", _("Name"), needed=True, help=_("What the shop calls them. No more is kept than the job needs.")
            ),
            Ask("contact", _("How to reach them")),
            Ask("car", _("Their car"), help=_("What the shop calls it; others can be added later.")),
            Ask("note", _("Note"), kind="long"),
        ],
        _("Add the customer"),
        add,
    )


@dataclass(frozen=True)
class Seen:
    """What the page of one customer looked up."""

    customer: dict[str, Any]
    cars: list[dict[str, Any]]
    jobs: list[dict[str, Any]]
    guests: list[str]  #: users who may look at these jobs; for whoever may know of users


def look_at_one(view: ShopView) -> Seen:
    """One customer with cars and jobs."""
    with view.store.read() as work:
        row = found_row(work, Customer, view.at)
        jobs = work.scalars(select(Job).join(Car).where(Car.customer_id == row.id).order_by(Job.id.desc()))
        guests = work.scalars(select(User).where(User.customer_id == row.id, User.active).order_by(User.name))
        names = [user.name for user in guests] if view.person.may("users") else []
        return Seen(columns(row), [columns(car) for car in row.cars], [columns(job) for job in jobs], names)


def one(view: ShopView, seen: Seen) -> None:
    """Who they are, what they allow, their cars and jobs; then what they may ask for."""
    row = seen.customer
    text("p", row["name"], "figure")
    may = view.may("people") and not row["erased_at"]
    for words in filter(None, (row["contact"], row["note"])):
        text("p", words)
    if may:
        _known(view, row)
    text("h2", _("Jobs"))
    job_rows(seen.jobs)
    text("h2", _("Cars"))
    with box("ul", "changes"):
        for car in seen.cars:
            with box("li", "change"), box("div"):
                text("p", car["name"], "where")
                text("p", " · ".join(filter(None, (car["mark"], car["note"]))), "soft")
                if may:
                    _car(view, car)
    if not may:
        return

    with box("details"):
        text("summary", _("Another car"), "act")

        async def another(told: dict[str, Any]) -> None:
            given = {"customer_id": row["id"], "name": told["name"], "mark": told["mark"], "note": told["note"]}
            await view.change(lambda work: add_car(work, **given).id, _("Added."), needs="people")

        form(_car_asks({}), _("Add the car"), another, main=False)
    if seen.cars and view.may("work"):
        with box("details"):
            text("summary", _("A new job"), "act")
            new_job(view, [(str(car["id"]), f"{car['name']} {car['mark']}".strip()) for car in seen.cars])
    text("h2", _("What they allow"))
    said = (
        _("Last said {at}.").format(at=moment(row["allowed_at"]))
        if row["allowed_at"]
        else _("Never asked: nothing is allowed.")
    )
    text("p", said, "soft")

    async def allowed(told: dict[str, Any]) -> None:
        given = {"photographs": told["photographs"], "named": told["named"]}

        await view.change(
            lambda work: allow(work, row["id"], count=row["count"], **given).id, _("Kept."), needs="people"
        )

    form(
        [
            Ask("photographs", _("Pictures of the work on the shop's own site"), row["photographs"], "yes/no"),
            Ask("named", _("Their name with them"), row["named"], "yes/no"),
        ],
        _("Keep what they allow"),
        allowed,
        main=False,
    )
    text("h2", _("What they may ask for"))
    with box("div", "row"):
        made = link(_("Everything that is kept of them"), address(TOLD, at=row["id"]), "act")
        made.props["download"] = f"customer-{row['id']}.json"
    if view.may("users"):
        _guest(view, seen)
    if view.may("erase"):
        with box("details"):
            text("summary", _("Erase them"), "act")
            text(
                "p",
                _(
                    "Name, contact, notes, registration, wishes, signatures and photographs go for ever. Jobs, hours and sums "
                    "stay without a name, as accounts have to. A backup made before still holds them."
                ),
            )

            async def erase(told: dict[str, Any]) -> None:
                def make() -> int:
                    if told["sure"].strip() != row["name"]:
                        raise PersonError(_("Nothing was erased: type the name as it stands above."))
                    marks = view.store.change(lambda work: erased(work, row["id"], count=row["count"])[1], by=view.by)
                    FileStore(view.store.files).drop(marks)
                    return len(marks)

                await view.do(make, lambda files: _("Erased, with {files} files.").format(files=files), needs="erase")

            form([Ask("sure", _("Type the name to be sure"), needed=True)], _("Erase for ever"), erase, main=False)


def _known(view: ShopView, row: dict[str, Any]) -> None:
    """What is known of them, to be set right."""
    with box("details"):
        text("summary", _("Change what we know"), "act")

        async def change(told: dict[str, Any]) -> None:
            given = {key: told[key] for key in ("name", "contact", "note")}
            await view.change(
                lambda work: change_customer(work, row["id"], count=row["count"], **given).id,
                _("Kept."),
                needs="people",
            )

        form(
            [
                Ask("name", _("Name"), row["name"], needed=True),
                Ask("contact", _("How to reach them"), row["contact"]),
                Ask("note", _("Note"), row["note"], "long"),
            ],
            _("Keep"),
            change,
        )


def _car(view: ShopView, car: dict[str, Any]) -> None:
    """One of their cars, to be set right."""
    with box("details"):
        text("summary", _("Change {name}").format(name=car["name"]), "act")

        async def change(told: dict[str, Any]) -> None:
            given = {key: told[key] for key in ("name", "mark", "note")}
            await view.change(
                lambda work: change_car(work, car["id"], count=car["count"], **given).id, _("Kept."), needs="people"
            )

        form(_car_asks(car), _("Keep"), change, main=False)


def _car_asks(car: dict[str, Any]) -> list[Ask]:
    return [
        Ask("name", _("What the shop calls it"), car.get("name", ""), needed=True),
        Ask("mark", _("Registration"), car.get("mark", ""), help=_("Only where a job needs it.")),
        Ask("note", _("Note"), car.get("note", "")),
    ]


def _guest(view: ShopView, seen: Seen) -> None:
    """A name and a password with which they may look at their own jobs, and at nothing else."""
    text(
        "p",
        _("Looks at these jobs over a network: {names}").format(names=", ".join(seen.guests) or _("nobody")),
        "soft",
    )
    with box("details"):
        text("summary", _("Let them look at their jobs"), "act")

        async def add(told: dict[str, Any]) -> None:
            given = {"name": told["name"], "password": told["password"], "customer_id": seen.customer["id"]}
            await view.change(lambda work: add_user(work, role="guest", **given).id, _("Added."), needs="users")

        form([Ask("name", _("Name to log in with"), needed=True), PASSWORD], _("Add the guest"), add, main=False)


PAGE = ShopPage("/shop/customers", _("Customers"), _("Who has a car built here?"), look, body, kept=("asked", "after"))
ONE = ShopPage("/shop/customer", _("Customer"), _("What do we know of them?"), look_at_one, one, listed=False)
