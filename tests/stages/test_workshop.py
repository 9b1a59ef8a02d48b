"""The workshop stage: panels, sheets, lights, and what is refused, against shapely and by hand."""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon, affinity, box

from cabinwright.build.codec import parse
from cabinwright.build.document import Build
from cabinwright.build.workshop import Sheet, Workshop
from cabinwright.drawings.front_view import front_view
from cabinwright.physics.arcs import Segment
from cabinwright.physics.outline import Drawn
from cabinwright.stages import workshop
from cabinwright.stages.workshop.drawn import drawn_key
from cabinwright.stages.workshop.nest import Piece, nest
from cabinwright.stages.workshop.result import WorkshopResult

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "demo"))
from workshop import WORKSHOP  # type: ignore[attr-defined]  # noqa: E402, the demo's own cover

HEAD = 'schema = 1\ntitle = "t"\n[vehicle]\nname = "car"\ndriving_side = "left"\n'
SUB = '[[speakers]]\nname = "subwoofer"\nrole = "subwoofer"\nside = "centre"\nmodel = "unit"\n'
UNIT = (
    '[[speaker_models]]\nname = "unit"\nfs_hz = 28.0\nqes = 0.52\nqms = 6.1\nvas_m3 = 0.041\nre_ohm = 3.4\n'
    "sd_m2 = 0.048\nxmax_m = 0.013\npe_w = 500\n"
)
PLY = '[[sheets]]\nname = "ply"\nmaterial = "birch plywood"\nthickness_m = 0.009\nlength_m = 1.2\nwidth_m = 0.6\n'


def built(text: str) -> Build:
    return parse(HEAD + text)


def run(text: str) -> WorkshopResult:
    result = workshop.run(built(text))
    assert result is not None
    return result


def codes(result: WorkshopResult, severity: str = "stop") -> list[str]:
    return [item.code for item in result.findings if item.severity == severity]


@pytest.fixture(scope="module")
def cover() -> WorkshopResult:
    return run(SUB + UNIT + WORKSHOP)


def test_the_demo_cover_can_be_cut(cover: WorkshopResult) -> None:
    panel = cover.panels["cargo cover"]
    assert codes(cover) == []
    assert panel.tangent_continuous
    assert panel.least_web_m is not None
    assert panel.least_web_m >= 0.0018 - 1e-9
    assert len(panel.parts) == 5
    assert {placed.part for sheet in cover.nesting for placed in sheet.placed} == set(cover.parts)
    front, rim, guide, carrier, _ = panel.parts
    assert rim.size_m[0] - front.size_m[0] == pytest.approx(0.003, abs=2e-4)
    hollow = Polygon([(at.real, at.imag) for at in rim.openings[0].points(1e-5)])
    for inner in (guide, carrier):  # the strip stands in a channel 3 mm wide all round, on the frame's inner edge
        edge = Polygon([(at.real, at.imag) for at in inner.outline.points(1e-5)])
        assert hollow.contains(edge)
        assert hollow.exterior.hausdorff_distance(edge.exterior) == pytest.approx(0.003, abs=2e-5)
    assert np.max(np.abs(guide.holes.diameters_m - front.holes.diameters_m - 0.0005)) < 1e-12
    (sub,) = panel.behind
    assert 0.2 < sub.open_share < 0.6
    assert sub.air_speed_m_s == pytest.approx(2 * math.pi * 40.0 * 0.013 * 0.048 / sub.open_area_m2)  # U = 2πf x S


def test_a_frame_keeps_the_openings_that_are_not_in_its_hollow() -> None:
    panel = (
        '[[panels]]\nname = "p"\nsize_m = [0.5, 0.4]\nfillet_m = "5 mm"\n[[panels.layers]]\nname = "rim"\nsheet = "ply"\n'
        "frame_m = 0.05\n[[panels.cut_outs]]\nname = 'in it'\ndiameter_m = 0.1\nat_m = [0.25, 0.2]\n"
        "[[panels.cut_outs]]\nname = 'in the frame'\ndiameter_m = 0.01\nat_m = [0.025, 0.2]\n"
    )
    part = run(PLY + panel).parts["p, rim"]
    assert part.stopped == ()
    gone = [box(0.05, 0.05, 0.45, 0.35).area, math.pi * 0.005**2]
    assert [abs(item.area_m2) for item in part.openings] == pytest.approx(gone, rel=1e-6)
    wide = run(PLY + panel.replace("frame_m = 0.05", "frame_m = 0.25"))
    assert codes(wide) == ["workshop.outline"]


def test_material_left_is_what_shapely_has(cover: WorkshopResult) -> None:
    for part in cover.parts.values():
        solid = Polygon(part.outline.as_polygon(1e-6).exterior, [c.as_polygon(1e-6).exterior for c in part.openings])
        round_ = math.pi / 4.0 * float(np.sum(part.holes.diameters_m**2) + np.sum(part.drills.diameters_m**2))
        assert part.area_m2 == pytest.approx(solid.area - round_, rel=1e-5)
        assert part.area_m2 != pytest.approx(1.001 * (solid.area - round_), rel=1e-5)


def test_lights_of_the_demo(cover: WorkshopResult) -> None:
    rim = cover.lights["rim"]
    outline = cover.panels["cargo cover"].parts[0].outline.as_polygon(1e-6)
    assert rim.length_m == pytest.approx(outline.buffer(-0.014, quad_segs=500).length, rel=1e-4)
    assert rim.power_w == pytest.approx(9.6 * rim.length_m)
    assert rim.load == {
        "name": "rim",
        "power_w": round(rim.power_w, 2),
        "written": False,
        "from": "rim plus",
        "to": "chassis",
    }
    assert rim.match is not None
    assert rim.match.in_gamut
    assert rim.match.delta_e < 1.0


def test_a_hue_beyond_the_strip_is_said_honestly() -> None:
    result = run(SUB + UNIT + WORKSHOP.replace("target_xy = [0.27, 0.30]", "target_xy = [0.05, 0.30]", 1))
    said = next(item for item in result.findings if item.code == "workshop.out_of_gamut")
    assert "outside this strip's gamut" in said.message
    assert result.lights["rim"].match is not None
    assert not result.lights["rim"].match.in_gamut


@pytest.mark.parametrize(
    ("change", "code"),
    [
        (("[0.00, 0.02],", "[0.00, 0.60],"), "workshop.outline"),
        (("diameter_m = 0.30", "diameter_m = 0.90"), "workshop.openings_meet"),
        (("at_m = [[0.06, 0.062]", "at_m = [[0.001, 0.05]"), "workshop.drill_at_edge"),
        (("length_m = 1.0\nwidth_m = 0.6", "length_m = 0.6\nwidth_m = 0.6"), "workshop.no_room"),
        (('material = "acrylic"', 'material = "PVC"'), "workshop.laser_pvc"),
        (("offset_m = -0.045", "offset_m = -0.3"), "workshop.outline"),
        (('cutter_diameter_m = "6 mm"', 'cutter_diameter_m = "8 mm"'), None),
    ],
)
def test_what_cannot_be_cut_is_stopped(change: tuple[str, str], code: str | None) -> None:
    assert change[0] in WORKSHOP
    result = run(SUB + UNIT + WORKSHOP.replace(change[0], change[1], 1))
    assert (code in codes(result)) if code else codes(result) == []
    if code and result.parts:
        assert any(code in part.stopped for part in result.parts.values()) or code == "workshop.outline"


def test_inside_corners_and_a_router() -> None:
    notch = "outline = [[0, 0], [0.3, 0], [0.3, 0.2], [0.16, 0.2], [0.16, 0.1], [0.14, 0.1], [0.14, 0.2], [0, 0.2]]\n"
    panel = '[[panels]]\nname = "p"\nsheet = "ply"\n' + notch
    router = PLY + 'cutter = "router"\ncutter_diameter_m = 0.008\n'
    assert codes(run(router + panel)) == ["workshop.too_tight"]  # 3 mm roundings, and the bit's radius is 4 mm
    assert codes(run(router + panel + "fillet_m = 0.005\n")) == []
    hard = run(router + panel + "fillet_m = 0\n")
    assert codes(hard) == []
    assert "workshop.hard_inside_corner" in codes(hard, "caution")
    assert not hard.panels["p"].tangent_continuous


def test_a_dark_panel_before_a_tweeter_costs_level() -> None:
    tweeter = '[[speakers]]\nname = "t"\nrole = "tweeter"\nside = "left"\n'
    panel = (
        '[[panels]]\nname = "p"\nsheet = "ply"\nsize_m = [0.2, 0.1]\n[[panels.behind]]\nspeaker = "t"\nat_m = [0.1, 0.05]\n'
        "diameter_m = 0.03\n"
    )
    shut = run(tweeter + PLY + panel)
    assert shut.panels["p"].behind[0].open_share == 0.0
    assert "workshop.grille_loss" in codes(shut, "caution")
    opened = run(tweeter + PLY + panel + '[[panels.cut_outs]]\nname = "o"\nat_m = [0.1, 0.05]\ndiameter_m = 0.04\n')
    assert opened.panels["p"].behind[0].open_share == pytest.approx(1.0)
    assert opened.panels["p"].behind[0].loss_db[10_000.0] == pytest.approx(0.0, abs=1e-9)


def test_a_loudspeaker_beside_its_panel_is_named() -> None:
    """A half disc about a point of the edge lies outside: 50 %."""
    tweeter = '[[speakers]]\nname = "t"\nrole = "tweeter"\nside = "left"\n'
    panel = '[[panels]]\nname = "p"\nsheet = "ply"\nsize_m = [0.2, 0.1]\n[[panels.behind]]\nspeaker = "t"\n'
    off = run(tweeter + PLY + panel + "at_m = [0.2, 0.05]\ndiameter_m = 0.03\n")
    (said,) = [item for item in off.findings if item.code == "workshop.behind_beside"]
    assert said.value == pytest.approx(50, abs=1)
    on = run(tweeter + PLY + panel + "at_m = [0.185, 0.05]\ndiameter_m = 0.03\n")
    assert "workshop.behind_beside" not in codes(on, "caution")


@pytest.mark.parametrize(("material", "kind"), [("birch plywood", "board"), ("acrylic", "plastic"), ("steel", "metal")])
def test_a_plain_board_is_shown_as_what_it_is_made_of(material: str, kind: str) -> None:
    panel = '[[panels]]\nname = "p"\nsheet = "ply"\nsize_m = [0.2, 0.1]\n'
    result = run(PLY.replace("birch plywood", material) + panel)
    svg = front_view("p", result.panels["p"], {}, 1)
    assert f'id="v1-{kind}"' in svg and f'fill="url(#v1-{kind})"' in svg


def test_cut_list_takes_off_the_edge_band() -> None:
    panel = (
        '[[panels]]\nname = "shelf"\nsheet = "ply"\nsize_m = [0.6, 0.3]\ncount = 2\nbanded = ["left", "right", "top"]\n'
        "banding_m = 0.001\n"
    )
    (row,) = run(PLY + panel).cut_list
    assert (row["cut_width_m"], row["cut_height_m"]) == pytest.approx((0.598, 0.299))
    assert row["banding_length_m"] == pytest.approx(0.3 + 0.3 + 0.6)


@pytest.mark.parametrize(
    ("at", "off"),
    [("[0.2, 0.15]", None), ("[0.02, 0.15]", 30), ("[0.1, 0.15]", 50)],
    ids=["on the board", "three tenths of it over the left edge", "half of it over the round opening"],
)
def test_a_motif_that_leaves_its_part_is_named(at: str, off: int | None) -> None:
    """A line 100 mm long on a board of 400 by 300 mm: how much of it lies off the board is plain from its place."""
    line = Drawn((), ((Segment(0.0, 0.1),),))
    text = (
        PLY + '[[panels]]\nname = "lid"\nsheet = "ply"\nsize_m = [0.4, 0.3]\n'
        '[[panels.cut_outs]]\nname = "handle"\nat_m = [0.1, 0.15]\ndiameter_m = 0.05\n'
        f'[[panels.motifs]]\nname = "leaf"\nfile = "leaf.svg"\nat_m = {at}\nwidth_m = 0.1\n'
    )
    result = workshop.run(built(text), drawn={drawn_key("leaf.svg", motif=True): line})
    assert result is not None
    found = [item for item in result.findings if item.code == "workshop.motif_off"]
    assert [item.severity for item in found] == ["caution"] * (off is not None)
    assert off is None or found[0].value == pytest.approx(off, abs=1)


def test_no_panels_no_result() -> None:
    assert workshop.run(built("")) is None


def sheet(length: float, width: float, **more: object) -> Sheet:
    return Sheet.model_validate(
        {"name": "s", "material": "MDF", "thickness_m": 0.01, "length_m": length, "width_m": width, **more}
    )


def laid(nesting, pieces: list[Piece]) -> list[Polygon]:
    by_name = {(piece.part, piece.number): piece.polygon for piece in pieces}
    return [
        affinity.translate(affinity.rotate(by_name[p.part, p.number], p.turn_deg, origin=(0, 0)), *p.shift_m)
        for p in nesting.placed
    ]


def checked(sheets, left, pieces: list[Piece], stock: Sheet, gap: float) -> None:
    """By another route than the stage's own: every pair, the rim, the off-cuts, and nothing lost."""
    assert sum(len(item.placed) for item in sheets) + len(left) == len(pieces)
    rim = box(0, 0, stock.length_m, stock.width_m).buffer(1e-7)
    for item in sheets:
        shapes = laid(item, pieces)
        for number, shape in enumerate(shapes):
            assert rim.contains(shape)
            assert all(shape.distance(other) >= gap - 1e-6 for other in shapes[:number])
            for spare in item.offcuts:
                x, y = spare.at_m
                kept = box(x, y, x + spare.length_m, y + spare.width_m)
                assert kept.distance(shape) >= gap - 1e-6
                assert rim.contains(kept)
        assert item.yield_share == pytest.approx(sum(s.area for s in shapes) / (stock.length_m * stock.width_m))


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.02, 0.7), st.floats(0.02, 0.5)), min_size=1, max_size=25),
    st.floats(0.0, 0.02),
    st.booleans(),
)
def test_rectangles_never_meet(sizes: list[tuple[float, float]], gap: float, grained: bool) -> None:
    turns = (0.0, 180.0) if grained else (0.0, 90.0, 180.0, 270.0)
    pieces = [Piece(f"p{k}", 1, box(0.1, 0.2, 0.1 + w, 0.2 + h), turns) for k, (w, h) in enumerate(sizes)]
    stock = sheet(1.0, 0.6, grained=grained, count=3)
    sheets, left = nest(pieces, stock, Workshop(gap_m=gap))
    checked(sheets, left, pieces, stock, gap)
    assert all(p.turn_deg in turns for item in sheets for p in item.placed)


def test_true_shapes_save_a_sheet() -> None:
    # Six right triangles of half a square each: two make a square, so three squares of board are enough, not six.
    triangle = Polygon([(0, 0), (0.4, 0), (0, 0.4)])
    pieces = [Piece("t", number, triangle, (0.0, 90.0, 180.0, 270.0)) for number in range(1, 7)]
    stock = sheet(0.9, 0.45)
    sheets, left = nest(pieces, stock, Workshop(gap_m=0.004))
    checked(sheets, left, pieces, stock, 0.004)
    assert len(sheets) == 2
    assert {item.way for item in sheets} == {"true shapes"}


@pytest.mark.parametrize(
    ("strip", "said"),
    [
        ('["8 mm", "2 mm"]', []),
        ('["8 mm", "2.6 mm"]', [("rim", 3.1, 3.0)]),  # 3 mm are left round the guide
        ('["14 mm", "2 mm"]', [("rim", 14.0, 13.9)]),  # a frame of 4.8 and a carrier of 9.1 mm, and a mesh behind
        ('["10.8 mm", "2 mm"]', [("upper sweep", 10.8, 11.0)]),  # a slot of 5 mm, 3 mm wider on both sides
    ],
)
def test_a_strip_is_held_against_its_channel(strip: str, said: list[tuple[str, float, float]]) -> None:
    """The demo's cover, whose channels are plain from its tables."""
    text = (Path(__file__).parents[2] / "demo/build/build.toml").read_text(encoding="utf-8")
    sheets = text[text.index("[workshop]") : text.index("[[rings]]")]
    lit = sheets.replace('strip_m = ["8 mm", "2 mm"]', f"strip_m = {strip}").replace(
        'speaker = "subwoofer"', 'speaker = "t"'
    )
    lit = lit.replace("offset_m = -0.045", "offset_m = -0.005")  # the mesh then lies behind the rim's channel
    result = run('[[speakers]]\nname = "t"\nrole = "tweeter"\nside = "left"\n' + lit)
    found = [item for item in result.findings if item.code == "workshop.strip_channel"]
    assert [(item.where, item.value, item.limit) for item in found if "lower" not in item.where] == [
        (f"light “{name}”", value, limit) for name, value, limit in said
    ]
    assert result.lights["rim"].channel_m == pytest.approx(0.003, abs=1e-6)
