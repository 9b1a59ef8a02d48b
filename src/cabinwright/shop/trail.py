"""Writes the trail: whatever a session changes is written down in the same transaction, by whom and what stood there before."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import event, insert, inspect
from sqlalchemy.orm import PassiveFlag, Session, UOWTransaction

from cabinwright.errors import InternalError
from cabinwright.shop.kinds import now
from cabinwright.shop.rows import Login, Movement, Row, Trace, Word

__all__ = ["Work", "columns", "plain"]

UNTOLD = (Trace, Word, Login)  #: the trail itself, what is worked out from other rows, and logins
SECRET = frozenset({"password"})
LASTING = (Movement, Trace)  #: only ever added to


class Work(Session):
    """One transaction, under the name of who works. Made by ``Store``."""

    by: str = ""


def plain(value: Any) -> Any:
    """As JSON has it: decimals and moments as text."""
    if isinstance(value, Decimal):
        return str(value)
    if isinstance(value, (datetime, date)):
        return value.isoformat()
    return value


def columns(row: Row) -> dict[str, Any]:
    """Every column of a row, as JSON has it; a password only as present."""
    names = [column.key for column in inspect(row).mapper.column_attrs]
    return {name: "kept" if name in SECRET else plain(getattr(row, name)) for name in names}


@event.listens_for(Work, "before_flush")
def _hold_lasting(work: Work, context: UOWTransaction, instances: object) -> None:
    for row in (*work.deleted, *(row for row in work.dirty if work.is_modified(row))):
        if isinstance(row, LASTING):
            raise InternalError(f"a row of {row.__tablename__} is only ever added; set it right by another one")


@event.listens_for(Work, "after_flush")
def _write_trail(work: Work, context: UOWTransaction) -> None:
    at = now()
    told: list[dict[str, Any]] = []
    for what, rows in (("made", work.new), ("changed", work.dirty), ("removed", work.deleted)):
        for row in rows:
            if not isinstance(row, Row) or isinstance(row, UNTOLD):
                continue
            before, after = _differences(row, what)
            if before or after:
                told.append(
                    {
                        "made_at": at,
                        "at": at,
                        "count": 1,
                        "by": work.by,
                        "subject": row.__tablename__,
                        "row": row.id,
                        "what": what,
                        "before": before,
                        "after": after,
                    }
                )
    if told:
        work.connection().execute(insert(Trace), told)


def _differences(row: Row, what: str) -> tuple[dict[str, Any], dict[str, Any]]:
    if what == "made":
        return {}, columns(row)
    if what == "removed":
        return columns(row), {}
    before: dict[str, Any] = {}
    after: dict[str, Any] = {}
    state = inspect(row)
    for attribute in state.mapper.column_attrs:
        past = state.get_history(attribute.key, PassiveFlag.PASSIVE_NO_FETCH)
        if attribute.key == "count" or not past.has_changes():
            continue
        secret = attribute.key in SECRET
        before[attribute.key] = "kept" if secret else plain(past.deleted[0]) if past.deleted else None
        after[attribute.key] = "changed" if secret else plain(past.added[0]) if past.added else None
    return before, after
