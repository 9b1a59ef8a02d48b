"""What pillars and pods hide from both eyes: a round pillar in closed form, and rays traced one by one with
arithmetic of their own (a ray meets a convex outline where it has corners on both sides)."""

from __future__ import annotations

from math import asin, atan2, cos, degrees, hypot, pi, sin, sqrt

import numpy as np
import pytest

from build.samples import MINIMAL
from cabinwright.build.cabin import Pillar, Place
from cabinwright.build.codec import parse
from cabinwright.build.document import Build
from cabinwright.stages.layout.view import PillarView, driver_seat, driver_view, eyes_of, pillar_view

EYES = np.array([1.2, -0.37, 1.0])
EYE, NECK = 0.0325, sqrt(0.104**2 - 0.0325**2)  # half of 65 mm, and the rest of 104 mm


def round_pillar(radius: float, at: tuple[float, float] = (0.45, -0.66), side: str = "left") -> Pillar:
    """An upright cylinder of 32 faces drawn around a circle."""
    turns = 2.0 * pi * np.arange(32) / 32
    out = radius / cos(pi / 32)
    corners = [(at[0] + out * cos(t), at[1] + out * sin(t), z) for t in turns for z in (0.6, 1.3)]
    return Pillar(name="A", side=side, corners_m=corners)  # type: ignore[arg-type]


def closed_form(radius: float, at: tuple[float, float]) -> float:
    """Angle [deg] that a circle left of the driver hides: common tangents of two circles, by hand.

    The near eye's line touches the circle on its outer side and passes P at 32.5 mm; the other eye sees its inner side.
    """
    forward, left = EYES[0] + NECK - at[0], EYES[1] - at[1]
    away, bearing = hypot(forward, left), atan2(left, forward)
    heading = bearing + asin((radius - EYE) / away)
    eye_forward = NECK * cos(heading) + EYE * sin(heading)
    eye_left = NECK * sin(heading) - EYE * cos(heading)
    f, s = forward - eye_forward, left - eye_left
    return degrees(heading - (atan2(s, f) - asin(radius / hypot(f, s))))


@pytest.mark.parametrize("radius", [0.03, 0.045, 0.06, 0.1])
@pytest.mark.parametrize("at", [(0.45, -0.66), (0.2, -0.7), (0.6, -0.9)])
def test_a_round_pillar_in_closed_form(radius: float, at: tuple[float, float]) -> None:
    seen = pillar_view(round_pillar(radius, at), eyes_m=EYES)
    assert seen is not None
    expected = max(0.0, closed_form(radius, at))
    assert seen.angle_deg == pytest.approx(expected, abs=0.08)  # 32 faces: up to 0.5 % of the radius too large
    assert closed_form(radius + 0.002, at) != pytest.approx(closed_form(radius, at), abs=0.08)


def test_a_pillar_narrower_than_the_eyes_are_apart_hides_nothing() -> None:
    seen = pillar_view(round_pillar(0.02), eyes_m=EYES)
    assert seen is not None and seen.angle_deg == 0.0


def hidden(outline: np.ndarray, eye: np.ndarray, bearings: np.ndarray) -> np.ndarray:
    """Which rays in plan from an eye meet a convex outline: its corners lie on both sides, and ahead."""
    ways = np.column_stack([-np.cos(bearings), -np.sin(bearings)])  # bearing to the left of straight ahead
    to = outline[:, :2] - eye[:2]
    side = ways[:, :1] * to[:, 1] - ways[:, 1:] * to[:, 0]
    return (side.max(axis=1) >= 0.0) & (side.min(axis=1) <= 0.0) & ((ways @ to.T).max(axis=1) > 0.0)


@pytest.mark.parametrize("seed", range(8))
def test_rays_traced_one_by_one(seed: int) -> None:
    """A pillar of the same section at every height: directions hidden from both eyes are counted, 0.001° apart."""
    rng = np.random.default_rng(seed)
    foot = np.array([0.45, -0.66]) + rng.uniform(-0.08, 0.08, size=(7, 2))
    corners = [(x, y, z) for x, y in foot for z in (0.5, 1.4)]
    seen = pillar_view(Pillar(name="A", side="left", corners_m=corners), eyes_m=EYES)  # type: ignore[arg-type]
    assert seen is not None
    bearings = np.radians(np.arange(-20.0, 80.0, 0.001))
    both = hidden(foot, seen.eyes_m[0], bearings) & hidden(foot, seen.eyes_m[1], bearings)
    assert seen.angle_deg == pytest.approx(both.sum() * 0.001, abs=0.003) and seen.angle_deg > 1.0
    along = seen.outer_m[1] - seen.outer_m[0]
    between = seen.eyes_m[1] - seen.eyes_m[0]
    assert abs(along[:2] @ between[:2]) < 1e-12  # the head looks along the outer tangent
    assert np.linalg.norm(between) == pytest.approx(0.065)
    assert np.linalg.norm(seen.eyes_m - seen.pivot_m, axis=1) == pytest.approx(0.104)


def test_sections_of_a_raked_pillar_lie_where_the_planes_meet_it() -> None:
    """A leaning pillar of no thickness along x: plain similar triangles give both heights."""
    ends = np.array([[0.2, -0.7, 0.7], [0.9, -0.55, 1.3]])  # foot and head: 0.7 back over 0.6 up
    corners = [(end[0], end[1] + dy, end[2]) for end in ends for dy in (-0.05, 0.05)]
    seen = pillar_view(Pillar(name="A", side="left", corners_m=corners), eyes_m=EYES)  # type: ignore[arg-type]
    assert seen is not None
    for outline, slope in ((seen.upper_m, 2.0), (seen.lower_m, -5.0)):
        t = np.linspace(0.0, 1.0, 2_000_001)
        z, x = 0.7 + 0.6 * t, 0.2 + 0.7 * t
        plane = EYES[2] + np.tan(np.radians(slope)) * (EYES[0] + NECK - x)
        expected = z[np.argmin(np.abs(z - plane))]
        assert outline[:, 2] == pytest.approx(expected, abs=1e-5)


def mirrored(view: PillarView) -> np.ndarray:
    return np.vstack([view.eyes_m, view.outer_m, view.inner_m]) * [1, -1, 1]


def test_left_and_right_mirror_each_other() -> None:
    left = pillar_view(round_pillar(0.05), eyes_m=EYES)
    right = pillar_view(round_pillar(0.05, (0.45, 0.66), "right"), eyes_m=EYES * [1, -1, 1])
    assert left is not None and right is not None
    assert left.angle_deg == pytest.approx(right.angle_deg, abs=1e-9)
    assert mirrored(left) == pytest.approx(np.vstack([right.eyes_m, right.outer_m, right.inner_m]), abs=1e-9)


def pod(at: tuple[float, float, float], radius: float) -> Place:
    return Place(
        name="pod", role="coaxial", side="left", position_m=at, pillar="A", pod_radius_m=radius, radius_m=0.03
    )  # fmt: skip


def test_a_pod_that_covers_the_pillar_hides_what_a_ball_hides() -> None:
    """A ball at eye height hides what a round pillar of its radius would."""
    at = (0.45, -0.66)
    seen = pillar_view(round_pillar(0.02, at), eyes_m=EYES, pod=pod((*at, 0.98), 0.07))
    assert seen is not None
    assert seen.angle_deg == pytest.approx(closed_form(0.07, at), abs=0.06)


def test_a_pod_counts_only_where_it_stands_in_the_view() -> None:
    pillar = round_pillar(0.05)
    bare = pillar_view(pillar, eyes_m=EYES)
    assert bare is not None
    for place, more in (
        (pod((0.45, -0.66, 0.98), 0.03), False),  # inside the pillar
        (pod((0.45, -0.60, 0.98), 0.06), True),
        (pod((0.45, -0.60, 0.70), 0.06), False),  # 30 cm below the eyes: the view through the screen is above it
    ):
        seen = pillar_view(pillar, eyes_m=EYES, pod=place)
        assert seen is not None
        assert (seen.angle_deg > bare.angle_deg + 0.1) is more
        assert seen.angle_deg >= bare.angle_deg - 1e-9


def car(radius: float, place: str = "") -> Build:
    pillar = round_pillar(radius)
    corners = [list(corner) for corner in pillar.corners_m]
    return parse(
        MINIMAL
        + '[[seats]]\nname = "passenger"\nhead_m = [1.2, 0.37, 1]\n[[seats]]\nname = "behind"\nhead_m = [2, -0.37, 1]\n'
        + f'[[seats]]\nname = "mine"\nhead_m = [1.3, -0.37, 1]\neyes_m = {EYES.tolist()}\n'
        + f'[[cabin.pillars]]\nname = "A"\nside = "left"\ncorners_m = {corners}\n'
        + '[[cabin.pillars]]\nname = "B"\nside = "left"\ncorners_m = [[1.7,-0.7,0],[1.8,-0.7,0],[1.7,-0.7,1.4],[2,-0.6,1]]\n'
        + place
    )


POD = '[[places]]\nname = "pod"\nrole = "tweeter"\nside = "left"\nposition_m = [0.45, -0.6, 0.98]\npillar = "A"\n'


def test_what_is_said() -> None:
    slim = driver_view(car(0.045))
    assert slim is not None and slim.seat == "mine" and slim.findings == ()
    assert [item.pillar for item in slim.pillars] == ["A"]  # B stands behind the driver
    wide = driver_view(car(0.09))
    assert wide is not None
    assert [(item.code, item.severity) for item in wide.findings] == [("layout.view", "caution")]
    both = driver_view(car(0.045, POD))
    assert both is not None
    (said,) = both.findings
    (seen,) = both.pods
    assert (said.code, said.severity, seen.place) == ("layout.view_pod", "caution", "pod")
    assert said.value == round(seen.after.angle_deg, 1) and f"{seen.added_deg:.1f}°" in said.message
    assert seen.added_deg > 0.3 and "local law" in said.remedy


def test_a_pillar_that_does_not_reach_the_eyes_is_named() -> None:
    short = car(0.045).model_copy(deep=True)
    assert short.cabin is not None
    low = Pillar(
        name="A", side="left", corners_m=[(0.4, -0.7, 0.2), (0.5, -0.7, 0.2), (0.4, -0.6, 0.2), (0.4, -0.7, 0.6)]
    )  # type: ignore[arg-type]
    seen = driver_view(short.model_copy(update={"cabin": short.cabin.model_copy(update={"pillars": (low,)})}))
    assert seen is not None and [item.code for item in seen.findings] == ["layout.view_unknown"]
    around = [(x, y, z) for x in (0.9, 1.5) for y in (-0.8, 0.0) for z in (0.5, 1.5)]
    assert pillar_view(Pillar(name="A", side="left", corners_m=around), eyes_m=EYES) is None  # type: ignore[arg-type]


def test_whose_view_it_is() -> None:
    build = car(0.045)
    seat = driver_seat(build)
    assert seat is not None and seat.name == "mine"
    alone = build.model_copy(update={"seats": build.seats[:1]})
    seat = driver_seat(alone)
    assert seat is not None and seat.name == "passenger"
    assert eyes_of(seat) == pytest.approx([1.12, 0.37, 1.03])
    assert driver_seat(build.model_copy(update={"seats": ()})) is None
    assert driver_view(parse(MINIMAL)) is None
