"""The parts library, who supplies it, and every movement on the shelf."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, Index, String, Text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from cabinwright.shop.rows.base import Row

__all__ = ["KINDS", "REASONS", "UNITS", "Movement", "Need", "Part", "Supplier"]

KINDS = ("loudspeaker model", "amplifier", "wire", "fuse", "sheet", "fixing", "own part", "other")
UNITS = ("piece", "m", "m2", "kg", "l")
REASONS = ("received", "used", "put back", "counted", "scrapped")


class Supplier(Row):
    """Who sells parts to the shop."""

    __tablename__ = "suppliers"

    name: Mapped[str] = mapped_column(String(200), unique=True)
    contact: Mapped[str] = mapped_column(Text, default="")


class Part(Row):
    """Something that can be bought, made, kept on the shelf and built in."""

    __tablename__ = "parts"
    __table_args__ = (
        Index("ix_parts_listed", "gone", "kind", "name", "id"),
        Index("ix_parts_least", "gone", "least"),
        CheckConstraint("price >= 0", name="price"),
    )

    number: Mapped[str] = mapped_column(String(60), unique=True)  #: the shop's own
    name: Mapped[str] = mapped_column(String(200), index=True)
    kind: Mapped[str] = mapped_column(String(20))
    unit: Mapped[str] = mapped_column(String(10), default="piece")
    price: Mapped[Decimal | None]  #: what a customer pays for one, without tax
    cost: Mapped[Decimal | None]  #: what the shop pays for one, without tax; the owner's eyes only
    currency: Mapped[str] = mapped_column(String(3))
    tax: Mapped[str] = mapped_column(String(40), default="standard")  #: name of a tax rule
    supplier_id: Mapped[int | None] = mapped_column(ForeignKey("suppliers.id"), index=True)
    supplier_number: Mapped[str] = mapped_column(String(60), default="")
    least: Mapped[Decimal | None]  #: fewer than this on the shelf: to be ordered
    coming: Mapped[Decimal] = mapped_column(default=Decimal(0))  #: ordered and not here yet
    minutes: Mapped[Decimal | None]  #: to make one, for the shop's own parts
    data: Mapped[dict[str, Any]] = mapped_column(default=dict)  #: fields of the build's row that it stands for
    note: Mapped[str] = mapped_column(Text, default="")
    gone: Mapped[bool] = mapped_column(default=False)  #: no longer to be had; kept for the jobs that hold it

    supplier: Mapped[Supplier | None] = relationship()


class Movement(Row):
    """Something came to the shelf or left it. Never changed: what was wrong is set right by another movement."""

    __tablename__ = "movements"
    __table_args__ = (CheckConstraint("quantity <> 0", name="quantity"),)

    part_id: Mapped[int] = mapped_column(ForeignKey("parts.id"), index=True)
    job_id: Mapped[int | None] = mapped_column(ForeignKey("jobs.id"), index=True)
    quantity: Mapped[Decimal]  #: what came; negative: what left
    reason: Mapped[str] = mapped_column(String(20))
    by: Mapped[str] = mapped_column(String(80))
    at: Mapped[datetime]
    note: Mapped[str] = mapped_column(Text, default="")

    part: Mapped[Part] = relationship()


class Need(Row):
    """How much of a part a job needs in all."""

    __tablename__ = "needs"

    job_id: Mapped[int] = mapped_column(ForeignKey("jobs.id"), index=True)
    part_id: Mapped[int] = mapped_column(ForeignKey("parts.id"), index=True)
    task_id: Mapped[int | None] = mapped_column(ForeignKey("tasks.id"), index=True)
    quantity: Mapped[Decimal]

    part: Mapped[Part] = relationship()
