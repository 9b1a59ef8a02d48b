"""What comparing places gives. Lengths in metres, times in seconds, levels in dB; directions as the listener has them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cabinwright.findings import Finding
from cabinwright.stages.layout.keep_outs import Clearance
from cabinwright.stages.layout.view import LIMIT_DEG, ViewResult

__all__ = [
    "Aimed",
    "Heard",
    "LayoutResult",
    "LowFrequency",
    "LowPlace",
    "Pair",
    "PairHeard",
    "PlaceResult",
    "Ranked",
    "Reflection",
]

Real = NDArray[np.float64]
Point = tuple[float, float, float]


@dataclass(frozen=True)
class Reflection:
    """One path that is not the straight one. Delay and level count from the direct sound along the straight line."""

    surfaces: tuple[str, ...]  #: in the order the sound meets them
    order: int
    delay_s: float
    level_db: float  #: mean of the octave bands from 500 Hz to 4 kHz
    bands_db: tuple[float, ...]  #: in ``LayoutResult.bands_hz``
    azimuth_deg: float  #: where it comes from: 0 straight ahead, positive to the right
    elevation_deg: float  #: positive from above
    off_axis_deg: float  #: where it leaves the speaker
    points_m: tuple[Point, ...]  #: where it is reflected
    dip_hz: float  #: first dip of the comb it makes with the direct sound
    peak_to_dip_db: float
    dip_range_hz: tuple[float, float] | None  #: over the head box; None where it is not heard all over it
    stays_put: bool | None  #: whether a filter may help; None where it is not heard all over the box
    draws_image: bool  #: early and loud enough to shift the image (precedence, approximate)


@dataclass(frozen=True)
class Heard:
    """One place as one seat hears it, at the head centre unless said otherwise."""

    distance_m: float
    off_axis_deg: float
    occluded: bool
    detour_m: float | None  #: round the nearest free edge where it is hidden; None: not hidden, or no way round
    azimuth_deg: float
    elevation_deg: float
    direct_bands_db: tuple[float, ...]  #: loss of the direct sound by directivity and by bending round edges
    reflections: tuple[Reflection, ...]
    early_db: float  #: power of reflections within 10 ms against the direct sound, role's own bands
    box_hz: Real  #: (f,)
    box_db: Real  #: (points, f) twelfth octaves over the head box, 0 dB: direct sound on axis at the head centre
    uneven_db: float  #: standard deviation over the head box of third-octave levels, mean over the role's own bands
    sound_db: float  #: the figure that places are compared by; see docs/layout.md


@dataclass(frozen=True)
class Aimed:
    """The best aim that the panel allows, and what errors cost."""

    aim: Point
    turn_deg: float  #: from the stated aim
    gain_db: float  #: in ``sound_db`` over the stated aim
    spread_db: float  #: standard deviation of ``sound_db`` under errors of survey, mounting and aim
    forgives_deg: float  #: the largest turn tried that costs no more than 1 dB, whichever way
    forgives_m: float  #: the largest shift tried that costs no more than 1 dB, whichever way


@dataclass(frozen=True)
class LowPlace:
    """A low place below 200 Hz, by the modes of the cabin."""

    frequency_hz: Real  #: (f,)
    level_db: dict[str, Real]  #: per seat (points, f): over the same speaker in half space at 1 m
    third_hz: Real  #: (b,) third octaves from 20 to 200 Hz
    third_db: dict[str, Real]  #: per seat (b,): power mean over the head box and the band
    uneven_db: dict[str, float]  #: per seat: mean over third octaves of the standard deviation over the head box
    gain_db: dict[str, float]  #: per seat: mean level from 25 to 80 Hz


@dataclass(frozen=True)
class PlaceResult:
    """One place."""

    name: str
    role: str
    side: str
    position_m: Point
    radius_m: float
    aim: Point
    seats: dict[str, Heard]
    aimed: Aimed | None
    low: LowPlace | None


@dataclass(frozen=True)
class PairHeard:
    """Left and right of a pair as one seat hears them."""

    path_difference_m: float  #: left minus right
    delay_s: float  #: that the nearer one needs
    delay_on: str  #: "left" or "right"
    bands_db: tuple[float, ...]  #: left minus right, direct sound
    level_difference_db: float  #: left minus right, 500 Hz to 4 kHz
    lean: float  #: where a centred voice stands after delay alone: -1 fully left, 0 middle, 1 fully right (tangent law)
    lean_deg: float
    lean_undelayed: float  #: where it stands without any delay, likewise (time traded against level; rough)
    elevation_deg: float  #: of the image, mean of both


@dataclass(frozen=True)
class Pair:
    """Two places that play together."""

    role: str
    left: str
    right: str
    seats: dict[str, PairHeard]
    compromise_s: float | None  #: half of what the delays for both front seats differ by; None with one front seat


@dataclass(frozen=True)
class LowFrequency:
    """The cabin below 200 Hz."""

    modes_hz: tuple[float, ...]
    quality: tuple[float, ...]
    volume_m3: float
    valid_to_hz: float
    crossfade_hz: tuple[float, float]  #: between this answer and that of rays
    leak_hz: float
    ignored: tuple[str, ...]  #: surfaces that bound no air here
    map_of: str | None = None  #: the place whose map is drawn
    map_hz: float = 0.0
    map_x_m: Real = field(default_factory=lambda: np.empty(0))
    map_y_m: Real = field(default_factory=lambda: np.empty(0))
    map_db: Real = field(default_factory=lambda: np.empty((0, 0)))  #: (y, x) at the height of the heads


@dataclass(frozen=True)
class Ranked:
    """One choice for a role: a pair, or one place."""

    role: str
    places: tuple[str, ...]
    first_share: float  #: how often it comes first under the errors, 0 to 1
    barred: str | None  #: why it is out of the contest (an airbag's way, no partner); None: it is in it
    better_than: tuple[str, ...]  #: choices it beats in everything that is known
    criteria: dict[str, float | None]  #: sound, room, irreversible, looks, view, cost; None where unknown
    score: float  #: weighted, 0 to 1
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class LayoutResult:
    """The whole comparison."""

    speed_of_sound_m_s: float
    bands_hz: tuple[float, ...]
    listening_seat: str
    places: dict[str, PlaceResult]
    pairs: tuple[Pair, ...]
    low_frequency: LowFrequency | None
    ranking: tuple[Ranked, ...]
    clearances: tuple[Clearance, ...]
    view: ViewResult | None
    draws: int
    findings: tuple[Finding, ...]

    def to_dict(self) -> dict[str, Any]:
        """What ``plan.json`` holds under ``layout``."""
        low = self.low_frequency
        return {
            "speed_of_sound_m_s": self.speed_of_sound_m_s,
            "bands_hz": self.bands_hz,
            "listening_seat": self.listening_seat,
            "places": {name: _place(item) for name, item in self.places.items()},
            "pairs": [_pair(item) for item in self.pairs],
            "low_frequency": None
            if low is None
            else {
                "modes_hz": low.modes_hz,
                "quality": low.quality,
                "volume_m3": low.volume_m3,
                "valid_to_hz": low.valid_to_hz,
                "crossfade_hz": low.crossfade_hz,
                "leak_hz": low.leak_hz,
                "ignored_surfaces": low.ignored,
                "places": {name: _low(item.low) for name, item in self.places.items() if item.low is not None},
            },
            "ranking": [
                {
                    "role": item.role,
                    "places": item.places,
                    "first_share": item.first_share,
                    "barred": item.barred,
                    "better_than": item.better_than,
                    "criteria": item.criteria,
                    "score": item.score,
                    "reasons": item.reasons,
                }
                for item in self.ranking
            ],
            "draws": self.draws,
            "view": None
            if self.view is None
            else {
                "seat": self.view.seat,
                "limit_deg": LIMIT_DEG,
                "pillars": {
                    item.pillar: {"side": item.side, "angle_deg": item.angle_deg} for item in self.view.pillars
                },
                "pods": {
                    item.place: {
                        "pillar": item.after.pillar,
                        "angle_deg": item.after.angle_deg,
                        "added_deg": item.added_deg,
                    }
                    for item in self.view.pods
                },
            },
            "clearances": [
                {"place": item.place, "keep_out": item.keep_out, "kind": item.kind, "gap_m": item.gap_m}
                for item in self.clearances
            ],
            "findings": [item.to_dict() for item in self.findings],
        }


def _place(item: PlaceResult) -> dict[str, Any]:
    return {
        "role": item.role,
        "side": item.side,
        "position_m": item.position_m,
        "radius_m": item.radius_m,
        "aim": item.aim,
        "best_aim": None
        if item.aimed is None
        else {
            "aim": item.aimed.aim,
            "turn_deg": item.aimed.turn_deg,
            "gain_db": item.aimed.gain_db,
            "spread_db": item.aimed.spread_db,
            "forgives_deg": item.aimed.forgives_deg,
            "forgives_m": item.aimed.forgives_m,
        },
        "seats": {name: _heard(heard) for name, heard in item.seats.items()},
    }


def _heard(item: Heard) -> dict[str, Any]:
    return {
        "distance_m": item.distance_m,
        "off_axis_deg": item.off_axis_deg,
        "occluded": item.occluded,
        "detour_m": item.detour_m,
        "azimuth_deg": item.azimuth_deg,
        "elevation_deg": item.elevation_deg,
        "direct_bands_db": item.direct_bands_db,
        "early_db": item.early_db,
        "uneven_db": item.uneven_db,
        "sound_db": item.sound_db,
        "reflections": [
            {
                "surfaces": row.surfaces,
                "order": row.order,
                "delay_s": row.delay_s,
                "level_db": row.level_db,
                "bands_db": row.bands_db,
                "azimuth_deg": row.azimuth_deg,
                "elevation_deg": row.elevation_deg,
                "off_axis_deg": row.off_axis_deg,
                "dip_hz": row.dip_hz,
                "peak_to_dip_db": row.peak_to_dip_db,
                "dip_range_hz": row.dip_range_hz,
                "stays_put": row.stays_put,
                "draws_image": row.draws_image,
            }
            for row in item.reflections
        ],
    }


def _pair(item: Pair) -> dict[str, Any]:
    return {
        "role": item.role,
        "left": item.left,
        "right": item.right,
        "compromise_s": item.compromise_s,
        "seats": {name: dict(vars(heard)) for name, heard in item.seats.items()},
    }


def _low(item: LowPlace) -> dict[str, Any]:
    return {
        "frequency_hz": item.frequency_hz,
        "level_db": {seat: level.mean(axis=0) for seat, level in item.level_db.items()},
        "third_octaves_hz": item.third_hz,
        "third_octaves_db": item.third_db,
        "uneven_db": item.uneven_db,
        "gain_db": item.gain_db,
    }
