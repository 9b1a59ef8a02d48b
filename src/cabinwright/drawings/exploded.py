"""Parts drawn apart in the order in which they go together, each group with its number: from below upwards, as on the bench."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from html import escape

import numpy as np

from cabinwright.drawings.boards import Board, Eye, board_svg, cone_svg
from cabinwright.drawings.cut_svg import chain_path
from cabinwright.physics.arcs import Segment

__all__ = ["Cone", "Level", "Strip", "exploded_view"]

INK, SOFT, MARK = "#1f2a33", "#54616b", "#0a5f73"
SIZE, LINE, BORDER = 0.024, 1.25, 0.03  #: of words, between lines, round the picture: shares of the picture's size
LETTERS = 26  #: in a line of a name
Triple = tuple[float, float, float]


@dataclass(frozen=True)
class Strip:
    """A strip of lights that lies along a way in plan at a height."""

    chain: tuple[Segment, ...]
    height_m: float
    colour: str


@dataclass(frozen=True)
class Cone:
    """A loudspeaker's frame in a plane."""

    at: Triple
    along: Triple
    up: Triple
    diameter_m: float
    screws: int | None = None


@dataclass(frozen=True)
class Level:
    """What goes on in one step. Heights as they are when it is together; ``exploded_view`` lifts it clear of what is below."""

    number: int
    name: str
    boards: tuple[Board, ...] = ()
    cones: tuple[Cone, ...] = ()
    strips: tuple[Strip, ...] = ()
    beside: bool = False  #: goes on from the side: it is lifted no more than the level before

    @property
    def low_m(self) -> float:
        """Its lowest point."""
        return min(self._heights)

    @property
    def high_m(self) -> float:
        """Its highest point."""
        return max(self._heights)

    @property
    def _heights(self) -> list[float]:
        rows = [float(z) for board in self.boards for z in board.corners[:, 2]]
        rows += [cone.at[2] + side * cone.up[2] * cone.diameter_m / 2.0 for cone in self.cones for side in (-1.0, 1.0)]
        return rows + [strip.height_m for strip in self.strips]

    def lifted(self, rise_m: float) -> Level:
        """Higher by so much."""
        boards = tuple(item.lifted((0.0, 0.0, rise_m)) for item in self.boards)
        cones = tuple(replace(item, at=(item.at[0], item.at[1], item.at[2] + rise_m)) for item in self.cones)
        strips = tuple(replace(item, height_m=item.height_m + rise_m) for item in self.strips)
        return replace(self, boards=boards, cones=cones, strips=strips)


def exploded_view(name: str, levels: Sequence[Level], *, number: int, turn_deg: float, rise_deg: float) -> str:
    """The picture as one ``<svg>``; ``number`` keeps its ids apart on a page, the angles say from where it is seen."""
    eye = Eye(complex(math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))), math.radians(rise_deg))
    apart = _apart(levels, eye)
    spots = [[eye.spot(point) for point in _points(level)] for level in apart]
    xs, ys = ([spot[k] for level in spots for spot in level] for k in (0, 1))
    size = max(max(xs) - min(xs), max(ys) - min(ys))
    text, border = SIZE * size, BORDER * size
    rows = [*_axis(apart, eye, text)]
    for k, level in enumerate(apart):
        for j, board in enumerate(sorted(level.boards, key=lambda item: eye.towards(item.corners.mean(axis=0)))):
            rows += board_svg(board, eye, f"e{number}-{k}-{j}")
        rows += [_strip(item, eye, text) for item in level.strips]
        rows += [_cone(item, eye, f"e{number}") for item in level.cones]
    left, right = min(xs) - border, max(xs) + 2.6 * text
    labels, wide, low, high = _labels(apart, spots, right, text)
    rows += labels
    top, foot = min(min(ys), low) - border, max(max(ys), high) + border
    box = f"{left:.1f} {top:.1f} {right + wide + border - left:.1f} {foot - top:.1f}"
    said = ", ".join(f"{level.number} {level.name}" for level in apart)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}" role="img" aria-label="{escape(name)} drawn apart, in the '
        f'order in which it goes together: {escape(said)}">{cone_defs(f"e{number}")}{"".join(rows)}</svg>'
    )


def cone_defs(tag: str) -> str:
    """The gradients of ``cone_svg``."""
    rounds = {
        "roll": ("#0f1113", "#3d4248", ".5", ".5", ".5"),
        "cone": ("#17191c", "#4a5057", ".46", ".58", ".56"),
        "cap": ("#6a727a", "#202327", ".4", ".34", ".7"),
    }
    return "<defs>" + "".join(
        f'<radialGradient id="{tag}-{key}" cx="{x}" cy="{y}" r="{r}"><stop offset="0" stop-color="{inner}"/>'
        f'<stop offset="1" stop-color="{outer}"/></radialGradient>'
        for key, (inner, outer, x, y, r) in rounds.items()
    ) + "</defs>"  # fmt: skip


def _apart(levels: Sequence[Level], eye: Eye) -> list[Level]:
    """Each level lifted until most of the one below it can be seen."""
    points = np.array([point for level in levels for point in _points(level)])
    turned = (points[:, 0] + 1j * points[:, 1]) * eye.turn
    gap = 0.48 * float(np.ptp(turned.imag)) * math.tan(eye.rise_rad)
    made: list[Level] = []
    rise, top = 0.0, -math.inf
    for level in levels:
        if not level.beside and made:
            rise = top + gap - level.low_m
        made.append(level.lifted(rise))
        top = max(top, made[-1].high_m)
    return made


def _points(level: Level) -> list[np.ndarray]:
    rows = [point for board in level.boards for point in board.corners]
    for cone in level.cones:
        at, along, up = (np.asarray(item, dtype=float) for item in (cone.at, cone.along, cone.up))
        half = cone.diameter_m / 2.0
        rows += [at + half * step for step in (along, -along, up, -up)]
    for strip in level.strips:
        rows += [np.array([p.real, p.imag, strip.height_m]) for item in strip.chain for p in item.flattened(1e-3)]
    return rows


def _axis(levels: Sequence[Level], eye: Eye, text: float) -> Iterator[str]:
    """Dot and dash from the lowest to the highest, through the middle."""
    points = np.array([point for level in levels if not level.beside for point in _points(level)])
    middle = (points.min(axis=0) + points.max(axis=0)) / 2.0
    ends = [eye.spot(np.array([middle[0], middle[1], z])) for z in (points[:, 2].min(), points[:, 2].max())]
    (x, y0), (_, y1) = ends
    yield (
        f'<path d="M{x:.1f} {y0:.1f}V{y1:.1f}" stroke="{SOFT}" stroke-width="{text / 18:.2f}" '
        f'stroke-dasharray="{text:.1f} {text / 3:.1f} {text / 8:.1f} {text / 3:.1f}"/>'
    )


def _strip(strip: Strip, eye: Eye, text: float) -> str:
    plane = eye.plane(np.array([0.0, 0.0, strip.height_m]), np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0]))
    path = chain_path(strip.chain, 0j, closed=abs(strip.chain[-1].end - strip.chain[0].start) < 1e-6)
    back = f'<path d="{path}" stroke="{INK}" stroke-width="{text / 2.2:.1f}"/>'
    return (
        f'<g transform="{plane}" fill="none" stroke-linejoin="round">{back}<path d="{path}" stroke="{strip.colour}" '
        f'stroke-width="{text / 3:.1f}"/><path d="{path}" stroke="#fff" stroke-width="{text / 7:.1f}" '
        f'stroke-dasharray="{text / 5:.1f} {text / 2:.1f}"/></g>'
    )


def _cone(cone: Cone, eye: Eye, tag: str) -> str:
    plane = eye.plane(*(np.asarray(item, dtype=float) for item in (cone.at, cone.along, cone.up)))
    return f'<g transform="{plane}">{"".join(cone_svg(0.0, 0.0, 500.0 * cone.diameter_m, cone.screws, tag))}</g>'


def _labels(
    levels: Sequence[Level], spots: Sequence[list[tuple[float, float]]], right: float, text: float
) -> tuple[list[str], float, float, float]:
    """Numbers in circles with their names to the right, the lines that lead to them, their width and how far they reach."""
    told = [_wrapped(level.name) for level in levels]
    wants = []
    for level_spots in spots:
        ys = [y for _, y in level_spots]
        wants.append((min(ys) + max(ys)) / 2.0)
    order = sorted(range(len(levels)), key=lambda k: wants[k])
    places, free = {}, -math.inf
    for k in order:
        tall = max(2.2, LINE * len(told[k]) + 0.6) * text
        places[k] = max(wants[k], free + tall / 2.0)
        free = places[k] + tall / 2.0
    shift = sum(places[k] - wants[k] for k in order) / len(order)  # spread evenly about where they belong
    rows = []
    for k in order:
        y = places[k] - shift
        x, from_y = max(spots[k], key=lambda spot: spot[0] - 0.2 * abs(spot[1] - y))
        rows.append(
            f'<path d="M{x:.1f} {from_y:.1f}L{right - 1.2 * text:.1f} {y:.1f}" fill="none" stroke="{SOFT}" '
            f'stroke-width="{text / 16:.2f}"/><circle cx="{x:.1f}" cy="{from_y:.1f}" r="{text / 7:.2f}" fill="{SOFT}"/>'
            f'<circle cx="{right:.1f}" cy="{y:.1f}" r="{0.95 * text:.1f}" fill="{MARK}"/>'
            f'<text x="{right:.1f}" y="{y + 0.36 * text:.1f}" font-size="{text:.1f}" font-weight="bold" fill="#fff" '
            f'text-anchor="middle">{levels[k].number}</text>'
        )
        first = y + 0.36 * text - LINE * text * (len(told[k]) - 1) / 2.0
        rows += [
            f'<text x="{right + 1.5 * text:.1f}" y="{first + LINE * text * j:.1f}" font-size="{text:.1f}" fill="{INK}">'
            f"{escape(line)}</text>"
            for j, line in enumerate(told[k])
        ]
    wide = 1.5 * text + 0.6 * text * max(len(line) for lines in told for line in lines)
    reach = [
        places[k] - shift + side * max(1.1, LINE * len(told[k]) / 2.0) * text for k in order for side in (-1.0, 1.0)
    ]
    return rows, wide, min(reach), max(reach)


def _wrapped(name: str) -> list[str]:
    lines = [""]
    for word in name.split():
        longer = f"{lines[-1]} {word}".strip()
        if len(longer) > LETTERS and lines[-1]:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines
