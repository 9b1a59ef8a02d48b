"""Finds customers, cars, jobs, parts and notes again by their words: FTS5 in SQLite, tsvector in PostgreSQL.

A search is words with "and" between them, each the beginning of a word, in any case; whatever else is typed has no meaning
to the database.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from sqlalchemy import delete, event, insert, select, text, update
from sqlalchemy.orm import UOWTransaction

from cabinwright.build.checking import folded
from cabinwright.shop.kinds import now
from cabinwright.shop.rows import Car, Customer, Job, Note, Part, Row, Word
from cabinwright.shop.trail import Work

__all__ = ["KINDS", "Hit", "found", "rebuilt", "words_of"]

KINDS: dict[type[Row], tuple[str, tuple[str, ...]]] = {
    Customer: ("customer", ("name", "contact", "note")),
    Car: ("car", ("name", "mark", "note")),
    Job: ("job", ("number", "title", "note")),
    Part: ("part", ("number", "name", "supplier_number", "note")),
    Note: ("note", ("text", "pinned")),
}
"""Row -> kind, and the columns whose words count."""
MOST_WORDS = 8
LITE = text(
    "SELECT words.kind, words.ref, words.text FROM words_index JOIN words ON words.id = words_index.rowid "
    "WHERE words_index MATCH :asked AND (:kind = '' OR words.kind = :kind) ORDER BY words_index.rank, words.id LIMIT :most"
)
FULL = text(
    "SELECT kind, ref, text FROM words WHERE to_tsvector('simple', text) @@ to_tsquery('simple', :asked) "
    "AND (:kind = '' OR kind = :kind) "
    "ORDER BY ts_rank(to_tsvector('simple', text), to_tsquery('simple', :asked)) DESC, id LIMIT :most"
)


@dataclass(frozen=True, slots=True)
class Hit:
    """One row that was found."""

    kind: str
    ref: int  #: its id
    text: str  #: its words, folded


def words_of(row: Row) -> str:
    """What a row is found by."""
    return folded(" ".join(str(getattr(row, name) or "") for name in KINDS[type(row)][1]))


def found(work: Work, asked: str, *, kind: str = "", most: int = 50) -> tuple[Hit, ...]:
    """What holds every word of ``asked``, the best first; nothing where nothing was asked."""
    words = re.findall(r"\w+", folded(asked))[:MOST_WORDS]
    if not words:
        return ()
    lite = work.get_bind().dialect.name == "sqlite"
    query = " ".join(f'"{word}"*' for word in words) if lite else " & ".join(f"'{word}':*" for word in words)
    rows = work.execute(LITE if lite else FULL, {"asked": query, "kind": kind, "most": most})
    return tuple(Hit(*row) for row in rows)


@event.listens_for(Work, "after_flush")
def _keep_words(work: Work, context: UOWTransaction) -> None:
    connection = work.connection()
    made: list[dict[str, Any]] = []
    for row in work.new:
        if type(row) in KINDS:
            at = now()
            made.append({"kind": KINDS[type(row)][0], "ref": row.id, "text": words_of(row), "made_at": at, "count": 1})
    if made:
        connection.execute(insert(Word), made)
    for row in work.dirty:
        if type(row) in KINDS and work.is_modified(row):
            here = (Word.kind == KINDS[type(row)][0], Word.ref == row.id)
            connection.execute(update(Word).where(*here).values(text=words_of(row)))
    for row in work.deleted:
        if type(row) in KINDS:
            connection.execute(delete(Word).where(Word.kind == KINDS[type(row)][0], Word.ref == row.id))


def rebuilt(work: Work) -> int:
    """Make every word anew from the rows; returns how many rows have words."""
    work.execute(delete(Word))
    count = 0
    for kind, (name, _) in KINDS.items():
        rows = work.scalars(select(kind))
        fresh = [{"kind": name, "ref": row.id, "text": words_of(row), "made_at": now(), "count": 1} for row in rows]
        if fresh:
            work.execute(insert(Word), fresh)
        count += len(fresh)
    return count
