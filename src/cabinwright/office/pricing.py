"""What a build costs: its parts at the library's prices, its work by the shop's own hours, tax by the rule of the day."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from cabinwright.errors import PersonError, RefusedError
from cabinwright.office.plan import planned
from cabinwright.office.takeoff import matched, wanted
from cabinwright.office.worked import Worked
from cabinwright.shop import offers as rows
from cabinwright.shop.bench import Spread, history_of
from cabinwright.shop.house import House
from cabinwright.shop.house import house as house_of
from cabinwright.shop.money import Line as MoneyLine
from cabinwright.shop.money import rate_on, read_amount
from cabinwright.shop.offers import NewLine
from cabinwright.shop.trail import Work

__all__ = ["money_lines", "priced", "read_hours"]

HOUR = Decimal("0.1")  #: hours are offered to the tenth


def money_lines(lines: Sequence[NewLine]) -> list[MoneyLine]:
    return [MoneyLine(line.quantity, line.price, line.tax_rate) for line in lines]


def priced(work: Work, item: Worked, hours: Mapping[str, Decimal]) -> tuple[list[NewLine], dict[str, Any]]:
    """Lines of a build at today's prices and rates, and what has no price."""
    shop, day = house_of(work), rows.today()
    pairs, missing = matched(work, wanted(item.build, item.results))
    found: dict[int, NewLine] = {}
    unpriced: list[str] = []
    for thing, part in pairs:
        if part.price is None:
            unpriced.append(f"{part.number} {part.name}")
            continue
        if part.currency != shop.currency:
            raise RefusedError(
                f"{part.number} {part.name} is priced in {part.currency}, the shop's papers are in {shop.currency}. "
                "Give it a price in that currency."
            )
        line = NewLine(
            "part",
            part.name,
            thing.amounts[part.unit],
            part.unit,
            part.price,
            part.tax,
            _rate(work, part.tax, day, of=f"{part.number} {part.name}"),
            part.id,
            part.cost,
        )
        old = found.get(part.id)
        found[part.id] = line if old is None else replace(old, quantity=old.quantity + line.quantity)
    labour, spreads = _labour(work, item, hours, shop, unpriced)
    said = {
        "mark": item.mark,
        "unmatched": [thing.shown for thing in missing],
        "unpriced": unpriced,
        "currency": shop.currency,
        "by_line": shop.by_line,
        "hours": str(sum((line.quantity for line in labour), Decimal(0))),
        **spreads,
    }
    return [*found.values(), *labour], said


def _labour(
    work: Work, item: Worked, hours: Mapping[str, Decimal], shop: House, unpriced: list[str]
) -> tuple[list[NewLine], dict[str, Any]]:
    """A line for each kind of work: the shop's median for a job, or what was said; and the range nine of ten jobs lie in."""
    kinds = list(dict.fromkeys(task.kind for task in planned(item.build, item.results)))
    kinds += [kind for kind in hours if kind not in kinds]
    lines, rows_, low, high = [], [], Decimal(0), Decimal(0)
    for kind in kinds:
        spread = None if kind in hours else history_of(work, kind)
        middle = hours.get(kind, None if spread is None else _tenth(spread.middle_h))
        if middle is None:
            unpriced.append(f"work: {kind} (no hours of the shop's own yet)")
            continue
        if not 0 <= middle < 10_000:
            raise PersonError(f"{kind}: {middle} hours are none. Give 0 to 10,000.")
        span = _span(spread, middle)
        low, high = low + span[0], high + span[1]
        rows_.append(
            {
                "kind": kind,
                "hours": str(middle),
                "low": str(span[0]),
                "high": str(span[1]),
                "jobs": spread.jobs if spread else 0,
            }
        )
        if shop.hourly_rate is None:
            unpriced.append(f"work: {kind}, {middle} h (the shop has no hourly rate yet)")
        elif middle:
            rate = _rate(work, shop.tax, rows.today(), of=kind)
            lines.append(NewLine("labour", kind, middle, "h", shop.hourly_rate, shop.tax, rate))
    return lines, {"labour": rows_, "hours_low": str(low), "hours_high": str(high)}


def _rate(work: Work, tax: str, day: date, *, of: str) -> Decimal:
    try:
        return rate_on(work, tax, day)
    except PersonError as error:
        raise PersonError(f"{of}: {error}") from None


def read_hours(words: str) -> dict[str, Decimal]:
    """Hours as a person lists them, ``wiring 6.5``, one kind of work on a line. Raises ``PersonError``."""
    found: dict[str, Decimal] = {}
    for line in filter(None, map(str.strip, words.splitlines())):
        kind, space, amount = line.rpartition(" ")
        kind = kind.strip(" :=")
        if not space or not kind or kind in found:
            raise PersonError(
                f"{line[:60]}: write a kind of work and its hours, each once on a line, such as: wiring 6.5."
            )
        found[kind] = read_amount(amount, what=kind)
    return found


def _tenth(value: float) -> Decimal:
    return Decimal(repr(value)).quantize(HOUR, ROUND_HALF_UP)


def _span(spread: Spread | None, middle: Decimal) -> tuple[Decimal, Decimal]:
    return (middle, middle) if spread is None else (_tenth(spread.low_h), _tenth(spread.high_h))
