"""What a roof pillar, and a pod on it, hide from both eyes of the driver, in the manner of UN Regulation No. 125.

From memory, and simpler than the regulation: the eyes are 65 mm apart and 104 mm from a point P that the head turns
about; P follows from the build's eyes and not from the seat's reference point. Two horizontal sections of the pillar are
laid over one another: S1 where a plane rising 2° forward from P first meets it, S2 where one falling 5° does. The head is
turned until the eye on the pillar's side looks straight along the tangent to the outer edge of S2; from that line to the
tangent of the other eye to the inner edge of S1 a distant thing is hidden from both eyes. That is the angle.

A pod is the ball of its radius, drawn out to the pillar over twice that radius up and down; what of it stands between the
two planes is added to both sections. What it hides lower down is not in the angle: sit in the car and look.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull, QhullError

from cabinwright.build.cabin import Pillar, Place
from cabinwright.build.document import Build, Seat
from cabinwright.findings import Finding, finding
from cabinwright.stages.layout.keep_outs import pod_radius_of
from cabinwright.stages.layout.room import front_row

__all__ = ["LIMIT_DEG", "PillarView", "PodView", "ViewResult", "driver_seat", "driver_view", "eyes_of", "pillar_view"]

Real = NDArray[np.float64]
LIMIT_DEG = 6.0  #: per pillar, UN Regulation No. 125, from memory
EYE_M = 0.0325  #: each eye from the middle between them
PIVOT_M = 0.104  #: each eye from the point P that the head turns about
AHEAD_M = float(np.sqrt(PIVOT_M**2 - EYE_M**2))  #: the middle between the eyes from P
UP_DEG, DOWN_DEG = 2.0, -5.0  #: planes through P that find the sections S1 and S2
EYES_FROM_HEAD_M = (-0.08, 0.0, 0.03)  #: as the build's reference says; common practice
FAIRING = 2.0  #: radii over which a pod runs out along the pillar, common practice
BALL = 400  #: points of a pod's ball
TELLS_DEG = 0.05  #: less than this a pod does not add


@dataclass(frozen=True)
class PillarView:
    """One pillar as the driver looks past it; all points [m] in the car's axes, ready to be drawn in plan."""

    pillar: str
    side: str
    angle_deg: float  #: hidden from both eyes
    pivot_m: Real  #: (3,) P
    eyes_m: Real  #: (2, 3) the eye on the pillar's side, the other eye, with the head turned
    upper_m: Real  #: (n, 3) outline of S1, with the pod where there is one
    lower_m: Real  #: (n, 3) outline of S2, likewise
    outer_m: Real  #: (2, 3) tangent from the first eye to the outer edge of S2
    inner_m: Real  #: (2, 3) tangent from the second eye to the inner edge of S1
    parallel_m: Real  #: (2, 3) from the second eye along the first tangent; the angle lies between it and ``inner_m``


@dataclass(frozen=True)
class PodView:
    """One place whose pod would widen a pillar."""

    place: str
    before: PillarView
    after: PillarView

    @property
    def added_deg(self) -> float:
        """What the pod alone hides from both eyes."""
        return self.after.angle_deg - self.before.angle_deg


@dataclass(frozen=True)
class ViewResult:
    """Every pillar before the driver and every pod on one."""

    seat: str
    pillars: tuple[PillarView, ...]
    pods: tuple[PodView, ...]
    findings: tuple[Finding, ...]


def driver_view(build: Build) -> ViewResult | None:
    """The view of the driver of ``build`` (surveyed names already located); ``None`` without a seat or a pillar."""
    seat, pillars = driver_seat(build), {item.name: item for item in build.cabin.pillars} if build.cabin else {}
    if seat is None or not pillars:
        return None
    eyes, found = eyes_of(seat), list[Finding]()
    before: dict[str, PillarView] = {}
    for name, pillar in pillars.items():
        corners = np.asarray(pillar.corners_m, dtype=np.float64)
        if corners[:, 0].mean() > eyes[0] + AHEAD_M:
            continue  # behind the driver: no part of the view ahead
        seen = pillar_view(pillar, eyes_m=eyes)
        if seen is None:
            found.append(finding("layout.view_unknown", where=name))
            continue
        before[name] = seen
        if seen.angle_deg > LIMIT_DEG:
            found.append(finding("layout.view", where=name, value=_round(seen.angle_deg), limit=LIMIT_DEG, unit="°"))
    pods = []
    for place in build.places:
        if place.pillar in before:
            after = pillar_view(pillars[place.pillar], eyes_m=eyes, pod=place)
            pods.append(PodView(place.name, before[place.pillar], after or before[place.pillar]))
    found += [item for pod in pods if (item := _judge(pod)) is not None]
    return ViewResult(seat.name, tuple(before.values()), tuple(pods), tuple(found))


def driver_seat(build: Build) -> Seat | None:
    """The seat of the first row that lies farthest to the driving side; ``None`` without seats."""
    sign = -1.0 if build.vehicle.driving_side == "left" else 1.0
    return max(front_row(build.seats), key=lambda seat: sign * seat.head_m[1]) if build.seats else None


def eyes_of(seat: Seat) -> Real:
    """Midway between the eyes ``(3,)`` [m]."""
    if seat.eyes_m is not None:
        return np.asarray(seat.eyes_m, dtype=np.float64)
    return np.add(seat.head_m, EYES_FROM_HEAD_M)


def pillar_view(pillar: Pillar, *, eyes_m: Real, pod: Place | None = None) -> PillarView | None:
    """The angle that ``pillar`` hides, with the pod of a place on it if one is given.

    ``eyes_m`` ``(3,)`` [m] is the middle between the eyes, looking ahead. ``None`` where the pillar does not stand before
    the eyes from 2° above them to 5° below, or its corners surround the head.
    """
    corners = np.asarray(pillar.corners_m, dtype=np.float64)
    pivot = eyes_m + np.array([AHEAD_M, 0.0, 0.0])
    heights = [_height(corners, pivot, np.radians(angle)) for angle in (UP_DEG, DOWN_DEG)]
    if heights[0] is None or heights[1] is None:
        return None
    high, low = heights[0], heights[1]
    upper, lower = _section(corners, high), _section(corners, low)
    if pod is not None:
        grown = _slab(_pod(corners, pod), low, high)
        upper, lower = np.vstack([upper, grown]), np.vstack([lower, grown])
    return _seen(pillar, pivot, _outline(upper, high), _outline(lower, low))


def _seen(pillar: Pillar, pivot: Real, upper: Real, lower: Real) -> PillarView | None:
    """Both tangents in plan. Bearings count from straight ahead towards the pillar's side of the car."""
    sign = -1.0 if pillar.side == "left" else 1.0
    from_pivot = lower - pivot
    away = np.hypot(from_pivot[:, 0], from_pivot[:, 1])
    if max(lower[:, 0].max(), upper[:, 0].max()) > pivot[0] - PIVOT_M - EYE_M:
        return None
    # The line through the near eye, along which the head looks, passes P at half the distance of the eyes.
    headings = _bearing(from_pivot, sign) - np.arcsin(EYE_M / away)
    heading = float(headings.max())
    ahead, beside = np.array([-np.cos(heading), sign * np.sin(heading), 0.0]), np.zeros(3)
    beside[:2] = sign * ahead[1], -sign * ahead[0]
    near, far = (pivot + AHEAD_M * ahead + side * EYE_M * beside for side in (1.0, -1.0))
    inward = _bearing(upper - far, sign)
    outer_end, inner_end = lower[int(headings.argmax())], upper[int(inward.argmin())]
    length = float(np.linalg.norm((inner_end - far)[:2]))
    return PillarView(
        pillar=pillar.name,
        side=pillar.side,
        angle_deg=max(0.0, float(np.degrees(heading - inward.min()))),
        pivot_m=pivot,
        eyes_m=np.stack([near, far]),
        upper_m=upper,
        lower_m=lower,
        outer_m=np.stack([near, outer_end]),
        inner_m=np.stack([far, inner_end]),
        parallel_m=np.stack([far, far + length * ahead]),
    )


def _bearing(ways: Real, sign: float) -> Real:
    return np.arctan2(sign * ways[:, 1], -ways[:, 0])


def _height(corners: Real, pivot: Real, angle: float) -> float | None:
    """Height [m] of the foremost point where a plane, tilted by ``angle`` [rad] about P, meets the hull around corners."""
    slope = np.tan(angle)
    met = _cut(corners, corners[:, 2] - pivot[2] - slope * (pivot[0] - corners[:, 0]))
    return float(met[met[:, 0].argmin(), 2]) if len(met) else None


def _section(corners: Real, height: float) -> Real:
    return _cut(corners, corners[:, 2] - height)


def _slab(points: Real, low: float, high: float) -> Real:
    """Points whose hull is that part of the hull around ``points`` that lies between two heights."""
    within = points[(points[:, 2] >= low) & (points[:, 2] <= high)]
    return np.vstack([within, _section(points, low), _section(points, high)])


def _cut(points: Real, above: Real) -> Real:
    """Points (n, 3) whose hull is the cut of the hull around ``points`` by the plane where ``above`` is 0."""
    over, under = np.flatnonzero(above > 0.0), np.flatnonzero(above < 0.0)
    share = above[over, None] / (above[over, None] - above[under])
    crossing = points[over, None] + share[..., None] * (points[under] - points[over, None])
    return np.vstack([points[above == 0.0], crossing.reshape(-1, 3)])


def _pod(corners: Real, place: Place) -> Real:
    """The ball of a pod and the stretch of the pillar it runs out on, as points."""
    radius, centre = pod_radius_of(place) or 0.0, np.asarray(place.position_m, dtype=np.float64)
    number = np.arange(BALL) + 0.5  # a spiral spreads points evenly
    up, turn = 1.0 - 2.0 * number / BALL, np.pi * (1.0 + np.sqrt(5.0)) * number
    flat = np.sqrt(1.0 - up**2)
    ball = centre + radius * np.column_stack([flat * np.cos(turn), flat * np.sin(turn), up])
    reach = FAIRING * radius
    return np.vstack([ball, _slab(corners, centre[2] - reach, centre[2] + reach)])


def _outline(points: Real, height: float) -> Real:
    """Corners (n, 3) of the hull in plan, drawn at one height, in order around it."""
    flat = points[:, :2]
    try:
        flat = flat[ConvexHull(flat).vertices]
    except QhullError:  # a pillar without width: its ends
        flat = flat[[np.lexsort(flat.T)[0], np.lexsort(flat.T)[-1]]]
    return np.column_stack([flat, np.full(len(flat), height)])


def _judge(pod: PodView) -> Finding | None:
    if pod.added_deg < TELLS_DEG:
        return None
    return finding(
        "layout.view_pod",
        where=f"{pod.place} on {pod.after.pillar}",
        value=_round(pod.after.angle_deg),
        limit=LIMIT_DEG,
        unit="°",
        place=pod.place,
        pillar=pod.after.pillar,
        added=_round(pod.added_deg),
    )


def _round(angle_deg: float) -> float:
    return round(angle_deg, 1)
