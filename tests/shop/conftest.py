"""A shop on each of the two databases: SQLite in a folder, and a real PostgreSQL server that these tests start."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from itertools import count
from pathlib import Path

import pytest

from cabinwright.shop.store import Store

NUMBERS = count(1)


def binaries() -> Path | None:
    """Where the server's programs are: on the path, or where Debian puts them."""
    places = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    found = places[-1] if places else shutil.which("initdb")
    return Path(found).resolve().parent if found else None


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    """The folder of a running server's socket. Skipped where PostgreSQL is not installed, required in CI."""
    programs = binaries()
    if programs is None or os.name == "nt":
        if os.environ.get("CI"):
            pytest.fail("PostgreSQL is required in continuous integration")
        pytest.skip("PostgreSQL is not installed")
    folder = Path(tempfile.mkdtemp(prefix="cw-pg-"))
    user = "postgres" if os.getuid() == 0 else None  # the server refuses to run as root
    if user:
        shutil.chown(folder, user)

    def run(name: str, *words: str) -> None:
        quiet = {"stdout": subprocess.DEVNULL, "env": {"PATH": "/usr/bin:/bin", "LC_ALL": "C.UTF-8"}}
        subprocess.run([str(programs / name), *words], user=user, cwd=folder, check=True, timeout=120, **quiet)  # type: ignore[call-overload]

    data = str(folder / "data")
    run("initdb", "-D", data, "-A", "trust", "-U", "shop", "-E", "UTF8", "--no-sync")
    options = f"-c listen_addresses= -c unix_socket_directories={folder} -c max_connections=60 -c fsync=off"
    run("pg_ctl", "-D", data, "-l", str(folder / "log"), "-o", options, "-w", "start")
    try:
        yield str(folder)
    finally:
        run("pg_ctl", "-D", data, "-m", "immediate", "-w", "stop")
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def full(server: str) -> str:
    """The address of an empty PostgreSQL database."""
    import psycopg

    name = f"shop{next(NUMBERS)}"
    with psycopg.connect(f"postgresql://shop@/postgres?host={server}", autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")  # a name of ours
    return f"postgresql://shop@/{name}?host={server}"


@pytest.fixture(params=["sqlite", "postgresql"])
def address(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The address of an empty database of each kind."""
    return str(tmp_path / "shop") if request.param == "sqlite" else str(request.getfixturevalue("full"))


@pytest.fixture
def store(address: str, tmp_path: Path) -> Iterator[Store]:
    """An open, empty shop."""
    opened = Store.open(address, files=tmp_path / "files")
    yield opened
    opened.close()
