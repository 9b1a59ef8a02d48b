"""Places, aims and heads that cannot be meant, beyond those outside the cabin: each named, with its figure."""

from __future__ import annotations

import pytest

from cabinwright.findings import Finding
from cabinwright.stages.layout import run
from stages.cabin_build import HALF_M, PLACES, cabin_build, shell, surface

FAST = "[layout]\ndraws = 0\n"


def _found(places: str = PLACES, surfaces: str | None = None) -> dict[str, list[Finding]]:
    got = run(cabin_build(places=places, surfaces=surfaces, extra=FAST))
    assert got is not None
    out: dict[str, list[Finding]] = {}
    for item in got.findings:
        out.setdefault(item.code, []).append(item)
    return out


def _door(aim: str, y: float) -> str:
    places = PLACES.replace("[0.8, -0.7, 0.3]", f"[0.8, {y}, 0.3]")
    assert places != PLACES
    return places.replace("aim = [0.0, 1.0, 0.0]", f"aim = {aim}")


def test_aimed_out_through_its_own_door() -> None:
    """Flush in the left side: to the right is into the cabin, to the left out of it."""
    assert "layout.aim_into_surface" not in _found(_door("[0.0, 1.0, 0.0]", -HALF_M))
    (item,) = _found(_door("[0.0, -1.0, 0.1]", -HALF_M))["layout.aim_into_surface"]
    assert item.where == "left door" and "left side" in item.message


def test_aimed_into_the_panel_it_stands_on() -> None:
    """The panel's normal is stated; 90 degrees from it is along the panel, more is into it."""
    pod = "normal = [1.0, 0.9, 0.0]\nradius_m = 0.035"
    along, into = (
        _found(PLACES.replace('aim = "driver"\naim_limit_deg = 25\n' + pod, f"aim = {aim}\n" + pod))
        for aim in ("[0.9, -1.0, 0.0]", "[-1.0, -0.9, 0.3]")
    )
    assert "layout.aim_into_panel" not in along
    (item,) = into["layout.aim_into_panel"]
    assert item.where == "left pillar" and item.value == pytest.approx(167.0, abs=1.0)


def test_aimed_beyond_its_limit() -> None:
    """The driver lies 17.6 degrees from the stated normal, by the dot product of [0.58, 0.98, 0.05] and [1, 0.9, 0]."""
    assert "layout.aim_beyond" not in _found(PLACES.replace("aim_limit_deg = 25", "aim_limit_deg = 18"))
    (item,) = _found(PLACES.replace("aim_limit_deg = 25", "aim_limit_deg = 15"))["layout.aim_beyond"]
    assert (item.value, item.limit) == (18, 15)


def test_facing_away_from_the_head() -> None:
    (item,) = _found(PLACES.replace("aim = [1.0, 0.4, 0.6]", "aim = [-1.0, 0.0, 0.0]"))["layout.faces_away"]
    assert item.where == "left dash corner" and "driver" in item.message


def test_a_place_inside_a_head() -> None:
    (item,) = _found(PLACES.replace("[0.72, -0.62, 0.9]", "[1.3, 0.40, 0.95]"))["layout.place_in_head"]
    assert (item.where, item.value) == ("left pillar", 4.0)


def test_a_head_that_nothing_sees() -> None:
    """A seat back without a bottom, standing on the floor around the driver's head: no shell by itself."""
    corners = {"front": 1.1, "back": 1.5}
    sides = {"inner": 0.1, "outer": 0.6}
    walls = "".join(
        surface(f"seat {name}", [(x, 0.1, 0.0), (x, 0.6, 0.0), (x, 0.6, 1.1), (x, 0.1, 1.1)])
        for name, x in corners.items()
    ) + "".join(
        surface(f"seat {name}", [(1.1, y, 0.0), (1.5, y, 0.0), (1.5, y, 1.1), (1.1, y, 1.1)])
        for name, y in sides.items()
    )
    top = surface("seat top", [(1.1, 0.1, 1.1), (1.5, 0.1, 1.1), (1.5, 0.6, 1.1), (1.1, 0.6, 1.1)])
    (item,) = _found(surfaces=shell(seat_back=False) + walls + top)["layout.head_enclosed"]
    assert (item.where, item.value) == ("driver", 6)
    assert "layout.head_enclosed" not in _found()


def test_what_is_taken_for_granted_is_said_once() -> None:
    """Subwoofers have no radius here; the dash corner loses its aim and its radius."""
    (radius,) = _found()["layout.radius_assumed"]
    assert radius.where == "spare wheel bay, seat base, tail side" and radius.severity == "note"
    less = PLACES.replace("aim = [1.0, 0.4, 0.6]\nradius_m = 0.035\n", "")
    found = _found(less)
    assert [item.where for item in found["layout.aim_assumed"]] == ["left dash corner"]
    assert found["layout.radius_assumed"][0].where.startswith("left dash corner, ")
    assert "layout.aim_assumed" not in _found()


def test_a_windscreen_alone_is_no_cabin() -> None:
    """Nothing lies outside one pane, and nothing is too short."""
    pane = surface(
        "windscreen", [(0.95, -0.7, 1.18), (0.95, 0.7, 1.18), (0.42, 0.7, 0.74), (0.42, -0.7, 0.74)], "glass"
    )
    found = _found(surfaces=pane)
    assert "layout.shell_open" in found
    assert not {"layout.head_outside", "layout.place_outside", "layout.size_unlikely"} & found.keys()
