"""The shop's own settings and its tax rules."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from sqlalchemy import String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from cabinwright.shop.rows.base import Row

__all__ = ["Setting", "TaxRule"]


class Setting(Row):
    """One setting of the shop."""

    __tablename__ = "settings"

    name: Mapped[str] = mapped_column(String(60), unique=True)
    value: Mapped[dict[str, Any]]  #: {"is": ...}


class TaxRule(Row):
    """A rate of tax from a day on. Which rule holds for what is for the shop and its adviser to say."""

    __tablename__ = "tax_rules"
    __table_args__ = (UniqueConstraint("name", "from_on"),)

    name: Mapped[str] = mapped_column(String(40))
    rate: Mapped[Decimal]  #: 0.19 is 19 %
    from_on: Mapped[date]
