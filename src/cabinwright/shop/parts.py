"""The parts library and the shelf. What lies on the shelf is the sum of its movements, and is never kept beside them."""

from __future__ import annotations

import json
from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import joinedload

from cabinwright.errors import PersonError, RefusedError
from cabinwright.shop.kinds import now
from cabinwright.shop.money import CURRENCIES, STANDARD, check_rule, digits, rule_names
from cabinwright.shop.rows import Job, Movement, Need, Part, Supplier
from cabinwright.shop.rows.parts import KINDS, REASONS, UNITS
from cabinwright.shop.store import found_row, held, locking
from cabinwright.shop.trail import Work

__all__ = [
    "COMING",
    "FIELDS",
    "add_part",
    "change_part",
    "counted",
    "listed",
    "missing",
    "missing_of",
    "move",
    "order",
    "read_data",
    "shelf",
    "short",
    "supplier_called",
]

FIELDS = (
    *("number", "name", "kind", "unit", "price", "cost", "currency", "tax"),
    *("supplier_number", "least", "minutes", "data", "note", "gone"),
)
"""Columns that a person fills in."""
LONGEST_DATA = 10_000  #: characters
LONGEST = {"number": 60, "name": 200, "supplier_number": 60, "tax": 40, "note": 10_000}
NEEDING = ("agreed", "building", "proving")  #: states of a job that still takes its parts from the shelf
COMING = ("received", "put back")  #: reasons for more; of the others only a count may be either


def checked(values: dict[str, Any], *, taxes: Sequence[str]) -> dict[str, Any]:
    """Fields of a part, each held against its rule. Raises ``PersonError`` naming the field, the rule and the cure.

    ``taxes``: the tax rules there are; a shop that has none yet may name them later.
    """
    unknown = sorted(set(values) - set(FIELDS) - {"supplier_id"})
    if unknown:
        raise PersonError(f"{', '.join(unknown)}: no field of a part. Fields are {', '.join(FIELDS)}.")
    for field, choices in (("kind", KINDS), ("unit", UNITS), ("currency", tuple(CURRENCIES))):
        if field in values and values[field] not in choices:
            raise PersonError(f'{field}: "{values[field]}" is none of {", ".join(choices)}.')
    if "tax" in values:
        check_rule(values["tax"], taxes)
    for field in ("number", "name"):
        if field in values and not str(values[field]).strip():
            raise PersonError(f"{field}: a part needs one.")
    for field, most in LONGEST.items():
        if len(str(values.get(field) or "")) > most:
            raise PersonError(f"{field}: {most} characters at most.")
    for field in ("price", "cost", "least", "minutes"):
        value = values.get(field)
        if value is not None and not 0 <= value < 10**9:
            raise PersonError(f"{field}: {value} is below nothing, or a billion or more.")
    return values


def read_data(words: str) -> dict[str, Any]:
    """Fields of the build's row that a part stands for, from JSON. Raises ``PersonError``."""
    try:
        data = json.loads(words)
    except (ValueError, RecursionError) as error:
        raise PersonError(f'data: no JSON ({error}). Write it as {{"model": "invented ten"}}; docs/shop.md.') from None
    if not isinstance(data, dict) or len(words) > LONGEST_DATA:
        raise PersonError(f"data: a JSON object of at most {LONGEST_DATA} characters is wanted.")
    return data


def add_part(work: Work, **values: Any) -> Part:
    """One more part. Raises ``PersonError``."""
    for field in ("number", "name", "kind", "currency"):
        if field not in values:
            raise PersonError(f"{field}: a part needs one.")
    values = checked({"tax": STANDARD, **values}, taxes=rule_names(work))
    if work.scalar(select(Part.id).where(Part.number == values["number"])):
        raise PersonError(
            f"number: there is a part {values['number']} already. Choose another number, or change that part."
        )
    part = Part(**values)
    work.add(part)
    work.flush()
    return part


def change_part(work: Work, part_id: int, *, count: int, **values: Any) -> Part:
    """Change fields of a part that is still as it was looked at. Raises ``PersonError``, ``MeanwhileError``."""
    return held(work, Part, part_id, count=count, **checked(values, taxes=rule_names(work)))


def supplier_called(work: Work, name: str) -> Supplier:
    """The supplier of this name, made where there is none."""
    row = work.scalars(select(Supplier).where(Supplier.name == name)).first()
    if row is None:
        row = Supplier(name=name)
        work.add(row)
        work.flush()
    return row


def shelf(work: Work, part_ids: Sequence[int]) -> dict[int, Decimal]:
    """How much of each part lies on the shelf."""
    find = select(Movement.part_id, func.sum(Movement.quantity)).where(Movement.part_id.in_(part_ids))
    there = {row[0]: row[1] for row in work.execute(find.group_by(Movement.part_id))}
    return {part_id: there.get(part_id, Decimal(0)) for part_id in part_ids}


def move(
    work: Work, part_id: int, quantity: Decimal, reason: str, *, job_id: int | None = None, note: str = ""
) -> Movement:
    """Something comes to the shelf (positive) or leaves it (negative). Raises ``RefusedError`` where it is not there."""
    if reason not in REASONS:
        raise PersonError(f'"{reason}" is no reason. Choose {", ".join(REASONS)}.')
    if quantity == 0 or not quantity.is_finite() or (reason != "counted" and (quantity > 0) != (reason in COMING)):
        raise PersonError(
            f"{quantity} cannot be {reason}: what comes to the shelf is positive, what leaves it negative."
        )
    part = found_row(work, Part, part_id, **locking(work))
    _check_whole(part, quantity)
    there = shelf(work, [part_id])[part_id]
    if there + quantity < 0:
        raise RefusedError(
            f"{part.number} {part.name}: {digits(there)} {part.unit} on the shelf, {digits(-quantity)} asked. "
            "Count the shelf and set it right first, or enter what was received."
        )
    if reason == "received":
        part.coming = max(part.coming - quantity, Decimal(0))
    row = Movement(part_id=part_id, job_id=job_id, quantity=quantity, reason=reason, by=work.by, at=now(), note=note)
    work.add(row)
    work.flush()
    return row


def _check_whole(part: Part, quantity: Decimal) -> None:
    if part.unit == "piece" and quantity != quantity.to_integral_value():
        raise PersonError(f"{part.number} is counted in pieces; {quantity} is not whole.")


def order(work: Work, part_id: int, quantity: Decimal) -> Part:
    """So much of a part is ordered and not here yet, whatever was written down before. Raises ``PersonError``."""
    part = found_row(work, Part, part_id, **locking(work))
    if not quantity.is_finite() or not 0 <= quantity < 10**9:
        raise PersonError(f"{quantity}: what is ordered is nothing or more, and less than a billion.")
    _check_whole(part, quantity)
    part.coming = quantity
    work.flush()
    return part


def counted(work: Work, part_id: int, there: Decimal, *, note: str = "") -> Movement | None:
    """Somebody counted the shelf: the difference becomes a movement, None where there is none."""
    if there < 0:
        raise PersonError("What was counted cannot be less than nothing.")
    work.get(Part, part_id, **locking(work))
    difference = there - shelf(work, [part_id])[part_id]
    return move(work, part_id, difference, "counted", note=note) if difference else None


def listed(work: Work, *, kind: str = "", gone: bool = False, after: int = 0, most: int = 50) -> list[Part]:
    """Parts by kind and name, a page at a time."""
    order = (Part.kind, Part.name, Part.id)
    ids = select(Part.id).where(Part.gone == gone)  # from the index alone; the rows themselves for this page only
    if kind:
        ids = ids.where(Part.kind == kind)
    page = ids.order_by(*order).offset(after).limit(most).subquery()
    return list(work.scalars(select(Part).where(Part.id.in_(select(page.c.id))).order_by(*order)))


def missing(work: Work, job_id: int) -> list[tuple[Part, Decimal, Decimal, Decimal]]:
    """Parts that a job still needs and the shelf does not hold: part, still needed, on the shelf, ordered."""
    return missing_of(work, [job_id])[job_id]


def missing_of(work: Work, job_ids: Sequence[int]) -> dict[int, list[tuple[Part, Decimal, Decimal, Decimal]]]:
    """The same of several jobs, each held against the shelf as if it were the only one."""
    wanted = _wanted(work, job_ids)
    there = shelf(work, list({part.id for part, _ in wanted.values()}))
    rows: dict[int, list[tuple[Part, Decimal, Decimal, Decimal]]] = {job_id: [] for job_id in job_ids}
    for (job_id, part_id), (part, still) in wanted.items():
        if still > there[part_id]:
            rows[job_id].append((part, still, there[part_id], part.coming))
    return rows


def _wanted(work: Work, job_ids: Sequence[int]) -> dict[tuple[int, int], tuple[Part, Decimal]]:
    """Of each job and part: the part, and what is still needed."""
    mine = select(Movement.job_id, Movement.part_id, func.sum(Movement.quantity)).where(Movement.job_id.in_(job_ids))
    rows = work.execute(mine.group_by(Movement.job_id, Movement.part_id))
    taken = {(job_id, part_id): -total for job_id, part_id, total in rows}
    wanted: dict[tuple[int, int], tuple[Part, Decimal]] = {}
    needs = select(Need).where(Need.job_id.in_(job_ids)).options(joinedload(Need.part)).order_by(Need.id)
    for need in work.scalars(needs):
        key = need.job_id, need.part_id
        _, quantity = wanted.get(key, (need.part, -taken.get(key, Decimal(0))))
        wanted[key] = (need.part, quantity + need.quantity)
    return wanted


def short(work: Work, *, most: int = 200) -> list[tuple[Part, Decimal, Decimal, Decimal, Decimal]]:
    """What to order: part, still needed by all agreed jobs together, on the shelf, ordered, and how much is short.

    Short is what the shelf lacks once every job has taken its own, to keep the least that shall lie there.
    """
    jobs = list(work.scalars(select(Job.id).where(Job.state.in_(NEEDING))))
    wanted: dict[int, tuple[Part, Decimal]] = {}
    for (_, part_id), (part, still) in _wanted(work, jobs).items():
        _, quantity = wanted.get(part_id, (part, Decimal(0)))
        wanted[part_id] = (part, quantity + max(still, Decimal(0)))
    lies = select(func.sum(Movement.quantity)).where(Movement.part_id == Part.id).scalar_subquery()
    low = select(Part).where(Part.least > 0, Part.gone.is_(False), Part.least > func.coalesce(lies, 0))
    for part in work.scalars(low.limit(most)):
        wanted.setdefault(part.id, (part, Decimal(0)))
    there = shelf(work, list(wanted))
    rows = []
    for part_id, (part, needed) in wanted.items():
        lacks = needed + (part.least or Decimal(0)) - there[part_id] - part.coming
        if lacks > 0:
            rows.append((part, needed, there[part_id], part.coming, lacks))
    return sorted(rows, key=lambda row: (row[0].kind, row[0].name, row[0].id))[:most]
