"""The picture of a floor: bands tile it, and hold what their levels say."""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from scipy.spatial import Delaunay
from shapely import MultiPoint, Point

from cabinwright.build.codec import parse
from cabinwright.drawings.floor_view import bands, floor_view
from cabinwright.stages import workshop
from stages.fitted import FLOOR, HEAD


def test_bands_of_a_cone_are_rings() -> None:
    """Height 1 − r on a disc: between two levels lies a ring of known area."""
    ring = [(r * math.cos(a), r * math.sin(a)) for r in np.linspace(0.0, 1.0, 41)[1:]
            for a in np.linspace(0.0, 2.0 * math.pi, 120, endpoint=False)]  # fmt: skip
    at = np.array([(0.0, 0.0), *ring])
    got = bands(at, 1.0 - np.hypot(*at.T), Delaunay(at).simplices, np.array([0.0, 0.25, 0.5, 1.0]))
    for area, (low, high) in zip(got, ((0.75, 1.0), (0.5, 0.75), (0.0, 0.5)), strict=True):
        exact = math.pi * (high**2 - low**2)
        assert area.area == pytest.approx(exact, rel=0.004)
        assert area.area != pytest.approx(1.02 * exact, rel=0.004)
    assert got[2].contains(Point(0.1, 0.1))
    assert sum(area.area for area in got) == pytest.approx(MultiPoint(at).convex_hull.area, rel=1e-4)


@pytest.mark.parametrize(
    "extra", ["", "edge = false\nsupports = [{from_m = [0, 0], to_m = [0, 0.5]}, {from_m = [0.9, 0.25]}]\n"]
)
def test_the_picture_is_well_formed_and_safe(extra: str) -> None:
    result = workshop.run(parse(HEAD + FLOOR.replace('panel = "lid"\n', f'panel = "lid"\n{extra}')))
    assert result is not None
    floor = result.floors["cargo floor"]
    text = floor_view('a <b> & "c"', floor, floor.cases["knee"], length=lambda metres: f"{1e3 * metres:.1f} mm")
    root = ET.fromstring(text)
    assert "a b  c" in root.attrib["aria-label"]
    paths = [item for item in root if item.tag.endswith("path") and item.get("fill", "none") != "none"]
    assert len(paths) == 8
    assert len({item.get("fill") for item in paths}) == 8
