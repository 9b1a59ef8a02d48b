"""PDF from SVG: the paper asked for, fonts inside, the same bytes each time."""

from __future__ import annotations

import re
import zlib

import pytest

from cabinwright.drawings.diagram import PAGES_MM, Sheet, Text
from cabinwright.drawings.diagram_svg import sheet_svg
from cabinwright.drawings.pdf import page_size_mm, pdf_from_svg, pdf_from_typst

POINTS_PER_MM = 72.0 / 25.4


def svg(words: str = "Größe 5 mm² → Ω") -> str:
    return sheet_svg(
        Sheet("a & b", 420.0, 297.0, (Text((50.0, 50.0), words, 3.1), Text((50.0, 60.0), words, 3.1, bold=True)))
    )


def opened(pdf: bytes) -> str:
    """The file with its packed objects unpacked, as far as they are text."""
    streams = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", pdf, re.DOTALL)
    return "\n".join(part.decode("latin-1") for part in (pdf, *(_unpacked(stream) for stream in streams)))


def _unpacked(stream: bytes) -> bytes:
    try:
        return zlib.decompress(stream)
    except zlib.error:
        return b""


@pytest.mark.parametrize("paper", sorted(PAGES_MM))
@pytest.mark.parametrize("landscape", [False, True])
def test_the_page_is_the_paper(paper: str, landscape: bool) -> None:
    box = re.search(r"/MediaBox\s*\[([^]]+)\]", opened(pdf_from_svg([svg()], paper=paper, landscape=landscape)))
    assert box is not None
    size = tuple(float(part) / POINTS_PER_MM for part in box[1].split()[2:])
    assert size == pytest.approx(page_size_mm(paper, landscape=landscape), abs=0.05)
    assert (size[0] > size[1]) == landscape


def test_sizes_are_the_standards() -> None:
    """ISO 216 and ANSI/ASME Y14.1 (inches)."""
    assert page_size_mm("A4") == (210, 297) and page_size_mm("A3", landscape=True) == (420, 297)
    assert page_size_mm("Letter") == pytest.approx((8.5 * 25.4, 11 * 25.4))
    assert page_size_mm("Tabloid") == pytest.approx((11 * 25.4, 17 * 25.4))


def test_fonts_are_inside_and_every_page_is_there() -> None:
    text = opened(pdf_from_svg([svg(), svg("two"), svg("three")], title="A title"))
    assert len(re.findall(r"/Type\s*/Page\b", text)) == 3
    fonts = set(re.findall(r"/BaseFont\s*/([\w+-]+)", text))
    assert {name.split("+")[1] for name in fonts} == {"DejaVuSans", "DejaVuSans-Bold"}
    assert len(re.findall(r"/FontFile[23]", text)) == 2, "each font that is named is there"
    assert "A title" in text


def test_the_same_drawing_is_the_same_file() -> None:
    first = pdf_from_svg([svg()], title="x")
    assert first == pdf_from_svg([svg()], title="x")
    assert b"CreationDate" not in first
    assert first != pdf_from_svg([svg("other")], title="x")


def test_words_of_a_person_are_no_markup() -> None:
    made = pdf_from_typst('#sys.inputs.at("name")', {"name": "#panic() $ * _ \\ 100 %"})
    assert made.startswith(b"%PDF")


def test_what_is_no_drawing_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one page"):
        pdf_from_svg([])
    with pytest.raises(ValueError, match="no SVG"):
        pdf_from_svg(["words"])
    with pytest.raises(KeyError, match="A9"):
        pdf_from_svg([svg()], paper="A9")
