"""Outlines that a slip of the hand makes: told in words that lead to the slip."""

from __future__ import annotations

import pytest

from cabinwright.build.workshop import Panel
from cabinwright.findings import Finding
from cabinwright.stages.workshop.outlines import shapes_of


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
