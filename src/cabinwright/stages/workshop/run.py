"""The workshop stage: every panel drawn, judged, lit and laid on its sheets."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from importlib.util import find_spec
from typing import Any

import numpy as np

from cabinwright.build.document import Build
from cabinwright.build.workshop import Panel, Sheet
from cabinwright.findings import Finding, finding
from cabinwright.physics.outline import Drawn, least_inside_radius_m
from cabinwright.physics.perforation import Field, least_web_m
from cabinwright.stages.enclosure.result import EnclosureResult
from cabinwright.stages.layout.result import LayoutResult
from cabinwright.stages.workshop.bands import bands_of
from cabinwright.stages.workshop.box_board import Computed
from cabinwright.stages.workshop.box_panels import box_panels
from cabinwright.stages.workshop.fixings import fixings_of
from cabinwright.stages.workshop.floors import floors_of
from cabinwright.stages.workshop.lights import light_of
from cabinwright.stages.workshop.mass import mass_of, mass_rows
from cabinwright.stages.workshop.mount_panels import mount_panels
from cabinwright.stages.workshop.mounts import mounts_of
from cabinwright.stages.workshop.nest import nest, pieces_of
from cabinwright.stages.workshop.outlines import Shapes, shapes_of
from cabinwright.stages.workshop.parts import parts_of
from cabinwright.stages.workshop.result import LightResult, Nesting, PanelResult, Part, WorkshopResult
from cabinwright.stages.workshop.service import service_of
from cabinwright.stages.workshop.service_result import FixingResult, MassResult
from cabinwright.stages.workshop.sound import behind_of
from cabinwright.stages.workshop.strips import channel_of, lies_in, strip_doubts
from cabinwright.tables import rows

__all__ = ["NOT_YET", "run"]

NOT_YET = (
    "needs [[panels]], [[rings]] or [[pods]] and the [[sheets]] they are cut from, or [[service_steps]], [[fixings]],"
    " [[masses]] or [payload]"
)
ASSUMPTIONS = (
    "Files hold finished sizes; where a sheet states kerf_m, outlines are half of it larger and openings smaller.",
    "Loss of a grille: plane wave head-on, air in the holes viscous, ends after Ingard with Fok's interaction; 20 °C.",
    "A mesh and grille cloth are taken as open; measure them if it matters.",
    "Edge light: emitters alike, a Lambert source each, the sheet's edge polished where they sit and matt where it is seen.",
    "Rings and pods: the surface is flat where they stand, the loudspeaker's cone lies in the plane it is screwed to.",
    "Hue: the primaries as their maker states them; bins and warm emitters shift them, so match a sample by eye last.",
)
FITTED = (
    "Floors: boards alike both ways, small sags; supports hold a board down as well as up, one that only lies on its ledge "
    "sags a little more. Fields of small holes are left out.",
    "Fixings: a steady force through the middle of a rigid body; friction and its own weight are not relied on; bolts after "
    "EN 1993-1-8 with γ = 1.25, the sheet's edges three diameters away.",
    "Masses: boards by their material's usual density, loudspeakers and [[masses]] as written, wires without insulation; "
    "glue, carpet and screws are left out.",
)


def run(
    build: Build,
    boxed: EnclosureResult | None = None,
    *,
    placed: LayoutResult | None = None,
    drawn: Mapping[str, Drawn | str] | None = None,
) -> WorkshopResult | None:
    """Everything about the panels of ``build`` and of its computed boxes; None where it has none.

    Args:
        boxed: what the enclosure stage found, for how much air a box's loudspeaker moves.
        placed: what the layout stage found, for the aim of rings and pods; ``build`` then has coordinates for names.
        drawn: files that panels name, as they were read, or why they were not.
    """
    found: list[Finding] = []
    computed = box_panels(build, boxed, found)
    fitted = build.service_steps or build.fixings or build.masses or build.payload
    solids = {name: box.shape for name, box in (boxed.boxes if boxed else {}).items() if box.shape is not None}
    if not (build.panels or computed or build.rings or build.pods or build.jigs or fitted or solids):
        return None
    taken = {panel.name for panel in (*build.panels, *(item.panel for item in computed))}
    made, mounts = mount_panels(build, mounts_of(build, placed, found), taken)
    computed += made
    sheets = {sheet.name: sheet for sheet in build.sheets}
    drawings, panels = {}, {}
    for item in (*(Computed(panel) for panel in build.panels), *computed):
        panel = item.panel
        shapes = shapes_of(panel, drawn or {}, found, exact=item.exact)
        if shapes is None:
            continue
        shapes.lines += [(None, line) for line in item.lines]
        drawings[panel.name] = shapes
        panels[panel.name] = _panel(panel, shapes, sheets, build, boxed, found)
    for item in computed:  # what stands against a box, ring or pod stands against its panels
        name = item.panel.name
        if name in panels:
            held = tuple(
                replace(part, stopped=(*part.stopped, *item.stopped), joinery=item.joinery)
                for part in panels[name].parts
            )
            panels[name] = replace(panels[name], parts=held)
    floors = floors_of(build, panels, found)
    _materials([part for panel in panels.values() for part in panel.parts], found)
    panels = _refused(panels, found)
    lights = _lit(build, drawings, panels, found)
    nesting = _nest([part for panel in panels.values() for part in panel.parts], build, found)
    panels = _refused(panels, found)  # once more: a part without room on its sheet is not cut either
    cuts = tuple(_cut_row(part) for panel in panels.values() for part in panel.parts)
    _banded(panels, found)
    step = bool(build.workshop.step and (mounts or solids)) and _step(found)
    service = service_of(build, found)
    fixings: dict[str, FixingResult] = {}
    mass: MassResult | None = None
    if build.fixings or build.masses or build.payload:
        listed = mass_rows(build, boxed, panels, mounts)
        fixings, mass = fixings_of(build, listed, found), mass_of(build, listed, found)
    return WorkshopResult(
        panels=panels,
        lights=lights,
        nesting=nesting,
        cut_list=cuts,
        assumptions=(*ASSUMPTIONS, *(FITTED if fitted or floors else ())),
        findings=tuple(found),
        mounts=mounts,
        boxes=solids,
        step=step,
        service=service,
        floors=floors,
        fixings=fixings,
        mass=mass,
    )


def _lit(
    build: Build, drawings: Mapping[str, Shapes], panels: Mapping[str, PanelResult], found: list[Finding]
) -> dict[str, LightResult]:
    """Every strip, and whether it fits into its channel."""
    lights = {}
    for light in build.lights:
        lit = light_of(light, drawings, build, found)
        if lit is None:
            continue
        of = next(item for item in build.panels if item.name == light.panel)
        channel = channel_of(light, of, panels[light.panel].parts)
        found += strip_doubts(light, channel)
        lies = ""
        if channel is not None and light.strip_m is not None:
            lies = "in" if channel.on_edge or lies_in(light.strip_m[0], channel) else "over"
        lights[light.name] = replace(lit, channel_m=None if channel is None else channel.wide_m, lies=lies)
    return lights


def _banded(panels: Mapping[str, PanelResult], found: list[Finding]) -> None:
    """A word where a band cannot be taken off."""
    for part in (part for item in panels.values() for part in item.parts):
        if fault := bands_of(part).fault:
            found.append(finding("workshop.band", where=f"part “{part.name}”", fault=fault))


def _step(found: list[Finding]) -> bool:
    """Whether STEP can be written."""
    there = find_spec("OCP") is not None
    if not there:
        found.append(finding("workshop.step_missing", where="[workshop] step"))
    return there


def _panel(
    panel: Panel,
    shapes: Shapes,
    sheets: Mapping[str, Sheet],
    build: Build,
    boxed: EnclosureResult | None,
    found: list[Finding],
) -> PanelResult:
    parts, holes, web = parts_of(panel, shapes, sheets, found)
    perforated = [part for part in parts if len(part.holes.centres)]
    least = min((least_web_m(part.holes) for part in perforated), default=None)
    contours = [contour for part in parts for contour in (part.outline, *part.openings)]
    if least is not None and web is not None and least < web - 1e-8:
        found.append(
            finding(
                "workshop.web",
                where=f"panel “{panel.name}”",
                value=round(1e3 * least, 3),
                limit=round(1e3 * web, 3),
                unit="mm",
            )
        )
    return PanelResult(
        parts=parts,
        field_names=tuple(item.name for item in panel.perforations),
        holes=holes,
        least_web_m=least if least is None or np.isfinite(least) else None,
        wanted_web_m=web,
        open_share=_open_share(parts, holes),
        behind=behind_of(panel, parts, build, boxed, found),
        least_radius_m=min((segment.radius_m for item in contours for segment in item.segments), default=np.inf),
        tangent_continuous=all(not item.kinks() for item in contours),
    )


def _open_share(parts: tuple[Part, ...], holes: Field) -> float:
    """Part of the front's outline that is open: holes, cut-outs and slots."""
    if not parts:
        return 0.0
    front = parts[0]
    opened = sum(abs(opening.area_m2) for opening in front.openings) + front.holes.area_m2
    return opened / abs(front.outline.area_m2)


def _materials(parts: list[Part], found: list[Finding]) -> None:
    """What must be said beside a material and a machine, once for each sheet."""
    goods = {row["material"]: row for row in rows("sheet_goods")}
    told = set()
    for part in parts:
        row = goods[part.material]
        said = {"never": "workshop.laser_pvc", "fumes": "workshop.laser_fumes", "reflects": "workshop.laser_metal"}
        codes = [said[row["laser"]]] if part.cutter == "laser" and row["laser"] in said else []
        codes += ["workshop.laser_fire"] if part.cutter == "laser" else []
        codes += [f"workshop.{row['caution']}"] if row["caution"] else []
        for code in codes:
            if (code, part.sheet) not in told:
                told.add((code, part.sheet))
                found.append(finding(code, where=f"sheet “{part.sheet}”", material=part.material))


def _refused(panels: Mapping[str, PanelResult], found: list[Finding]) -> dict[str, PanelResult]:
    """Parts with every stop that stands against them, their panel or their sheet."""
    stops: dict[str, list[str]] = {}
    for item in found:
        if item.severity == "stop":
            stops.setdefault(item.where.split("”")[0].split("“")[-1], []).append(item.code)
    made = {}
    for name, panel in panels.items():
        parts = tuple(
            replace(
                part,
                stopped=tuple(
                    dict.fromkeys(
                        [*part.stopped, *(code for at in (name, part.name, part.sheet) for code in stops.get(at, ()))]
                    )
                ),
            )
            for part in panel.parts
        )
        made[name] = replace(panel, parts=parts)
    return made


def _nest(parts: list[Part], build: Build, found: list[Finding]) -> tuple[Nesting, ...]:
    sheets: list[Nesting] = []
    for sheet in build.sheets:
        pieces = pieces_of([part for part in parts if part.sheet == sheet.name and not part.stopped], sheet)
        if not pieces:
            continue
        made, left = nest(pieces, sheet, build.workshop)
        sheets += made
        for name in dict.fromkeys(piece.part for piece in left):
            count = sum(piece.part == name for piece in left)
            found.append(finding("workshop.no_room", where=f"part “{name}”", value=count, sheet=sheet.name))
    return tuple(sheets)


def _cut_row(part: Part) -> dict[str, Any]:
    """A row of the cut list: finished size, size to cut before edges are banded, and the band's length."""
    width, height = part.size_m
    bands = bands_of(part)
    x0, y0, x1, y1 = bands.outline.bounds
    return {
        "part": part.name,
        "sheet": part.sheet,
        "material": part.material,
        "thickness_m": part.thickness_m,
        "count": part.count,
        "width_m": width,
        "height_m": height,
        "cut_width_m": x1 - x0,
        "cut_height_m": y1 - y0,
        "grain": part.grain,
        "banded": list(bands.sides),
        "banding_length_m": bands.length_m,
        "refused": bool(part.stopped),
        "tightest_inside_m": min(
            least_inside_radius_m(part.outline)[0],
            *(least_inside_radius_m(item, hollow=True)[0] for item in part.openings),
            np.inf,
        ),
    }
