"""Drawings to scale, read back as XML: scale, direction of the axes, words, shades."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pytest

from cabinwright.drawings.picture import LOOKS, Cells, Disc, Picture, Stroke, Words
from cabinwright.drawings.picture_svg import SHADES, draw, shade_key

SVG = "{http://www.w3.org/2000/svg}"
PICTURE = Picture(
    "a square metre",
    (
        Stroke(np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0]]), "surface", closed=True),
        Stroke(np.array([[0.0, 0.0], [0.5, 0.5]]), "ray", arrow=True),
        Disc((0.25, 0.75), 0.1, "place"),
        Disc((0.5, 0.5), 0.0001, "bounce", least_mm=0.8),
        Words((0.5, 0.5), 'dash & "corner" <left>', anchor="start"),
    ),
    width_mm=108.0,
)


def _parsed(picture: Picture) -> ElementTree.Element:
    return ElementTree.fromstring(draw(picture))


def test_drawn_to_scale_with_up_upwards() -> None:
    assert PICTURE.mm_per_m == pytest.approx(100.0)
    root = _parsed(PICTURE)
    big, small = root.findall(f"{SVG}circle")
    assert (float(big.get("cx", "")), float(big.get("cy", "")), float(big.get("r", ""))) == (29.0, 29.0, 10.0)
    assert float(small.get("r", "")) == 0.8  # a speck is still seen
    outline = root.find(f"{SVG}path")
    assert outline is not None and outline.get("d") == "M4 104L104 104L104 4Z"
    assert root.get("viewBox") == "0 0 108 115"  # 100 mm, two borders and the bar
    assert "50 cm" in [text.text for text in root.findall(f"{SVG}text")]


def test_words_are_escaped_and_the_same_picture_is_the_same_text() -> None:
    assert 'dash & "corner" <left>' in [text.text for text in _parsed(PICTURE).findall(f"{SVG}text")]
    assert draw(PICTURE) == draw(PICTURE) != draw(replace(PICTURE, says="another"))
    assert _parsed(replace(PICTURE, says='a "b" <c>')).get("aria-label") == 'a "b" <c>'


def test_a_map_has_one_shade_for_each_step_and_leaves_out_what_is_unknown() -> None:
    x, y = np.array([0.25, 0.75]), np.array([0.25, 0.75])
    cells = Cells(x, y, np.array([[-20.0, -1.0], [np.nan, 5.0]]), steps=(-10.0, 0.0))
    paths = _parsed(Picture("map", (cells,), scale_bar_m=None)).findall(f"{SVG}path")
    assert [path.get("fill") for path in paths] == list(SHADES[:3])
    assert [path.get("d", "").count("z") for path in paths] == [1, 1, 1]
    assert len(ElementTree.fromstring(shade_key((-10.0, 0.0), "dB")).findall(f"{SVG}rect")) == 3


def _luminance(colour: str) -> float:
    """Relative luminance after WCAG 2.2."""
    parts = [int(colour[k : k + 2], 16) / 255.0 for k in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return float(np.dot([0.2126, 0.7152, 0.0722], linear))


def test_every_line_stands_out_and_shades_darken_step_by_step() -> None:
    for name, look in LOOKS.items():
        if look.width_pt and look.stroke != "#ffffff":
            assert re.fullmatch("#[0-9a-f]{6}", look.stroke), name
            assert 1.05 / (_luminance(look.stroke) + 0.05) >= 3.0, name
    light = [_luminance(shade) for shade in SHADES]
    assert all(a > 1.2 * b for a, b in pairwise(light))
