"""What a workshop needs besides boards: glue, sealant, screws, dowels, bolts, strips of lights. Counted, with its unit.

Quantities of glue and sealant, and the thread and size of screws, are common practice, no source: their makers' figures go first.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from cabinwright.build.document import Build
from cabinwright.build.loudspeaker import Box, Radiator, SpeakerModel
from cabinwright.build.workshop import Panel
from cabinwright.handover.csv_text import csv_text
from cabinwright.stages.workshop.result import Part, WorkshopResult

__all__ = ["Good", "box_goods", "goods", "goods_csv", "panel_goods"]

Words = Callable[[float], str]
GRAMS_M2 = 200.0  #: wood glue on a joint
GLUE_STEP_G = 50
ADHESIVE_ML_M2 = 250.0  #: clear adhesive on the face of acrylic: a quarter of a millimetre
STEP_M = 0.1


@dataclass(frozen=True)
class Good:
    """One thing, for one box, panel or fixing."""

    used_for: str
    what: str
    quantity: float
    unit: str  #: g, ml, m or piece
    note: str = ""

    @property
    def said(self) -> str:
        """``8 × wood screw 5 mm: …``, for a list that is read."""
        much = f"{self.quantity:.0f} ×" if self.unit == "piece" else f"{self.quantity:g} {self.unit} of"
        return f"{much} {self.what}{f': {self.note}' if self.note else ''}"


def goods(build: Build, result: WorkshopResult, length: Words) -> tuple[Good, ...]:
    """Everything besides boards, for what is cut: boxes, panels, rings and pods, and what holds them in the car."""
    rows: list[Good] = []
    for box in build.boxes:
        parts = _parts_of(box.name, result)
        if parts and box.shape is not None:
            rows += box_goods(build, box, parts, result, length)
    for panel in build.panels:
        layers = result.panels[panel.name].parts if panel.name in result.panels else ()
        rows += panel_goods(panel, layers, result)
    rows += _mount_goods(result)
    for name, fixing in result.fixings.items():
        if fixing.size is not None and fixing.spots:
            bolt = f"bolt {fixing.size}, property class {fixing.property_class}"
            count = len(fixing.spots)
            washers = next(item.washer_m for item in build.fixings if item.name == name)
            plate = "large washer (ISO 7093)" if washers is None else f"washer or plate {length(washers)} wide"
            yield_to = "maker and local rules go first"
            rows += [
                Good(name, bolt, count, "piece", f"long enough for what it goes through; {yield_to}"),
                Good(name, f"locking nut {fixing.size}", count, "piece"),
                Good(name, f"{plate} for {fixing.size}", count, "piece", "behind the steel"),
            ]
    return tuple(rows)


def goods_csv(rows: Sequence[Good]) -> str:
    """As a file for a spreadsheet."""
    table: list[list[str | float]] = [[row.used_for, row.what, row.quantity, row.unit, row.note] for row in rows]
    return csv_text(["for", "what", "quantity", "unit", "note"], table)


def _parts_of(name: str, result: WorkshopResult) -> list[Part]:
    return [part for key, part in result.parts.items() if key.startswith(f"{name}, ")]


def box_goods(build: Build, box: Box, parts: Sequence[Part], result: WorkshopResult, length: Words) -> Iterator[Good]:
    """What one box takes."""
    shape = box.shape
    assert shape is not None
    yield from _glue(box.name, parts)
    made = result.boxes.get(box.name)
    if made is not None:  # round the air under, over and at each corner or joint of it
        inside = made.body.hollow_runs[0].opening
        around = 0.0 if inside is None else inside.length_m
        high = made.body.inside_high_m - made.body.inside_low_m
        joints = len(made.body.runs[1].outline.segments) * high if made.body.construction != "stacked" else 0.0
        rings = sum(run.count for run in made.body.hollow_runs) - 1 if made.body.construction == "stacked" else 0
        yield Good(box.name, "sealant bead", _up(around * (2 + rings) + joints), "m", "every joint inside")
    model = next((item for item in build.speaker_models if item.name == box.model), None)
    count = max(1, len(box.speakers))
    if model is not None:
        yield from _frame_goods(box.name, model, count, "loudspeaker", model.name)
    if box.radiator is not None:
        yield from _frame_goods(box.name, box.radiator, box.radiator.count, "passive radiator", "the passive radiator")
    pegs = sum(len(part.joinery.edge_bores) * part.count for part in parts)
    if pegs:
        one = next(item for part in parts for item in part.joinery.edge_bores)
        yield Good(box.name, f"dowel {length(one.diameter_m)}", pegs, "piece")
    for hole in shape.cable_holes:
        yield Good(
            box.name, "airtight gland or terminal", 1, "piece", f"for a hole of {length(hole.diameter_m)}, with cable"
        )
    if made is not None and made.port_m is not None and made.ports and shape.port_wall_m > 0.0:
        long_m = sum(sum(run.legs_m) for run in made.port_runs if run is not None)
        bends = sum(len(run.legs_m) - 1 for run in made.port_runs if run is not None)
        size = " × ".join(length(side) for side in dict.fromkeys(made.port_m))
        note = "outside width; cut as port_runs says" + (f", {bends} bends mitred or as fittings" if bends else "")
        yield Good(box.name, f"port tube {size}", _up(long_m), "m", note)


def _frame_goods(name: str, model: SpeakerModel | Radiator, count: int, kind: str, called: str) -> Iterator[Good]:
    across = model.outer_diameter_m or model.cut_out_m
    if across is not None:
        yield Good(name, "gasket tape", _up(count * math.pi * across), "m", f"under each {kind}")
    if model.screws is not None:
        note = f"not longer than its frame and the wall together, for {called}"
        yield Good(name, "wood screw 5 mm", count * model.screws, "piece", note)


def _mount_goods(result: WorkshopResult) -> Iterator[Good]:
    for name, mount in result.mounts.items():
        if mount.parts:
            yield from _glue(name, [part for part in _parts_of(name, result) if "trim" not in part.name])
        if mount.screws:
            note = f"pilot holes {1e3 * mount.pilot_m:.1f} mm wide and {1e3 * mount.pilot_deep_m:.0f} mm deep, for {mount.model}"
            yield Good(name, "wood screw for the loudspeaker", len(mount.screws), "piece", note)


def panel_goods(panel: Panel, layers: Sequence[Part], result: WorkshopResult) -> Iterator[Good]:
    """What one decorative panel takes."""
    for name, item in result.lights.items():
        if item.panel == panel.name:
            note = f"along {item.along}, with its cable and connector"
            yield Good(panel.name, f"strip of lights “{name}”", round(item.length_m, 2), "m", note)
    clear = [part for part in layers if part.material == "acrylic"]
    if len(layers) > 1 and clear:
        volume = sum(part.area_m2 for part in clear[1:] or clear) * ADHESIVE_ML_M2
        note = "that the acrylic's maker allows; thin double-sided tape where a layer shall come off again"
        yield Good(panel.name, "clear adhesive", math.ceil(volume / 10.0) * 10, "ml", note)
    screws = max((len(part.drills.centres) for part in layers), default=0)
    if screws:
        size = max(float(part.drills.diameters_m.max()) for part in layers if len(part.drills.centres))
        yield Good(
            panel.name, "screw with a washer of plastic", screws, "piece", f"through holes of {1e3 * size:.1f} mm"
        )


def _glue(name: str, parts: Sequence[Part]) -> Iterator[Good]:
    area = sum(map(_glued_m2, parts))
    if area > 0.0:
        yield Good(name, "wood glue", math.ceil(area * GRAMS_M2 / GLUE_STEP_G) * GLUE_STEP_G, "g")


def _glued_m2(part: Part) -> float:
    """A ring's face, or a board's edge all round: the side that meets its neighbour; boards on one another by their face."""
    inner = sum(abs(item.area_m2) for item in part.openings)
    ring = bool(part.openings) and inner > 0.5 * abs(part.outline.area_m2)
    edge = part.outline.length_m * part.thickness_m
    return part.count * part.area_m2 if ring else edge + (part.count - 1) * part.area_m2


def _up(length_m: float) -> float:
    return round(math.ceil(length_m / STEP_M - 1e-9) * STEP_M, 1)
