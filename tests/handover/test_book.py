"""The book read back from its PDF: every chapter in every book, bookmarks, tags, fonts; names stay words; the same bytes."""

from __future__ import annotations

import hashlib
import re
import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from cabinwright.build.codec import parse
from cabinwright.handover.book import Given, book_pdf, summary_pdf
from cabinwright.handover.book.contents import CHAPTERS, contents, numbered
from cabinwright.handover.book.owner import on_words
from cabinwright.pipeline import Results, design, refused
from cabinwright.session import Session
from cabinwright.stages import power
from cabinwright.stages.power.states import States
from handover import invented
from handover.pdf_check import Pdf, spoken_text
from handover.qr import modules, text_of
from stages.wired import CAR

DEMO = Path(__file__).parents[2] / "demo" / "build"
EVIL = 'a #panic("no") *b* _c_ $y$ @d <e> \\ ] {{ z }} & "f" [[g]]'
NEEDS = {"power": "needs [supply]", "tuning": "needs recordings", "signal": "needs [[sources]]"}


def bare() -> Given:
    """A build of which nothing was worked out."""
    return Given.of(invented.build(), Results(skipped=NEEDS))


def tuned() -> Given:
    """A tune, its recordings and their verification, without anything electrical."""
    result = invented.tune()
    return Given.of(
        invented.build(),
        Results(tuning=result, skipped={"power": NEEDS["power"], "signal": NEEDS["signal"]}),
        recordings=invented.responses(),
        verification=invented.verification(),
        loaded="another",
    )


def wired(text: str = CAR) -> Given:
    """An electrical system, without any sound."""
    build = parse(text)
    return Given.of(build, Results(power=power.run(build), skipped={"tuning": NEEDS["tuning"]}))


def words_of(given: Given) -> str:
    """Every word that the template is given, one blank between."""
    found: list[str] = []

    def collect(value: object, key: str = "") -> None:
        if isinstance(value, dict):
            for name, item in value.items():
                collect(item, name)
        elif isinstance(value, list | tuple):
            for item in value:
                collect(item, key)
        elif isinstance(value, str) and key not in ("svg", "qr"):
            found.append(value)

    for part in contents(given):
        collect(list(part.chapters))
    return " ".join(found)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's book, written as a person has it written."""
    folder = tmp_path_factory.mktemp("demo") / "build"
    shutil.copytree(DEMO, folder, ignore=shutil.ignore_patterns("out"))
    Session.open(folder).book()
    return folder / "out"


@pytest.mark.parametrize("make", [bare, tuned, wired])
def test_every_chapter_stands_in_every_book_under_its_number(make: object) -> None:
    assert callable(make)
    chapters = [chapter for part in contents(make()) for chapter in part.chapters]
    assert tuple(chapter["key"] for chapter in chapters) == CHAPTERS
    assert [chapter["number"] for chapter in chapters] == [str(number) for number in range(1, len(CHAPTERS) + 1)]
    for chapter in chapters:
        assert chapter["blocks"] or chapter["sections"], chapter["key"]
        assert all(section["blocks"] for section in chapter["sections"]), chapter["key"]


def test_what_was_skipped_says_in_one_line_what_it_needs() -> None:
    said = words_of(bare())
    for need in NEEDS.values():
        assert f"Not in this book: it {need}." in said
    chapters = {chapter["key"]: chapter for part in contents(bare()) for chapter in part.chapters}
    for key in ("wiring", "fuses", "harness", "settings", "presets", "controls", "bypass", "labels"):
        (block,) = chapters[key]["blocks"]
        assert block["kind"] == "missing" and len(block["words"]) == 1, key


def test_what_stopped_says_why() -> None:
    results = Results(skipped={}, stopped={"power": (refused("power", "the battery is nowhere"),)})
    assert "Not worked out: " in words_of(Given.of(invented.build(), results))
    assert "the battery is nowhere" in words_of(Given.of(invented.build(), results))


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_demo_and_both_papers_can_be_read_without_eyes(demo: Path, paper: str) -> None:
    content = (demo / "book.pdf").read_bytes() if paper == "A4" else book_pdf(wired(), paper=paper)
    pdf = Pdf(content)
    assert pdf.faults() == []
    assert b"/Suspects" not in content  # poppler warns of it even where it is false
    assert {"LibertinusSerif-Regular", "DejaVuSans", "DejaVuSans-Bold"} <= pdf.fonts
    box = re.search(rb"/MediaBox\s*\[([^]]+)\]", content)
    assert box is not None
    height_mm = float(box[1].split()[3]) / 72.0 * 25.4
    assert height_mm == pytest.approx({"A4": 297.0, "Letter": 279.4}[paper], abs=0.05)


def test_a_fault_of_the_file_is_seen() -> None:
    content = book_pdf(tuned())
    assert Pdf(content).faults() == []
    assert Pdf(content.replace(b"/Alt(", b"/Xlt(")).faults() != []
    assert Pdf(content.replace(b"/FontFile3", b"/FontFile9")).faults() == ["a font is not inside"] * content.count(
        b"/FontFile3"
    )
    assert Pdf(content.replace(b"<pdfuaid:part>1", b"<pdfuaid:part>0")).faults() != []
    assert Pdf(content.replace(b"/StructTreeRoot", b"/StructTreeRoad")).faults() != []


def test_bookmarks_are_the_contents(demo: Path) -> None:
    """Parts, chapters and sections in their order, each leading to a page."""
    found = Pdf((demo / "book.pdf").read_bytes()).bookmarks()
    assert [words for depth, words in found if depth == 0] == ["For the owner", "For the next technician"]
    chapters = [words for depth, words in found if depth == 1]
    assert [words.split()[0] for words in chapters] == [str(number) for number in range(1, len(CHAPTERS) + 1)]
    chapter = ""
    for depth, words in found:
        chapter = words.split()[0] if depth == 1 else chapter
        assert depth < 2 or words.startswith(f"{chapter}."), words


def test_the_demo_has_nothing_missing_that_it_could_have(demo: Path, tmp_path: Path) -> None:
    text = spoken_text((demo / "book.pdf").read_bytes(), tmp_path)
    if text is None:
        pytest.skip("pdftotext is not installed")
    assert "Contents" in text and "Wiring diagram, sheet 1" in text
    for words in (
        "boot lamps burn only while the boot is open",
        "F1",
        "same rating only",
        "Turn the service switch in the boot to on",
        "insert of the sail panel",
        "held against settings",
        "Linkwitz-Riley",
        "spare-wheel bay",
        "no calibration stated",
        "right belt anchor",
        "None: nothing that was found has been answered for",
        "Where a voice stands",
        "Differences between settings mean more than the degrees themselves",
    ):
        assert words in text, words


def test_figures_are_those_of_the_report(demo: Path) -> None:
    """The same makers give the same words for who cannot see them."""
    spoken = Pdf((demo / "book.pdf").read_bytes()).figures
    for part in (
        "Wiring diagram, sheet 1",
        "Level of the left side against frequency",
        "from the front",
        "Where a voice in the middle stands, from above",
        "Up to the processor",
    ):
        assert any(part in words for words in spoken), part


def test_the_same_build_gives_the_same_bytes_whatever_the_order_of_hashes(tmp_path: Path) -> None:
    code = (
        "import sys; from handover.test_book import wired, tuned; from cabinwright.handover.book import book_pdf; "
        "import hashlib; print(hashlib.sha256(book_pdf(wired())).hexdigest(), hashlib.sha256(book_pdf(tuned())).hexdigest())"
    )
    runs = [
        subprocess.run(
            [sys.executable, "-c", code],
            env={"PYTHONHASHSEED": seed, "PYTHONPATH": str(Path(__file__).parents[1]), "MPLCONFIGDIR": str(tmp_path)},
            capture_output=True,
            text=True,
            check=True,
        ).stdout.split()
        for seed in ("1", "2")
    ]
    assert runs[0] == runs[1] and len(runs[0]) == 2
    assert hashlib.sha256(book_pdf(wired(CAR.replace("boot", "lid")))).hexdigest() != runs[0][0]


def test_names_of_strangers_are_words_wherever_they_stand(tmp_path: Path) -> None:
    """A title, loudspeakers and a connector that would be markup of Typst, XML or a template are read back as written."""
    names = {name: f"{EVIL} {name}" for name in ("left tweeter", "subwoofer")}
    build = invented.build(EVIL, names)
    given = Given.of(
        build,
        Results(tuning=invented.tune(names), skipped={}),
        recordings=invented.responses(names),
        verification=invented.verification(),
    )
    content = book_pdf(given)
    pdf = Pdf(content)
    assert pdf.faults() == []
    titles = [words for _, words in pdf.bookmarks()]
    assert any(words.endswith(f"{EVIL} subwoofer") for words in titles)
    text = spoken_text(content, tmp_path)
    if text is not None:
        assert EVIL in text
        page = spoken_text(summary_pdf(given), tmp_path)
        assert page is not None and EVIL in page


def test_a_connector_with_such_a_name_is_a_section_of_its_own() -> None:
    evil = EVIL.replace("\\", "\\\\").replace('"', '\\"')
    text = CAR + f'\n[[connectors]]\nname = "{evil}"\n[[connectors.pins]]\npin = 1\nuse = "{evil}"\n'
    pdf = Pdf(book_pdf(wired(text)))
    assert pdf.faults() == []
    assert any(words.endswith(EVIL) for depth, words in pdf.bookmarks() if depth == 2)


def test_signs_that_our_fonts_lack_are_no_mistake() -> None:
    build = invented.build("旅行车 🚗 \u200f")
    assert Pdf(book_pdf(Given.of(build, Results(skipped=NEEDS)))).pages > 4


def test_every_label_leads_to_a_section_that_is_there() -> None:
    given = wired()
    chapters = [chapter for part in contents(given) for chapter in part.chapters]
    titles = {f"chapter {chapter['number']}": chapter["key"] for chapter in chapters}
    titles |= {f"section {one['number']}": one["key"] for chapter in chapters for one in chapter["sections"]}
    (tags,) = (block["tags"] for chapter in chapters for block in chapter["blocks"] if block["kind"] == "tags")
    assert len(tags) == 1 + len(given.build.fuses) + len(given.build.connectors) + len(given.build.loads)
    for tag in tags:
        read = text_of(modules(tag["qr"])).splitlines()
        assert read[0] == f"{tag['number']} {tag['name']}"[:48]
        where = next(line.removeprefix("Book: ") for line in read if line.startswith("Book: "))
        assert titles[where] == tag["to"] and where.endswith(f" {tag['section']}")
        assert all(len(line.encode()) <= 48 for line in read)


def test_a_reference_that_leads_nowhere_is_our_mistake() -> None:
    with pytest.raises(KeyError, match="nowhere"):
        numbered({"words": [{"to": "nowhere"}]}, {"fuses": "chapter 10"})


def test_the_summary_is_one_page_however_much_there_is(demo: Path) -> None:
    pdf = Pdf((demo / "summary.pdf").read_bytes())
    assert pdf.pages == 1 and pdf.faults() == []
    long = "a very long name of a loudspeaker that nobody would ever print on a single line of a page "
    many = invented.build(long.strip(), {name: long + name for name in invented.PARTS})
    assert Pdf(summary_pdf(Given.of(many, Results(skipped=NEEDS)), paper="Letter")).pages == 1


def test_only_the_summary_where_only_that_is_asked_for(tmp_path: Path) -> None:
    (tmp_path / "build.toml").write_text(CAR, encoding="utf-8", newline="\n")
    (path,) = Session.open(tmp_path).book(summary_only=True)
    assert path.name == "summary.pdf" and [item.name for item in (tmp_path / "out").iterdir()] == ["summary.pdf"]


def test_when_a_part_is_on_is_said_exactly_or_not_at_all() -> None:
    """By hand: lamps that need an open boot and their switch; then the same with one more combination."""
    build = parse(CAR)
    result = power.run(build)
    assert result is not None
    load = next(iter(result.loads.values()))
    states = States(tuple(result.states.variables))

    def said(on: np.ndarray) -> str:
        return on_words(replace(load, on=on), states)

    first, second = states.variables[:2]
    both = states.where({first.name: first.values[0], second.name: second.values[1]})
    assert said(both) == f"when {first.name} is {first.values[0]} and {second.name} is {second.values[1]}"
    either = states.where_any([{first.name: first.values[0]}, {second.name: second.values[1]}])
    assert said(either) == "in some states of the car"
    assert said(np.zeros_like(both)) == "never" and said(np.ones_like(both)) == "always"


def test_an_engine_that_gives_every_part_gives_every_chapter() -> None:
    """The pipeline's own results, without recordings."""
    build = parse((DEMO / "build.toml").read_text(encoding="utf-8"))
    given = Given.of(build, design(build, None, lambda what, share: None))
    said = words_of(given)
    assert "Not in this book: it needs channels, microphone_positions and recordings of every channel." in said
    assert "Scan-tool bypass" in said and "yes, in all" in said
