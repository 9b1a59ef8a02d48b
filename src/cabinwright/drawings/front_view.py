"""A panel as a customer sees it: straight from the front, dark faces, holes, and its edges alight. No perspective."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape

import numpy as np

from cabinwright.drawings.cut_svg import chain_path
from cabinwright.physics.arcs import Segment
from cabinwright.stages.workshop.result import LightResult, Nesting, PanelResult, Part

__all__ = ["front_view", "measured_view", "sheet_view"]

MM = 1000.0
FACE = {
    "dark face": ("#454a51", "#1d2024"),
    "board": ("#cbb08a", "#a98b63"),
    "mesh": ("#3a3d40", "#242628"),
    "clear": ("#dfeaf0", "#b4c6d0"),
    "plastic": ("#5a6068", "#383d43"),
    "metal": ("#b9bec3", "#878d93"),
}
MADE_OF = {
    "acrylic": "plastic",
    "ABS": "plastic",
    "polycarbonate": "plastic",
    "PVC": "plastic",
    "aluminium": "metal",
    "steel": "metal",
}
"""What a plain board of these shows; all others are wood."""
CLEAR = "#dfeaf0"
INK = "#1f2a33"
AROUND_MM = 40.0
RINGS = 14  #: that a halo is laid up of: no edge is seen between them


def front_view(name: str, panel: PanelResult, lights: Mapping[str, LightResult], number: int) -> str:
    """The panel's front as one ``<svg>``; ``number`` keeps its ids apart on a page."""
    front = panel.parts[0]
    x0, y0, x1, y1 = front.outline.bounds
    corner = complex(MM * x0 - AROUND_MM, MM * y1 + AROUND_MM)
    width, height = MM * (x1 - x0) + 2.0 * AROUND_MM, MM * (y1 - y0) + 2.0 * AROUND_MM
    mine = [light for light in lights.values() if light.panel == name]
    rim = next((light.colour for light in mine if light.along == "outline"), None)
    line = next((light.colour for light in mine if light.along != "outline"), rim)
    tag = f"v{number}"
    body = [f'<rect width="{width:.1f}" height="{height:.1f}" fill="url(#{tag}-room)"/>']
    if not mine:
        fallen = _soft(_outline(front, corner), "#20262b", f"{tag}-s", strength=0.3, sigma_mm=8.0)
        body.append(f'<g transform="translate(3 8)">{fallen}</g>')
    behind = [part for part in panel.parts[1:] if part.look in ("clear", "board")]
    for layer, part in enumerate(reversed(behind)):
        lit = part.look == "clear" and rim is not None
        body += (
            _glow(part, corner, rim or CLEAR, f"{tag}-{layer}")
            if lit
            else [_face(part, corner, f"url(#{tag}-{_kind(part)})")]
        )
    body.append(_face(front, corner, f"url(#{tag}-{_kind(front)})", open_=True))
    body.append(f'<path d="{_outline(front, corner)}" fill="none" stroke="url(#{tag}-edge)" stroke-width="1.1"/>')
    if line is not None and any(part.look == "clear" for part in panel.parts):
        body += _lit_openings(front, corner, line, tag)
    body += _holes(front, corner, line)
    body += [f'<path d="{chain_path(chain, corner, closed=False)}" fill="none" stroke="#fff" stroke-opacity=".45" '
             f'stroke-width=".4"/>' for part in panel.parts for _, chain, _ in part.lines]  # fmt: skip
    says = f"{name} from the front: {len(front.holes.centres)} holes"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.1f} {height:.1f}" role="img" '
        f'aria-label="{escape(says)}">{_defs(tag, by_day=not mine)}{"".join(body)}</svg>'
    )


def _kind(part: Part) -> str:
    look = MADE_OF.get(part.material, "board") if part.look == "board" else part.look
    return look.replace(" ", "-")


def _defs(tag: str, *, by_day: bool) -> str:
    room = ("#f1f2f1", "#b9bfc2") if by_day else ("#23262a", "#0b0c0e")
    faces = "".join(
        f'<linearGradient id="{tag}-{look.replace(" ", "-")}" x1="0" y1="0" x2=".35" y2="1">'
        f'<stop offset="0" stop-color="{light}"/><stop offset="1" stop-color="{dark}"/></linearGradient>'
        for look, (light, dark) in FACE.items()
    )
    return (
        f"<defs>{faces}"
        f'<radialGradient id="{tag}-room" cx=".5" cy=".42" r=".75"><stop offset="0" stop-color="{room[0]}"/>'
        f'<stop offset="1" stop-color="{room[1]}"/></radialGradient>'
        f'<linearGradient id="{tag}-edge" x1="0" y1="0" x2="0" y2="1"><stop offset="0" stop-color="#fff" '
        f'stop-opacity=".38"/><stop offset=".5" stop-color="#fff" stop-opacity=".05"/>'
        f'<stop offset="1" stop-color="#000" stop-opacity=".5"/></linearGradient></defs>'
    )


def _outline(part: Part, corner: complex) -> str:
    return chain_path(part.outline.segments, corner, closed=True)


def _face(part: Part, corner: complex, fill: str, *, open_: bool = False) -> str:
    inner = [chain_path(item.segments, corner, closed=True) for item in part.openings] if open_ else []
    return f'<path d="{" ".join([_outline(part, corner), *inner])}" fill="{fill}" fill-rule="evenodd"/>'


def _soft(d: str, colour: str, tag: str, *, strength: float, sigma_mm: float) -> str:
    """A halo round a closed outline, ``strength`` at its edge, falling outwards as a blur of ``sigma_mm`` would.

    Laid up of outlines, each a little wider and fainter: a filter would be turned into dots on paper, and takes seconds.
    """
    reach = np.linspace(2.6 * sigma_mm, 0.0, RINGS + 1)
    seen = strength * np.exp(-0.5 * (reach / sigma_mm) ** 2)
    rings = 1.0 - (1.0 - seen[1:]) / (1.0 - seen[:-1])
    laid = "".join(
        f'<use href="#{tag}" stroke-width="{2.0 * wide:.2f}" opacity="{ring:.4f}"/>'
        for wide, ring in zip(reach[:-1], rings, strict=True)
    )
    return f'<defs><path id="{tag}" d="{d}"/></defs><g fill="{colour}" stroke="{colour}" stroke-linejoin="round">{laid}</g>'


def _glow(part: Part, corner: complex, colour: str, tag: str) -> list[str]:
    """A sheet that carries light: wide halo on what lies around it, then the bright edge itself."""
    d = _outline(part, corner)
    return [
        _soft(d, colour, f"{tag}-f", strength=0.3, sigma_mm=13.0),
        _soft(d, colour, f"{tag}-n", strength=0.6, sigma_mm=3.2),
        f'<path d="{d}" fill="{_pale(colour, 0.55)}"/>',
    ]


def _lit_openings(front: Part, corner: complex, colour: str, tag: str) -> list[str]:
    made = []
    for number, opening in enumerate(front.openings):
        d = chain_path(opening.segments, corner, closed=True)
        made.append(_soft(d, colour, f"{tag}-o{number}", strength=0.5, sigma_mm=3.6))
        made.append(f'<path d="{d}" fill="{_pale(colour, 0.7)}" stroke="{colour}" stroke-width=".35"/>')
    return made


def _holes(front: Part, corner: complex, colour: str | None) -> list[str]:
    """Round holes with a light lower rim, and screw heads where it is drilled."""
    groups = []
    for field, fill, rim in ((front.holes, "#050607", colour or "#777d84"), (front.drills, "#1d1f22", "#8d949b")):
        if len(field.centres):
            rounds = "".join(
                f'<circle cx="{MM * at.real - corner.real:.2f}" cy="{corner.imag - MM * at.imag:.2f}" r="{MM * size / 2.0:.2f}"/>'
                for at, size in zip(field.centres, field.diameters_m, strict=True)
            )
            groups.append(f'<g fill="{rim}" fill-opacity=".5" transform="translate(.2 .4)">{rounds}</g>')
            groups.append(f'<g fill="{fill}">{rounds}</g>')
    return groups


def _pale(colour: str, share: float) -> str:
    """The colour mixed with white."""
    parts = [int(colour[k : k + 2], 16) for k in (1, 3, 5)]
    return "#" + "".join(f"{round(part + (255 - part) * share):02x}" for part in parts)


def measured_view(panel: PanelResult, lights: Sequence[LightResult], *, length: object) -> str:
    """The front as a line drawing with its size; ``length`` words a length in metres."""
    front = panel.parts[0]
    x0, y0, x1, y1 = front.outline.bounds
    size = max(13.0, MM * max(front.size_m) / 38.0)
    room = 3.2 * size
    corner = complex(MM * x0 - room, MM * y1 + 12.0)
    width, height = MM * (x1 - x0) + room + 12.0, MM * (y1 - y0) + room + 12.0
    left, right, top, foot = room, width - 12.0, 12.0, height - room
    far = round(2.0 * size, 1)  #: of the lines with the sizes from the edge
    say = length if callable(length) else str
    text = f'font-size="{size:.1f}" fill="{INK}" text-anchor="middle"'
    thin = f'fill="none" stroke="{INK}"'
    body = [
        f'<path d="{_outline(part, corner)}" {thin} stroke-width=".5" stroke-dasharray="4 3"/>'
        for part in panel.parts[1:]
    ]
    body.append(f'<path d="{_outline(front, corner)}" {thin} stroke-width="1.1"/>')
    body += [
        f'<path d="{chain_path(opening.segments, corner, closed=True)}" {thin} stroke-width=".7"/>'
        for opening in front.openings
    ]
    rounds = [*zip(front.holes.centres, front.holes.diameters_m, strict=True)]
    rounds += [*zip(front.drills.centres, front.drills.diameters_m, strict=True)]
    body.append(
        f'<g {thin} stroke-width=".3">'
        + "".join(
            f'<circle cx="{MM * at.real - corner.real:.1f}" cy="{corner.imag - MM * at.imag:.1f}" r="{MM * d / 2.0:.2f}"/>'
            for at, d in rounds
        )
        + "</g>"
    )
    for item in panel.behind:
        x, y = MM * item.at_m[0] - corner.real, corner.imag - MM * item.at_m[1]
        body.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{MM * item.diameter_m / 2.0:.1f}" {thin} stroke-dasharray="9 3 2 3"/>'
        )
        body.append(f'<path d="M{x - 9:.1f} {y:.1f}h18M{x:.1f} {y - 9:.1f}v18" {thin} stroke-width=".6"/>')
    for light in lights:
        d = chain_path(light.path, corner, closed=light.along == "outline")
        body.append(f'<path d="{d}" fill="none" stroke="#a84a08" stroke-width="1" stroke-dasharray="2 2.4"/>')
    body.append(
        f'<path d="M{left} {foot + 6}v{far}M{right} {foot + 6}v{far}M{left} {foot + far}H{right}M{left - 6} {top}h-{far}'
        f'M{left - 6} {foot}h-{far}M{left - far} {top}V{foot}" {thin} stroke-width=".9"/>'
    )
    for x, y, turn in ((left, foot + far, 0), (right, foot + far, 180), (left - far, top, 90), (left - far, foot, 270)):
        body.append(f'<path d="M0 0l8 -2.4v4.8z" fill="{INK}" transform="translate({x} {y}) rotate({turn})"/>')
    across, up = front.size_m
    halo = f'paint-order="stroke" stroke="#fff" stroke-width="{0.5 * size:.1f}"'
    body.append(
        f'<text x="{(left + right) / 2}" y="{foot + far + 0.35 * size:.1f}" {text} {halo}>{escape(say(across))}</text>'
    )
    middle = (top + foot) / 2
    body.append(
        f'<text transform="translate({left - far + 0.35 * size:.1f} {middle}) rotate(-90)" {text} {halo}>{escape(say(up))}</text>'
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.1f} {height:.1f}" role="img" '
        f'aria-label="line drawing with width {escape(say(across))} and height {escape(say(up))}">{"".join(body)}</svg>'
    )


def sheet_view(sheet: Nesting, parts: Mapping[str, Part], numbers: Mapping[str, int]) -> str:
    """A sheet with its pieces and off-cuts; a piece that has no room for its name shows its number in the cut list alone."""
    corner = complex(0.0, MM * sheet.width_m)
    width, height = MM * sheet.length_m, MM * sheet.width_m
    text, line = max(width, height) / 46.0, max(width, height) / 700.0
    body = [
        f'<rect width="{width:.1f}" height="{height:.1f}" fill="#f3f5f6" stroke="{INK}" stroke-width="{line:.2f}"/>'
    ]
    for spare in sheet.offcuts:
        x, y = MM * spare.at_m[0], corner.imag - MM * (spare.at_m[1] + spare.width_m)
        body.append(
            f'<rect x="{x:.1f}" y="{y:.1f}" width="{MM * spare.length_m:.1f}" height="{MM * spare.width_m:.1f}" fill="#fff" '
            f'stroke="#9aa5ad" stroke-width="{line:.2f}" stroke-dasharray="{6 * line:.1f} {4 * line:.1f}"/>'
        )
        words = f"off-cut {MM * spare.length_m:.0f} × {MM * spare.width_m:.0f}"
        if MM * spare.length_m > 0.6 * text * len(words) and MM * spare.width_m > 2.2 * text:
            body.append(
                f'<text x="{x + 0.6 * text:.1f}" y="{y + 1.4 * text:.1f}" font-size="{text:.1f}" fill="#54616b">{words}</text>'
            )
    for placed in sheet.placed:
        part = parts[placed.part]
        turn = complex(np.exp(1j * np.radians(placed.turn_deg)))
        chains: list[tuple[Segment, ...]] = [part.outline.segments, *(item.segments for item in part.openings)]
        moved = [tuple(s.moved(turn=turn, shift=complex(*placed.shift_m)) for s in chain) for chain in chains]
        d = " ".join(chain_path(chain, corner, closed=True) for chain in moved)
        body.append(f'<path d="{d}" fill="#c9dde3" fill-rule="evenodd" stroke="#0a5f73" stroke-width="{line:.2f}"/>')
        points = np.concatenate([segment.flattened(1e-3) for segment in moved[0]])
        x = MM * float(points.real.min() + points.real.max()) / 2.0
        y = corner.imag - MM * float(points.imag.min() + points.imag.max()) / 2.0
        words, size = _fits(f"{numbers[placed.part]}  {placed.part}", MM * float(np.ptp(points.real)), text)
        body.append(
            f'<text x="{x:.1f}" y="{y + 0.35 * size:.1f}" font-size="{size:.1f}" text-anchor="middle" fill="{INK}" '
            f'paint-order="stroke" stroke="#fff" stroke-opacity=".7" stroke-width="{size / 5:.1f}">{escape(words)}</text>'
        )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{-line:.1f} {-line:.1f} {width + 2 * line:.1f} '
        f'{height + 2 * line:.1f}" role="img" aria-label="{escape(sheet.sheet)}, sheet {sheet.number}">{"".join(body)}</svg>'
    )


def _fits(words: str, wide: float, size: float) -> tuple[str, float]:
    """A name at a size that stays over its piece; where that would be too small, the number before it."""
    shrunk = min(size, 0.92 * wide / (0.56 * len(words)))
    return (words, shrunk) if shrunk > 0.62 * size else (words.partition("  ")[0], size)
