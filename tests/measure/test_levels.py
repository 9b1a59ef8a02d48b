"""A turned knob is seen, the scatter of levels round a head is not taken for one, and nobody is blamed by guess."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from cabinwright.measure.evidence import Evidence
from cabinwright.measure.levels import LEVEL_DB, majority, odd_levels

from .rig import PLACES, SPEAKERS, evidence

SPOTS = list(PLACES)


def turned(base: Evidence, gains_db: dict[tuple[int, int], float]) -> Evidence:
    level = base.level_db.copy()
    for place, gain_db in gains_db.items():
        level[place] += gain_db
    return replace(base, level_db=level)


def first(base: Evidence, count: int) -> Evidence:
    """Only the first ``count`` positions."""
    return replace(
        base,
        arrival_s=base.arrival_s[:, :count], travel_s=base.travel_s[:, :count],
        level_db=base.level_db[:, :count], snr_db=base.snr_db[:, :count],
    )  # fmt: skip


def test_levels_as_they_are() -> None:
    assert odd_levels(evidence(), SPOTS) == {}


@pytest.mark.parametrize("gain_db", [-60.0, -20.0, -12.0, 12.0, 20.0])
def test_one_turned_knob(gain_db: float) -> None:
    for row in range(len(SPEAKERS)):
        found = odd_levels(turned(evidence(), {(row, 2): gain_db}), SPOTS)
        assert list(found) == [(row, 2)]
        assert found[row, 2].code == "recording-level"
        assert found[row, 2].figures["level_apart_db"] == pytest.approx(gain_db, abs=4.0)


@pytest.mark.parametrize("gain_db", [-4.0, 4.0])
def test_a_knob_hardly_turned_is_let_pass(gain_db: float) -> None:
    assert odd_levels(turned(evidence(), {(0, 2): gain_db, (4, 1): gain_db}), SPOTS) == {}


def test_two_of_five() -> None:
    found = odd_levels(turned(evidence(), {(1, 0): 20.0, (1, 3): 20.0}), SPOTS)
    assert set(found) == {(1, 0), (1, 3)}


def test_two_positions_that_disagree_blame_neither() -> None:
    found = odd_levels(first(turned(evidence(), {(1, 0): 20.0}), 2), SPOTS)
    assert set(found) == {(1, 0), (1, 1)}
    assert all("nothing tells which of them is right" in fault.reason for fault in found.values())
    assert all("p1" in fault.reason and "p2" in fault.reason for fault in found.values())


def test_another_loudspeaker_is_no_turned_knob() -> None:
    base = evidence()
    level = base.level_db.copy()
    level[0, 2] = level[4, 2]  # the subwoofer in the tweeter's place
    assert odd_levels(replace(base, level_db=level), SPOTS) == {}


def test_the_largest_group() -> None:
    assert majority(np.array([0.0, 1.0, 20.0]), width=LEVEL_DB) == (0.5, True)
    assert majority(np.array([0.0, 1.0, 20.0, 21.0]), width=LEVEL_DB)[1] is False
    assert majority(np.array([np.nan, 3.0]), width=LEVEL_DB) == (3.0, True)
    assert majority(np.array([np.nan]), width=LEVEL_DB)[1] is False
