"""From a panel's tables to pieces of sheet: outlines, openings, holes, and what cannot be cut so."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from cabinwright.build.workshop import CutOut, Layer, Motif, OutlinePoint, Panel, Perforation, Sheet
from cabinwright.findings import Finding, finding
from cabinwright.physics.arcs import Points, Segment
from cabinwright.physics.outline import (
    Contour,
    Corner,
    Drawn,
    OutlineFault,
    circle,
    from_corners,
    least_inside_radius_m,
    slot,
)
from cabinwright.physics.perforation import Field, Ramp, perforate
from cabinwright.stages.workshop.drawn import drawn_key
from cabinwright.stages.workshop.result import Part

__all__ = ["Shapes", "cutter_radius_m", "parts_of", "shapes_of"]

FILLET_M = 0.003  #: rounding where an outline would kink, unless said
CURVE_FILLET_M = 0.02  #: the same along a curve
WEB_M = 0.002  #: least web is never asked to be more than this unless said
ROUTER_M = 0.003  #: diameter of a router's bit unless said
SOLID_M = 0.002  #: least material between two openings, and between an opening and the edge

SHARP_M = 0.0002  #: an inside corner that comes out rounder than this is worth a word

DrawnFiles = Mapping[str, Drawn | str]


@dataclass
class Shapes:
    """What a panel's tables draw, before it is spread over its layers."""

    outline: Contour
    cut_outs: list[Contour] = field(default_factory=list)
    slots: dict[str, tuple[tuple[Segment, ...], float]] = field(default_factory=dict)  #: name: curve, width
    lines: list[tuple[str, str | None, tuple[Segment, ...]]] = field(default_factory=list)  #: operation, layer, chain
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
        found.append(_faulty(where, fault))
        return None
    except ValueError as refused:
        found.append(finding("workshop.file_refused", where=where, reason=str(refused)))
        return None
    shapes = Shapes(outline, list(inner))
    for item in panel.cut_outs:
        try:
            contour = _opening(item)
        except OutlineFault as fault:
            found.append(_faulty(f"{where}, cut-out “{item.name}”", fault))
            continue
        if item.operation == "cut":
            shapes.cut_outs.append(contour)
        else:
            shapes.lines.append((item.operation, None, contour.segments))
    for line in panel.slots:
        fillet = CURVE_FILLET_M if line.fillet_m is None else line.fillet_m
        try:
            curve = from_corners(_corners(line.curve), fillet_m=fillet, closed=False)
            slot(curve, line.width_m)
            shapes.slots[line.name] = (curve, line.width_m)
        except OutlineFault as fault:
            found.append(_faulty(f"{where}, slot “{line.name}”", fault))
    for motif in panel.motifs:
        content = drawn.get(drawn_key(motif.file, motif=True), "it was not read")
        if isinstance(content, str):
            found.append(finding("workshop.file_refused", where=f"{where}, motif “{motif.name}”", reason=content))
        else:
            shapes.lines += [(motif.operation, motif.layer or "", chain) for chain in _placed(motif, content)]
    centres = [complex(*at) for item in panel.drills for at in item.at_m]
    sizes = [item.diameter_m for item in panel.drills for _ in item.at_m]
    shapes.drills = Field(np.array(centres, dtype=np.complex128), np.array(sizes, dtype=float))
    return shapes


def parts_of(
    panel: Panel, shapes: Shapes, sheets: Mapping[str, Sheet], found: list[Finding]
) -> tuple[tuple[Part, ...], Field, float | None]:
    """The pieces of a panel from front to back, the field of holes as drawn, and its least web as asked."""
    layers = panel.layers or (Layer(name="board", sheet=panel.sheet or ""),)
    made = [(layer, part) for layer in layers if (part := _bare(panel, layer, shapes, sheets, found)) is not None]
    holes, web = _holes(panel, shapes, [(layer, part) for layer, part in made if layer.holes], sheets, found)
    parts = []
    clear = next((layer.name for layer, _ in made if layer.look == "clear"), made[0][0].name if made else "")
    for layer, bare in made:
        part = bare
        if layer.holes and len(holes.centres):
            wide = replace(holes, diameters_m=holes.diameters_m + 2.0 * layer.opening_offset_m)
            part = replace(
                part, holes=Field(wide.centres[wide.diameters_m > 0], wide.diameters_m[wide.diameters_m > 0])
            )
        lines = tuple(
            (operation, chain)
            for operation, wanted, chain in shapes.lines
            if (wanted or clear) == layer.name or (wanted is None and layer is made[0][0])
        )
        part = replace(part, lines=lines)
        stops = tuple(item.code for item in _solid(part, sheets[part.sheet], found) if item.severity == "stop")
        parts.append(replace(part, stopped=(*part.stopped, *stops)))
    return tuple(parts), holes, web


def cutter_radius_m(sheet: Sheet) -> float:
    """Tightest inside corner that the sheet's cutter can make."""
    if sheet.cutter_diameter_m is not None:
        return sheet.cutter_diameter_m / 2.0
    return ROUTER_M / 2.0 if sheet.cutter == "router" else 0.0


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
        outline = Contour(from_corners(_corners(panel.outline), fillet_m=fillet))
    elif panel.size_m is not None:
        outline = _rectangle(panel.size_m, complex(*panel.size_m) / 2.0, panel.fillet_m or 0.0)
    else:
        outline = circle(0.0, panel.diameter_m or 0.0)
    outline.check()
    outline = outline.counter_clockwise()
    if panel.offset_m:
        moved = outline.offset(panel.offset_m)
        if len(moved) != 1:
            raise _apart(outline, moved, panel.offset_m)
        outline = moved[0]
    return outline, inner


def _apart(outline: Contour, moved: tuple[Contour, ...], offset_m: float) -> OutlineFault:
    what = "nothing is left" if not moved else f"it falls into {len(moved)} pieces"
    cure = "Choose a smaller offset, or widen the narrow place."
    return OutlineFault(
        "nothing left", outline.segments[0].start, f"moved by {1e3 * offset_m:+.1f} mm, {what}; drawn from", cure
    )


def _rectangle(size_m: tuple[float, float], centre: complex, fillet_m: float) -> Contour:
    half = complex(*size_m) / 2.0
    corners = [Corner(centre + complex(x * half.real, y * half.imag)) for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    return Contour(from_corners(corners, fillet_m=fillet_m))


def _corners(points: tuple[OutlinePoint, ...]) -> list[Corner]:
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
    contour = Contour(from_corners(_corners(item.outline or ()), fillet_m=fillet)).moved(shift=at)
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


def _bare(panel: Panel, layer: Layer, shapes: Shapes, sheets: Mapping[str, Sheet], found: list[Finding]) -> Part | None:
    """One layer with outline and openings, no holes yet."""
    sheet = sheets[layer.sheet]
    name = f"{panel.name}, {layer.name}" if panel.layers else panel.name
    where = f"part “{name}”"
    moved = shapes.outline.offset(layer.offset_m)
    if len(moved) != 1:
        found.append(_faulty(where, _apart(shapes.outline, moved, layer.offset_m)))
        return None
    openings: list[Contour] = []
    stops: list[str] = []
    try:
        if layer.cut_outs:
            for contour in shapes.cut_outs:
                openings += contour.counter_clockwise().offset(layer.opening_offset_m)
        if layer.slots:
            wide = 2.0 * layer.opening_offset_m
            openings += [slot(curve, width + wide) for curve, width in shapes.slots.values() if width + wide > 0.0]
    except OutlineFault as fault:
        found.append(_faulty(where, fault))
        stops.append("workshop.outline")
    return Part(
        name=name,
        panel=panel.name,
        layer=layer.name if panel.layers else "",
        look=layer.look,
        sheet=sheet.name,
        material=sheet.material,
        cutter=sheet.cutter,
        thickness_m=sheet.thickness_m,
        kerf_m=sheet.kerf_m,
        count=panel.count,
        grain=panel.grain,
        outline=moved[0],
        openings=tuple(openings),
        drills=shapes.drills if layer.drills else Shapes(shapes.outline).drills,
        rectangle=panel.size_m is not None and not panel.layers,
        banded=panel.banded if not panel.layers else (),
        banding_m=panel.banding_m if panel.banded and not panel.layers else 0.0,
        stopped=tuple(stops),
    )


def _holes(
    panel: Panel,
    shapes: Shapes,
    made: list[tuple[Layer, Part]],
    sheets: Mapping[str, Sheet],
    found: list[Finding],
) -> tuple[Field, float | None]:
    """All fields of a panel as one, kept clear of the edges of every layer that has holes."""
    empty = Field(np.zeros(0, dtype=np.complex128), np.zeros(0))
    if not made or not panel.perforations:
        return empty, None
    grow = max(layer.opening_offset_m for layer, _ in made)
    edges = [part.outline for _, part in made]
    taken = [opening for _, part in made for opening in part.openings]
    taken += [circle(at, size) for at, size in zip(shapes.drills.centres, shapes.drills.diameters_m, strict=True)]
    fields, webs = [], []
    for item in panel.perforations:
        where = f"panel “{panel.name}”, field “{item.name}”"
        thick = max(sheets[part.sheet].thickness_m for _, part in made)
        web = item.least_web_m if item.least_web_m is not None else min(thick, WEB_M)
        try:
            made_field = _field(item, shapes.outline, edges, taken, web + 2.0 * grow, item.margin_m + grow)
        except OutlineFault as fault:
            found.append(_faulty(where, fault))
            continue
        except ValueError as refused:
            found.append(finding("workshop.holes_refused", where=where, reason=str(refused)))
            continue
        if not len(made_field.centres):
            found.append(finding("workshop.holes_none", where=where))
        fields.append(made_field)
        webs.append(web)
        if item.within is not None or len(panel.perforations) > 1:
            fillet = FILLET_M if item.fillet_m is None else item.fillet_m
            taken += [Contour(from_corners(_corners(item.within), fillet_m=fillet))] if item.within else []
    if not fields:
        return empty, None
    whole = Field(
        np.concatenate([item.centres for item in fields]),
        np.concatenate([item.diameters_m for item in fields]),
        sum(item.left_out_edge for item in fields),
        sum(item.left_out_web for item in fields),
    )
    return whole, min(webs)


def _field(
    item: Perforation, outline: Contour, edges: list[Contour], taken: list[Contour], web_m: float, margin_m: float
) -> Field:
    region = outline
    if item.within is not None:
        fillet = FILLET_M if item.fillet_m is None else item.fillet_m
        region = Contour(from_corners(_corners(item.within), fillet_m=fillet))
        region.check()
    x0, y0, x1, y1 = region.bounds
    focus: complex | tuple[Segment, ...] = complex(x0 + x1, y0 + y1) / 2.0
    if item.focus_m is not None:
        focus = complex(*item.focus_m)
    elif item.focus_curve is not None:
        focus = from_corners(_corners(item.focus_curve), fillet_m=CURVE_FILLET_M, closed=False)
    return perforate(
        region,
        focus=focus,
        diameter=Ramp(item.diameter_m, item.diameter_far_m or item.diameter_m, item.reach_m),
        pitch=Ramp(item.pitch_m, item.pitch_far_m or item.pitch_m, item.reach_m),
        least_web_m=web_m,
        margin_m=margin_m,
        rows=item.rows,
        turn_rad=math.radians(item.turn_deg),
        avoid=taken,
        within=edges,
    )


def _solid(part: Part, sheet: Sheet, found: list[Finding]) -> list[Finding]:
    """What stands against cutting a part: openings that meet, corners the cutter cannot make. Added to ``found`` too."""
    where, new = f"part “{part.name}”", []
    inside = [(part.outline, False), *((opening, True) for opening in part.openings)]
    need = max(cutter_radius_m(sheet), sheet.kerf_m / 2.0)
    for contour, hollow in inside:
        radius, at = least_inside_radius_m(contour, hollow=hollow)
        if radius + 1e-6 < need and (radius > 0.0 or need > SHARP_M):
            code = "workshop.hard_inside_corner" if radius == 0.0 else "workshop.too_tight"
            place = f"{1e3 * at.real:.0f}, {1e3 * at.imag:.0f} mm"
            new.append(
                finding(
                    code, where=where, value=round(1e3 * radius, 2), limit=round(1e3 * need, 2), unit="mm", at=place
                )
            )
    bounds = np.array([opening.bounds for opening in part.openings]).reshape(-1, 4)
    for number, opening in enumerate(part.openings):
        points = opening.points(5e-5)
        gap = _gap(part.outline, points, inside=True)
        for other in range(number):
            if np.all(bounds[number, :2] <= bounds[other, 2:] + SOLID_M) and np.all(
                bounds[other, :2] <= bounds[number, 2:] + SOLID_M
            ):
                gap = min(gap, _gap(part.openings[other], points, inside=False))
        if gap < SOLID_M:
            code = "workshop.openings_meet" if gap <= 0.0 else "workshop.thin_web"
            at = points[0]
            new.append(
                finding(
                    code,
                    where=where,
                    value=round(1e3 * gap, 2),
                    limit=1e3 * SOLID_M,
                    unit="mm",
                    at=f"{1e3 * at.real:.0f}, {1e3 * at.imag:.0f} mm",
                )
            )
    for at, size in zip(part.drills.centres, part.drills.diameters_m, strict=True):
        if _gap(part.outline, np.array([at]), inside=True) < size / 2.0 + SOLID_M:
            place = f"{1e3 * at.real:.0f}, {1e3 * at.imag:.0f} mm"
            new.append(
                finding("workshop.drill_at_edge", where=where, value=round(1e3 * float(size), 2), unit="mm", at=place)
            )
    found += new
    return new


def _gap(contour: Contour, points: Points, *, inside: bool) -> float:
    """Least distance of ``points`` from an outline; not above 0 where one lies on its wrong side."""
    far = float(np.min(contour.distance_m(points)))
    right = contour.holds(points) if inside else ~contour.holds(points)
    return far if bool(np.all(right)) else -far


def _faulty(where: str, fault: OutlineFault) -> Finding:
    place = f"{1e3 * fault.at.real:.1f}, {1e3 * fault.at.imag:.1f} mm"
    return finding("workshop.outline", where=where, value=fault.kind, fault=fault.rule, at=place, cure=fault.cure)
