"""Specular reflections off flat facets by image sources, to a given order, with visibility and hiding.

Allen & Berkley 1979 (shoebox); Borish 1984 (any polyhedron). The images are those of the few receivers, not of the many
candidate sources: one set of images serves every candidate. A path source, facet, ..., facet, receiver counts if each
point of reflection lies inside its facet, source and next point lie on the same side of it (facets reflect on both
sides and let nothing through), and no facet stands between. Rays and facets are ideal: valid where a facet is large
against the wavelength.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.facets import Facet, blocked, may_block

__all__ = ["Images", "Paths", "hidden"]

Real = NDArray[np.float64]
Whole = NDArray[np.intp]
FLUSH_M = 0.005  #: a source this close to a facet is mounted in it, on whichever side a tape puts it
BATCH = 256  #: sources at a time: bounds memory, changes nothing else


@dataclass(frozen=True)
class Paths:
    """Every valid path, one row each, sorted by source, receiver, order and facets."""

    source: Whole  #: (n,)
    receiver: Whole  #: (n,)
    order: Whole  #: (n,) number of reflections
    facets: Whole  #: (n, most) in the order the sound meets them; -1 beyond the order
    points_m: Real  #: (n, most, 3) where it is reflected; NaN beyond the order
    length_m: Real  #: (n,)
    leaving: Real  #: (n, 3) unit vector from the source
    arriving: Real  #: (n, 3) unit vector from the receiver towards where the sound comes from

    def of(self, source: int, receiver: int) -> Whole:
        """Rows of one pair."""
        return np.flatnonzero((self.source == source) & (self.receiver == receiver))


@dataclass(frozen=True)
class _Sequences:
    """Receivers' images through every sequence of facets that begins with one facet."""

    facets: Whole  #: (m, most), -1 beyond the order
    receiver: Whole  #: (m,)
    unfolded: Real  #: (m, most + 1, 3): receiver seen through facets k.. of the sequence; beyond the order itself


class Images:
    """The receivers' images in a set of facets; ``paths`` joins them to any number of sources."""

    def __init__(self, facets: Sequence[Facet], receivers_m: Real, *, most_order: int = 3) -> None:
        """``receivers_m`` (R, 3)."""
        self.facets = list(facets)
        self.receivers_m = np.asarray(receivers_m, dtype=np.float64).reshape(-1, 3)
        self.most_order = most_order
        self._blockers = may_block(self.facets) if self.facets else []
        self._coplanar = self._same_planes()
        self._by_first = [self._sequences(first) for first in range(len(self.facets))]

    def _same_planes(self) -> NDArray[np.bool_]:
        """Pairs of facets in one plane: nothing goes from one to the other by reflection."""
        count = len(self.facets)
        out = np.eye(count, dtype=bool)
        for i, facet in enumerate(self.facets):
            for j, other in enumerate(self.facets):
                out[i, j] |= bool(np.abs(facet.height_m(other.corners_m)).max() < 1e-6)
        return out

    def _sequences(self, first: int) -> _Sequences:
        tails: list[tuple[int, ...]] = [(first,)]
        every: list[tuple[int, ...]] = [(first,)]
        for _ in range(self.most_order - 1):
            tails = [(*tail, k) for tail in tails for k in range(len(self.facets)) if not self._coplanar[tail[-1], k]]
            every += tails
        return self._unfold(every)

    def _unfold(self, every: list[tuple[int, ...]]) -> _Sequences:
        most, heads = self.most_order, len(self.receivers_m)
        facets = np.full((len(every), most), -1, dtype=np.intp)
        unfolded = np.empty((len(every), most + 1, heads, 3))
        unfolded[:] = self.receivers_m
        known: dict[tuple[int, ...], Real] = {(): self.receivers_m}

        def seen(sequence: tuple[int, ...]) -> Real:
            if sequence not in known:
                known[sequence] = self.facets[sequence[0]].mirrored(seen(sequence[1:]))
            return known[sequence]

        for row, sequence in enumerate(every):
            facets[row, : len(sequence)] = sequence
            for k in range(len(sequence)):
                unfolded[row, k] = seen(sequence[k:])
        flat = np.moveaxis(unfolded, 2, 1).reshape(-1, most + 1, 3)
        facets, receiver = np.repeat(facets, heads, axis=0), np.tile(np.arange(heads), len(every))
        use = self._reachable(facets, flat)
        return _Sequences(facets[use], receiver[use], flat[use])

    def _reachable(self, facets: Whole, unfolded: Real) -> NDArray[np.bool_]:
        """Sequences that some source could use: seen from each image, the facet before it shows in the next one's outline.

        Conservative: a sequence is dropped only if all corners of a facet lie beyond one edge of the other.
        """
        use = np.ones(len(facets), dtype=bool)
        for step in range(1, self.most_order):
            for index, facet in enumerate(self.facets):
                rows = np.flatnonzero(use & (facets[:, step] == index))
                if not (len(rows) and facet.convex):
                    continue
                image = unfolded[rows, step]
                before = facets[rows, step - 1]
                for other in np.unique(before):
                    mine = rows[before == other]
                    use[mine] = _shows(self.facets[other], facet, image[before == other])
        return use

    def paths(self, sources_m: Real) -> Paths:
        """Every valid path from sources (S, 3) to the receivers."""
        sources = np.asarray(sources_m, dtype=np.float64).reshape(-1, 3)
        parts = [self._batch(sources[at : at + BATCH], at) for at in range(0, len(sources), BATCH)]
        found = _joined(parts) if parts else self._none()
        keys = (
            *(found.facets[:, k] for k in range(self.most_order - 1, -1, -1)),
            found.order,
            found.receiver,
            found.source,
        )
        rank = np.lexsort(keys)
        return _rows(found, rank[_different(found, rank)])

    def _none(self) -> Paths:
        most, whole = self.most_order, np.empty(0, dtype=np.intp)
        facets, points = np.empty((0, most), np.intp), np.empty((0, most, 3))
        return Paths(whole, whole, whole, facets, points, np.empty(0), np.empty((0, 3)), np.empty((0, 3)))

    def _batch(self, sources: Real, offset: int) -> Paths:
        found = [part for first in range(len(self.facets)) if (part := self._from(first, sources))[0].size]
        if not found:
            return self._none()
        s, receiver, facets, points = (np.concatenate(rows) for rows in zip(*found, strict=True))
        order = (facets >= 0).sum(axis=1)
        start, end = sources[s], self.receivers_m[receiver]
        free = ~self._hidden(start, end, facets, points, order)
        s, receiver, facets, points, order = s[free], receiver[free], facets[free], points[free], order[free]
        start, end = start[free], end[free]
        last = points[np.arange(len(s)), order - 1]
        chain = np.concatenate([start[:, None], points, end[:, None]], axis=1)
        filled = np.where(np.isnan(chain), end[:, None], chain)
        length = np.linalg.norm(np.diff(filled, axis=1), axis=2).sum(axis=1)
        leaving, arriving = _unit(points[:, 0] - start), _unit(last - end)
        return Paths(s + offset, receiver, order, facets, points, length, leaving, arriving)

    def _from(self, first: int, sources: Real) -> tuple[Whole, Whole, Whole, Real]:
        """Paths whose first reflection is off ``first``, not yet held against hiding: source, receiver, facets, points."""
        facet, sequences = self.facets[first], self._by_first[first]
        most = self.most_order
        u, v, h = facet.local(sources)
        iu, iv, ih = facet.local(sequences.unfolded[:, 0])
        away = ~facet.holds(sources, within_m=FLUSH_M)
        found = []
        for sign in (1.0, -1.0):  # the image lies on the other side of the facet
            a, b = np.flatnonzero((sign * h > 1e-9) & away), np.flatnonzero(sign * ih < -1e-9)
            if not (len(a) and len(b)):
                continue
            part = h[a, None] / (h[a, None] - ih[b])
            x, y = u[a, None] + part * (iu[b] - u[a, None]), v[a, None] + part * (iv[b] - v[a, None])
            rows, columns = np.nonzero(facet.covers(x, y))
            found.append((a[rows], b[columns]))
        if not found:
            return np.empty(0, np.intp), np.empty(0, np.intp), np.empty((0, most), np.intp), np.empty((0, most, 3))
        s, m = (np.concatenate(rows) for rows in zip(*found, strict=True))
        points = np.full((len(s), most, 3), np.nan)
        points[:, 0] = _crossing(facet, sources[s], sequences.unfolded[m, 0])
        for step in range(1, most):
            keep = np.ones(len(s), dtype=bool)
            at = sequences.facets[m, step]
            for index in np.unique(at[at >= 0]):
                rows = np.flatnonzero(at == index)
                here = self.facets[index]
                start, goal = points[rows, step - 1], sequences.unfolded[m[rows], step]
                h0, h1 = here.height_m(start), here.height_m(goal)
                right = h0 * h1 < 0.0
                right &= (np.abs(h0) > 1e-9) & (np.abs(h1) > 1e-9)
                point = np.full((len(rows), 3), np.nan)
                point[right] = _crossing(here, start[right], goal[right])
                a, b, _ = here.local(point)
                right &= here.covers(a, b)
                points[rows, step] = point
                keep[rows] = right
            s, m, points = s[keep], m[keep], points[keep]
        return s, sequences.receiver[m], sequences.facets[m], points

    def _hidden(self, start: Real, end: Real, facets: Whole, points: Real, order: Whole) -> NDArray[np.bool_]:
        """Whether any facet stands in any leg."""
        out = np.zeros(len(start), dtype=bool)
        chain = np.concatenate([start[:, None], points, end[:, None]], axis=1)
        for leg in range(self.most_order + 1):
            live = np.flatnonzero((leg <= order) & ~out)
            if not len(live):
                continue
            a = chain[live, leg]
            b = np.where(
                (order[live] == leg)[:, None], end[live], chain[live, np.minimum(leg + 1, self.most_order + 1)]
            )
            for index in self._blockers:
                rows = live
                used = np.zeros(len(rows), dtype=bool)
                if leg > 0:
                    used |= facets[rows, leg - 1] == index
                if leg < self.most_order:
                    used |= facets[rows, leg] == index
                blocker = self.facets[index]
                flush = blocker.holds(a, within_m=FLUSH_M) if leg == 0 else np.zeros(len(rows), dtype=bool)
                out[rows] |= blocked(blocker, a, b) & ~used & ~flush
        return out


def hidden(facets: Sequence[Facet], sources_m: Real, receivers_m: Real) -> NDArray[np.bool_]:
    """(S, R): whether a facet stands between a source (S, 3) and a receiver (R, 3)."""
    s, r = len(sources_m), len(receivers_m)
    start, end = np.repeat(sources_m, r, axis=0), np.tile(receivers_m, (s, 1))
    out = np.zeros(s * r, dtype=bool)
    for facet in facets:
        out |= blocked(facet, start, end) & ~facet.holds(start, within_m=FLUSH_M)
    return out.reshape(s, r)


def _shows(other: Facet, window: Facet, eyes_m: Real) -> NDArray[np.bool_]:
    """Whether any of ``other`` may be seen from ``eyes_m`` (n, 3) through ``window``, beyond it."""
    side = window.height_m(eyes_m)
    beyond = -np.sign(side)[:, None] * window.height_m(other.corners_m)
    seen = (beyond > 1e-9).any(axis=1) & (np.abs(side) > 1e-9)
    corners = window.corners_m
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        wall = np.cross(a - eyes_m, b - eyes_m)  # plane through the eye and one edge of the window
        inner = np.sign(np.einsum("ni,ni->n", window.centre_m - eyes_m, wall))
        heights = inner[:, None] * np.einsum("ni,nvi->nv", wall, other.corners_m[None] - eyes_m[:, None])
        seen &= (heights > -1e-12).any(axis=1)
    return seen


def _crossing(facet: Facet, start: Real, end: Real) -> Real:
    h0, h1 = facet.height_m(start), facet.height_m(end)
    return np.asarray(start + (h0 / (h0 - h1))[:, None] * (end - start))


def _unit(vectors: Real) -> Real:
    return np.asarray(vectors / np.linalg.norm(vectors, axis=-1, keepdims=True))


def _joined(parts: Sequence[Paths]) -> Paths:
    return Paths(*(np.concatenate([getattr(part, item.name) for part in parts]) for item in fields(Paths)))


def _rows(paths: Paths, rows: Whole) -> Paths:
    return Paths(*(getattr(paths, item.name)[rows] for item in fields(Paths)))


def _different(paths: Paths, rank: Whole) -> NDArray[np.bool_]:
    """Of sorted paths, those that are not another over again (a point on the seam of two facets of one plane)."""
    out = np.ones(len(rank), dtype=bool)
    order = np.lexsort((paths.length_m[rank], paths.receiver[rank], paths.source[rank]))
    row = rank[order]
    source, receiver, length, points = (
        part[row] for part in (paths.source, paths.receiver, paths.length_m, paths.points_m)
    )
    alike = (np.diff(source) == 0) & (np.diff(receiver) == 0) & (np.diff(length) < 1e-9)
    for k in np.flatnonzero(alike):
        one, other = points[k], points[k + 1]
        if np.array_equal(np.isnan(one), np.isnan(other)) and np.nanmax(np.abs(one - other)) < 1e-7:
            out[max(order[k], order[k + 1])] = False
    return out
