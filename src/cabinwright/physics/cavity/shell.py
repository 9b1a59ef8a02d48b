"""The closed surface around the air of a cabin, from flat facets measured by hand.

Facets may be wound either way and may be concave. Corners nearer than ``JOIN_M`` to each other are one corner, and an
edge may meet several shorter ones end to end. Each piece of edge must be shared by two facets; where one is used only
once, the shell has a gap, and nothing is guessed about it. A facet with free edges inside a closed shell (a seat back
drawn as one sheet) is a rigid wall that air passes round. One that divides the space (all its edges shared by three) is
left out and named in ``ignored``, as are sheets that close off a part: the cabin is taken as one space. A closed body
inside (a seat as a box) takes its volume from the air.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from .triangles import Nearest, ear_clip, inside, nearest, normals

__all__ = ["JOIN_M", "Gap", "OpenShellError", "Shell", "close_shell"]

Real = NDArray[np.float64]
Edge = tuple[int, int]
HAIR_M = 0.001  #: how far from a wall a point stands that must be on one side of it
JOIN_M = 0.005  #: corners nearer than this are the same corner: about what a tape can tell


@dataclass(frozen=True, slots=True)
class Gap:
    """An edge that no second facet shares."""

    facet: int  #: number of the facet that ends there
    from_m: tuple[float, float, float]
    to_m: tuple[float, float, float]


class OpenShellError(ValueError):
    """The facets do not enclose a space; ``gaps`` holds every edge that only one facet uses."""

    def __init__(self, message: str, gaps: tuple[Gap, ...] = ()) -> None:
        self.gaps = gaps
        super().__init__(message)


@dataclass(frozen=True)
class Shell:
    """A closed surface as triangles, wound so that their normals point out of the air."""

    triangles_m: Real  #: (triangles, 3, 3)
    facet: NDArray[np.intp]  #: (triangles,) number of the facet that each belongs to
    facets: int  #: how many facets were given
    sheets_m: Real  #: (triangles, 3, 3) of facets that stand free in the air
    sheet: NDArray[np.intp]  #: (triangles,) number of the facet that each belongs to
    ignored: tuple[int, ...]  #: facets that count for nothing, because they divide the space

    @property
    def volume_m3(self) -> float:
        """Volume of the air [m³], exact (divergence theorem)."""
        a, b, c = np.moveaxis(self.triangles_m, 1, 0)
        return float(np.einsum("ti,ti->", a, np.cross(b, c)) / 6.0)

    @property
    def area_m2(self) -> Real:
        """Area of each facet that bounds the air [m²], shape ``(facets,)``; 0 for others."""
        a, b, c = np.moveaxis(self.triangles_m, 1, 0)
        areas = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)
        return np.bincount(self.facet, weights=areas, minlength=self.facets).astype(np.float64)

    def without_sheets(self) -> Shell:
        """The same air with its free sheets left out."""
        ignored = tuple(sorted({*self.ignored, *self.sheet.tolist()}))
        return replace(self, sheets_m=self.sheets_m[:0], sheet=self.sheet[:0], ignored=ignored)

    def inside(self, points_m: Real) -> NDArray[np.bool_]:
        """Whether each point ``(points, 3)`` lies in the air."""
        return inside(points_m, self.triangles_m)

    def nearest(self, points_m: Real, *, within_m: float = np.inf) -> Nearest:
        """Nearest point of the surface to each point ``(points, 3)``."""
        return nearest(points_m, self.triangles_m, within_m=within_m)

    def reentrant_edges(self) -> Real:
        """Edges that jut into the air, and the edges of free sheets, as pairs of ends ``(edges, 2, 3)`` [m]."""
        across = normals(self.triangles_m)
        met: dict[bytes, tuple[int, Real]] = {}
        found = [np.stack([sheet[i], sheet[i - 1]]) for sheet in self.sheets_m for i in range(3)]
        for t, triangle in enumerate(self.triangles_m):
            for i in range(3):
                ends = np.stack([triangle[i - 1], triangle[i]])
                key = np.round(ends[np.lexsort(ends.T)], 6).tobytes()
                if key not in met:
                    met[key] = t, triangle[i - 2]
                elif np.dot(across[met[key][0]], triangle[i - 2] - ends[0]) > JOIN_M:
                    found.append(ends)
        return np.array(found).reshape(-1, 2, 3)

    def samples(self, *, step_m: float) -> tuple[Real, Real, NDArray[np.intp]]:
        """Points spread over all walls for integrals: position (n, 3) [m], area (n,) [m²] and facet (n,) of each.

        They stand a hair inside the air; a free sheet has them on both sides.
        """
        points, areas, facets = [], [], []
        sides_of = [self.triangles_m, self.sheets_m, self.sheets_m[:, ::-1]]
        owners = np.concatenate([self.facet, self.sheet, self.sheet])
        for triangle, facet in zip(np.concatenate(sides_of), owners, strict=True):
            sides = triangle[1:] - triangle[0]
            longest = max(np.linalg.norm(sides[0]), np.linalg.norm(sides[1]), np.linalg.norm(sides[1] - sides[0]))
            n = max(1, int(np.ceil(longest / step_m)))
            i, j = (index.ravel() for index in np.indices((n, n)))
            up, down = i + j < n, i + j < n - 1  # centroids of the n² congruent triangles, both ways up
            shares = np.vstack([np.column_stack([i, j])[up] + 1 / 3, np.column_stack([i, j])[down] + 2 / 3]) / n
            normal = np.cross(sides[0], sides[1])
            twice = float(np.linalg.norm(normal))
            points.append(triangle[0] + shares @ sides - HAIR_M / twice * normal)
            areas.append(np.full(n * n, 0.5 * twice / n**2))
            facets.append(np.full(n * n, facet))
        return np.vstack(points), np.concatenate(areas), np.concatenate(facets)


def close_shell(facets_m: Sequence[Real], *, names: Sequence[str] | None = None) -> Shell:
    """Joins facets, each ``(n, 3)`` [m], to a closed shell.

    Raises ``OpenShellError`` where they enclose nothing, naming the edges that want a second facet (facets by
    ``names``, else by number), and ``ValueError`` for a facet without area or one that crosses itself.
    """
    labels = [f'"{name}"' for name in names] if names is not None else [f"facet {i + 1}" for i in range(len(facets_m))]
    corners, loops = _join([np.asarray(facet, dtype=np.float64) for facet in facets_m])
    pieces = [_triangles(corners, loop, label) for loop, label in zip(loops, labels, strict=True)]
    uses = [_edges(corners, loop) for loop in loops]
    kept, free, dividing = _sorted_out(uses)
    counts = Counter(edge for number in kept for edge in uses[number])
    if not kept or any(count % 2 for count in counts.values()):
        raise _open(corners, uses, labels)
    shell = Shell(
        triangles_m=_outward(np.vstack([pieces[number] for number in kept])),
        facet=_owners(kept, pieces),
        facets=len(loops),
        sheets_m=np.vstack([np.empty((0, 3, 3)), *(pieces[number] for number in free)]),
        sheet=_owners(free, pieces),
        ignored=tuple(dividing),
    )
    if free and not _holds(shell, np.vstack([corners[loops[number]] for number in free])):
        raise _open(corners, uses, labels)
    return shell


def _owners(numbers: list[int], pieces: list[Real]) -> NDArray[np.intp]:
    """The facet's number for each of its triangles."""
    return np.repeat(np.asarray(numbers, dtype=np.intp), [len(pieces[number]) for number in numbers])


def _join(facets: list[Real]) -> tuple[Real, list[list[int]]]:
    """One list of corners, and each facet as a loop of numbers into it."""
    if any(facet.ndim != 2 or facet.shape[1] != 3 or not np.all(np.isfinite(facet)) for facet in facets) or not facets:
        raise ValueError("each facet is a list of three or more corners of three finite numbers")
    every = np.vstack(facets)
    pairs = cKDTree(every).query_pairs(JOIN_M, output_type="ndarray")
    links = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(every), len(every)))
    count, group = connected_components(links, directed=False)
    sums = np.column_stack([np.bincount(group, every[:, i], count) for i in range(3)])
    corners = np.asarray(sums / np.bincount(group, minlength=count)[:, None], dtype=np.float64)
    loops, start = [], 0
    for facet in facets:
        loop = group[start : start + len(facet)].tolist()
        loops.append([b for a, b in zip([loop[-1], *loop], loop, strict=False) if a != b])
        start += len(facet)
    return corners, loops


def _triangles(corners: Real, loop: list[int], label: str) -> Real:
    """One facet as triangles (n, 3, 3)."""
    try:
        return np.asarray(corners[loop][ear_clip(corners[loop])])
    except ValueError as error:
        raise ValueError(f"{label}: {error}") from error


def _edges(corners: Real, loop: list[int]) -> list[Edge]:
    """Edges of a loop, cut at each corner that lies on them, each as a rising pair."""
    edges = []
    for a, b in zip(loop, [*loop[1:], *loop[:1]], strict=True):
        along = corners[b] - corners[a]
        length = float(np.linalg.norm(along))
        share = (corners - corners[a]) @ along / length**2
        aside = np.linalg.norm(corners - corners[a] - share[:, None] * along, axis=1)
        between = np.flatnonzero((aside < JOIN_M) & (share > 0.0) & (share < 1.0))
        stops = [a, *(int(i) for i in between[np.argsort(share[between])] if i not in (a, b)), b]
        edges += [(min(pair), max(pair)) for pair in pairwise(stops)]
    return edges


def _sorted_out(uses: list[list[Edge]]) -> tuple[list[int], list[int], list[int]]:
    """Facets that bound the air, those that stand free in it and those that divide it, taken away one at a time."""
    kept = list(range(len(uses)))
    free: list[int] = []
    dividing: list[int] = []
    while True:
        counts = Counter(edge for number in kept for edge in uses[number])
        loose = next((n for n in kept if any(counts[edge] == 1 for edge in uses[n])), None)
        if loose is not None:
            free.append(loose)
        else:
            loose = next((n for n in kept if all(counts[edge] % 2 and counts[edge] > 2 for edge in uses[n])), None)
            if loose is None:
                return kept, free, dividing
            dividing.append(loose)
        kept.remove(loose)


def _outward(triangles: Real) -> Real:
    """Each triangle wound so that its normal leaves the air: a point just off its middle tells."""
    middle = triangles.mean(axis=1)
    normal = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    size = np.sqrt(np.linalg.norm(normal, axis=1, keepdims=True))
    turned = inside(middle + 1e-4 * normal / size, triangles)
    triangles[turned] = triangles[turned][:, ::-1]
    return triangles


def _holds(shell: Shell, points: Real) -> bool:
    """Whether every point lies inside or on the shell."""
    outside = points[~shell.inside(points)]
    return not len(outside) or bool(np.all(shell.nearest(outside).distance_m < 4.0 * JOIN_M))


def _open(corners: Real, uses: list[list[Edge]], labels: list[str]) -> OpenShellError:
    """What to say about facets that enclose nothing."""
    counts = Counter(edge for edges in uses for edge in edges)
    loose = [(number, edge) for number, edges in enumerate(uses) for edge in edges if counts[edge] == 1]
    odd = [(number, edge) for number, edges in enumerate(uses) for edge in edges if counts[edge] % 2]
    gaps = tuple(Gap(number, _tuple(corners[a]), _tuple(corners[b])) for number, (a, b) in loose or odd)
    ends = "; ".join(f"{labels[gap.facet]} ends at {_words(gap.from_m)} to {_words(gap.to_m)}" for gap in gaps[:4])
    more = f" and {len(gaps) - 4} more edges" if len(gaps) > 4 else ""
    cure = (
        f"give these edges a second facet with the same corners (within {1000 * JOIN_M:.0f} mm)"
        if loose
        else "three facets meet there: leave out the one that divides the air"
    )
    return OpenShellError(f"the facets must enclose the cabin on all sides: {ends}{more}. To close it, {cure}", gaps)


def _tuple(point: Real) -> tuple[float, float, float]:
    return float(point[0]), float(point[1]), float(point[2])


def _words(point: tuple[float, float, float]) -> str:
    return "[" + ", ".join(f"{value:.3f}" for value in point) + "]"
