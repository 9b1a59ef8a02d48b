"""The page that compares places: self-contained, complete, the same bytes each time, and safe with any name."""

from __future__ import annotations

import re
from itertools import pairwise

import pytest

from cabinwright.build.document import Build
from cabinwright.handover.layout_page import layout_html
from cabinwright.stages.layout.result import LayoutResult
from cabinwright.stages.layout.study import run
from handover.html_check import Page
from stages.cabin_build import HEAD, PLACES, cabin_build, shell

EVIL = '<b>"x"</b> & $y$'
EXTRA = """
[[cabin.pillars]]
name = "left windscreen pillar"
side = "left"
corners_m = [
    [0.42, -0.72, 0.74], [0.5, -0.72, 0.74], [0.42, -0.64, 0.74], [0.95, -0.72, 1.18], [1.03, -0.72, 1.18], [0.95, -0.62, 1.18]
]
[[cabin.keep_outs]]
name = "airbag path of the right side"
kind = "airbag path"
corners_m = [[0.6, 0.72, 0.8], [0.9, 0.72, 0.8], [0.6, 0.5, 0.8], [0.9, 0.5, 0.8], [0.6, 0.72, 1.0], [0.9, 0.5, 1.0]]
[layout]
draws = 20
"""
PILLAR = PLACES.replace("looks = 4\n", 'looks = 4\npillar = "left windscreen pillar"\n', 1)
FEW = "\n[layout]\ndraws = 5\n"


def made(build: Build) -> tuple[Build, LayoutResult, str]:
    result = run(build)
    assert result is not None
    return build, result, layout_html(build, result)


@pytest.fixture(scope="module")
def whole() -> tuple[Build, LayoutResult, str]:
    return made(cabin_build(places=PILLAR, extra=EXTRA))


def sound(html: str) -> Page:
    """The page, once it has been found to be one."""
    page = Page(html)
    assert page.faults == []
    assert "@import" not in html
    assert re.findall(r"url\((?!#)", html) == []
    assert "nan" not in re.findall(r"[a-z]+", page.text.lower())
    return page


def test_well_formed_and_self_contained(whole: tuple[Build, LayoutResult, str]) -> None:
    page = sound(whole[2])
    assert page.headings[0] == 1
    assert page.headings.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(page.headings))
    drawings = [attributes for tag, attributes in page.tags if tag == "svg"]
    assert len(drawings) > 10
    for attributes in drawings:
        assert attributes.get("aria-hidden") == "true" or (attributes.get("role") == "img" and attributes["aria-label"])


def test_every_first_choice_is_named_at_the_top(whole: tuple[Build, LayoutResult, str]) -> None:
    _, result, html = whole
    top = Page(html[: html.index("<h2>Findings</h2>")]).text
    for role in ("coaxial", "subwoofer"):
        first = next(row for row in result.ranking if row.role == role)
        assert f"{' and '.join(first.places)}: first of 3" in top
        assert f"{100.0 * first.first_share:.0f} % of the draws" in top


def test_every_reason_and_finding_is_there(whole: tuple[Build, LayoutResult, str]) -> None:
    _, result, html = whole
    text = Page(html).text.replace("\u00a0", " ")
    assert any(item.severity == "stop" for item in result.findings), "otherwise this proves little"
    for item in result.findings:
        assert item.message.rstrip(".") in text
        assert item.remedy.rstrip(".") in text
    for row in result.ranking:
        for reason in row.reasons:
            assert reason.rstrip(".") in text


def test_figures_of_the_result_are_on_the_page(whole: tuple[Build, LayoutResult, str]) -> None:
    _, result, html = whole
    text = Page(html).text
    assert f"{result.speed_of_sound_m_s:.1f} m/s" in text
    assert result.view is not None
    for pod in result.view.pods:
        assert f"{pod.after.angle_deg:.1f}° with its pod" in text
    for pair in result.pairs:
        for heard in pair.seats.values():
            assert f"{1000.0 * heard.delay_s:.2f} ms on the {heard.delay_on}" in text
    assert result.low_frequency is not None
    assert f"{result.low_frequency.volume_m3:.2f} m³" in text
    for name, item in result.places.items():
        if item.low is not None:
            assert f"{item.low.gain_db['driver']:+.1f} dB".replace("-", "−") in text, name


def test_cautions_stand_on_every_page(whole: tuple[Build, LayoutResult, str]) -> None:
    text = Page(whole[2]).text
    for word in ("Airbags and their paths", "licensed", "local rules", "Rays and flat surfaces", "common practice"):
        assert word in text


def test_the_same_comparison_gives_the_same_bytes(whole: tuple[Build, LayoutResult, str]) -> None:
    build, result, html = whole
    assert layout_html(build, result) == html
    assert layout_html(*made(cabin_build(places=PILLAR, extra=EXTRA))[:2]) == html


def test_names_are_escaped_everywhere() -> None:
    evil = EVIL.replace('"', '\\"')
    places = (
        PILLAR.replace("left pillar", evil).replace("spare wheel bay", evil + "2").replace('"driver"', f'"{evil}3"')
    )
    places = places.replace("pillar trim", evil).replace("left windscreen pillar", evil + "4")
    text = HEAD.replace('"driver"', f'"{evil}3"').replace("invented cabin", evil).replace("invented estate", evil)
    text += shell(seat_back=False).replace("windscreen", evil) + places
    text += EXTRA.replace("left windscreen pillar", evil + "4").replace("airbag path of the right side", evil)
    from cabinwright.build.codec import parse

    html = made(parse(text))[2]
    page = sound(html)
    assert "<b>" not in html
    assert page.text.count(EVIL) > 10


@pytest.mark.parametrize(
    ("build", "there", "absent"),
    [
        (
            cabin_build(surfaces="", extra=FEW),  # no cabin at all
            ("Which place, and why", "Left and right together", "no surfaces of the cabin"),
            ("<h2>Below 200 Hz</h2>", "<h2>The driver's view</h2>"),
        ),
        (
            cabin_build(places="[[places]]" + PLACES.split("[[places]]")[1], extra=FEW),  # one place, no pair
            ("left pillar: the only choice", "What the head hears"),
            ("<h2>Left and right together</h2>", "<h2>Below 200 Hz</h2>"),
        ),
        (
            cabin_build(places="[[places]]" + PLACES.split("[[places]]")[7], extra=FEW),  # a sub place alone
            ("spare wheel bay: the only choice", "<h2>Below 200 Hz</h2>"),
            ("<h2>Left and right together</h2>", "<h2>What the head hears</h2>", "<h2>Off the axis</h2>"),
        ),
        (
            cabin_build(places="[[places]]".join(PLACES.split("[[places]]")[:7]), extra=FEW),  # no low places
            ("left door and right door", "<h2>Left and right together</h2>"),
            ("<h2>Below 200 Hz</h2>",),
        ),
    ],
)
def test_what_is_not_in_the_build_is_left_out(build: Build, there: tuple[str, ...], absent: tuple[str, ...]) -> None:
    html = made(build)[2]
    text = sound(html).text
    for words in there:
        assert words in (html if words.startswith("<") else text)
    for words in absent:
        assert words not in html


def test_one_place_and_one_seat() -> None:
    build = cabin_build(places="[[places]]" + PLACES.split("[[places]]")[1], extra=FEW)
    build = build.model_copy(update={"seats": build.seats[:1]})
    text = sound(made(build)[2]).text
    assert "1 place compared" in text
    assert "left pillar: the only choice" in text
