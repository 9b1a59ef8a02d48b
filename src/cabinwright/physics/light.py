"""Edge lighting: how evenly a row of emitters lights the edge that is seen, and how a strip is laid round an outline.

Emitters a pitch p apart shine at an edge at distance h, each by Lambert's cosine law. In open air, light at the edge falls as
``cos⁴θ / h²`` (inverse square and both cosines). In a clear sheet the faces keep it in (total reflection), so it spreads in
one plane only: ``T cos²θ / r``, with T what Fresnel's equations let through the face, nothing beyond the critical angle
``arcsin(1/n)``. By Poisson's sum the ripple in air is ``2 (1 + 2πh/p) exp(−2πh/p)`` of the mean, so what counts is the
pitch over the distance.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.arcs import Segment

__all__ = ["Medium", "edge_light", "evenness", "hard_bends", "pitch_for", "strip_length_m"]

ACRYLIC_INDEX = 1.49  #: refractive index of PMMA
EMITTER_M = 0.002  #: width of an emitter's face along the strip; common practice
FACE = 16  #: points that stand for it
EVEN = 0.9  #: least over greatest light that the eye takes for even along an edge; common practice

Medium = str
Floats = NDArray[np.float64]


def edge_light(
    *, pitch_m: float, distance_m: float, along_m: Floats, medium: Medium = "acrylic", emitter_m: float = EMITTER_M
) -> Floats:
    """Light (n,) at places ``along_m`` (n,) of a long edge over its mean; an emitter ``emitter_m`` wide sits opposite of 0."""
    light = _sum(pitch_m, distance_m, np.asarray(along_m, dtype=float), medium, emitter_m)
    mean = _period(pitch_m, distance_m, medium, emitter_m).mean()
    return np.asarray(light / mean)


def evenness(*, pitch_m: float, distance_m: float, medium: Medium = "acrylic", emitter_m: float = EMITTER_M) -> float:
    """Least over greatest light along the edge, 0 to 1."""
    light = _period(pitch_m, distance_m, medium, emitter_m)
    return float(light.min() / light.max())


def pitch_for(*, distance_m: float, wanted: float = EVEN, medium: Medium = "acrylic") -> float:
    """Widest pitch, to a hundredth of the distance, that lights the edge as evenly as ``wanted``; 0 where none does."""
    for step in range(300, 0, -1):
        pitch = distance_m * step / 100.0
        ends = _sum(pitch, distance_m, np.asarray([0.0, 0.5 * pitch]), medium, EMITTER_M)
        if ends.min() < wanted * ends.max():  # nowhere is it more even than at any two places
            continue
        if evenness(pitch_m=pitch, distance_m=distance_m, medium=medium) >= wanted:
            return pitch
    return 0.0


def strip_length_m(chain: Sequence[Segment]) -> float:
    """Length of a strip laid along a chain of segments."""
    return sum(segment.length_m for segment in chain)


def hard_bends(chain: Sequence[Segment], *, least_radius_m: float) -> list[tuple[complex, float]]:
    """Places where a strip would have to bend tighter than it may, with the radius there; 0 at a kink."""
    found = [
        (segment.point(0.5), segment.radius_m) for segment in chain if segment.radius_m < least_radius_m * (1.0 - 1e-9)
    ]
    for a, b in zip(chain, (*chain[1:], chain[0]), strict=True):
        turned = abs(np.angle(b.tangent(False) / a.tangent(True)))
        if abs(a.end - b.start) < 1e-6 and turned > math.radians(5.0):
            found.append((a.end, 0.0))
    return found


def _period(pitch_m: float, distance_m: float, medium: Medium, emitter_m: float) -> Floats:
    """Light over one pitch."""
    return _sum(pitch_m, distance_m, np.linspace(0.0, pitch_m, 200, endpoint=False), medium, emitter_m)


def _sum(pitch_m: float, distance_m: float, along_m: Floats, medium: Medium, emitter_m: float) -> Floats:
    """Light of enough emitters to both sides that those left out add less than 1e-4, each a face of some width."""
    reach = 40.0 * distance_m if medium == "air" else distance_m * _widest() + pitch_m + emitter_m
    count = min(2000, math.ceil(reach / pitch_m) + 1)
    face = (np.arange(FACE) + 0.5 - FACE / 2) / FACE * emitter_m if emitter_m > 0.0 else np.zeros(1)
    near = along_m - pitch_m * np.round(along_m / pitch_m)
    sources = (pitch_m * np.arange(-count, count + 1)[:, None] + face[None, :]).ravel()
    ratio = (near[:, None] - sources[None, :]) / distance_m
    if medium == "air":
        return np.asarray(np.sum((1.0 + ratio**2) ** -2, axis=1) / len(face))
    return np.asarray(np.sum((1.0 + ratio**2) ** -1.5 * _let_in(ratio), axis=1) / len(face))


def _let_in(ratio: Floats) -> Floats:
    """Share of the light that enters the sheet towards ``ratio`` = tan θ inside it: Fresnel, both polarisations alike."""
    sine = np.abs(ratio) / np.sqrt(1.0 + ratio**2)
    outside = np.minimum(ACRYLIC_INDEX * sine, 1.0)
    inner, outer = np.sqrt(1.0 - sine**2), np.sqrt(1.0 - outside**2)
    across = (outer - ACRYLIC_INDEX * inner) / (outer + ACRYLIC_INDEX * inner)
    along = (ACRYLIC_INDEX * outer - inner) / (ACRYLIC_INDEX * outer + inner)
    return np.asarray(1.0 - (across**2 + along**2) / 2.0)


def _widest() -> float:
    """Tangent of the critical angle: how far to the side an emitter's light reaches, over the distance."""
    return 1.0 / math.sqrt(ACRYLIC_INDEX**2 - 1.0)
