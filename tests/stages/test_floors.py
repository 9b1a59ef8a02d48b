"""Floors, fixings and masses of the workshop stage, by hand and against published formulas."""

from __future__ import annotations

import math

import pytest

from cabinwright.build.codec import parse
from cabinwright.stages import workshop
from cabinwright.stages.workshop.result import WorkshopResult
from stages.fitted import FIXED, FLOOR, HEAD

G = 9.80665


def run(text: str) -> WorkshopResult:
    result = workshop.run(parse(HEAD + text))
    assert result is not None
    return result


def codes(result: WorkshopResult, *, without: tuple[str, ...] = ("workshop.fixing_defer",)) -> list[str]:
    return [item.code for item in result.findings if item.code.startswith("workshop.f") and item.code not in without]


def test_a_rectangle_on_its_ledge_by_the_table() -> None:
    """α = 0.00906 at 1.8 : 1 (interpolated 0.00931), Timoshenko & Woinowsky-Krieger 1959, table 8."""
    result = run(FLOOR)
    floor = result.floors["cargo floor"]
    mass = 0.9 * 0.5 * 0.012 * 680.0
    assert floor.mass_kg == pytest.approx(mass)
    assert floor.way == "series"
    pressure = (50.0 + mass) * G / (0.9 * 0.5)
    rigid = 8.0e9 * 0.012**3 / (12.0 * (1.0 - 0.3**2))
    sag = floor.cases["suitcases"].bent.most_m
    assert sag == pytest.approx(0.00931 * pressure * 0.5**4 / rigid, rel=0.002)
    assert sag != pytest.approx(0.00883 * pressure * 0.5**4 / rigid, rel=0.002)
    assert floor.cases["suitcases"].bent.most_pa == pytest.approx(6 * 0.0948 * pressure * 0.5**2 / 0.012**2, rel=0.003)
    assert floor.cases["suitcases"].bent.most_at_m == (pytest.approx(0.45), pytest.approx(0.25))
    assert floor.cases["knee"].bent.most_m > sag
    assert floor.lift_n == pytest.approx(mass * G)
    assert floor.cases["knee"].limit_m == pytest.approx(0.5 / 200)


def test_the_two_ways_agree() -> None:
    series = run(FLOOR).floors["cargo floor"]
    posts = FLOOR.replace('panel = "lid"', 'panel = "lid"\nsupports = [{from_m = [0.8999, 0.4999]}]')
    elements = run(posts).floors["cargo floor"]
    assert elements.way == "finite elements"
    for name, case in series.cases.items():
        assert elements.cases[name].bent.most_m == pytest.approx(case.bent.most_m, rel=0.015)
        assert elements.cases[name].bent.most_pa == pytest.approx(case.bent.most_pa, rel=0.05)


@pytest.mark.parametrize(
    ("old", "new", "code", "severity"),
    [
        ("mass_kg = 50", "mass_kg = 300", "workshop.floor_sag", "caution"),
        ("mass_kg = 50", "mass_kg = 1200", "workshop.floor_stress", "caution"),
        ("mass_kg = 40", "mass_kg = 1500", "workshop.floor_may_break", "caution"),
        ('}]\n', '}, {name = "engine", mass_kg = 1500, size_m = [0.12, 0.12]}]\nstrength_pa = 40e6\n',
         "workshop.floor_breaks", "stop"),
        ('panel = "lid"', 'panel = "lid"\nbelow_m = 0.0002', "workshop.floor_below", "caution"),
        ('grip_m = ["90 mm", "30 mm"]\ngrip_depth_m = "40 mm"\n', "", "workshop.floor_grip", "caution"),
        ('"30 mm"', '"24 mm"', "workshop.floor_fingers", "caution"),
        ('"40 mm"', '"24 mm"', "workshop.floor_fingers", "caution"),
        ('thickness_m = 0.012', 'thickness_m = 0.09', "workshop.floor_heavy", "caution"),
        ('panel = "lid"', 'panel = "lid"\nhow = "hinged"\nabove_m = 0.4', "workshop.floor_hinge", "caution"),
        ("size_m = [0.12, 0.12]", "size_m = [0.12, 0.12], at_m = [2, 2]", "workshop.floor_beside", "stop"),
        ('panel = "lid"', 'panel = "lid"\nedge = false\nsupports = [{from_m = [0.1, 0.25], to_m = [0.8, 0.25]}]',
         "workshop.floor_falls", "stop"),
    ],
)  # fmt: skip
def test_what_is_wrong_with_a_floor(old: str, new: str, code: str, severity: str) -> None:
    assert codes(run(FLOOR)) == []
    assert old in FLOOR
    result = run(FLOOR.replace(old, new))
    told = {item.code: item for item in result.findings}
    assert code in told
    assert told[code].severity == severity
    if code in ("workshop.floor_breaks", "workshop.floor_falls"):  # nothing is cut that would break under somebody
        assert code in result.parts["lid"].stopped


def test_a_hinged_floor_opens_as_far_as_there_is_room() -> None:
    text = FLOOR.replace('panel = "lid"', 'panel = "lid"\nhow = "hinged"\nabove_m = 0.45')
    floor = run(text).floors["cargo floor"]
    assert floor.opens_deg == pytest.approx(math.degrees(math.asin(0.9)))
    assert floor.lift_n == pytest.approx(floor.mass_kg * G / 2.0)
    side = run(text.replace('how = "hinged"', 'how = "hinged"\nhinge = "left"')).floors["cargo floor"]
    assert side.opens_deg == pytest.approx(30.0)


def test_a_fixing_by_hand() -> None:
    """20 kg at 20 g, centre 0.15 m up; row arms 0.05 and 0.45 m from the front edge: T = F h · 0.45/(2 (0.05² + 0.45²))."""
    result = run(FIXED)
    fixing = result.fixings["box to floor"]
    force = 20.0 * 20.0 * G
    assert fixing.forces_n["forwards"] == pytest.approx(force)
    assert fixing.forces_n["up"] == pytest.approx(20.0 * 8.0 * G)
    assert fixing.worst in ("forwards", "rearwards")
    assert fixing.shear_n == pytest.approx(force / 4.0)
    assert fixing.tension_n == pytest.approx(force * 0.15 * 0.45 / (2.0 * (0.05**2 + 0.45**2)))
    shear, tension = 0.6 * 800e6 * 36.6e-6 / 1.25, 0.9 * 800e6 * 36.6e-6 / 1.25
    shares = {
        "shear and tension of the bolt": fixing.shear_n / shear + fixing.tension_n / (1.4 * tension),
        "bearing of the sheet": fixing.shear_n * 1.25 / (2.5 * (0.8 + 1.5) / 2.5 * 270e6 * 0.008 * 0.001),
        "washer through the sheet": fixing.tension_n * 1.25 / (0.6 * math.pi * 0.04 * 0.001 * 270e6),
    }
    assert fixing.used_share == pytest.approx(max(shares.values()))
    assert fixing.check == max(shares, key=lambda key: shares[key])
    (said,) = (item for item in result.findings if item.code == "workshop.fixing_defer")
    assert said.severity == "caution"
    assert "maker and local rules" in said.remedy


def test_more_mass_is_too_much_and_says_what_would_do() -> None:
    result = run(FIXED.replace("mass_kg = 20", "mass_kg = 90"))
    fixing = result.fixings["box to floor"]
    assert fixing.used_share is not None
    assert fixing.used_share > 1.0
    (weak,) = (item for item in result.findings if item.code == "workshop.fixing_weak")
    assert "4 × M8" in weak.message
    more = {size: count for size, count in fixing.choices.items() if count is not None}
    assert more
    size, count = next(iter(more.items()))
    assert f"{count} × {size}" in weak.remedy
    cured = FIXED.replace("mass_kg = 20", "mass_kg = 90").replace('"M8"\ncount = 4', f'"{size}"\ncount = {count}')
    assert codes(run(cured)) == []
    less = cured.replace(f"count = {count}", f"count = {count - 2}")
    assert codes(run(less)) == ["workshop.fixing_weak"]


def test_what_is_left_open_is_chosen_so_that_it_bears() -> None:
    opened = FIXED.replace('size = "M8"\ncount = 4\n', "")
    fixing = run(opened).fixings["box to floor"]
    assert fixing.size is not None
    assert fixing.used_share is not None
    assert fixing.used_share <= 1.0
    assert len(fixing.spots) == min(count for count in fixing.choices.values() if count is not None)


def test_screws_into_wood_are_not_counted_on() -> None:
    result = run(FIXED.replace("mass_kg = 20", 'mass_kg = 20\nkind = "wood screw"'))
    assert codes(result) == ["workshop.fixing_kind"]
    assert result.fixings["box to floor"].used_share is None
    assert any(item.code == "workshop.fixing_defer" for item in result.findings)


def test_an_amplifier_on_a_wall_hangs_by_another_way() -> None:
    """On the seat's back, facing rearwards: thrown rearwards, all bolts pull evenly."""
    wall = FIXED.replace("mass_kg = 20", "mass_kg = 20\nnormal = [1, 0, 0]\nacross_g = 1\nup_g = 1")
    fixing = run(wall).fixings["box to floor"]
    assert fixing.worst == "rearwards"
    assert (fixing.shear_n, fixing.tension_n) == (pytest.approx(0.0, abs=1e-6), pytest.approx(20.0 * 20.0 * G / 4.0))


MASSES = """
[[speakers]]
name = "sub"
role = "subwoofer"
side = "centre"
position_m = [3.2, 0.2, 0.3]
model = "ten"
[[speaker_models]]
name = "ten"
mass_kg = 6.5
[[masses]]
name = "amplifier"
mass_kg = 3.5
at_m = [2.2, -0.4, 0.3]
[[masses]]
name = "spare wheel"
mass_kg = 16
at_m = [3.2, 0, 0.2]
removed = true
[[masses]]
name = "lid"
at_m = [3.1, 0, 0.5]
[payload]
limit_kg = 520
people_kg = 300
luggage_kg = 60
front_axle_x_m = 0.0
wheelbase_m = 2.7
rear_spare_kg = 5
"""


def test_masses_add_up_and_go_to_the_axles() -> None:
    result = run(FLOOR + MASSES)
    mass = result.mass
    assert mass is not None
    lid = 0.9 * 0.5 * 0.012 * 680.0
    assert mass.added_kg == pytest.approx(6.5 + 3.5 - 16.0 + lid)
    assert mass.left_kg == pytest.approx(520 - 300 - 60 - mass.added_kg)
    # lever law about the front axle
    rear = (6.5 * 3.2 + 3.5 * 2.2 - 16.0 * 3.2 + lid * 3.1) / 2.7
    assert mass.rear_kg == pytest.approx(rear)
    assert mass.front_kg == pytest.approx(mass.added_kg - rear)
    assert mass.unknown == ()
    told = [item.code for item in result.findings]
    assert "workshop.payload" not in told
    assert "workshop.axle" not in told
    kept = run(FLOOR + MASSES.replace("removed = true", "removed = false"))
    assert [item.code for item in kept.findings if item.code == "workshop.axle"] == ["workshop.axle"]
    heavy = run(FLOOR + MASSES.replace("limit_kg = 520", "limit_kg = 350"))
    assert any(item.code == "workshop.payload" for item in heavy.findings)


def test_what_is_not_known_is_left_out_and_said() -> None:
    result = run(FLOOR + MASSES.replace("mass_kg = 6.5\n", "fs_hz = 30\n"))
    assert result.mass is not None
    assert result.mass.unknown == ("sub",)
    assert any(item.code == "workshop.mass_unknown" for item in result.findings)
    held = FIXED.replace("mass_kg = 20", 'holds = ["sub", "amplifier"]')
    partly = run(FLOOR + MASSES.replace("mass_kg = 6.5\n", "fs_hz = 30\n") + held)
    assert partly.fixings["box to floor"].mass_kg == 3.5
    assert "workshop.fixing_mass" in codes(partly)
    whole = run(FLOOR + MASSES + held)
    assert whole.fixings["box to floor"].mass_kg == 10.0
    assert "workshop.fixing_mass" not in codes(whole)


def test_two_parts_of_one_name() -> None:
    """A place alone leaves both their mass; a mass stands for both together."""
    twins = FLOOR + MASSES.replace('name = "lid"\nat_m', 'name = "lid"\nmass_kg = 2\nat_m').replace('"sub"', '"lid"')
    both = run(twins).mass
    assert both is not None
    assert both.added_kg == pytest.approx(2.0 + 3.5 - 16.0)
    apart = run(twins.replace("mass_kg = 2\n", "")).mass
    assert apart is not None
    assert apart.added_kg == pytest.approx(6.5 + 0.9 * 0.5 * 0.012 * 680.0 + 3.5 - 16.0)
