"""Ways of wires against Shapely's distances, which know nothing of ours: a box upright in space is its plan times its height."""

from __future__ import annotations

import pytest
from shapely.geometry import LineString, box

from cabinwright.stages import power
from stages.wired import car

LEVEL = 0.5
VOLUME = """
[cabin]
[[cabin.keep_outs]]
name = "side airbag"
kind = "{kind}"
corners_m = [[1, 0, 0], [2, 0, 0], [2, 1, 0], [1, 1, 0], [1, 0, 1], [2, 0, 1], [2, 1, 1], [1, 1, 1]]
"""
FEED = "length_m = 5.2\n"


def found(way: list[tuple[float, float]], kind: str = "airbag path") -> dict[str, object]:
    """Findings on the feed's way, laid level at half the volume's height."""
    route = [[x, y, LEVEL] for x, y in way]
    result = power.run(car((FEED, f"{FEED}route_m = {route}\n"), extra=VOLUME.format(kind=kind)))
    assert result is not None
    return {item.code: item.value for item in result.findings if item.code.startswith("power.wire_")}


@pytest.mark.parametrize(
    "way",
    [
        [(0.0, -0.5), (3.0, -0.005)],
        [(0.0, -0.5), (3.0, -0.5)],
        [(0.0, 0.5), (0.4, -0.2), (2.5, 1.5)],
        [(0.0, 0.7), (0.95, 0.5), (0.0, 0.2)],
        [(0.9, 1.2), (0.995, 0.5), (0.5, -0.2)],
    ],
)
def test_a_wire_in_an_airbags_way_is_a_stop(way: list[tuple[float, float]]) -> None:
    gap_m = LineString(way).distance(box(1, 0, 2, 1))
    told = found(way)
    assert ("power.wire_airbag" in told) == (gap_m < 0.01)
    if gap_m < 0.01:
        assert told["power.wire_airbag"] == pytest.approx(1e3 * gap_m, abs=0.5)
    assert ("power.wire_in_the_way" in found(way, "window travel")) == (gap_m == 0.0)


def test_a_wire_is_no_shorter_than_its_way() -> None:
    assert "power.wire_short" not in found([(-3.0, -1.0), (2.2, -1.0)])
    assert found([(-3.0, -1.0), (2.3, -1.0)])["power.wire_short"] == 5.2
