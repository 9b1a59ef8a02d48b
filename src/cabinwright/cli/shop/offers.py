"""``shop offer``: proposals drawn up from builds, offered, signed, changed."""

from __future__ import annotations

import argparse
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cabinwright.cli.shop.command import Command, a_day, a_number, an_amount, argument, count_of, option
from cabinwright.cli.shop.jobs import JOB
from cabinwright.cli.terminal import with_progress
from cabinwright.errors import PersonError

if TYPE_CHECKING:
    from cabinwright.shop.store import Store

__all__ = ["COMMANDS"]


def _pairs(words: list[str], what: str) -> dict[str, str]:
    """NAME=VALUE, each name once."""
    found: dict[str, str] = {}
    for item in words:
        name, sign, value = item.partition("=")
        if not sign or not name.strip() or not value or name.strip() in found:
            raise PersonError(f"{item}: write {what}, each name once.")
        found[name.strip()] = value
    return found


def _hours(words: list[str]) -> dict[str, Decimal]:
    from cabinwright.shop.money import read_amount

    return {name: read_amount(value, what=name) for name, value in _pairs(words, "KIND=HOURS").items()}


def _terms(options: argparse.Namespace) -> dict[str, Any]:
    """What a proposal and a change of one both take."""
    return {"by": options.by, "valid_until": options.until, "hours": _hours(options.hours), "note": options.note}


def _draw_up(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.office.offers import draw_up

    sources = {name: Path(value) for name, value in _pairs(options.variant, "NAME=BUILD").items()}
    return with_progress(
        lambda progress: draw_up(store, options.job, sources, **_terms(options), progress=progress)
    ).to_dict()


def _change(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.office.offers import change_offer

    return with_progress(
        lambda progress: change_offer(store, options.offer, options.build, **_terms(options), progress=progress)
    ).to_dict()


def _list(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.office.offers import offers_of

    names = ("id", "number", "title", "state", "currency", "valid_until", "chosen", "signed_by", "signed_at")
    rows = [item.to_dict() for item in offers_of(store, options.job)]
    return [{name: row[name] for name in names if name in row} for row in rows]


def _show(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.office.offers import view, whole

    return {**view(store, options.offer).to_dict(costs=options.costs), "as_it_was_signed": whole(store, options.offer)}


def _line(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.office.offers import put_line
    from cabinwright.shop.rows import Offer

    given = {
        "variant": options.variant, "kind": options.kind, "text": options.text, "quantity": options.quantity,
        "unit": options.unit, "price": options.price, "tax": options.tax, "line_id": options.line,
    }  # fmt: skip
    count = count_of(store, Offer, options.offer)
    return put_line(store, options.offer, by=options.by, count=count, **given).to_dict()


def _offer(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.office.offers import offer
    from cabinwright.shop.rows import Offer

    return offer(store, options.offer, count=count_of(store, Offer, options.offer), by=options.by).to_dict()


def _accept(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.office.offers import accept
    from cabinwright.shop.rows import Offer

    count = count_of(store, Offer, options.offer)
    return accept(
        store, options.offer, options.variant, signed_by=options.signed_by, count=count, by=options.by, on=options.on
    ).to_dict()


def _decline(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.office.offers import decline
    from cabinwright.shop.rows import Offer

    return decline(store, options.offer, count=count_of(store, Offer, options.offer), by=options.by).to_dict()


def _pdf(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.files import overwrite
    from cabinwright.office.offers import offer_pdf

    overwrite(options.file, offer_pdf(store, options.offer, paper="Letter" if options.paper == "letter" else "A4"))
    return f"wrote {options.file}"


def _agreed(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.office.offers import agreed

    return agreed(store, options.job).to_dict()


OFFER = argument("offer", "number (id) of the proposal", type=a_number)
UNTIL = option("until", "day until which it is valid; 30 days if not given", type=a_day, metavar="DAY")
HOURS = option("hours", "hours for a kind of work instead of the shop's own history", action="append", default=[],
               metavar="KIND=HOURS")  # fmt: skip
NOTE = option("note", "words that stand on it", default="")
COMMANDS = (
    Command(
        "offer",
        "draw",
        "draw up a proposal from one to three builds",
        _draw_up,
        (
            JOB,
            argument(
                "variant",
                "name and build folder of a variant, the first is compared with",
                nargs="+",
                metavar="NAME=BUILD",
            ),
            UNTIL,
            HOURS,
            NOTE,
        ),
    ),
    Command("offer", "list", "list the proposals of a job", _list, (JOB,)),
    Command(
        "offer",
        "show",
        "show a proposal with its variants side by side",
        _show,
        (OFFER, option("costs", "with what the shop pays; never hand this out", action="store_true")),
    ),
    Command(
        "offer",
        "line",
        "add a line to a draft, or change one",
        _line,
        (
            OFFER,
            argument("variant", "name of the variant"),
            argument("text", "what"),
            option("kind", "part, labour or other", choices=("part", "labour", "other"), default="other"),
            option("quantity", "how much", type=an_amount, default=Decimal(1)),
            option("unit", "piece, m, h …", default="piece"),
            option("price", "of one, without tax", type=an_amount, required=True),
            option("tax", "name of a tax rule", default="standard"),
            option("line", "number of the line to change", type=a_number, metavar="LINE"),
        ),
    ),
    Command("offer", "send", "offer it: from now on its prices stand", _offer, (OFFER,)),
    Command(
        "offer",
        "sign",
        "the customer signed one variant: it is frozen",
        _accept,
        (
            OFFER,
            argument("variant", "name of the variant"),
            option("signed-by", "who signed", required=True),
            option("on", "day; today if not given", type=a_day, metavar="DAY"),
        ),
    ),
    Command("offer", "decline", "the customer did not want it", _decline, (OFFER,)),
    Command(
        "offer",
        "change",
        "price what differs from what was signed, as an offer of its own",
        _change,
        (OFFER, argument("build", "build folder as it shall be now", type=Path), UNTIL, HOURS, NOTE),
    ),
    Command("offer", "agreed", "sum up what was signed for a job, changes with it", _agreed, (JOB,)),
    Command(
        "offer",
        "pdf",
        "write it as PDF",
        _pdf,
        (
            OFFER,
            argument("file", "PDF to write", type=Path),
            option("paper", "a4 or letter", choices=("a4", "letter"), default="a4"),
        ),
    ),
)
