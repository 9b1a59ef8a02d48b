"""Left and right together: published pan laws, the mirror that a survey's frame puts anywhere, and who pairs with whom."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from cabinwright.build.document import Build
from cabinwright.stages.layout import LayoutResult, run
from cabinwright.stages.layout.pairs import find_pairs
from cabinwright.stages.layout.result import PairHeard
from stages.cabin_build import PLACES, cabin_build

REFERENCE = {
    row["id"]: row
    for row in tomllib.loads((Path(__file__).parents[1] / "references" / "layout.toml").read_text("utf-8"))["entry"]
}
FAST = "[layout]\ndraws = 0\n"


@pytest.fixture(scope="module")
def build() -> Build:
    return cabin_build(extra=FAST)


@pytest.fixture(scope="module")
def result(build: Build) -> LayoutResult:
    got = run(build)
    assert got is not None
    return got


def _heard(
    build: Build, result: LayoutResult, *, louder_db: float, later_m: float = 0.0, half_deg: float = 30.0
) -> PairHeard:
    """The pillars' pair with the left one louder and farther by what is said, at angles that are said."""
    left, right = result.places["left pillar"], result.places["right pillar"]
    near = replace(right.seats["driver"], distance_m=1.0, azimuth_deg=half_deg, direct_bands_db=(0.0,) * 7)
    nearer = 20.0 * np.log10(1.0 / (1.0 + later_m))
    far = replace(near, distance_m=1.0 + later_m, azimuth_deg=-half_deg, direct_bands_db=(louder_db - nearer,) * 7)
    places = {
        item.name: replace(item, seats={"driver": heard, "passenger": heard})
        for item, heard in ((left, far), (right, near))
    }
    (pair,) = find_pairs(build, places, result.speed_of_sound_m_s)
    return pair.seats["driver"]


def test_lean_follows_the_tangent_law(build: Build, result: LayoutResult) -> None:
    """D.pan.law: loudspeakers at 30 degrees, level differences of 1 to 20 dB."""
    row = REFERENCE["D.pan.law"]
    tangent, sine = row["expected"]
    got = [-_heard(build, result, louder_db=level).lean_deg for level in row["inputs"]["ICLD_dB"]]
    assert got == pytest.approx(tangent, abs=row["tol_abs"])
    assert got != pytest.approx(sine, abs=0.1)


def test_without_delay_the_nearer_one_draws_the_image(build: Build, result: LayoutResult) -> None:
    """D.summing.window: from 1 ms on it has it all. Between, level makes up for time (from memory: 2 to 8 dB for 0.5 ms)."""
    window_s = 1e-3 * REFERENCE["D.summing.window"]["expected"]
    speed = result.speed_of_sound_m_s
    assert _heard(build, result, louder_db=0.0).lean_undelayed == pytest.approx(0.0)
    assert _heard(build, result, louder_db=0.0, later_m=1.01 * window_s * speed).lean_undelayed == 1.0
    assert 0.2 < _heard(build, result, louder_db=0.0, later_m=0.5 * window_s * speed).lean_undelayed < 0.8
    made_up = [_heard(build, result, louder_db=level, later_m=0.5e-3 * speed).lean_undelayed for level in (2.0, 8.0)]
    assert made_up[0] > 0.0 > made_up[1]


def test_the_mirror_may_stand_anywhere(build: Build, result: LayoutResult) -> None:
    """A survey's frame with its origin on the left: y of the centre line is 0.7 m. The same places pair."""
    moved = {
        name: replace(item, position_m=(item.position_m[0], item.position_m[1] + 0.7, item.position_m[2]))
        for name, item in result.places.items()
    }
    pairs = find_pairs(build, moved, result.speed_of_sound_m_s)
    assert [(item.left, item.right) for item in pairs] == [(item.left, item.right) for item in result.pairs]
    assert {(item.left, item.right) for item in pairs} == {
        ("left pillar", "right pillar"),
        ("left dash corner", "right dash corner"),
        ("left door", "right door"),
    }


def test_subwoofers_on_both_sides_are_two_choices() -> None:
    places = PLACES + PLACES[PLACES.index('[[places]]\nname = "tail side"') :].replace(
        "tail side", "other side"
    ).replace('side = "right"', 'side = "left"').replace("[2.4, 0.6, 0.3]", "[2.4, -0.6, 0.3]")
    got = run(cabin_build(places=places, extra=FAST))
    assert got is not None
    assert all(item.role != "subwoofer" for item in got.pairs)
    subs = [item.places for item in got.ranking if item.role == "subwoofer"]
    assert ("tail side",) in subs and ("other side",) in subs


def test_what_lies_far_apart_is_no_pair() -> None:
    """The right pillar 0.6 m further back than the left one: no pair, named, and out of the contest."""
    got = run(cabin_build(places=PLACES.replace("[0.72, 0.62, 0.9]", "[1.45, 0.62, 0.9]"), extra=FAST))
    assert got is not None
    assert "left pillar" not in [item.left for item in got.pairs]
    alone = [item for item in got.findings if item.code == "layout.no_partner"]
    assert {item.where for item in alone} == {"left pillar", "right pillar"}
    ranked = {item.places: item for item in got.ranking}
    assert ranked[("left pillar",)].barred and ranked[("left pillar",)].first_share == 0.0


def test_a_compromise_is_half_of_what_the_seats_want(result: LayoutResult) -> None:
    """By plane geometry for the pillars: each front seat wants the other side late by the same."""
    (pair,) = [item for item in result.pairs if item.left == "left pillar"]
    far, near = np.linalg.norm([0.58, 0.98, 0.05]), np.linalg.norm([0.58, 0.26, 0.05])
    assert pair.compromise_s == pytest.approx((far - near) / result.speed_of_sound_m_s, rel=1e-9)
    assert pair.seats["driver"].delay_on == "right" and pair.seats["passenger"].delay_on == "left"
