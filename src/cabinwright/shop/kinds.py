"""Kinds of column that SQLite and PostgreSQL keep alike: exact decimals and moments in UTC."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import BigInteger, DateTime
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator

__all__ = ["DECIMALS", "Exact", "Moment", "now"]

DECIMALS = 4  #: digits kept after the point: a tenth of a millimetre of wire, a hundredth of a cent
LARGEST = 10**17  #: of the whole number kept; sums of many still fit 64 bits
STEP = Decimal(1).scaleb(-DECIMALS)


class Exact(TypeDecorator[Decimal]):
    """A decimal, kept as a whole number of ten-thousandths, so that sums made by either database are exact."""

    impl = BigInteger
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> int | None:
        """Refuses what would have to be rounded."""
        if value is None:
            return None
        scaled = Decimal(value).scaleb(DECIMALS)
        if not scaled.is_finite() or scaled != scaled.to_integral_value() or abs(scaled) > LARGEST:
            raise ValueError(
                f"{value} does not fit: {DECIMALS} digits after the point at most, and below {LARGEST:.0e}"
            )
        return int(scaled)

    def process_result_value(self, value: Any, dialect: Dialect) -> Decimal | None:
        """Sums of PostgreSQL come as its own decimals; they are whole as well."""
        return None if value is None else Decimal(int(value)).scaleb(-DECIMALS)


class Moment(TypeDecorator[datetime]):
    """A moment, kept in UTC. One without a time zone is refused rather than guessed."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Naive UTC for the database."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"{value}: a moment needs its time zone")
        return value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """With its zone again."""
        return None if value is None else value.replace(tzinfo=UTC)


def now() -> datetime:
    """This moment, to the millisecond, in UTC."""
    moment = datetime.now(UTC)
    return moment.replace(microsecond=moment.microsecond // 1000 * 1000)
