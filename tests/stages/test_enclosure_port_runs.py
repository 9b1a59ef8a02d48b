"""How ports lie in boxes: against every run of a fine grid, tried by comparing coordinates, and by hand where a hand can tell."""

from __future__ import annotations

from itertools import pairwise, product

import numpy as np
import pytest
from shapely import Polygon, box

from cabinwright.build.codec import parse
from cabinwright.stages import enclosure
from cabinwright.stages.enclosure.port_runs import Prism, Tube, lay

Box = tuple[np.ndarray, np.ndarray]
STEP = 0.015


def cuboid(*sides: tuple[float, float]) -> Box:
    return np.array([low for low, _ in sides]), np.array([high for _, high in sides])


def along(at: np.ndarray, axis: int, sign: float, far: float, back: float, side: float) -> Box:
    """A square tube that runs ``far`` on and ``back`` behind a point."""
    low, high = at - side / 2, at + side / 2
    ends = at[axis] - sign * back, at[axis] + sign * far
    low[axis], high[axis] = min(ends), max(ends)
    return low, high


def free(tube: Box, hollow: Box, blocks: list[Box]) -> bool:
    inside = bool((tube[0] >= hollow[0] - 2e-6).all() and (tube[1] <= hollow[1] + 2e-6).all())
    return inside and not any(bool((tube[0] < b[1] - 2e-6).all() and (tube[1] > b[0] + 2e-6).all()) for b in blocks)


def brute(length: float, side: float, mouth: float, start: np.ndarray, hollow: Box, blocks: list[Box]) -> int | None:
    """Fewest bends of any run on the grid, downwards from a top."""
    if free(along(start, 2, -1.0, length + mouth, 0.0, side), hollow, blocks):
        return 0
    half = side / 2
    twice = False
    for a in np.arange(half, length, STEP):
        if not free(along(start, 2, -1.0, a + half, 0.0, side), hollow, blocks):
            break
        head = start - [0.0, 0.0, a]
        for axis, sign in product((0, 1), (1.0, -1.0)):
            b = length - a
            if b >= half and free(along(head, axis, sign, b + mouth, half, side), hollow, blocks):
                return 1
            if twice:
                continue
            for b in np.arange(side, length - a, STEP):
                if not free(along(head, axis, sign, b + half, half, side), hollow, blocks):
                    break
                knee = head + sign * b * np.eye(3)[axis]
                c = length - a - b
                twice = twice or any(
                    c >= half and free(along(knee, third, to, c + mouth, half, side), hollow, blocks)
                    for third, to in product([item for item in range(3) if item != axis], (1.0, -1.0))
                )
    return 2 if twice else None


def legs_of(line: tuple[tuple[float, float, float], ...], side: float, mouth: float) -> list[Box]:
    points = [np.array(at) for at in line]
    found = []
    for k, (a, b) in enumerate(pairwise(points)):
        axis = int(np.argmax(np.abs(b - a)))
        sign = float(np.sign((b - a)[axis]))
        more = mouth if k == len(points) - 2 else side / 2
        found.append(along(a, axis, sign, abs(float((b - a)[axis])) + more, side / 2 if k else 0.0, side))
    return found


@pytest.mark.parametrize("plan", ["rectangle", "L"])
@pytest.mark.parametrize("seed", range(16))
def test_against_every_run_of_a_grid(seed: int, plan: str) -> None:
    """Square tubes in invented hollows with a block in them: what the grid finds is found, what is found is free."""
    rng = np.random.default_rng(seed)
    wide, deep, high = rng.uniform(0.2, 0.6, 3)
    side = float(rng.uniform(0.05, 0.1))
    hollow = cuboid((0, wide), (0, deep), (0, high))
    cut = cuboid((0.5 * wide, wide), (0.5 * deep, deep), (-1, 1))
    unit = cuboid((0.1 * wide, 0.4 * wide), (0.6 * deep, 0.9 * deep), (0.5 * high, high))
    blocks = [unit, *([cut] if plan == "L" else [])]
    corners = [(0, 0), (wide, 0), (wide, 0.5 * deep), (0.5 * wide, 0.5 * deep), (0.5 * wide, deep), (0, deep)]
    outline = Polygon(corners) if plan == "L" else box(0, 0, wide, deep)
    start = np.array([side / 2 + 0.002, side / 2 + 0.002, high])
    kinds = set()
    for length in np.linspace(0.1, 1.6, 16):
        run, longest = lay(
            float(length),
            start=(start[0], start[1], start[2]),
            axis=2,
            sign=-1.0,
            boards_m=0.0,
            tube=Tube((side, side, 0.0), False, side - 0.006),
            hollow=[Prism(outline, 0.0, high)],
            blocks=[Prism(box(*unit[0][:2], *unit[1][:2]), unit[0][2], unit[1][2])],
        )
        fewest = brute(float(length), side, side - 0.006, start, hollow, blocks)
        kinds.add(fewest)
        if run is None:
            assert fewest is None
            assert longest < length
            continue
        assert len(run.legs_m) - 1 <= (2 if fewest is None else fewest)
        assert sum(run.legs_m) == pytest.approx(length)
        assert all(free(leg, hollow, blocks) for leg in legs_of(run.line_m, side, side - 0.006))
    assert {0, 1, 2, None} <= kinds or len(kinds) >= 3


def shaped(port: str, shape: str, *, braces: str = "") -> tuple[list[dict[str, object] | None], set[str]]:
    text = f"""schema = 1
title = "invented"
[vehicle]
name = "invented"
driving_side = "left"
[[speaker_models]]
name = "invented"
fs_hz = 35.0
qes = 0.5
qms = 5.0
vas_m3 = 0.02
re_ohm = 3.4
sd_m2 = 0.022
cut_out_m = 0.18
depth_m = 0.09
[[boxes]]
name = "bay"
model = "invented"
kind = "vented"
volume_m3 = 0.03
port = {port}
[boxes.shape]
board_m = 0.02
stiff_above_hz = 10
{shape}
{braces}
"""
    result = enclosure.run(parse(text))
    assert result is not None
    codes = {item.code for item in result.findings}
    found = result.boxes["bay"].shape
    return ([] if found is None else found.to_dict()["port_runs"]), codes


ROOM = "size_m = [0.64, 0.44]\nheight_m = 0.34\nspeakers_at_m = [[0.2, 0.22]]\nport_at_m = [[0.55, 0.22]]"


def test_a_straight_one_by_hand() -> None:
    """0.30 m of air under a board of 0.02: a tube of 0.10 inside has 0.22 in all, with its own width free below."""
    runs, codes = shaped("{diameter_m = 0.1, length_m = 0.2199}", ROOM)
    assert [run["run"] for run in runs if run] == ["straight"]
    assert not {"enclosure.shape_port", "enclosure.shape_port_bends"} & codes
    _, codes = shaped("{diameter_m = 0.1, length_m = 0.2201}", ROOM)
    assert "enclosure.shape_port_bends" in codes


def test_one_bend_by_hand() -> None:
    """0.26 m is the longest straight run of a tube of 0.08; along the floor below the drive unit there is more."""
    runs, codes = shaped("{diameter_m = 0.08, length_m = 0.5}", ROOM)
    assert [run["run"] for run in runs if run] == ["one bend"]
    assert "enclosure.shape_port" not in codes
    leg = runs[0]["legs_m"] if runs[0] else []
    assert isinstance(leg, list) and sum(leg) == pytest.approx(0.5)


def test_a_port_that_lies_nowhere_is_named_with_its_cure() -> None:
    runs, codes = shaped("{diameter_m = 0.1, length_m = 3.0}", ROOM)
    assert "enclosure.shape_port" in codes
    assert runs in ([], [None])


def test_a_brace_in_the_way_is_kept_off() -> None:
    """A brace right across, between port and drive unit: it bars the long way."""
    port = "{diameter_m = 0.08, length_m = 0.62}"
    _, open_ = shaped(port, ROOM)
    _, barred = shaped(port, ROOM, braces="braces = [{from_m = [0.45, 0.02], to_m = [0.45, 0.42]}]")
    assert "enclosure.shape_port" not in open_
    assert "enclosure.shape_port" in barred


def test_a_port_in_a_wall_goes_inwards() -> None:
    shape = (
        "size_m = [0.5, 0.64]\nheight_m = 0.34\nbaffle = 1\nspeakers_at_m = [[0.15, 0.17]]\nport_at_m = [[0.4, 0.17]]"
    )
    runs, _ = shaped("{diameter_m = 0.06, length_m = 0.5}", shape)
    assert [run["run"] for run in runs if run] == ["straight"]
    line = runs[0]["line_m"] if runs[0] else None
    assert isinstance(line, list)
    assert line[0] == pytest.approx([0.4, 0.0, 0.17])
    assert line[1] == pytest.approx([0.4, 0.5, 0.17])


def test_two_ports_keep_off_one_another() -> None:
    shape = ROOM.replace("port_at_m = [[0.55, 0.22]]", "port_at_m = [[0.55, 0.12], [0.55, 0.32]]")
    runs, codes = shaped("{diameter_m = 0.08, count = 2, length_m = 0.4}", shape)
    assert "enclosure.shape_port" not in codes
    assert len([run for run in runs if run]) == 2
