"""The demo's box and its lit cover put together from the written DXF files alone, by ezdxf and shapely, as a workshop would."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
from ezdxf import recover
from ezdxf.path import make_path
from shapely import Polygon, unary_union

from cabinwright.build.codec import parse
from cabinwright.handover.workshop_page import workshop_documents
from cabinwright.stages import enclosure, workshop

TEXT = (Path(__file__).parents[2] / "demo" / "build" / "build.toml").read_text(encoding="utf-8")
BOX, COVER = "workshop/spare-wheel-bay", "workshop/cargo-cover"
CUT_OUT_MM, CABLE_MM = 233.0, 16.0
STRIP_MM = 3.0  #: the channel that the demo leaves for a strip standing on its edge
UNIT_M3 = 2.1e-3  #: what the drive unit takes of the air, as the demo's build says
Files = dict[str, str]


@pytest.fixture(scope="module")
def made() -> tuple[Files, float]:
    """The text files, and the net volume that the plan states."""
    build = parse(TEXT)
    boxed = enclosure.run(build)
    cut = workshop.run(build, boxed)
    assert boxed is not None and cut is not None
    documents = workshop_documents(build, cut)
    volume = boxed.boxes["spare-wheel bay"].net_volume_m3
    return {name: text for name, text in documents.items() if isinstance(text, str)}, volume


def loops(files: Files, name: str, layer: str = "cut") -> list[Polygon]:
    """Closed lines of a layer, largest first, in mm; arcs in steps of a hundredth."""
    document, _ = recover.read(io.BytesIO(files[f"{name}.dxf"].encode()))
    lines = document.modelspace().query(f'LWPOLYLINE[layer=="{layer}"]')
    found = [Polygon([(p.x, p.y) for p in make_path(line).flattening(0.01)]) for line in lines if line.closed]  # type: ignore[arg-type]
    return sorted(found, key=lambda item: -item.area)


def row(files: Files, part: str) -> dict[str, str]:
    rows = csv.DictReader(io.StringIO(files["workshop/cut-list.csv"].removeprefix("\ufeff")))
    return next(item for item in rows if item["part"] == part)


def net_m3(files: Files) -> float:
    """Hollow of all rings, less the braces that stand in it and the drive unit."""
    ring = row(files, "spare-wheel bay, ring")
    thick, high = float(ring["thickness_mm"]), float(ring["thickness_mm"]) * float(ring["count"])
    air = loops(files, f"{BOX}-ring")[1].area * high
    for name in ("brace-1", "brace-2"):
        board, *windows = loops(files, f"{BOX}-{name}")
        assert board.bounds[3] - board.bounds[1] == pytest.approx(high, abs=0.01)
        air -= (board.area - sum(item.area for item in windows)) * thick
    return air * 1e-9 - UNIT_M3


def test_the_boards_enclose_the_stated_volume(made: tuple[Files, float]) -> None:
    files, stated = made
    assert net_m3(files) == pytest.approx(stated, rel=0.01)
    sheet = files[f"{BOX}-ring.dxf"]
    assert "9 of it from MDF 18 mm: MDF, 18.2 mm thick." in sheet
    assert net_m3(files) != pytest.approx(stated - 0.5e-3, rel=0.01)


def test_its_boards_lie_flush_and_shut_it(made: tuple[Files, float]) -> None:
    files, _ = made
    floor, ring, baffle = (loops(files, f"{BOX}-{name}") for name in ("floor", "ring", "baffle"))
    assert len(floor) == 1
    for other in (ring[0], baffle[0]):
        assert floor[0].symmetric_difference(other).area < 1e-3 * floor[0].area
    speaker, cable = baffle[1:]
    for hole, size in ((speaker, CUT_OUT_MM), (cable, CABLE_MM)):
        assert hole.bounds[2] - hole.bounds[0] == pytest.approx(size, abs=0.05)
        assert ring[1].contains(hole)
    prints = loops(files, f"{BOX}-floor", "mark")
    assert len(prints) == 2
    for print_ in prints:
        assert ring[1].buffer(0.5).contains(print_)
        assert not print_.intersects(unary_union([speaker, cable]))


def test_the_covers_layers_fit_and_the_strip_has_its_channel(made: tuple[Files, float]) -> None:
    files, _ = made
    names = ("dark-face", "light-rim", "light-guide", "carrier", "mesh")
    face, rim, guide, carrier, mesh = (loops(files, f"{COVER}-{name}") for name in names)
    kerf = {"face": 0.1, "clear": 0.125}  # half of what the demo's sheets state; the router's follows the finished line
    for layer, wanted in ((rim, 1.5 + 0.125), (guide, -17.0 + 0.125), (carrier, -17.0), (mesh, -45.0)):
        moved = face[0].buffer(-kerf["face"]).buffer(wanted, quad_segs=256)
        assert moved.exterior.hausdorff_distance(layer[0].exterior) < 0.1
    hollow = rim[1].buffer(kerf["clear"], quad_segs=64)
    inner = guide[0].buffer(-kerf["clear"], quad_segs=64)
    assert hollow.contains(inner)
    assert hollow.exterior.distance(inner.exterior) == pytest.approx(STRIP_MM, abs=0.05)
    sweeps = [item.buffer(0.0) for item in face[1:3]]
    channels = [item for item in carrier[1:] if any(item.contains(sweep) for sweep in sweeps)]
    assert len(channels) == 2
    assert all(carrier[0].contains(item) and inner.contains(item) for item in channels)


def test_every_piece_is_on_a_sheet_as_often_as_the_list_says(made: tuple[Files, float]) -> None:
    files, _ = made
    rows = csv.DictReader(io.StringIO(files["workshop/cut-list.csv"].removeprefix("\ufeff")))
    heads = [text.split("SECTION")[0].replace("\n999\n", " ") for name, text in files.items() if "/sheet-" in name]
    for item in rows:
        told = sum(head.count(f"{item['part']} at ") for head in heads if head.startswith("999"))
        assert told == int(item["count"]), item["part"]


def test_the_order_names_every_part(made: tuple[Files, float]) -> None:
    text = made[0]["workshop/assembly.txt"]
    for part in (
        "floor",
        "9 × ring",
        "2 × baffle",
        "brace 1",
        "brace 2",
        "dark face",
        "light rim",
        "light guide",
        "carrier",
    ):
        assert part in text
    order = [
        text.index(words)
        for words in (
            "“light rim” on",
            "“light guide” into",
            "strip “rim” in",
            "“carrier” on",
            "strip “lower sweep” into",
        )
    ]
    assert order == sorted(order)
