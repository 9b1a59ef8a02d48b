"""Boxes and panels as pictures to show: the same ones in the report, on the pages of their stages and in the book."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from cabinwright.build.document import Build
from cabinwright.drawings.box_panels import box_view
from cabinwright.drawings.box_solid import solid_view
from cabinwright.drawings.front_view import front_view, measured_view
from cabinwright.drawings.way_view import way_view
from cabinwright.handover.assembly import assemblies
from cabinwright.handover.wording import volume
from cabinwright.handover.workshop_page import length_words
from cabinwright.stages.enclosure.result import BoxResult, EnclosureResult
from cabinwright.stages.workshop.result import PanelResult, WorkshopResult

__all__ = ["Piece", "box_piece", "pieces"]

Words = Callable[[float], str]
TILTED = (
    "Its way in, from the side: tilted through the opening, straightened behind it; dashed, the path of its middle."
)


@dataclass(frozen=True)
class Piece:
    """One thing to show: pictures with their captions, the few figures that matter, and its measured drawing."""

    name: str
    says: str
    pictures: tuple[tuple[str, str], ...]  #: caption and ``<svg>``
    figures: tuple[tuple[str, str], ...]
    drawing: str
    apart: str = ""  #: how it goes together, where it is put together of several parts


def pieces(build: Build, enclosure: EnclosureResult | None, workshop: WorkshopResult | None) -> list[Piece]:
    """Every box that has a shape, then every panel that somebody drew."""
    length = length_words(build)
    found = [
        piece
        for number, (name, box) in enumerate(enclosure.boxes.items() if enclosure else ())
        if (piece := box_piece(build, name, box, number)) is not None
    ]
    drawn = {item.name for item in build.panels}
    for number, (name, panel) in enumerate(workshop.panels.items() if workshop else ()):
        if workshop is not None and panel.parts and name in drawn:
            found.append(_panel(name, panel, workshop, number, length))
    together = assemblies(build, workshop, length) if workshop is not None else []
    apart = {item.name: item.picture for item in together}
    return [replace(piece, apart=apart.get(piece.name, "")) for piece in found]


def box_piece(build: Build, name: str, box: BoxResult, number: int) -> Piece | None:
    """A box in its bay; None where it has no shape. ``number`` keeps the ids of its picture apart on a page."""
    result = box.shape
    shape = next((item.shape for item in build.boxes if item.name == name), None)
    model = next((item for item in build.speaker_models if item.name == box.model), None)
    if result is None or shape is None or model is None:
        return None
    length = length_words(build)
    x0, y0, x1, y1 = result.body.plan.bounds
    figures = [
        ("outside", f"{length(x1 - x0)} × {length(y1 - y0)} × {length(result.body.height_m)} high"),
        (
            "boards",
            f"{result.material}, {length(result.body.board_m)}, {result.mass_kg:.1f} kg without the loudspeaker",
        ),
    ]
    if box.net_volume_m3 is not None:
        figures.insert(1, ("air behind the cone", volume(box.net_volume_m3, units=build.workshop.units)))
    cone = result.clearances_m.get("before_m")
    if cone is not None:
        figures.append(("free before the cone at its farthest", length(cone)))
    gate = result.gate
    if gate is not None and gate.verdict == "fits":
        tilted = gate.way is not None and gate.way.tilt_deg > 0.5
        spare = f"{length(gate.passage.margin_m)} to spare all round"
        figures.append(
            ("lifts out", f"tilted by up to {gate.way.tilt_deg:.0f}°" if gate.way and tilted else f"with {spare}")
        )
    gap = f", {length(shape.offset_m)} of air round it" if shape.offset_m else ""
    caption = f"As it stands in its bay{gap}; the near wall is taken away. Dashed: where that wall ends."
    pictures = [(caption, solid_view(name, shape, result, model, number, length=length))]
    if gate is not None and gate.way is not None and gate.way.tilt_deg > 0.5:
        pictures.append((TILTED, way_view(name, gate.way, length=length)))
    return Piece(
        name, f"{box.kind} box" + (f" for {', '.join(box.speakers)}" if box.speakers else ""),
        tuple(pictures), tuple(figures),
        box_view(name, shape, result, model, length=length),
    )  # fmt: skip


def _panel(name: str, panel: PanelResult, workshop: WorkshopResult, number: int, length: Words) -> Piece:
    lights = {key: light for key, light in workshop.lights.items() if light.panel == name}
    views = [("Lights off." if lights else "From the front.", front_view(name, panel, {}, 2 * number + 500))]
    if lights:
        views.insert(0, ("Lit, in the dark.", front_view(name, panel, lights, 2 * number + 501)))
    across, up = panel.parts[0].size_m
    figures = [("size", f"{length(across)} × {length(up)}")]
    holes = len(panel.parts[0].holes.centres)
    figures += [("holes", str(holes))] if holes else []
    figures += [
        (f"open before the {item.speaker}", f"{100.0 * item.open_share:.0f} %") for item in panel.behind
    ]  # fmt: skip
    figures += [
        row for key, light in lights.items() for row in _lit(key, len(lights) > 1, light.evenness, light.power_w)
    ]
    hues = {light.match.delta_e: light.match.in_gamut for light in lights.values() if light.match is not None}
    if hues:
        worst = max(hues)
        reached = "" if hues[worst] else ", outside what this strip can show"
        figures.append(("hue from the one asked for", f"ΔE {worst:.1f} (below 1 hardly anyone sees it){reached}"))
    drawing = measured_view(panel, [*lights.values()], length=length)
    return Piece(name, "panel with lit edges" if lights else "panel", tuple(views), tuple(figures), drawing)


def _lit(name: str, several: bool, evenness: float, power_w: float) -> Iterator[tuple[str, str]]:
    of = f" of the {name}" if several else ""
    yield f"light{of}", f"{100.0 * evenness:.0f} % even along the edge, {power_w:.1f} W"
