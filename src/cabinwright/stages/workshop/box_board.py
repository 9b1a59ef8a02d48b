"""A board of a computed box as a panel, and what is alike in all of them: holes of its baffle, and turning it over."""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from cabinwright.build.loudspeaker import Radiator, SpeakerModel
from cabinwright.build.outlines import OutlinePoint
from cabinwright.build.shapes import BoxShape
from cabinwright.build.workshop import CutOut, Drill, Panel
from cabinwright.physics.arcs import Segment
from cabinwright.physics.outline import Contour
from cabinwright.stages.enclosure.fit_units import wall_of
from cabinwright.stages.enclosure.shape_result import ShapeResult
from cabinwright.stages.workshop.joinery import PLAIN, Joinery, Scribe

__all__ = ["Computed", "fitted", "hard_points", "pair", "points", "turned_over"]

PILOT_M = 0.003  #: drilled for the loudspeaker's screws; common practice for 5 mm wood screws


@dataclass(frozen=True)
class Computed:
    """A panel of a box, ring, pod or jig, and what is known of it exactly."""

    panel: Panel
    exact: tuple[Contour, tuple[Contour, ...]] | None = None  #: outline and opening; None: as the panel's points say
    stopped: tuple[str, ...] = ()  #: stops that stand against its box
    lines: tuple[Scribe, ...] = ()  #: besides
    joinery: Joinery = PLAIN


def points(contour: Contour) -> tuple[OutlinePoint, ...]:
    """An outline as its points, arcs by a point on them; never fewer than three."""
    segments = contour.segments
    while len(segments) < 3:
        segments = tuple(part for item in segments for part in (item.part(0.0, 0.5), item.part(0.5, 1.0)))
    return tuple(
        OutlinePoint(at_m=pair(item.end), via_m=None if item.is_line else pair(item.point(0.5)), fillet_m=0.0)
        for item in segments
    )


def hard_points(corners: list[complex]) -> tuple[OutlinePoint, ...]:
    """Hard corners joined by lines."""
    return tuple(OutlinePoint(at_m=pair(at), fillet_m=0.0) for at in corners)


def pair(at: complex) -> tuple[float, float]:
    """A point as a table has it."""
    return at.real, at.imag


def _mounts(shape: BoxShape, result: ShapeResult, shift: complex) -> Iterator[CutOut]:
    """Holes for loudspeakers, ports and cables, in their wall."""
    for number, hole in enumerate(shape.cable_holes, 1):
        at = complex(*hole.at_m) + shift
        yield CutOut(name=f"cable {number}", diameter_m=hole.diameter_m, at_m=pair(at))
    for number, at in enumerate(result.speakers, 1):
        if result.cut_out_m is not None:
            yield CutOut(name=f"loudspeaker {number}", diameter_m=result.cut_out_m, at_m=pair(at + shift))
    for number, at in enumerate(result.ports, 1):
        if result.port_m is not None and result.port_round:
            yield CutOut(name=f"port {number}", diameter_m=result.port_m[0], at_m=pair(at + shift))
        elif result.port_m is not None:
            yield CutOut(name=f"port {number}", size_m=result.port_m, at_m=pair(at + shift))


def _radiators(result: ShapeResult, wall: int | str, shift: complex) -> Iterator[CutOut]:
    """Holes for passive radiators in one wall: an index of a side, ``top`` or ``bottom``."""
    for number, row in enumerate(result.radiators, 1):
        if row is not None and row.index == wall and row.cut_out_m is not None:
            yield CutOut(name=f"passive radiator {number}", diameter_m=row.cut_out_m, at_m=pair(row.at + shift))


def _screws(part: SpeakerModel | Radiator | None, places: Iterable[complex], shift: complex) -> tuple[Drill, ...]:
    """Pilot holes on the mounting circle round each place whose hole is cut, none straight above the middle."""
    if part is None or part.mounting_circle_m is None or part.screws is None or part.cut_out_m is None:
        return ()
    angles = 2.0 * math.pi * (np.arange(part.screws) + 0.5) / part.screws
    ring = [cmath.rect(part.mounting_circle_m / 2.0, float(angle)) for angle in angles]
    spots = tuple(pair(at + shift + step) for at in places for step in ring)
    return (Drill(at_m=spots, diameter_m=PILOT_M),) if spots else ()


def fitted(
    shape: BoxShape, result: ShapeResult, parts: tuple[SpeakerModel, Radiator | None], wall: int | str, shift: complex
) -> tuple[tuple[CutOut, ...], tuple[Drill, ...]]:
    """Holes and pilot holes for all that sits in one wall; ``parts``: the drive unit and the passive radiator."""
    own = wall_of(shape, result.body) == wall
    cuts = [*(_mounts(shape, result, shift) if own else ()), *_radiators(result, wall, shift)]
    drills = _screws(parts[0], result.speakers, shift) if own else ()
    return tuple(cuts), drills + _screws(parts[1], [row.at for row in result.radiators_in(wall)], shift)


def turned_over(board: Computed) -> Computed:
    """The same board seen from its other face, over the same width."""
    panel = board.panel
    if board.exact is not None:
        sum_m = board.exact[0].bounds[0] + board.exact[0].bounds[2]
    else:
        across = [item.at_m[0] for item in panel.outline or ()]
        sum_m = min(across) + max(across)
    over = {
        "outline": None if panel.outline is None else _points_over(panel.outline, sum_m),
        "cut_outs": tuple(_cut_over(item, sum_m) for item in panel.cut_outs),
        "drills": tuple(
            item.model_copy(update={"at_m": tuple((sum_m - x, y) for x, y in item.at_m)}) for item in panel.drills
        ),
    }
    exact = None
    if board.exact is not None:
        exact = _contour_over(board.exact[0], sum_m), tuple(_contour_over(item, sum_m) for item in board.exact[1])
    return replace(
        board,
        panel=panel.model_copy(update=over),
        exact=exact,
        lines=tuple(
            line._replace(chain=tuple(_segment_over(item, sum_m) for item in line.chain)) for line in board.lines
        ),
        joinery=board.joinery.turned_over(sum_m),
    )


def _points_over(rows: tuple[OutlinePoint, ...], sum_m: float) -> tuple[OutlinePoint, ...]:
    return tuple(
        item.model_copy(
            update={
                "at_m": (sum_m - item.at_m[0], item.at_m[1]),
                "via_m": None if item.via_m is None else (sum_m - item.via_m[0], item.via_m[1]),
            }
        )
        for item in rows
    )


def _cut_over(item: CutOut, sum_m: float) -> CutOut:
    if item.outline is not None:  # its points are those of the board: it is not shifted
        return item.model_copy(update={"outline": _points_over(item.outline, sum_m)})
    return item.model_copy(update={"at_m": (sum_m - item.at_m[0], item.at_m[1])})


def _segment_over(item: Segment, sum_m: float) -> Segment:
    return Segment(sum_m - item.start.conjugate(), sum_m - item.end.conjugate(), -item.bulge)


def _contour_over(item: Contour, sum_m: float) -> Contour:
    return Contour(tuple(_segment_over(part, sum_m) for part in item.segments)).counter_clockwise()
