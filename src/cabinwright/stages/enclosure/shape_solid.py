"""The box as a closed solid with all that stands in it, and the air that this leaves.

Braces, posts and ports are put where the build says; what two of them share is counted once, and what would reach into
a wall takes no air. Ports run as ``port_runs`` laid them, mitred where they bend, their rims rounded; one that
does not lie in the box is told by its volume alone, and a ``stop`` stands against it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from math import pi, sqrt

import numpy as np

from cabinwright.build.loudspeaker import SpeakerModel
from cabinwright.build.shapes import BoxShape, Brace
from cabinwright.physics.outline import Contour, Corner, circle, from_corners
from cabinwright.physics.pipe import Pipe
from cabinwright.physics.solid import Mesh, Part, Plate, Recipe, Slab, left_over, shares_m3, shell
from cabinwright.stages.enclosure.fit_units import Triple, boards_m, frame_of, moved, wall_of
from cabinwright.stages.enclosure.port_runs import PortRun
from cabinwright.stages.enclosure.result import PortResult
from cabinwright.stages.enclosure.shape import Body
from cabinwright.stages.enclosure.shape_inside import Mount, behind_m, port_size

__all__ = ["Solid", "Window", "behind", "contents", "displaced", "solid_of", "window_of"]

WINDOW_M = 0.02  #: rounding of a brace's window
EMBED_M = 5e-4  #: what meets a board reaches so far into it, so that both become one body
FLUSH_M = 1e-6  #: nearer to a wall than this it meets it
CLEAR_M = 1e-3  #: holes are cut so far beyond the board
Runs = Sequence[PortRun | None]  #: how each port lies; none: straight, where it can


@dataclass(frozen=True)
class Window:
    """What is cut out of a brace: sides and rounding of its corners."""

    size_m: tuple[float, float]
    fillet_m: float


def window_of(item: Brace, high_m: float) -> Window | None:
    """The window that leaves the air one, in the middle of a brace so high; None where it has none.

    A rounded corner takes (1 − π/4) r² each: the window is made larger by that, and is as open as was said.
    """
    if not item.open_share:
        return None
    length, share = abs(complex(*item.to_m) - complex(*item.from_m)), sqrt(item.open_share)
    size = (length * share, high_m * share)
    radius = min(WINDOW_M, 0.25 * min(size))
    grown = sqrt(1.0 + (4.0 - pi) * radius**2 / (size[0] * size[1]))
    return Window((size[0] * grown, size[1] * grown), radius)


@dataclass(frozen=True)
class Contents:
    """All that stands in a box: solids by kind, in the order in which what they share is given to one of them."""

    second_board: list[Part] = field(default_factory=list)
    port: list[Pipe] = field(default_factory=list)  #: with the air in it
    braces: list[Part] = field(default_factory=list)
    posts: list[Part] = field(default_factory=list)
    tubes: list[Pipe] = field(default_factory=list)  #: the walls of the ports alone, from the baffle's face on
    port_drawn: bool = True

    @property
    def wood(self) -> list[Part]:
        """Braces and posts."""
        return [*self.braces, *self.posts]


@dataclass(frozen=True)
class Solid:
    """The box as it is made, and the air in it without that which the loudspeakers displace."""

    mesh: Mesh
    recipe: Recipe  #: what the mesh was joined from
    material_m3: float  #: boards, braces and posts
    tubes_m3: float
    air: Mesh
    port_drawn: bool


def contents(shape: BoxShape, body: Body, port: PortResult | None, mount: Mount, runs: Runs = ()) -> Contents:
    """What stands in the box, each where it is."""
    low, high = body.inside_low_m, body.inside_high_m
    embed = min(EMBED_M, body.board_m / 2.0)
    laid = bool(runs) and len(runs) == len(mount.ports) and None not in runs
    found = Contents(port_drawn=port is None or laid or _straight(shape, body, port, mount))
    if body.wall is not None and shape.double_baffle:
        found.second_board.append(_second_board(shape, body, mount))
    found.braces.extend(_brace(item, body, embed) for item in shape.braces)
    for post in shape.posts:
        foot, round_ = (*post.at_m, low - embed), circle(0j, post.diameter_m)
        found.posts.append(Plate(foot, (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), round_, high - low + 2.0 * embed))
    if port is None:
        return found
    for number, at in enumerate(mount.ports):
        run = runs[number] if laid else None
        outer = _pipe(shape, body, port, at, None if run is None else run.line_m)
        if not found.port_drawn:  # its hole alone
            outer = replace(outer, line=_along(shape, body, at, _boards_m(shape, body)), flares_m=(0.0, 0.0))
        found.port.append(outer)
        if found.port_drawn and shape.port_wall_m > FLUSH_M:
            found.tubes.append(replace(outer, wall_m=shape.port_wall_m))
    return found


def _pipe(shape: BoxShape, body: Body, port: PortResult, at: complex, line: tuple[Triple, ...] | None = None) -> Pipe:
    """A port with its wall; straight where no line is told. Rims are as round as half its length lets them be."""
    rim = min(port.flare_radius_m, port.length_m / 2.0)
    _, along, up, _ = frame_of(body, wall_of(shape, body), at)
    way = line or _along(shape, body, at, port.length_m)
    return Pipe(way, along, up, _mouth(port, shape.port_wall_m), (rim, rim))


def _along(shape: BoxShape, body: Body, at: complex, length_m: float) -> tuple[Triple, ...]:
    start, _, _, inward = frame_of(body, wall_of(shape, body), at)
    return start, moved(start, inward, length_m)


def displaced(
    shape: BoxShape, body: Body, model: SpeakerModel, units: int, port: PortResult | None, mount: Mount, runs: Runs = ()
) -> dict[str, float]:
    """Volumes [m³] that the air does not have, by what takes them; what two share stands once, at the first of them.

    The order: second board, port, braces, posts. Drive units and radiators count as their makers state,
    a port that is not drawn by area × length of its middle line.
    """
    inside = contents(shape, body, port, mount, runs)
    groups = (inside.second_board, inside.port, inside.braces, inside.posts)
    second, tube, braces, posts = shares_m3(groups, within=_air(body)) if any(groups) else (0.0,) * 4
    if port is not None:
        away = port.count - len(mount.ports) if inside.port_drawn else port.count
        tube += away * _pipe(shape, body, port, 0j).filled_m3(min(_boards_m(shape, body), port.length_m), port.length_m)
    return {
        "speakers": units * _own_volume_m3(model),
        "radiators": mount.radiators_m3,
        "braces": braces,
        "posts": posts,
        "port": tube,
        "second_board": second,
    }


def solid_of(
    shape: BoxShape, body: Body, port: PortResult | None, mount: Mount, runs: Runs = (), *, holes: bool
) -> Solid:
    """The whole box; without ``holes`` where they would meet something. Raises ``ValueError`` where it does not close."""
    inside = contents(shape, body, port, mount, runs)
    slabs = [run.slab() for run in body.runs]
    passed = inside.port if holes else []
    second, _, wood = shares_m3((inside.second_board, passed, inside.wood), within=_air(body))
    material = sum(slab.volume_m3 for slab in slabs) + second + wood
    thick = _boards_m(shape, body)
    cuts: list[Part] = []
    bored_out: list[Part] = []
    tubes = 0.0
    if holes:
        own = _bored_m(shape, body, wall_of(shape, body))
        for side, at, diameter in _mounts(shape, body, mount):
            mouth, deep = circle(0j, diameter), _bored_m(shape, body, side)
            material -= abs(mouth.area_m2) * deep
            cuts.append(_through(body, side, at, mouth, -CLEAR_M, deep + CLEAR_M))
        if port is not None:
            mouth, wall = _mouth(port, shape.port_wall_m), shape.port_wall_m
            for tube in inside.port:
                # in the boards all but its bore is solid, behind them its wall
                bored = tube.filled_m3(0.0, thick, inset_m=wall)
                lost = max(abs(mouth.area_m2) * thick, bored)
                material -= lost
                if inside.tubes:
                    tubes += lost - bored + _wall_m3(tube, wall, thick)
            for at, tube in zip(mount.ports, inside.port, strict=True):
                through = replace(
                    tube, line=_along(shape, body, at, own + CLEAR_M), flares_m=(0.0, 0.0), lead_m=CLEAR_M
                )
                bored_out += [through, *_rim(shape, body, at, tube)]
        cuts += bored_out
    wooden = [*inside.second_board, *inside.wood]
    recipe = Recipe(slabs, holes=cuts, inside=wooden, tubes=inside.tubes if holes else (), passed=passed)
    mesh = shell(slabs, holes=cuts, inside=wooden, tubes=recipe.tubes, passed=passed)
    air = left_over(_air(body), gone=[*inside.port, *wooden])
    return Solid(mesh, recipe, material, tubes, air, inside.port_drawn)


def _wall_m3(tube: Pipe, wall_m: float, from_m: float) -> float:
    end = tube.length_m
    start = min(from_m, end)
    return tube.filled_m3(start, end) - tube.filled_m3(start, end, inset_m=wall_m)


def _rim(shape: BoxShape, body: Body, at: complex, tube: Pipe) -> Iterator[Pipe]:
    """What rounding takes of the baffle."""
    rim = tube.flares_m[0]
    if rim > 0.0:
        line = _along(shape, body, at, rim)
        yield replace(tube, line=line, flares_m=(rim, 0.0), lead_m=CLEAR_M, inset_m=shape.port_wall_m)


def _second_board(shape: BoxShape, body: Body, mount: Mount) -> Plate:
    """The second board of a wall, inside, as large as the wall there, with the holes of what sits in it."""
    run = body.hollow_runs[0]
    assert run.opening is not None and body.wall is not None
    inner, outer = run.opening.segments[body.wall], run.outline.segments[body.wall]
    way = inner.chord / abs(inner.chord)
    offset = ((inner.end - outer.start) * way.conjugate()).real
    holes = tuple(
        circle(complex(offset - at.real, at.imag - run.low_m), diameter)
        for wall, at, diameter in _mounts(shape, body, mount)
        if wall == body.wall
    )
    outline = _rectangle(0.0, 0.0, inner.length_m, run.high_m - run.low_m)
    corner = (inner.end.real, inner.end.imag, run.low_m)
    along = (-way.real, -way.imag, 0.0)
    return Plate(corner, along, (0.0, 0.0, 1.0), outline, body.board_m, holes)


def _air(body: Body) -> list[Part]:
    return [Slab(run.low_m, run.high_m, run.opening) for run in body.runs if run.opening is not None]


def _boards_m(shape: BoxShape, body: Body) -> float:
    return boards_m(shape, body, wall_of(shape, body))


def _bored_m(shape: BoxShape, body: Body, wall: int | str) -> float:
    """How deep a hole is bored from outside: a standing wall's second board has its own already."""
    return body.board_m if isinstance(wall, int) else boards_m(shape, body, wall)


def _mounts(shape: BoxShape, body: Body, mount: Mount) -> Iterator[tuple[int | str, complex, float]]:
    """Wall, place and diameter of every hole for a loudspeaker or radiator."""
    if mount.cut_out_m:
        yield from ((wall_of(shape, body), at, mount.cut_out_m) for at in mount.speakers)
    yield from ((row.index, row.at, row.cut_out_m) for row in mount.radiators if row is not None and row.cut_out_m)


def _own_volume_m3(model: SpeakerModel) -> float:
    if model.displacement_m3 is not None:
        return model.displacement_m3
    known = model.depth_m is not None and model.cut_out_m is not None
    return 0.5 * model.depth_m * pi / 4.0 * model.cut_out_m**2 if known else 0.0  # type: ignore[operator]


def _brace(item: Brace, body: Body, embed: float) -> Plate:
    """From floor to baffle, a little into both; into a wall too where an end lies flush with it."""
    start, end = complex(*item.from_m), complex(*item.to_m)
    way, thick = (end - start) / abs(end - start), item.board_m or body.board_m
    low, high = body.inside_low_m, body.inside_high_m
    length, side = abs(end - start), -1j * way
    more = [embed if _flush(body, at, side * thick / 2.0) else 0.0 for at in (start, end)]
    tall = high - low
    outline = _rectangle(-more[0], -embed, length + more[1], tall + embed)
    cut = window_of(item, tall)
    openings: tuple[Contour, ...] = ()
    if cut is not None:
        (wide, deep), (x, y) = cut.size_m, (length / 2.0, tall / 2.0)
        openings = (_rectangle(x - wide / 2, y - deep / 2, x + wide / 2, y + deep / 2, fillet_m=cut.fillet_m),)
    corner = start - side * thick / 2.0
    return Plate((corner.real, corner.imag, low), (way.real, way.imag, 0.0), (0.0, 0.0, 1.0), outline, thick, openings)


def _flush(body: Body, at: complex, half: complex) -> bool:
    """Whether all of an end lies on the walls, at every height."""
    ends = np.array([at - half, at + half])
    return all(
        bool((run.opening.distance_m(ends) < FLUSH_M).all()) for run in body.hollow_runs if run.opening is not None
    )


def _rectangle(x0: float, y0: float, x1: float, y1: float, *, fillet_m: float = 0.0) -> Contour:
    corners = [Corner(complex(x0, y0)), Corner(complex(x1, y0)), Corner(complex(x1, y1)), Corner(complex(x0, y1))]
    return Contour(from_corners(corners, fillet_m=fillet_m))


def _mouth(port: PortResult, wall_m: float) -> Contour:
    wide, tall = port_size(port, wall_m)
    if port.diameter_m is not None:
        return circle(0j, wide)
    return _rectangle(-wide / 2.0, -tall / 2.0, wide / 2.0, tall / 2.0)


def _straight(shape: BoxShape, body: Body, port: PortResult, mount: Mount) -> bool:
    return port.bends == 0 and port.length_m < _boards_m(shape, body) + behind_m(shape, body, mount.ports)


def behind(shape: BoxShape, body: Body, wall: int | str, at: complex, diameter_m: float, depth_m: float) -> Plate:
    """A cylinder behind a wall, from its inner face on."""
    start = boards_m(shape, body, wall)
    return _through(body, wall, at, circle(0j, diameter_m), start, start + depth_m)


def _through(body: Body, wall: int | str, at: complex, outline: Contour, from_m: float, to_m: float) -> Plate:
    """A body through a wall at ``at``, between two depths below its outer face."""
    start, along, up, inward = frame_of(body, wall, at)
    return Plate(moved(start, inward, from_m), along, up, outline, to_m - from_m)
