"""Proposals: what was offered, in up to three variants, and what was signed."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import ForeignKey, Index, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from cabinwright.shop.rows.base import Row
from cabinwright.shop.rows.jobs import Job

__all__ = ["Offer", "OfferLine"]


class Offer(Row):
    """A proposal, or a change of an accepted one. Once accepted it is frozen."""

    __tablename__ = "offers"

    job_id: Mapped[int] = mapped_column(ForeignKey("jobs.id"), index=True)
    number: Mapped[str] = mapped_column(String(30), unique=True)
    changes_id: Mapped[int | None] = mapped_column(ForeignKey("offers.id"))  #: the accepted one that this would change
    state: Mapped[str] = mapped_column(String(20), default="draft", index=True)
    currency: Mapped[str] = mapped_column(String(3))
    valid_until: Mapped[date]
    variants: Mapped[dict[str, Any]] = mapped_column(default=dict)  #: name -> what it does, its build's mark, words
    chosen: Mapped[str] = mapped_column(String(80), default="")  #: the variant that was accepted
    signed_by: Mapped[str] = mapped_column(String(200), default="")
    signed_at: Mapped[datetime | None]
    digest: Mapped[str] = mapped_column(String(64), default="")  #: of everything that was accepted
    note: Mapped[str] = mapped_column(Text, default="")

    job: Mapped[Job] = relationship()
    lines: Mapped[list[OfferLine]] = relationship(
        back_populates="offer", order_by="OfferLine.variant, OfferLine.place", cascade="all, delete-orphan"
    )


class OfferLine(Row):
    """One line of a variant. Prices are copied, so that a later price changes nothing that was offered."""

    __tablename__ = "offer_lines"
    __table_args__ = (
        UniqueConstraint("offer_id", "variant", "place"),
        Index("ix_offer_lines_part_id", "part_id"),
    )

    offer_id: Mapped[int] = mapped_column(ForeignKey("offers.id"))
    variant: Mapped[str] = mapped_column(String(80))
    place: Mapped[int]
    kind: Mapped[str] = mapped_column(String(10))  #: part, labour or other
    text: Mapped[str] = mapped_column(String(300))
    part_id: Mapped[int | None] = mapped_column(ForeignKey("parts.id"))
    quantity: Mapped[Decimal]
    unit: Mapped[str] = mapped_column(String(10))
    price: Mapped[Decimal]  #: of one, without tax
    cost: Mapped[Decimal | None]  #: of one, the owner's eyes only
    tax: Mapped[str] = mapped_column(String(40))
    tax_rate: Mapped[Decimal]  #: as it was on the day; 0.19 is 19 %

    offer: Mapped[Offer] = relationship(back_populates="lines")
