"""Jobs, what has to be done in them, and the time it took."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from cabinwright.shop.rows.base import Row
from cabinwright.shop.rows.people import Car, User

__all__ = ["Hours", "Job", "Task", "TaskOrder"]


class Job(Row):
    """One piece of work on one car."""

    __tablename__ = "jobs"

    number: Mapped[str] = mapped_column(String(20), unique=True)  #: as on paper: year and running number
    car_id: Mapped[int] = mapped_column(ForeignKey("cars.id"), index=True)
    earlier_id: Mapped[int | None] = mapped_column(
        ForeignKey("jobs.id"), index=True
    )  #: the job this car comes back from
    title: Mapped[str] = mapped_column(String(200))
    state: Mapped[str] = mapped_column(String(20), index=True, default="asked")
    promised_on: Mapped[date | None] = mapped_column(index=True)
    closed_at: Mapped[datetime | None]
    wishes: Mapped[dict[str, Any]] = mapped_column(default=dict)  #: answers of the interview
    folder: Mapped[str] = mapped_column(Text, default="")  #: of its build
    note: Mapped[str] = mapped_column(Text, default="")

    car: Mapped[Car] = relationship()
    tasks: Mapped[list[Task]] = relationship(back_populates="job", order_by="Task.place, Task.id")


class Task(Row):
    """Something to do in a job."""

    __tablename__ = "tasks"

    job_id: Mapped[int] = mapped_column(ForeignKey("jobs.id"), index=True)
    place: Mapped[int] = mapped_column(default=0)  #: in the list
    name: Mapped[str] = mapped_column(String(200))
    kind: Mapped[str] = mapped_column(String(40), index=True)  #: kind of work, by which the shop's hours are compared
    planned_h: Mapped[Decimal | None]
    hidden: Mapped[bool] = mapped_column(default=False)  #: closed up afterwards, so that a photograph has to be kept
    done_at: Mapped[datetime | None]
    done_by: Mapped[str] = mapped_column(String(80), default="")

    job: Mapped[Job] = relationship(back_populates="tasks")
    needs: Mapped[list[TaskOrder]] = relationship(foreign_keys="TaskOrder.task_id", cascade="all, delete-orphan")


class TaskOrder(Row):
    """One task that has to be done before another."""

    __tablename__ = "task_orders"
    __table_args__ = (
        UniqueConstraint("task_id", "before_id"),
        CheckConstraint("task_id <> before_id", name="not_itself"),
    )

    task_id: Mapped[int] = mapped_column(ForeignKey("tasks.id"), index=True)
    before_id: Mapped[int] = mapped_column(ForeignKey("tasks.id"), index=True)


class Hours(Row):
    """Time that somebody spent; open while ``ended_at`` is not there."""

    __tablename__ = "hours"

    job_id: Mapped[int] = mapped_column(ForeignKey("jobs.id"), index=True)
    task_id: Mapped[int | None] = mapped_column(ForeignKey("tasks.id"), index=True)
    kind: Mapped[str] = mapped_column(String(40), index=True)
    by: Mapped[str] = mapped_column(String(80), index=True)
    began_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]
    user_id: Mapped[int | None] = mapped_column(ForeignKey("users.id"))

    user: Mapped[User | None] = relationship()
