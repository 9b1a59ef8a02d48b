"""An invented cabin of slanted walls for the tests of layout: closed, with one seat back standing in it."""

from __future__ import annotations

from collections.abc import Iterable

from cabinwright.build.codec import parse
from cabinwright.build.document import Build

HALF_M = 0.72
PROFILE = ((0.0, 0.0), (2.5, 0.0), (2.5, 0.55), (2.15, 1.1), (0.95, 1.18), (0.42, 0.74), (0.08, 0.7))
"""Outline of the side (x, z), from the foot of the firewall round by floor, tail, rear window, roof, windscreen, dash."""
WALLS = ("floor", "tail", "rear window", "roof", "windscreen", "dash", "firewall")
STUFF = {"floor": "carpet", "rear window": "glass", "windscreen": "glass", "roof": "headliner", "dash": "plastic"}

PLACES = """
[[places]]
name = "left pillar"
role = "coaxial"
side = "left"
position_m = [0.72, -0.62, 0.9]
aim = "driver"
aim_limit_deg = 25
normal = [1.0, 0.9, 0.0]
radius_m = 0.035
depth_m = 0.05
cut = "pillar trim"
reversible = true
cost = 400
looks = 4
[[places]]
name = "right pillar"
role = "coaxial"
side = "right"
position_m = [0.72, 0.62, 0.9]
aim = "driver"
radius_m = 0.035
depth_m = 0.05
cut = "pillar trim"
reversible = true
cost = 400
looks = 4
[[places]]
name = "left dash corner"
role = "coaxial"
side = "left"
position_m = [0.52, -0.56, 0.77]
aim = [1.0, 0.4, 0.6]
radius_m = 0.035
depth_m = 0.06
reversible = true
cost = 150
looks = 3
[[places]]
name = "right dash corner"
role = "coaxial"
side = "right"
position_m = [0.52, 0.56, 0.77]
aim = [1.0, -0.4, 0.6]
radius_m = 0.035
depth_m = 0.06
reversible = true
cost = 150
looks = 3
[[places]]
name = "left door"
role = "coaxial"
side = "left"
position_m = [0.8, -0.7, 0.3]
aim = [0.0, 1.0, 0.0]
radius_m = 0.035
depth_m = 0.08
reversible = true
cost = 100
looks = 5
[[places]]
name = "right door"
role = "coaxial"
side = "right"
position_m = [0.8, 0.7, 0.3]
aim = [0.0, -1.0, 0.0]
radius_m = 0.035
depth_m = 0.08
reversible = true
cost = 100
looks = 5
[[places]]
name = "spare wheel bay"
role = "subwoofer"
side = "centre"
position_m = [2.2, 0.0, 0.05]
aim = [0.0, 0.0, 1.0]
volume_m3 = "30 L"
[[places]]
name = "seat base"
role = "subwoofer"
side = "centre"
position_m = [1.3, -0.36, 0.15]
aim = [0.0, 0.0, 1.0]
volume_m3 = "12 L"
[[places]]
name = "tail side"
role = "subwoofer"
side = "right"
position_m = [2.4, 0.6, 0.3]
aim = [-1.0, 0.0, 0.0]
volume_m3 = "25 L"
"""


def surface(name: str, corners: Iterable[tuple[float, float, float]], material: str = "trim") -> str:
    """One ``[[cabin.surfaces]]``."""
    points = ", ".join(str(list(corner)) for corner in corners)
    return f'[[cabin.surfaces]]\nname = "{name}"\nmaterial = "{material}"\ncorners_m = [{points}]\n'


def shell(*, seat_back: bool = True) -> str:
    """All surfaces."""
    parts = [
        surface(side, [(x, y, z) for x, z in PROFILE]) for side, y in (("left side", -HALF_M), ("right side", HALF_M))
    ]
    for index, name in enumerate(WALLS):
        (x0, z0), (x1, z1) = PROFILE[index], PROFILE[(index + 1) % len(PROFILE)]
        corners = [(x0, -HALF_M, z0), (x1, -HALF_M, z1), (x1, HALF_M, z1), (x0, HALF_M, z0)]
        parts.append(surface(name, corners, STUFF.get(name, "trim")))
    if seat_back:
        back = [(1.5, 0.12, 0.2), (1.5, 0.6, 0.2), (1.62, 0.6, 0.78), (1.62, 0.12, 0.78)]
        parts.append(surface("driver's seat back", back, "cloth seat"))
    return "".join(parts)


HEAD = """schema = 1
title = "invented cabin"
[vehicle]
name = "invented estate"
driving_side = "right"
[[seats]]
name = "driver"
head_m = [1.3, 0.36, 0.95]
[[seats]]
name = "passenger"
head_m = [1.3, -0.36, 0.95]
"""


def cabin_text(*, places: str = PLACES, surfaces: str | None = None, extra: str = "") -> str:
    """The whole build as TOML."""
    return HEAD + (shell() if surfaces is None else surfaces) + places + extra


def cabin_build(*, places: str = PLACES, surfaces: str | None = None, extra: str = "") -> Build:
    """The whole build."""
    return parse(cabin_text(places=places, surfaces=surfaces, extra=extra))
