"""What goes into boxes and layered panels besides boards, and in which order they go together: in words and drawn apart.

``workshop/assembly.txt`` holds the words, ``workshop/assembly.pdf`` the pictures with them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from cabinwright.build.document import Build
from cabinwright.build.loudspeaker import Box
from cabinwright.build.workshop import Panel
from cabinwright.drawings.box_solid import turn_towards_deg
from cabinwright.drawings.exploded import Level, exploded_view
from cabinwright.drawings.exploded_parts import Group, box_levels, panel_levels
from cabinwright.drawings.pdf import page_size_mm
from cabinwright.handover.goods import box_goods, panel_goods
from cabinwright.handover.print import typst_pdf
from cabinwright.stages.workshop.result import Part, WorkshopResult

__all__ = ["Assembly", "Step", "assemblies", "assembly_files"]

Words = Callable[[float], str]
HEAD = (
    "Orders and quantities are common practice, no source; what the makers of glue, loudspeaker and lights say goes first.\n"
    "Try every step dry. Glue fumes, dust, sharp edges: ventilate, extract, gloves and goggles. Wire as wiring.pdf says."
)


@dataclass(frozen=True)
class Step:
    """One line of the order."""

    says: str
    shows: str = ""  #: how the picture calls what goes on; empty: it shows nothing
    parts: tuple[str, ...] = ()  #: names of the parts and strips that go on


@dataclass(frozen=True)
class Assembly:
    """A box or layered panel whose parts are all cut."""

    name: str
    goods: tuple[str, ...]
    steps: tuple[Step, ...]
    picture: str  #: as ``<svg>``; empty where there is nothing to draw apart


def assemblies(build: Build, result: WorkshopResult, length: Words) -> list[Assembly]:
    """Each box and layered panel whose parts are all cut."""
    rows: list[Assembly] = []
    for box in build.boxes:
        parts = [part for name, part in result.parts.items() if name.startswith(f"{box.name}, ")]
        if parts and not any(part.stopped for part in parts) and box.shape is not None:
            steps = tuple(_box_steps(box, parts))
            picture = _box_picture(build, box, result, steps, len(rows))
            rows.append(
                Assembly(
                    box.name, tuple(item.said for item in box_goods(build, box, parts, result, length)), steps, picture
                )
            )
    for panel in build.panels:
        layers = result.panels[panel.name].parts if panel.name in result.panels else ()
        if len(layers) > 1 and not any(part.stopped for part in layers):
            steps = tuple(_panel_steps(panel, layers, result, length))
            levels = panel_levels(result.parts, result.lights, _groups(steps))
            picture = _picture(panel.name, [*levels], len(rows), turn_deg=16.0, rise_deg=27.0)
            rows.append(
                Assembly(panel.name, tuple(item.said for item in panel_goods(panel, layers, result)), steps, picture)
            )
    return rows


def _groups(steps: tuple[Step, ...]) -> list[Group]:
    return [(number, step.shows, step.parts) for number, step in enumerate(steps, 1) if step.shows]


def _box_picture(build: Build, box: Box, result: WorkshopResult, steps: tuple[Step, ...], number: int) -> str:
    shape = result.boxes.get(box.name)
    model = next((item for item in build.speaker_models if item.name == box.model), None)
    if shape is None or model is None:
        return ""
    turn = turn_towards_deg(shape)
    return _picture(
        box.name,
        [*box_levels(box.name, shape, result.parts, model, _groups(steps))],
        number,
        turn_deg=turn,
        rise_deg=33.0,
    )


def _picture(name: str, levels: list[Level], number: int, *, turn_deg: float, rise_deg: float) -> str:
    if len(levels) < 2:
        return ""
    return exploded_view(name, levels, number=number, turn_deg=turn_deg, rise_deg=rise_deg)


def assembly_files(made: list[Assembly], *, title: str, paper: str) -> dict[str, str | bytes]:
    """``assembly.txt`` and ``assembly.pdf``, a page for each; nothing where nothing is put together."""
    if not made:
        return {}
    said = [HEAD]
    for item in made:
        said += ["", item.name.upper(), "", "Besides the boards:", *(f"- {row}" for row in item.goods), "", "Order:"]
        said += [f"{number}. {step.says}" for number, step in enumerate(item.steps, 1)]
    items = [
        {"name": item.name, "picture": item.picture, "steps": [step.says for step in item.steps], "goods": item.goods}
        for item in made
    ]
    sheet = typst_pdf("assembly", page_size_mm(paper), title=title, items=items, care=HEAD.split("\n"))
    return {"assembly.txt": "\n".join(said) + "\n", "assembly.pdf": sheet}


def _called(part: Part, stem: str) -> str:
    words = part.name.removeprefix(f"{stem}, ")
    if part.joinery.stack_m is not None:
        return f"{words} ({part.count} discs)"
    return f"{part.count} × {words}" if part.count > 1 else words


def _box_steps(box: Box, parts: list[Part]) -> Iterator[Step]:
    shape = box.shape
    assert shape is not None
    groups: dict[str, list[Part]] = {"under": [], "inside": [], "sides": [], "last": []}
    lowest = "baffle" if shape.baffle == "bottom" else "floor"
    for part in parts:
        label = part.name.removeprefix(f"{box.name}, ")
        kind = "under" if label.startswith(lowest) else "last"
        kind = "inside" if label.startswith(("brace", "post")) else kind
        kind = "sides" if "ring" in label or "wall" in label or label.startswith("second board") else kind
        groups[kind].append(part)
    under, inside, sides, last = (", ".join(_called(part, box.name) for part in found) for found in groups.values())
    names = {kind: tuple(part.name for part in found) for kind, found in groups.items()}
    marked = ", the face with the marks up" if inside and under else ""
    marked = ", its outside down" if under.startswith("baffle") and not marked else marked
    yield Step(f"Lay {under} flat{marked}." if under else "Lay a flat board under everything.", under, names["under"])
    rings = ", from below upwards, edges flush all round" if "ring" in sides else ""
    rings = ", in the order of their numbers" if not rings and len(names["sides"]) > 1 else rings
    if sides:
        says = f"Glue {sides} on it{rings}; clamp, and wipe off what is pressed out inside."
        yield Step(says, sides, names["sides"])
    if inside:
        lapped = any(part.joinery.laps for part in groups["inside"])
        order = "; those that cross from above, in the order of their numbers" if lapped else ""
        says = f"Stand {inside} on the footprints marked on the floor{order}; glue below and at both ends."
        yield Step(says, inside, names["inside"])
    yield Step(f"Seal every joint inside{'; draw the cable in' if shape.cable_holes else ''}.")
    if last:
        says = f"Glue {last} on top, the outside as drawn up, edges flush; holes of two boards lie over one another."
        yield Step(says, last, names["last"])
    yield Step(
        "Round and seal the outside once the glue has set; line the walls only as far as the box's filling says."
    )
    several = "loudspeakers" if len(box.speakers) > 1 else "loudspeaker"
    besides = ", the passive radiators too" if box.radiator is not None else ""
    yield Step(f"Fit gland or terminal, connect the {several}, screw down crosswise on gaskets{besides}.", several)
    yield Step("Press the cone in gently: it comes back slowly where the box is tight.")


def _lights(panel: Panel, result: WorkshopResult) -> list[tuple[str, str, float]]:
    return [(name, item.along, item.length_m) for name, item in result.lights.items() if item.panel == panel.name]


def _panel_steps(panel: Panel, layers: tuple[Part, ...], result: WorkshopResult, length: Words) -> Iterator[Step]:
    front, *behind = layers
    called = _called(front, panel.name)
    says = f"Lay “{called}” with its front down on a cloth; all layers are drawn from the front."
    yield Step(says, f"{called}, front down", (front.name,))
    lights = _lights(panel, result)
    frame: Part | None = None
    for part in behind:
        called = _called(part, panel.name)
        if frame is not None and _lies_in(part, frame):
            gap = part.outline.bounds[0] - frame.openings[0].bounds[0]
            says = (
                f"Lay “{called}” into the hollow of “{_called(frame, panel.name)}”: {length(gap)} are left all round."
            )
            yield Step(says, called, (part.name,))
            strips = [name for name, along, _ in lights if along == "outline"]
            if strips:
                told = ", ".join(strips)
                says = f"Stand strip “{told}” in that channel, emitters outwards against the polished inner edge."
                yield Step(says, f"strip {told}", tuple(strips))
                lights = [item for item in lights if item[1] != "outline"]
            frame = None
            continue
        off = (part.size_m[0] - front.size_m[0]) / 2.0
        stands = (
            f"it stands out by {length(off)} all round"
            if off > 0
            else f"its edge lies {length(-off)} inside the front's"
        )
        yield Step(f"Glue “{called}” on centrally: {stands}.", called, (part.name,))
        frame = part if part.openings and part.look == "clear" else frame
        slots = [(name, along) for name, along, _ in lights if along != "outline"]
        if slots and part.look == "board" and len(part.openings) >= len(slots):
            for name, along in slots:
                lies = "into" if result.lights[name].lies == "in" else "over"
                where = f"{lies} the channel behind {along}, emitters towards the front, on tape or a thin batten"
                says = f"Lay strip “{name}” {where}."
                yield Step(says, f"strip {name}", (name,))
            lights = [item for item in lights if item[1] == "outline"]
    for name, along, _ in lights:
        yield Step(f"Fix strip “{name}” along {along}.", f"strip {name}", (name,))
    yield Step("Try every strip before the panel is screwed down; leave its cable long enough to lift the panel off.")


def _lies_in(part: Part, frame: Part) -> bool:
    """Whether a layer fills the hollow of a frame of the same sheet."""
    return part.sheet == frame.sheet and bool(frame.openings[0].holds(part.outline.points(1e-3)).all())
