"""Customers with their cars, and who works in the shop."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import ForeignKey, String, Text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from cabinwright.shop.rows.base import Row

__all__ = ["ROLES", "Car", "Customer", "Login", "User"]

ROLES = ("owner", "bench", "guest")
"""Owner: everything. Bench: everything but prices, costs, margins, users and erasing. Guest: reads the jobs of one customer."""


class Customer(Row):
    """Somebody who has a car built. No more is asked than a job needs."""

    __tablename__ = "customers"

    name: Mapped[str] = mapped_column(String(200), index=True)
    contact: Mapped[str] = mapped_column(Text, default="")  #: how to reach them, as they like it
    note: Mapped[str] = mapped_column(Text, default="")
    photographs: Mapped[bool] = mapped_column(default=False)  #: allowed the shop to show pictures of the work
    named: Mapped[bool] = mapped_column(default=False)  #: allowed the shop to say their name with them
    allowed_at: Mapped[datetime | None]  #: when they last said so, or took it back
    erased_at: Mapped[datetime | None]

    cars: Mapped[list[Car]] = relationship(back_populates="customer", order_by="Car.id")


class Car(Row):
    """One car of a customer."""

    __tablename__ = "cars"

    customer_id: Mapped[int] = mapped_column(ForeignKey("customers.id"), index=True)
    name: Mapped[str] = mapped_column(String(200))  #: what the shop calls it
    mark: Mapped[str] = mapped_column(String(40), default="")  #: registration or chassis number, where a job needs it
    note: Mapped[str] = mapped_column(Text, default="")

    customer: Mapped[Customer] = relationship(back_populates="cars")


class User(Row):
    """Somebody who works with the shop's data over a network."""

    __tablename__ = "users"

    name: Mapped[str] = mapped_column(String(80), unique=True)
    role: Mapped[str] = mapped_column(String(10))
    password: Mapped[str] = mapped_column(String(300))  #: Argon2id, salted
    active: Mapped[bool] = mapped_column(default=True)
    customer_id: Mapped[int | None]  #: a guest's: whose jobs they may look at; customers are never taken out


class Login(Row):
    """A device on which a user is known for a while. Only a digest of its mark is kept."""

    __tablename__ = "logins"

    user_id: Mapped[int] = mapped_column(ForeignKey("users.id"), index=True)
    digest: Mapped[str] = mapped_column(String(64), unique=True)
    ends_at: Mapped[datetime]

    user: Mapped[User] = relationship()
