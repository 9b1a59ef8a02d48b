"""Writes requirements/*.txt anew: exact versions with hashes, for every platform, and no registry's address in them.

Needs uv (https://docs.astral.sh/uv/) on the path. All three locks agree on every version that they share.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
INPUTS = ("pyproject.toml", "requirements/build.in")
EXTRAS = ("audio", "cluster", "postgres", "step")
LOCKS: dict[str, tuple[str, ...]] = {"runtime": (), "dev": ("dev",), "extras": EXTRAS}
OPTIONS = (
    "--universal",
    "--python-version=3.11",
    "--generate-hashes",
    "--no-emit-index-url",
    "--no-emit-find-links",
    "--no-annotate",
    "--custom-compile-command=python tools/lock.py",
    "--quiet",
)


def compile_lock(uv: str, target: str, extras: tuple[str, ...], *more: str) -> None:
    """One lock file, from the ranges in pyproject.toml."""
    command = [uv, "pip", "compile", *OPTIONS, *(f"--extra={name}" for name in extras), *more, *INPUTS, "-o", target]
    subprocess.run(command, cwd=ROOT, check=True)


def main() -> int:
    """Resolve everything together first, so that the parts agree."""
    uv = shutil.which("uv")
    if uv is None:
        print('uv is not on the path. Install it (for example "pip install uv") and run this again.', file=sys.stderr)
        return 2
    together = "requirements/all.tmp"
    (ROOT / together).unlink(missing_ok=True)
    try:
        compile_lock(uv, together, ("dev", *EXTRAS))
        for name, extras in LOCKS.items():
            (ROOT / "requirements" / f"{name}.txt").unlink(missing_ok=True)
            compile_lock(uv, f"requirements/{name}.txt", extras, f"--constraint={together}")
    except subprocess.CalledProcessError as error:
        return error.returncode
    finally:
        (ROOT / together).unlink(missing_ok=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
