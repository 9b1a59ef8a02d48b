"""Which place comes first: what is beaten in everything never does, what is unknown counts neither way, errors share it out."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinwright.stages.layout import LayoutResult, run
from cabinwright.stages.layout.ranking import CRITERIA, LOWER_IS_BETTER, dominates
from cabinwright.stages.layout.result import Ranked
from stages.cabin_build import PLACES, cabin_build, shell

ENDS = "[layout]\ndraws = 60\n"
OPEN = "[[cabin.surfaces]]".join(shell().split("[[cabin.surfaces]]")[:-2])  # no firewall: no modes to wait for


@pytest.fixture(scope="module")
def result() -> LayoutResult:
    got = run(cabin_build(extra=ENDS))
    assert got is not None
    return got


def _coaxial(result: LayoutResult) -> list[Ranked]:
    return [item for item in result.ranking if item.role == "coaxial"]


def test_every_place_once_and_shares_add_up(result: LayoutResult) -> None:
    names = [name for item in result.ranking for name in item.places]
    assert sorted(names) == sorted(result.places)
    for role in ("coaxial", "subwoofer"):
        rows = [item for item in result.ranking if item.role == role]
        assert sum(item.first_share for item in rows) == pytest.approx(1.0)
        assert len(rows) == 3
        assert all(0.0 <= item.first_share <= 1.0 and item.reasons for item in rows)


def _one(name: str, x: float, *, depth: float, cost: int, looks: int, aim: str, cut: bool = False) -> str:
    """A centre place on the dash; the same position sounds the same."""
    panel = f'cut = "dash top"\nreversible = {"false" if cut else "true"}\n' if cut else "reversible = true\n"
    return (
        f'[[places]]\nname = "{name}"\nrole = "coaxial"\nside = "centre"\nposition_m = [{x}, 0.0, 0.78]\naim = {aim}\n'
        f"radius_m = 0.035\ndepth_m = {depth}\ncost = {cost}\nlooks = {looks}\n{panel}"
    )


GOOD = _one("good", 0.6, depth=0.06, cost=100, looks=4, aim='"driver"')


@settings(max_examples=15)
@given(
    depth=st.floats(0.01, 0.06),
    cost=st.integers(100, 900),
    looks=st.integers(1, 4),
    cut=st.booleans(),
    weights=st.tuples(*[st.integers(0, 9)] * 3),
)
def test_what_is_beaten_in_everything_is_never_first(
    depth: float, cost: int, looks: int, cut: bool, weights: tuple[int, int, int]
) -> None:
    """Aimed away from the head, no deeper, no cheaper, no prettier: never first, whatever counts."""
    worse = _one("worse", 0.6, depth=depth, cost=cost, looks=looks, aim="[-1.0, 0.0, 0.0]", cut=cut)
    counts = dict(zip(("sound", "looks", "cost"), weights, strict=True))
    wishes = "[layout]\ndraws = 20\n[layout.weights]\n" + "".join(f"{key} = {value}\n" for key, value in counts.items())
    got = run(cabin_build(places=worse + GOOD, surfaces=OPEN, extra=wishes))
    assert got is not None
    first, last = got.ranking
    assert first.places == ("good",) and first.first_share == 1.0 and first.better_than == ("worse",)
    assert last.places == ("worse",) and last.first_share == 0.0
    assert any("good" in words for words in last.reasons)


def test_unknown_is_neither_better_nor_worse() -> None:
    known = {"sound": -1.0, "room": 5.0, "irreversible": 0.0, "looks": 3.0, "view": 0.0, "cost": 100.0}
    for name in CRITERIA[1:]:
        unknown = {**known, name: None}
        assert not dominates(known, unknown) and not dominates(unknown, known)
        better = {**unknown, "sound": 1.0}
        assert dominates(better, known) and not dominates(known, better)
        assert dominates({**known, name: -1.0 if name in LOWER_IS_BETTER else 9.0}, known)


def test_the_same_place_with_less_said_scores_the_middle() -> None:
    cheap, dear = (
        _one(name, 0.6, depth=0.06, cost=cost, looks=3, aim='"driver"')
        for name, cost in (("cheap", 100), ("dear", 500))
    )
    silent = _one("silent", 0.6, depth=0.06, cost=1, looks=3, aim='"driver"').replace("cost = 1\n", "")
    got = run(cabin_build(places=dear + silent + cheap, surfaces=OPEN, extra="[layout]\ndraws = 0\n"))
    assert got is not None
    score = {item.places[0]: item.score for item in got.ranking}
    assert score["silent"] == pytest.approx(0.5 * (score["cheap"] + score["dear"]), abs=1e-9)
    criteria = {item.places[0]: item.criteria for item in got.ranking}
    assert criteria["silent"]["cost"] is None and criteria["cheap"]["cost"] == 100.0
    assert got.ranking[0].places == ("cheap",)


def test_weights_decide_between_places_that_are_each_better_in_something() -> None:
    pretty = _one("pretty", 0.6, depth=0.06, cost=500, looks=5, aim='"driver"')
    cheap = _one("cheap", 0.6, depth=0.06, cost=50, looks=1, aim='"driver"')
    for looks, cost, expected in ((9, 1, "pretty"), (1, 9, "cheap")):
        wishes = f"[layout]\ndraws = 10\n[layout.weights]\nlooks = {looks}\ncost = {cost}\n"
        got = run(cabin_build(places=cheap + pretty, surfaces=OPEN, extra=wishes))
        assert got is not None
        assert got.ranking[0].places == (expected,) and got.ranking[0].first_share > 0.8


def test_errors_share_out_what_is_close(result: LayoutResult) -> None:
    """Two places of one kind a centimetre apart, mounted to within 5 cm: neither is sure. Mounted exactly: one is."""
    twins = "".join(
        _one(name, x, depth=0.06, cost=100, looks=3, aim='"driver"') for name, x in (("a", 0.6), ("b", 0.61))
    )

    def shares(sigma: float) -> list[float]:
        loose = twins.replace("looks = 3\n", f"looks = 3\nposition_sigma_m = {sigma}\naim_sigma_deg = {100 * sigma}\n")
        got = run(cabin_build(places=loose, surfaces=OPEN, extra="[layout]\ndraws = 200\n"))
        assert got is not None
        return [item.first_share for item in got.ranking]

    assert 0.15 < min(shares(0.05)) < 0.5
    assert max(shares(1e-4)) == 1.0
    aimed = result.places["left pillar"].aimed
    assert aimed is not None and 0.0 < aimed.spread_db < 6.0


def test_reasons_have_figures(result: LayoutResult) -> None:
    """Angle, delay, level and surface of the strongest reflection stand in the words."""
    first = _coaxial(result)[0]
    words = " ".join(first.reasons)
    for name in first.places:
        heard = result.places[name].seats[result.listening_seat]
        way = r" reflection in its octaves \((.+?)\) ([\d.]+) ms later at −(\d+) dB"
        (told,) = re.findall(rf"{name}: (\d+)° off axis .*?{way}", words)
        assert float(told[0]) == pytest.approx(heard.off_axis_deg, abs=0.51)
        (loud,) = [row for row in heard.reflections if row.surfaces == tuple(told[1].split(", then "))]
        assert float(told[2]) == pytest.approx(1000.0 * loud.delay_s, abs=0.051)
        assert float(told[3]) == pytest.approx(-loud.level_db, abs=1.5)  # there: in the octaves of the role
        assert loud.level_db > max(row.level_db for row in heard.reflections if row.delay_s < 0.01) - 1.5
    assert f"{100.0 * first.first_share:.0f} %" in words


def test_best_aim_stays_inside_its_limit_and_never_loses(result: LayoutResult) -> None:
    for name, item in result.places.items():
        if item.aimed is None:
            continue
        assert item.aimed.gain_db >= 0.0, name
        if name != "left pillar":
            assert item.aimed.turn_deg == pytest.approx(0.0, abs=1e-4)
    away = PLACES.replace(
        'aim = "driver"\naim_limit_deg = 25\nnormal = [1.0, 0.9, 0.0]',
        "aim = [1.0, -0.4, 0.0]\naim_limit_deg = 25\nnormal = [1.0, 0.0, 0.0]",
    )
    got = run(cabin_build(places=away, surfaces=OPEN, extra=ENDS))
    assert got is not None
    aimed = got.places["left pillar"].aimed
    assert aimed is not None and aimed.gain_db > 0.3
    assert aimed.aim[0] >= 0.9063 - 1e-6  # cosine of 25 degrees
    assert aimed.aim[1] > 0.2  # towards the driver, who sits on the right


PILLAR = """
[[cabin.pillars]]
name = "left trim"
side = "left"
corners_m = [[0.7, -0.72, 0.7], [0.76, -0.66, 0.7], [0.7, -0.72, 1.0], [0.76, -0.66, 1.0], [0.76, -0.72, 0.7]]
"""


def test_a_place_on_a_pillar_that_names_none_has_no_view_to_count() -> None:
    """Unknown is neither better nor worse; a place elsewhere hides nothing."""
    got = run(cabin_build(extra=PILLAR + "[layout]\ndraws = 5\n"))
    assert got is not None
    view = {row.places[0]: row.criteria["view"] for row in got.ranking}
    assert view["left pillar"] is None and view["left door"] == 0.0
