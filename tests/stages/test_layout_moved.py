"""What a move did: told part by part, so that the parts add up; and what a hand does to a place, against plain geometry."""

from __future__ import annotations

import re
from collections.abc import Sequence
from math import cos, dist, radians, sin

import pytest

from cabinwright.build.codec import parse
from cabinwright.build.document import Build
from cabinwright.stages import layout
from cabinwright.stages.layout.by_hand import aim_through, dropped, stepped, turned
from cabinwright.stages.layout.moved import moved
from cabinwright.stages.layout.result import LayoutResult

WALLS = {
    "floor": "[[0, -0.7, 0], [3, -0.7, 0], [3, 0.7, 0], [0, 0.7, 0]]",
    "window": "[[0, -0.7, 0], [3, -0.7, 0], [3, -0.7, 1.2], [0, -0.7, 1.2]]",
}
CABIN = "[cabin]\n" + "".join(
    f'[[cabin.surfaces]]\nname = "{name}"\nmaterial = "glass"\ncorners_m = {corners}\n'
    for name, corners in WALLS.items()
)
BAG = """[[cabin.keep_outs]]
name = "bag"
kind = "airbag path"
corners_m = [[0.8, -0.5, 0.9], [0.9, -0.5, 0.9], [0.8, -0.4, 0.9], [0.8, -0.5, 1.0]]
"""


def build(at: Sequence[float] = (0.6, -0.6, 0.9), aim: str = "[0, 1, 0]") -> Build:
    place = f'[[places]]\nname = "pod"\nrole = "tweeter"\nside = "left"\nposition_m = {list(at)}\naim = {aim}\n'
    head = '[vehicle]\nname = "box"\ndriving_side = "right"\n[[seats]]\nname = "driver"\nhead_m = [1.3, 0.35, 1.0]\n'
    return parse(f'schema = 1\ntitle = "t"\n[layout]\ndraws = 0\n{head}{CABIN}{BAG}{place}')


def heard(*args: object, **spots: object) -> LayoutResult:
    result = layout.run(build(*args, **spots))  # type: ignore[arg-type]
    assert result is not None
    return result


@pytest.mark.parametrize("spots", [{"aim": '"driver"'}, {"at": (0.6, -0.5, 0.9)}, {"at": (0.6, -0.69, 0.5)}])
def test_parts_add_up_to_the_change_of_the_comparing_figure(spots: dict[str, object]) -> None:
    before, after = heard(), heard(**spots)
    did = moved(before, after, "pod")
    change = after.places["pod"].seats["driver"].sound_db - before.places["pod"].seats["driver"].sound_db
    told = [float(part.replace("−", "-")) for part in re.findall(r"([+−]\d+\.\d) dB", did.words)]
    assert sum(told) == pytest.approx(change, abs=0.05 * 3 + 0.05)  # three parts, each rounded to a tenth
    assert did.verdict == ("same" if abs(change) < 0.3 else "better" if change > 0.0 else "worse")
    names = [item.name for item in did.figures]
    assert names[0].startswith("Sound") and "Reflections against direct" in names and "Arrival at the head" in names
    if "aim" in spots:  # a direct hit on the head loses nothing off axis, and is told as the reason
        assert did.verdict == "better" and "nearer its axis" in did.words


def test_a_move_into_an_airbags_way_is_no_gain_whatever_it_sounds_like() -> None:
    before, after = heard(), heard(at=(0.83, -0.47, 0.93), aim='"driver"')
    did = moved(before, after, "pod")
    assert did.verdict == "barred" and [item.code for item in did.gained if item.severity == "stop"]
    back = moved(after, before, "pod")
    assert back.verdict != "barred" and any(item.severity == "stop" for item in back.lost)


def test_nothing_moved_is_the_same() -> None:
    result = heard()
    did = moved(result, result, "pod")
    assert did.verdict == "same" and not did.gained and not did.lost
    assert all(item.better is None and item.before == item.after for item in did.figures)


def test_a_hand_cannot_move_along_its_own_view() -> None:
    assert dropped((0.1234, 0.2, 0.3), (0.4567, 0.5, 0.6), fixed=2) == [0.457, 0.5, 0.3]
    assert dropped((0.1, 0.2, 0.3), (0.4567, 0.5, 0.6), fixed=None) == [0.457, 0.5, 0.6]
    assert stepped((0.64, -0.64, 0.97), axis=1, step_m=0.01) == [0.64, -0.63, 0.97]


def test_aims_and_turns_against_plain_geometry() -> None:
    assert aim_through((0, 0, 0), (3, 4, 0), aim=(0, 0, 1), fixed=None) == [0.6, 0.8, 0.0]
    kept = aim_through((0, 0, 0), (3, 4, 9), aim=(0.8, 0.0, 0.6), fixed=2)
    assert kept == [0.48, 0.64, 0.6] and dist(kept, (0, 0, 0)) == pytest.approx(1.0, abs=1e-4)
    assert aim_through((0, 0, 0), (0, 0.001, 0), aim=(1, 0, 0), fixed=None) == [1.0, 0.0, 0.0]  # too near to tell
    assert turned((1.0, 0.0, 0.0), sideways_deg=30.0) == [round(cos(radians(30)), 4), round(sin(radians(30)), 4), 0.0]
    assert turned((1.0, 0.0, 0.0), up_deg=30.0) == [round(cos(radians(30)), 4), 0.0, round(sin(radians(30)), 4)]
    assert turned((0.0, 0.0, 1.0), up_deg=5.0) == [0.0, 0.0, 1.0]
