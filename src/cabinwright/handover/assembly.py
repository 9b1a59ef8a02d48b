"""``workshop/assembly.txt``: what goes into boxes and layered panels besides boards, and in which order they go together."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

from cabinwright.build.document import Build
from cabinwright.build.loudspeaker import Box
from cabinwright.build.workshop import Panel
from cabinwright.stages.workshop.result import Part, WorkshopResult

__all__ = ["assemblies", "assembly_text"]

Words = Callable[[float], str]
GRAMS_M2 = 200.0  #: wood glue on a joint, common practice: its maker's figure goes first
HEAD = (
    "Orders and quantities are common practice, no source; what the makers of glue, loudspeaker and lights say goes first.\n"
    "Try every step dry. Glue fumes, dust, sharp edges: ventilate, extract, gloves and goggles. Wire as wiring.pdf says."
)


def assemblies(build: Build, result: WorkshopResult, length: Words) -> list[tuple[str, list[str], list[str]]]:
    """Each box and layered panel whose parts are all cut: its name, its hardware, its steps."""
    rows = []
    for box in build.boxes:
        parts = [part for name, part in result.parts.items() if name.startswith(f"{box.name}, ")]
        if parts and not any(part.stopped for part in parts) and box.shape is not None:
            rows.append((box.name, [*_box_goods(build, box, parts, length)], [*_box_steps(box, parts)]))
    for panel in build.panels:
        layers = result.panels[panel.name].parts if panel.name in result.panels else ()
        if len(layers) > 1 and not any(part.stopped for part in layers):
            rows.append(
                (panel.name, [*_panel_goods(panel, layers, result)], [*_panel_steps(panel, layers, result, length)])
            )
    return rows


def assembly_text(build: Build, result: WorkshopResult, length: Words) -> str | None:
    """The same as plain text; None where nothing is put together."""
    made = assemblies(build, result, length)
    if not made:
        return None
    said = [HEAD]
    for name, goods, steps in made:
        said += ["", name.upper(), "", "Besides the boards:", *(f"- {row}" for row in goods), "", "Order:"]
        said += [f"{number}. {row}" for number, row in enumerate(steps, 1)]
    return "\n".join(said) + "\n"


def _called(part: Part, stem: str) -> str:
    words = part.name.removeprefix(f"{stem}, ")
    return f"{part.count} × {words}" if part.count > 1 else words


def _box_goods(build: Build, box: Box, parts: list[Part], length: Words) -> Iterator[str]:
    shape = box.shape
    assert shape is not None
    area = sum(_glued_m2(part) * part.count for part in parts)
    yield f"wood glue: about {math.ceil(area * GRAMS_M2 / 50.0) * 50:.0f} g"
    yield "sealant for every joint inside, and gasket tape under each loudspeaker"
    pegs = sum(len(part.joinery.edge_bores) * part.count for part in parts)
    if pegs:
        one = next(item for part in parts for item in part.joinery.edge_bores)
        yield f"{pegs} dowels of {length(one.diameter_m)}"
    model = next((item for item in build.speaker_models if item.name == box.model), None)
    if model is not None and model.screws is not None:
        count = model.screws * len(box.speakers)
        yield f"{count} wood screws 5 mm thick, not longer than its frame and the wall together, for {model.name}"
    for hole in shape.cable_holes:
        yield f"airtight gland or terminal for a hole of {length(hole.diameter_m)}, and cable"


def _glued_m2(part: Part) -> float:
    """A ring's or board's face, or a frame's edge all round: the side that meets its neighbour."""
    inner = sum(abs(item.area_m2) for item in part.openings)
    ring = bool(part.openings) and inner > 0.5 * abs(part.outline.area_m2)
    return part.area_m2 if ring else part.outline.length_m * part.thickness_m


def _box_steps(box: Box, parts: list[Part]) -> Iterator[str]:
    shape = box.shape
    assert shape is not None
    groups: dict[str, list[str]] = {"under": [], "inside": [], "sides": [], "last": []}
    lowest = "baffle" if shape.baffle == "bottom" else "floor"
    for part in parts:
        label = part.name.removeprefix(f"{box.name}, ")
        kind = "under" if label.startswith(lowest) else "last"
        kind = "inside" if label.startswith(("brace", "post")) else kind
        kind = "sides" if "ring" in label or "wall" in label else kind
        groups[kind].append(_called(part, box.name))
    under, inside, sides, last = (", ".join(names) for names in groups.values())
    marked = ", the face with the marks up" if inside and under else ""
    yield f"Lay {under} flat{marked}." if under else "Lay a flat board under everything."
    rings = "from below upwards, edges flush all round" if "ring" in sides else "in the order of their numbers"
    if sides:
        yield f"Glue {sides} on it, {rings}; clamp, and wipe off what is pressed out inside."
    if inside:
        yield f"Stand {inside} on the footprints marked on the floor; glue below and at both ends."
    yield f"Seal every joint inside{'; draw the cable in' if shape.cable_holes else ''}."
    if last:
        yield f"Glue {last} on top, the outside as drawn up, edges flush; holes of two boards lie over one another."
    yield "Round and seal the outside once the glue has set; line the walls only as far as the box's filling says."
    yield "Fit gland or terminal, connect the loudspeaker, screw it down crosswise on its gasket."
    yield "Press the cone in gently: it comes back slowly where the box is tight."


def _lights(panel: Panel, result: WorkshopResult) -> list[tuple[str, str, float]]:
    return [(name, item.along, item.length_m) for name, item in result.lights.items() if item.panel == panel.name]


def _panel_goods(panel: Panel, layers: tuple[Part, ...], result: WorkshopResult) -> Iterator[str]:
    for name, along, long_m in _lights(panel, result):
        yield f"strip of lights “{name}”, {long_m:.2f} m, along {along}, with its cable and connector"
    if any(part.material == "acrylic" for part in layers):
        yield "clear adhesive that the acrylic's maker allows; thin double-sided tape where a layer shall come off again"
    screws = max(len(part.drills.centres) for part in layers)
    if screws:
        size = max(float(part.drills.diameters_m.max()) for part in layers if len(part.drills.centres))
        yield f"{screws} screws that go through holes of {1e3 * size:.1f} mm, with washers of plastic"


def _panel_steps(panel: Panel, layers: tuple[Part, ...], result: WorkshopResult, length: Words) -> Iterator[str]:
    front, *behind = layers
    yield f"Lay “{_called(front, panel.name)}” with its front down on a cloth; all layers are drawn from the front."
    lights = _lights(panel, result)
    frame: Part | None = None
    for part in behind:
        inside = (
            frame is not None
            and part.sheet == frame.sheet
            and bool(frame.openings[0].holds(part.outline.points(1e-3)).all())
        )
        off = (part.size_m[0] - front.size_m[0]) / 2.0
        stands = (
            f"it stands out by {length(off)} all round"
            if off > 0
            else f"its edge lies {length(-off)} inside the front's"
        )
        if frame is not None and inside:
            gap = part.outline.bounds[0] - frame.openings[0].bounds[0]
            hollow = _called(frame, panel.name)
            yield f"Lay “{_called(part, panel.name)}” into the hollow of “{hollow}”: {length(gap)} are left all round."
            strips = [name for name, along, _ in lights if along == "outline"]
            if strips:
                yield f"Stand strip “{', '.join(strips)}” in that channel, emitters outwards against the polished inner edge."
                lights = [item for item in lights if item[1] != "outline"]
            frame = None
            continue
        yield f"Glue “{_called(part, panel.name)}” on centrally: {stands}."
        frame = part if part.openings and part.look == "clear" else frame
        slots = [(name, along) for name, along, _ in lights if along != "outline"]
        if slots and part.look == "board" and len(part.openings) >= len(slots):
            for name, along in slots:
                yield f"Lay strip “{name}” over the channel behind {along}, emitters towards the front, on tape or a thin batten."
            lights = [item for item in lights if item[1] == "outline"]
    for name, along, _ in lights:
        yield f"Fix strip “{name}” along {along}."
    yield "Try every strip before the panel is screwed down; leave its cable long enough to lift the panel off."
