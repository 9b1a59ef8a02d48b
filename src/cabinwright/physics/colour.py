"""Colour of a strip of lights: drive values for a wanted CIE 1931 chromaticity, and how far off the result looks.

Light adds up: the tristimulus values of the primaries, each times its drive, are those of the mixture (CIE 015:2018). The
difference is CIEDE2000 (ISO/CIE 11664-6; Sharma, Wu & Dalal 2005), both colours taken at half the luminance of a D65
white, so that it speaks of hue and purity and not of brightness.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog

__all__ = ["Match", "Primary", "ciede2000", "lab", "match", "screen_hex", "srgb_to_xy", "xyz"]

D65_XY = (0.3127, 0.3290)
LIGHTNESS_Y = 0.5  #: luminance of both colours over that of the white
VISIBLE_DELTA_E = 1.0  #: about what two patches side by side just show; common practice
SRGB = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
"""Linear sRGB to XYZ, IEC 61966-2-1."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Primary:
    """One colour of a strip at full drive."""

    name: str
    xy: tuple[float, float]
    luminous: float  #: light it gives, in lumens or any unit the primaries share


@dataclass(frozen=True)
class Match:
    """Drive of each primary, 0 to 1, the brightest there is, and what it looks like."""

    drive: tuple[float, ...]
    steps: tuple[int, ...]  #: the same as whole steps of the controller
    xy: tuple[float, float]  #: with these steps
    delta_e: float  #: CIEDE2000 from the target, with these steps
    in_gamut: bool
    luminous_share: float  #: light given over that of all primaries at full drive


def xyz(xy: tuple[float, float], luminance: float = 1.0) -> Floats:
    """Tristimulus values (3,) of a chromaticity at a luminance."""
    x, y = xy
    return np.array([x, y, 1.0 - x - y]) * luminance / y


def lab(values: Floats, white: Floats | None = None) -> Floats:
    """CIELAB (3,) of tristimulus values; the white is D65 unless given. CIE 015:2018."""
    white = xyz(D65_XY) if white is None else white
    ratio = np.asarray(values) / white
    delta = 6.0 / 29.0
    f = np.where(ratio > delta**3, np.cbrt(ratio), ratio / (3.0 * delta**2) + 4.0 / 29.0)
    return np.array([116.0 * f[1] - 16.0, 500.0 * (f[0] - f[1]), 200.0 * (f[1] - f[2])])


def ciede2000(one: Floats, other: Floats) -> float:
    """Colour difference of two CIELAB colours (3,) (ISO/CIE 11664-6), all weights 1."""
    (l1, a1, b1), (l2, a2, b2) = (tuple(map(float, colour)) for colour in (one, other))
    mean = (math.hypot(a1, b1) + math.hypot(a2, b2)) / 2.0
    g = 0.5 * (1.0 - math.sqrt(mean**7 / (mean**7 + 25.0**7)))
    a1, a2 = a1 * (1.0 + g), a2 * (1.0 + g)
    c1, c2 = math.hypot(a1, b1), math.hypot(a2, b2)
    h1, h2 = (math.degrees(math.atan2(b, a)) % 360.0 if a or b else 0.0 for a, b in ((a1, b1), (a2, b2)))
    turn = 0.0 if c1 * c2 == 0.0 else (h2 - h1 + 180.0) % 360.0 - 180.0
    dh = 2.0 * math.sqrt(c1 * c2) * math.sin(math.radians(turn) / 2.0)
    lm, cm = (l1 + l2) / 2.0, (c1 + c2) / 2.0
    hm = h1 + h2 if c1 * c2 == 0.0 else _mean_hue(h1, h2)
    t = 1.0 + sum(
        weight * math.cos(math.radians(times * hm + shift))
        for weight, times, shift in ((-0.17, 1, -30), (0.24, 2, 0), (0.32, 3, 6), (-0.20, 4, -63))
    )
    sl = 1.0 + 0.015 * (lm - 50.0) ** 2 / math.sqrt(20.0 + (lm - 50.0) ** 2)
    sc, sh = 1.0 + 0.045 * cm, 1.0 + 0.015 * cm * t
    spread = 30.0 * math.exp(-(((hm - 275.0) / 25.0) ** 2))
    rt = -2.0 * math.sqrt(cm**7 / (cm**7 + 25.0**7)) * math.sin(math.radians(2.0 * spread))
    dl, dc, dh = (l2 - l1) / sl, (c2 - c1) / sc, dh / sh
    return math.sqrt(dl**2 + dc**2 + dh**2 + rt * dc * dh)


def _mean_hue(h1: float, h2: float) -> float:
    if abs(h1 - h2) <= 180.0:
        return (h1 + h2) / 2.0
    return (h1 + h2 + 360.0) / 2.0 if h1 + h2 < 360.0 else (h1 + h2 - 360.0) / 2.0


def match(primaries: Sequence[Primary], target_xy: tuple[float, float], *, steps: int = 255) -> Match:
    """The brightest drive that shows ``target_xy``, or what looks nearest to it where it lies outside the gamut.

    ``steps`` is the controller's full scale; 255 for 8 bits.
    """
    drive = _drive(primaries, target_xy)
    inside = drive is not None
    if drive is None:
        nearest = min(_rim(primaries), key=lambda xy: _delta_e(xy, target_xy))
        drive = _drive(primaries, nearest)
        if drive is None:  # a single primary, or rounding at a corner of the gamut
            drive = np.array([float(p.xy == nearest) for p in primaries])
            drive = drive if drive.any() else np.eye(len(primaries))[_closest(primaries, nearest)]
    whole = np.round(drive * steps).astype(int)
    mixed = _mixture(primaries, whole / steps)
    shown = (float(mixed[0] / mixed.sum()), float(mixed[1] / mixed.sum()))
    everything = sum(primary.luminous for primary in primaries)
    return Match(
        tuple(float(value) for value in drive),
        tuple(int(value) for value in whole),
        shown,
        _delta_e(shown, target_xy),
        inside,
        float(mixed[1]) / everything,
    )


def srgb_to_xy(rgb: Sequence[float], *, white: Sequence[float] | None = None) -> tuple[float, float]:
    """Chromaticity of an sRGB patch (0 to 255 each), where a grey card in the same light photographed as ``white``."""
    linear = _linear(rgb)
    if white is not None:
        linear = linear / _linear(white)
    values = SRGB @ linear
    total = float(values.sum())
    if total <= 0.0:
        raise ValueError("a black patch has no hue")
    return float(values[0]) / total, float(values[1]) / total


def screen_hex(xy: tuple[float, float]) -> str:
    """A chromaticity as the brightest sRGB colour of its hue, for pictures; clipped where a screen cannot show it."""
    linear = np.clip(np.linalg.solve(SRGB, xyz(xy)), 0.0, None)
    linear = linear / linear.max()
    shown = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1.0 / 2.4) - 0.055)
    return "#" + "".join(f"{round(255 * value):02x}" for value in shown)


def _linear(rgb: Sequence[float]) -> Floats:
    share = np.asarray(rgb, dtype=float) / 255.0
    return np.asarray(np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4))


def _delta_e(one: tuple[float, float], other: tuple[float, float]) -> float:
    return ciede2000(lab(xyz(one, LIGHTNESS_Y)), lab(xyz(other, LIGHTNESS_Y)))


def _mixture(primaries: Sequence[Primary], drive: Floats) -> Floats:
    return np.asarray(sum(share * xyz(p.xy, p.luminous) for p, share in zip(primaries, drive, strict=True)))


def _drive(primaries: Sequence[Primary], xy: tuple[float, float]) -> Floats | None:
    """Drives from 0 to 1 with the most light in exactly this chromaticity; None where there are none."""
    columns = np.array([xyz(p.xy, p.luminous) for p in primaries]).T
    scale = columns.max()
    wanted = xyz(xy)
    rules = np.array([columns[0] - wanted[0] * columns[1], columns[2] - wanted[2] * columns[1]]) / scale
    found = linprog(-columns[1] / scale, A_eq=rules, b_eq=np.zeros(2), bounds=(0.0, 1.0), method="highs")
    if found.status != 0 or found.x is None or float(found.x.max()) < 1e-6:
        return None
    return np.asarray(np.clip(found.x, 0.0, 1.0))


def _rim(primaries: Sequence[Primary]) -> list[tuple[float, float]]:
    """Chromaticities of mixtures of two primaries each, the rim of the gamut among them."""
    points = [primary.xy for primary in primaries]
    for one, other in combinations(primaries, 2):
        for share in np.linspace(0.002, 0.998, 499):
            x, y = (float((1.0 - share) * a + share * b) for a, b in zip(one.xy, other.xy, strict=True))
            points.append((x, y))
    return points


def _closest(primaries: Sequence[Primary], xy: tuple[float, float]) -> int:
    return min(range(len(primaries)), key=lambda k: _delta_e(primaries[k].xy, xy))
