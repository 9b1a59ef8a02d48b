"""Ways of a body in a plane, against the longest rod that goes round a corner and a scan of every pose in small steps."""

from __future__ import annotations

from itertools import pairwise
from math import radians

import numpy as np
import pytest
from shapely import Polygon, affinity, box, union_all

from cabinwright.physics.motion import Pose, Space, shorter, way_out

FAR = 10.0


def quad(x0: float, z0: float, x1: float, z1: float) -> np.ndarray:
    return np.array([[x0, z0], [x1, z0], [x1, z1], [x0, z1]])


def corner(first: float, second: float, length: float, thick: float) -> tuple[Space, list[Pose] | None]:
    """Corridors ``first`` high and ``second`` wide that meet at a right angle; a rod that has to get from one to the other."""
    walls = np.array([quad(-FAR, -1, FAR, 0), quad(-1, -FAR, 0, FAR), quad(second, first, FAR, FAR)])
    body = quad(-length / 2, -thick / 2, length / 2, thick / 2)
    space = Space(np.array([body] * 3), walls, box(-2.5, -1, 5, 6), step_deg=0.5, most_slices=400)
    return space, way_out(space, (second + length / 2 + 0.1, first / 2), above_m=first + 0.05)


@pytest.mark.parametrize(("first", "second"), [(0.3, 0.5), (0.4, 0.4)])
def test_the_longest_rod_round_a_corner(first: float, second: float) -> None:
    """(a^(2/3) + b^(2/3))^(3/2), the ladder of every book on calculus: found 1 % below it, and never beyond it."""
    longest = (first ** (2 / 3) + second ** (2 / 3)) ** 1.5
    space, poses = corner(first, second, 0.99 * longest, 1e-5)
    assert poses is not None and not space.spent
    space, poses = corner(first, second, 1.001 * longest, 1e-5)
    assert poses is None and not space.spent  # not for want of slices


def test_a_way_in_small_steps_meets_nothing_by_shapely() -> None:
    """Each way found, and the shortened one too, walked in steps of 5 mm: the turned body never overlaps a wall."""
    space, poses = corner(0.3, 0.5, 0.9, 0.08)
    assert poses is not None
    walls = union_all([Polygon(item) for item in space.walls])
    for way in (poses, shorter(space, poses)):
        deepest = 0.0
        for a, b in pairwise(way):
            far = np.hypot(b[0] - a[0], b[1] - a[1]) + abs(b[2] - a[2]) * space.radius_m
            for part in np.linspace(0.0, 1.0, 2 + int(far / 5e-3)):
                x, z, turn = np.asarray(a) + part * (np.asarray(b) - np.asarray(a))
                moved = affinity.translate(
                    affinity.rotate(Polygon(space.body[0]), np.degrees(turn), origin=(0, 0)), x, z
                )
                deepest = max(deepest, moved.intersection(walls).area)
        assert deepest < 1e-6  # a turn between two slices may graze: fit_way goes through it with the solids
    assert shorter(space, poses)[0] == poses[0] and len(shorter(space, poses)) < len(poses)


def test_slots_by_their_width() -> None:
    """Through a slot in a thin wall goes what is narrower somewhere (Strang 1982: a convex body by its least width)."""
    for wide, there in ((0.21, True), (0.19, False)):
        walls = np.array([quad(-FAR, 0.0, -wide / 2, 0.01), quad(wide / 2, 0.0, FAR, 0.01)])
        body = quad(-0.25, -0.1, 0.25, 0.1)
        space = Space(np.array([body] * 2), walls, box(-1, -1, 1, 1.5), step_deg=2.0)
        assert (way_out(space, (0.0, -0.3), above_m=0.02) is not None) is there
        assert not space.spent


def test_what_is_in_the_way_at_the_goal() -> None:
    walls = np.array([quad(-0.1, -0.1, 0.1, 0.1)])
    space = Space(np.array([quad(-0.1, -0.1, 0.1, 0.1)]), walls, box(-1, -1, 1, 1), most_slices=5)
    assert way_out(space, (0.0, 0.05), above_m=0.3) is None
    assert space.turn_rad(2) == pytest.approx(radians(2.0))
