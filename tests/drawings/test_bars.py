"""Bars: lengths in proportion on their scale, limits where they belong, red beyond them, words escaped."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import pytest

from cabinwright.drawings.bars import OVER, Bar, Group, bars_svg, meter_svg

SVG = "{http://www.w3.org/2000/svg}"


def drawn(*bars: Bar) -> ET.Element:
    return ET.fromstring(
        bars_svg([Group("a <cable> & more", bars)], low=-160.0, high=0.0, step=20.0, unit="dB", says='it "says"')
    )


def bar_rects(root: ET.Element) -> list[tuple[float, float, str]]:
    rows = [item.attrib for item in root.iter(f"{SVG}rect") if item.attrib["fill"] != "#fff"]
    return [(float(row["x"]), float(row["width"]), row["fill"]) for row in rows]


def test_lengths_are_in_proportion_and_a_limit_stands_at_its_own_value() -> None:
    root = drawn(Bar("a", -120.0, -80.0, ""), Bar("b", -80.0, -40.0, ""), Bar("c", 0.0, 0.0, ""))
    lengths = [width for _, width, _ in bar_rects(root)]
    assert lengths == pytest.approx([lengths[2] / 4.0, lengths[2] / 2.0, lengths[2]], abs=0.02)
    ticks = [
        float(re.match(r"M([\d.]+)", item.attrib["d"]).group(1))  # type: ignore[union-attr]
        for item in root.iter(f"{SVG}path")
        if item.attrib["stroke-width"] == ".6"
    ]
    start = bar_rects(root)[0][0]
    assert ticks[0] == pytest.approx(start + lengths[1], abs=0.02), (
        "−80 dB as a limit lies where −80 dB ends as a value"
    )
    assert ticks[2] == pytest.approx(start + lengths[2], abs=0.02)


def test_only_what_is_past_its_limit_is_red_and_nothing_leaves_the_scale() -> None:
    root = drawn(Bar("a", -80.0, -80.0, "even"), Bar("b", -79.0, -80.0, "over"), Bar("c", -400.0, -80.0, "nothing"))
    fills = [fill for _, _, fill in bar_rects(root)]
    assert [fill == OVER for fill in fills] == [False, True, False]
    widths = [width for _, width, _ in bar_rects(root)]
    assert 0.0 < widths[2] < 1.0 and max(widths) < 180.0
    assert root.attrib["aria-label"] == 'it "says"'
    assert "a <cable> & more" in [item.text for item in root.iter(f"{SVG}text")]


def test_a_meter_is_red_beyond_its_limit_and_dark_up_to_the_average() -> None:
    def rects(**given: float) -> list[tuple[float, str]]:
        root = ET.fromstring(meter_svg(**given))
        return [(float(item.attrib["width"]), item.attrib["fill"]) for item in root.iter("rect")]

    (full, _), (value, _), (average, dark), _ = rects(value=50.0, limit=100.0, average=25.0)
    assert value == pytest.approx(full / 2.0) and average == pytest.approx(full / 4.0) and dark != OVER
    assert rects(value=101.0, limit=100.0)[1][1] == OVER and rects(value=100.0, limit=100.0)[1][1] != OVER
    assert max(width for width, _ in rects(value=1e6, limit=1.0)) == 100.0
