"""The command that writes the book says what it wrote, on which paper, and what still stands against the build."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from cabinwright.cli.main import main
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
