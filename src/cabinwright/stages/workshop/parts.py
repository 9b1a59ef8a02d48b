"""From what a panel's tables draw to pieces of sheet, layer by layer, with their holes, and what cannot be cut so."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from cabinwright.build.workshop import Layer, Panel, Perforation, Sheet
from cabinwright.findings import Finding, finding
from cabinwright.physics.arcs import Points, Segment
from cabinwright.physics.outline import (
    Contour,
    OutlineFault,
    circle,
    from_corners,
    least_inside_radius_m,
    slot,
)
from cabinwright.physics.perforation import Field, Ramp, perforate
from cabinwright.stages.workshop.outlines import CURVE_FILLET_M, FILLET_M, Shapes, apart, corners_of, faulty
from cabinwright.stages.workshop.result import Part

__all__ = ["cutter_radius_m", "parts_of"]

WEB_M = 0.002  #: least web is never asked to be more than this unless said
ROUTER_M = 0.003  #: diameter of a router's bit unless said
SOLID_M = 0.002  #: least material between two openings, and between an opening and the edge

THIN_M = 0.0002  #: a score leaves at least so much
STEP_M = 0.0005  #: along a motif, between points that are asked where they lie
SHARP_M = 0.0002  #: an inside corner that comes out rounder than this is worth a word


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
            line
            for wanted, line in shapes.lines
            if (wanted or clear) == layer.name or (wanted is None and layer is made[0][0])
        )
        part = replace(part, lines=lines)
        drawn = [line.chain for wanted, line in shapes.lines if wanted is not None and (wanted or clear) == layer.name]
        _strayed(part, drawn, found)
        _through(part, found)
        stops = tuple(item.code for item in _solid(part, sheets[part.sheet], found) if item.severity == "stop")
        parts.append(replace(part, stopped=(*part.stopped, *stops)))
    return tuple(parts), holes, web


def cutter_radius_m(sheet: Sheet) -> float:
    """Tightest inside corner that the sheet's cutter can make."""
    if sheet.cutter_diameter_m is not None:
        return sheet.cutter_diameter_m / 2.0
    return ROUTER_M / 2.0 if sheet.cutter == "router" else 0.0


def _bare(panel: Panel, layer: Layer, shapes: Shapes, sheets: Mapping[str, Sheet], found: list[Finding]) -> Part | None:
    """One layer with outline and openings, no holes yet."""
    sheet = sheets[layer.sheet]
    name = f"{panel.name}, {layer.name}" if panel.layers else panel.name
    where = f"part “{name}”"
    moved = shapes.outline.offset(layer.offset_m)
    if len(moved) != 1:
        found.append(faulty(where, apart(shapes.outline, moved, layer.offset_m)))
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
        openings = _framed(moved[0], layer, openings)
    except OutlineFault as fault:
        found.append(faulty(where, fault))
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


def _framed(outline: Contour, layer: Layer, openings: list[Contour]) -> list[Contour]:
    """The openings of a layer that is a frame: its hollow, and those that do not lie in it."""
    if layer.frame_m is None:
        return openings
    hollow = outline.offset(-layer.frame_m)
    if len(hollow) != 1:
        raise apart(outline, hollow, -layer.frame_m)
    return [hollow[0], *(item for item in openings if not np.all(hollow[0].holds(item.points(1e-3))))]


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
            found.append(faulty(where, fault))
            continue
        except ValueError as refused:
            found.append(finding("workshop.holes_refused", where=where, reason=str(refused)))
            continue
        _shrunk(item, where, web + 2.0 * grow, found)
        if not len(made_field.centres):
            found.append(finding("workshop.holes_none", where=where))
        fields.append(made_field)
        webs.append(web)
        if item.within is not None or len(panel.perforations) > 1:
            fillet = FILLET_M if item.fillet_m is None else item.fillet_m
            taken += [Contour(from_corners(corners_of(item.within), fillet_m=fillet))] if item.within else []
    if not fields:
        return empty, None
    whole = Field(
        np.concatenate([item.centres for item in fields]),
        np.concatenate([item.diameters_m for item in fields]),
        sum(item.left_out_edge for item in fields),
        sum(item.left_out_web for item in fields),
    )
    return whole, min(webs)


def _shrunk(item: Perforation, where: str, web_m: float, found: list[Finding]) -> None:
    """A word where hole and web are more than the pitch: there holes come out smaller than drawn."""
    ends = ((item.diameter_m, item.pitch_m), (item.diameter_far_m, item.pitch_far_m))
    pairs = [(wide or item.diameter_m, pitch or item.pitch_m) for wide, pitch in ends]
    wide, pitch = max(pairs, key=lambda pair: pair[0] - pair[1])
    if wide + web_m > pitch + 1e-9:
        value, limit = round(1e3 * wide, 2), round(1e3 * max(0.0, pitch - web_m), 2)
        found.append(finding("workshop.holes_shrunk", where=where, value=value, limit=limit, unit="mm"))


def _field(
    item: Perforation, outline: Contour, edges: list[Contour], taken: list[Contour], web_m: float, margin_m: float
) -> Field:
    region = outline
    if item.within is not None:
        fillet = FILLET_M if item.fillet_m is None else item.fillet_m
        region = Contour(from_corners(corners_of(item.within), fillet_m=fillet))
        region.check()
    x0, y0, x1, y1 = region.bounds
    focus: complex | tuple[Segment, ...] = complex(x0 + x1, y0 + y1) / 2.0
    if item.focus_m is not None:
        focus = complex(*item.focus_m)
    elif item.focus_curve is not None:
        focus = from_corners(corners_of(item.focus_curve), fillet_m=CURVE_FILLET_M, closed=False)
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


def _strayed(part: Part, motifs: list[tuple[Segment, ...]], found: list[Finding]) -> None:
    """A word where a motif's line runs over the part's edge, or over an opening or hole of it."""
    if not motifs:
        return
    steps = [
        segment.points(np.linspace(0.0, 1.0, 2 + int(segment.length_m / STEP_M))) for way in motifs for segment in way
    ]
    points = np.concatenate(steps)
    off = ~part.outline.holds(points)
    for opening in part.openings:
        off |= opening.holds(points)
    for field in (part.holes, part.drills):
        for centre, size in zip(field.centres, field.diameters_m, strict=True):
            off |= np.abs(points - centre) < size / 2.0
    if np.any(off):
        at, share = points[int(np.argmax(off))], float(np.mean(off))
        place = f"{1e3 * at.real:.0f}, {1e3 * at.imag:.0f} mm"
        found.append(
            finding(
                "workshop.motif_off",
                where=f"part “{part.name}”",
                value=max(1, round(100.0 * share)),
                unit="%",
                at=place,
            )
        )


def _through(part: Part, found: list[Finding]) -> None:
    """A stop where a score would go through its sheet."""
    deepest = max((line.depth_m for line in part.lines), default=0.0)
    if deepest > part.thickness_m - THIN_M:
        value, limit = round(1e3 * deepest, 2), round(1e3 * part.thickness_m, 2)
        found.append(
            finding("workshop.score_through", where=f"part “{part.name}”", value=value, limit=limit, unit="mm")
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
