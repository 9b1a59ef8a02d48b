"""The whole shop in one file, and back: rows as lines of JSON, files as they are, streamed; checked by restoring it.

The file is a ZIP (stored, ZIP64) with ``shop.json`` (version, when, and of each table how many rows and the digest of its lines),
one ``rows/TABLE.jsonl`` a table, and ``files/MARK``. Rows are read in one transaction, so that they belong together. It can be
restored into SQLite or PostgreSQL alike, into an empty shop only. It is not encrypted: whoever has it can read everything.
"""

from __future__ import annotations

import json
import os
import shutil
import tempfile
import zipfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from hashlib import sha256
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Date, Table, insert, select, text
from sqlalchemy.exc import SQLAlchemyError

from cabinwright.errors import OutputError, PersonError
from cabinwright.files import beside
from cabinwright.shop.files import FileStore
from cabinwright.shop.kinds import Exact, Moment, now
from cabinwright.shop.migrate import standing, versions
from cabinwright.shop.rows import Kept, Login, Row
from cabinwright.shop.store import Store
from cabinwright.shop.trail import plain

__all__ = ["Contents", "backed_up", "restored", "tried"]

FORMAT = "cabinwright shop, 1"
ENCRYPTED = 1  #: flag of a ZIP entry (APPNOTE 4.4.4)
BATCH = 1000
LEFT_OUT = {Login.__tablename__}  #: whoever restores a shop logs in anew
LONGEST_LINE = 64 * 2**20
Progress = Callable[[str, float], None]


@dataclass(frozen=True, slots=True)
class Contents:
    """What a backup holds."""

    version: str
    at: str
    rows: dict[str, int]
    digests: dict[str, str]
    files: int


def unwatched(what: str, share: float) -> None:
    """Progress that nobody looks at."""


def backed_up(store: Store, file: Path, progress: Progress = unwatched, *, check: bool = True) -> Contents:
    """Write the backup beside its place, try it by restoring it, and only then give it its name.

    Raises ``OutputError`` where it cannot be written, ``PersonError`` where a file of the shop is lost.
    """
    part = beside(file, "part")
    try:
        with part.open("wb") as raw:
            with zipfile.ZipFile(raw, "w", zipfile.ZIP_STORED, allowZip64=True) as archive:
                contents = _written(store, archive, progress)
            raw.flush()
            os.fsync(raw.fileno())
        if check:
            progress("restoring it to check", 0.9)
            tried(part)
        part.replace(file)
    except OSError as error:
        raise OutputError(
            f"{file}: the backup cannot be written: {error.strerror}. Choose a disk with more space."
        ) from error
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)
    return contents


def _tables() -> list[Table]:
    return [table for table in Row.metadata.sorted_tables if table.name not in LEFT_OUT]


def _written(store: Store, archive: zipfile.ZipFile, progress: Progress) -> Contents:
    files = FileStore(store.files)
    rows: dict[str, int] = {}
    digests: dict[str, str] = {}
    level = "REPEATABLE READ" if not store.lite else None
    with store.engine.connect() as connection:
        if level:
            connection = connection.execution_options(isolation_level=level)
        with connection.begin():
            for table in _tables():
                with archive.open(f"rows/{table.name}.jsonl", "w", force_zip64=True) as out:
                    seen, count = sha256(), 0
                    for line in _lines(connection, table):
                        out.write(line)
                        seen.update(line)
                        count += 1
                rows[table.name], digests[table.name] = count, seen.hexdigest()
            version = standing(connection) or ""
            marks = sorted(_marks(connection))
    for done, mark in enumerate(marks):
        progress("files", 0.9 * done / len(marks))
        with files.open(mark) as source, archive.open(f"files/{mark}", "w", force_zip64=True) as out:
            shutil.copyfileobj(source, out, 2**20)
    contents = Contents(version, now().isoformat(), rows, digests, len(marks))
    head = {
        "format": FORMAT,
        "version": version,
        "at": contents.at,
        "rows": rows,
        "digests": digests,
        "files": len(marks),
    }
    archive.writestr("shop.json", json.dumps(head, indent=1))
    return contents


def _lines(connection: Connection, table: Table) -> Iterator[bytes]:
    answer = connection.execution_options(stream_results=True, yield_per=BATCH).execute(
        select(table).order_by(table.c.id)
    )
    for row in answer.mappings():
        yield json.dumps({name: plain(value) for name, value in row.items()}, ensure_ascii=False).encode() + b"\n"


def tried(file: Path) -> Contents:
    """Restore a backup into a shop that is thrown away, and compare: rows, their digests, and every file's bytes."""
    with tempfile.TemporaryDirectory(prefix="cabinwright-", ignore_cleanup_errors=True) as folder:
        store = Store.open(str(Path(folder) / "shop"))
        try:
            return restored(store, file, keep_files=False)
        finally:
            store.close()


def restored(store: Store, file: Path, progress: Progress = unwatched, *, keep_files: bool = True) -> Contents:
    """Bring a backup back into an empty shop, whole or not at all. ``keep_files``: else its files are only read and compared.

    Raises ``PersonError`` for a shop that is not empty, and for a file that is no backup, is damaged or newer than this.
    """
    try:
        with zipfile.ZipFile(file) as archive:
            contents = _head(archive, file)
            _restore_files(store, archive, file, keep=keep_files, progress=progress)
            with store.engine.connect().execution_options(writes=True) as connection, connection.begin():
                if any(connection.execute(select(table.c.id).limit(1)).first() for table in _tables()):
                    raise PersonError(
                        "This shop is not empty. Restore into a new folder or database, and look at it there."
                    )
                for table in _tables():
                    _restore_table(connection, archive, table, file)
                for table in _tables():
                    _compare(connection, table, contents, file)
                _compare_files(connection, archive, file)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError):
        raise PersonError(f"{file}: no backup of a shop, or a damaged one. Take an earlier backup.") from None
    except OSError as error:
        raise PersonError(f"{file}: cannot be read: {error.strerror}.") from None
    except SQLAlchemyError as error:
        words = str(getattr(error, "orig", None) or error).splitlines()[0]
        raise PersonError(
            f"{file}: its rows do not fit together: {words}. Nothing was restored; take an earlier backup."
        ) from None
    return contents


def _head(archive: zipfile.ZipFile, file: Path) -> Contents:
    if any(item.flag_bits & ENCRYPTED for item in archive.infolist()):
        raise PersonError(f"{file}: encrypted. Decrypt it first; this program writes backups without a password.")
    try:
        head = json.loads(archive.read("shop.json"))
        if head["format"] != FORMAT:
            raise ValueError
        contents = Contents(head["version"], head["at"], dict(head["rows"]), dict(head["digests"]), int(head["files"]))
    except (KeyError, ValueError, TypeError, RecursionError):
        raise PersonError(f"{file}: no backup of a shop. Choose a file that this program wrote.") from None
    if contents.version != versions()[-1]:
        newer = contents.version not in versions()
        cure = (
            "Install the newer program" if newer else "Restore it with the program that wrote it, then raise that shop"
        )
        raise PersonError(f"{file}: written by version {contents.version}; this is {versions()[-1]}. {cure}.")
    return contents


def _restore_files(store: Store, archive: zipfile.ZipFile, file: Path, *, keep: bool, progress: Progress) -> None:
    kept = FileStore(store.files)
    names = [name for name in archive.namelist() if name.startswith("files/")]
    for done, name in enumerate(names):
        progress("files", 0.9 * done / len(names))
        mark = name.removeprefix("files/")
        with archive.open(name) as source:
            if keep:
                found, _ = kept.put(source)  # type: ignore[arg-type]
            else:
                seen = sha256()
                while block := source.read(2**20):
                    seen.update(block)
                found = seen.hexdigest()
        if found != mark:
            if keep:
                kept.drop((found,))
            raise PersonError(f"{file}: the file {mark[:12]} in it is damaged. Take an earlier backup.")


def _compare_files(connection: Connection, archive: zipfile.ZipFile, file: Path) -> None:
    there = {name.removeprefix("files/") for name in archive.namelist() if name.startswith("files/")}
    lost = sorted(_marks(connection) - there)
    if lost:
        raise PersonError(
            f"{file}: {len(lost)} of the shop's files are not in it, {lost[0][:12]} first. "
            "Nothing was restored; take an earlier backup."
        )


def _marks(connection: Connection) -> set[str]:
    return {mark for pair in connection.execute(select(Kept.mark, Kept.shown)) for mark in pair if mark}


def _restore_table(connection: Connection, archive: zipfile.ZipFile, table: Table, file: Path) -> None:
    batch: list[dict[str, Any]] = []
    try:
        with archive.open(f"rows/{table.name}.jsonl") as lines:
            while line := lines.readline(LONGEST_LINE):
                batch.append(_row(table, json.loads(line)))
                if len(batch) == BATCH:
                    connection.execute(insert(table), batch)
                    batch.clear()
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise PersonError(
            f"{file}: rows of {table.name} in it are damaged ({type(error).__name__}). Take an earlier one."
        ) from None
    if batch:
        connection.execute(insert(table), batch)
    if connection.dialect.name == "postgresql":
        connection.execute(
            text(
                f"SELECT setval(pg_get_serial_sequence('{table.name}', 'id'), GREATEST((SELECT MAX(id) FROM {table.name}), 1))"
            )
        )


def _row(table: Table, plain_row: dict[str, Any]) -> dict[str, Any]:
    if set(plain_row) != set(table.c.keys()):
        raise KeyError
    row = {}
    for name, value in plain_row.items():
        kind = table.c[name].type
        if value is not None and isinstance(kind, Exact):
            value = Decimal(value)
        elif value is not None and isinstance(kind, Moment):
            value = datetime.fromisoformat(value)
        elif value is not None and isinstance(kind, Date):
            value = date.fromisoformat(value)
        row[name] = value
    return row


def _compare(connection: Connection, table: Table, contents: Contents, file: Path) -> None:
    seen, count = sha256(), 0
    for line in _lines(connection, table):
        seen.update(line)
        count += 1
    if count != contents.rows.get(table.name) or seen.hexdigest() != contents.digests.get(table.name):
        raise PersonError(
            f"{file}: {table.name} did not come back as it was. Nothing was restored; take an earlier backup."
        )
