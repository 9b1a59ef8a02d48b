"""``shop house``: the shop itself, its rules, finding things again, backup."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cabinwright.cli.shop.command import Command, a_day, a_number, an_amount, argument, option
from cabinwright.cli.terminal import with_progress

if TYPE_CHECKING:
    from cabinwright.shop.store import Store

__all__ = ["COMMANDS"]


def _house(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.office.offers import house, set_house

    given = {
        "name": options.name,
        "address": options.address,
        "currency": options.currency,
        "hourly_rate": options.rate,
        "tax": options.tax,
        "by_line": None if options.by_line is None else options.by_line == "yes",
    }
    given = {name: value for name, value in given.items() if value is not None}
    return (set_house(store, by=options.by, **given) if given else house(store)).to_dict()


def _tax(store: Store, options: argparse.Namespace) -> Any:
    from sqlalchemy import select

    from cabinwright.shop.money import new_rate
    from cabinwright.shop.rows import TaxRule
    from cabinwright.shop.trail import Work, columns

    def make(work: Work) -> list[dict[str, Any]]:
        if options.name is not None:
            new_rate(work, options.name, options.percent, options.begins)
        return [columns(row) for row in work.scalars(select(TaxRule).order_by(TaxRule.name, TaxRule.from_on))]

    if (options.name is None) != (options.percent is None) or (options.name is None) != (options.begins is None):
        from cabinwright.errors import PersonError

        raise PersonError("A tax rule needs a name, --percent and --begins; without any of them the rules are listed.")
    return store.change(make, by=options.by)


def _search(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.shop.words import KINDS, found

    kinds = [kind for kind, _ in KINDS.values()]
    if options.kind and options.kind not in kinds:
        from cabinwright.errors import PersonError

        raise PersonError(f"--kind {options.kind[:40]}: choose {', '.join(kinds)}.")
    with store.read() as work:
        hits = found(work, " ".join(options.words), kind=options.kind, most=options.most)
        return [{"kind": hit.kind, "id": hit.ref, "text": hit.text} for hit in hits]


def _trail(store: Store, options: argparse.Namespace) -> Any:
    from sqlalchemy import select

    from cabinwright.shop.rows import Trace
    from cabinwright.shop.trail import columns

    find = select(Trace).order_by(Trace.id.desc())
    if options.subject:
        find = find.where(Trace.subject == options.subject)
    if options.row is not None:
        find = find.where(Trace.row == options.row)
    with store.read() as work:
        return [columns(row) for row in work.scalars(find.limit(options.most))]


def _backup(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.shop.backup import backed_up

    kept = with_progress(lambda progress: backed_up(store, options.file, progress=progress))
    return {
        "file": str(options.file),
        "rows": sum(kept.rows.values()),
        "files": kept.files,
        "tried": "restored and compared",
    }


def _restore(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.shop.backup import restored

    kept = with_progress(lambda progress: restored(store, options.file, progress=progress))
    return {"made_at": kept.at, "rows": sum(kept.rows.values()), "files": kept.files}


COMMANDS = (
    Command(
        "house",
        "own",
        "show or set what stands on the shop's papers",
        _house,
        (
            option("name", "of the shop"),
            option("address", "as it stands on papers"),
            option("currency", "EUR, USD …"),
            option("rate", "for an hour, without tax", type=an_amount, metavar="AMOUNT"),
            option("tax", "name of the tax rule for work"),
            option("by-line", "round tax on each line, else once for each rate", choices=("yes", "no")),
        ),
    ),
    Command(
        "house",
        "tax",
        "list tax rules, or add one that holds from a day on; your tax adviser knows which apply",
        _tax,
        (
            option("name", "for example standard"),
            option("percent", "rate", type=an_amount, metavar="PERCENT"),
            option("begins", "first day", type=a_day, metavar="DAY"),
        ),
    ),
    Command(
        "house",
        "search",
        "find customers, cars, jobs, parts and notes by their words",
        _search,
        (
            argument("words", "beginnings of words", nargs="+"),
            option("kind", "only customer, car, job, part or note", default=""),
            option("most", "at most so many; 50", type=a_number, default=50, metavar="N"),
        ),
    ),
    Command(
        "house",
        "trail",
        "list who changed what, the latest first",
        _trail,
        (
            option("subject", "only this table", default=""),
            option("row", "only this row", type=a_number, metavar="ID"),
            option("most", "at most so many; 50", type=a_number, default=50, metavar="N"),
        ),
    ),
    Command(
        "house",
        "backup",
        "write everything into one file, and try it by restoring it",
        _backup,
        (argument("file", "file to write", type=Path),),
    ),
    Command(
        "house", "restore", "bring a backup back into an empty shop", _restore, (argument("file", "backup", type=Path),)
    ),
)
