"""``cabinwright study``: the command, its page and table, its refusals, and every build of a folder tuned anew."""

from __future__ import annotations

import csv
import json
import re
import tomllib
from pathlib import Path

import pytest

from cabinwright.build.codec import parse
from cabinwright.cli.main import main
from cabinwright.office import studies
from cabinwright.session import Session
from cars import make_car
from cars.recordings import write_recordings
from handover.html_check import Page
from stages.cabin_build import cabin_text

SMALL = ("--workers", "1", "--role", "coaxial", "--reach", "2 cm", "--step", "2 cm", "--turn", "0", "--draws", "4")


def said(capsys: pytest.CaptureFixture[str], *words: object, code: int = 0) -> tuple[str, str]:
    capsys.readouterr()
    assert main([str(word) for word in words]) == code
    told = capsys.readouterr()
    assert "Traceback" not in told.out + told.err
    return told.out, told.err


def test_from_a_build_to_page_and_table_and_nothing_twice(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "build.toml").write_text(cabin_text(), encoding="utf-8")
    out, err = said(capsys, "study", tmp_path, *SMALL)
    assert "open " + str(tmp_path / "out" / "study.html") in out
    text = (tmp_path / "out" / "study.html").read_text(encoding="utf-8")
    page = Page(text)
    assert "never mount anything there" in page.text
    with (tmp_path / "out" / "study.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    told = re.findall(r"round (.+), at \[(.+)\].*\(of (\d+) tried\)", out)
    assert sum(int(count) for _, _, count in told) == len(rows)
    # Whatever is pasted from the page is a build that layout reads.
    pasted = "\n".join(re.findall(r"<pre>(.*?)</pre>", text, re.DOTALL)).replace("&#34;", '"')
    assert len(tomllib.loads(pasted)["places"]) == len(told)
    assert len(parse((cabin_text() + "\n" + pasted).encode()).places) == len(told) + len(
        parse(cabin_text().encode()).places
    )
    # The best of the table, by the mean over the points of the head, is what the command tells.
    means: dict[tuple[str, ...], list[float]] = {}
    for row in rows:
        key = tuple(row[name] for name in ("place", "x_m", "y_m", "z_m", "aim_x", "aim_y", "aim_z"))
        means.setdefault(key, []).append(float(row["mean_db"]))
    best = max(means, key=lambda key: sum(means[key]))
    assert best[0] in {name for name, _, _ in told}
    before = (tmp_path / "out" / "study.csv").read_bytes()
    again, err = said(capsys, "study", tmp_path, *SMALL)
    assert again == out
    assert "batches, " in err
    assert "working" not in err  # all of it was kept
    assert (tmp_path / "out" / "study.csv").read_bytes() == before


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--step", "0"), "at least 1 mm"),
        (("--reach", "3 lightyears"), "--reach"),
        (("--turn", "nan"), "between 0 and 90"),
        (("--workers", "0"), "between 1 and 512"),
        (("--role", "subwoofer"), "modes"),
        (("--role", "organ"), "organ"),
        (("--scheduler", "nonsense://x"), "no scheduler answers"),
    ],
)
def test_what_cannot_be_studied_is_told(
    words: tuple[str, ...], told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "build.toml").write_text(cabin_text(), encoding="utf-8")
    small = () if words[0] == "--scheduler" else ("--draws", "4")
    assert told in said(capsys, "study", tmp_path, *words, *small, code=2)[1]
    assert not (tmp_path / "out").exists()


def test_every_build_below_a_folder_tuned_anew(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    good = tmp_path / "2024" / "first"
    write_recordings(make_car(7, layout="two-way+sub", positions=6), good, timing="impulse")
    (tmp_path / "torn").mkdir()
    (tmp_path / "torn" / "build.toml").write_text("[tun", encoding="utf-8")
    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    out, _ = said(capsys, "study", tmp_path, "--retune", "--workers", "1")
    assert re.search(r"^  torn: no settings: ", out, re.MULTILINE)
    assert re.search(r"^  2024/first: settings none to \w+; off the house curve now: ", out, re.MULTILINE)
    rows = {row["build"]: row for row in json.loads((tmp_path / "studies" / "retune.json").read_text(encoding="utf-8"))}
    assert all(path.read_bytes() == content for path, content in before.items())
    result = Session.open(good).tune()[0]
    assert rows["2024/first"]["now"] == result.settings.fingerprint
    assert "build.toml:1" in rows["torn"]["refused"]
    again, _ = studies.retuned(tmp_path, lambda what, share: None)
    assert {row.build: row.was for row in again} == {"2024/first": "", "torn": ""}  # nothing that is read here changed


def test_a_folder_without_builds_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "no build.toml in it or below" in said(capsys, "study", tmp_path, "--retune", code=2)[1]
