"""``plan.json`` on places: every key is documented, and the fixed names are where they belong."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from cabinwright.handover.json_text import json_text, plain
from cabinwright.stages.layout.study import run
from handover.test_layout_page import EXTRA, PILLAR
from stages.cabin_build import cabin_build

PAGE = (Path(__file__).parents[2] / "docs" / "plan.md").read_text(encoding="utf-8")
SECTION = PAGE[PAGE.index("## layout\n") : PAGE.index("## tuning\n")]


@pytest.fixture(scope="module")
def layout() -> Any:
    build = cabin_build(places=PILLAR, extra=EXTRA)
    result = run(build)
    assert result is not None
    return json.loads(json_text(plain(result.to_dict())))


def keys(data: Any, *, named: tuple[str, ...] = ()) -> Iterator[str]:
    """Every key but those that people gave: names of places, seats and pillars."""
    if isinstance(data, dict):
        for key, item in data.items():
            if key not in named:
                yield key
            yield from keys(item, named=named)
    elif isinstance(data, list):
        for item in data:
            yield from keys(item, named=named)


def test_every_key_is_documented(layout: Any) -> None:
    names = (*layout["places"], "driver", "passenger", *layout["view"]["pillars"])
    told = set(keys({**layout, "findings": []}, named=names))
    assert len(told) > 60
    assert {key for key in told if f"`{key}`" not in SECTION} == set()


def test_the_fixed_names_are_where_they_belong(layout: Any) -> None:
    heard = layout["places"]["left door"]["seats"]["driver"]
    assert {"distance_m", "off_axis_deg", "occluded", "reflections"} <= set(heard)
    row = heard["reflections"][0]
    assert {"surfaces", "order", "delay_s", "level_db", "bands_db", "azimuth_deg", "elevation_deg"} <= set(row)
    assert {"role", "places", "first_share", "reasons"} <= set(layout["ranking"][0])
    assert layout["low_frequency"]["modes_hz"] == sorted(layout["low_frequency"]["modes_hz"])
    assert len(layout["low_frequency"]["quality"]) == len(layout["low_frequency"]["modes_hz"])
    assert layout["speed_of_sound_m_s"] == pytest.approx(343.2, abs=1.0)  # dry air at 20 °C; tables say 343.2 m/s


def test_the_order_is_the_one_that_is_told(layout: Any) -> None:
    for place in layout["places"].values():
        for heard in place["seats"].values():
            delays = [row["delay_s"] for row in heard["reflections"]]
            assert delays == sorted(delays)
            assert {row["order"] for row in heard["reflections"]} <= {1, 2, 3}
            assert all(len(row["surfaces"]) == row["order"] for row in heard["reflections"])
            assert all(len(row["bands_db"]) == len(layout["bands_hz"]) for row in heard["reflections"])
