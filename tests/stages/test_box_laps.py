"""Braces that cross: cut from their files and stood up as trimesh solids they share no wood, and go in from above in turn."""

from __future__ import annotations

import io
from itertools import combinations
from typing import Any

import numpy as np
import pytest
import trimesh
from ezdxf import recover
from ezdxf.path import make_path
from manifold3d import Manifold, Mesh64
from shapely import Polygon, difference

from cabinwright.build.codec import parse
from cabinwright.handover.documents import plan_documents
from cabinwright.pipeline import Results
from cabinwright.stages import enclosure, workshop
from cabinwright.stages.enclosure.shape_result import ShapeResult
from cabinwright.stages.workshop.result import WorkshopResult
from stages.test_box_panels import SHEET
from stages.test_enclosure_shape import BOX, MODEL, STIFF

BOARD, HIGH = 0.012, 0.276
ALONG = "{from_m = [0.10, 0.05], to_m = [0.10, 0.35]%s}"
ACROSS = "{from_m = [0.03, 0.20], to_m = [0.20, 0.20]%s}"
NEXT = "{from_m = [%s, 0.05], to_m = [%s, 0.35], open_share = 0}"
SOLID = ", open_share = 0"


def cut(*braces: str) -> tuple[ShapeResult, WorkshopResult, dict[str, Any]]:
    text = f"size_m = [0.6, 0.4]\nheight_m = 0.3\nspeakers_at_m = [[0.45, 0.2]]\nbraces = [{', '.join(braces)}]"
    build = parse(f'{MODEL}{BOX}[boxes.shape]\n{STIFF}sheet = "board"\n{text}\n{SHEET}')
    boxed = enclosure.run(build)
    made = workshop.run(build, boxed)
    assert boxed is not None and made is not None
    result = boxed.boxes["bay"].shape
    assert result is not None
    return result, made, plan_documents(build, Results(enclosure=boxed, workshop=made))


def named(made: WorkshopResult) -> list[str]:
    return [item.where for item in made.findings if item.code == "workshop.brace_meets"]


def stood_up(result: ShapeResult, made: WorkshopResult) -> list[Any]:
    """Every brace as it stands in the box."""
    solids = []
    for number, (start, end) in enumerate(result.braces, 1):
        part = made.parts[f"bay, brace {number}"]
        wood = part.outline.as_polygon(1e-5)
        for hole in part.openings:
            wood = difference(wood, hole.as_polygon(1e-5))
        assert isinstance(wood, Polygon)
        x0, y0 = part.outline.bounds[:2]
        solid = trimesh.creation.extrude_polygon(wood, BOARD)
        way = (end - start) / abs(end - start)
        side = 1j * way
        turn = np.eye(4)
        turn[:3, 0], turn[:3, 1], turn[:3, 2] = (way.real, way.imag, 0), (0, 0, 1), (-side.real, -side.imag, 0)
        corner = start + side * BOARD / 2.0 - way * x0
        turn[:3, 3] = corner.real, corner.imag, BOARD - y0
        solids.append(solid.apply_transform(turn))
    return solids


def shared(a: Any, b: Any) -> float:
    one, other = (Manifold(Mesh64(item.vertices, item.faces.astype(np.uint64))) for item in (a, b))
    return float((one ^ other).volume())


@pytest.mark.parametrize(
    "braces",
    [
        (ALONG % SOLID, ACROSS % SOLID),
        (ALONG % "", ACROSS % ""),
        (ALONG % "", ACROSS % SOLID),
        (ALONG % SOLID, "{from_m = [0.03, 0.13], to_m = [0.20, 0.24], open_share = 0}"),
        ("{from_m = [0.05, 0.10], to_m = [0.25, 0.30], open_share = 0}", ALONG % SOLID),
        (ALONG % SOLID, ALONG.replace("0.10,", "0.17,") % SOLID, "{from_m = [0.03, 0.28], to_m = [0.25, 0.28], open_share = 0}",
         "{from_m = [0.03, 0.12], to_m = [0.25, 0.12], open_share = 0}"),
    ],
)  # fmt: skip
def test_they_go_in_from_above_in_turn_and_share_no_wood(braces: tuple[str, ...]) -> None:
    result, made, _ = cut(*braces)
    assert not named(made)
    solids = stood_up(result, made)
    for a, b in combinations(range(len(solids)), 2):
        for lifted in (0.0, 0.05, 0.137, 0.2, 0.27):
            above = solids[b].copy().apply_translation([0.0, 0.0, lifted])
            assert shared(solids[a], above) < 2e-9
    whole = shared(solids[0], trimesh.creation.box(bounds=[[0, 0, 0], [0.6, 0.4, 0.3]]))
    assert whole == pytest.approx(solids[0].volume, rel=1e-9) and all(part.volume > 1e-5 for part in solids)


def test_square_ones_are_together_what_the_box_counts_them_for() -> None:
    result, made, _ = cut(ALONG % SOLID, ACROSS % SOLID)
    wood = sum(part.area_m2 * BOARD for name, part in made.parts.items() if "brace" in name)
    assert wood == pytest.approx((0.3 + 0.17 - BOARD) * HIGH * BOARD, rel=1e-9)
    assert result.displaced_m3["braces"] == pytest.approx(wood, rel=1e-9)
    first, second = (made.parts[f"bay, brace {n}"].joinery.laps[0] for n in (1, 2))
    assert (first.side, first.brace, first.at_m) == ("top", 2, pytest.approx(0.15))
    assert (second.side, second.brace, second.at_m) == ("bottom", 1, pytest.approx(0.07))
    assert first.width_m == pytest.approx(BOARD) and first.deep_m == pytest.approx(HIGH / 2)


def test_the_slot_is_in_the_file() -> None:
    """Traced with ezdxf: the outline in the file is the rectangle less the slot."""
    _, _, files = cut(ALONG % SOLID, ACROSS % SOLID)
    document, auditor = recover.read(io.BytesIO(files["workshop/bay-brace-1.dxf"].encode()))
    assert not auditor.has_errors
    rings = [make_path(item) for item in document.modelspace() if item.dxftype() in ("LWPOLYLINE", "POLYLINE")]
    areas = [Polygon([(p.x, p.y) for p in ring.flattening(0.01)]).area for ring in rings if ring.is_closed]
    assert max(areas) == pytest.approx(300 * 276 - 12 * 138, rel=1e-6)
    assert "half-lapped with brace 2, put in before it" in str(files["workshop.html"])
    assert "from above, in the order of their numbers" in str(files["workshop/assembly.txt"])


def test_a_window_that_a_slot_opens_into_stays_as_wide_and_round() -> None:
    _, made, _ = cut(ALONG % "", ACROSS % "")
    part = made.parts["bay, brace 1"]
    assert not part.openings
    rail = 0.5 * (1.0 - np.sqrt(0.5)) * HIGH  # about: the window is made larger by its corners
    assert part.area_m2 == pytest.approx(0.5 * 0.3 * HIGH - BOARD * rail, rel=1e-3)
    assert part.area_m2 != pytest.approx(0.5 * 0.3 * HIGH, rel=1e-3)


@pytest.mark.parametrize(
    "braces",
    [
        (ALONG % "", "{from_m = [0.02, 0.20], to_m = [0.10, 0.20]}"),  # ends in the other
        (ALONG % "", "{from_m = [0.08, 0.10], to_m = [0.12, 0.30]}"),  # 11°
        (ALONG % "", ACROSS.replace("0.20", "0.105") % SOLID),  # at the corner of a window
        (ALONG % SOLID, ACROSS % SOLID, "{from_m = [0.04, 0.14], to_m = [0.16, 0.26], open_share = 0}"),  # three in one
        (
            ALONG % "",
            ACROSS.replace("0.20]", "0.17]") % SOLID,
            ACROSS.replace("0.20]", "0.23]") % SOLID,
        ),  # a rail falls out
        (ACROSS % SOLID, ALONG % SOLID, NEXT % (0.113, 0.113)),  # two slots of one side with 1 mm between them
        (ALONG % SOLID, ACROSS % SOLID, NEXT % (0.113, 0.113)),  # one from above, one from below
        (ACROSS % SOLID, ALONG % SOLID, NEXT % (0.1235, 0.1235)),  # 11.5 mm are still less than a board of 12
    ],
)
def test_what_cannot_be_lapped_is_still_named(braces: tuple[str, ...]) -> None:
    _, made, _ = cut(*braces)
    assert named(made)
    if len(braces) == 3 and "0.14" in braces[2]:  # two of the three are lapped, the one between would fall apart
        assert [len(part.joinery.laps) for name, part in made.parts.items() if "brace" in name] == [1, 0, 1]
        return
    assert not any(part.joinery.laps for part in made.parts.values())


@pytest.mark.parametrize("apart", [0.0, BOARD, 0.02])
def test_two_that_stand_side_by_side_are_crossed_by_one(apart: float) -> None:
    """Face to face their slots are one; a board's thickness apart, what stands between the slots is as thick as a board."""
    x = 0.10 + BOARD + apart
    _, made, _ = cut(ACROSS % SOLID, ALONG % SOLID, NEXT % (x, x))
    assert not {"workshop.brace_meets", "workshop.outline"} & {item.code for item in made.findings}
    boards = [part for name, part in made.parts.items() if "brace" in name]
    assert [len(part.joinery.laps) for part in boards] == [2, 1, 1]
    assert boards[0].area_m2 == pytest.approx(0.17 * HIGH - 2 * BOARD * HIGH / 2, rel=1e-6)
