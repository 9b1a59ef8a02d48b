"""What is known of a box's shape. ``docs/enclosure.md`` and ``docs/plan.md`` explain the keys."""

from __future__ import annotations

from dataclasses import dataclass
from math import degrees
from typing import Any

from cabinwright.physics.outline import Contour
from cabinwright.physics.solid import Mesh, Recipe
from cabinwright.stages.enclosure.fit import Passage
from cabinwright.stages.enclosure.fit_way import Way
from cabinwright.stages.enclosure.port_runs import PortRun
from cabinwright.stages.enclosure.radiators import Placed
from cabinwright.stages.enclosure.shape import Body
from cabinwright.stages.enclosure.walls import Wall

__all__ = ["Gate", "HousedResult", "ShapeResult"]


@dataclass(frozen=True)
class Gate:
    """The opening, and what goes through it."""

    outline: Contour
    gap_m: float
    passage: Passage
    smaller_by_m: float | None = None  #: all round, where the box as drawn does not pass
    smaller_net_m3: float | None = None  #: about the net volume that is then left
    lower_height_m: float | None = None
    lower_net_m3: float | None = None
    way: Way | None = None  #: into its place in the hollow; None: nobody said where the opening lies, or it is hopeless
    hopeless: tuple[str, float, float] | None = (
        None  #: what is too large however it is turned: figure, box's, opening's
    )

    @property
    def verdict(self) -> str:
        """``fits`` where a way was found, ``does not fit`` where there can be none, else ``no way found``."""
        if self.hopeless is not None:
            return "does not fit"
        found = self.passage.fits if self.way is None else self.way.found
        return "fits" if found else "no way found"


@dataclass(frozen=True)
class HousedResult:
    """An amplifier near the box."""

    name: str
    gap_m: float  #: least; negative: they meet
    to: str
    wanted_m: float


@dataclass(frozen=True)
class ShapeResult:
    """One box as a body with everything in it."""

    body: Body
    material: str
    baffle: str
    baffle_boards: int
    displaced_m3: dict[str, float]
    net_volume_m3: float
    stated_volume_m3: float | None
    material_volume_m3: float  #: boards, braces and posts
    mass_kg: float  #: the same
    mesh: Mesh  #: boards, braces, posts and the tubes of ports as one
    recipe: Recipe  #: what the mesh was joined from, arcs and all
    air: Mesh  #: the air inside, with what the loudspeakers displace of it
    port_drawn: bool  #: False: the port does not lie in the box, and stands in neither of both
    speakers: tuple[complex, ...]  #: centres: in plan, or along the wall and up
    cut_out_m: float | None
    ports: tuple[complex, ...]
    port_runs: tuple[PortRun | None, ...]  #: None: it does not lie in the box; empty: no port, or no place for one
    port_m: tuple[float, float] | None  #: its hole: width and height, the same twice where it is round
    port_round: bool
    clearances_m: dict[str, float | None]
    walls: tuple[Wall, ...]
    stiff_above_hz: float
    braces: tuple[tuple[complex, complex], ...]
    posts: tuple[tuple[complex, float], ...]
    gate: Gate | None = None
    radiators: tuple[Placed | None, ...] = ()  #: where each sits; None: there is no place for it
    amplifiers: tuple[HousedResult, ...] = ()
    stopped: tuple[str, ...] = ()  #: codes of the stops that stand against it: no file is written

    def radiators_in(self, wall: int | str) -> list[Placed]:
        """Those in one wall (an index of a side, ``top`` or ``bottom``) whose hole is cut."""
        return [row for row in self.radiators if row is not None and row.index == wall and row.cut_out_m is not None]

    def to_dict(self) -> dict[str, Any]:
        """The keys of ``plan.json``."""
        body = self.body
        return {
            "construction": body.construction,
            "material": self.material,
            "board_m": body.board_m,
            "wall_m": body.wall_m,
            "baffle": self.baffle,
            "baffle_boards": self.baffle_boards,
            "height_m": body.height_m,
            "width_m": body.plan.bounds[2] - body.plan.bounds[0],
            "depth_m": body.plan.bounds[3] - body.plan.bounds[1],
            "outline": _outline(body.plan),
            "layers": [
                {
                    "role": run.role,
                    "count": run.count,
                    "low_m": run.low_m,
                    "high_m": run.high_m,
                    "outer_area_m2": abs(run.outline.area_m2),
                    "inside_area_m2": 0.0 if run.opening is None else abs(run.opening.area_m2),
                }
                for run in body.runs
            ],
            "outer_volume_m3": body.outer_volume_m3,
            "inside_volume_m3": body.inside_volume_m3,
            "displaced_m3": dict(self.displaced_m3),
            "net_volume_m3": self.net_volume_m3,
            "stated_volume_m3": self.stated_volume_m3,
            "material_volume_m3": self.material_volume_m3,
            "mass_kg": self.mass_kg,
            "solid": {
                "volume_m3": self.mesh.volume_m3,
                "triangles": len(self.mesh.faces),
                "watertight": self.mesh.open_edges == 0,
                "air_volume_m3": self.air.volume_m3,
                "air_watertight": self.air.open_edges == 0,
                "port_drawn": self.port_drawn,
                "file_unit": "mm",
            },
            "speakers_at_m": [[at.real, at.imag] for at in self.speakers],
            "cut_out_m": self.cut_out_m,
            "ports_at_m": [[at.real, at.imag] for at in self.ports],
            "port_runs": [
                None
                if run is None
                else {"run": run.name, "legs_m": list(run.legs_m), "line_m": [list(at) for at in run.line_m]}
                for run in self.port_runs
            ],
            "clearances_m": dict(self.clearances_m),
            "radiators": [
                None
                if row is None
                else {
                    "wall": row.wall,
                    "at_m": [row.at.real, row.at.imag],
                    "behind_m": row.behind_m,
                    "cut_out_m": row.cut_out_m,
                }
                for row in self.radiators
            ],
            "opening": None if self.gate is None else _gate(self.gate),
            "stiff_above_hz": self.stiff_above_hz,
            "walls": [_wall(wall) for wall in self.walls],
            "amplifiers": [
                {"name": item.name, "gap_m": item.gap_m, "to": item.to, "wanted_m": item.wanted_m}
                for item in self.amplifiers
            ],
            "refused": list(self.stopped),
        }


def _outline(contour: Contour) -> list[list[float]]:
    return [[segment.start.real, segment.start.imag, segment.bulge] for segment in contour.segments]


def _gate(gate: Gate) -> dict[str, Any]:
    found = gate.passage
    return {
        "fits": gate.verdict == "fits",
        "verdict": gate.verdict,
        "straight": found.fits,
        "margin_m": found.margin_m,
        "gap_m": gate.gap_m,
        "tilt_deg": found.tilt_deg,
        "axis_deg": found.axis_deg,
        "turn_deg": found.turn_deg,
        "largest": {
            "smaller_by_m": 0.0 if gate.verdict == "fits" else gate.smaller_by_m,
            "smaller_net_m3": gate.smaller_net_m3,
            "lower_height_m": gate.lower_height_m,
            "lower_net_m3": gate.lower_net_m3,
        },
        "way": None if gate.way is None else _way(gate.way),
        "too_large": None
        if gate.hopeless is None
        else {"what": gate.hopeless[0], "box": gate.hopeless[1], "opening": gate.hopeless[2]},
    }


def _way(way: Way) -> dict[str, Any]:
    return {
        "found": way.found,
        "direction_deg": way.direction_deg,
        "most_tilt_deg": way.tilt_deg,
        "clearance_m": way.clearance_m,
        "checked": way.checked,
        "tried_deg": list(way.tried_deg),
        "whole": way.whole,
        "poses": [{"along_m": x, "up_m": z, "tilt_deg": degrees(turn)} for x, z, turn in way.poses],
    }


def _wall(wall: Wall) -> dict[str, Any]:
    return {
        "name": wall.name,
        "length_m": wall.length_m,
        "width_m": wall.width_m,
        "thickness_m": wall.thickness_m,
        "resonance_hz": wall.resonance_hz,
        "clamped_hz": wall.clamped_hz,
        "held_by": wall.held,
        "ribs_proposed": [[a.real, a.imag, b.real, b.imag] for a, b in wall.ribs],
        "with_ribs_hz": wall.with_ribs_hz,
    }
