"""What errors do: draws that stay in their panels and do not pass through walls, and how much a place forgives."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from cabinwright.build.document import Build
from cabinwright.physics.facets import Facet
from cabinwright.stages.layout import LayoutResult, Study, run
from cabinwright.stages.layout.errors import (
    SHIFTS_M,
    TURNS_DEG,
    aims_within,
    drawn_aims,
    drawn_positions_m,
    forgiven,
)
from cabinwright.stages.layout.ranking import CRITERIA, beaten
from stages.cabin_build import HALF_M, PLACES, cabin_build

Real = NDArray[np.float64]
RNG = np.random.default_rng(4)
MOVES = RNG.normal(size=(400, 3)) * 0.02


def _facets() -> list[Facet]:
    cabin = cabin_build().cabin
    assert cabin is not None
    return [Facet.of(item.corners_m) for item in cabin.surfaces]


def test_what_is_set_in_a_panel_stays_in_it() -> None:
    """On the left side: y stays, x and z go where they were drawn."""
    at = np.array([0.8, -HALF_M, 0.3])
    got = drawn_positions_m(_facets(), at, MOVES)
    assert got[:, 1] == pytest.approx(-HALF_M, abs=1e-12)
    assert got[:, [0, 2]] == pytest.approx((at + MOVES)[:, [0, 2]], abs=1e-12)


def test_what_is_set_in_a_corner_moves_along_it() -> None:
    """Where floor and left side meet, x alone is free."""
    got = drawn_positions_m(_facets(), np.array([1.2, -HALF_M, 0.0]), MOVES)
    assert got[:, 1:] == pytest.approx(np.tile([-HALF_M, 0.0], (len(MOVES), 1)), abs=1e-12)
    assert got[:, 0] == pytest.approx(1.2 + MOVES[:, 0], abs=1e-12)


def test_nothing_moves_through_a_wall_or_into_one() -> None:
    """12 mm before the left side with errors of 20 mm: a quarter would pass it. In the free they go where they were drawn."""
    at = np.array([0.8, -HALF_M + 0.012, 0.3])
    assert 0.15 < np.mean((at + MOVES)[:, 1] < -HALF_M) < 0.4
    got = drawn_positions_m(_facets(), at, MOVES)
    assert (got[:, 1] > -HALF_M + 0.005).all()
    free = np.array([0.8, 0.0, 0.4])
    assert drawn_positions_m(_facets(), free, MOVES) == pytest.approx(free + MOVES, abs=1e-12)


def test_a_flush_place_and_one_before_the_panel_are_as_sure() -> None:
    """Mounted in the door: the door's own mirror image must not come and go with the draws."""
    places = PLACES.replace("[0.8, -0.7, 0.3]", f"[0.8, {-HALF_M}, 0.3]")
    got = run(cabin_build(places=places))
    assert got is not None
    aimed = got.places["left door"].aimed
    assert aimed is not None and 0.0 < aimed.spread_db < 1.0  # its image would add up to 3 dB in half of the draws


def test_drawn_aims_have_their_standard_deviation() -> None:
    """Across the aim, in both directions: 3 degrees each, so sqrt(2) times that as the root of the mean square angle."""
    aim = np.array([0.6, 0.0, 0.8])
    sigma = np.radians(3.0)
    aims = drawn_aims(aim, np.random.default_rng(1).normal(size=(20_000, 3)) * sigma)
    assert np.linalg.norm(aims, axis=1) == pytest.approx(1.0)
    angle = np.arccos(np.clip(aims @ aim, -1.0, 1.0))
    assert np.sqrt(np.mean(angle**2)) == pytest.approx(np.sqrt(2.0) * sigma, rel=0.02)


def test_aims_within_fill_the_cone() -> None:
    normal = np.array([0.0, -0.6, 0.8])
    angles = np.degrees(np.arccos(np.clip(aims_within(normal, 20.0) @ normal, -1.0, 1.0)))
    assert angles.max() == pytest.approx(20.0) and angles[0] == pytest.approx(0.0, abs=1e-5)
    assert len(set(np.round(angles, 6))) == 5


def test_forgiven_is_the_last_step_before_it_costs() -> None:
    """Of steps 1, 2, 3 with two directions each: 1 dB is forgiven, more is not, and what comes after does not count."""
    costs = np.array([0.2, 0.1, 0.4, 1.0, 1.1, 0.0])
    assert forgiven(-5.0, -5.0 - costs, (1.0, 2.0, 3.0)) == 2.0
    assert forgiven(-5.0, -5.0 - costs[::-1], (1.0, 2.0, 3.0)) == 0.0
    assert forgiven(-5.0, -5.0 - 0.1 * costs, (1.0, 2.0, 3.0)) == 3.0


def _turn_that_costs(radius_m: float) -> float:
    places = PLACES.replace("radius_m = 0.035", f"radius_m = {radius_m}", 1)
    got = run(cabin_build(places=places, surfaces="", extra="[layout]\ndraws = 0\n"))
    assert got is not None
    aimed = got.places["left pillar"].aimed
    assert aimed is not None and aimed.forgives_deg in (0.0, *TURNS_DEG) and aimed.forgives_m == SHIFTS_M[-1]
    return aimed.forgives_deg


def test_a_large_cone_forgives_less_than_a_small_one() -> None:
    """In the open the piston alone decides: about as the inverse of its radius."""
    small, middle, large = (_turn_that_costs(radius) for radius in (0.0125, 0.035, 0.1))
    assert small > middle > large > 0.0


def test_an_aim_out_of_reach_is_no_answer() -> None:
    """Aimed at the driver over the shoulder of its panel: the best aim lies within the limit though it costs sound."""
    places = PLACES.replace("normal = [1.0, 0.9, 0.0]", "normal = [0.0, 1.0, 1.0]")
    build = cabin_build(places=places, surfaces="")
    got = run(build)
    assert got is not None
    aimed = got.places["left pillar"].aimed
    assert aimed is not None and aimed.gain_db < 0.0
    normal = np.array([0.0, 1.0, 1.0]) / np.sqrt(2.0)
    assert np.degrees(np.arccos(np.asarray(aimed.aim) @ normal)) == pytest.approx(25.0, abs=1e-3)
    assert "layout.aim_beyond" in [item.code for item in got.findings]


@pytest.fixture(scope="module")
def build() -> Build:
    return cabin_build()


def test_draws_centre_on_the_place_as_stated(build: Build) -> None:
    """First figure: what the place is listed with. The draws differ from it by what errors do, and by their size."""
    study = Study(build, {}, {})
    place = next(item for item in build.places if item.name == "left dash corner")
    result, draws = study.place(place)
    assert draws[0] == pytest.approx(result.seats["driver"].sound_db)
    rough = place.model_copy(update={"position_sigma_m": 0.02, "aim_sigma_deg": 12.0})
    exact = place.model_copy(update={"position_sigma_m": 1e-6, "aim_sigma_deg": 0.0})
    assert np.std(study.place(exact)[1]) < 0.001 < np.std(draws) < np.std(study.place(rough)[1])


def test_the_surveys_errors_count(build: Build) -> None:
    """5 cm from the survey against the 5 mm of its mounting, aimed exactly."""
    place = build.places[2].model_copy(update={"aim_sigma_deg": 0.0})
    sure, unsure = (Study(build, sigmas, {}).place(place)[1] for sigmas in ({}, {place.name: (0.05, 0.05, 0.05)}))
    assert np.std(unsure) > 4.0 * np.std(sure)


def _rows(**sides: list[float | None]) -> list[dict[str, float | None]]:
    count = len(next(iter(sides.values())))
    return [{name: sides.get(name, [None] * count)[k] for name in CRITERIA} for k in range(count)]


def test_beaten_in_each_draw_anew() -> None:
    """Alike in all but sound: the better one beats the other in its draw, and neither within 0.3 dB."""
    rows = _rows(cost=[100.0, 100.0])
    sound = np.array([[0.0, -1.0], [-1.0, 0.0], [0.0, 0.2]])
    got = beaten(rows, sound, fit=np.array([True, True]))
    assert got.tolist() == [[False, True], [True, False], [False, False]]
    out = beaten(rows, sound, fit=np.array([True, False]))
    assert not out.any()


def test_a_circle_of_unknowns_beats_nobody_in_it() -> None:
    """a beats b by room, b beats c by looks, c beats a by cost, each unknown of the third; d is beaten by all of them."""
    rows = _rows(
        room=[5.0, 4.0, None, 1.0],
        looks=[None, 4.0, 3.0, 1.0],
        cost=[200.0, None, 100.0, 900.0],
    )
    got = beaten(rows, np.zeros((1, 4)), fit=np.ones(4, dtype=bool))
    assert got.tolist() == [[False, False, False, True]]


def test_the_first_choice_keeps_its_share(build: Build) -> None:
    got = run(build)
    assert isinstance(got, LayoutResult)
    for role in {item.role for item in got.ranking}:
        assert sum(item.first_share for item in got.ranking if item.role == role) == pytest.approx(1.0)
