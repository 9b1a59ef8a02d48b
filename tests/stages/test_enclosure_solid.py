"""The solid of a box and its air, against sums by hand, trimesh's own solids, and points thrown at them.

The points are judged by inequalities written here; none of the code under test decides what is wood and what is air.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib.util import find_spec
from io import BytesIO
from itertools import pairwise
from math import pi

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from shapely import Point

from cabinwright.drawings.step import box_step
from cabinwright.drawings.stl import stl_bytes
from cabinwright.physics.solid import Mesh, section
from cabinwright.stages.enclosure.shape_result import ShapeResult
from stages.boxed import unsearched
from stages.test_enclosure_shape import BOX, solved

pytestmark = pytest.mark.usefixtures(unsearched.__name__)

Points = NDArray[np.float64]
STATED = BOX.replace("sealed", "vented")
VENTED = STATED + "tuning_hz = 45\n"
PLAIN = "size_m = [0.5, 0.4]\nheight_m = 0.3\nboard_m = 0.018\n"
LOW, HIGH = 0.018, 0.282  # of its air
ROOM = (0.464, 0.364, 0.264)


def shaped(text: str, *, kind: str = BOX) -> ShapeResult:
    found, findings = solved(text, kind=kind)
    assert found is not None and found.shape is not None, findings
    assert found.net_volume_m3 == pytest.approx(found.shape.net_volume_m3, rel=1e-5)
    return found.shape


def block(low: tuple[float, ...], high: tuple[float, ...], turn_deg: float = 0.0) -> trimesh.Trimesh:
    """A brick between two corners, turned about the upright through its middle."""
    made = trimesh.creation.box(extents=np.subtract(high, low))
    made.apply_transform(trimesh.transformations.rotation_matrix(np.radians(turn_deg), [0, 0, 1]))
    made.apply_translation(np.add(low, high) / 2.0)
    return made


def thrown(air: Callable[[Points], NDArray[np.bool_]], low: Points, high: Points, count: int) -> tuple[float, float]:
    """Volume that the inequality holds in, and its standard error, by a seeded Sobol points."""
    from scipy.stats import qmc

    points = qmc.scale(qmc.Sobol(3, seed=7).random(count), low, high)
    share = float(air(points).mean())
    room = float(np.prod(high - low))
    return share * room, room * (share * (1 - share) / count) ** 0.5


def closed(mesh: Mesh) -> trimesh.Trimesh:
    """As a file would be read: 32-bit millimetres, corners merged."""
    read = trimesh.load(BytesIO(stl_bytes(mesh, title="x")), file_type="stl")
    assert read.is_watertight and read.is_winding_consistent
    assert read.volume == pytest.approx(1e9 * mesh.volume_m3, rel=1e-5)
    return read


def test_crossing_braces_count_what_they_share_once() -> None:
    braces = (
        "braces = [{from_m = [0.018, 0.1], to_m = [0.482, 0.1], open_share = 0.0},"
        "{from_m = [0.07, 0.018], to_m = [0.07, 0.382], open_share = 0.0, board_m = 0.012}]\nspeakers_at_m = [[0.3, 0.25]]"
    )
    shape = shaped(PLAIN + braces)
    taken = (ROOM[0] * 0.018 + ROOM[1] * 0.012 - 0.018 * 0.012) * ROOM[2]
    assert shape.displaced_m3["braces"] == pytest.approx(taken, rel=3e-8)
    assert shape.net_volume_m3 == pytest.approx(np.prod(ROOM) - taken - 0.001, rel=3e-8)
    twice = taken + 0.018 * 0.012 * ROOM[2]
    assert shape.displaced_m3["braces"] != pytest.approx(twice, rel=1e-3)
    whole = trimesh.boolean.union(
        [block((0.018, 0.091, LOW), (0.482, 0.109, HIGH)), block((0.064, 0.018, LOW), (0.076, 0.382, HIGH))]
    )
    assert shape.displaced_m3["braces"] == pytest.approx(whole.volume, rel=1e-6)
    assert closed(shape.air).body_count == 4
    assert closed(shape.mesh).volume / 1e9 == pytest.approx(
        0.5 * 0.4 * 0.3 - np.prod(ROOM) + taken - 0.018 * pi * 0.09**2, rel=1e-4
    )


def test_windows_leave_the_share_that_was_said() -> None:
    shape = shaped(
        PLAIN
        + "braces = [{from_m = [0.09, 0.018], to_m = [0.09, 0.382], open_share = 0.4}]\nspeakers_at_m = [[0.3, 0.2]]"
    )
    assert shape.displaced_m3["braces"] == pytest.approx(0.6 * 0.364 * 0.264 * 0.018, rel=3e-8)
    assert closed(shape.air).body_count == 1


def test_a_brace_across_a_slanted_wall() -> None:
    """Outline with a slanted side; the brace's square end stands in the wall on one side and short of it on the other."""
    text = (
        "outline = [[0, 0], [0.6, 0], [0.6, 0.2], [0.4, 0.4], [0, 0.4]]\nheight_m = 0.3\nboard_m = 0.018\n"
        "braces = [{from_m = [0.1, 0.018], to_m = [0.487272, 0.287272], open_share = 0.0, board_m = 0.024}]\n"
        "speakers_at_m = [[0.2, 0.28]]"
    )
    shape = shaped(text)
    a, b = np.array([0.1, 0.018]), np.array([0.487272, 0.287272])
    way = (b - a) / np.linalg.norm(b - a)

    def air(points: Points) -> NDArray[np.bool_]:
        x, y, z = points.T
        room = (x > 0.018) & (x < 0.582) & (y > 0.018) & (y < 0.382) & (z > LOW) & (z < HIGH)
        room &= (x + y) < 0.8 - 0.018 * 2**0.5
        along, across = (points[:, :2] - a) @ way, (points[:, :2] - a) @ np.array([-way[1], way[0]])
        return room & ~((along > 0) & (along < np.linalg.norm(b - a)) & (np.abs(across) < 0.012))

    volume, error = thrown(air, np.zeros(3), np.array([0.6, 0.4, 0.3]), 2**19)
    assert shape.net_volume_m3 + 0.001 == pytest.approx(volume, abs=3 * error)
    full = float(np.linalg.norm(b - a)) * 0.024 * 0.264
    assert 1e-6 < full - shape.displaced_m3["braces"] < 0.012 * 0.024 * 0.264  # a corner of it lies in the wall
    assert closed(shape.mesh).volume / 1e9 == pytest.approx(shape.material_volume_m3, rel=1e-4)
    closed(shape.air)


def test_posts_braces_and_tube_in_one_box() -> None:
    """Everything at once: a post within a brace, one that a brace runs into, a tube; points thrown at the air."""
    text = (
        "size_m = [0.7, 0.5]\nheight_m = 0.36\nboard_m = 0.018\nspeakers_at_m = [[0.5, 0.25]]\nport_at_m = [[0.12, 0.12]]\n"
        "braces = [{from_m = [0.3, 0.018], to_m = [0.3, 0.482], open_share = 0.0},"
        "{from_m = [0.22, 0.05], to_m = [0.22, 0.39], open_share = 0.0}]\n"
        "posts = [{at_m = [0.3, 0.3], diameter_m = 0.05}, {at_m = [0.2, 0.4], diameter_m = 0.03}]"
    )
    found, _ = solved(text, kind=STATED + "port = {diameter_m = 0.07, length_m = 0.2}\n")
    assert found is not None and found.shape is not None and found.port is not None
    shape, length = found.shape, found.port.length_m
    assert shape.port_drawn and length < 0.3 and not shape.stopped

    def air(points: Points) -> NDArray[np.bool_]:
        x, y, z = points.T
        gone = np.abs(x - 0.3) < 0.009
        gone |= (np.abs(x - 0.22) < 0.009) & (y > 0.05) & (y < 0.39)
        gone |= (x - 0.3) ** 2 + (y - 0.3) ** 2 < 0.025**2
        gone |= (x - 0.2) ** 2 + (y - 0.4) ** 2 < 0.015**2
        gone |= ((x - 0.12) ** 2 + (y - 0.12) ** 2 < 0.038**2) & (z > 0.36 - length)
        return ~gone

    low, high = np.full(3, 0.018), np.array([0.682, 0.482, 0.342])
    volume, error = thrown(air, low, high, 2**19)
    assert shape.net_volume_m3 + 0.001 == pytest.approx(volume, abs=3 * error)
    assert error < 1e-4
    assert shape.air.volume_m3 == pytest.approx(shape.net_volume_m3 + 0.001, rel=1e-6)
    closed(shape.air)
    closed(shape.mesh)
    # the tube is open from outside to inside, and has a wall of 3 mm
    deep = 0.342 - 0.5 * (length - 0.018)
    places = [(0.12, 0.12, 0.35), (0.12, 0.12, deep), (0.1565, 0.12, deep), (0.3, 0.1, 0.2)]
    wooden = [section(shape.mesh, z).contains(Point(x, y)) for x, y, z in places]
    assert wooden == [False, False, True, True]


@pytest.mark.parametrize("baffle", ['"top"', '"bottom"', "1", "2"])
def test_slots_stand_behind_any_baffle(baffle: str) -> None:
    places = {"1": ([[0.35, 0.2]], [[0.1, 0.2]]), "2": ([[0.3, 0.2]], [[0.1, 0.2]])}
    speakers, ports = places.get(baffle, ([[0.35, 0.25]], [[0.1, 0.25]]))
    text = f"size_m = [0.6, 0.5]\nheight_m = 0.4\nboard_m = 0.018\nbaffle = {baffle}\n"
    text += f"speakers_at_m = {speakers}\nport_at_m = {ports}"
    kind = STATED + "port = {width_m = 0.03, height_m = 0.09, length_m = 0.2}\n"
    found, findings = solved(text, kind=kind)
    assert found is not None and found.shape is not None and found.port is not None
    shape, length = found.shape, found.port.length_m
    assert not shape.stopped and shape.port_drawn, findings
    assert shape.displaced_m3["port"] == pytest.approx(0.036 * 0.096 * (length - 0.018), rel=1e-6)
    wood = 0.6 * 0.5 * 0.4 - 0.564 * 0.464 * 0.364 - 0.018 * (0.036 * 0.096 + pi * 0.09**2)
    assert shape.material_volume_m3 == pytest.approx(wood, rel=3e-8)
    walls = (0.036 * 0.096 - 0.03 * 0.09) * length
    assert closed(shape.mesh).volume / 1e9 == pytest.approx(wood + walls, rel=1e-5)
    assert closed(shape.air).volume / 1e9 == pytest.approx(shape.net_volume_m3 + 0.001, rel=1e-5)


BENT = {
    "one bend": ("{diameter_m = 0.07, length_m = 0.62, bends = 1}", 1, 0.0),
    "two bends": ("{diameter_m = 0.06, length_m = 0.95, bends = 2}", 2, 0.0),
    "a slot": ("{width_m = 0.09, height_m = 0.03, length_m = 0.62, bends = 1}", 1, 0.0),
    "flares": ("{diameter_m = 0.06, length_m = 0.2, flare_radius_m = 0.02}", 0, 0.02),
    "a flared slot": ("{width_m = 0.09, height_m = 0.03, length_m = 0.2, flare_radius_m = 0.012}", 0, 0.012),
    "flares and a bend": ("{diameter_m = 0.06, length_m = 0.62, flare_radius_m = 0.02, bends = 1}", 1, 0.02),
}


@pytest.mark.parametrize("case", BENT)
def test_ports_that_bend_and_flare(case: str) -> None:
    """Points thrown at tube and bore, judged by each leg's axis and by which knee is nearer; by hand; by the CAD kernel."""
    port, bends, rim = BENT[case]
    text = "size_m = [0.62, 0.42]\nheight_m = 0.4\nboard_m = 0.018\nspeakers_at_m = [[0.2, 0.21]]\nport_at_m = [[0.5, 0.21]]"
    found, findings = solved(text, kind=STATED + f"port = {port}\n")
    assert found is not None and found.shape is not None and found.port is not None and not found.shape.stopped, (
        findings
    )
    shape, length, wall, board = found.shape, found.port.length_m, 0.003, 0.018
    (run,) = shape.port_runs
    assert shape.port_drawn and run is not None and len(run.legs_m) == bends + 1
    line = np.array(run.line_m)
    half = np.array([found.port.diameter_m or found.port.width_m or 0.0, found.port.height_m or 0.0]) / 2.0

    def within(points: Points, more: float) -> NDArray[np.bool_]:
        """Inside the outline grown by ``more``: the leg it belongs to is the one between its two mitres."""
        inside = np.zeros(len(points), dtype=bool)
        axes = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
        before = 0.0
        for k, (a, b) in enumerate(pairwise(line)):
            way = (b - a) / np.linalg.norm(b - a)
            off, far = points - a, (points - a) @ way
            here = np.ones(len(points), dtype=bool)
            if k:
                here &= off @ (way + (a - line[k - 1]) / np.linalg.norm(a - line[k - 1])) >= 0.0
            if k + 2 < len(line):
                after = (line[k + 2] - b) / np.linalg.norm(line[k + 2] - b)
                here &= (points - b) @ (way + after) <= 0.0
            rims = np.minimum(before + far, length - before - far)  # from the nearer mouth
            here &= rims >= 0.0
            turn = np.clip(rim - rims, 0.0, None)
            wide = more + rim - np.sqrt(rim**2 - np.minimum(turn, rim) ** 2)
            side = off - far[:, None] * way
            if half[1]:
                here &= (np.abs(side @ axes[0]) < half[0] + wide) & (np.abs(side @ axes[1]) < half[1] + wide)
            else:
                here &= np.linalg.norm(side, axis=1) < half[0] + wide
            inside |= here
            before += float(np.linalg.norm(b - a))
            if k + 2 < len(line):
                for axis in axes:  # the outline turns with the bend
                    if abs(axis @ after) > 0.5:
                        axis[:] = way
        return inside

    reach = float(half.max()) + rim + wall + 1e-3
    low, high = line.min(axis=0) - reach, line.max(axis=0) + reach
    high[2] = 0.4 - board
    tube, error = thrown(lambda points: within(points, wall), low, high, 2**18)
    assert shape.displaced_m3["port"] == pytest.approx(tube, abs=4 * error)
    assert error < 7e-3 * tube
    assert shape.air.volume_m3 == pytest.approx(shape.net_volume_m3 + 0.001, rel=1e-5)
    high[2] = 0.4
    ringed, error = thrown(lambda points: within(points, wall) & ~within(points, 0.0) & (points[:, 2] < 0.4 - board),
                           low, high, 2**18)  # fmt: skip
    low[2] = 0.4 - board
    opened, more = thrown(lambda points: within(points, 0.0), low, high, 2**17)
    wood = 0.62 * 0.42 * 0.4 - 0.584 * 0.384 * 0.364 - board * pi * 0.09**2
    assert shape.mesh.volume_m3 == pytest.approx(wood + ringed - opened, abs=4 * (error + more))
    assert shape.mesh.volume_m3 == pytest.approx(wood + ringed - opened, rel=1e-3)
    closed(shape.air)
    closed(shape.mesh)
    if find_spec("OCP") and case == "two bends":
        assert box_step(shape.recipe, title="x", volume_m3=shape.mesh.volume_m3).startswith(b"ISO-10303-21")


@settings(max_examples=12, deadline=None)
@given(
    x=st.floats(0.05, 0.45), y=st.floats(0.05, 0.35), turn=st.floats(0.0, 180.0), half=st.floats(0.03, 0.25),
    other=st.floats(0.0, 180.0), post=st.floats(0.01, 0.06),
)  # fmt: skip
def test_any_two_braces_against_trimesh(
    x: float, y: float, turn: float, half: float, other: float, post: float
) -> None:
    """Two solid braces about one middle, clipped by the room, and a post on it: trimesh's bricks and its own boolean."""
    rows, parts = [], []
    for angle, reach in ((turn, half), (other, 0.7 * half)):
        end = reach * np.array([np.cos(np.radians(angle)), np.sin(np.radians(angle))])
        a, b = np.array([x, y]) - end, np.array([x, y]) + end
        rows.append(f"{{from_m = {[float(v) for v in a]}, to_m = {[float(v) for v in b]}, open_share = 0.0}}")
        parts.append(block((x - reach, y - 0.009, LOW), (x + reach, y + 0.009, HIGH), angle))
    text = f"braces = [{', '.join(rows)}]\nposts = [{{at_m = [{x}, {y}], diameter_m = {post}}}]"
    shape = shaped(PLAIN + text)
    round_ = trimesh.creation.cylinder(radius=post / 2, height=0.264, sections=512)
    round_.apply_translation([x, y, (LOW + HIGH) / 2])
    room = block((0.018, 0.018, LOW), (0.482, 0.382, HIGH))
    left = trimesh.boolean.difference([room, trimesh.boolean.union([*parts, round_])])
    assert shape.net_volume_m3 + 0.001 == pytest.approx(left.volume, abs=2e-7)
    assert shape.air.volume_m3 == pytest.approx(left.volume, rel=1e-5)
    closed(shape.air)
    closed(shape.mesh)
