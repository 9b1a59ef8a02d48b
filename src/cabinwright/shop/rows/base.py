"""What every table shares: its number, when it was made and changed, and the count of changes that locks it."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Any, ClassVar

from sqlalchemy import JSON, MetaData
from sqlalchemy.orm import DeclarativeBase, Mapped, declared_attr, mapped_column

from cabinwright.shop.kinds import Exact, Moment, now

__all__ = ["Row"]

NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s",
    "pk": "pk_%(table_name)s",
}


class Row(DeclarativeBase):
    """A row that is kept, with the count of its changes: a change made on an older count is refused, never lost."""

    metadata = MetaData(naming_convention=NAMES)
    type_annotation_map: ClassVar[dict[Any, Any]] = {Decimal: Exact, datetime: Moment, dict[str, Any]: JSON}

    id: Mapped[int] = mapped_column(primary_key=True)
    made_at: Mapped[datetime] = mapped_column(default=now)
    count: Mapped[int] = mapped_column(default=1)  #: how often the row was written

    @declared_attr.directive
    def __mapper_args__(cls) -> dict[str, Any]:
        """The lock."""
        return {"version_id_col": cls.__table__.c["count"]} if hasattr(cls, "__table__") else {}
