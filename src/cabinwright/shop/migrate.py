"""Raises a database to today's version, or takes it back to an earlier one, by Alembic."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, text

from cabinwright.errors import PersonError

__all__ = ["lowered", "raised", "standing", "versions"]

LOCK = 7_717_001  #: of PostgreSQL: one bench at a time raises the database


def _config(connection: Connection | None = None) -> Config:
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations").replace("%", "%%"))
    config.attributes["connection"] = connection
    return config


def versions() -> tuple[str, ...]:
    """Every version there is, the oldest first."""
    return tuple(script.revision for script in reversed(list(ScriptDirectory.from_config(_config()).walk_revisions())))


def standing(connection: Connection) -> str | None:
    """The version that a database has; None for an empty one."""
    return MigrationContext.configure(connection).get_current_revision()


def raised(engine: Engine, to: str = "head") -> None:
    """Raise to a version, in one transaction. Raises ``PersonError`` where the database is newer than this program."""
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        if engine.dialect.name == "postgresql":
            connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": LOCK})
        now, known = standing(connection), versions()
        if now is not None and now not in known:
            raise PersonError(
                f"The shop's database is of version {now}, which this program does not know: it was raised by a newer one. "
                "Install that, or restore a backup made before."
            )
        if now != (known[-1] if to == "head" else to):
            command.upgrade(_config(connection), to)


def lowered(engine: Engine, to: str) -> None:
    """Take the database back to an earlier version (``base``: to nothing), in one transaction."""
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        command.downgrade(_config(connection), to)
