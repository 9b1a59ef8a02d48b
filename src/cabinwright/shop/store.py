"""Opens the shop's database and lets it be read and changed. SQLite in the user's data folder, or PostgreSQL by a URL.

A change is one transaction under somebody's name (``Store.change``): it is written whole or not at all, and tried again where
the database had to choose between two that ran into each other. SQLite takes writers one after another from the first statement
(BEGIN IMMEDIATE), so that none is refused half-way; PostgreSQL runs them side by side, and every row's count refuses the later.
"""

from __future__ import annotations

import os
import random
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

from platformdirs import user_data_path
from sqlalchemy import URL, Engine, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError, OperationalError, SQLAlchemyError
from sqlalchemy.orm.exc import StaleDataError

from cabinwright.errors import MeanwhileError, OutputError, PersonError
from cabinwright.shop.migrate import raised
from cabinwright.shop.rows import Row
from cabinwright.shop.trail import Work, columns

__all__ = ["ADDRESS", "FILES", "Store", "found_row", "held", "locking"]

ADDRESS, FILES = "CABINWRIGHT_SHOP", "CABINWRIGHT_SHOP_FILES"  #: environment: where the database, and its files, are
WAIT_MS = 30_000  #: how long a writer waits for another one
TRIES = 8
AGAIN = frozenset({"40001", "40P01", "55P03", "23505"})
"""PostgreSQL: serialization failure, deadlock, lock not available; and a number that two took at once."""

Answer = TypeVar("Answer")
RowType = TypeVar("RowType", bound=Row)


class Store:
    """An open shop."""

    def __init__(self, engine: Engine, files: Path) -> None:
        self.engine, self.files = engine, files

    @classmethod
    def open(cls, address: str | None = None, *, files: Path | None = None) -> Store:
        """Open the shop, making it or raising it to today's version where due.

        ``address``: a folder for SQLite, or a URL ``postgresql://...``; without one what ``CABINWRIGHT_SHOP`` says, else the
        user's data folder. Raises ``PersonError`` where it cannot be opened.
        """
        address = address or os.environ.get(ADDRESS) or str(user_data_path("Cabinwright", appauthor=False) / "shop")
        url, folder = _url(address)
        kept = files or (Path(os.environ[FILES]) if os.environ.get(FILES) else folder / "files" if folder else None)
        if kept is None:
            raise PersonError(f"Set {FILES} to the folder that all benches share for photographs and recordings.")
        try:
            if folder is not None:
                folder.mkdir(parents=True, exist_ok=True)
            kept.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise OutputError(f"{error.filename}: cannot be made: {error.strerror}. Choose another folder.") from None
        engine = _engine(url)
        try:
            raised(engine)
        except (SQLAlchemyError, OSError) as error:
            engine.dispose()
            raise PersonError(_told(url, error)) from None
        except BaseException:
            engine.dispose()
            raise
        return cls(engine, kept)

    def close(self) -> None:
        """Let the database go."""
        self.engine.dispose()

    @property
    def lite(self) -> bool:
        """Whether this is SQLite."""
        return self.engine.dialect.name == "sqlite"

    @contextmanager
    def read(self) -> Iterator[Work]:
        """Look at rows. Whatever is changed on the way is dropped."""
        with Work(self.engine, autoflush=False, info={"files": self.files}) as work:
            yield work

    def change(self, make: Callable[[Work], Answer], *, by: str) -> Answer:
        """Run ``make`` in one transaction of ``by``; it may run several times, so it must do nothing but change rows.

        Raises ``MeanwhileError`` where somebody changed the same row first, ``OutputError`` where the database cannot be written.
        """
        for left in reversed(range(TRIES)):
            work = Work(self.engine, expire_on_commit=False, info={"files": self.files, "writes": True})
            work.by = by
            try:
                if self.lite:
                    work.connection(execution_options={"writes": True})
                answer = make(work)
                work.commit()
            except StaleDataError as error:
                work.rollback()
                raise MeanwhileError(
                    "Somebody changed the same entry meanwhile. Look at it again and repeat what is still right.",
                    theirs={},
                    mine={},
                ) from error
            except DBAPIError as error:
                work.rollback()
                if not left or not _passes(error):
                    raise _refused(error) from error
                time.sleep(random.uniform(0.01, 0.05) * (TRIES - left))
            except BaseException:
                work.rollback()
                raise
            else:
                return answer
            finally:
                work.close()
        raise AssertionError  # the last turn returns or raises


def locking(work: Work) -> dict[str, Any]:
    """How ``Session.get`` takes a row so that nobody else changes it before this transaction ends; SQLite holds them all."""
    return {"with_for_update": work.get_bind().dialect.name != "sqlite", "populate_existing": True}


def found_row(work: Work, kind: type[RowType], row_id: int, **how: Any) -> RowType:
    """A row by its id; ``how`` as ``Session.get`` takes it. Raises ``PersonError`` where there is none."""
    row = work.get(kind, row_id, **how)
    if row is None:
        what = "proposal" if kind.__name__ == "Offer" else kind.__name__.lower()
        raise PersonError(f"There is no {what} {row_id}; look at the list again.")
    return row


def held(work: Work, kind: type[RowType], row_id: int, *, count: int, **mine: Any) -> RowType:
    """The row to change, if it is still as it was when it was looked at; ``mine`` is written into it.

    Raises ``MeanwhileError`` with both versions where it is not, ``PersonError`` where there is none.
    """
    row = work.get(kind, row_id, **locking(work))
    if row is None:
        raise PersonError(f"There is no number {row_id} among the {kind.__tablename__}; look at the list again.")
    if row.count != count:
        who, at = _last_hand(work, row)
        raise MeanwhileError(
            f"Changed by {who} meanwhile, {at}. Nothing of yours was written: look at both and save again what is right.",
            theirs=columns(row),
            mine=mine,
        )
    for name, value in mine.items():
        setattr(row, name, value)
    return row


def _last_hand(work: Work, row: Row) -> tuple[str, str]:
    from sqlalchemy import select

    from cabinwright.shop.rows import Trace

    find = select(Trace).where(Trace.subject == row.__tablename__, Trace.row == row.id).order_by(Trace.id.desc())
    last = work.scalars(find.limit(1)).first()
    return (last.by, f"at {last.at:%Y-%m-%d %H:%M} UTC") if last else ("somebody", "at an unknown time")


def _url(address: str) -> tuple[URL, Path | None]:
    if "://" not in address:
        folder = Path(address)
        if folder.exists() and not folder.is_dir():
            raise PersonError(f"{folder}: the shop's data needs a folder, and this is a file. Name a folder.")
        return URL.create("sqlite", database=str(folder / "shop.sqlite")), folder
    try:
        url = make_url(address)
    except ArgumentError:
        raise PersonError(
            "The shop's address is no URL. Write postgresql://NAME@HOST/DATABASE, or a folder for one computer."
        ) from None
    if url.get_backend_name() != "postgresql":
        raise PersonError(
            f"{url.get_backend_name()}: the shop runs on SQLite (name a folder) or on PostgreSQL (postgresql://...)."
        )
    return url.set(drivername="postgresql+psycopg"), None


def _engine(url: URL) -> Engine:
    if url.get_backend_name() == "sqlite":
        engine = create_engine(url, connect_args={"timeout": WAIT_MS / 1000})
        event.listen(engine, "connect", _prepared)
        event.listen(engine, "begin", _begun)
        return engine
    try:
        return create_engine(
            url, pool_pre_ping=True, pool_size=10, max_overflow=20, connect_args={"connect_timeout": 10}
        )
    except (ImportError, NoSuchModuleError):
        raise PersonError(
            'PostgreSQL needs one package more. Install it with: pip install "cabinwright[postgres]"'
        ) from None


def _prepared(connection: Any, record: object) -> None:
    connection.isolation_level = None  # BEGIN is ours; the driver would send its own, and too late
    for words in ("journal_mode=WAL", "foreign_keys=ON", "synchronous=FULL", f"busy_timeout={WAIT_MS}"):
        connection.execute(f"PRAGMA {words}")


def _begun(connection: Any) -> None:
    writes = connection.get_execution_options().get("writes")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _passes(error: DBAPIError) -> bool:
    """Whether the same change may well succeed when it is tried again."""
    state = getattr(error.orig, "sqlstate", None)
    words = str(error.orig).lower()
    return state in AGAIN or (state is None and ("locked" in words or "busy" in words))


def _refused(error: DBAPIError) -> Exception:
    words = str(error.orig).strip().splitlines()[0] if error.orig else str(error)
    if isinstance(error, OperationalError):
        return OutputError(
            f"The shop's database cannot be written: {words}. Nothing was changed; see to it and try again."
        )
    return PersonError(f"The shop's database refused this: {words}. Nothing was changed.")


def _told(url: URL, error: Exception) -> str:
    words = (str(getattr(error, "orig", None) or error).strip().splitlines() or [type(error).__name__])[0]
    return (
        f"{url.render_as_string(hide_password=True)}: the shop's database cannot be opened: {words}. "
        "See that the address is right, that its server runs, and that you may read and write there."
    )
