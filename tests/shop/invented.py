"""An invented shop: a customer, a car, a job, parts."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from cabinwright.shop.jobs import add_job
from cabinwright.shop.parts import add_part
from cabinwright.shop.people import add_car, add_customer
from cabinwright.shop.rows import Job, Part, TaxRule
from cabinwright.shop.trail import Work


def job(work: Work, *, name: str = "Mara Invented", title: str = "Front stage and bay box") -> Job:
    """A customer with a car and a job on it."""
    customer = add_customer(work, name=name, contact="mara@example.invalid")
    car = add_car(work, customer_id=customer.id, name="grey estate")
    return add_job(work, car_id=car.id, title=title, promised_on=date(2026, 12, 18))


def part(work: Work, number: str = "W-21", **more: object) -> Part:
    """A part."""
    values = {
        "name": "wire 21 mm2, red",
        "kind": "wire",
        "unit": "m",
        "currency": "EUR",
        "price": Decimal("4.90"),
        "cost": Decimal("2.1"),
    }
    return add_part(work, number=number, **{**values, **more})


def tax(work: Work) -> None:
    """Two rates, one of which changes."""
    for name, rate, day in (
        ("standard", "0.19", date(2000, 1, 1)),
        ("standard", "0.2", date(2027, 1, 1)),
        ("books", "0.07", date(2000, 1, 1)),
    ):
        work.add(TaxRule(name=name, rate=Decimal(rate), from_on=day))
    work.flush()
