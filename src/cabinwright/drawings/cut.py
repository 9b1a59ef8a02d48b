"""What a machine follows, before it is any file format: outlines, circles and open lines by operation, in metres.

Kerf is put right here and nowhere else: half of it outside of outlines, half inside of openings and holes. So are edge bands:
what is cut is smaller by them, as the cut list says. Inner cuts
come before the outline, so that a part stays held until everything in it is done.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from cabinwright.errors import RefusedError
from cabinwright.physics.arcs import Segment
from cabinwright.physics.outline import Contour
from cabinwright.stages.workshop.bands import bands_of
from cabinwright.stages.workshop.result import Nesting, Part

__all__ = ["OPERATIONS", "CutDrawing", "Line", "Round", "layer_of", "layer_words", "part_drawing", "sheet_drawing"]

OPERATIONS = ("mark", "score", "drill", "cut")
"""In the order in which a machine does them."""
BORED = ("router", "saw")  #: cutters that bore perforation rather than cut it


@dataclass(frozen=True, slots=True)
class Round:
    """A circle."""

    operation: str
    centre: complex
    diameter_m: float
    depth_m: float = 0.0  #: of a blind one; 0: through

    @property
    def layer(self) -> str:
        """The layer it is on."""
        return layer_of(self.operation, self.depth_m)


@dataclass(frozen=True, slots=True)
class Line:
    """A chain of lines and arcs, closed or open."""

    operation: str
    segments: tuple[Segment, ...]
    closed: bool
    depth_m: float = 0.0  #: of a score; 0: as the machine is set

    @property
    def layer(self) -> str:
        """The layer it is on."""
        return layer_of(self.operation, self.depth_m)


def layer_of(operation: str, depth_m: float = 0.0) -> str:
    """The operation, and its depth where it has one of its own: ``score-2.5mm``. Whoever sets the machine reads it there."""
    return f"{operation}-{round(1e3 * depth_m, 1):g}mm" if depth_m else operation


def layer_words(layer: str) -> str:
    """The same for people: score 2.5 mm deep."""
    operation, _, deep = layer.partition("-")
    return f"{operation} {deep.removesuffix('mm')} mm deep" if deep else operation


@dataclass(frozen=True)
class CutDrawing:
    """Everything of one part or one sheet."""

    title: str
    notes: tuple[str, ...]
    rounds: tuple[Round, ...]
    lines: tuple[Line, ...]
    low: tuple[float, float]
    high: tuple[float, float]

    @property
    def layers(self) -> tuple[tuple[str, str], ...]:
        """Layer and operation, in the order in which a machine does them, shallow ones first."""
        items: tuple[Round | Line, ...] = (*self.rounds, *self.lines)
        found = {(OPERATIONS.index(item.operation), item.depth_m, item.layer, item.operation) for item in items}
        return tuple(dict.fromkeys((layer, operation) for _, _, layer, operation in sorted(found)))


def part_drawing(part: Part, notes: tuple[str, ...] = ()) -> CutDrawing:
    """One part at its own place. Raises ``RefusedError`` while a ``stop`` stands against it."""
    rounds, lines = _content(part)
    x0, y0, x1, y1 = bands_of(part).outline.bounds
    half = part.kerf_m / 2.0
    return CutDrawing(part.name, notes, rounds, lines, (x0 - half, y0 - half), (x1 + half, y1 + half))


def sheet_drawing(sheet: Nesting, parts: Mapping[str, Part], notes: tuple[str, ...] = ()) -> CutDrawing:
    """A sheet with all its pieces, its lower left corner at the origin. Raises ``RefusedError`` as ``part_drawing``."""
    rounds: list[Round] = []
    lines: list[Line] = []
    for placed in sheet.placed:
        turn = complex(math.cos(math.radians(placed.turn_deg)), math.sin(math.radians(placed.turn_deg)))
        shift = complex(*placed.shift_m)
        some, chains = _content(parts[placed.part])
        rounds += [replace(item, centre=item.centre * turn + shift) for item in some]
        for item in chains:
            moved = tuple(segment.moved(turn=turn, shift=shift) for segment in item.segments)
            lines.append(replace(item, segments=moved))
    title = f"{sheet.sheet}, sheet {sheet.number}"
    return CutDrawing(title, notes, tuple(rounds), tuple(lines), (0.0, 0.0), (sheet.length_m, sheet.width_m))


def _content(part: Part) -> tuple[tuple[Round, ...], tuple[Line, ...]]:
    if part.stopped:
        raise RefusedError(
            f"{part.name}: no file for a machine is written while these stand against it: {', '.join(part.stopped)}. "
            "Mend what the findings say and run the plan again."
        )
    half = part.kerf_m / 2.0
    bored = "drill" if part.cutter in BORED else "cut"
    rounds = [
        Round(operation, complex(at), float(size) - (0.0 if operation == "drill" else part.kerf_m))
        for operation, field in ((bored, part.holes), ("drill", part.drills))
        for at, size in zip(field.centres, field.diameters_m, strict=True)
        if operation == "drill" or size > part.kerf_m
    ]
    rounds += [Round("drill", item.at, item.diameter_m, item.depth_m) for item in part.joinery.face_bores]
    lines = [Line(item.operation, item.chain, _closes(item.chain), item.depth_m) for item in part.lines]
    for opening in part.openings:
        lines += [Line("cut", contour.segments, True) for contour in _moved(opening, -half)]
    lines += [Line("cut", contour.segments, True) for contour in _moved(bands_of(part).outline, half)]
    return tuple(rounds), tuple(lines)


def _moved(contour: Contour, distance_m: float) -> tuple[Contour, ...]:
    return contour.counter_clockwise().offset(distance_m)


def _closes(chain: tuple[Segment, ...]) -> bool:
    return len(chain) > 1 and abs(chain[-1].end - chain[0].start) < 1e-6
