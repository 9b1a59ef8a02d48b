"""Money: exact decimals of one currency, tax by rule, rounding by rule.

Every price is kept without tax. Tax is reckoned on the sum of each rate's lines and rounded once there, or line by line and then
added up, as the shop's rule says: both are in use, and differ by cents. Which of them holds is for the shop's adviser to say.
Rounding is half away from zero, as tills do (ISO 80000-1:2022 B.3 names it beside half to even).
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_HALF_UP, Decimal, InvalidOperation, localcontext

from sqlalchemy import select

from cabinwright.errors import PersonError
from cabinwright.shop.rows import TaxRule
from cabinwright.shop.trail import Work

__all__ = [
    "CURRENCIES",
    "STANDARD",
    "Line",
    "Sum",
    "check_rule",
    "digits",
    "new_rate",
    "rate_on",
    "read_amount",
    "rounded",
    "rule_names",
    "summed",
    "typed",
]

CURRENCIES = {"EUR": 2, "USD": 2, "GBP": 2, "CHF": 2, "CAD": 2, "AUD": 2, "NZD": 2, "SEK": 2, "NOK": 2, "DKK": 2}
CURRENCIES |= {"PLN": 2, "CZK": 2, "HUF": 2, "RON": 2, "ZAR": 2, "INR": 2, "JPY": 0, "KRW": 0, "KWD": 3, "TND": 3}
"""Currency -> digits of its smallest unit. Source: ISO 4217, from memory."""
LARGEST = Decimal(10) ** 9
STANDARD = "standard"  #: the tax rule that is meant where none is named
ADD = "cabinwright shop house tax --name NAME --percent RATE --begins DAY"


@dataclass(frozen=True, slots=True)
class Line:
    """So many of something at a price."""

    quantity: Decimal
    price: Decimal  #: of one, without tax
    tax_rate: Decimal  #: 0.19 is 19 %


@dataclass(frozen=True, slots=True)
class Sum:
    """What lines come to. ``net`` + the taxes = ``gross``, to the smallest unit."""

    net: Decimal
    taxes: tuple[tuple[Decimal, Decimal, Decimal], ...]  #: rate, net at that rate, tax on it; the highest rate first
    gross: Decimal

    @property
    def tax(self) -> Decimal:
        """All of it."""
        return sum((tax for _, _, tax in self.taxes), Decimal(0))


def rounded(amount: Decimal, currency: str) -> Decimal:
    """To the currency's smallest unit, half away from zero. Raises ``PersonError`` for a currency that is not known."""
    if currency not in CURRENCIES:
        raise PersonError(
            f"{currency}: no currency by its three letters (ISO 4217) that is known here; choose {', '.join(CURRENCIES)}."
        )
    with localcontext(prec=60):
        return amount.quantize(Decimal(1).scaleb(-CURRENCIES[currency]), ROUND_HALF_UP)


def summed(lines: Iterable[Line], currency: str, *, by_line: bool = False) -> Sum:
    """What ``lines`` come to; ``by_line``: tax is rounded on each line rather than once for each rate."""
    nets: dict[Decimal, Decimal] = {}
    taxes: dict[Decimal, Decimal] = {}
    with localcontext(prec=60):
        for line in lines:
            rate = line.tax_rate.normalize() + 0
            net = rounded(line.quantity * line.price, currency)
            nets[rate] = nets.get(rate, Decimal(0)) + net
            taxes[rate] = taxes.get(rate, Decimal(0)) + (rounded(net * rate, currency) if by_line else Decimal(0))
        if not by_line:
            taxes = {rate: rounded(net * rate, currency) for rate, net in nets.items()}
        net = sum(nets.values(), rounded(Decimal(0), currency))
        rows = tuple((rate, nets[rate], taxes[rate]) for rate in sorted(nets, reverse=True))
        return Sum(net, rows, net + sum(taxes.values(), Decimal(0)))


def rule_names(work: Work) -> tuple[str, ...]:
    """The names of the shop's tax rules, sorted."""
    return tuple(sorted(set(work.scalars(select(TaxRule.name)))))


def check_rule(name: str, known: Collection[str], *, told_by: str = "") -> None:
    """Whether one of ``known`` is called so; a shop that has none yet may add it later. Raises ``PersonError`` with the cure.

    ``told_by``: the command that names another one.
    """
    if not name or (known and name not in known):
        raise PersonError(f'tax: there is no tax rule "{name}". {_cure(known, told_by)}')


def _cure(known: Collection[str], told_by: str = "") -> str:
    name = f"name one of them ({told_by})" if told_by else "name one of them"
    there = f"The shop's rules are {', '.join(known)}: {name}, or add" if known else "The shop has none yet; add"
    return f"{there} one: {ADD}"


def rate_on(work: Work, name: str, day: date) -> Decimal:
    """The rate of a tax rule on a day. Raises ``PersonError`` where the shop has none."""
    find = select(TaxRule).where(TaxRule.name == name, TaxRule.from_on <= day).order_by(TaxRule.from_on.desc())
    rule = work.scalars(find.limit(1)).first()
    if rule is None:
        raise PersonError(f'There is no tax rule "{name}" on {day}. {_cure(rule_names(work))}')
    return rule.rate


def new_rate(work: Work, name: str, percent: Decimal | None, begins: date | None) -> TaxRule:
    """One more tax rule, from a day on. Raises ``PersonError``, for a rule of that name and day as well."""
    name = " ".join(name.split())
    if not name or len(name) > 40 or percent is None or not 0 <= percent < 100 or begins is None:
        raise PersonError(
            "A tax rule needs a name of 1 to 40 characters, a rate of 0 to below 100 % and its first day."
        )
    known = work.scalars(select(TaxRule).where(TaxRule.name == name, TaxRule.from_on == begins)).first()
    if known is not None:
        was = digits(known.rate * 100)
        raise PersonError(f"The tax rule {name} of {begins} says {was} %. Let another begin on another day.")
    rule = TaxRule(name=name, rate=percent / 100, from_on=begins)
    work.add(rule)
    work.flush()
    return rule


def digits(number: Decimal) -> str:
    """A number without digits that say nothing: 12.5000 as 12.5."""
    return f"{number.normalize():f}" if number else "0"


def typed(number: Decimal) -> str:
    """The same, as ``read_amount`` takes it: with three digits behind the point it could be thousands."""
    text = digits(number)
    return f"{text}0" if text[-4:-3] == "." else text


def read_amount(words: str, *, what: str = "amount", digits: int = 4) -> Decimal:
    """A decimal as a person writes it: ``1234.50``, ``1,234.50``, ``1.234,50`` or ``1 234,50``. Raises ``PersonError``.

    One sign of either kind with three digits behind it (``1,234``, ``1.234``) could mean two things and is refused; so are
    blanks and apostrophes that part anything but thousands (``12 50``).
    """
    groups = re.split("[ \u00a0\u202f']", words.strip())
    plain = "".join(groups)
    if len(groups) > 1 and not _in_threes([*groups[:-1], re.split("[.,]", groups[-1])[0]]):
        plain = ""
    marks = [sign for sign in plain if sign in ".,"]
    if len(set(marks)) == 2:  # the last one parts the decimals
        last = max(plain.rfind("."), plain.rfind(","))
        other = "," if plain[last] == "." else "."
        well = plain.count(plain[last]) == 1 and _in_threes(plain[:last].split(other))
        plain = plain.replace(other, "").replace(",", ".") if well else ""
    elif len(marks) > 1:
        plain = plain.replace(marks[0], "") if _in_threes(plain.split(marks[0])) else ""
    elif len(marks) == 1:
        whole, behind = plain.split(marks[0])
        if len(behind) == 3 and len(groups) == 1 and whole.lstrip("+-").lstrip("0") and len(whole.lstrip("+-")) <= 3:
            raise PersonError(
                f'{what}: "{words[:40]}" could be thousands or a part. Write {whole}{behind}, or {whole}.{behind}0.'
            )
        plain = plain.replace(",", ".")
    if not plain.isascii() or not plain.strip("+-").replace(".", "", 1).isdigit():
        raise PersonError(f'{what}: "{words[:40]}" is no number. Write it as 1234.50.')
    try:
        value = Decimal(plain)
    except InvalidOperation:
        raise PersonError(f'{what}: "{words[:40]}" is no number. Write it as 1234.50.') from None
    if abs(value) >= LARGEST or value != round(value, digits):
        raise PersonError(
            f'{what}: "{words[:40]}" has more than {digits} digits behind the point, or is a billion or more.'
        )
    return value


def _in_threes(groups: Sequence[str]) -> bool:
    first = groups[0].lstrip("+-")
    return 1 <= len(first) <= 3 and all(len(group) == 3 for group in groups[1:])
