"""The demo's book: the whole command in a fresh process, and inside one its parts: stages, pages, setting.

    python benchmarks/book.py [--rounds 2]

Aim of the project: 10 s for the whole command.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from common import ROOT, load, seconds


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=2, help="the least of so many runs counts")
    rounds = parser.parse_args().rounds
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "build"
        shutil.copytree(ROOT / "demo" / "build", folder, ignore=shutil.ignore_patterns("out"))
        print(load())
        command = [sys.executable, "-m", "cabinwright", "book", str(folder)]
        whole = seconds(lambda: subprocess.run(command, check=True, capture_output=True), rounds)
        print(f"whole command, fresh process   {whole:5.1f} s")
        parts(folder, rounds)


def parts(folder: Path, rounds: int) -> None:
    """What the command spends where; the first round also pays for what is imported on first use."""
    from cabinwright.handover import book
    from cabinwright.session import Session

    took: dict[str, float] = {}
    inner = {"book.pdf": book.book_pdf, "summary.pdf": book.summary_pdf}

    def timed(key: str):  # type: ignore[no-untyped-def]
        def run(*values: object, **more: object) -> bytes:
            start = time.perf_counter()
            made: bytes = inner[key](*values, **more)
            took[key] = min(took.get(key, float("inf")), time.perf_counter() - start)
            return made

        return run

    book.book_pdf, book.summary_pdf = (
        timed("book.pdf"),
        timed("summary.pdf"),
    )  # the session looks them up when it is run
    in_all = seconds(lambda: Session.open(folder).book(), max(rounds, 2))
    print(f"inside one process             {in_all:5.1f} s")
    for key, value in took.items():
        print(f"  {key:<28} {value:5.1f} s")
    print(f"  stages and verification      {in_all - sum(took.values()):5.1f} s")


if __name__ == "__main__":
    main()
