"""The workshop: seconds against holes, pieces and segments, and what a file costs. ``python benchmarks/workshop.py``."""

from __future__ import annotations

import cmath
import math
from functools import partial

import numpy as np
from shapely import Polygon, box

import common  # benchmarks/common.py: this folder comes first on the path
from cabinwright.build.workshop import Sheet, Workshop
from cabinwright.drawings.cut import part_drawing
from cabinwright.drawings.cut_dxf import dxf_text
from cabinwright.drawings.cut_svg import svg_text
from cabinwright.physics.outline import Contour, Corner, from_corners
from cabinwright.physics.perforation import Field, Ramp, perforate
from cabinwright.stages.workshop.nest import Piece, nest
from cabinwright.stages.workshop.result import Part

PANEL = Contour(
    from_corners([Corner(0), Corner(0.9), Corner(0.9 + 0.5j), Corner(0.5j, via=0.45 + 0.56j)], fillet_m=0.05)
)


def holes(pitch_m: float) -> Field:
    """A graded field over the whole panel."""
    return perforate(
        PANEL,
        focus=0.6 + 0.2j,
        diameter=Ramp(0.7 * pitch_m, 0.2 * pitch_m, 0.4),
        pitch=Ramp(pitch_m, pitch_m, 0.4),
        least_web_m=0.15 * pitch_m,
        margin_m=0.008,
        rows="concentric",
    )


def part(field: Field) -> Part:
    """An invented face with these holes."""
    return Part(
        "face", "cover", "face", "dark face", "s", "acrylic", "laser", 0.003, 0.0002, 1, "any", PANEL, holes=field
    )  # fmt: skip


def wave(count: int) -> Contour:
    """A wavy outline of ``count`` arcs."""
    points = [0.4 * cmath.exp(2j * math.pi * k / count) for k in range(count)]
    return Contour(
        from_corners(
            [Corner(at, sagitta_m=0.1 / count * (1 if k % 2 else 0.3)) for k, at in enumerate(points)], fillet_m=0.0
        )
    )


def stars(count: int, rng: np.random.Generator) -> list[Piece]:
    """Irregular pieces of 3 to 40 corners, so that whole shapes save room."""
    made = []
    for number in range(count):
        corners = int(rng.integers(3, 40))
        turns = np.sort(rng.uniform(0.0, 2.0 * math.pi, corners))
        reach = rng.uniform(0.06, 0.22) * rng.uniform(0.4, 1.0, corners)
        drawn = Polygon(np.column_stack((reach * np.cos(turns), reach * np.sin(turns))))
        made.append(Piece(f"s{number}", 1, drawn if drawn.is_valid else drawn.convex_hull, (0.0, 90.0, 180.0, 270.0)))
    return made


def main() -> None:
    print(common.load())
    figure, axes = common.axes(11.0, 3.6, columns=3)
    rows = []
    for pitch in (0.025, 0.0175, 0.0115, 0.0083, 0.0058, 0.0041):
        field = holes(pitch)
        drawing = part_drawing(part(field))
        times = [common.seconds(work, 3) for work in (
            lambda p=pitch: holes(p), lambda d=drawing: dxf_text(d), lambda d=drawing: svg_text(d)
        )]  # fmt: skip
        rows.append((len(field.centres), *times))
        print(f"{rows[-1][0]:6d} holes: laid in {times[0]:.3f} s, DXF {times[1]:.3f} s, SVG {times[2]:.3f} s")
    for column, name in enumerate(("field", "DXF", "SVG"), 1):
        axes[0].loglog([row[0] for row in rows], [row[column] for row in rows], "o-", label=name)
    rng = np.random.default_rng(7)
    stock = Sheet.model_validate(
        {"name": "s", "material": "MDF", "thickness_m": 0.016, "length_m": 2.4, "width_m": 1.2}
    )
    packed = []
    for count in (15, 30, 60, 120):
        pieces = [Piece(f"p{k}", 1, box(0, 0, *rng.uniform(0.08, 0.6, 2)), (0.0, 90.0)) for k in range(count)]
        packed.append((count, common.seconds(lambda p=pieces: nest(p, stock, Workshop()), 1)))
        sheets, _ = nest(pieces, stock, Workshop())
        share = sum(item.yield_share for item in sheets) / len(sheets)
        print(f"{count:6d} pieces: {packed[-1][1]:.2f} s, {len(sheets)} sheets, {100 * share:.0f} % used")
    axes[1].loglog(*zip(*packed, strict=True), "o-", label="rectangles")
    shaped = []
    for count in (15, 30, 60):
        pieces = stars(count, rng)
        shaped.append((count, common.seconds(lambda p=pieces: nest(p, stock, Workshop()), 1)))
    for count, time in shaped:
        print(f"{count:6d} irregular pieces: {time:.2f} s")
    axes[1].loglog(*zip(*shaped, strict=True), "o-", label="irregular")
    moved = [(count, common.seconds(partial(wave(count).offset, 0.004), 3)) for count in (12, 24, 48, 96, 192)]
    for count, time in moved:
        print(f"{count:6d} arcs: offset in {time:.4f} s")
    axes[2].loglog(*zip(*moved, strict=True), "o-", label="offset")
    for axis, name in zip(axes, ("holes", "pieces", "arcs of an outline"), strict=True):
        axis.set_xlabel(name)
        axis.set_ylabel("seconds")
        axis.legend()
    common.save(figure, "workshop")


if __name__ == "__main__":
    main()
