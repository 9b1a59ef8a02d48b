"""The page of the boxes: self-contained, complete, the same bytes each time, and safe with any name."""

from __future__ import annotations

from cabinwright.build.codec import parse
from cabinwright.handover.documents import plan_documents
from cabinwright.handover.enclosure_page import enclosure_html
from cabinwright.pipeline import Results
from cabinwright.stages import enclosure
from handover.html_check import Page
from stages.boxed import HEAD, MODEL, box

VENTED = box("bay two", kind="vented", tuning_hz="32", port="{diameter_m = 0.1}")
EVIL = "<b>x</b> & $y$"


def made(text: str) -> str:
    build = parse(HEAD + MODEL + text)
    result = enclosure.run(build)
    assert result is not None
    return enclosure_html(build, result)


def test_the_page_stands_alone_and_is_whole() -> None:
    html = made(box() + VENTED)
    page = Page(html)
    assert page.faults == []
    assert page.headings[0] == 1 and all(b - a <= 1 for a, b in zip(page.headings, page.headings[1:], strict=False))
    for words in (
        "34.0 L",
        "41.6 Hz",
        "What holds it back",
        "Excursion",
        "Impedance",
        "Group delay",
        "What else would fit",
    ):
        assert words in html
    assert html.count("<svg") > 15
    assert html == made(box() + VENTED)


def test_names_are_escaped() -> None:
    html = made(box(EVIL))
    assert Page(html).faults == []
    assert "<b>x" not in html and "&lt;b&gt;x" in html


def test_it_is_written_where_there_are_boxes() -> None:
    build = parse(HEAD + MODEL + box())
    assert "enclosure.html" in plan_documents(build, Results(enclosure=enclosure.run(build)))
    assert "enclosure.html" not in plan_documents(build, Results())
