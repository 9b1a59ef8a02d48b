"""Specular reflections off flat facets by image sources, to a given order, with visibility and hiding.

Allen & Berkley 1979 (shoebox); Borish 1984 (any polyhedron). The images are those of the few receivers, not of the many
candidate sources: one set of chains and beams (``image_tree.py``) serves every candidate. A path source, facet, ..., facet,
receiver counts if each point of reflection lies inside its facet, source and next point lie on the same side of it (facets
reflect on both sides and let nothing through), and no facet stands between. Rays and facets are ideal: valid where a facet
is large against the wavelength.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.facets import Facet, blocked, may_block
from cabinwright.physics.image_tree import Chains, Walls, grow

__all__ = ["Images", "Paths", "hidden"]

Real = NDArray[np.float64]
Whole = NDArray[np.intp]
Flags = NDArray[np.bool_]
FLUSH_M = 0.005  #: a source this close to a facet is mounted in it, on whichever side a tape puts it
EDGE_M = 1e-9  #: a path this far outside the edge of a facet still meets it
STRAIGHT = 1e-12  #: a direction this little to one side is straight
BATCH = 64  #: sources at a time: bounds memory, changes nothing else


@dataclass(frozen=True, eq=False)
class Paths:
    """Every valid path, one row each, sorted by source, receiver, order and facets."""

    source: Whole  #: (n,)
    receiver: Whole  #: (n,)
    order: Whole  #: (n,) number of reflections
    facets: Whole  #: (n, most) in the order the sound meets them; -1 beyond the order
    length_m: Real  #: (n,)
    leaving: Real  #: (n, 3) unit vector from the source
    _sources_m: Real = field(repr=False)
    _chain: Whole = field(repr=False)
    _chains: Chains = field(repr=False)
    _walls: Walls = field(repr=False)

    def of(self, source: int, receiver: int) -> Whole:
        """Rows of one pair."""
        first, last = np.searchsorted(self.source, [source, source + 1])
        return np.asarray(first + np.flatnonzero(self.receiver[first:last] == receiver))

    @cached_property
    def points_m(self) -> Real:
        """(n, most, 3) where it is reflected; NaN beyond the order."""
        return _points(self._walls, self.facets, self._sources_m[self.source], self._chains, self._chain)

    @cached_property
    def arriving(self) -> Real:
        """(n, 3) unit vector from the receiver towards where the sound comes from."""
        way = self.leaving.copy()
        for met in self.facets.T:
            rows = np.flatnonzero(met >= 0)
            normal = self._walls.planes[met[rows], :3]
            way[rows] -= 2.0 * np.einsum("ni,ni->n", way[rows], normal)[:, None] * normal
        way[np.abs(way) < STRAIGHT] = 0.0
        return 0.0 - way


class Images:
    """The receivers' images in a set of facets; ``paths`` joins them to any number of sources."""

    def __init__(self, facets: Sequence[Facet], receivers_m: Real, *, most_order: int = 3) -> None:
        """``receivers_m`` (R, 3)."""
        self.facets = list(facets)
        self.receivers_m = np.asarray(receivers_m, dtype=np.float64).reshape(-1, 3)
        self.most_order = most_order
        self._walls = Walls(tuple(facets))
        self._seams = len(np.unique(self._walls.plane_of)) < len(self.facets)
        self._chains: Chains = grow(self._walls, self.receivers_m, most_order=most_order)

    def paths(self, sources_m: Real) -> Paths:
        """Every valid path from sources (S, 3) to the receivers."""
        sources = np.asarray(sources_m, dtype=np.float64).reshape(-1, 3)
        walls, chains = self._walls, self._chains
        flush = np.zeros((len(self.facets), len(sources)), dtype=np.bool_)
        for facet, mounted in zip(self.facets, flush, strict=True):
            mounted[:] = facet.holds(sources, within_m=FLUSH_M)
        found: list[Whole] = [np.empty(0, dtype=np.intp)] * len(sources)
        for batch in _neighbours(sources, BATCH):
            rows, heard = self._heard(sources[batch], flush[:, batch])
            for source, by in zip(batch, np.ascontiguousarray(heard.T), strict=True):
                found[source] = rows[np.flatnonzero(by)]
        source = np.repeat(np.arange(len(sources)), [len(rows) for rows in found])
        chain = np.concatenate([*found, np.empty(0, dtype=np.intp)])
        if self._seams:
            good = ~self._again(source, chain)
            source, chain = source[good], chain[good]
        if (outside := self._outside(sources) & ~flush).any():
            good = ~self._shut_out(source, chain, sources, outside)
            source, chain = source[good], chain[good]
        way = _taken(chains.image_m, chain)
        way -= _taken(sources, source)
        length = np.sqrt(np.einsum("ni,ni->n", way, way))
        way /= length[:, None]
        return Paths(
            source=source,
            receiver=_taken(chains.receiver, chain),
            order=_taken(chains.order, chain),
            facets=_taken(chains.facets, chain),
            length_m=length,
            leaving=way,
            _sources_m=sources,
            _chain=chain,
            _chains=chains,
            _walls=walls,
        )

    def _heard(self, sources: Real, flush: Flags) -> tuple[Whole, Flags]:
        """Chains by which some of a few sources (b, 3) near each other are heard, and which of them: (chains, b)."""
        chains = self._chains
        centre = 0.5 * (sources.min(axis=0) + sources.max(axis=0))
        radius = float(np.linalg.norm(sources - centre, axis=1).max())
        rows = chains.beams.near(centre, radius)
        heard = chains.beams.hold(rows, sources, within_m=EDGE_M)
        if flush.any():
            heard &= ~flush[chains.facets[rows, 0]]
        some = heard.any(axis=1)
        rows, heard = rows[some], heard[some]
        shades, place = chains.shades_of(rows, chains.shades.near(centre, radius))
        if len(shades):
            dark = chains.shades.hold(shades, sources, within_m=EDGE_M)
            before = chains.shade[shades]
            if flush.any():
                dark &= ~(flush[before] & (before >= 0)[:, None])
            starts = np.flatnonzero(np.diff(place, prepend=-1))
            heard[place[starts]] &= ~np.logical_or.reduceat(dark, starts, axis=0)
        return rows, heard

    def _again(self, source: Whole, chain: Whole) -> Flags:
        """Paths that are another over again: by the same planes in turn, through a seam of two facets of one plane."""
        chains = self._chains
        same = np.append(self._walls.plane_of, -1)[chains.facets]
        _, name = np.unique(np.column_stack([chains.receiver, same]), axis=0, return_inverse=True)
        _, first = np.unique(source * len(name) + name[chain], return_index=True)
        out = np.ones(len(chain), dtype=np.bool_)
        out[first] = False
        return out

    def _outside(self, sources: Real) -> Flags:
        """(facets, S): sources beyond facets of the hull, which beams take to hide nothing."""
        out = np.zeros((len(self.facets), len(sources)), dtype=np.bool_)
        every = np.concatenate([self.receivers_m, *(facet.corners_m for facet in self.facets)])
        for index in set(range(len(self.facets))) - set(may_block(self.facets, self.receivers_m)):
            facet = self.facets[index]
            out[index] = facet.height_m(sources) * facet.height_m(every).sum() < 0.0
        return out

    def _shut_out(self, source: Whole, chain: Whole, sources: Real, outside: Flags) -> Flags:
        """Paths from outside the hull whose first leg would pass through a facet of it."""
        out = np.zeros(len(chain), dtype=np.bool_)
        for index in np.flatnonzero(outside.any(axis=1)):
            rows = np.flatnonzero(outside[index][source])
            start, facets = sources[source[rows]], self._chains.facets[chain[rows], :1]
            out[rows] |= blocked(
                self.facets[index], start, _points(self._walls, facets, start, self._chains, chain[rows])[:, 0]
            )
        return out


def _points(walls: Walls, facets: Whole, start: Real, chains: Chains, chain: Whole) -> Real:
    """(n, most, 3) points of reflection, each on the straight line to the image behind it."""
    out = np.full((*facets.shape, 3), np.nan)
    at = start.copy()
    for step, met in enumerate(facets.T):
        rows = np.flatnonzero(met >= 0)
        goal = chains.seen_m[chain[rows], step]
        here, there = walls.height_m(met[rows], at[rows]), walls.height_m(met[rows], goal)
        at[rows] += (here / (here - there))[:, None] * (goal - at[rows])
        out[rows, step] = at[rows]
    return out


def _taken(rows: NDArray[Any], which: Whole) -> NDArray[Any]:
    """``rows[which]`` for indices known to be good: several times faster on long lists."""
    return np.take(rows, which, axis=0, mode="clip")


def _neighbours(points_m: Real, most: int) -> Iterator[Whole]:
    """Indices of points (n, 3) in groups of no more than ``most`` that lie near each other."""
    groups = [np.arange(len(points_m))] if len(points_m) else []
    while groups:
        group = groups.pop()
        if len(group) <= most:
            yield group
            continue
        axis = int(np.ptp(points_m[group], axis=0).argmax())
        half = np.argsort(points_m[group, axis], kind="stable")
        groups += [group[half[len(half) // 2 :]], group[half[: len(half) // 2]]]


def hidden(facets: Sequence[Facet], sources_m: Real, receivers_m: Real) -> Flags:
    """(S, R): whether a facet stands between a source (S, 3) and a receiver (R, 3).

    A source that is mounted in a facet is looked for on its plane, where the sound leaves it, lest a neighbour hide it.
    """
    sources, receivers = np.array(sources_m, dtype=np.float64), np.asarray(receivers_m, dtype=np.float64)
    flush = [facet.holds(sources, within_m=FLUSH_M) for facet in facets]
    for facet, mounted in zip(facets, flush, strict=True):
        sources[mounted] -= facet.height_m(sources[mounted])[:, None] * facet.normal
    s, r = len(sources), len(receivers)
    start, end = np.repeat(sources, r, axis=0), np.tile(receivers, (s, 1))
    out = np.zeros(s * r, dtype=np.bool_)
    for facet, mounted in zip(facets, flush, strict=True):
        out |= blocked(facet, start, end) & ~np.repeat(mounted, r)
    return out.reshape(s, r)
