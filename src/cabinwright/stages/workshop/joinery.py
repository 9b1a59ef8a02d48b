"""What is worked into a board besides its outline and openings: blind holes, bevels, bends; and which face that is done from."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

from cabinwright.physics.arcs import Segment
from cabinwright.physics.kerf_bend import KerfBend

__all__ = ["PLAIN", "Bent", "Bevel", "EdgeBore", "FaceBore", "Joinery", "Lap", "Scribe"]

Words = Callable[[float], str]
SIDES = {1: "left", -1: "right", 1j: "bottom", -1j: "top"}  #: by the way into the board


class Scribe(NamedTuple):
    """A line worked into the face that is drawn: marked, or scored to a depth (0: as the machine is set)."""

    operation: str  #: mark or score
    chain: tuple[Segment, ...]
    depth_m: float = 0.0


@dataclass(frozen=True, slots=True)
class FaceBore:
    """A blind hole in the face that is drawn."""

    at: complex
    diameter_m: float
    depth_m: float


@dataclass(frozen=True, slots=True)
class EdgeBore:
    """A blind hole in the middle of an edge."""

    at: complex  #: its mouth, on the outline
    way: complex  #: into the board: 1, -1, 1j or -1j
    diameter_m: float
    depth_m: float

    @property
    def side(self) -> str:
        """Edge it is in, as drawn."""
        return SIDES[self.way]


@dataclass(frozen=True, slots=True)
class Bevel:
    """An end that is not square."""

    side: str
    tilt_deg: float  #: of the saw
    inward: bool  #: whether the wall is longer outside than inside


@dataclass(frozen=True, slots=True)
class Bent:
    """Cuts that let a board follow an arc."""

    from_m: float  #: where the arc begins on the board laid flat
    cuts: KerfBend


@dataclass(frozen=True, slots=True)
class Lap:
    """A slot for a brace that crosses this one."""

    brace: int  #: number of the other
    at_m: float  #: its middle, from the left end
    width_m: float
    deep_m: float
    side: str  #: the edge that it is open at: top or bottom


@dataclass(frozen=True)
class Joinery:
    """All of it, of one board."""

    face: str = ""  #: inside or outside of the box: the face that is drawn and lies up on the machine; empty: either
    face_bores: tuple[FaceBore, ...] = ()
    edge_bores: tuple[EdgeBore, ...] = ()
    bevels: tuple[Bevel, ...] = ()
    bends: tuple[Bent, ...] = ()
    bored_outside: bool = False  #: whether the holes are in the face that is outside of the box
    stack_m: float | None = None  #: height of a post of which it is a disc
    planed: bool = False  #: whether its last disc is planed to that
    laps: tuple[Lap, ...] = ()

    def turned_over(self, sum_m: float) -> Joinery:
        """The same on a board seen from its other face: x becomes ``sum_m`` - x, left becomes right."""
        other = {"left": "right", "right": "left"}
        return replace(
            self,
            face={"inside": "outside", "outside": "inside"}.get(self.face, self.face),
            face_bores=tuple(replace(item, at=sum_m - item.at.conjugate()) for item in self.face_bores),
            edge_bores=tuple(
                replace(item, at=sum_m - item.at.conjugate(), way=complex(-item.way.conjugate()))
                for item in self.edge_bores
            ),
            bevels=tuple(replace(item, side=other[item.side]) for item in self.bevels),
            bends=tuple(
                replace(item, from_m=sum_m - item.from_m - item.cuts.length_m) for item in reversed(self.bends)
            ),
        )

    def words(self, length: Words, thickness_m: float, corner: complex) -> list[str]:
        """What a person at the bench has to know, a line each; places count from ``corner``, the lower left one."""
        said = [f"drawn with the face up that is {self.face} the box"] if self.face else []
        if self.stack_m is not None:
            planed = ", the last one planed down to it" if self.planed else ""
            said.append(f"glued on one another to a post {length(self.stack_m)} high{planed}")
        for diameter, depth in dict.fromkeys((item.diameter_m, item.depth_m) for item in self.face_bores):
            said.append(f"holes of {length(diameter)} on the face are blind: {length(depth)} deep")
        alike: dict[tuple[bool, tuple[str, ...]], list[str]] = {}
        for side in dict.fromkeys(item.side for item in self.edge_bores):
            places = sorted(_along(item, corner) for item in self.edge_bores if item.side == side)
            alike.setdefault((side in ("top", "bottom"), tuple(map(length, places))), []).append(side)
        for (level, told), sides in alike.items():
            one = self.edge_bores[0]
            said.append(
                f"{' and '.join(sides)} edge: holes of {length(one.diameter_m)}, {length(one.depth_m)} deep, "
                f"{length(thickness_m / 2.0)} from either face, {', '.join(told)} from the {'left' if level else 'lower'} end"
            )
        for item in self.bevels:
            said.append(f"{item.side} end bevelled {item.tilt_deg:.1f}°{'' if item.inward else ', longer inside'}")
        for lap in self.laps:
            order = "before" if lap.side == "top" else "after"
            said.append(
                f"half-lapped with brace {lap.brace}, put in {order} it: a slot from the {lap.side}, "
                f"{length(lap.width_m)} wide and {length(lap.deep_m)} deep, its middle {length(lap.at_m)} from the left end"
            )
        bends: dict[str, list[str]] = {}
        for bend in self.bends:
            cuts = bend.cuts
            how = (
                f"{math.degrees(cuts.angle_rad):.1f}°, radius outside {length(cuts.radius_m)}: {cuts.cuts} cuts "
                f"{length(cuts.kerf_m)} wide, {length(cuts.depth_m)} deep ({length(cuts.left_m)} left), every "
                f"{length(cuts.pitch_m)}"
            )
            bends.setdefault(how, []).append(length(bend.from_m - corner.real + cuts.places_m[0]))
        said += [f"bend of {how}, from {', '.join(starts)} from the left end on" for how, starts in bends.items()]
        return said

    def to_dict(self) -> dict[str, Any]:
        """The keys of ``plan.json``."""
        return {
            "face_up": self.face or None,
            "stack_m": self.stack_m,
            "face_bores": [
                {"at_m": [item.at.real, item.at.imag], "diameter_m": item.diameter_m, "depth_m": item.depth_m}
                for item in self.face_bores
            ],
            "edge_bores": [
                {
                    "edge": item.side,
                    "at_m": [item.at.real, item.at.imag],
                    "diameter_m": item.diameter_m,
                    "depth_m": item.depth_m,
                }
                for item in self.edge_bores
            ],
            "laps": [
                {
                    "brace": item.brace,
                    "at_m": item.at_m,
                    "width_m": item.width_m,
                    "depth_m": item.deep_m,
                    "open_at": item.side,
                }
                for item in self.laps
            ],
            "bevels": [
                {"end": item.side, "tilt_deg": item.tilt_deg, "longer": "outside" if item.inward else "inside"}
                for item in self.bevels
            ],
            "bends": [
                {
                    "from_m": item.from_m,
                    "length_m": item.cuts.length_m,
                    "angle_deg": math.degrees(item.cuts.angle_rad),
                    "radius_m": item.cuts.radius_m,
                    "least_radius_m": item.cuts.least_radius_m,
                    "cuts": item.cuts.cuts,
                    "pitch_m": item.cuts.pitch_m,
                    "kerf_m": item.cuts.kerf_m,
                    "depth_m": item.cuts.depth_m,
                    "left_m": item.cuts.left_m,
                    "skin_strain": item.cuts.strain,
                }
                for item in self.bends
            ],
        }


PLAIN = Joinery()


def _along(item: EdgeBore, corner: complex) -> float:
    at = item.at - corner
    return at.real if item.side in ("top", "bottom") else at.imag
