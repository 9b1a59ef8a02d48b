"""A ring or pod as drawings: seen along its axis, and its section through the thinnest and the thickest side."""

from __future__ import annotations

import math
from collections.abc import Callable

from cabinwright.drawings.cut_svg import chain_path
from cabinwright.physics.wedge import Wedge
from cabinwright.stages.workshop.mount_result import MountResult
from cabinwright.stages.workshop.result import Part

__all__ = ["mount_front", "mount_side", "part_view"]

MM = 1000.0
INK, SOFT, FILL, MARK = "#1f2a33", "#54616b", "#d8c19c", "#0a5f73"
FONT = 'font-family="sans-serif"'
Words = Callable[[float], str]


def mount_front(name: str, mount: MountResult, *, length: Words) -> str:
    """Seen along the axis, the thickest side to the left as in its cut files."""
    body = mount.body
    outer, foot, bore = (MM * size / 2.0 for size in (body.outer_m, body.foot_m, body.bore_m))
    text, room = _text(body), 0.62 * foot
    half = foot + room
    rows = [f'<circle r="{foot:.2f}" fill="{FILL}" fill-opacity=".55" stroke="{INK}" stroke-width="{text / 14:.2f}"/>']
    if foot > outer:
        rows.append(_ring(outer, text / 14))
    rows.append(f'<circle r="{bore:.2f}" fill="#fff" stroke="{INK}" stroke-width="{text / 14:.2f}"/>')
    for at in mount.screws:
        radius = max(MM * mount.pilot_m / 2.0, text / 8)
        rows.append(f'<circle cx="{MM * at.real:.2f}" cy="{-MM * at.imag:.2f}" r="{radius:.2f}" fill="{INK}"/>')
    if mount.screws:
        circle = MM * abs(mount.screws[0])
        rows.append(
            f'<circle r="{circle:.2f}" fill="none" stroke="{SOFT}" stroke-width="{text / 22:.2f}" '
            f'stroke-dasharray="{text / 2:.1f} {text / 4:.1f} {text / 8:.1f} {text / 4:.1f}"/>'
        )
    rows.append(f'<path d="M{-half:.1f} 0H{half:.1f}M0 {-1.1 * foot:.1f}V{1.1 * foot:.1f}" stroke="{SOFT}" '
                f'stroke-width="{text / 26:.2f}" stroke-dasharray="{text:.1f} {text / 3:.1f}"/>')  # fmt: skip
    rows += _words(-foot - 0.3 * text, -0.4 * text, ("thickest", f"to the {mount.thick_words}"), text, "end")
    rows += _words(foot + 0.3 * text, -0.4 * text, ("thinnest", ""), text, "start")
    low = foot + 1.6 * text
    sizes = [f"outside {length(body.outer_m)}", f"hole {length(body.bore_m)}"]
    sizes += [f"foot {length(body.foot_m)}"] if foot > outer else []
    sizes += [f"{len(mount.screws)} screws on {length(2.0 * abs(mount.screws[0]))}"] if mount.screws else []
    rows += _words(0.0, low + 0.4 * text, sizes, text, "middle")
    high = foot + 1.2 * text
    height = high + low + 1.35 * text * len(sizes)
    wide = max(half, foot + (1.0 + 0.56 * max(9, len(mount.thick_words) + 7)) * text)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{-wide:.1f} {-high:.1f} {2 * wide:.1f} {height:.1f}" role="img" '
        f'aria-label="{_plain(name)} seen along its axis" {FONT}>{"".join(rows)}</svg>'
    )


def mount_side(name: str, mount: MountResult, *, length: Words) -> str:
    """The section along the slope: the surface level, the loudspeaker's plane turned by the angle."""
    body = mount.body
    # turned so that the surface lies level: its normal points up
    cos, sin = math.cos(body.angle_rad), math.sin(body.angle_rad)

    def at(x: float, z: float) -> tuple[float, float]:
        return MM * (x * cos + z * sin), -MM * (z * cos - x * sin)

    slope, text = body.slope, _text(body)
    foot, top, bore = body.foot_m / 2.0, body.outer_m / 2.0, body.bore_m / 2.0
    rows = []
    for sign in (-1.0, 1.0):
        corners = [
            at(sign * bore, sign * bore * slope),
            at(sign * foot, sign * foot * slope),
            at(sign * top, body.height_m),
            at(sign * bore, body.height_m),
        ]
        d = "L".join(f"{x:.2f} {y:.2f}" for x, y in corners)
        rows.append(
            f'<path d="M{d}Z" fill="{FILL}" stroke="{INK}" stroke-width="{text / 14:.2f}" stroke-linejoin="round"/>'
        )
    left, right = at(-foot, -foot * slope)[0] - 2.5 * text, at(foot, foot * slope)[0] + 2.5 * text
    rows.append(f'<path d="M{left:.1f} 0H{right:.1f}" stroke="{INK}" stroke-width="{text / 7:.2f}"/>')
    hatch = "".join(
        f"M{left + k * text:.1f} 0l{-0.5 * text:.1f} {0.5 * text:.1f}" for k in range(1, int((right - left) / text) + 1)
    )
    rows.append(f'<path d="{hatch}" stroke="{SOFT}" stroke-width="{text / 20:.2f}"/>')
    tip = at(0.0, body.height_m + 0.3 * body.foot_m)
    start = at(0.0, 0.0)
    rows.append(f'<path d="M{start[0]:.1f} {start[1]:.1f}L{tip[0]:.1f} {tip[1]:.1f}" stroke="{MARK}" '
                f'stroke-width="{text / 12:.2f}" stroke-dasharray="{text:.1f} {text / 3:.1f}"/>')  # fmt: skip
    reach = 0.85 * math.hypot(tip[0] - start[0], tip[1] - start[1])
    rows.append(f'<path d="M0 0V{-1.1 * reach:.1f}" stroke="{SOFT}" stroke-width="{text / 20:.2f}"/>')
    end = (reach * sin, -reach * cos)
    rows.append(f'<path d="M0 {-reach:.2f}A{reach:.2f} {reach:.2f} 0 0 1 {end[0]:.2f} {end[1]:.2f}" fill="none" '
                f'stroke="{MARK}" stroke-width="{text / 12:.2f}"/>')  # fmt: skip
    rows += _words(tip[0] + 0.4 * text, tip[1] + 0.4 * text, (f"{mount.angle_deg:.1f}° aim",), text, "start", MARK)
    rows += _words(-0.3 * text, -1.1 * reach + 0.4 * text, ("normal",), text, "end", SOFT)
    thick, thin = at(-foot, (-foot * slope + body.height_m) / 2.0), at(foot, (foot * slope + body.height_m) / 2.0)
    rows += _words(thick[0] - 0.5 * text, thick[1], (length(body.greatest_m),), text, "end")
    rows += _words(thin[0] + 0.5 * text, thin[1] - 0.2 * text, (length(body.least_m),), text, "start")
    on_axis = f"{length(body.height_m)} on the axis"
    says = (f"stands on: {mount.surface}", on_axis)
    rows += _words(0.0, 1.9 * text, says, text, "middle", SOFT)
    low, high = 4.2 * text, max(1.1 * reach, -tip[1]) + 1.5 * text
    left, right = left - 4.0 * text, max(right + 4.0 * text, tip[0] + 6.0 * text)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{left:.1f} {-high:.1f} {right - left:.1f} {high + low:.1f}" '
        f'role="img" aria-label="{_plain(name)} from the side, turned {mount.angle_deg:.1f} degrees" {FONT}>{"".join(rows)}</svg>'
    )


def part_view(part: Part) -> str:
    """A flat part with its holes and what is marked on it."""
    x0, y0, x1, y1 = part.outline.bounds
    corner = complex(MM * x0, MM * y1)
    width, height = MM * (x1 - x0), MM * (y1 - y0)
    stroke = max(width, height) / 180.0
    d = " ".join(chain_path(item.segments, corner, closed=True) for item in (part.outline, *part.openings))
    rows = [f'<path d="{d}" fill="{FILL}" fill-rule="evenodd" stroke="{INK}" stroke-width="{stroke:.2f}"/>']
    marks = " ".join(chain_path(chain, corner, closed=False) for _, chain, _ in part.lines)
    rows.append(f'<path d="{marks}" fill="none" stroke="{MARK}" stroke-width="{0.8 * stroke:.2f}"/>' if marks else "")
    rows += [
        f'<circle cx="{MM * at.real - corner.real:.2f}" cy="{corner.imag - MM * at.imag:.2f}" r="{MM * size / 2.0:.2f}" '
        f'fill="#fff" stroke="{INK}" stroke-width="{0.6 * stroke:.2f}"/>'
        for at, size in zip(part.drills.centres, part.drills.diameters_m, strict=True)
    ]
    rows += _blind(part, corner, stroke)
    edge = 2.0 * stroke
    box = f"{-edge:.2f} {-edge:.2f} {width + 2.0 * edge:.2f} {height + 2.0 * edge:.2f}"
    says = f"{part.name}, {width:.0f} by {height:.0f} mm"
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}" role="img" aria-label="{_plain(says)}">{"".join(rows)}</svg>'


def _blind(part: Part, corner: complex, stroke: float) -> list[str]:
    """Blind holes: dark discs on the face, pale rods where they go into the board from an edge."""
    rows = [
        f'<circle cx="{MM * item.at.real - corner.real:.2f}" cy="{corner.imag - MM * item.at.imag:.2f}" '
        f'r="{MM * item.diameter_m / 2.0:.2f}" fill="{MARK}" fill-opacity=".55" stroke="{INK}" '
        f'stroke-width="{0.6 * stroke:.2f}"/>'
        for item in part.joinery.face_bores
    ]
    for item in part.joinery.edge_bores:
        beside = 0.5j * item.way * item.diameter_m
        ends = item.at + beside, item.at + beside + item.way * item.depth_m
        others = item.at - beside + item.way * item.depth_m, item.at - beside
        way = "L".join(f"{MM * at.real - corner.real:.2f} {corner.imag - MM * at.imag:.2f}" for at in (*ends, *others))
        rows.append(
            f'<path d="M{way}" fill="{MARK}" fill-opacity=".3" stroke="{MARK}" stroke-width="{0.4 * stroke:.2f}"/>'
        )
    return rows


def _text(body: Wedge) -> float:
    """Size of words that suits the drawing's."""
    return MM * body.foot_m / 16.0


def _ring(radius: float, stroke: float) -> str:
    return f'<circle r="{radius:.2f}" fill="{FILL}" stroke="{INK}" stroke-width="{stroke:.2f}"/>'


def _words(
    x: float, y: float, lines: tuple[str, ...] | list[str], size: float, anchor: str, colour: str = INK
) -> list[str]:
    return [
        f'<text x="{x:.2f}" y="{y + 1.3 * size * k:.2f}" font-size="{size:.2f}" text-anchor="{anchor}" fill="{colour}">'
        f"{_plain(line)}</text>"
        for k, line in enumerate(lines)
    ]


def _plain(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace('"', "&quot;")
