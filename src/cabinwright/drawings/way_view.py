"""A box on its way through the opening, from the side: what is solid, the box where it stands, and where it was before."""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from math import degrees, hypot

import numpy as np
from shapely import affinity, box
from shapely.geometry.base import BaseGeometry

from cabinwright.drawings.floor_view import path
from cabinwright.stages.enclosure.fit_way import Way

__all__ = ["way_view"]

MM = 1000.0
INK, SOFT, WAY, WALL = "#1f2a33", "#54616b", "#0a5f73", "#d9dee2"
GHOSTS = 7  #: outlines on the way
FRAME_M = 0.06


def way_view(name: str, way: Way, *, length: Callable[[float], str]) -> str:
    """Side view across the direction in which the box moves; empty where no way was found."""
    if not way.found or way.body is None or way.walls is None:
        return ""
    u, _, z = way.middle_m
    ghosts = [_placed(way.body, way, pose) for pose in _spread(way)]
    stands = _placed(way.body, way, (0.0, 0.0, 0.0))
    rows = np.array([item.bounds for item in [*ghosts, stands]])
    (x0, y0), (x1, y1) = rows[:, :2].min(axis=0), rows[:, 2:].max(axis=0)
    view = box(x0 - FRAME_M, y0 - FRAME_M / 2, x1 + FRAME_M, y1 + FRAME_M / 2)
    text = MM * max(x1 - x0, y1 - y0) / 32.0
    parts = [
        f'<path d="{path(way.walls.intersection(view))}" fill="{WALL}" stroke="{SOFT}" stroke-width="{text / 12:.2f}"/>'
    ]
    for number, ghost in enumerate(ghosts):
        deep = 0.25 + 0.6 * number / max(1, len(ghosts) - 1)
        parts.append(
            f'<path d="{path(ghost)}" fill="{WAY}" fill-opacity="0.05" stroke="{WAY}" stroke-opacity="{deep:.2f}" '
            f'stroke-width="{text / 9:.2f}"/>'
        )
    parts.append(
        f'<path d="{path(stands)}" fill="{WAY}" fill-opacity="0.25" stroke="{INK}" stroke-width="{text / 6:.2f}"/>'
    )
    line = "L".join(f"{MM * (u + x):.1f} {-MM * (z + up):.1f}" for x, up, _ in _fine(way))
    parts.append(
        f'<path d="M{line}" fill="none" stroke="{INK}" stroke-width="{text / 12:.2f}" '
        f'stroke-dasharray="{text / 3:.1f} {text / 3:.1f}"/>'
    )
    a, b, c, d = view.bounds
    size = f"{MM * a:.1f} {-MM * d:.1f} {MM * (c - a):.1f} {MM * (d - b):.1f}"
    room = "" if way.clearance_m is None else f", at least {length(way.clearance_m)} from every wall in the opening"
    label = escape(f"{name}: its way through the opening, tilted by up to {way.tilt_deg:.0f}°{room}", quote=True)
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{size}" role="img" aria-label="{label}">{"".join(parts)}</svg>'


def _placed(body: BaseGeometry, way: Way, pose: tuple[float, float, float]) -> BaseGeometry:
    turned = affinity.rotate(body, degrees(pose[2]), origin=(0.0, 0.0))
    return affinity.translate(turned, way.middle_m[0] + pose[0], way.middle_m[2] + pose[1])


def _fine(way: Way, count: int = 240) -> list[tuple[float, float, float]]:
    """Poses evenly along the way, a turn counted by the path of the box's corners."""
    poses = np.array(way.poses)
    reach = (
        0.5 * hypot(way.body.bounds[2] - way.body.bounds[0], way.body.bounds[3] - way.body.bounds[1])
        if way.body
        else 0.0
    )
    steps = np.diff(poses, axis=0)
    far = np.concatenate(([0.0], np.cumsum(np.hypot(steps[:, 0], steps[:, 1]) + reach * np.abs(steps[:, 2]))))
    at = np.linspace(0.0, far[-1], count)
    return [
        (float(x), float(y), float(t))
        for x, y, t in zip(*(np.interp(at, far, poses[:, k]) for k in range(3)), strict=True)
    ]


def _spread(way: Way) -> list[tuple[float, float, float]]:
    """The few that are drawn, from outside to just before it stands."""
    fine = _fine(way)
    return [fine[round(k * (len(fine) - 1) / GHOSTS)] for k in range(GHOSTS)]
