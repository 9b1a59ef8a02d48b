"""The search for alignments: each listed one is what the solved box says, fits, and is beaten by none on its front."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest

from cabinwright.physics.port import Port
from cabinwright.stages.enclosure.result import BoxResult, RadiatorSet, Search
from stages.boxed import MODEL, box, planned


@pytest.fixture(scope="module")
def bay() -> BoxResult:
    return planned(box()).boxes["bay"]


def written(part: RadiatorSet, **more: float) -> str:
    figures = {name: getattr(part, name) for name in ("mms_kg", "cms_m_per_n", "sd_m2", "qms", "count")} | more
    return "{" + ", ".join(f"{key} = {value!r}" for key, value in figures.items()) + "}"


def found(item: BoxResult) -> Search:
    assert item.search is not None
    return item.search


def test_ten_thousand_are_tried_and_every_kind_is_offered(bay: BoxResult) -> None:
    search = found(bay)
    assert search.tried == 10_000
    assert 0 < search.fitting < search.tried
    assert {item.kind for item in bay.alternatives} == {"sealed", "vented", "passive radiator"}
    scores = [item.score for item in bay.alternatives]
    assert scores == sorted(scores, reverse=True)


def test_each_alternative_is_what_the_box_itself_would_be(bay: BoxResult) -> None:
    """Solved again one by one: reach within 1 %, level and delay from the fine curves."""
    for item in bay.alternatives:
        more = {"tuning_hz": f"{item.tuning_hz!r}"} if item.kind == "vented" else {}
        if item.radiator is not None:
            more["radiator"] = written(item.radiator, xmax_m=0.013)
        if item.port_diameter_m is not None:
            more["port"] = f"{{diameter_m = {item.port_diameter_m!r}}}"
        solved = planned(box(kind=item.kind, volume=f"{item.volume_m3!r}", **more)).boxes["bay"]
        assert solved.tuning_hz is None or solved.tuning_hz == pytest.approx(item.tuning_hz, rel=1e-6)
        assert solved.f3_hz == pytest.approx(item.f3_hz, rel=0.01)
        f = solved.curves.frequency_hz
        most = solved.max_level_db
        if "port" in solved.limits_db:
            most = np.minimum(most, solved.limits_db["port"])
        band = (f >= 25.0) & (f <= 80.0)
        assert float(most[band].min()) == pytest.approx(item.level_db, abs=0.3)
        band = (f >= 20.0) & (f <= 100.0)
        assert float(solved.curves.group_delay_s[band].max()) == pytest.approx(item.group_delay_s, rel=0.05)


def test_everything_offered_fits_the_room(bay: BoxResult) -> None:
    for item in bay.alternatives:
        air = 0.0
        if item.radiator is not None:
            radius = (item.radiator.sd_m2 / pi) ** 0.5
            air = item.radiator.count * 0.5 * item.radiator.sd_m2 * radius
            assert 2.4 * radius <= item.volume_m3 ** (1.0 / 3.0)
        if item.port_diameter_m is not None and item.port_length_m is not None and item.tuning_hz is not None:
            port = Port(item.port_diameter_m)
            length = port.length_for_m(tuning_hz=item.tuning_hz, volume_m3=item.volume_m3)
            assert length == pytest.approx(item.port_length_m, rel=1e-6)
            assert length <= 2.0 * item.volume_m3 ** (1.0 / 3.0) * (1.0 + 1e-6)
            air = pi / 4.0 * item.port_diameter_m**2 * length
        assert item.volume_m3 + air <= 0.034 * (1.0 + 1e-6)


def test_none_on_the_front_is_beaten(bay: BoxResult) -> None:
    front = found(bay).front
    costs = np.stack([front["f3_hz"], -front["level_db"], front["group_delay_s"], front["spread_db"]], axis=1)
    for row in costs:
        assert not ((costs <= row).all(axis=1) & (costs < row).any(axis=1)).any()
    worse = np.vstack([costs, costs[0] + 1.0])
    assert ((worse <= worse[-1]).all(axis=1) & (worse < worse[-1]).any(axis=1)).any()


def test_more_room_reaches_no_less_deep_and_more_travel_is_louder(bay: BoxResult) -> None:
    small = planned(box(gross_volume_m3="0.02")).boxes["bay"]
    assert found(bay).front["f3_hz"].min() < found(small).front["f3_hz"].min()
    travel = planned(box(), model=MODEL.replace("xmax_m = 0.013", "xmax_m = 0.008")).boxes["bay"]
    assert found(bay).front["level_db"].max() > found(travel).front["level_db"].max() + 1.5


def test_the_same_build_gives_the_same_list(bay: BoxResult) -> None:
    assert planned(box()).boxes["bay"].alternatives == bay.alternatives


STATED = "{mms_kg = 0.25, cms_m_per_n = 4e-4, sd_m2 = 0.045, qms = 8.0, count = 1, xmax_m = 0.02}"


def test_a_stated_radiator_is_tried_in_other_numbers_and_heavier() -> None:
    """Its suspension and area stay; what is added is what it weighs over the stated mass, up to four times that."""
    item = planned(box(kind="passive radiator", radiator=STATED)).boxes["bay"]
    sets = [each.radiator for each in item.alternatives if each.radiator is not None]
    assert len(sets) >= 3
    for part in sets:
        assert (part.sd_m2, part.cms_m_per_n, part.qms) == pytest.approx((0.045, 4e-4, 8.0))
        assert part.added_mass_kg == pytest.approx(part.mms_kg - 0.25)
        assert -1e-12 <= part.added_mass_kg <= 1.0 + 1e-9
    assert item.to_dict()["alternatives"][0].keys() >= {"radiator"}


def test_a_radiator_with_less_travel_is_not_as_loud() -> None:
    """Level is held back by 20 log of the travel where the radiator rules: halving it costs no more than 6.02 dB."""
    more, less = (
        max(
            each.level_db
            for each in planned(box(kind="passive radiator", radiator=STATED.replace("0.02", travel)))
            .boxes["bay"]
            .alternatives
            if each.radiator is not None and each.radiator.count == 1
        )
        for travel in ("0.008", "0.004")
    )
    assert 1.0 < more - less < 6.03


def test_filling_and_leaks_reach_the_radiators_too() -> None:
    """As the box itself has them: its tuning, heard again with the same filling and losses."""
    more = {"filling_factor": "1.2", "ql": "12", "qa": "60"}
    for item in planned(box(**more)).boxes["bay"].alternatives:
        if item.radiator is None:
            continue
        again = box(kind="passive radiator", volume=f"{item.volume_m3!r}", radiator=written(item.radiator), **more)
        solved = planned(again).boxes["bay"]
        assert solved.tuning_hz == pytest.approx(item.tuning_hz, rel=1e-6)
        assert solved.f3_hz == pytest.approx(item.f3_hz, rel=0.01)
