"""Outlines and motifs from files that others drew: DXF and SVG, bounded, in the unit they state, geometry and nothing else.

From a DXF lines, arcs, circles, polylines, ellipses and splines of the model space are taken; from an SVG its paths and
shapes. Whatever a file could fetch, run or repeat without end (entities, links, images, scripts, blocks) is refused. A drawing
that does not state its unit is refused unless the build does, so that inches never pass for millimetres.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from cabinwright.build.document import Build
from cabinwright.errors import RecordingError
from cabinwright.measure.audio import inside
from cabinwright.measure.outline_dxf import dxf_chains
from cabinwright.measure.outline_svg import svg_chains
from cabinwright.physics.arcs import Segment
from cabinwright.physics.outline import Contour, Drawn, OutlineFault
from cabinwright.stages.workshop.drawn import drawn_key

__all__ = ["LIMIT_BYTES", "parse_drawing", "read_drawings"]

LIMIT_BYTES = 5_000_000
LIMIT_SEGMENTS = 20_000
JOIN_M = 2e-5  #: ends of lines nearer than this are meant to meet
UNITS_M = {"mm": 0.001, "cm": 0.01, "m": 1.0, "in": 0.0254, "ft": 0.3048}


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
    chains, stated_m = (dxf_chains if kind == "dxf" else svg_chains)(content, file)
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
    loops, lines = _joined([tuple(s.moved(turn=complex(scale)) for s in chain) for chain in chains])
    if not outline:
        if not loops and not lines:
            raise RecordingError(f"{file}: nothing to draw was found. Turn text and images into paths.")
        return Drawn(tuple(loops), tuple(lines))
    return Drawn(_outlines(loops, lines, file))


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


def _joined(chains: Sequence[tuple[Segment, ...]]) -> tuple[list[Contour], list[tuple[Segment, ...]]]:
    """Chains joined where their ends meet, whichever way they were drawn: closed loops, and what stays open."""
    left = [chain for chain in chains if chain]
    loops, lines = [], []
    while left:
        chain = left.pop(0)
        while left and abs(chain[-1].end - chain[0].start) > JOIN_M:
            ends = np.array([[row[0].start, row[-1].end] for row in left])
            gaps = np.abs(ends - chain[-1].end)
            index, side = np.unravel_index(int(np.argmin(gaps)), gaps.shape)
            if gaps[index, side] > JOIN_M:
                break
            more = left.pop(int(index))
            chain = (*chain, *(more if side == 0 else tuple(segment.reversed() for segment in reversed(more))))
        closed = abs(chain[-1].end - chain[0].start) <= JOIN_M and (len(chain) > 1)
        if closed:
            starts = [segment.start for segment in chain]
            rows = [Segment(a, b, s.bulge) for a, b, s in zip(starts, [*starts[1:], starts[0]], chain, strict=True)]
            loops.append(Contour(tuple(row for row in rows if abs(row.chord) > 0.0)))
        else:
            lines.append(chain)
    return loops, lines
