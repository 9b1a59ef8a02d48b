"""What is kept of a job: states of its build, files, notes; and the words by which all is found again."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import BigInteger, ForeignKey, Index, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from cabinwright.shop.rows.base import Row

__all__ = ["FILE_KINDS", "BuildState", "Kept", "Note", "Word"]

FILE_KINDS = ("photograph", "recording", "document", "signature")


class BuildState(Row):
    """A state of a job's build, under the mark of its own bytes (SHA-256)."""

    __tablename__ = "build_states"
    __table_args__ = (UniqueConstraint("job_id", "mark"),)

    job_id: Mapped[int] = mapped_column(ForeignKey("jobs.id"), index=True)
    mark: Mapped[str] = mapped_column(String(64), index=True)
    text: Mapped[str] = mapped_column(Text)
    why: Mapped[str] = mapped_column(Text, default="")
    by: Mapped[str] = mapped_column(String(80))


class Kept(Row):
    """A file that lies beside the database under the mark of its bytes."""

    __tablename__ = "kept_files"

    job_id: Mapped[int] = mapped_column(ForeignKey("jobs.id"), index=True)
    task_id: Mapped[int | None] = mapped_column(ForeignKey("tasks.id"), index=True)
    kind: Mapped[str] = mapped_column(String(20))
    name: Mapped[str] = mapped_column(String(200))  #: as the person called it; never part of a path
    mark: Mapped[str] = mapped_column(String(64), index=True)
    shown: Mapped[str] = mapped_column(String(64), default="")  #: of the copy to show: turned, smaller, without EXIF
    size: Mapped[int] = mapped_column(BigInteger)  #: bytes
    pinned: Mapped[str] = mapped_column(String(200), default="")  #: stage or part that it belongs to
    words: Mapped[str] = mapped_column(Text, default="")  #: what is to be seen
    public: Mapped[bool] = mapped_column(default=False)  #: chosen for the shop's own site
    at: Mapped[datetime]
    by: Mapped[str] = mapped_column(String(80))


class Note(Row):
    """Something that somebody wrote down in the log of a job."""

    __tablename__ = "notes"

    job_id: Mapped[int] = mapped_column(ForeignKey("jobs.id"), index=True)
    pinned: Mapped[str] = mapped_column(String(200), default="")
    text: Mapped[str] = mapped_column(Text)
    at: Mapped[datetime]
    by: Mapped[str] = mapped_column(String(80))


class Word(Row):
    """The words of one row of another table. The database's own full-text index lies over it."""

    __tablename__ = "words"
    __table_args__ = (UniqueConstraint("kind", "ref"), Index("ix_words_ref", "ref"))

    kind: Mapped[str] = mapped_column(String(20))  #: customer, car, job, part, note
    ref: Mapped[int]  #: id of that row
    text: Mapped[str] = mapped_column(Text)
