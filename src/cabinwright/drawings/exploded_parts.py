"""Where the flat parts of boxes and layered panels stand, for ``drawings.exploded``: from the parts that are cut."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from cabinwright.build.loudspeaker import SpeakerModel
from cabinwright.drawings.boards import LOOKS, Board
from cabinwright.drawings.exploded import Cone, Level, Strip
from cabinwright.physics.arcs import Segment
from cabinwright.physics.outline import Contour, circle
from cabinwright.physics.perforation import Field
from cabinwright.physics.solid import Plate
from cabinwright.stages.enclosure.shape_result import ShapeResult
from cabinwright.stages.workshop.result import LightResult, Part

__all__ = ["Group", "box_levels", "panel_levels"]

FIBRE = ("MDF", "hardboard")
PLASTIC, METAL = ("acrylic", "ABS", "polycarbonate", "PVC"), ("aluminium", "steel")
FRAME_M = 0.02  #: a loudspeaker seen from behind
OUT = 0.22  #: walls are drawn so far outwards, of the box's width
Group = tuple[int, str, Sequence[str]]
"""Number of a step, its name in the picture, and the names of its parts and strips."""


def box_levels(
    name: str, result: ShapeResult, parts: Mapping[str, Part], model: SpeakerModel, groups: Sequence[Group]
) -> Iterator[Level]:
    """The boards of a box, and its loudspeakers last, or lowest. A group without parts is the step in which they go in."""
    body = result.body
    across = model.outer_diameter_m or result.cut_out_m
    last = [group for group in groups if not group[2] and across]
    if result.baffle == "bottom" and across:
        for number, said, _ in last:
            discs = [_flat(circle(at, across), 0.0, FRAME_M) for at in result.speakers]
            yield Level(number, said, tuple(Board(disc, "dark face") for disc in discs))
    for number, said, names in groups:
        if not names:
            continue
        boards = [board for part in names for board in _placed(part.removeprefix(f"{name}, "), parts[part], result)]
        if body.construction == "bent" and any("wall" in part for part in names):
            run = next(item for item in body.runs if item.role == "walls")
            boards = [
                Board(
                    _flat(run.outline, run.low_m, run.high_m - run.low_m, _openings(run.opening)),
                    _look(parts[names[0]]),
                )
            ]
        yield Level(number, said, tuple(boards))
    if result.baffle != "bottom" and across:
        for number, said, _ in last:
            cones = tuple(_cone(result, at, across, model.screws) for at in result.speakers)
            yield Level(number, said, cones=cones, beside=body.wall is not None)


def _placed(label: str, part: Part, result: ShapeResult) -> Iterator[Board]:
    """One part of a box where it stands, drawn outwards where it is a wall."""
    body, look = result.body, _look(part)
    thick = part.thickness_m
    if label.startswith("wall "):
        yield _wall(part, result, body.side(int(label.split()[1])), 0.0)
    elif label.startswith("second board"):
        yield _wall(part, result, body.wall or 0, thick, second=True)
    elif label.startswith("brace "):
        start, end = result.braces[int(label.split()[1]) - 1]
        way = (end - start) / abs(end - start)
        corner = start + 0.5j * way * thick
        across = (way.real, way.imag, 0.0)
        plate = Plate(
            (corner.real, corner.imag, body.inside_low_m), across, (0.0, 0.0, 1.0), part.outline, thick, part.openings
        )
        yield Board(plate, look)
    elif label.startswith("post "):
        at, _ = result.posts[int(label.split()[1]) - 1]
        tall = body.inside_high_m - body.inside_low_m
        yield Board(_flat(part.outline.moved(shift=at), body.inside_low_m, tall), look, part.count)
    else:
        rings = [run for run in body.runs if run.role == "ring"]
        runs = {"ring": rings, "floor": body.runs[:1]}.get(label.split()[0], body.runs[-1:])
        if label.startswith("baffle") and result.baffle == "bottom":
            runs = body.runs[:1]
        run = runs[int(label.split()[1]) - 1] if label.startswith("ring ") else runs[0]
        outer = label.endswith("outer board")
        low = run.low_m if not outer or runs[0] is body.runs[0] else run.high_m - thick * part.count
        seen = _over(part) if part.joinery.face == "inside" and run is body.runs[-1] else part
        openings = (*seen.openings, *_openings(None))
        yield Board(_flat(seen.outline, low, thick * part.count, openings), look, part.count, _round(seen))


def _wall(part: Part, result: ShapeResult, index: int, inward_m: float, *, second: bool = False) -> Board:
    """A wall as it is seen from outside, along its side of the outline."""
    run = next(item for item in result.body.runs if item.role == "walls")
    side = run.outline.counter_clockwise().segments[index]
    way = side.chord / abs(side.chord)
    shown = _over(part) if part.joinery.face == "inside" else part
    x0, y0, _, y1 = shown.outline.bounds
    corner = side.start - 1j * way * _out_m(result) + 1j * way * inward_m
    if second:
        corner += way * (side.length_m - shown.size_m[0]) / 2.0 - way * x0 + 0.4j * way * _out_m(result)
    low = run.low_m - ((y1 - y0) - (run.high_m - run.low_m)) / 2.0 - y0
    inside = corner + 1j * way * part.thickness_m
    plate = Plate((inside.real, inside.imag, low), (way.real, way.imag, 0.0), (0.0, 0.0, 1.0), shown.outline, part.thickness_m,
                  shown.openings)  # fmt: skip
    return Board(plate, _look(part), 1, _round(shown))


def _out_m(result: ShapeResult) -> float:
    x0, y0, x1, y1 = result.body.plan.bounds
    return OUT * min(x1 - x0, y1 - y0)


def _cone(result: ShapeResult, at: complex, across_m: float, screws: int | None) -> Cone:
    body = result.body
    if body.wall is None:
        return Cone((at.real, at.imag, body.height_m), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), across_m, screws)
    side = body.hollow_runs[0].outline.counter_clockwise().segments[body.wall]
    way = side.chord / abs(side.chord)
    spot = side.start + way * at.real - 2.2j * way * _out_m(result)
    return Cone((spot.real, spot.imag, at.imag), (way.real, way.imag, 0.0), (0.0, 0.0, 1.0), across_m, screws)


def panel_levels(
    parts: Mapping[str, Part], lights: Mapping[str, LightResult], groups: Sequence[Group]
) -> Iterator[Level]:
    """The layers of a panel with its front down, as they lie on the bench: mirrored, front lowest."""
    high = 0.0
    for number, said, names in groups:
        boards, strips = [], []
        for name in names:
            if name in lights:
                chain = tuple(_mirrored(item) for item in lights[name].path)
                strips.append(Strip(chain, high, lights[name].colour))
                continue
            part = _over(parts[name], about_m=0.0)
            boards.append(
                Board(_flat(part.outline, high, part.thickness_m, part.openings), _look(part), 1, _round(part))
            )
        high = max([high, *(float(item.corners[:, 2].max()) for item in boards)])
        yield Level(number, said, tuple(boards), strips=tuple(strips))


def _flat(outline: Contour, low_m: float, thick_m: float, openings: tuple[Contour, ...] = ()) -> Plate:
    return Plate((0.0, 0.0, low_m), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), outline, thick_m, openings)


def _openings(contour: Contour | None) -> tuple[Contour, ...]:
    return () if contour is None else (contour,)


def _look(part: Part) -> str:
    if part.look != "board":
        return part.look if part.look in LOOKS else "board"
    kinds = ((FIBRE, "fibre"), (PLASTIC, "plastic"), (METAL, "metal"))
    return next((look for materials, look in kinds if part.material in materials), "board")


def _round(part: Part) -> Field:
    return Field(
        np.concatenate((part.holes.centres, part.drills.centres)),
        np.concatenate((part.holes.diameters_m, part.drills.diameters_m)),
    )


def _over(part: Part, about_m: float | None = None) -> Part:
    """The part seen from its other face, over the same width, or about x = ``about_m``."""
    x0, _, x1, _ = part.outline.bounds
    twice = x0 + x1 if about_m is None else 2.0 * about_m

    def turned(contour: Contour) -> Contour:
        return Contour(tuple(_mirrored(item, twice) for item in contour.segments)).counter_clockwise()

    def spots(field: Field) -> Field:
        return Field(twice - field.centres.conjugate(), field.diameters_m)

    return replace(
        part,
        outline=turned(part.outline),
        openings=tuple(turned(item) for item in part.openings),
        holes=spots(part.holes),
        drills=spots(part.drills),
    )


def _mirrored(item: Segment, twice_m: float = 0.0) -> Segment:
    return Segment(twice_m - item.start.conjugate(), twice_m - item.end.conjugate(), -item.bulge)
