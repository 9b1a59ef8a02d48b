"""A box's shape from the hollow to the finished body: its net volume for the acoustics first, everything else after."""

from __future__ import annotations

from dataclasses import dataclass, replace

from cabinwright.build.document import Build
from cabinwright.build.loudspeaker import Box, SpeakerModel
from cabinwright.build.shapes import BoxShape
from cabinwright.build.workshop import Sheet
from cabinwright.findings import Finding, finding
from cabinwright.physics.outline import Contour, OutlineFault
from cabinwright.physics.solid import Mesh
from cabinwright.stages.enclosure.fit import CHORD_M, hopeless, housed_gaps, largest, passage
from cabinwright.stages.enclosure.fit_units import wall_of
from cabinwright.stages.enclosure.fit_way import Hollow, Way, hollow_of, layers_of, way_in
from cabinwright.stages.enclosure.port_room import ports_laid
from cabinwright.stages.enclosure.radiator_gaps import radiator_findings
from cabinwright.stages.enclosure.radiators import radiators_placed, stands, takes_m3
from cabinwright.stages.enclosure.result import PortResult
from cabinwright.stages.enclosure.shape import Body, Files, ShapeFault, body_of, outline_of
from cabinwright.stages.enclosure.shape_inside import Mount, clearances, mounted
from cabinwright.stages.enclosure.shape_result import Gate, HousedResult, ShapeResult
from cabinwright.stages.enclosure.shape_solid import displaced, solid_of
from cabinwright.stages.enclosure.walls import Holes, Wall, board_of, walls_of

__all__ = ["Draft", "drafted", "finished", "refused"]

DIFFERS = 0.02  #: a stated volume that is farther from the shape's is remarked upon
BOARD_DIFFERS_M = 2e-4
BOARD_M = 0.018  #: where neither board nor sheet says
ROUTER_M = 0.006  #: diameter of a router's bit unless its sheet says
SOLID_SHARE = 1e-3  #: the solid's volume agrees with the sum of its slabs within this
MISSING_BOARD = "MDF"
TOO_LARGE = {
    "ball": "the largest ball that lies in it",
    "width": "the widest disc that lies in its plan",
    "area": "the least area of a cut through its middle",
}


@dataclass(frozen=True)
class Draft:
    """A box that stands, before its port is known."""

    box: Box
    shape: BoxShape
    model: SpeakerModel
    body: Body
    material: str
    found: tuple[Finding, ...]

    @property
    def units(self) -> int:
        """Loudspeakers in it."""
        return max(1, len(self.box.speakers))

    def mount(self, port: PortResult | None) -> Mount:
        """Where loudspeakers, port and passive radiators sit."""
        shape, body, model, part = self.shape, self.body, self.model, self.box.radiator
        found = mounted(shape, body, model, self.units, port)
        if part is None:
            return found
        frame = (model.outer_diameter_m or model.cut_out_m or 0.0) / 2.0
        held = [(at, frame) for at in found.speakers]
        held += [(complex(*hole.at_m), hole.diameter_m / 2.0) for hole in shape.cable_holes]
        rows = radiators_placed(shape, body, part, stands(shape, body, model, found.speakers), held)
        return replace(found, radiators=tuple(rows), radiators_m3=takes_m3(part))

    def taken(self, port: PortResult | None) -> dict[str, float]:
        """What displaces air in it, by kind."""
        return displaced(self.shape, self.body, self.model, self.units, port, self.mount(port))

    def net_m3(self, port: PortResult | None) -> float:
        """Air that is left."""
        return self.body.inside_volume_m3 - sum(self.taken(port).values())


def drafted(build: Build, box: Box, model: SpeakerModel, files: Files) -> Draft | Finding:
    """The body of a box with a shape, or the ``stop`` that says why there is none."""
    shape = box.shape
    assert shape is not None
    found: list[Finding] = []
    sheet = next((item for item in build.sheets if item.name == shape.sheet), None)
    board = _board(box.name, shape, sheet, found)
    try:
        body = body_of(shape, files, board_m=board, cutter_radius_m=_cutter_m(sheet) / 2.0)
        draft = Draft(box, shape, model, body, sheet.material if sheet else MISSING_BOARD, tuple(found))
        if draft.net_m3(None) <= 0.0:
            gross, taken = body.inside_volume_m3, sum(draft.taken(None).values())
            return finding(
                "enclosure.shape_no_air",
                where=box.name,
                value=round(1e3 * gross, 1),
                limit=round(1e3 * taken, 1),
                unit="L",
            )
    except OutlineFault as fault:
        if fault.kind == "nothing left" and shape.file is not None:
            fault.cure += f" {_as_read(shape, files)}"
        return refused(box.name, fault)
    except (ShapeFault, ValueError) as fault:
        return refused(box.name, fault)
    return draft


def _as_read(shape: BoxShape, files: Files) -> str:
    """What a file that leaves nothing was taken for: most often its unit is not the one it was drawn in."""
    x0, y0, x1, y1 = outline_of(shape, files).bounds
    size = f"{1e3 * (x1 - x0):.0f} × {1e3 * (y1 - y0):.0f} mm"
    return f"“{shape.file}” was read as {size}: if it was drawn in inches, say so in the file or as file_units."


def refused(where: str, fault: Exception) -> Finding:
    """What a fault in an outline or a solid says to the person."""
    if isinstance(fault, ShapeFault):
        return finding(fault.code, where=where, **fault.details)
    if isinstance(fault, OutlineFault):
        place = f"{1e3 * fault.at.real:.1f}, {1e3 * fault.at.imag:.1f} mm"
        return finding(
            "enclosure.shape_outline", where=where, value=fault.kind, fault=fault.rule, at=place, cure=fault.cure
        )
    return finding("enclosure.shape_solid", where=where, reason=str(fault))


def _board(where: str, shape: BoxShape, sheet: Sheet | None, found: list[Finding]) -> float:
    if sheet is None:
        if shape.board_m is None:
            found.append(finding("enclosure.shape_board", where=where, value=1e3 * BOARD_M, unit="mm"))
        return shape.board_m or BOARD_M
    if shape.board_m is not None and abs(shape.board_m - sheet.thickness_m) > BOARD_DIFFERS_M:
        found.append(
            finding(
                "enclosure.shape_thickness",
                where=where,
                value=round(1e3 * shape.board_m, 2),
                limit=round(1e3 * sheet.thickness_m, 2),
                unit="mm",
                sheet=sheet.name,
            )
        )
    return shape.board_m or sheet.thickness_m


def _cutter_m(sheet: Sheet | None) -> float:
    if sheet is None:
        return ROUTER_M
    return (
        sheet.cutter_diameter_m
        if sheet.cutter_diameter_m is not None
        else ROUTER_M
        if sheet.cutter == "router"
        else 0.0
    )


def finished(draft: Draft, port: PortResult | None, files: Files) -> tuple[ShapeResult | None, list[Finding]]:
    """The whole shape once its port is known, and what was found; None where the solid could not be made."""
    shape, body, box, model = draft.shape, draft.body, draft.box, draft.model
    found = list(draft.found)
    mount = draft.mount(port)
    taken = displaced(shape, body, model, draft.units, port, mount)
    net = body.inside_volume_m3 - sum(taken.values())
    gaps = clearances(box.name, shape, body, model, mount, found)
    runs = () if port is None else ports_laid(box.name, shape, body, model, mount, port, found)
    if box.radiator is not None:
        found.extend(radiator_findings(box.name, shape, body, model, mount, box.radiator))
    meets = any(item.severity == "stop" for item in found)
    try:  # holes that meet something are left out: no file comes of it
        solid = solid_of(shape, body, port, mount, runs, holes=not meets)
    except ValueError as fault:
        return None, [*found, refused(box.name, fault)]
    drawn = displaced(shape, body, model, draft.units, port, mount, runs)
    undrawn = 0.0 if solid.port_drawn else drawn["port"]  # what does not lie in the box stands in neither solid
    parts = solid.material_m3 + solid.tubes_m3
    air = body.inside_volume_m3 - sum(drawn.values()) + drawn["speakers"] + drawn["radiators"] + undrawn
    apart = max(abs(solid.mesh.volume_m3 / parts - 1.0), abs(solid.air.volume_m3 / air - 1.0))
    if apart > SOLID_SHARE:
        return None, [*found, refused(box.name, ValueError("the volume of the solid differs from that of its parts"))]
    if box.volume_m3 is not None and abs(net / box.volume_m3 - 1.0) > DIFFERS:
        found.append(
            finding(
                "enclosure.shape_volume",
                where=box.name,
                value=round(1e3 * box.volume_m3, 1),
                limit=round(1e3 * net, 1),
                unit="L",
            )
        )
    walls = walls_of(shape, body, draft.material, _holes(draft, mount))
    _soft(box.name, shape, walls, found)
    result = ShapeResult(
        body=body,
        material=draft.material,
        baffle=str(shape.baffle),
        baffle_boards=2 if shape.double_baffle else 1,
        displaced_m3=taken,
        net_volume_m3=net,
        stated_volume_m3=box.volume_m3,
        material_volume_m3=solid.material_m3,
        mass_kg=solid.material_m3 * board_of(draft.material, body.board_m).density_kg_m3,
        mesh=solid.mesh,
        recipe=solid.recipe,
        air=solid.air,
        port_drawn=solid.port_drawn,
        speakers=mount.speakers,
        cut_out_m=mount.cut_out_m,
        ports=mount.ports,
        port_runs=runs,
        radiators=mount.radiators,
        port_m=mount.port_m,
        port_round=mount.port_round,
        clearances_m=gaps,
        walls=walls,
        stiff_above_hz=shape.stiff_above_hz,
        braces=tuple((complex(*item.from_m), complex(*item.to_m)) for item in shape.braces),
        posts=tuple((complex(*item.at_m), item.diameter_m) for item in shape.posts),
        gate=_gate(box.name, shape, body, net, files, found),
        amplifiers=_amplifiers(box.name, shape, body, found),
    )
    stops = tuple(dict.fromkeys(item.code for item in found if item.severity == "stop"))
    return replace(result, stopped=stops), found


def _holes(draft: Draft, mount: Mount) -> dict[int | str, Holes]:
    """Cut-outs by wall with the mass on the rim of each."""
    rows: dict[int | str, list[tuple[complex, float, float]]] = {}
    if mount.cut_out_m:
        own = rows.setdefault(wall_of(draft.shape, draft.body), [])
        own.extend((at, mount.cut_out_m, draft.model.mass_kg or 0.0) for at in mount.speakers)
    for row in mount.radiators:
        if row is not None and row.cut_out_m and draft.box.radiator is not None:
            rows.setdefault(row.index, []).append((row.at, row.cut_out_m, draft.box.radiator.mass_kg or 0.0))
    return dict(rows)


def _soft(where: str, shape: BoxShape, walls: tuple[Wall, ...], found: list[Finding]) -> None:
    """One finding for all walls that are too soft."""
    soft = [wall for wall in walls if wall.ribs]
    if not soft:
        return
    lowest = min(wall.resonance_hz or 0.0 for wall in soft)
    words = [f"{wall.name}: {len(wall.ribs)} → {wall.with_ribs_hz:.0f} Hz" for wall in soft if wall.with_ribs_hz]
    found.append(
        finding(
            "enclosure.shape_soft",
            where=where,
            value=round(lowest),
            limit=round(shape.stiff_above_hz),
            unit="Hz",
            ribs="; ".join(words),
        )
    )


def _gate(where: str, shape: BoxShape, body: Body, net: float, files: Files, found: list[Finding]) -> Gate | None:
    if shape.opening is None:
        return None
    gap = shape.opening.gap_m
    try:
        outline = outline_of(shape.opening, files).counter_clockwise()
    except (OutlineFault, ShapeFault) as fault:
        found.append(refused(f"{where}, opening", fault))
        return None
    straight = passage(body.plan, body.height_m, outline, gap_m=gap)
    way, plans = None, [run.outline.as_polygon(CHORD_M) for run in body.runs]
    try:
        hollow = _hollow(shape, body, files, outline)
        too_large = None if straight.fits else hopeless(plans, body.height_m, outline)
        if hollow is not None and too_large is None:
            way = way_in(layers_of(body), hollow)
    except (OutlineFault, ShapeFault, ValueError) as fault:
        found.append(refused(f"{where}, opening", fault))
        return None
    gate = Gate(outline, gap, straight, smaller_net_m3=net, way=way, hopeless=too_large)
    if gate.verdict == "fits":
        return gate
    if straight.fits:  # what is in the way is the hollow, or the roof over it
        assert way is not None
        found.append(finding("enclosure.shape_way", where=where, tried=_tried(way)))
        return replace(gate, smaller_net_m3=None)
    most = largest(body.plan, body.height_m, outline, gap_m=gap)
    smaller = most["inset_m"] if most["inset_m"] == most["inset_m"] else None
    lower = most["height_m"] if most["height_m"] == most["height_m"] else None
    nets = [
        None if smaller is None else net * _share(body, smaller),
        None if lower is None else max(0.0, net - (body.height_m - lower) * _widest_air(body)),
    ]
    cures = []
    if smaller is not None and nets[0] is not None:
        cures.append(f"{1e3 * smaller:.0f} mm smaller all round (about {1e3 * nets[0]:.1f} L are left)")
    if lower is not None and nets[1] is not None:
        cures.append(f"{1e3 * lower:.0f} mm high (about {1e3 * nets[1]:.1f} L are left)")
    cure = " or ".join(cures) or "in two parts that are joined inside"
    if too_large is not None:
        what, own, room = too_large
        unit, scale = ("cm²", 1e4) if what == "area" else ("mm", 1e3)
        found.append(
            finding(
                "enclosure.shape_opening",
                where=where,
                what=TOO_LARGE[what],
                value=round(scale * own, 1),
                limit=round(scale * room, 1),
                unit=unit,
                cure=cure,
            )
        )
    else:
        found.append(
            finding(
                "enclosure.shape_no_way",
                where=where,
                value=round(-1e3 * straight.margin_m, 1),
                unit="mm",
                tried=_tried(way),
                cure=cure,
            )
        )
    return replace(gate, smaller_by_m=smaller, smaller_net_m3=nets[0], lower_height_m=lower, lower_net_m3=nets[1])


def _hollow(shape: BoxShape, body: Body, files: Files, opening: Contour) -> Hollow | None:
    if shape.opening is None or shape.opening.at_m is None:
        return None
    scan = files.get(shape.file or "") if shape.is_hollow else None
    if isinstance(scan, Mesh):
        return hollow_of(shape, body, None, scan, opening)
    return hollow_of(shape, body, outline_of(shape, files).counter_clockwise(), None, opening)


def _tried(way: Way | None) -> str:
    if way is None:
        return "straight through in one attitude; at_m says where the opening lies, and more is tried"
    angles = ", ".join(f"{angle:.0f}°" for angle in way.tried_deg)
    ended = "" if way.whole else "; the search was ended early, so finely is it stepped or so narrow the way"
    return f"straight through, and tilted on the way along {angles} in plan{ended}"


def _share(body: Body, inset_m: float) -> float:
    """Area of a plan that is so much smaller, over that of the plan."""
    moved = body.plan.offset(-inset_m)
    return max((item.area_m2 for item in moved), default=0.0) / abs(body.plan.area_m2)


def _widest_air(body: Body) -> float:
    return max(abs(run.opening.area_m2) for run in body.hollow_runs if run.opening is not None)


def _amplifiers(where: str, shape: BoxShape, body: Body, found: list[Finding]) -> tuple[HousedResult, ...]:
    rows = []
    for item, gap, what in housed_gaps(shape.amplifiers, body):
        rows.append(HousedResult(item.name, gap, what, item.cooling_gap_m))
        if gap < item.cooling_gap_m:
            found.append(
                finding(
                    "enclosure.shape_amplifier_meets" if gap < 0.0 else "enclosure.shape_amplifier",
                    where=f"{where}, “{item.name}”",
                    value=round(1e3 * gap, 1),
                    limit=round(1e3 * item.cooling_gap_m, 1),
                    unit="mm",
                    what=what,
                )
            )
    return tuple(rows)
