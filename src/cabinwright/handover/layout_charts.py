"""The charts and drawings of the comparison of places: which curves and shapes stand in which."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build
from cabinwright.drawings.cabin import HEAD_RADIUS_M, View, cabin_picture, project
from cabinwright.drawings.chart import Axis, Chart, Line, Mark, Shade, Spread
from cabinwright.drawings.picture import Cells, Disc, Picture, Shape, Stroke, Words
from cabinwright.physics.directivity import band_loss_db
from cabinwright.stages.layout.result import Heard, LayoutResult, LowFrequency, PlaceResult
from cabinwright.stages.layout.view import PodView

__all__ = [
    "LOW_INKS",
    "MAP_STEPS",
    "arrivals_chart",
    "axis_chart",
    "low_chart",
    "low_map",
    "plan_view",
    "response_chart",
    "view_picture",
    "views",
]

Array = NDArray[np.float64]
HALF_MM, REAR_MM, WIDE_MM = 88.0, 120.0, 180.0
LATEST_MS = 12.0
FLOOR_DB = -40.0
RAYS_FROM_HZ = 500.0  #: below, surfaces of a cabin are no larger than the wavelength
RAYS = 4  #: strongest early reflections drawn for each place
MAP_STEPS = (0.0, 3.0, 6.0, 9.0, 12.0, 15.0, 18.0)
LOW_INKS = ("after", "right", "target", "before", "filters", "trace")
STEMS = ((3, "stem third", "three"), (2, "stem second", "two reflections"), (1, "stem first", "one reflection"))
ANGLES_DEG = (15.0, 30.0, 45.0, 60.0)


def views(
    build: Build, result: LayoutResult, numbers: Mapping[str, int], shown: Sequence[str]
) -> list[tuple[View, Picture]]:
    """Plan, side and rear, with the direct sound and the strongest early reflections of ``shown`` places."""
    widths: dict[View, float] = {"plan": WIDE_MM, "side": WIDE_MM, "rear": REAR_MM}
    return [(view, _view(build, result, numbers, shown, view, width)) for view, width in widths.items()]


def plan_view(build: Build, result: LayoutResult, numbers: Mapping[str, int], shown: Sequence[str]) -> Picture:
    """The plan alone."""
    return _view(build, result, numbers, shown, "plan", WIDE_MM)


def _view(
    build: Build,
    result: LayoutResult,
    numbers: Mapping[str, int],
    shown: Sequence[str],
    view: View,
    width_mm: float,
) -> Picture:
    aims = {name: item.aim for name, item in result.places.items()}
    first = {name for row in result.ranking if row == _first(result, row.role) for name in row.places}
    head = next(seat.head_m for seat in build.seats if seat.name == result.listening_seat)
    rays: list[list[Sequence[float]]] = []
    for name in shown:
        place = result.places[name]
        heard = place.seats[result.listening_seat]
        if not heard.occluded:
            rays.append([place.position_m, head])
        early = sorted((r for r in heard.reflections if r.delay_s < 0.010), key=lambda r: -r.level_db)[:RAYS]
        rays += [[place.position_m, *row.points_m, head] for row in early]
    return cabin_picture(build, view, numbers=numbers, aims=aims, first=first, rays=rays, width_mm=width_mm)


def _first(result: LayoutResult, role: str) -> object:
    return next(row for row in result.ranking if row.role == role)


def arrivals_chart(place: PlaceResult, heard: Heard) -> Chart:
    """Direct sound and reflections against time: height is level."""
    rows = [r for r in heard.reflections if r.delay_s * 1000.0 < LATEST_MS and r.level_db > FLOOR_DB]
    lines = []
    for order, ink, label in STEMS:  # the strongest are drawn last, over all others
        mine = [r for r in rows if r.order == order]
        x = np.array([[1000.0 * r.delay_s, 1000.0 * r.delay_s, np.nan] for r in mine]).ravel()
        y = np.array([[FLOOR_DB, r.level_db, np.nan] for r in mine]).ravel()
        lines.append(Line(x, y, label, ink))
    lines.append(Line(np.array([0.0, 0.0]), np.array([FLOOR_DB, 0.0]), "direct sound", "after"))
    return Chart(
        f"{place.name}: arrivals after the direct sound; {len(rows)} reflections within {LATEST_MS:.0f} ms.",
        Axis("after the direct sound, ms", -0.3, LATEST_MS, 2.0),
        Axis("level, dB", FLOOR_DB, 6.0, 10.0),
        lines=tuple(lines),
        width_mm=HALF_MM,
        height_mm=52.0,
    )


def response_chart(place: PlaceResult, heard: Heard) -> Chart:
    """Direct sound and reflections together over the head box."""
    use = heard.box_hz >= 200.0
    x, table = heard.box_hz[use], heard.box_db[:, use]
    mean = 10.0 * np.log10(np.mean(10.0 ** (table / 10.0), axis=0))
    return Chart(
        f"{place.name}: predicted level over the head box, with the combs of its reflections.",
        Axis.frequency(low_hz=200.0, high_hz=10_000.0),
        Axis("level, dB", -24.0, 18.0, 6.0),
        lines=(Line(x, mean, "mean over the head box", "after"), Line(x, table[0], "at its centre", "before")),
        spreads=(Spread(x, table.min(axis=0), table.max(axis=0), "from place to place", "after"),),
        shades=(Shade(200.0, RAYS_FROM_HZ),),
        marks=(Mark(0.0, "y"),),
        width_mm=HALF_MM,
        height_mm=52.0,
    )


def axis_chart(radius_m: float, speed_m_s: float, words: str) -> Chart:
    """Loss off the axis of a piston, in octave bands."""
    f = np.geomspace(250.0, 16_000.0, 60)
    loss = band_loss_db(angle_rad=np.radians(ANGLES_DEG), bands_hz=f, radius_m=radius_m, speed_m_s=speed_m_s)
    inks = ("after", "right", "before", "target")
    return Chart(
        f"Level off axis of a cone of {1000.0 * radius_m:.0f} mm radius ({words}).",
        Axis.frequency(low_hz=250.0, high_hz=16_000.0),
        Axis("level, dB", -24.0, 3.0, 6.0),
        lines=tuple(Line(f, row, f"{angle:.0f}°", ink) for row, angle, ink in zip(loss, ANGLES_DEG, inks, strict=True)),
        width_mm=HALF_MM,
        height_mm=52.0,
    )


def low_chart(result: LayoutResult, low: LowFrequency, names: Sequence[str]) -> Chart:
    """Low places at the listening seat, over the same speaker in half space."""
    lines = []
    for name, ink in zip(names, LOW_INKS, strict=False):
        place = result.places[name].low
        assert place is not None
        level = 10.0 * np.log10(np.mean(10.0 ** (place.level_db[result.listening_seat] / 10.0), axis=0))
        lines.append(Line(place.frequency_hz, level, name, ink))
    return Chart(
        f"Level of low places at the {result.listening_seat}'s head over half space, by the cabin's modes.",
        Axis.frequency(low_hz=20.0, high_hz=200.0),
        Axis("level, dB", -24.0, 30.0, 6.0),
        lines=tuple(lines),
        shades=(Shade(low.crossfade_hz[0], 200.0),),
        marks=tuple(Mark(f, "x") for f in low.modes_hz if f < 200.0),
        width_mm=WIDE_MM,
        height_mm=70.0,
    )


def low_map(build: Build, low: LowFrequency) -> Picture:
    """Level in the plane of the heads at one low frequency, from above."""
    x, y = low.map_x_m, low.map_y_m
    shapes: list[Shape] = [Cells(x, y, low.map_db, MAP_STEPS)]
    for surface in build.cabin.surfaces if build.cabin else ():
        shapes.append(Stroke(project(surface.corners_m, "plan"), "thin", closed=True))
    for seat in build.seats:
        at = (float(seat.head_m[0]), float(seat.head_m[1]))
        shapes.append(Disc(at, HEAD_RADIUS_M, "head"))
        shapes.append(Words((at[0], at[1] - HEAD_RADIUS_M), seat.name, (0.0, -3.2), size_pt=7.0))
    place = next((item for item in build.places if item.name == low.map_of), None)
    if place is not None:
        at = (float(place.position_m[0]), float(place.position_m[1]))
        behind = at[0] > float(x.mean())  # its name runs towards the middle, so that none is cut off
        shapes += [
            Disc(at, 0.05, "place first"),
            Words(at, place.name, (0.0, 4.2), "end" if behind else "start", bold=True),
        ]
    walls = [corner[:2] for item in (build.cabin.surfaces if build.cabin else ()) for corner in item.corners_m]
    every = np.asarray([*walls, (x[0], y[0]), (x[-1], y[-1])], dtype=np.float64)
    low_m, high_m = every.min(axis=0) - 0.05, every.max(axis=0) + 0.05
    return Picture(
        f"Level at {low.map_hz:.0f} Hz in the plane of the heads, {low.map_of} playing.",
        tuple(shapes),
        (float(low_m[0]), float(low_m[1])),
        (float(high_m[0]), float(high_m[1])),
        width_mm=120.0,
    )


def view_picture(pod: PodView) -> Picture:
    """What pillar and pod hide from both eyes, from above, nose to the left."""
    seen = pod.after
    eyes = seen.eyes_m[:, :2]
    shapes: list[Shape] = []
    for outline, look in ((seen.lower_m, "pod"), (pod.before.lower_m, "surface"), (pod.before.upper_m, "surface")):
        shapes.append(Stroke(np.asarray(outline)[:, :2], look, closed=True))
    hidden = np.vstack([seen.parallel_m[:, :2], seen.inner_m[::-1, :2]])
    shapes.append(Stroke(hidden, "hidden", closed=True))
    shapes += [Stroke(np.asarray(line)[:, :2], "measure") for line in (seen.outer_m, seen.inner_m, seen.parallel_m)]
    shapes += [Disc((float(x), float(y)), 0.012, "head", 0.8) for x, y in eyes]
    shapes.append(Disc((float(seen.pivot_m[0]), float(seen.pivot_m[1])), 0.0, "thin", 0.5))
    middle, apart = hidden.mean(axis=0), hidden[0] - hidden[1]
    beside = (3.0, 0.0) if abs(apart[1]) > abs(apart[0]) else (0.0, 5.0)
    shapes.append(Words((float(middle[0]), float(middle[1])), f"{seen.angle_deg:.1f}°", beside, bold=True, size_pt=8.0))
    shapes.append(Words((float(seen.pivot_m[0]), float(seen.pivot_m[1])), "eyes", (0.0, -4.0)))
    every = np.vstack([eyes, seen.outer_m[:, :2], seen.inner_m[:, :2], np.asarray(seen.lower_m)[:, :2]])
    low, high = every.min(axis=0) - 0.08, every.max(axis=0) + 0.08
    return Picture(
        f"{pod.place}: {pod.after.angle_deg:.1f} degrees hidden from both eyes, {pod.added_deg:.1f} of them by the pod.",
        tuple(shapes),
        (float(low[0]), float(low[1])),
        (float(high[0]), float(high[1])),
        width_mm=HALF_MM,
        scale_bar_m=0.2,
    )
