"""The wiring on paper: self-contained, complete, the same bytes each time, and safe with any name."""

from __future__ import annotations

import re

import pytest

from cabinwright.build.codec import parse
from cabinwright.handover.documents import plan_documents
from cabinwright.handover.power_page import power_html
from cabinwright.pipeline import Results
from cabinwright.stages import power
from handover.html_check import Page
from stages.wired import CAR, HEAD, SUPPLY

EVIL = "<b>x</b> & $y$"


def made(text: str = CAR) -> str:
    build = parse(text)
    result = power.run(build)
    assert result is not None
    return power_html(build, result)


def test_the_page_stands_alone_and_is_whole() -> None:
    html = made()
    page = Page(html)
    assert page.faults == []
    assert page.headings[0] == 1 and all(b - a <= 1 for a, b in zip(page.headings, page.headings[1:], strict=False))
    for word in (
        "Before you begin",
        "Fuse chart",
        "Harness",
        "Cut list",
        "Commissioning",
        "Budget",
        "If one part fails",
    ):
        assert word in page.text
    assert made() == html, "the same build gives the same bytes"


def test_every_wire_fuse_load_and_promise_is_on_it() -> None:
    build, text = parse(CAR), Page(made()).text
    for row in (*build.wires, *build.fuses, *build.switches, *build.loads):
        assert row.name in text
    assert "boot lights burn only while the boot is open" in text and "holds" in text
    assert "The makers' instructions, local codes and licensed practice outrank every figure here" in text


def test_a_broken_promise_and_a_fuse_too_large_stand_out() -> None:
    wrong = made(CAR.replace('closed_when = {boot = "open"}', 'closed_when = {boot = "closed"}'))
    assert "broken</strong> with boot = closed, key = off" in wrong
    large = Page(made(CAR.replace("rating_a = 100", "rating_a = 300"))).text
    assert "is too large" in large and "amplifier feed" in large


def test_names_are_escaped() -> None:
    html = made(CAR.replace('"amplifier feed"', f'"{EVIL}"').replace("An invented car", EVIL))
    assert Page(html).faults == [] and EVIL not in html and "&lt;b&gt;x&lt;/b&gt; &amp; $y$" in html


@pytest.mark.parametrize("text", [HEAD + SUPPLY, CAR + '\n[[loads]]\nname = "lost"\nfrom = "nowhere"\ncurrent_a = 1\n'])
def test_a_build_with_little_in_it_has_a_page_too(text: str) -> None:
    html = made(text)
    assert Page(html).faults == [] and not re.search(r"\b(None|nan|inf)\b", Page(html).text)


def test_it_is_written_beside_the_plan_where_the_build_is_wired() -> None:
    build = parse(CAR)
    names = set(plan_documents(build, Results(power=power.run(build))))
    assert {"plan.json", "power.html"} < names
    assert set(plan_documents(build, Results())) == {"plan.json"}
