"""Outlines and motifs from files that others drew: DXF and SVG, bounded, in the unit they state, geometry and nothing else.

From a DXF lines, arcs, circles, polylines, ellipses and splines of the model space are taken; from an SVG its paths and
shapes. Whatever a file could fetch, run or repeat without end (entities, links, images, scripts, blocks) is refused. A drawing
that does not state its unit is refused unless the build does, so that inches never pass for millimetres.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from pathlib import Path

from cabinwright.build.document import Build
from cabinwright.errors import RecordingError
from cabinwright.measure.audio import inside
from cabinwright.measure.outline_dxf import dxf_chains
from cabinwright.measure.outline_svg import svg_chains
from cabinwright.measure.outline_units import UNITS_M, read_in
from cabinwright.physics.arcs import Segment
from cabinwright.physics.outline import Contour, Drawn, OutlineFault
from cabinwright.stages.workshop.drawn import drawn_key

__all__ = ["LIMIT_BYTES", "parse_drawing", "read_drawings"]

LIMIT_BYTES = 5_000_000
LIMIT_SEGMENTS = 20_000
LARGEST_M = 1000.0  #: farthest point from the origin
#: an outline smaller in millimetres, or larger in inches, was more likely drawn in the other unit
SLIPPED_M = (0.03, 6.0)
SHORTEST_M = 1e-12  #: what is shorter is no line but a point
MOST_BULGE = 1000.0
MOST_MEETING = 64  #: ends of lines at one place
JOIN_M = 2e-5  #: ends of lines nearer than this are meant to meet


def read_drawings(build: Build, folder: Path) -> dict[str, Drawn | str]:
    """Every file that panels name, or the reason why it was not taken."""
    wanted: list[tuple[str, str | None, bool]] = []
    for panel in build.panels:
        wanted += [(motif.file, None, False) for motif in panel.motifs]
        if panel.file is not None:
            wanted.append((panel.file, panel.file_units, True))
    found: dict[str, Drawn | str] = {}
    for file, units, outline in dict.fromkeys(wanted):
        key = drawn_key(file, units=units, motif=not outline)
        try:
            path = inside(folder, file)
            with path.open("rb") as stream:
                content = stream.read(LIMIT_BYTES + 1)
            found[key] = parse_drawing(content, file=file, units=units, outline=outline)
        except RecordingError as error:
            found[key] = str(error)
        except OSError as error:
            found[key] = f"{file}: cannot be read ({error.strerror or error}). Check its name and rights."
    return found


def parse_drawing(content: bytes, *, file: str, units: str | None = None, outline: bool = True) -> Drawn:
    """The drawing in ``content``, in metres; a motif (not ``outline``) may leave its unit unsaid.

    Raises ``RecordingError``, naming the file, what is wrong and the cure.
    """
    if len(content) > LIMIT_BYTES:
        raise RecordingError(f"{file}: larger than {LIMIT_BYTES // 1_000_000} MB. Save only the outline.")
    kind = file.lower().rsplit(".", 1)[-1]
    if kind not in ("dxf", "svg"):
        raise RecordingError(f"{file}: only DXF and SVG are read. Save the drawing as one of them.")
    chains, stated = (dxf_chains if kind == "dxf" else svg_chains)(content, file)
    stated_m = None if stated is None else stated.unit_m
    if sum(map(len, chains)) > LIMIT_SEGMENTS:
        raise RecordingError(f"{file}: more than {LIMIT_SEGMENTS} lines and arcs. Simplify it.")
    if stated_m is not None and units is not None and abs(stated_m / UNITS_M[units] - 1.0) > 1e-6:
        raise RecordingError(f"{file}: the file states another unit than file_units = {units!r}. Take one of them out.")
    if stated_m is None and units is None and outline:
        raise RecordingError(
            f"{file}: it does not say its unit, and guessing between inches and millimetres spoils material. "
            'Save it with a unit, or write file_units = "mm" or "in" beside file.'
        )
    scale = stated_m if stated_m is not None else UNITS_M[units or "mm"]
    drawn = [tuple(segment.moved(turn=complex(scale)) for segment in chain) for chain in chains]
    _bounded(drawn, file)
    loops, lines = _joined(
        [kept for chain in drawn if (kept := tuple(s for s in chain if abs(s.chord) > SHORTEST_M))], file
    )
    if not outline:
        if not loops and not lines:
            raise RecordingError(f"{file}: nothing to draw was found. Turn text and images into paths.")
        return Drawn(tuple(loops), tuple(lines))
    found = _outlines(loops, lines, file)
    if stated_m is None:
        _sized(found[0], file, units or "")
    return Drawn(found, read_in=read_in(stated, units))


def _sized(outline: Contour, file: str, units: str) -> None:
    """Raises ``RecordingError`` where nothing but ``file_units`` says the unit, and the other one is the likelier."""
    left, bottom, right, top = outline.bounds
    size = max(right - left, top - bottom)
    other, would = ("in", size * UNITS_M["in"] / UNITS_M["mm"]) if units == "mm" else ("mm", size / 25.4)
    if (units == "mm" and size < SLIPPED_M[0]) or (units == "in" and size > SLIPPED_M[1]):
        raise RecordingError(
            f"{file}: it is {1e3 * size:.1f} mm across by file_units = {units!r}, and the file itself states no unit; drawn in "
            f'"{other}" it would be {1e3 * would:.0f} mm. Save it with its unit, so that nobody has to guess.'
        )


def _bounded(chains: Sequence[tuple[Segment, ...]], file: str) -> None:
    """Raises ``RecordingError`` for numbers that are none, for what is larger than any car, and for arcs that are no arcs."""
    for segment in (segment for chain in chains for segment in chain):
        for at in (segment.start, segment.end):
            if not cmath.isfinite(at) or max(abs(at.real), abs(at.imag)) > LARGEST_M:
                raise RecordingError(
                    f"{file}: a point at {at.real:.4g}, {at.imag:.4g} m is farther than {LARGEST_M:.0f} m from the origin, or no "
                    "number. Check the unit of the drawing and move it to the origin."
                )
        if not abs(segment.bulge) <= MOST_BULGE:
            raise RecordingError(
                f"{file}: the arc at {1e3 * segment.start.real:.2f}, {1e3 * segment.start.imag:.2f} mm has a bulge of "
                f"{segment.bulge:.4g}; more than {MOST_BULGE:.0f} is all but a whole circle. Draw it again."
            )


def _outlines(loops: Sequence[Contour], lines: Sequence[tuple[Segment, ...]], file: str) -> tuple[Contour, ...]:
    if lines:
        start, end = lines[0][0].start, lines[0][-1].end
        gap = 1e3 * abs(end - start)
        raise RecordingError(
            f"{file}: the outline is open by {gap:.3f} mm between {1e3 * end.real:.2f}, {1e3 * end.imag:.2f} and "
            f"{1e3 * start.real:.2f}, {1e3 * start.imag:.2f} mm. Close it, and take out lines that are no outline."
        )
    if not loops:
        raise RecordingError(f"{file}: no closed outline was found. Draw one of lines and arcs.")
    for loop in loops:
        try:
            loop.check()
        except OutlineFault as fault:
            raise RecordingError(f"{file}: {fault}. {fault.cure}") from None
    return tuple(sorted((loop.counter_clockwise() for loop in loops), key=lambda item: -item.area_m2))


def _joined(chains: Sequence[tuple[Segment, ...]], file: str) -> tuple[list[Contour], list[tuple[Segment, ...]]]:
    """Chains joined where their ends meet, whichever way they were drawn: closed loops, and what stays open."""
    ends = _Ends(chains, file)
    loops, lines = [], []
    for number, whole in enumerate(chains):
        if not ends.take(number):
            continue
        chain = list(whole)
        while abs(chain[-1].end - chain[0].start) > JOIN_M:
            met = ends.nearest(chain[-1].end)
            if met is None:
                break
            index, side = met
            ends.take(index)
            more = chains[index]
            chain += more if side == 0 else [segment.reversed() for segment in reversed(more)]
        closed = abs(chain[-1].end - chain[0].start) <= JOIN_M and (len(chain) > 1)
        if closed:
            starts = [segment.start for segment in chain]
            rows = [Segment(a, b, s.bulge) for a, b, s in zip(starts, [*starts[1:], starts[0]], chain, strict=True)]
            loops.append(Contour(tuple(row for row in rows if abs(row.chord) > 0.0)))
        else:
            lines.append(tuple(chain))
    return loops, lines


class _Ends:
    """Free ends of chains in squares of a grid, so that thousands of loose lines are joined in about as many steps."""

    def __init__(self, chains: Sequence[tuple[Segment, ...]], file: str) -> None:
        self._at = [(chain[0].start, chain[-1].end) for chain in chains]
        self._free = set(range(len(chains)))
        self._cells: dict[tuple[int, int], list[tuple[int, int]]] = {}
        for index, pair in enumerate(self._at):
            for side, at in enumerate(pair):
                some = self._cells.setdefault(_cell(at), [])
                some.append((index, side))
                if len(some) > MOST_MEETING:
                    raise RecordingError(
                        f"{file}: more than {MOST_MEETING} lines end at {1e3 * at.real:.2f}, {1e3 * at.imag:.2f} mm. "
                        "Take out lines that are no outline."
                    )

    def take(self, index: int) -> bool:
        """Whether the chain was free; it is so no more."""
        free = index in self._free
        self._free.discard(index)
        return free

    def nearest(self, at: complex) -> tuple[int, int] | None:
        """The chain, and which of its ends, that begins or ends here."""
        x, y = _cell(at)
        near = [
            (abs(self._at[index][side] - at), index, side)
            for column in (x - 1, x, x + 1)
            for row in (y - 1, y, y + 1)
            for index, side in self._cells.get((column, row), ())
            if index in self._free
        ]
        gap, index, side = min(near, default=(JOIN_M + 1.0, 0, 0))
        return (index, side) if gap <= JOIN_M else None


def _cell(at: complex) -> tuple[int, int]:
    return math.floor(at.real / JOIN_M), math.floor(at.imag / JOIN_M)
