"""The shop itself: what stands at the head of its papers, its currency, and what an hour of its work costs."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from decimal import Decimal
from typing import Any

from sqlalchemy import select

from cabinwright.errors import PersonError
from cabinwright.shop.money import CURRENCIES, STANDARD, check_rule, rule_names
from cabinwright.shop.rows import Setting
from cabinwright.shop.trail import Work

__all__ = ["House", "house", "set_house"]

NAME = "house"
CHOOSE = "cabinwright shop house own --tax NAME"


@dataclass(frozen=True, slots=True)
class House:
    """The shop as its papers name it."""

    name: str = "The shop"
    address: str = ""
    currency: str = "EUR"
    hourly_rate: Decimal | None = None  #: of work, without tax; None: nobody said yet
    tax: str = STANDARD  #: rule for work
    by_line: bool = False  #: tax is rounded on each line rather than once for each rate

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON types."""
        rate = self.hourly_rate
        return {**asdict(self), "hourly_rate": None if rate is None else str(rate)}


def house(work: Work) -> House:
    """What the shop said of itself; a plain one where it said nothing yet."""
    row = work.scalars(select(Setting).where(Setting.name == NAME)).first()
    if row is None:
        return House()
    told = dict(row.value["is"])
    rate = told.pop("hourly_rate", None)
    return House(**told, hourly_rate=None if rate is None else Decimal(rate))


def set_house(work: Work, told: House) -> House:
    """Write it down. Raises ``PersonError`` naming the field, the rule and the cure."""
    if not told.name.strip() or len(told.name) > 200:
        raise PersonError("name: the shop needs a name of 1 to 200 characters.")
    if told.currency not in CURRENCIES:
        raise PersonError(f"currency: {told.currency} is none of {', '.join(CURRENCIES)}.")
    rate = told.hourly_rate
    if rate is not None and not (0 < rate < 100_000 and rate == round(rate, 4)):
        raise PersonError(f"hourly_rate: {rate} is no rate of an hour, with four digits behind the point at most.")
    if told.tax != house(work).tax:  # what stands already hinders no other change; the page and a proposal name it
        check_rule(told.tax, rule_names(work), told_by=CHOOSE)
    row = work.scalars(select(Setting).where(Setting.name == NAME)).first()
    if row is None:
        work.add(Setting(name=NAME, value={"is": told.to_dict()}))
    else:
        row.value = {"is": told.to_dict()}
    work.flush()
    return told
