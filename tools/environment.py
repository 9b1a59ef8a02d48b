"""The project's own Python environment, ``.venv``, made from the hash-checked lock. Plain Python: the same everywhere.

``python tools/environment.py`` prepares it for running, ``python tools/environment.py dev`` for developing. Either does nothing
when the environment is up to date.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
VENV = ROOT / ".venv"
LOCKS = {"runtime": ("runtime", "dev"), "dev": ("dev",)}  #: which locks serve a purpose; the first is installed
OLDEST = (3, 11)


def python_in_venv() -> Path:
    """The environment's interpreter."""
    return VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def stamp_of(lock: str) -> str:
    """What an environment made from this lock was made from."""
    seen = hashlib.sha256()
    for path in (ROOT / "requirements" / f"{lock}.txt", ROOT / "pyproject.toml"):
        seen.update(path.read_bytes().replace(b"\r\n", b"\n"))
    return f"{seen.hexdigest()} {sys.version_info[0]}.{sys.version_info[1]} {ROOT}\n"


def up_to_date(purpose: str) -> bool:
    """Whether the environment already holds what ``purpose`` needs."""
    marks = [(VENV / f"installed-{lock}.txt", lock) for lock in LOCKS[purpose]]
    return python_in_venv().exists() and any(
        mark.exists() and mark.read_text(encoding="utf-8") == stamp_of(lock) for mark, lock in marks
    )


def ensure(purpose: str = "runtime") -> Path:
    """Make or renew the environment where needed; returns its interpreter. Exits with a message where it cannot."""
    if sys.version_info < OLDEST:
        have = ".".join(map(str, sys.version_info[:3]))
        sys.exit(f"Cabinwright needs Python {OLDEST[0]}.{OLDEST[1]} or newer; this is {have} ({sys.executable}).")
    if up_to_date(purpose):
        return python_in_venv()
    lock = LOCKS[purpose][0]
    print(f"Installing into .venv from requirements/{lock}.txt; the first time takes a minute.", flush=True)
    if not python_in_venv().exists():
        _run(
            [sys.executable, "-m", "venv", str(VENV)],
            "Python could not make an environment. On Debian and its relatives: apt-get install python3-venv",
        )
    pip = [str(python_in_venv()), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    _run(
        [*pip, "--require-hashes", "-r", str(ROOT / "requirements" / f"{lock}.txt")],
        "Packages could not be installed. Check that this computer reaches its package index, then try again.",
    )
    # The builder is in the lock, so that nothing is fetched without its hash.
    _run(
        [*pip, "--no-deps", "--no-build-isolation", "--no-index", "--editable", str(ROOT)],
        "Cabinwright itself could not be installed. Remove the folder .venv and try again.",
    )
    (VENV / f"installed-{lock}.txt").write_text(stamp_of(lock), encoding="utf-8")
    return python_in_venv()


def _run(command: list[str], cure: str) -> None:
    if subprocess.run(command, cwd=ROOT, check=False).returncode:
        sys.exit(f"\n{cure}")


if __name__ == "__main__":
    wanted = sys.argv[1] if len(sys.argv) > 1 else "runtime"
    if wanted not in LOCKS:
        sys.exit(f"Usage: python tools/environment.py [{'|'.join(LOCKS)}]")
    print(f"Ready: {ensure(wanted)}")
