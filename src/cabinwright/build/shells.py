"""Generic cabins to begin from, scaled from three tapes. Typical and invented; a survey replaces them.

The profile of each kind stands in ``shells.toml``. Across the car it is a mirror image: upright walls up to the windows,
leaning in above them, so that every piece is flat and every edge of the shell is shared by exactly two pieces.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Literal

from cabinwright.errors import PersonError

__all__ = ["KINDS", "Shell", "cabin_text", "make_shell"]

Side = Literal["left", "right"]
Point = tuple[float, float, float]
Facet = tuple[str, str, list[Point]]

KINDS = ("hatchback", "saloon", "estate", "crew van", "pick-up")
DASH_M = 0.45  #: the dash's face behind the foot of the windscreen
LIMITS_M = {"length": (1.0, 4.5), "width": (1.0, 2.2), "height": (0.8, 2.2)}  #: what a road car's tapes can read
SIGNS: dict[Side, float] = {"left": -1.0, "right": 1.0}
CURTAIN_M, RAIL_M = (
    0.12,
    0.03,
)  #: how far a curtain airbag's way reaches in from the side, and how far above the waist it ends
CAUTION = "typical, not your car's: look up where its airbags unfold before anything is fitted"


@dataclass(frozen=True)
class Shell:
    """One kind of cabin with its three tapes."""

    kind: str
    length_m: float  #: from the dash's face straight back to the end of the cabin
    width_m: float  #: between the doors at the windows' lower edge
    height_m: float  #: from the floor to the highest point of the roof

    @property
    def data(self) -> dict[str, Any]:
        """Its proportions."""
        found: dict[str, Any] = _table()[self.kind]
        return found

    def x(self, share: float) -> float:
        """Place along the car [m] of a share of the length behind the dash's face, or before it (-1: the windscreen's foot)."""
        return DASH_M + share * (self.length_m if share > 0.0 else DASH_M)

    def half_width(self, z_m: float) -> float:
        """From the centre line to the wall [m] at this height."""
        waist_m = self.data["waist"] * self.height_m
        lean = max(0.0, z_m - waist_m) / (self.height_m - waist_m)
        return float(0.5 * self.width_m * (1.0 - (1.0 - self.data["narrow"]) * lean))

    def at(self, name: str, sign: float) -> Point:
        """A point of the profile on the left (-1) or right (1) wall."""
        share, up = self.data["points"][name]
        z_m = up * self.height_m
        return self.x(share), sign * self.half_width(z_m), z_m

    def head(self, side: Side) -> Point:
        """Centre of a front head."""
        return DASH_M + 0.8, SIGNS[side] * 0.25 * self.width_m, 0.84 * self.height_m

    def bass(self) -> Point:
        """A place for a subwoofer: behind the rear seat back, or before a bench that ends the cabin."""
        if "rear_back" in self.data:
            return self.x(0.9), 0.0, 0.3 * self.height_m
        return self.at("heel", 1.0)[0] - 0.1, 0.0, 0.15 * self.height_m

    def facets(self) -> Iterator[Facet]:
        """The closed shell: name, material and corners of every piece."""
        for name, (material, a, b) in self.data["across"].items():
            yield name, material, [self.at(a, -1.0), self.at(b, -1.0), self.at(b, 1.0), self.at(a, 1.0)]
        for side, sign in SIGNS.items():
            for name, (material, *points) in self.data["sides"].items():
                yield f"{side} {name}", material, [self.at(point, sign) for point in points]

    def seat_backs(self) -> Iterator[Facet]:
        """Sheets that stand free inside."""
        for side in SIGNS:
            x, y, z = self.head(side)
            low, high = (x - 0.02, 0.33 * self.height_m), (x + 0.16, z - 0.15)
            yield f"{side} front seat back", "cloth seat", _sheet(low, high, y, 0.22)
        if "rear_back" in self.data:
            bottom, top = self.data["rear_back"]
            low = self.x(bottom), 0.03 + self.data["points"].get("step", (0.0, 0.3))[1] * self.height_m
            yield (
                "rear seat back",
                "cloth seat",
                _sheet(low, (self.x(top), 0.62 * self.height_m), 0.0, 0.42 * self.width_m),
            )

    def keep_outs(self, driving_side: Side) -> Iterator[tuple[str, str, list[Point]]]:
        """Volumes to keep free: name, kind and corners."""
        other: Side = "right" if driving_side == "left" else "left"
        x, y, z = self.head(driving_side)
        dash_m, waist_m = self.at("dash", 1.0)[2], self.data["waist"] * self.height_m
        chest = (x - 0.08, z - 0.45, z + 0.1)
        yield "steering wheel airbag", "airbag path", _funnel((x - 0.55, z - 0.5, z - 0.15), chest, y, 0.2)
        front = (DASH_M - 0.25, dash_m - 0.02, dash_m + 0.05)
        yield "passenger's airbag", "airbag path", _funnel(front, chest, self.head(other)[1], 0.2)
        toe_m = self.at("toe", 1.0)[0]
        yield (
            "driver's pedals",
            "pedals",
            _box((toe_m, toe_m + 0.35), (y - 0.18, y + 0.18), (0.02, 0.27 * self.height_m)),
        )
        knees = (0.27 * self.height_m, 0.52 * self.height_m)
        yield "driver's knees", "knees", _box((DASH_M + 0.02, DASH_M + 0.4), (y - 0.22, y + 0.22), knees)
        for side, sign in SIGNS.items():
            yield f"{side} curtain airbag", "airbag path", self._curtain(sign)
            wall, inner = 0.5 * self.width_m, abs(self.head(side)[1]) + 0.24
            across = (sign * inner, sign * wall)
            yield (
                f"{side} seat airbag",
                "airbag path",
                _box((x - 0.3, x + 0.05), across, (0.25 * self.height_m, waist_m)),
            )
            glass = (sign * (wall + 0.06), sign * (wall + 0.09))
            window = (DASH_M + 0.1, self.at("belt", sign)[0])
            yield f"{side} front window", "window travel", _box(window, glass, (0.3 * self.height_m, waist_m))

    def _curtain(self, sign: float) -> list[Point]:
        front, back = self.at("header", sign), self.at("rail", sign)
        rail_m, end_m = min(front[2], back[2]), self.data["waist"] * self.height_m + RAIL_M
        walls = [(x, z, self.half_width(z)) for x in (front[0], back[0]) for z in (end_m, rail_m)]
        return [(x, sign * (y - inward), z) for x, z, y in walls for inward in (0.0, CURTAIN_M)]

    def pillars(self) -> Iterator[tuple[str, Side, list[Point]]]:
        """The pillars beside the windscreen with their trim."""
        for side, sign in SIGNS.items():
            ends = self.at("foot", sign), self.at("header", sign)
            yield f"{side} pillar", side, [(x + dx, y - sign * dy, z) for x, y, z in ends for dx, dy in PILLAR_M]


PILLAR_M = (
    (0.0, 0.0),
    (0.0, 0.075),
    (0.11, 0.0),
    (0.09, 0.05),
)  #: its section: rearward and inward from the glass's edge


def make_shell(
    kind: str, *, length_m: float | None = None, width_m: float | None = None, height_m: float | None = None
) -> Shell:
    """A cabin of this kind; tapes that are not given are typical. Raises ``PersonError`` for what no car measures."""
    if kind not in KINDS:
        raise PersonError(f'no shell is called "{kind}". Write one of: {", ".join(KINDS)}.')
    taken = {}
    for name, value in (("length", length_m), ("width", width_m), ("height", height_m)):
        low, high = LIMITS_M[name]
        taken[name] = float(_table()[kind][f"{name}_m"]) if value is None else value
        if not low <= taken[name] <= high:
            raise PersonError(
                f"the {name} of a cabin lies between {low:g} and {high:g} m, got {taken[name]:g} m. "
                "A bare number counts in metres; add the unit to another: 57 in."
            )
    return Shell(kind, taken["length"], taken["width"], taken["height"])


def cabin_text(shell: Shell, *, driving_side: Side) -> str:
    """The cabin, its keep-outs and two pairs of places as commented TOML."""
    tapes = f"length {shell.length_m:.2f} m, width {shell.width_m:.2f} m, height {shell.height_m:.2f} m"
    rows = [
        HEAD.format(kind=shell.kind, tapes=tapes),
        *(_surface(*facet) for facet in shell.facets()),
        "\n# Seat backs stand free inside.",
        *(_surface(*facet) for facet in shell.seat_backs()),
        PILLARS,
        *(
            f'[[cabin.pillars]]\nname = "{name}"\nside = "{side}"\n{_corners(corners)}\n'
            for name, side, corners in shell.pillars()
        ),
        KEEP_OUTS,
        *(_keep_out(*volume) for volume in shell.keep_outs(driving_side)),
        PLACES,
        *_places(shell),
    ]
    return "\n".join(rows).rstrip("\n") + "\n"


HEAD = """
# THE CABIN
# A generic {kind} ({tapes}).
# Its proportions are invented and typical of no car in particular. Places can be compared with it roughly; before
# anything is cut, survey the car (docs/build_reference.md, [survey]) and put surveyed points in place of these corners.
# Corners run around the edge of each piece; pieces that meet share their corners, and together they close.
[cabin]
temperature_c = 20
"""
PILLARS = """
# PILLARS that the driver looks past: the hull around their corners, trim included. Measure yours.
"""
KEEP_OUTS = """
# KEEP FREE
# Nothing may stand in an airbag's way. These volumes are typical and are NOT those of your car: its maker's data decide.
# Not every car has each of them, and some have others (knees, centre, seat belts). Work near them is for licensed people.
"""
PLACES = """
# PLACES where a speaker could go, two pairs to begin with. Add every place you would consider; docs/build_reference.md
# lists what else can be said of one (depth, what is cut, cost, looks).
"""


def _places(shell: Shell) -> Iterator[str]:
    for side, sign in SIGNS.items():
        foot, header = shell.at("foot", sign), shell.at("header", sign)
        x, _, z = (a + 0.3 * (b - a) for a, b in zip(foot, header, strict=True))
        y = sign * (shell.half_width(z) - 0.045)
        yield (
            f'[[places]]\nname = "{side} pillar pod"\nrole = "coaxial"\nside = "{side}"\nposition_m = {_row((x + 0.08, y, z))}\n'
            f'aim = "driver"\naim_limit_deg = 30\nradius_m = 0.03\npillar = "{side} pillar"\nreversible = true\nlooks = 4\n'
        )
    for side, sign in SIGNS.items():
        at = (DASH_M + 0.2, 0.5 * sign * shell.width_m, 0.33 * shell.height_m)
        yield (
            f'[[places]]\nname = "{side} door"\nrole = "midbass"\nside = "{side}"\nposition_m = {_row(at)}\n'
            f"aim = [0, {-sign:.0f}, 0]\nradius_m = 0.065\ndepth_m = 0.05\nlooks = 5\n"
        )


@cache
def _table() -> dict[str, Any]:
    return tomllib.loads(files("cabinwright.build").joinpath("shells.toml").read_text(encoding="utf-8"))


def _sheet(low: tuple[float, float], high: tuple[float, float], y: float, half: float) -> list[Point]:
    return [
        (low[0], y - half, low[1]),
        (high[0], y - half, high[1]),
        (high[0], y + half, high[1]),
        (low[0], y + half, low[1]),
    ]


def _box(x: tuple[float, float], y: tuple[float, float], z: tuple[float, float]) -> list[Point]:
    return [(a, b, c) for a in x for b in y for c in z]


def _funnel(front: tuple[float, float, float], back: tuple[float, float, float], y: float, half: float) -> list[Point]:
    """From a small upright rectangle (x, lower z, upper z) back to one half as wide again."""
    ends = ((front, half), (back, 1.5 * half))
    return [(x, y + s * wide, z) for (x, *zs), wide in ends for z in zs for s in (-1.0, 1.0)]


def _surface(name: str, material: str, corners: list[Point]) -> str:
    return f'[[cabin.surfaces]]\nname = {json.dumps(name)}\nmaterial = "{material}"\n{_corners(corners)}'


def _keep_out(name: str, kind: str, corners: list[Point]) -> str:
    remark = f"  # {CAUTION}" if "airbag" in kind else ""
    return f'[[cabin.keep_outs]]{remark}\nname = "{name}"\nkind = "{kind}"\n{_corners(corners)}\n'


def _corners(corners: list[Point]) -> str:
    lines = [", ".join(_row(corner) for corner in corners[i : i + 4]) for i in range(0, len(corners), 4)]
    return "corners_m = [\n" + "".join(f"  {line},\n" for line in lines) + "]"


def _row(point: Point) -> str:
    return "[" + ", ".join(f"{round(part, 3) + 0.0:g}" for part in point) + "]"
