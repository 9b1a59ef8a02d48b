"""Outlines that a slip of the hand makes: told in words that lead to the slip."""

from __future__ import annotations

import pytest

from cabinwright.build.workshop import Panel, Perforation
from cabinwright.findings import Finding
from cabinwright.stages.workshop.outlines import shapes_of
from cabinwright.stages.workshop.parts import _shrunk


def told(outline: list[object]) -> Finding:
    found: list[Finding] = []
    panel = Panel.model_validate({"name": "cover", "sheet": "board", "outline": outline, "fillet_m": 0.0})
    assert shapes_of(panel, {}, found) is None
    (item,) = found
    return item


@pytest.mark.parametrize(
    ("outline", "words"),
    [
        ([[0, 0], [0.1, 0], [0.3, 0], [0.2, 0]], "holds no area"),
        (
            [[0, 0], {"at_m": [0.3, 0], "via_m": [0.3, 0]}, [0.3, 0.2], [0, 0.2]],
            "via_m is one of its own ends at 300.0, 0.0",
        ),
        ([[0, 0], [0.4, 0], [0.4, 1e-5], [0, 1e-5]], "a sliver, 0.010 mm"),
        ([[0, 0], [0.4, 0.2], [0.4, 0], [0, 0.2]], "crosses itself"),
    ],
)
def test_slips_are_told(outline: list[object], words: str) -> None:
    item = told(outline)
    assert item.code == "workshop.outline"
    assert words in item.message


def test_a_narrow_strip_is_no_sliver() -> None:
    found: list[Finding] = []
    panel = Panel.model_validate(
        {"name": "lip", "sheet": "board", "outline": [[0, 0], [0.4, 0], [0.4, 0.002], [0, 0.002]], "fillet_m": 0.0}
    )
    assert shapes_of(panel, {}, found) is not None
    assert not found


@pytest.mark.parametrize(("pitch", "codes"), [("5 mm", ["workshop.holes_shrunk"]), ("6 mm", [])])
def test_holes_that_the_web_makes_smaller_are_told(pitch: str, codes: list[str]) -> None:
    """Holes of 4 mm with a web of 2 mm need 6 mm."""
    found: list[Finding] = []
    _shrunk(Perforation.model_validate({"name": "f", "diameter_m": "4 mm", "pitch_m": pitch}), "panel", 0.002, found)
    assert [item.code for item in found] == codes
    assert [(item.value, item.limit) for item in found] == [(4.0, 3.0)] * len(codes)
