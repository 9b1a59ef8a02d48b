"""A false floor under its load: bands of equal sag, where it is held, where it sags most."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon, union_all

from cabinwright.physics.plate_bending import Support
from cabinwright.stages.workshop.service_result import FloorCase, FloorResult

__all__ = ["bands", "floor_view", "path"]

MM = 1000.0
INK, SOFT, MARK = "#1f2a33", "#54616b", "#9a3412"
LIGHT, DEEP = (232, 241, 243), (10, 95, 115)  #: of the least and of the greatest sag
BANDS = 8
Real = NDArray[np.float64]
Words = Callable[[float], str]


def bands(at_m: Real, values: Real, triangles: NDArray[np.int64], levels: Real) -> list[Polygon]:
    """Between each two ``levels`` the area where ``values``, linear in each triangle, lie between them."""
    corners, heights = at_m[triangles], values[triangles]
    return [
        union_all(
            [
                piece
                for three, tall in zip(corners, heights, strict=True)
                if tall.max() >= low and tall.min() <= high and (piece := _between(three, tall, low, high)) is not None
            ],
            grid_size=1e-7,
        )
        for low, high in pairwise(levels)
    ]


def _between(corners: Real, heights: Real, low: float, high: float) -> Polygon | None:
    points = [(x, y, h) for (x, y), h in zip(corners.tolist(), heights.tolist(), strict=True)]
    for side, level in ((1.0, low), (-1.0, high)):
        kept = []
        for here, after in zip(points, points[1:] + points[:1], strict=True):
            a, b = side * (here[2] - level), side * (after[2] - level)
            if a >= 0.0:
                kept.append(here)
            if (a > 0.0 > b) or (a < 0.0 < b):
                t = a / (a - b)
                kept.append(tuple(p + t * (q - p) for p, q in zip(here, after, strict=True)))
        points = kept
    if len(points) < 3:
        return None
    piece = Polygon([(x, y) for x, y, _ in points])
    return piece if piece.is_valid and piece.area > 1e-12 else None


def floor_view(name: str, floor: FloorResult, case: FloorCase, *, length: Words) -> str:
    """Seen from above as the panel is drawn; deeper colour where it sags more."""
    at, down, cells = _coarse(case)
    most = float(down.max())
    levels = np.linspace(min(0.0, float(down.min())), most, BANDS + 1)
    x0, y0, x1, y1 = (MM * part for part in floor.outline.bounds)
    text = max(x1 - x0, y1 - y0) / 34.0
    fills = []
    for number, area in enumerate(bands(at, down, cells, levels)):
        shade = (number + 0.5) / BANDS
        colour = "#" + "".join(f"{round(a + (b - a) * shade):02x}" for a, b in zip(LIGHT, DEEP, strict=True))
        fills.append(
            f'<path d="{path(area)}" fill="{colour}" fill-rule="evenodd" stroke="{colour}" stroke-width="{text / 30:.2f}"/>'
        )
    rim = f"{2.4 * text / 10:.2f}" if floor.edge else f"{text / 12:.2f}"
    fills.append(f'<path d="{path(floor.outline)}" fill="none" stroke="{INK}" stroke-width="{rim}"/>')
    fills += [_support(support, text) for support in floor.supports]
    x, y = (MM * part for part in case.bent.most_at_m)
    fills.append(f'<path d="M{x - text:.1f} {-y:.1f}h{2 * text:.1f}M{x:.1f} {-y - text:.1f}v{2 * text:.1f}" stroke="{MARK}" '
                 f'stroke-width="{text / 7:.2f}"/>')  # fmt: skip
    scale = _scale(x0, -y0 + 1.2 * text, x1 - x0, levels, text, length)
    pad = text
    box = f"{x0 - pad:.1f} {-y1 - pad:.1f} {x1 - x0 + 2 * pad:.1f} {y1 - y0 + 5.4 * text + pad:.1f}"
    plain = "".join(sign for sign in name if sign.isprintable() and sign not in '<>&"')
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}" role="img" aria-label="{plain}: sag from above, at most '
        f'{length(most)}" font-family="sans-serif">{"".join(fills)}{scale}</svg>'
    )


def _coarse(case: FloorCase) -> tuple[Real, Real, NDArray[np.int64]]:
    """The series' grid three times as wide: a picture needs no more."""
    bent = case.bent
    count = round(len(bent.at_m) ** 0.5)
    if len(bent.stress_pa) != len(bent.at_m) or count * count != len(bent.at_m):
        return bent.at_m, bent.down_m, bent.triangles
    step = next(step for step in (3, 2, 1) if (count - 1) % step == 0)
    few = np.arange(0, count, step)
    keep = (few[:, None] * count + few[None, :]).ravel()
    n = len(few)
    corner = np.arange(n * n).reshape(n, n)[:-1, :-1].ravel()[:, None]
    cells = np.concatenate([corner + np.array([0, n, 1]), corner + np.array([n, n + 1, 1])])
    return bent.at_m[keep], bent.down_m[keep], cells


def path(area: Polygon) -> str:
    """Outer and inner rings of a polygon or of several, y up."""
    rings = []
    for part in getattr(area, "geoms", (area,)):
        if part.geom_type == "Polygon" and not part.is_empty:
            rings += [part.exterior, *part.interiors]
    return "".join("M" + "L".join(f"{MM * x:.1f} {-MM * y:.1f}" for x, y in ring.coords[:-1]) + "Z" for ring in rings)


def _support(support: Support, text: float) -> str:
    (a, b), wide = (MM * support[0], MM * support[1]), text / 3.0
    if a == b:
        return f'<circle cx="{a.real:.1f}" cy="{-a.imag:.1f}" r="{text / 2.5:.2f}" fill="{INK}"/>'
    return (
        f'<path d="M{a.real:.1f} {-a.imag:.1f}L{b.real:.1f} {-b.imag:.1f}" stroke="{INK}" stroke-width="{wide:.2f}" '
        f'stroke-dasharray="{text:.1f} {text / 3:.1f}"/>'
    )


def _scale(x: float, y: float, width: float, levels: Real, text: float, length: Words) -> str:
    """Colours with the sag they stand for."""
    each, rows = width / BANDS, []
    for number in range(BANDS):
        shade = (number + 0.5) / BANDS
        colour = "#" + "".join(f"{round(a + (b - a) * shade):02x}" for a, b in zip(LIGHT, DEEP, strict=True))
        rows.append(
            f'<rect x="{x + number * each:.1f}" y="{y:.1f}" width="{each + 0.1:.1f}" height="{text:.1f}" fill="{colour}"/>'
        )
    for place, anchor, level in ((x, "start", levels[0]), (x + width, "end", levels[-1])):
        rows.append(f'<text x="{place:.1f}" y="{y + 2.4 * text:.1f}" font-size="{text:.1f}" fill="{SOFT}" '
                    f'text-anchor="{anchor}">{length(float(level))}</text>')  # fmt: skip
    middle = x + width / 2.0
    rows.append(f'<text x="{middle:.1f}" y="{y + 2.4 * text:.1f}" font-size="{text:.1f}" fill="{SOFT}" '
                'text-anchor="middle">sag; the cross is the deepest place</text>')  # fmt: skip
    return "".join(rows)
