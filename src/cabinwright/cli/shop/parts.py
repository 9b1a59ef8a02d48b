"""``shop part``: the library and the shelf."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cabinwright.cli.shop.command import (
    Command,
    a_number,
    an_amount,
    argument,
    content_of,
    count_of,
    listing,
    option,
    row_of,
)
from cabinwright.errors import PersonError

if TYPE_CHECKING:
    from cabinwright.shop.store import Store

__all__ = ["COMMANDS"]


def _list(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.shop.money import digits
    from cabinwright.shop.parts import listed, shelf
    from cabinwright.shop.trail import columns

    with store.read() as work:
        rows = listed(work, kind=options.kind, gone=options.gone, after=options.after, most=options.most)
        there = shelf(work, [row.id for row in rows])
        return [{**columns(row), "there": digits(there[row.id])} for row in rows]


def _show(store: Store, options: argparse.Namespace) -> Any:
    from sqlalchemy import select

    from cabinwright.shop.money import digits
    from cabinwright.shop.parts import shelf
    from cabinwright.shop.rows import Movement, Part
    from cabinwright.shop.trail import columns

    with store.read() as work:
        part = row_of(work, Part, options.part)
        moved = work.scalars(select(Movement).where(Movement.part_id == part.id).order_by(Movement.id))
        there = shelf(work, [part.id])[part.id]
        return {**columns(part), "there": digits(there), "movements": [columns(row) for row in moved]}


def _import(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.shop.house import house
    from cabinwright.shop.parts_csv import LARGEST, looked_at, taken_in

    content = content_of(options.file, most=LARGEST)
    with store.read() as work:
        currency = options.currency or house(work).currency
        found = looked_at(work, content, file=str(options.file), currency=currency)
    changed = [
        {"number": number, **{name: f"{was} -> {now}" for name, (was, now) in fields.items()}}
        for number, fields in found.changed
    ]
    told: dict[str, Any] = {
        "new": [{"number": row["number"], "name": row["name"]} for row in found.new],
        "changed": changed,
        "same": found.same,
        "mistakes": list(found.errors),
        "taken_in": False,
    }
    if options.take:
        store.change(
            lambda work: taken_in(work, looked_at(work, content, file=str(options.file), currency=currency)),
            by=options.by,
        )
        told["taken_in"] = True
    elif not found.errors:
        told["next"] = "Nothing was written yet. Say --take to take it in."
    return told


def _export(store: Store, options: argparse.Namespace) -> Any:
    from sqlalchemy import select

    from cabinwright.files import overwrite
    from cabinwright.shop.parts_csv import written_out
    from cabinwright.shop.rows import Part

    with store.read() as work:
        overwrite(options.file, written_out(work.scalars(select(Part).order_by(Part.number)), costs=options.costs))
    return f"wrote {options.file}"


def _move(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.shop.parts import move
    from cabinwright.shop.rows.parts import REASONS
    from cabinwright.shop.trail import columns

    if options.reason not in REASONS:
        raise PersonError(f'"{options.reason}" is no reason. Reasons are {", ".join(REASONS)}.')
    given = {"job_id": options.job, "note": options.note}
    return store.change(
        lambda work: columns(move(work, options.part, options.quantity, options.reason, **given)), by=options.by
    )


def _short(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.shop.money import digits
    from cabinwright.shop.parts import short

    with store.read() as work:
        names = ("needed", "there", "ordered", "short")
        return [
            {"id": part.id, "number": part.number, "name": part.name, "unit": part.unit}
            | {name: digits(value) for name, value in zip(names, amounts, strict=True)}
            for part, *amounts in short(work, most=options.most)
        ]


def _order(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.shop.parts import order
    from cabinwright.shop.trail import columns

    return store.change(lambda work: columns(order(work, options.part, options.quantity)), by=options.by)


def _counted(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.shop.parts import counted
    from cabinwright.shop.trail import Work, columns

    def make(work: Work) -> Any:
        row = counted(work, options.part, options.there, note=options.note)
        return "As it should be: nothing to set right." if row is None else columns(row)

    return store.change(make, by=options.by)


def _fields(words: list[str]) -> dict[str, Any]:
    """FIELD=VALUE, read as the field wants it. Raises ``PersonError``."""
    from cabinwright.shop.money import read_amount
    from cabinwright.shop.parts import FIELDS, read_data

    found: dict[str, Any] = {}
    for item in words:
        name, sign, value = item.partition("=")
        if not sign or name not in FIELDS or name in found:
            raise PersonError(f"{item}: write FIELD=VALUE, each field once. Fields are {', '.join(FIELDS)}.")
        if name in ("price", "cost", "least", "minutes"):
            found[name] = read_amount(value, what=name) if value else None
        elif name == "gone":
            if value not in ("yes", "no"):
                raise PersonError(f"gone: write yes or no, got {value}.")
            found[name] = value == "yes"
        elif name == "data":
            found[name] = read_data(value)
        else:
            found[name] = value
    return found


def _add(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.shop.house import house
    from cabinwright.shop.parts import add_part
    from cabinwright.shop.trail import Work, columns

    given = {"number": options.number, "name": options.name, "kind": options.kind, **_fields(options.fields)}

    def make(work: Work) -> dict[str, Any]:
        return columns(add_part(work, **{"currency": house(work).currency, **given}))

    return store.change(make, by=options.by)


def _change(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.shop.parts import change_part
    from cabinwright.shop.rows import Part
    from cabinwright.shop.trail import columns

    count, given = count_of(store, Part, options.part), _fields(options.fields)
    return store.change(lambda work: columns(change_part(work, options.part, count=count, **given)), by=options.by)


PART = argument("part", "number (id) of the part", type=a_number)
NOTE = option("note", "why", default="")
COMMANDS = (
    Command(
        "part",
        "list",
        "list parts with what lies on the shelf",
        _list,
        listing(
            option("kind", "only this kind", default=""),
            option("gone", "those no longer to be had", action="store_true"),
        ),
    ),
    Command(
        "part",
        "add",
        "add a part",
        _add,
        (
            argument("number", "the shop's own"),
            argument("name", "what it is called"),
            argument("kind", "loudspeaker model, amplifier, wire, fuse, sheet, fixing, own part or other"),
            argument("fields", "price=4.50 cost=2 unit=m data={...} and so on", nargs="*", metavar="FIELD=VALUE"),
        ),
    ),
    Command(
        "part",
        "change",
        "change fields of a part",
        _change,
        (PART, argument("fields", "price=4.50 gone=yes and so on", nargs="+", metavar="FIELD=VALUE")),
    ),
    Command("part", "show", "show a part and every movement of it", _show, (PART,)),
    Command(
        "part",
        "import",
        "show what a CSV file would change, and with --take change it",
        _import,
        (
            argument("file", "CSV file", type=Path),
            option("currency", "where the file names none; the shop's own if not given", default=""),
            option("take", "take it in, all or nothing", action="store_true"),
        ),
    ),
    Command(
        "part",
        "export",
        "write the library as CSV",
        _export,
        (
            argument("file", "CSV file to write", type=Path),
            option("costs", "with what the shop pays", action="store_true"),
        ),
    ),
    Command(
        "part",
        "move",
        "something came to the shelf or left it",
        _move,
        (
            PART,
            argument("quantity", "how much came; after -- a minus sign: left", type=an_amount),
            argument("reason", "received, used, put back, scrapped"),
            option("job", "number of the job", type=a_number, metavar="JOB"),
            NOTE,
        ),
    ),
    Command(
        "part",
        "short",
        "list what is to be ordered, for all agreed jobs together and for the least that shall lie there",
        _short,
        (option("most", "list at most so many; 200", type=a_number, default=200, metavar="N"),),
    ),
    Command(
        "part",
        "ordered",
        "write down how much of a part is ordered and not here yet; what is received takes it off again",
        _order,
        (PART, argument("quantity", "how much is on its way; 0 for nothing", type=an_amount)),
    ),
    Command(
        "part",
        "counted",
        "set the shelf right after counting",
        _counted,
        (PART, argument("there", "how much lies there", type=an_amount), NOTE),
    ),
)
