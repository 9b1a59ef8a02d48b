"""Bolts against published loads, groups against equilibrium and a solver."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinwright.physics.fixings import Bolt, Pull, across_of, pulls, two_rows, used
from cabinwright.tables import rows

GRADES = {row["property_class"]: row for row in rows("property_classes")}
THREADS = {row["thread"]: row for row in rows("threads")}


def bolt(size: str, grade: str, sheet_m: float = 0.01, washer_m: float = 0.1) -> Bolt:
    thread, strong = THREADS[size], GRADES[grade]
    return Bolt(
        float(thread["diameter_m"]),
        float(thread["stress_area_m2"]),
        float(strong["tensile_pa"]),
        float(strong["shear_share"]),
        sheet_m,
        270e6,
        washer_m,
    )


# ISO 898-1:2013, table 4: least ultimate tensile loads A_s R_m of coarse threads, in newtons
@pytest.mark.parametrize(
    ("size", "grade", "newtons"),
    [
        ("M6", "8.8", 16_100),
        ("M8", "8.8", 29_200),
        ("M10", "8.8", 46_400),
        ("M12", "4.6", 33_700),
        ("M5", "5.6", 7_100),
    ],
)
def test_breaking_loads(size: str, grade: str, newtons: float) -> None:
    one = bolt(size, grade)
    assert one.stress_area_m2 * one.tensile_pa == pytest.approx(newtons, rel=0.006)
    assert one.stress_area_m2 * one.tensile_pa != pytest.approx(1.02 * newtons, rel=0.006)


@pytest.mark.parametrize(("size", "pitch_mm"), [("M5", 0.8), ("M6", 1.0), ("M8", 1.25), ("M10", 1.5), ("M12", 1.75)])
def test_stress_areas_follow_from_the_thread(size: str, pitch_mm: float) -> None:
    """π/4 (d − 0.9382 P)², ISO 898-1, 9.1.6."""
    area = math.pi / 4.0 * (1e3 * float(THREADS[size]["diameter_m"]) - 0.9382 * pitch_mm) ** 2
    assert 1e6 * float(THREADS[size]["stress_area_m2"]) == pytest.approx(area, rel=0.005)


# The Blue Book (SCI P363), design resistances of non-preloaded bolts to EN 1993-1-8, threads in the shear plane
@pytest.mark.parametrize(
    ("grade", "area_mm2", "tension_kn", "shear_kn"),
    [("8.8", 245.0, 141.0, 94.1), ("8.8", 157.0, 90.4, 60.3), ("4.6", 245.0, 70.6, 47.0)],
)
def test_design_resistances(grade: str, area_mm2: float, tension_kn: float, shear_kn: float) -> None:
    one = replace(bolt("M12", grade), stress_area_m2=1e-6 * area_mm2)
    assert 1e-3 * one.tension_n == pytest.approx(tension_kn, rel=0.002)
    assert 1e-3 * one.shear_n == pytest.approx(shear_kn, rel=0.002)
    assert 1.005e-3 * one.shear_n != pytest.approx(shear_kn, rel=0.002)


def test_thin_sheet_by_hand() -> None:
    """0.8 mm: k_t = (0.64 + 1.5)/2.5 = 0.856; F_b = 2.5 · 0.856 · 270 · 8 · 0.8/1.25; B_p = 0.6 π · 24 · 0.8 · 270/1.25."""
    one = bolt("M8", "8.8", sheet_m=0.0008, washer_m=0.024)
    assert one.bearing_n == pytest.approx(2958.3, abs=0.2)
    assert one.punching_n == pytest.approx(7817.3, abs=0.2)
    assert bolt("M8", "8.8", sheet_m=0.002).bearing_n == pytest.approx(2.5 * 270.0 * 8 * 2 / 1.25)


def test_shares_by_hand() -> None:
    one = bolt("M8", "8.8")
    share, check = used(one, Pull(0.5 * one.shear_n, 0.7 * one.tension_n))
    assert (share, check) == (pytest.approx(1.0), "shear and tension of the bolt")
    assert used(one, Pull(0.0, 0.7 * one.tension_n))[1] == "tension of the bolt"
    thin = bolt("M8", "8.8", sheet_m=0.0007, washer_m=0.024)
    assert used(thin, Pull(0.0, 8000.0))[1] == "washer through the sheet"
    assert used(thin, Pull(4000.0, 0.0))[1] == "bearing of the sheet"


@settings(deadline=None, max_examples=80)
@given(st.data())
def test_a_tipping_body_is_held(data: st.DataObject) -> None:
    """Moments about the far edge balance, shear adds up to the force, and no stiffness law gives the worst bolt less.

    With stiffness alike and the edge as the pivot, tensions are the least-squares answer of one equation: they have the
    least sum of squares of all sets that balance, which a pseudo-inverse finds by another way.
    """
    count = 2 * data.draw(st.integers(1, 5))
    long, wide = (data.draw(st.floats(0.05, 1.0)) for _ in range(2))
    body = (long * data.draw(st.floats(1.0, 1.5)), wide * data.draw(st.floats(1.0, 1.5)))
    push, height = data.draw(st.floats(-5e3, 5e3)), data.draw(st.floats(0.02, 0.6))
    spots = two_rows(count, long, wide)
    got = pulls(spots, body_m=body, height_m=height, force_n=(push, 0.0, 0.0))
    assert sum(item.shear_n for item in got) == pytest.approx(abs(push))
    if abs(push) < 1e-3:
        return
    side = math.copysign(1.0, push)
    arms = np.array([body[0] / 2.0 - side * x for x, _ in spots])
    if np.sum(arms**2) < 1e-9:
        assert all(math.isinf(item.tension_n) for item in got)
        return
    tension = np.array([item.tension_n for item in got])
    assert float(arms @ tension) == pytest.approx(abs(push) * height)
    assert np.allclose(tension, np.linalg.pinv(arms[None, :]) @ np.array([abs(push) * height]))


def test_pulling_away_and_pressing() -> None:
    spots = two_rows(4, 0.2, 0.1)
    away = pulls(spots, body_m=(0.2, 0.1), height_m=0.1, force_n=(0.0, 0.0, 800.0))
    assert [item.tension_n for item in away] == [200.0] * 4
    pressed = pulls(spots, body_m=(0.2, 0.1), height_m=0.1, force_n=(0.0, 0.0, -800.0))
    assert [item.tension_n for item in pressed] == [0.0] * 4


def test_two_rows_run_along_the_longer_side() -> None:
    assert two_rows(2, 0.4, 0.2) == [(0.0, -0.1), (0.0, 0.1)]
    assert sorted(two_rows(6, 0.4, 0.2)) == [(x, y) for x in (-0.2, 0.0, 0.2) for y in (-0.1, 0.1)]
    assert sorted(two_rows(6, 0.2, 0.4)) == [(x, y) for x in (-0.1, 0.1) for y in (-0.2, 0.0, 0.2)]


@settings(deadline=None, max_examples=50)
@given(st.tuples(*(st.floats(-1.0, 1.0) for _ in range(3))).filter(lambda way: math.hypot(*way) > 0.01))
def test_axes_of_any_plane(normal: tuple[float, float, float]) -> None:
    axes = np.array(across_of(normal))
    assert np.allclose(axes @ axes.T, np.eye(3), atol=1e-9)
    assert np.linalg.det(axes) == pytest.approx(1.0)
    assert np.allclose(axes[2] * math.hypot(*normal), normal)
