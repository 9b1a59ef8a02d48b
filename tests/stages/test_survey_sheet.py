"""The field sheet: what it asks for is enough, whatever the kind of car, and its tables can be pasted."""

from __future__ import annotations

import re
import runpy
import tomllib
from pathlib import Path

import numpy as np
import pytest

from cabinwright.build.codec import parse
from cabinwright.build.shells import KINDS as shell_kinds
from cabinwright.cli.main import SHELLS, main
from cabinwright.drawings.tapes import NumberedTape, letter, tape_drawing
from cabinwright.handover.survey_sheet import survey_sheet_html, survey_toml
from cabinwright.stages import survey
from cabinwright.stages.survey.sheet import KINDS, Sheet, generic_sheet, own_sheet
from stages.cabin_build import HALF_M, cabin_build
from stages.test_survey import CAR, HEAD, KNOWN, known, written

ROOT = Path(__file__).parents[2]


def filled(sheet: Sheet, stretch: float = 1.1, seed: int = 0) -> str:
    """The sheet's tables with the boxes filled in a car that is larger than the invented one by ``stretch``."""
    rng = np.random.default_rng(seed)
    place = {point.name: stretch * np.array(point.at_m) for point in sheet.points if point.at_m is not None}
    lines, ends = [], []
    for line in survey_toml(sheet).splitlines():
        text = line.removeprefix("#")
        if text.startswith(("from", "to", "point", "above")):
            ends.append(text.split('"')[1])
        elif text == "distance_m = ":
            text += f"{np.linalg.norm(place[ends[-1]] - place[ends[-2]]) + rng.normal(0.0, 0.003):.4f}"
        elif text == "height_m = ":
            text += f"{(place[ends[-2]] - place[ends[-1]])[2] + rng.normal(0.0, 0.003):.4f}"
        lines.append(text)
    return HEAD + "\n".join(lines)


@pytest.mark.parametrize("kind", KINDS)
def test_what_it_asks_for_is_enough_and_checks_itself(kind: str) -> None:
    sheet = generic_sheet(kind)
    result = survey.run(parse(filled(sheet)))
    assert result is not None
    assert result.suspect_tapes == ()
    for point in sheet.points:
        assert point.at_m is not None
        got = result.points[point.name]
        assert got.at_m == pytest.approx(1.1 * np.array(point.at_m), abs=0.04)
        assert max(got.sigma_m) < 0.015 * 1.1  # what counts as weak, in a car that much larger
    assert min(tape.redundancy for tape in result.tapes) > 0.04
    assert max(tape.detectable_m for tape in result.tapes) < 0.07
    assert 40 <= len(result.tapes) <= 70


def test_as_printed_it_is_a_survey_that_says_what_is_missing() -> None:
    build = parse(HEAD + survey_toml(generic_sheet("estate")))
    assert build.survey is not None
    assert build.survey.tapes == ()


@pytest.mark.parametrize("kind", KINDS)
def test_every_tape_is_drawn_numbered_and_has_a_box(kind: str) -> None:
    sheet = generic_sheet(kind)
    page = survey_sheet_html(sheet)
    count = sum(len(tapes) for _, tapes in sheet.groups)
    assert page.count('<td class="value"></td>') == count + 2
    numbers = [int(number) for number in re.findall(r">(\d+)</text>", page)]
    assert sorted(numbers) == sorted([*range(1, count + 1)] * 2)  # once in each view
    assert all(f"#[[survey.tapes]]  # {number}" in page for number in range(1, count + 1))
    assert not re.search(r"(?:src|href)=.(?!#)", page)


def test_numbers_keep_clear_of_one_another() -> None:
    points = {"a": (0.0, 0.0, 0.0), "b": (1.0, 1.0, 0.0), "c": (0.0, 1.0, 0.0), "d": (1.0, 0.0, 0.0)}
    drawn = tape_drawing(
        points,
        dict(zip(points, "ABCD", strict=True)),
        [NumberedTape(1, "a", "b"), NumberedTape(2, "c", "d")],
        says="two that cross",
    )
    first, second = (
        np.array([float(x), float(y)])
        for x, y in re.findall(r'<text x="([\d.]+)" y="([\d.]+)" font-size="9"', drawn)[:2]
    )
    assert np.linalg.norm(first - second) > 12.0
    assert tape_drawing({}, {}, [], says="nothing") == ""


def test_letters() -> None:
    assert [letter(number) for number in (0, 25, 26, 27, 701, 702)] == ["A", "Z", "AA", "AB", "ZZ", "AAA"]


def test_own_survey_shows_what_was_taken_and_what_comes_next() -> None:
    text = written(known(*KNOWN), errors_m={("left dash", "driver head"): 0.1}, without=("left hinge|left door",))
    sheet = own_sheet(parse(text))
    (heading, following), (_, taken) = sheet.groups
    assert heading == "To take next"
    assert following[0].remark == "again: it was suspect"
    assert {following[0].from_, following[0].to} == {"left dash", "driver head"}
    assert len(taken) == 29
    page = survey_sheet_html(sheet)
    assert "suspect: +" in page
    assert "stroke-dasharray" in page


def test_own_survey_that_floats_says_why() -> None:
    sheet = own_sheet(parse(written(known(*KNOWN[:3]))))
    assert "two places" in sheet.remarks[0]
    assert "two places" in survey_sheet_html(sheet)


def test_letters_of_the_drawing_are_those_of_the_table() -> None:
    """A point that nobody can place yet has a letter all the same."""
    order = ("left door", *KNOWN[:3])
    lines = {name: "" if name == "left door" else f"at_m = {list(CAR[name])}" for name in order}
    text = written(lines)
    text += '[[survey.tapes]]\nfrom = "left hinge"\nto = "right hinge"\ndistance_m = 1.4\n'
    page = survey_sheet_html(own_sheet(parse(text)))
    assert "two places" in page
    drawn = " ".join(re.findall(r'paint-order="stroke">([A-Z ]+)</text>', page)).split()
    assert set(drawn) == {"B", "C"}


def test_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "build.toml").write_text(HEAD, encoding="utf-8")
    assert main(["survey-sheet", str(tmp_path), "--car", "pick-up"]) == 0
    page = (tmp_path / "out" / "survey-sheet.html").read_text(encoding="utf-8")
    assert "Survey sheet: pick-up" in page
    assert "survey-sheet.html" in capsys.readouterr().out
    (tmp_path / "build.toml").write_text(written(known(*KNOWN)), encoding="utf-8")
    assert main(["survey-sheet", str(tmp_path)]) == 0
    assert "Survey sheet: Invented" in (tmp_path / "out" / "survey-sheet.html").read_text(encoding="utf-8")
    with pytest.raises(SystemExit):
        main(["survey-sheet", str(tmp_path), "--car", "tank"])


def test_kinds_are_the_same_everywhere() -> None:
    assert SHELLS == KINDS == shell_kinds
    with pytest.raises(KeyError, match="tank"):
        generic_sheet("tank")


def test_the_drawing_of_the_frame_is_fresh() -> None:
    script = ROOT / "tools" / "draw_frame.py"
    space = runpy.run_path(str(script))
    assert (ROOT / "docs" / "survey-frame.svg").read_text(encoding="utf-8") == space["drawing"]()


def test_for_a_build_with_a_cabin_the_sheet_counts_in_the_cabins_axes() -> None:
    """Otherwise surveyed heads would stand where the cabin has none."""
    build = cabin_build()
    sheet = generic_sheet("estate", build)
    assert sheet.origin_m == (0.42, -HALF_M, 0.74)  # foot of the windscreen, left
    tables = tomllib.loads(survey_toml(sheet))["survey"]
    points = {row["name"]: row for row in tables["points"]}
    assert points["left dash corner"]["at_m"] == [0.42, -HALF_M, 0.74]
    plain = {row.name: row.at_m for row in generic_sheet("estate").points}
    for name, row in points.items():
        if "near_m" in row:
            moved = np.subtract(row["near_m"], plain[name])
            assert np.abs(moved - sheet.origin_m).max() < 0.011, name
