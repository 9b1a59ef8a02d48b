"""The trail: every change of every row, by whom, with what stood there before."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import Index, String
from sqlalchemy.orm import Mapped, mapped_column

from cabinwright.shop.rows.base import Row

__all__ = ["Trace"]


class Trace(Row):
    """One change of one row. Only ever added; what is personal in it goes when a customer is erased."""

    __tablename__ = "trail"
    __table_args__ = (Index("ix_trail_subject_row", "subject", "row"),)

    at: Mapped[datetime] = mapped_column(index=True)
    by: Mapped[str] = mapped_column(String(80))
    subject: Mapped[str] = mapped_column(String(40))  #: name of the table
    row: Mapped[int]
    what: Mapped[str] = mapped_column(String(10))  #: made, changed or removed
    before: Mapped[dict[str, Any]] = mapped_column(default=dict)  #: columns that changed, as they were
    after: Mapped[dict[str, Any]] = mapped_column(default=dict)
