"""The workshop's page and files: whole HTML, every file listed and written, nothing for a part under a stop."""

from __future__ import annotations

import csv
import io
import json
import sys
from pathlib import Path

import pytest

from cabinwright.build.codec import parse
from cabinwright.errors import OutputError
from cabinwright.handover.documents import plan_documents
from cabinwright.handover.workshop_page import inches, millimetres
from cabinwright.pipeline import design
from cabinwright.session import Session
from handover.html_check import Page

sys.path.insert(0, str(Path(__file__).parents[2] / "demo"))
from workshop import WORKSHOP

HEAD = (
    'schema = 1\ntitle = "Invented <estate>"\n[vehicle]\nname = "car"\ndriving_side = "left"\n'
    '[[speakers]]\nname = "subwoofer"\nrole = "subwoofer"\nside = "centre"\n'
)
TEXT = HEAD + WORKSHOP
EVIL = (
    '[[panels]]\nname = "=HYPERLINK(1)"\nsheet = "birch plywood 9 mm"\nsize_m = [0.3, 0.2]\n'
    '[[panels]]\nname = "Ärmel/../x"\nsheet = "birch plywood 9 mm"\nsize_m = [0.3, 0.2]\n'
    '[[panels]]\nname = "armel x"\nsheet = "birch plywood 9 mm"\nsize_m = [0.3, 0.2]\n'
)


def documents(text: str) -> dict[str, str | bytes]:
    build = parse(text)
    return plan_documents(build, design(build, None, lambda what, share: None))


def test_the_page_is_whole_and_every_listed_file_is_written() -> None:
    made = documents(TEXT)
    page = made["workshop.html"]
    assert isinstance(page, str)
    seen = Page(page)
    assert seen.faults == []
    plan = json.loads(made["plan.json"])["workshop"]
    assert set(plan["files"]) == {name for name in made if name.startswith("workshop/")} - {
        "workshop/assembly.pdf",
        "workshop/assembly.txt",
        "workshop/cut-list.csv",
        "workshop/parts-list.csv",
    }
    assert "Invented &lt;estate&gt;" in page
    for word in ("Acrylic", "dust", "Lasers", "hydrogen chloride"):
        assert word in page
    assert all(name in page for name in plan["files"])
    face = made["workshop/cargo-cover-dark-face.svg"]
    assert isinstance(face, str)
    assert "chips and cracks" in face  # the caution stands in the file itself
    assert made == documents(TEXT)


def test_no_file_for_a_part_under_a_stop() -> None:
    made = documents(TEXT.replace("length_m = 1.0\nwidth_m = 0.6", "length_m = 0.6\nwidth_m = 0.6"))
    assert not any("mesh" in name for name in made)
    assert "workshop/cargo-cover-dark-face.dxf" in made
    page = made["workshop.html"]
    assert isinstance(page, str)
    assert "No file was written" in page
    plan = json.loads(made["plan.json"])["workshop"]
    assert plan["panels"]["cargo cover"]["parts"]["cargo cover, mesh"]["refused"] == ["workshop.no_room"]


def test_names_of_persons_become_safe_files_and_cells() -> None:
    made = documents(TEXT + EVIL)
    names = [name for name in made if name.startswith("workshop/") and name.endswith(".dxf")]
    assert {"workshop/hyperlink-1.dxf", "workshop/armel-x.dxf", "workshop/armel-x-2.dxf"} <= set(names)
    text = made["workshop/cut-list.csv"]
    assert isinstance(text, str)
    rows = list(csv.reader(io.StringIO(text.removeprefix("\ufeff"))))
    assert "'=HYPERLINK(1)" in {row[0] for row in rows}


def test_files_of_an_earlier_plan_are_taken_away(tmp_path: Path) -> None:
    build = tmp_path / "build.toml"
    build.write_text(TEXT, encoding="utf-8")
    Session.open(tmp_path).plan()
    folder = tmp_path / "out" / "workshop"
    (folder / "mine.dxf").write_text("kept", encoding="utf-8")
    assert (folder / "cargo-cover-mesh.dxf").is_file()
    build.write_text(TEXT.replace("length_m = 1.0\nwidth_m = 0.6", "length_m = 0.6\nwidth_m = 0.6"), encoding="utf-8")
    Session.open(tmp_path).plan()
    assert not (folder / "cargo-cover-mesh.dxf").exists()
    assert (folder / "cargo-cover-carrier.dxf").is_file()
    assert (folder / "mine.dxf").read_text(encoding="utf-8") == "kept"


NARROW = TEXT.replace("length_m = 1.0\nwidth_m = 0.6", "length_m = 0.6\nwidth_m = 0.6")


def test_a_file_that_cannot_be_taken_away_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    build, folder = tmp_path / "build.toml", tmp_path / "out" / "workshop"
    build.write_text(TEXT, encoding="utf-8")
    Session.open(tmp_path).plan()
    build.write_text(NARROW, encoding="utf-8")
    plain = Path.unlink

    def held(path: Path, missing_ok: bool = False) -> None:
        if path.name == "cargo-cover-mesh.dxf":
            raise PermissionError(13, "in use")
        plain(path, missing_ok=missing_ok)

    with monkeypatch.context() as patch:
        patch.setattr(Path, "unlink", held)
        with pytest.raises(OutputError, match=r"cargo-cover-mesh\.dxf \(in use\).*Do not cut from it"):
            Session.open(tmp_path).plan()
    assert "cargo-cover-mesh.dxf" in json.loads((folder / "written.json").read_text(encoding="utf-8"))
    Session.open(tmp_path).plan()
    assert not (folder / "cargo-cover-mesh.dxf").exists()


def test_without_its_list_a_stale_cut_file_is_named_and_left(tmp_path: Path) -> None:
    build, folder = tmp_path / "build.toml", tmp_path / "out" / "workshop"
    build.write_text(TEXT, encoding="utf-8")
    Session.open(tmp_path).plan()
    (folder / "written.json").unlink()
    (folder / "mine.dxf").write_text("kept", encoding="utf-8")
    build.write_text(NARROW, encoding="utf-8")
    results, _ = Session.open(tmp_path).plan()
    assert results.workshop is not None
    found = [item.where for item in results.workshop.findings if item.code == "workshop.stale_file"]
    assert {"workshop/cargo-cover-mesh.dxf", "workshop/cargo-cover-mesh.svg"} <= set(found)
    assert "workshop/mine.dxf" not in found
    assert "workshop.stale_file" in (tmp_path / "out" / "plan.json").read_text(encoding="utf-8")


def test_files_of_others_go_through_the_whole_plan(tmp_path: Path) -> None:
    wave = '<svg xmlns="http://www.w3.org/2000/svg" width="50mm" height="20mm" viewBox="0 0 100 40">{}</svg>'
    (tmp_path / "wave.svg").write_text(wave.format('<path d="M0 20C20 0 40 40 60 20"/>'), encoding="utf-8")
    (tmp_path / "box.svg").write_text(wave.format('<rect width="100" height="40" rx="8"/>'), encoding="utf-8")
    sheet = 'sheet = "clear acrylic 5 mm"\n'
    motif = '[[panels.motifs]]\nname = "m"\nat_m = [0.025, -0.01]\nwidth_m = 0.02\nfile = "wave.svg"\n'
    text = f'[[panels]]\nname = "traced"\n{sheet}file = "box.svg"\n{motif}[[panels]]\nname = "open"\n{sheet}file = "wave.svg"\n'
    (tmp_path / "build.toml").write_text(TEXT + text, encoding="utf-8")
    results, _ = Session.open(tmp_path).plan()
    assert results.workshop is not None
    (part,) = results.workshop.panels["traced"].parts
    assert part.size_m == pytest.approx((0.05, 0.02), abs=1e-6)
    assert [line.operation for line in part.lines] == ["mark"]
    assert "open" not in results.workshop.panels
    assert "open by 30.000 mm" in next(item.message for item in results.workshop.findings if item.severity == "stop")


@pytest.mark.parametrize(
    ("length_m", "metric", "us"),
    [
        (0.0254, "25.4 mm", "1 in"),
        (0.365125, "365.1 mm", "14 3/8 in"),
        (0.003175, "3.2 mm", "1/8 in"),
        (float("inf"), "–", "–"),
    ],
)
def test_lengths_in_words(length_m: float, metric: str, us: str) -> None:
    assert (millimetres(length_m), inches(length_m)) == (metric, us)
