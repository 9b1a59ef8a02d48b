"""The pages of docs/: built without a warning, every link and anchor followed, nothing fetched; the tutorial runs as shown."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT / "tools"))

import docs  # noqa: E402, tools/docs.py
import tutorial  # noqa: E402, tools/tutorial.py


def test_pages_build_and_their_links_lead_somewhere(tmp_path: Path) -> None:
    assert docs.build(tmp_path / "html") == 0
    built = {path.relative_to(tmp_path / "html").with_suffix("").as_posix() for path in tmp_path.rglob("*.html")}
    written = {path.relative_to(ROOT / "docs").with_suffix("").as_posix() for path in (ROOT / "docs").rglob("*.md")}
    assert written <= built
    index = docs.Page((tmp_path / "html" / "index.html").read_text(encoding="utf-8"))
    assert {f"{page}.html" for page in written - {"index"}} <= {link.partition("#")[0] for link in index.links}


def test_a_broken_link_is_noticed(tmp_path: Path) -> None:
    (tmp_path / "here.html").write_text('<p id="top"></p>', encoding="utf-8")
    text = (
        '<a href="here.html#top">good</a><a href="#no">1</a><a href="gone.html">2</a><a href="here.html#no">3</a>'
        '<script src="//elsewhere.example/x.js"></script><a href="https://elsewhere.example">fine, only a link</a>'
    )
    (tmp_path / "page.html").write_text(text, encoding="utf-8")
    assert len(docs.faults(tmp_path)) == 4


def test_the_tutorial_prints_what_it_shows(tmp_path: Path) -> None:
    text = tutorial.PAGE.read_text(encoding="utf-8")
    shown = [words for kind, words in tutorial.blocks(text) if kind == "console"]
    seen = tutorial.run(text, tmp_path)
    assert [tutorial.differences(*pair) for pair in zip(shown, seen, strict=True)] == [[]] * len(shown)
    commands = {words.split()[2] for words in shown}
    assert {"plan", "layout", "accept", "tune", "verify", "book"} <= commands
    for name in ("book.pdf", "summary.pdf", "settings.html", "wiring.pdf", "workshop/seat-box-baffle.dxf"):
        assert (tmp_path / tutorial.FOLDER / "out" / name).is_file(), name


@pytest.mark.parametrize(
    ("shown", "seen", "alike"),
    [
        ("  left side  2.5 dB off", "  left side  2.6 dB off", True),
        ("  left side  2.5 dB off", "  left side  2.9 dB off", False),
        ("sides arrive 9 microseconds apart", "sides arrive 10 microseconds apart", True),
        ("12 good, 0 left out", "11 good, 1 left out", False),
        ("wrote pickup/out/plan.json", "wrote pickup/out/plan.txt", False),
        ("one line", "one line\nanother", False),
    ],
)
def test_differences_between_shown_and_seen(shown: str, seen: str, alike: bool) -> None:
    assert (tutorial.differences(shown, seen) == []) is alike
