"""The cabin to scale from above, from the left and from behind: surfaces, heads, places, what must stay free, and rays."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from cabinwright.build.document import Build
from cabinwright.drawings.picture import Disc, Picture, Shape, Stroke, Words

__all__ = ["VIEWS", "View", "cabin_picture", "project"]

Array = NDArray[np.float64]
View = Literal["plan", "side", "rear"]
VIEWS: dict[View, str] = {
    "plan": "from above, nose to the left",
    "side": "from the left, nose to the left",
    "rear": "from behind, the car's left on the left",
}
_AXES: dict[View, tuple[int, int]] = {"plan": (0, 1), "side": (0, 2), "rear": (1, 2)}
_TOWARDS: dict[View, tuple[int, float]] = {"plan": (2, 1.0), "side": (1, -1.0), "rear": (0, 1.0)}
"""Axis that points at the onlooker, with its sign: what lies nearer to him is drawn later."""
HEAD_RADIUS_M = 0.085
AXIS_M = 0.18
MARGIN_M = 0.06
LEAST_MM = 1.3  #: radius of a place's disc on paper
SIDES = tuple(np.array(side) for side in ((1, 1), (1, -1), (-1, 1), (-1, -1), (2.2, 0), (-2.2, 0), (0, 2.2), (0, -2.2)))
"""Where a number may stand beside its disc, best first."""
TOGETHER_M = 0.03  #: places and heads nearer than this on paper share one label


def project(points: Iterable[Sequence[float]], view: View) -> Array:
    """(n, 2): points (n, 3) of the car as they lie on the paper of a view, right and up."""
    return np.asarray(list(points), dtype=np.float64).reshape(-1, 3)[:, list(_AXES[view])]


def cabin_picture(
    build: Build,
    view: View,
    *,
    numbers: Mapping[str, int],
    aims: Mapping[str, Sequence[float]],
    first: Iterable[str] = (),
    rays: Iterable[Sequence[Sequence[float]]] = (),
    extra: Iterable[Shape] = (),
    width_mm: float = 180.0,
) -> Picture:
    """One view of a located build.

    Args:
        numbers: place name: the number that stands beside it (and in the key).
        aims: place name: direction of its axis.
        first: places the ranking prefers; they are filled.
        rays: paths (points from the place to the head) to draw; the first leg begins at the place.
        extra: shapes laid over all.
    """
    shapes = [*_surfaces(build, view), *_keep_outs(build, view), *_heads(build, view)]
    shapes += [shape for path in rays for shape in _ray(path, view)]
    low, high = _bounds(build, view)
    blank = Picture("", (), low, high, width_mm=width_mm)
    shapes += _places(build, view, numbers, aims, set(first), blank.mm_per_m)
    shapes += list(extra)
    says = f"The cabin {VIEWS[view]}, to scale, with {len(build.seats)} heads and {len(build.places)} places."
    return Picture(says, tuple(shapes), low, high, width_mm=width_mm)


def _surfaces(build: Build, view: View) -> Iterator[Shape]:
    axis, sign = _TOWARDS[view]
    surfaces = build.cabin.surfaces if build.cabin else ()

    def nearness(corners: Array) -> float:
        return float(np.mean(sign * corners[:, axis]))

    outlines = [(np.asarray(item.corners_m, dtype=np.float64), item.material) for item in surfaces]
    for corners, material in sorted(outlines, key=lambda row: nearness(row[0])):
        yield Stroke(project(corners, view), "glass" if material == "glass" else "surface", closed=True)


def _keep_outs(build: Build, view: View) -> Iterator[Shape]:
    for item in build.cabin.keep_outs if build.cabin else ():
        flat = project(item.corners_m, view)
        if np.linalg.matrix_rank(flat - flat[0], tol=1e-6) < 2:
            continue  # seen on edge
        yield Stroke(flat[ConvexHull(flat).vertices], "keep out", closed=True)


def _heads(build: Build, view: View) -> Iterator[Shape]:
    across, up = _AXES[view]
    for seat in build.seats:
        (x, y), size = project([seat.head_m], view)[0], seat.head_box_m
        half = np.array([size[across], size[up]]) / 2.0
        box = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half + [x, y]
        yield Disc((float(x), float(y)), HEAD_RADIUS_M, "head")
        yield Stroke(box, "head box", closed=True)
    flat = project([seat.head_m for seat in build.seats], view)
    for (x, y), names in _together(flat, [seat.name for seat in build.seats]):
        yield Words((x, y - HEAD_RADIUS_M), names, size_pt=7.0, shift_mm=(0.0, -3.2))


def _together(flat: Array, labels: Sequence[str]) -> Iterator[tuple[tuple[float, float], str]]:
    """Points (n, 2) with their labels, those that fall on one another under one label."""
    left = list(range(len(labels)))
    while left:
        near = [k for k in left if np.linalg.norm(flat[k] - flat[left[0]]) < TOGETHER_M]
        x, y = flat[left[0]]
        yield (float(x), float(y)), ", ".join(labels[k] for k in near)
        left = [k for k in left if k not in near]


def _ray(path: Sequence[Sequence[float]], view: View) -> Iterator[Shape]:
    flat = project(path, view)
    direct = len(flat) == 2
    yield Stroke(flat, "direct" if direct else "ray", arrow=True)
    for x, y in flat[1:-1]:
        yield Disc((float(x), float(y)), 0.0, "bounce", least_mm=0.7)


def _places(
    build: Build,
    view: View,
    numbers: Mapping[str, int],
    aims: Mapping[str, Sequence[float]],
    first: set[str],
    mm_per_m: float,
) -> list[Shape]:
    shapes: list[Shape] = []
    for place in sorted(build.places, key=lambda item: -(item.radius_m or 0.0)):  # no small one under a large one
        x, y = (float(value) for value in project([place.position_m], view)[0])
        if place.name in aims:
            aim = np.asarray(aims[place.name], dtype=np.float64)
            tip = project([tuple(place.position_m + AXIS_M * aim / np.linalg.norm(aim))], view)[0]
            shapes.append(Stroke(np.array([[x, y], tip]), "axis", arrow=True))
        shapes.append(Disc((x, y), place.radius_m or 0.0, "place first" if place.name in first else "place", LEAST_MM))
    flat = project([place.position_m for place in build.places], view)
    radii = [max((place.radius_m or 0.0) * mm_per_m, LEAST_MM) for place in build.places]
    return [*shapes, *_numbered(flat, radii, [str(numbers[place.name]) for place in build.places], mm_per_m)]


def _numbered(flat: Array, radii_mm: Sequence[float], labels: Sequence[str], mm_per_m: float) -> Iterator[Words]:
    """The numbers beside discs, each on the first side where it lies on no other number and on the fewest discs."""
    discs = np.asarray(flat) * mm_per_m
    taken: list[Array] = []
    for at, words in _together(flat, labels):
        centre = np.asarray(at) * mm_per_m
        own = float(radii_mm[int(np.argmin(np.linalg.norm(discs - centre, axis=1)))])
        half = np.array([0.85 * len(words), 1.3])  # of 8 point bold figures, mm

        def crowd(shift: Array, centre: Array = centre, half: Array = half) -> int:
            here = centre + shift
            over = sum(bool((np.abs(here - other[:2]) < half + other[2:]).all()) for other in taken)
            beyond = np.maximum(np.abs(discs - here) - half, 0.0)
            return 100 * over + int((np.linalg.norm(beyond, axis=1) < radii_mm).sum())

        sides = [side * (half + 0.7 * own + 0.2) for side in SIDES]
        shift = min(sides, key=crowd)
        taken.append(np.concatenate([centre + shift, half]))
        yield Words(at, words, (float(shift[0]), float(shift[1] - 1.0)), bold=True, size_pt=8.0)


def _bounds(build: Build, view: View) -> tuple[tuple[float, float], tuple[float, float]]:
    corners = [corner for item in (build.cabin.surfaces if build.cabin else ()) for corner in item.corners_m]
    corners += [seat.head_m for seat in build.seats] + [place.position_m for place in build.places]
    flat = project(corners, view)
    low, high = flat.min(axis=0) - MARGIN_M, flat.max(axis=0) + MARGIN_M
    return (float(low[0]), float(low[1])), (float(high[0]), float(high[1]))
