"""What a seat hears of a place, worked out by hand: paths by a plain search, levels by spreading, absorption and a piston.

Nothing of the code's own physics is used for the expected values: images mirror the source (the code mirrors heads),
SciPy integrates the piston over each octave, absorption comes from the table's file.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterable
from importlib.resources import files
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import quad
from scipy.special import j1

from cabinwright.build.document import Build
from cabinwright.handover.json_text import json_text, plain
from cabinwright.stages.layout import LayoutResult, Study, run
from physics.polyhedra import plain_chains
from stages.cabin_build import PLACES, cabin_build, shell, surface

Real = NDArray[np.float64]
SPEECH_HZ = (500.0, 1000.0, 2000.0, 4000.0)
DIGITS = 1e-5  #: plan.json holds six digits
FRONT = ("left pillar", "right pillar", "left dash corner", "left door")
HIDDEN = """
[[places]]
name = "behind the seat"
role = "coaxial"
side = "right"
position_m = [1.95, 0.36, 0.45]
aim = [-1.0, 0.0, 0.2]
radius_m = 0.06
"""


@pytest.fixture(scope="module")
def build() -> Build:
    return cabin_build(places=PLACES + HIDDEN, extra="[layout]\ndraws = 40\n")


@pytest.fixture(scope="module")
def result(build: Build) -> LayoutResult:
    found = run(build)
    assert found is not None
    return found


@pytest.fixture(scope="module")
def plan(result: LayoutResult) -> dict[str, Any]:
    """As it stands in plan.json."""
    got = json.loads(json_text(plain(result.to_dict())))
    assert isinstance(got, dict)
    return got


def _absorption(material: str) -> dict[float, float]:
    text = files("cabinwright.tables").joinpath("absorption.csv").read_text("utf-8")
    (row,) = [row for row in csv.DictReader(text.splitlines()) if row["material"] == material]
    return {band: float(row[f"{band:.0f}"]) for band in SPEECH_HZ}


def _piston_db(angle_rad: float, radius_m: float, band_hz: float, speed_m_s: float) -> float:
    """Mean power over the octave; behind the piston as beside it."""
    sine = np.sin(min(angle_rad, 0.5 * np.pi))

    def power(octave: float) -> float:
        x = 2.0 * np.pi * band_hz * 2.0**octave / speed_m_s * radius_m * sine
        return float((2.0 * j1(x) / x) ** 2) if x > 1e-9 else 1.0

    mean, _ = quad(power, -0.5, 0.5, limit=200)
    return float(10.0 * np.log10(mean))


def _angle(a: Real, b: Real) -> float:
    return float(np.arccos(np.clip(a @ b / np.linalg.norm(a) / np.linalg.norm(b), -1.0, 1.0)))


def _by_hand(build: Build, place: str, seat: str, speed: float) -> list[dict[str, Any]]:
    """Every reflection to order 3 as the contract words it."""
    item = next(row for row in build.places if row.name == place)
    head = np.asarray(next(row.head_m for row in build.seats if row.name == seat))
    at, aim = np.asarray(item.position_m), item.aim
    ahead = (
        np.asarray(next(row.head_m for row in build.seats if row.name == aim)) - at
        if isinstance(aim, str)
        else np.asarray(aim)
    )
    assert build.cabin is not None and item.radius_m is not None
    walls = build.cabin.surfaces
    straight = float(np.linalg.norm(head - at))
    direct = [_piston_db(_angle(ahead, head - at), item.radius_m, band, speed) for band in SPEECH_HZ]
    out = []
    for way, chain in plain_chains([np.asarray(wall.corners_m) for wall in walls], at, head, 3).items():
        length = sum(float(np.linalg.norm(b - a)) for a, b in zip(chain[1:], chain[:-1], strict=True))
        levels = []
        for band, straight_on in zip(SPEECH_HZ, direct, strict=True):
            level = 20.0 * np.log10(straight / length) - straight_on
            level += sum(10.0 * np.log10(1.0 - _absorption(walls[k].material)[band]) for k in way)
            levels.append(level + _piston_db(_angle(ahead, chain[1] - at), item.radius_m, band, speed))
        x, y, z = (chain[-2] - head) / np.linalg.norm(chain[-2] - head)
        out.append(
            {
                "surfaces": [walls[k].name for k in way],
                "order": len(way),
                "delay_s": (length - straight) / speed,
                "level_db": float(np.mean(levels)),
                "azimuth_deg": float(np.degrees(np.arctan2(y, -x))),
                "elevation_deg": float(np.degrees(np.arcsin(z))),
                "behind": _angle(ahead, chain[1] - at) > 0.5 * np.pi,
            }
        )
    return out


@pytest.mark.parametrize("seat", ["driver", "passenger"])
@pytest.mark.parametrize("place", [*FRONT, "behind the seat"])
def test_every_reflection_by_hand(build: Build, plan: dict[str, Any], place: str, seat: str) -> None:
    got = plan["places"][place]["seats"][seat]["reflections"]
    expected = _by_hand(build, place, seat, plan["speed_of_sound_m_s"])
    by_way = {tuple(row["surfaces"]): row for row in got}
    assert len(by_way) == len(got) == len(expected) > 20
    for row in expected:
        mine = by_way[tuple(row["surfaces"])]
        assert mine["order"] == row["order"] <= 3
        assert mine["delay_s"] == pytest.approx(row["delay_s"], rel=DIGITS)
        assert mine["level_db"] == pytest.approx(row["level_db"], abs=0.35)  # octaves: nine lines for an integral
        assert mine["azimuth_deg"] == pytest.approx(row["azimuth_deg"], rel=DIGITS)
        assert mine["elevation_deg"] == pytest.approx(row["elevation_deg"], rel=DIGITS)
    assert [row["delay_s"] for row in got] == sorted(row["delay_s"] for row in got)
    assert any(row["behind"] for row in expected) or place != "left door"


def test_the_hand_calculation_can_fail(build: Build, plan: dict[str, Any]) -> None:
    """Half a decibel of level, or the mean left at one band, would be noticed."""
    got = {tuple(row["surfaces"]): row for row in plan["places"]["left door"]["seats"]["driver"]["reflections"]}
    expected = _by_hand(build, "left door", "driver", plan["speed_of_sound_m_s"])
    off = [got[tuple(row["surfaces"])]["level_db"] - row["level_db"] for row in expected]
    assert np.abs(off).mean() < 0.05
    one_band = [got[tuple(row["surfaces"])]["bands_db"][2] - row["level_db"] for row in expected]
    assert np.abs(one_band).max() > 0.7


def test_keys_of_the_contract(plan: dict[str, Any]) -> None:
    assert {"places", "pairs", "low_frequency", "ranking", "speed_of_sound_m_s", "bands_hz", "findings"} <= plan.keys()
    seat = plan["places"]["left pillar"]["seats"]["driver"]
    assert {"distance_m", "off_axis_deg", "occluded", "reflections"} <= seat.keys()
    wanted = {"surfaces", "order", "delay_s", "level_db", "bands_db", "azimuth_deg", "elevation_deg"}
    for place in plan["places"].values():
        for heard in place["seats"].values():
            for row in heard["reflections"]:
                assert wanted <= row.keys() and len(row["bands_db"]) == len(plan["bands_hz"])
                speech = [level for f, level in zip(plan["bands_hz"], row["bands_db"], strict=True) if f in SPEECH_HZ]
                assert row["level_db"] == pytest.approx(np.mean(speech), abs=1e-4)
    assert {"role", "places", "first_share", "reasons"} <= plan["ranking"][0].keys()
    modes = plan["low_frequency"]["modes_hz"]
    assert modes == sorted(modes) and modes[0] > 20.0 and len(modes) > 5


def test_direct_sound(plan: dict[str, Any]) -> None:
    """The straight line and the angle from the stated aim; a seat's name as the aim is on axis there."""
    pillar = plan["places"]["left pillar"]["seats"]
    assert pillar["driver"]["distance_m"] == pytest.approx(np.linalg.norm([0.58, 0.98, 0.05]), rel=DIGITS)
    assert pillar["driver"]["off_axis_deg"] == pytest.approx(0.0, abs=1e-4)
    to_passenger = _angle(np.array([0.58, 0.26, 0.05]), np.array([0.58, 0.98, 0.05]))
    assert pillar["passenger"]["off_axis_deg"] == pytest.approx(np.degrees(to_passenger), rel=DIGITS)
    assert pillar["driver"]["azimuth_deg"] == pytest.approx(-np.degrees(np.arctan2(0.98, 0.58)), rel=DIGITS)
    assert plan["places"]["right door"]["seats"]["passenger"]["azimuth_deg"] > 0.0
    assert plan["places"]["left door"]["seats"]["driver"]["elevation_deg"] < 0.0


def test_a_hidden_place(plan: dict[str, Any]) -> None:
    """Behind the seat back: hidden from its driver, in sight of the passenger; figures still count from the straight line.

    Round the seat back's top or side by hand: the shortest of its four edges, none of which rests on anything.
    """
    seats = plan["places"]["behind the seat"]["seats"]
    assert [seats[name]["occluded"] for name in ("driver", "passenger")] == [True, False]
    source, head = np.array([1.95, 0.36, 0.45]), np.array([1.3, 0.36, 0.95])
    assert seats["driver"]["distance_m"] == pytest.approx(np.linalg.norm(source - head), rel=DIGITS)
    top = np.stack([np.full(4801, 1.62), np.linspace(0.12, 0.6, 4801), np.full(4801, 0.78)], axis=1)
    over = (np.linalg.norm(top - source, axis=1) + np.linalg.norm(top - head, axis=1)).min()
    assert seats["driver"]["detour_m"] == pytest.approx(over - np.linalg.norm(source - head), abs=1e-6)
    number = 2.0 * seats["driver"]["detour_m"] * 2000.0 / plan["speed_of_sound_m_s"]
    plain = _piston_db(_angle(np.array([-1.0, 0.0, 0.2]), head - source), 0.06, 2000.0, plan["speed_of_sound_m_s"])
    lost = plain - seats["driver"]["direct_bands_db"][4]
    assert lost == pytest.approx(10.0 * np.log10(3.0 + 20.0 * number), abs=0.8)  # Maekawa's chart in its common fit
    assert seats["passenger"]["detour_m"] is None


def _first_order(result: LayoutResult, place: str, seat: str) -> dict[tuple[str, ...], float]:
    return {row.surfaces: row.delay_s for row in result.places[place].seats[seat].reflections if row.order == 1}


def test_speed_of_sound_follows_the_temperature() -> None:
    """Cramer 1993 gives 343.4 m/s at 20 °C and 325.4 m/s at -10 °C, dry to damp within 0.6 m/s."""
    results = [run(cabin_build(extra=f"[cabin]\ntemperature_c = {t}\n[layout]\ndraws = 0\n")) for t in (20.0, -10.0)]
    warm, cold = results
    assert warm is not None and cold is not None
    assert warm.speed_of_sound_m_s == pytest.approx(343.4, abs=0.6)
    assert cold.speed_of_sound_m_s == pytest.approx(325.4, abs=0.6)
    one, other = (_first_order(item, "left pillar", "driver") for item in (warm, cold))
    assert one.keys() == other.keys()
    ratio = warm.speed_of_sound_m_s / cold.speed_of_sound_m_s
    assert all(other[way] == pytest.approx(ratio * late) for way, late in one.items())


def test_left_and_right_are_mirror_images() -> None:
    """In a cabin without the one seat back, what the driver hears of the right is what the passenger hears of the left."""
    places = PLACES.replace(
        'position_m = [0.72, -0.62, 0.9]\naim = "driver"', 'position_m = [0.72, -0.62, 0.9]\naim = "passenger"'
    )
    got = run(cabin_build(places=places, surfaces=shell(seat_back=False), extra="[layout]\ndraws = 0\n"))
    assert got is not None
    swap = {"left side": "right side", "right side": "left side"}
    for left, right in (
        ("left pillar", "right pillar"),
        ("left dash corner", "right dash corner"),
        ("left door", "right door"),
    ):
        a, b = got.places[left].seats["passenger"], got.places[right].seats["driver"]
        assert a.distance_m == pytest.approx(b.distance_m) and a.off_axis_deg == pytest.approx(b.off_axis_deg, abs=1e-4)
        assert a.sound_db == pytest.approx(b.sound_db, abs=1e-9)
        mirrored = {tuple(swap.get(name, name) for name in row.surfaces): row for row in a.reflections}
        assert mirrored.keys() == {row.surfaces for row in b.reflections}
        for row in b.reflections:
            other = mirrored[row.surfaces]
            assert other.delay_s == pytest.approx(row.delay_s, abs=1e-12)
            assert other.level_db == pytest.approx(row.level_db, abs=1e-9)
            assert other.elevation_deg == pytest.approx(row.elevation_deg, abs=1e-6)
            assert abs(np.sin(np.radians(other.azimuth_deg + row.azimuth_deg))) < 1e-9


def test_five_centimetres_change_the_answer(build: Build, result: LayoutResult) -> None:
    """And by what plane geometry says: 5 cm rearward of the pillar, as seen in the windscreen."""
    study = Study(build, {}, {})
    moved, _ = study.moved("left pillar", (0.77, -0.62, 0.9))
    before = {row.surfaces: row for row in result.places["left pillar"].seats["driver"].reflections}
    after = {row.surfaces: row for row in moved.seats["driver"].reflections}
    assert before.keys() != after.keys()
    shifted = [abs(after[way].delay_s - before[way].delay_s) for way in before.keys() & after.keys()]
    assert np.median(shifted) > 2e-5
    same, _ = study.moved("left pillar", (0.72, -0.62, 0.9))
    assert same.seats["driver"].reflections == result.places["left pillar"].seats["driver"].reflections


def test_a_subwoofer_moved(build: Build, result: LayoutResult) -> None:
    """Back where it stood it gives the same again; to the cabin's far corner, where every mode is at its height, more."""
    study = Study(build, {}, {})
    stated = result.places["seat base"].low
    same, corner = (study.moved("seat base", at)[0].low for at in ((1.3, -0.36, 0.15), (2.45, -0.68, 0.04)))
    assert stated is not None and same is not None and corner is not None
    assert same.gain_db == stated.gain_db
    loudest = max(result.places[name].low.gain_db["driver"] for name in ("spare wheel bay", "seat base"))  # type: ignore[union-attr]
    assert corner.gain_db["driver"] > loudest


def test_open_field() -> None:
    """Without surfaces: direct sound alone, nothing coloured, and it says so."""
    got = run(cabin_build(surfaces=""))
    assert got is not None
    for place in got.places.values():
        for heard in place.seats.values():
            assert heard.reflections == () and not heard.occluded
    assert got.low_frequency is None
    assert "layout.no_surfaces" in [item.code for item in got.findings]
    pillar = got.places["left pillar"].seats["driver"]
    assert pillar.sound_db == pytest.approx(0.0, abs=0.05)
    assert np.abs(pillar.box_db[0]).max() < 0.05


def test_the_comb_over_one_mirror() -> None:
    """One table before one speaker: the sum of two sounds, worked out here at the head centre."""
    top = surface("tray", [(0.0, -0.9, 0.5), (2.5, -0.9, 0.5), (2.5, 0.9, 0.5), (0.0, 0.9, 0.5)], "glass")
    got = run(cabin_build(surfaces=top, extra="[layout]\ndraws = 0\n"))
    assert got is not None
    heard = got.places["left pillar"].seats["driver"]
    (row,) = heard.reflections
    late = np.hypot(np.hypot(0.58, 0.98), 0.4 + 0.45) - np.linalg.norm([0.58, 0.98, 0.05])
    assert row.delay_s == pytest.approx(late / got.speed_of_sound_m_s, abs=1e-9)
    assert row.dip_hz == pytest.approx(0.5 * got.speed_of_sound_m_s / late, rel=1e-6)
    curve, frequency = heard.box_db[0], heard.box_hz
    near = (frequency > row.dip_hz / 1.3) & (frequency < row.dip_hz * 1.3)
    assert frequency[near][curve[near].argmin()] == pytest.approx(row.dip_hz, rel=0.03)
    part = 10.0 ** (row.bands_db[2] / 20.0)
    top_hz = 1.0 / row.delay_s
    at_top = curve[np.abs(frequency / top_hz - 1.0).argmin()]
    assert at_top == pytest.approx(20.0 * np.log10(1.0 + part), abs=0.6)
    assert curve[near].min() < 20.0 * np.log10(1.0 - part) + 2.0
    low, high = row.dip_range_hz or (0.0, 0.0)
    assert low < row.dip_hz < high


def test_pairs() -> None:
    """A head on the centre line hears both alike; beside it the nearer one is early and loud, by plane geometry."""
    middle = '[[seats]]\nname = "middle"\nhead_m = [1.3, 0.0, 0.95]\n'
    places = PLACES.replace('aim = "driver"', 'aim = "middle"')
    got = run(cabin_build(places=places, surfaces=shell(seat_back=False), extra=middle + "[layout]\ndraws = 0\n"))
    assert got is not None
    pair = next(item for item in got.pairs if item.left == "left pillar")
    assert pair.right == "right pillar"
    centre = pair.seats["middle"]
    assert centre.delay_s < 1e-12 and abs(centre.lean) < 1e-9 and abs(centre.level_difference_db) < 1e-9
    driver = pair.seats["driver"]
    far, near = np.linalg.norm([0.58, 0.98, 0.05]), np.linalg.norm([0.58, 0.26, 0.05])
    assert driver.delay_on == "right" and driver.delay_s == pytest.approx((far - near) / got.speed_of_sound_m_s)
    assert driver.level_difference_db == pytest.approx(20.0 * np.log10(near / far), abs=1.5)
    assert driver.lean > 0.2 and pair.seats["passenger"].lean == pytest.approx(-driver.lean, abs=1e-9)


def test_plan_is_the_same_again(build: Build, plan: dict[str, Any]) -> None:
    again = run(build)
    assert again is not None
    assert json.loads(json_text(plain(again.to_dict()))) == plan


def _codes(result: LayoutResult | None) -> Iterable[str]:
    assert result is not None
    return [item.code for item in result.findings]


def test_a_flush_place_in_the_cabin() -> None:
    """Set in the door's skin, give or take a tape's millimetres: no reflection off that side first, and not hidden."""
    for off in (0.0, 0.004, -0.004):
        places = PLACES.replace("[0.8, -0.7, 0.3]", f"[0.8, {-0.72 + off}, 0.3]")
        got = run(cabin_build(places=places, extra="[layout]\ndraws = 0\n"))
        assert got is not None and "layout.place_outside" not in _codes(got)
        heard = got.places["left door"].seats["driver"]
        assert not heard.occluded
        assert heard.reflections and all(row.surfaces[0] != "left side" for row in heard.reflections)
