"""``shop customer``, ``shop car`` and ``shop user``."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from cabinwright.cli.shop.command import Command, a_number, argument, count_of, listing, option, row_of
from cabinwright.errors import PersonError

if TYPE_CHECKING:
    from cabinwright.shop.rows import Row
    from cabinwright.shop.store import Store

__all__ = ["COMMANDS"]


def _list(store: Store, options: argparse.Namespace) -> Any:
    from sqlalchemy import select

    from cabinwright.shop.rows import Customer
    from cabinwright.shop.trail import columns

    with store.read() as work:
        find = select(Customer).where(Customer.erased_at.is_(None)).order_by(Customer.name, Customer.id)
        return [columns(row) for row in work.scalars(find.offset(options.after).limit(options.most))]


def _add(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.shop.people import add_customer
    from cabinwright.shop.trail import columns

    given = {"name": options.name, "contact": options.contact, "note": options.note}
    return store.change(lambda work: columns(add_customer(work, **given)), by=options.by)


def _change(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.shop.people import change_customer
    from cabinwright.shop.rows import Customer
    from cabinwright.shop.trail import columns

    with store.read() as work:
        row = row_of(work, Customer, options.customer)
        given, count = _named(row, options, "name", "contact", "note"), row.count
    return store.change(
        lambda work: columns(change_customer(work, options.customer, count=count, **given)), by=options.by
    )


def _named(row: Row, options: argparse.Namespace, *fields: str) -> dict[str, str]:
    """What the command names, "" among it; of the rest what stands there."""
    said = {field: getattr(options, field) for field in fields}
    return {field: getattr(row, field) if words is None else words for field, words in said.items()}


def _told(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.shop.people import told

    with store.read() as work:
        return told(work, options.customer)


def _allow(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.shop.people import allow
    from cabinwright.shop.rows import Customer
    from cabinwright.shop.trail import columns

    count = count_of(store, Customer, options.customer)
    said = {"photographs": options.photographs == "yes", "named": options.named == "yes"}
    return store.change(lambda work: columns(allow(work, options.customer, count=count, **said)), by=options.by)


def _erase(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.shop.files import FileStore
    from cabinwright.shop.people import erased
    from cabinwright.shop.rows import Customer

    count = count_of(store, Customer, options.customer)
    if not options.yes:
        raise PersonError(
            f"Nothing was erased. What is kept of customer {options.customer} is shown by: cabinwright shop customer told "
            f"{options.customer}. To erase it for ever, say --yes; a backup made before still holds it."
        )
    marks = store.change(lambda work: erased(work, options.customer, count=count)[1], by=options.by)
    FileStore(store.files).drop(marks)
    return f"Erased, with {len(marks)} files. Jobs, hours and sums stay without a name, as accounts have to."


def _add_car(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.shop.people import add_car
    from cabinwright.shop.trail import columns

    given = {"customer_id": options.customer, "name": options.name, "mark": options.mark, "note": options.note}
    return store.change(lambda work: columns(add_car(work, **given)), by=options.by)


def _change_car(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.shop.people import change_car
    from cabinwright.shop.rows import Car
    from cabinwright.shop.trail import columns

    with store.read() as work:
        row = row_of(work, Car, options.car)
        given, count = _named(row, options, "name", "mark", "note"), row.count
    return store.change(lambda work: columns(change_car(work, options.car, count=count, **given)), by=options.by)


def _cars(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.shop.rows import Customer
    from cabinwright.shop.trail import columns

    with store.read() as work:
        return [columns(car) for car in row_of(work, Customer, options.customer).cars]


def _users(store: Store, options: argparse.Namespace) -> Any:
    from sqlalchemy import select

    from cabinwright.shop.rows import User

    with store.read() as work:
        rows = work.scalars(select(User).order_by(User.name))
        return [{"id": row.id, "name": row.name, "role": row.role, "active": row.active} for row in rows]


def _add_user(store: Store, options: argparse.Namespace) -> Any:
    import getpass
    import sys

    from cabinwright.shop.access import add_user

    password = getpass.getpass("Password: ") if sys.stdin.isatty() else sys.stdin.readline().rstrip("\r\n")
    given = {"name": options.name, "role": options.role, "password": password, "customer_id": options.customer}
    user = store.change(lambda work: add_user(work, **given).id, by=options.by)
    return {"id": user, "name": options.name, "role": options.role, "active": True}


def _bar_user(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.shop.access import barred

    name = store.change(lambda work: barred(work, options.user).name, by=options.by)
    return f"{name} is let in no more, on no device."


CUSTOMER = argument("customer", "number of the customer", type=a_number)
YES_NO = {"choices": ("yes", "no"), "required": True}
NOTE = option("note", "anything the job needs to know", default="")
NEW_NOTE = option("note", "anything the job needs to know")
COMMANDS = (
    Command("customer", "list", "list customers by name", _list, listing()),
    Command(
        "customer",
        "add",
        "add a customer, with no more than the job needs",
        _add,
        (argument("name", "what the shop calls them"), option("contact", "how to reach them", default=""), NOTE),
    ),
    Command(
        "customer",
        "change",
        "set right what is known of a customer; what is not named stays",
        _change,
        (CUSTOMER, option("name", "what the shop calls them"), option("contact", "how to reach them"), NEW_NOTE),
    ),
    Command(
        "customer", "told", "show everything that is kept of a customer, as they may ask for it", _told, (CUSTOMER,)
    ),
    Command(
        "customer",
        "allow",
        "write down what a customer allows the shop to show",
        _allow,
        (
            CUSTOMER,
            option("photographs", "pictures of the work", **YES_NO),
            option("named", "their name with them", **YES_NO),
        ),
    ),
    Command(
        "customer",
        "erase",
        "erase what is personal, on request",
        _erase,
        (CUSTOMER, option("yes", "it cannot be taken back", action="store_true")),
    ),
    Command("car", "list", "list the cars of a customer", _cars, (CUSTOMER,)),
    Command(
        "car",
        "add",
        "add a car of a customer",
        _add_car,
        (
            CUSTOMER,
            argument("name", "what the shop calls it"),
            option("mark", "registration, where a job needs it", default=""),
            NOTE,
        ),
    ),
    Command(
        "car",
        "change",
        "set right what is known of a car; what is not named stays",
        _change_car,
        (
            argument("car", "number of the car", type=a_number),
            option("name", "what the shop calls it"),
            option("mark", "registration, where a job needs it"),
            NEW_NOTE,
        ),
    ),
    Command("user", "list", "list users, who log in to the shop's pages on a network", _users),
    Command(
        "user",
        "add",
        "add a user; the password is asked for, or read from standard input",
        _add_user,
        (
            argument("name", "who"),
            argument("role", "owner, bench or guest", choices=("owner", "bench", "guest")),
            option("customer", "of a guest: number of the customer whose jobs they may look at", type=a_number),
        ),
    ),
    Command(
        "user", "bar", "let somebody in no more", _bar_user, (argument("user", "number of the user", type=a_number),)
    ),
)
