"""What a panel's tables draw, before it is spread over its layers: outline, openings, curves, lines, holes."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from cabinwright.build.outlines import OutlinePoint
from cabinwright.build.workshop import CutOut, Motif, Panel
from cabinwright.findings import Finding, finding
from cabinwright.physics.arcs import Segment
from cabinwright.physics.outline import Contour, Corner, Drawn, OutlineFault, circle, from_corners, slot
from cabinwright.physics.perforation import Field
from cabinwright.stages.drawn_units import PARTS_M, unit_doubt
from cabinwright.stages.workshop.drawn import drawn_key
from cabinwright.stages.workshop.joinery import Scribe

__all__ = ["CURVE_FILLET_M", "FILLET_M", "Shapes", "apart", "corners_of", "faulty", "shapes_of"]

FILLET_M = 0.003  #: rounding where an outline would kink, unless said
CURVE_FILLET_M = 0.02  #: the same along a curve
SLIVER_M = 5e-4  #: narrower is no part but a slip. Common practice, no source

DrawnFiles = Mapping[str, Drawn | str]


@dataclass
class Shapes:
    """What a panel's tables draw, before it is spread over its layers."""

    outline: Contour
    cut_outs: list[Contour] = field(default_factory=list)
    slots: dict[str, tuple[tuple[Segment, ...], float]] = field(default_factory=dict)  #: name: curve, width
    lines: list[tuple[str | None, Scribe]] = field(default_factory=list)  #: layer and line
    drills: Field = field(default_factory=lambda: Field(np.zeros(0, dtype=np.complex128), np.zeros(0)))


def shapes_of(
    panel: Panel,
    drawn: DrawnFiles,
    found: list[Finding],
    *,
    exact: tuple[Contour, tuple[Contour, ...]] | None = None,
) -> Shapes | None:
    """Outline, openings, curves and lines; None where there is no outline, with the reason in ``found``.

    ``exact`` is an outline that was computed, with what is cut out of it, in place of the panel's own points.
    """
    where = f"panel “{panel.name}”"
    try:
        outline, inner = exact or _outline(panel, drawn)
    except OutlineFault as fault:
        found.append(faulty(where, fault))
        return None
    except ValueError as refused:
        found.append(finding("workshop.file_refused", where=where, reason=str(refused)))
        return None
    content = drawn.get(drawn_key(panel.file, units=panel.file_units)) if panel.file is not None else None
    if isinstance(content, Drawn) and panel.file is not None:
        doubt = unit_doubt("workshop.outline_unit", content, where=where, file=panel.file, usual_m=PARTS_M)
        found.extend(() if doubt is None else (doubt,))
    shapes = Shapes(outline, list(inner))
    for item in panel.cut_outs:
        try:
            contour = _opening(item)
        except OutlineFault as fault:
            found.append(faulty(f"{where}, cut-out “{item.name}”", fault))
            continue
        if item.operation == "cut":
            shapes.cut_outs.append(contour)
        else:
            shapes.lines.append((None, Scribe(item.operation, contour.segments, item.depth_m or 0.0)))
    for line in panel.slots:
        fillet = CURVE_FILLET_M if line.fillet_m is None else line.fillet_m
        try:
            curve = from_corners(corners_of(line.curve), fillet_m=fillet, closed=False)
            slot(curve, line.width_m)
            shapes.slots[line.name] = (curve, line.width_m)
        except OutlineFault as fault:
            found.append(faulty(f"{where}, slot “{line.name}”", fault))
    for motif in panel.motifs:
        content = drawn.get(drawn_key(motif.file, motif=True), "it was not read")
        if isinstance(content, str):
            found.append(finding("workshop.file_refused", where=f"{where}, motif “{motif.name}”", reason=content))
        else:
            deep = motif.depth_m or 0.0
            shapes.lines += [
                (motif.layer or "", Scribe(motif.operation, chain, deep)) for chain in _placed(motif, content)
            ]
    centres = [complex(*at) for item in panel.drills for at in item.at_m]
    sizes = [item.diameter_m for item in panel.drills for _ in item.at_m]
    shapes.drills = Field(np.array(centres, dtype=np.complex128), np.array(sizes, dtype=float))
    return shapes


def _outline(panel: Panel, drawn: DrawnFiles) -> tuple[Contour, tuple[Contour, ...]]:
    """The panel's outline and, from a file, the contours inside it."""
    inner: tuple[Contour, ...] = ()
    if panel.file is not None:
        content = drawn.get(drawn_key(panel.file, units=panel.file_units), "it was not read")
        if isinstance(content, str):
            raise ValueError(content)
        outline, *rest = content.closed
        inner = tuple(item for item in rest if bool(np.all(outline.holds(item.points(1e-4)))))
    elif panel.outline is not None:
        fillet = FILLET_M if panel.fillet_m is None else panel.fillet_m
        outline = Contour(from_corners(corners_of(panel.outline), fillet_m=fillet))
    elif panel.size_m is not None:
        outline = _rectangle(panel.size_m, complex(*panel.size_m) / 2.0, panel.fillet_m or 0.0)
    else:
        outline = circle(0.0, panel.diameter_m or 0.0)
    outline.check()
    outline = outline.counter_clockwise()
    if panel.offset_m:
        moved = outline.offset(panel.offset_m)
        if len(moved) != 1:
            raise apart(outline, moved, panel.offset_m)
        outline = moved[0]
    if (mean := 2.0 * abs(outline.area_m2) / outline.length_m) < SLIVER_M:
        rule = f"the outline is a sliver, {1e3 * mean:.3f} mm wide at the mean; drawn from"
        cure = "Look for a slipped unit or two points that should be one; nothing so narrow can be cut."
        raise OutlineFault("nothing left", outline.segments[0].start, rule, cure)
    return outline, inner


def apart(outline: Contour, moved: tuple[Contour, ...], offset_m: float) -> OutlineFault:
    """An outline that, moved, is no longer one piece."""
    what = "nothing is left" if not moved else f"it falls into {len(moved)} pieces"
    cure = "Choose a smaller offset, or widen the narrow place."
    return OutlineFault(
        "nothing left", outline.segments[0].start, f"moved by {1e3 * offset_m:+.1f} mm, {what}; drawn from", cure
    )


def _rectangle(size_m: tuple[float, float], centre: complex, fillet_m: float) -> Contour:
    half = complex(*size_m) / 2.0
    corners = [Corner(centre + complex(x * half.real, y * half.imag)) for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    return Contour(from_corners(corners, fillet_m=fillet_m))


def corners_of(points: tuple[OutlinePoint, ...]) -> list[Corner]:
    """Points as tables have them, as corners of an outline or curve."""
    return [
        Corner(
            complex(*point.at_m),
            via=None if point.via_m is None else complex(*point.via_m),
            sagitta_m=point.sagitta_m,
            fillet_m=point.fillet_m,
        )
        for point in points
    ]


def _opening(item: CutOut) -> Contour:
    at, fillet = complex(*item.at_m), FILLET_M if item.fillet_m is None else item.fillet_m
    if item.diameter_m is not None:
        return circle(at, item.diameter_m)
    if item.size_m is not None:
        return _rectangle(item.size_m, at, fillet)
    contour = Contour(from_corners(corners_of(item.outline or ()), fillet_m=fillet)).moved(shift=at)
    contour.check()
    return contour.counter_clockwise()


def _placed(motif: Motif, content: Drawn) -> Iterator[tuple[Segment, ...]]:
    """The motif's lines, scaled to its width and put about its place."""
    chains = [*(contour.segments for contour in content.closed), *content.lines]
    boxes = np.array([segment.bounds() for chain in chains for segment in chain])
    low, high = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
    scale = motif.width_m / max(float(high[0] - low[0]), 1e-9)
    turn = scale * complex(math.cos(math.radians(motif.turn_deg)), math.sin(math.radians(motif.turn_deg)))
    shift = complex(*motif.at_m) - turn * complex(*((low + high) / 2.0))
    for chain in chains:
        yield tuple(segment.moved(turn=turn, shift=shift) for segment in chain)


def faulty(where: str, fault: OutlineFault) -> Finding:
    """What a fault in an outline says to the person."""
    place = f"{1e3 * fault.at.real:.1f}, {1e3 * fault.at.imag:.1f} mm"
    return finding("workshop.outline", where=where, value=fault.kind, fault=fault.rule, at=place, cure=fault.cure)
