"""The command that writes the book says what it wrote, on which paper, and what still stands against the build."""

from __future__ import annotations

import re
from collections.abc import Callable
from concurrent.futures import BrokenExecutor, Executor, Future
from pathlib import Path
from typing import Any

import pytest

from cabinwright.cli.main import main
from cabinwright.session import Session
from cabinwright.studies.run import processes
from stages.wired import CAR


@pytest.mark.parametrize(("paper", "height_mm"), [((), 297.0), (("--paper", "letter"), 279.4)])
def test_the_book_is_written_on_the_paper_that_is_asked_for(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], paper: tuple[str, ...], height_mm: float
) -> None:
    (tmp_path / "build.toml").write_text(CAR, encoding="utf-8", newline="\n")
    assert main(["book", str(tmp_path), *paper]) == 0
    told = capsys.readouterr().out
    for name in ("book.pdf", "summary.pdf"):
        assert name in told
        box = re.search(rb"/MediaBox\s*\[([^]]+)\]", (tmp_path / "out" / name).read_bytes())
        assert box is not None
        assert float(box[1].split()[3]) / 72.0 * 25.4 == pytest.approx(height_mm, abs=0.05)


def test_the_summary_alone_leaves_the_book_as_it_is(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "build.toml").write_text(CAR, encoding="utf-8", newline="\n")
    assert main(["book", str(tmp_path), "--summary"]) == 0
    assert "summary.pdf" in capsys.readouterr().out
    assert not (tmp_path / "out" / "book.pdf").exists()


def test_a_paper_that_nobody_makes_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="2"):
        main(["book", str(tmp_path), "--paper", "napkin"])
    assert "a4" in capsys.readouterr().err


class Ended(Executor):
    """The other process was ended from outside."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        lost: Future[Any] = Future()
        lost.set_exception(BrokenExecutor("ended"))
        return lost


def test_a_process_beside_changes_nothing_of_the_book(tmp_path: Path) -> None:
    """Nor does one that is ended from outside; stages that give nothing are told in the same order."""
    (tmp_path / "build.toml").write_text(CAR, encoding="utf-8", newline="\n")
    session, books = Session.open(tmp_path), []
    with processes(1) as (beside, _):
        for executor in (None, beside, Ended()):
            session.book(executor=executor)
            books.append((tmp_path / "out" / "book.pdf").read_bytes())
    assert books[0] == books[1] == books[2]
