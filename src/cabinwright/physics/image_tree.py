"""Every chain of facets by which receivers may be heard, with the region it is heard from and what shades it there.

Grown from the receivers: behind each chain its image is mirrored at one more facet, and only where that facet shows through
the window of the chain before it. A chain whose window has shrunk to nothing is never followed further, so that the cost
grows with what can be heard and not with the number of facets to the power of the order (Borish 1984, with beams).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from cabinwright.physics.beams import NEUTRAL, Cones, Polygons, cones, every_window
from cabinwright.physics.cavity.triangles import ear_clip
from cabinwright.physics.facets import NEAR_M, Facet, may_block

__all__ = ["Chains", "Walls", "grow"]

Real = NDArray[np.float64]
Whole = NDArray[np.intp]
AT_ALL_M = 1e-9  #: sound that meets a facet comes from this far off its plane or further
SAME_PLANE_M = 1e-6
LATER, NOTCH = -1, -2  #: shades that stand after the first reflection; and what a concave facet lacks of its hull


@dataclass(frozen=True, eq=False)
class Walls:
    """Facets as arrays."""

    facets: tuple[Facet, ...]

    @cached_property
    def planes(self) -> Real:
        """(facets, 4): unit normal and offset."""
        rows = [np.append(facet.normal, -float(facet.normal @ facet.centre_m)) for facet in self.facets]
        return np.asarray(rows, dtype=np.float64).reshape(-1, 4)

    @cached_property
    def windows(self) -> Polygons:
        """Outline of each in its plane; of a concave one the hull, from which its notches are still to be taken."""
        return Polygons.stacked([_outline(facet)[_hull(facet)] for facet in self.facets])

    @cached_property
    def notches(self) -> tuple[Polygons, Whole]:
        """Triangles that lie in the hull of a concave facet but not in the facet, and whose they are."""
        parts, owner = [], []
        for index, facet in enumerate(self.facets):
            corners, hull = _outline(facet), _hull(facet)
            for a, b in zip(hull, [*hull[1:], hull[0] + len(corners)], strict=True):
                if b - a > 1:
                    notch = corners[np.arange(a, b + 1) % len(corners)]
                    parts += list(notch[ear_clip(notch)])
                    owner += [index] * (b - a - 1)
        return Polygons.stacked(parts), np.asarray(owner, dtype=np.intp)

    @cached_property
    def plane_of(self) -> Whole:
        """(facets,): the first facet that lies in the same plane. Sound reflected by the one never meets the other next."""
        count = len(self.facets)
        every = np.asarray([np.abs(f.height_m(g.corners_m)).max() for f in self.facets for g in self.facets])
        same = every.reshape(count, count) < SAME_PLANE_M
        return np.asarray([row.argmax() for row in same | np.eye(count, dtype=np.bool_)], dtype=np.intp)

    def height_m(self, facets: Whole, points_m: Real) -> Real:
        """(n,) height of points (n, 3) over the planes of as many facets."""
        planes = self.planes[facets]
        return np.asarray(np.einsum("ni,ni->n", planes[:, :3], points_m) + planes[:, 3])

    def mirrored(self, facets: Whole, points_m: Real) -> Real:
        """(n, 3) points mirrored at as many facets."""
        return np.asarray(points_m - 2.0 * self.height_m(facets, points_m)[:, None] * self.planes[facets, :3])

    def side(self, facets: Whole, points_m: Real, *, beyond: float, off_m: float) -> Real:
        """(n, 4) planes: further than ``off_m`` from the facet, on the side of the point (``beyond`` 1) or on the other (-1)."""
        sign = beyond * np.where(self.height_m(facets, points_m) < 0.0, -1.0, 1.0)
        return np.asarray(sign[:, None] * self.planes[facets] - [0.0, 0.0, 0.0, off_m])

    def blockers(self, points_m: Real) -> tuple[Polygons, Whole]:
        """Convex pieces of all facets that can stand between two points of a facet or of ``points_m``, and whose they are."""
        pieces, owner = [], []
        for index in may_block(self.facets, points_m):
            outline = _outline(self.facets[index])
            parts = [outline] if self.facets[index].convex else list(outline[ear_clip(outline)])
            pieces += parts
            owner += [index] * len(parts)
        return Polygons.stacked(pieces), np.asarray(owner, dtype=np.intp)


def _outline(facet: Facet) -> Real:
    """(n, 3) corners, moved into the facet's own plane."""
    return np.asarray(facet.centre_m + facet.outline_m @ facet.axes[:2])


def _hull(facet: Facet) -> list[int]:
    """Corners on the hull of the outline, also those along its edges, rising."""
    if facet.convex:
        return list(range(len(facet.outline_m)))
    sides = ConvexHull(facet.outline_m).equations
    depth = -(facet.outline_m @ sides[:, :2].T + sides[:, 2]).max(axis=1)
    return [int(k) for k in np.flatnonzero(depth < SAME_PLANE_M)]


@dataclass(frozen=True, eq=False)
class Chains:
    """Chains of facets, one row for each chain and receiver."""

    receiver: Whole  #: (n,)
    facets: Whole  #: (n, most) in the order the sound meets them; -1 beyond the order
    seen_m: Real  #: (n, most, 3): image of the receiver through facets k.. of the chain
    beams: Cones  #: (n) where sources are heard by it, but for what shades it
    shades: Cones  #: (e) where they are not heard after all
    shaded: Whole  #: (e,) the chain of each shade, rising
    shade: Whole  #: (e,) the facet that stands before the first reflection; ``LATER``; or ``NOTCH``

    @cached_property
    def order(self) -> Whole:
        """(n,) number of reflections."""
        return np.asarray((self.facets >= 0).sum(axis=1))

    @cached_property
    def image_m(self) -> Real:
        """(n, 3) image through all of the chain."""
        return np.ascontiguousarray(self.seen_m[:, 0])

    def shades_of(self, chains: Whole, near: Whole) -> tuple[Whole, Whole]:
        """Of the shades ``near``, those of ``chains`` (rising), and their chain as its place among these."""
        mine = np.searchsorted(chains, self.shaded[near])
        mine[mine == len(chains)] = 0
        good = chains[mine] == self.shaded[near] if len(chains) else np.zeros(len(near), dtype=np.bool_)
        return near[good], mine[good]


@dataclass(frozen=True, eq=False)
class _Level:
    """All chains of one order."""

    receiver: Whole
    facets: Whole  # (n, order)
    seen_m: Real  # (n, order, 3)
    windows: Polygons  # what of the first facet is left
    beams: Cones
    shades: Polygons
    shaded: Whole
    shade: Whole

    @property
    def image_m(self) -> Real:
        return self.seen_m[:, 0]


def grow(walls: Walls, receivers_m: Real, *, most_order: int) -> Chains:
    """All chains up to an order, sorted by receiver, order and facets."""
    pieces, owner = walls.blockers(receivers_m)
    levels = [_first(walls, receivers_m, pieces, owner)]
    while len(levels) < most_order:
        levels.append(_next(walls, levels[-1], pieces, owner))
    return _together(walls, levels, most_order)


def _first(walls: Walls, receivers_m: Real, pieces: Polygons, owner: Whole) -> _Level:
    count, heads = len(walls.facets), len(receivers_m)
    facets, receiver = np.repeat(np.arange(count), heads), np.tile(np.arange(heads), count)
    far = np.abs(walls.height_m(facets, receivers_m[receiver])) > AT_ALL_M
    facets, receiver = facets[far], receiver[far]
    goals = receivers_m[receiver]
    windows = walls.windows.of(facets)
    # what stands between the receiver and the facet: all of it that is on the receiver's side
    rows = np.repeat(np.arange(len(facets)), len(owner))
    which = np.tile(np.arange(len(owner)), len(facets))
    rows, which = rows[(good := owner[which] != facets[rows])], which[good]
    near = pieces.of(which).clipped(walls.side(facets[rows], goals[rows], beyond=1.0, off_m=NEAR_M))
    near = near.mirrored(walls.planes[facets[rows]])
    return _level(
        walls,
        receiver,
        facets[:, None],
        goals[:, None],
        windows,
        (near, rows, np.full(len(rows), LATER)),
        pieces,
        owner,
    )


def _next(walls: Walls, last: _Level, pieces: Polygons, owner: Whole) -> _Level:
    parent, facet = every_window(last.beams, walls.windows)
    good = walls.plane_of[last.facets[parent, 0]] != walls.plane_of[facet]
    good &= np.abs(walls.height_m(facet, last.image_m[parent])) > AT_ALL_M
    parent, facet = parent[good], facet[good]
    windows = walls.windows.of(facet)
    for planes in last.beams.planes:
        windows = windows.clipped(planes[parent])
    left = windows.count >= 3
    parent, facet, windows = parent[left], facet[left], windows.of(left)
    inherited = _inherited(walls, last, parent, facet)
    goals = np.concatenate([last.image_m[parent][:, None], last.seen_m[parent]], axis=1)[:, : last.seen_m.shape[1] + 1]
    ways = np.concatenate([facet[:, None], last.facets[parent]], axis=1)
    return _level(walls, last.receiver[parent], ways, goals, windows, inherited, pieces, owner)


def _inherited(walls: Walls, last: _Level, parent: Whole, facet: Whole) -> tuple[Polygons, Whole, Whole]:
    """What shades the chain before shades the longer one too, mirrored; of the first leg only what lies before the new facet."""
    starts = np.searchsorted(last.shaded, np.arange(len(last.receiver) + 1))
    each = np.diff(starts)[parent]
    rows = np.repeat(np.arange(len(parent)), each)
    which = np.repeat(starts[parent] - np.cumsum(each) + each, each) + np.arange(int(each.sum()))
    good = last.shade[which] != facet[rows]
    rows, which = rows[good], which[good]
    shades = last.shades.of(which)
    own = facet[rows]
    keep = walls.side(own, last.image_m[parent[rows]], beyond=1.0, off_m=NEAR_M)
    keep[last.shade[which] < 0] = (0.0, 0.0, 0.0, 1.0)
    kind = np.where(last.shade[which] == NOTCH, NOTCH, LATER)
    return shades.clipped(keep).mirrored(walls.planes[own]), rows, kind


def _level(
    walls: Walls,
    receiver: Whole,
    facets: Whole,
    goals_m: Real,
    windows: Polygons,
    inherited: tuple[Polygons, Whole, Whole],
    pieces: Polygons,
    owner: Whole,
) -> _Level:
    """Mirror the goals at the first facet of each chain, and find the beam and everything that shades it."""
    first = facets[:, 0]
    image = walls.mirrored(first, goals_m[:, 0])
    seen = np.concatenate([image[:, None], goals_m[:, 1:]], axis=1)
    outside = walls.side(first, image, beyond=-1.0, off_m=2.0 * AT_ALL_M)
    beams = cones(image, windows, outside)
    rows, which = every_window(beams, pieces)
    good = (walls.plane_of[owner[which]] != walls.plane_of[first[rows]]) if len(owner) else np.empty(0, np.bool_)
    rows, which = rows[good], which[good]
    before = pieces.of(which).clipped(walls.side(first[rows], image[rows], beyond=-1.0, off_m=NEAR_M))
    notch_rows, notch = np.nonzero(first[:, None] == walls.notches[1])
    further, chain, kind = inherited
    shades = Polygons.joined([before, walls.notches[0].of(notch), further])
    shaded = np.concatenate([rows, notch_rows, chain])
    shade = np.concatenate([owner[which], np.full(len(notch), NOTCH), kind])
    use = (shades.count >= 3) & ~shades.edge_on(image[shaded]) & _may_meet(beams, shades, shaded)
    order = np.flatnonzero(use)[np.argsort(shaded[use], kind="stable")]
    return _Level(receiver, facets, seen, windows, beams, shades.of(order), shaded[order], shade[order])


def _may_meet(beams: Cones, shades: Polygons, shaded: Whole) -> NDArray[np.bool_]:
    """Whether some part of a shade may lie in the beam; the plane that keeps the source off its facet aside."""
    out = np.ones(len(shades), dtype=np.bool_)
    for k in range(1, len(beams.planes)):
        rows = np.flatnonzero(out & (beams.count[shaded] > k))
        planes, some = beams.planes[k, shaded[rows]], shades.of(rows)
        height = np.einsum("nvi,ni->nv", some.corners_m, planes[:, :3]) + planes[:, 3:]
        out[rows] = ((height > 0.0) & some.real).any(axis=1)
    return out


def _together(walls: Walls, levels: Sequence[_Level], most: int) -> Chains:
    receiver = np.concatenate([level.receiver for level in levels])
    facets, seen = np.full((len(receiver), most), -1, dtype=np.intp), np.full((len(receiver), most, 3), np.nan)
    wide = max(level.beams.planes.shape[0] for level in levels)
    planes = np.tile(NEUTRAL, (wide, len(receiver), 1))
    count = np.concatenate([level.beams.count for level in levels])
    at, offsets = 0, []
    for number, level in enumerate(levels):
        rows = slice(at, at + len(level.receiver))
        facets[rows, : number + 1], seen[rows, : number + 1] = level.facets, level.seen_m
        planes[: level.beams.planes.shape[0], rows] = level.beams.planes
        offsets.append(at)
        at += len(level.receiver)
    depth = (facets >= 0).sum(axis=1)
    order = np.lexsort((*(facets[:, k] for k in range(most - 1, -1, -1)), depth, receiver))
    rank = np.empty(len(order), dtype=np.intp)
    rank[order] = np.arange(len(order))
    shaded = rank[np.concatenate([level.shaded + offset for level, offset in zip(levels, offsets, strict=True)])]
    shade = np.concatenate([level.shade for level in levels])
    shades = Polygons.joined([level.shades for level in levels])
    by_chain = np.argsort(shaded, kind="stable")
    shaded, shade, shades = shaded[by_chain], shade[by_chain], shades.of(by_chain)
    facets, seen = facets[order], seen[order]
    eyes = seen[shaded, 0]
    behind = np.tile(NEUTRAL, (len(shade), 1))
    before = shade >= 0
    behind[before] = walls.side(shade[before], eyes[before], beyond=-1.0, off_m=NEAR_M)
    dark = cones(eyes, shades, behind)
    dark.planes[:, shade == NOTCH, 3] -= 2.0 * AT_ALL_M  # the edge of a notch still belongs to the facet
    beams = Cones(planes[:, order], count[order])
    return Chains(receiver[order], facets, seen, beams, dark, shaded, shade)
