"""Outlines whose unit the file leaves open or contradicts: written with ezdxf, read, and judged by both stages."""

from __future__ import annotations

import io

import ezdxf
import pytest

from cabinwright.build.codec import parse
from cabinwright.findings import Finding
from cabinwright.measure.outlines import parse_drawing
from cabinwright.stages import enclosure, workshop
from stages.test_box_panels import SHEET
from stages.test_enclosure_shape import BOX, MODEL, STIFF

IN, MM, CM, M, NONE = 1, 4, 5, 6, 0
SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="{}" height="{}" viewBox="0 0 {} {}"><path d="M0 0H{}V{}H0Z"/></svg>'
)


def dxf(wide: float, high: float, unit: int, **header: int) -> bytes:
    document = ezdxf.new("R2000", units=unit)
    document.modelspace().add_lwpolyline([(0, 0), (wide, 0), (wide, high), (0, high)], close=True)
    for key, value in header.items():
        document.header[f"${key}"] = value
    out = io.StringIO()
    document.write(out)
    return out.getvalue().encode()


def judged(content: bytes, units: str | None = None) -> tuple[list[Finding], list[Finding]]:
    """What the enclosure stage says of it as a hollow, and the workshop stage as a panel."""
    name = "o.svg" if b"<svg" in content else "o.dxf"
    said = f'file = "{name}"\n' + (f'file_units = "{units}"\n' if units else "")
    drawn = parse_drawing(content, file=name, units=units)
    build = parse(
        f"{MODEL}{BOX}[boxes.shape]\n{STIFF}{said}height_m = 0.3\nboard_m = 0.012\n"
        f'[[panels]]\nname = "lid"\nsheet = "board"\n{said}{SHEET}'
    )
    boxed = enclosure.run(build, drawn={name: drawn})
    cut = workshop.run(build, boxed, drawn={name if units is None else f"{name} ({units})": drawn})
    assert boxed is not None and cut is not None
    return (
        [item for item in boxed.findings if item.code == "enclosure.shape_unit"],
        [item for item in cut.findings if item.code == "workshop.outline_unit"],
    )


@pytest.mark.parametrize(
    ("content", "units"),
    [
        (dxf(600, 400, MM), None),
        (dxf(24, 16, IN), None),
        (dxf(60, 40, CM), None),
        (dxf(600, 400, NONE), "mm"),  # in inches it would be 15 m
        (dxf(24, 16, NONE), "in"),  # in millimetres it would be 24 mm
        (dxf(600, 400, MM, MEASUREMENT=0), None),  # a slip of the header that changes nothing
        (SVG.format("600mm", "400mm", 600, 400, 600, 400).encode(), None),
        (SVG.format("24in", "16in", 24, 16, 24, 16).encode(), None),
        (SVG.format("600mm", "399.9mm", 600, 400, 600, 400).encode(), None),
    ],
)
def test_a_drawing_that_states_its_unit_or_can_have_no_other_is_left_be(content: bytes, units: str | None) -> None:
    assert judged(content, units) == ([], [])


@pytest.mark.parametrize(
    ("content", "units", "read", "other", "says"),
    [
        (dxf(60, 40, NONE), "cm", "600 × 400", "1524 × 1016", "states no unit and file_units says cm"),
        (dxf(98, 60, NONE), "mm", "98 × 60", "2489 × 1524", "states no unit and file_units says mm"),
        (dxf(60, 40, CM, MEASUREMENT=0), None, "600 × 400", "1524 × 1016", "its $INSUNITS says cm, its $MEASUREMENT US units"),
        (dxf(60, 40, CM, LUNITS=4), None, "600 × 400", "1524 × 1016", "its $LUNITS feet and inches"),
        (dxf(98, 60, IN, MEASUREMENT=1), None, "2489 × 1524", "98 × 60", "its $INSUNITS says in, its $MEASUREMENT metric ones"),
        (dxf(24, 16, MM, MEASUREMENT=0), None, "24 × 16", "610 × 406", "its $MEASUREMENT US units"),
        (dxf(24, 16, MM), None, "24 × 16", "610 × 406", "the file says mm, and nothing of its kind is so small"),
        (SVG.format("600px", "400px", 60, 40, 60, 40).encode(), "cm", "600 × 400", "1524 × 1016", "states no unit"),
        (SVG.format("600mm", "24in", 600, 400, 600, 400).encode(), None, "600 × 400", "914 × 610", "do not fit its viewBox"),
    ],
)  # fmt: skip
def test_both_sizes_are_named(content: bytes, units: str | None, read: str, other: str, says: str) -> None:
    hollow, panel = judged(content, units)
    assert len(panel) == 1 and len(hollow) == (not other.startswith("98"))  # 98 mm are a part, but no hollow
    for item in (*hollow, *panel):
        assert item.severity == "caution"
        assert f"as {read} mm" in item.message and f"{other} mm" in item.message and says in item.message


def test_an_opening_is_looked_at_too() -> None:
    shape = f'{STIFF}size_m = [0.5, 0.4]\nheight_m = 0.3\nboard_m = 0.012\nopening = {{file = "o.dxf", file_units = "cm"}}\n'
    drawn = parse_drawing(dxf(60, 60, NONE), file="o.dxf", units="cm")
    result = enclosure.run(parse(f"{MODEL}{BOX}[boxes.shape]\n{shape}"), drawn={"o.dxf": drawn})
    assert result is not None
    assert [item.where for item in result.findings if item.code == "enclosure.shape_unit"] == ["bay, opening"]
