"""``cabinwright layout``: what it says and writes, and every way in which a person or a disk can stop it."""

from __future__ import annotations

import os
import re
import shlex
import tomllib
from pathlib import Path

import numpy as np
import pytest

from cabinwright.build.codec import parse
from cabinwright.build.document import Build
from cabinwright.cli.main import main
from cabinwright.stages.layout.errors import FORGIVEN_DB, SHIFTS_M, TURNS_DEG, aims_within
from cabinwright.stages.layout.heard import BANDS, EARLY_S
from cabinwright.stages.layout.low import CROSSFADE_HZ, GAIN_HZ, LEAK_HZ, VALID_HZ
from cabinwright.stages.layout.ranking import ALIKE
from cabinwright.stages.layout.reasons import hertz
from cabinwright.tables import OCTAVES_HZ
from handover.html_check import Page
from stages.cabin_build import HEAD, PLACES, cabin_text

AIRBAG = """
[[cabin.keep_outs]]
name = "side airbag path"
kind = "airbag path"
corners_m = [[0.6, -0.72, 0.8], [0.9, -0.72, 0.8], [0.6, -0.5, 0.8], [0.9, -0.5, 0.8], [0.6, -0.72, 1.0], [0.9, -0.5, 1.0]]
[layout]
draws = 20
"""
DOCS = Path(__file__).parents[2] / "docs"
GUIDE = (DOCS / "layout.md").read_text(encoding="utf-8")
THEORY = GUIDE + (DOCS / "theory" / "layout.md").read_text(encoding="utf-8")
EARLIER = "what an earlier run wrote"


def folder(tmp_path: Path, text: str) -> Path:
    made = tmp_path / "car"
    (made / "out").mkdir(parents=True)
    (made / "build.toml").write_text(text, encoding="utf-8")
    (made / "out" / "layout.html").write_text(EARLIER, encoding="utf-8")
    return made


def run(capsys: pytest.CaptureFixture[str], build: Path) -> tuple[int, str, str]:
    capsys.readouterr()
    code = main(["layout", str(build)])
    said = capsys.readouterr()
    assert "Traceback" not in said.out + said.err
    return code, said.out, said.err


def test_first_choices_findings_and_what_to_do_next(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    build = folder(tmp_path, cabin_text(extra=AIRBAG))
    before = (build / "build.toml").read_bytes()
    code, out, err = run(capsys, build)
    assert code == 0
    assert re.search(r"^  stop +left pillar: .*side airbag path.* cannot be waived", out, re.MULTILINE)
    roles = re.findall(r"^  (coaxial|subwoofer) +(.+) \(of 3, first in (\d+) % of 20 draws\)$", out, re.MULTILINE)
    assert [role for role, _, _ in roles] == ["coaxial", "subwoofer"]
    assert "left pillar" not in roles[0][1]  # what stands in an airbag's way is no first choice
    page = build / "out" / "layout.html"
    assert f"open {page}" in out
    assert f'Next: keep a place with  cabinwright accept {build} "NAME OF THE PLACE"' in out
    assert err.splitlines() == ["  hearing places", "  drawing"]
    text = Page(page.read_text(encoding="utf-8")).text
    for _, names, _ in roles:
        assert names in text
    assert (build / "build.toml").read_bytes() == before
    assert [item.name for item in (build / "out").iterdir()] == ["layout.html"]


def test_one_place_for_a_role_is_no_contest(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    one = '[[places]]\nname = "middle"\nrole = "centre"\nside = "centre"\nposition_m = [0.5, 0.0, 0.76]\n'
    code, out, _ = run(capsys, folder(tmp_path, cabin_text(places=one)))
    assert code == 0
    assert re.search(r"^  centre +middle \(of 1\)$", out, re.MULTILINE)


def test_the_only_place_in_an_airbags_way_is_no_choice(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nobody reads a place in an airbag's way as the one to take, neither here nor on the page."""
    one = '[[places]]\nname = "left pillar"\nrole = "tweeter"\nside = "left"\nposition_m = [0.72, -0.62, 0.9]\n'
    build = folder(tmp_path, cabin_text(places=one, extra=AIRBAG))
    code, out, _ = run(capsys, build)
    assert code == 0
    assert re.search(r"^  tweeter +none: left pillar stands where nothing may: side airbag path$", out, re.MULTILINE)
    text = Page((build / "out" / "layout.html").read_text(encoding="utf-8")).text
    assert "the only choice" not in text and "none: left pillar stands where nothing may" in text


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (cabin_text(places=""), ("no [[places]] to compare", "docs/layout.md")),
        (
            HEAD.split("[[seats]]")[0] + PLACES.replace('aim = "driver"\n', ""),
            ("no [[seats]]", "heads are"),
        ),
        (cabin_text().replace('aim = "driver"', 'aim = "drivr"', 1), ("drivr", '"driver"')),
        (cabin_text().replace('role = "coaxial"', 'role = "horn"', 1), ('places["left pillar"].role', "tweeter")),
        (
            cabin_text().replace("radius_m = 0.035", 'radius_m = "3 stone"', 1),
            ('places["left pillar"].radius_m', "stone"),
        ),
        (cabin_text().replace("radius_m = 0.035", 'polar = "horn.txt"', 1), ("horn.txt", "no such file")),
    ],
)
def test_what_a_person_can_put_right(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, words: tuple[str, ...]
) -> None:
    build = folder(tmp_path, text)
    code, out, err = run(capsys, build)
    assert code == 2, err
    assert out == ""
    for word in words:
        assert word in err
    assert (build / "out" / "layout.html").read_text(encoding="utf-8") == EARLIER


def test_a_page_that_cannot_be_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """As on a disk that is write-protected: whoever runs the tests may well be allowed everything."""
    build = folder(tmp_path, cabin_text(extra="\n[layout]\ndraws = 0\n"))

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied", "layout.html")

    monkeypatch.setattr(os, "replace", refuse)
    monkeypatch.setattr(Path, "replace", refuse)
    code, _, err = run(capsys, build)
    assert code == 2, err
    assert "layout.html" in err
    assert (build / "out" / "layout.html").read_text(encoding="utf-8") == EARLIER
    assert [item.name for item in (build / "out").iterdir()] == ["layout.html"]


def test_out_in_place_of_a_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    build = tmp_path / "car"
    build.mkdir()
    (build / "build.toml").write_text(cabin_text(extra="\n[layout]\ndraws = 0\n"), encoding="utf-8")
    (build / "out").write_text(EARLIER, encoding="utf-8")
    code, _, err = run(capsys, build)
    assert code == 2, err
    assert "out" in err
    assert (build / "out").read_text(encoding="utf-8") == EARLIER


def blocks(kind: str) -> list[str]:
    return [
        re.sub(r"^ {3}", "", text, flags=re.MULTILINE) for text in re.findall(rf"```{kind}\n(.*?)```", GUIDE, re.DOTALL)
    ]


def test_the_guides_commands_do_what_it_says(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    lines = [line.removeprefix("$ cabinwright ") for text in blocks("console") for line in text.splitlines()]
    assert {"new", "layout", "plan", "accept"} == {line.split()[0] for line in lines}
    for line in lines:
        assert main(shlex.split(line)) == 0, f"{line}\n{capsys.readouterr().err}"
    assert "Which place, and why" in (tmp_path / "next-van" / "out" / "layout.html").read_text(encoding="utf-8")
    assert '"ranking"' in (tmp_path / "next-van" / "out" / "plan.json").read_text(encoding="utf-8")
    build = tomllib.loads((tmp_path / "next-van" / "build.toml").read_text(encoding="utf-8"))
    assert {"left door", "right door"} <= {row["name"] for row in build["speakers"]}


def test_the_guides_tables_are_a_build() -> None:
    cabin, weights = blocks("toml")
    build = parse(HEAD + cabin + weights)
    assert isinstance(build, Build)
    assert build.places[0].aim_limit_deg == 20.0
    assert build.layout.weights.irreversible == tomllib.loads(weights)["layout"]["weights"]["irreversible"]


def test_the_guide_states_the_figures_that_are_used() -> None:
    """A limit that is changed in one place only misleads whoever trusts the other."""
    rows = re.findall(r"^\| ([a-z, ]+) \| ([\d.]+(?: k?Hz)?) to ([\d.]+ k?Hz) \|$", THEORY, re.MULTILINE)
    told = {role: (low, high) for roles, low, high in rows for role in roles.split(", ")}
    for role, octaves in BANDS.items():
        if role != "subwoofer":
            low, high = (hertz(float(np.asarray(OCTAVES_HZ)[octaves][end])) for end in (0, -1))
            short = low.split()[0] if low.split()[1] == high.split()[1] else low
            assert told.pop(role) == (short, high)
    assert told == {}
    for words in (
        f"within {1000 * EARLY_S:.0f} ms",
        f"Between {CROSSFADE_HZ[0]:.0f} and {CROSSFADE_HZ[1]:.0f} Hz",
        f"mean from {GAIN_HZ[0]:.0f} to {GAIN_HZ[1]:.0f} Hz",
        f"a leak below {LEAK_HZ:.0f} Hz",
        f"below {VALID_HZ:.0f} Hz",
        f"costs no more than {FORGIVEN_DB:.0f} dB",
        f"(to {TURNS_DEG[-1]:.0f}°)",
        f"(to {1000 * SHIFTS_M[-1]:.0f} mm)",
        f"of {len(aims_within(np.array([0.0, 0.0, 1.0]), 20.0))} directions",
        f"less than {ALIKE['sound']} dB in sound and {ALIKE['view']}° of view",
    ):
        assert words in THEORY, words
