"""What the workshop stage hands over. ``docs/workshop.md`` and ``docs/plan.md`` explain the keys."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cabinwright.findings import Finding
from cabinwright.physics.arcs import Segment
from cabinwright.physics.colour import Match
from cabinwright.physics.outline import Contour
from cabinwright.physics.perforation import Field
from cabinwright.stages.enclosure.shape_result import ShapeResult
from cabinwright.stages.workshop.joinery import PLAIN, Joinery, Scribe
from cabinwright.stages.workshop.mount_result import MountResult
from cabinwright.stages.workshop.service import ServiceResult
from cabinwright.stages.workshop.service_result import FixingResult, FloorResult, MassResult

__all__ = ["BehindResult", "LightResult", "Nesting", "Offcut", "PanelResult", "Part", "Placed", "WorkshopResult"]

Floats = NDArray[np.float64]
LOSS_HZ = (1000.0, 5000.0, 10_000.0, 20_000.0)


@dataclass(frozen=True)
class Part:
    """One flat piece to cut, at its finished size, seen from the front; lengths in metres, counter-clockwise outlines."""

    name: str
    panel: str
    layer: str  #: empty where the panel is one sheet
    look: str
    sheet: str
    material: str
    cutter: str
    thickness_m: float
    kerf_m: float
    count: int
    grain: str
    outline: Contour
    openings: tuple[Contour, ...] = ()
    holes: Field = field(default_factory=lambda: Field(np.zeros(0, dtype=np.complex128), np.zeros(0)))
    drills: Field = field(default_factory=lambda: Field(np.zeros(0, dtype=np.complex128), np.zeros(0)))
    lines: tuple[Scribe, ...] = ()
    rectangle: bool = False
    banded: tuple[str, ...] = ()
    banding_m: float = 0.0
    stopped: tuple[str, ...] = ()  #: codes of the stops that stand against it: no file is written
    joinery: Joinery = PLAIN  #: blind holes, bevels, bends

    @property
    def size_m(self) -> tuple[float, float]:
        """Width and height of its bounds."""
        x0, y0, x1, y1 = self.outline.bounds
        return x1 - x0, y1 - y0

    @property
    def area_m2(self) -> float:
        """Material that is left: outline less openings and holes."""
        gone = sum(abs(opening.area_m2) for opening in self.openings)
        return abs(self.outline.area_m2) - gone - self.holes.area_m2 - self.drills.area_m2

    @property
    def cut_length_m(self) -> float:
        """Length the machine cuts."""
        round_m = math.pi * float(np.sum(self.holes.diameters_m) + np.sum(self.drills.diameters_m))
        return self.outline.length_m + sum(opening.length_m for opening in self.openings) + round_m


@dataclass(frozen=True)
class BehindResult:
    """How open a panel is in front of a loudspeaker, and what that costs."""

    speaker: str
    at_m: tuple[float, float]
    diameter_m: float
    open_share: float  #: of the disc in front of it, the least of all layers
    open_area_m2: float
    loss_db: dict[float, float]  #: frequency: level lost
    air_speed_m_s: float | None  #: peak, in the holes; None where no excursion is known
    air_speed_limit_m_s: float | None
    air_speed_hz: float | None


@dataclass(frozen=True)
class LightResult:
    """One strip of lights."""

    panel: str
    along: str
    path: tuple[Segment, ...]  #: where the strip lies
    edge: tuple[Segment, ...]  #: the edge or line that is seen
    length_m: float
    emitters: int
    bends: tuple[tuple[float, float, float], ...]  #: x, y, radius: tighter than the strip may be bent
    evenness: float
    widest_pitch_m: float  #: that is still even
    along_m: Floats  #: over two pitches, for the picture
    light: Floats  #: over its mean
    power_w: float
    match: Match | None
    primaries: tuple[str, ...]
    target_xy: tuple[float, float] | None
    colour: str  #: for pictures
    load: dict[str, Any]  #: what to write as [[loads]]
    channel_m: float | None = None  #: width of the channel it lies in; None where no layer says so
    lies: str = ""  #: in or over its channel; empty: not known


@dataclass(frozen=True)
class PanelResult:
    """One panel: its parts from front to back, and what was found."""

    parts: tuple[Part, ...]
    field_names: tuple[str, ...]
    holes: Field
    least_web_m: float | None
    wanted_web_m: float | None
    open_share: float
    behind: tuple[BehindResult, ...]
    least_radius_m: float  #: tightest outline or opening, infinite where all is straight
    tangent_continuous: bool


@dataclass(frozen=True)
class Placed:
    """One piece on a sheet: turned about its origin, then shifted, metres from the sheet's lower left corner."""

    part: str
    number: int  #: from 1, of those of this part
    turn_deg: float
    shift_m: tuple[float, float]


@dataclass(frozen=True)
class Offcut:
    """A rectangle that is left over."""

    at_m: tuple[float, float]
    length_m: float
    width_m: float


@dataclass(frozen=True)
class Nesting:
    """One sheet with what is cut from it."""

    sheet: str
    number: int
    length_m: float
    width_m: float
    placed: tuple[Placed, ...]
    offcuts: tuple[Offcut, ...]
    yield_share: float
    way: str  #: rectangles or true shapes
    least_gap_m: float | None  #: between two pieces, as measured afterwards


@dataclass(frozen=True)
class WorkshopResult:
    """Everything a workshop needs, before it is written to files."""

    panels: dict[str, PanelResult]
    lights: dict[str, LightResult]
    nesting: tuple[Nesting, ...]
    cut_list: tuple[dict[str, Any], ...]
    assumptions: tuple[str, ...]
    findings: tuple[Finding, ...] = ()
    mounts: dict[str, MountResult] = field(default_factory=dict)  #: rings and pods
    boxes: dict[str, ShapeResult] = field(default_factory=dict)  #: those with a shape, for their solids
    step: bool = False  #: whether solids are written as STEP too
    service: ServiceResult | None = None  #: what comes out before what; None where the build does not say
    floors: dict[str, FloorResult] = field(default_factory=dict)
    fixings: dict[str, FixingResult] = field(default_factory=dict)
    mass: MassResult | None = None  #: what is added and where; None where the build neither weighs nor fixes anything
    made: dict[str, bytes] | None = None  #: files of solids by name, once they are made
    unmade: frozenset[str] = frozenset()  #: files of solids that failed their check, and why stands in the findings

    @property
    def parts(self) -> dict[str, Part]:
        """Every part by its name."""
        return {part.name: part for panel in self.panels.values() for part in panel.parts}

    def to_dict(self) -> dict[str, Any]:
        """The keys of ``plan.json``; the files are added where they are written."""
        return {
            "panels": {name: _panel(item) for name, item in self.panels.items()},
            "lights": {name: _light(item) for name, item in self.lights.items()},
            "nesting": [_nesting(item) for item in self.nesting],
            "cut_list": list(self.cut_list),
            "floors": {name: item.to_dict() for name, item in self.floors.items()},
            "fixings": {name: item.to_dict() for name, item in self.fixings.items()},
            "mass": None if self.mass is None else self.mass.to_dict(),
            "service": None if self.service is None else self.service.to_dict(),
            "assumptions": list(self.assumptions),
            "findings": [item.to_dict() for item in self.findings],
        }


def _panel(panel: PanelResult) -> dict[str, Any]:
    front = panel.parts[0] if panel.parts else None
    return {
        "width_m": front.size_m[0] if front else None,
        "height_m": front.size_m[1] if front else None,
        "area_m2": abs(front.outline.area_m2) if front else None,
        "outline": [_segment(segment) for segment in front.outline.segments] if front else [],
        "tangent_continuous": panel.tangent_continuous,
        "least_radius_m": panel.least_radius_m,
        "parts": {part.name: _part(part) for part in panel.parts},
        "holes": {
            "count": len(panel.holes.centres),
            "least_diameter_m": float(panel.holes.diameters_m.min()) if len(panel.holes.centres) else None,
            "greatest_diameter_m": float(panel.holes.diameters_m.max()) if len(panel.holes.centres) else None,
            "least_web_m": panel.least_web_m,
            "wanted_web_m": panel.wanted_web_m,
            "left_out_at_edges": panel.holes.left_out_edge,
            "left_out_for_webs": panel.holes.left_out_web,
            "open_area_m2": panel.holes.area_m2,
        },
        "open_share": panel.open_share,
        "behind": {
            item.speaker: {
                "open_share": item.open_share,
                "open_area_m2": item.open_area_m2,
                "loss_db": {f"{frequency:g}": loss for frequency, loss in item.loss_db.items()},
                "air_speed_m_s": item.air_speed_m_s,
                "air_speed_limit_m_s": item.air_speed_limit_m_s,
                "air_speed_hz": item.air_speed_hz,
            }
            for item in panel.behind
        },
    }


def _segment(segment: Segment) -> list[float]:
    return [segment.start.real, segment.start.imag, segment.bulge]


def _part(part: Part) -> dict[str, Any]:
    width, height = part.size_m
    return {
        "layer": part.layer,
        "sheet": part.sheet,
        "material": part.material,
        "thickness_m": part.thickness_m,
        "count": part.count,
        "width_m": width,
        "height_m": height,
        "area_m2": part.area_m2,
        "cut_length_m": part.cut_length_m,
        "openings": len(part.openings),
        "holes": len(part.holes.centres),
        "drilled": len(part.drills.centres),
        "kerf_m": part.kerf_m,
        "refused": list(part.stopped),
        "joinery": None if part.joinery == PLAIN else part.joinery.to_dict(),
    }


def _light(light: LightResult) -> dict[str, Any]:
    hue = light.match
    return {
        "panel": light.panel,
        "along": light.along,
        "length_m": light.length_m,
        "emitters": light.emitters,
        "tight_bends": [list(bend) for bend in light.bends],
        "channel_m": light.channel_m,
        "evenness": light.evenness,
        "widest_even_pitch_m": light.widest_pitch_m,
        "profile": {"along_m": light.along_m, "light": light.light},
        "power_w": light.power_w,
        "hue": None
        if hue is None
        else {
            "target_xy": light.target_xy,
            "drive": dict(zip(light.primaries, hue.drive, strict=True)),
            "steps": dict(zip(light.primaries, hue.steps, strict=True)),
            "xy": hue.xy,
            "delta_e_2000": hue.delta_e,
            "in_gamut": hue.in_gamut,
            "light_share": hue.luminous_share,
        },
        "load": light.load,
    }


def _nesting(sheet: Nesting) -> dict[str, Any]:
    return {
        "sheet": sheet.sheet,
        "number": sheet.number,
        "length_m": sheet.length_m,
        "width_m": sheet.width_m,
        "way": sheet.way,
        "yield_share": sheet.yield_share,
        "least_gap_m": sheet.least_gap_m,
        "placed": [
            {"part": item.part, "number": item.number, "turn_deg": item.turn_deg, "shift_m": item.shift_m}
            for item in sheet.placed
        ],
        "offcuts": [{"at_m": item.at_m, "length_m": item.length_m, "width_m": item.width_m} for item in sheet.offcuts],
    }
