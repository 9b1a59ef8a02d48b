"""Starts that find the network, and the mirror images that its lengths cannot tell apart."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from cabinwright.physics.network.adjust import adjust
from cabinwright.physics.network.images import images
from cabinwright.physics.network.place import meet
from cabinwright.physics.network.solve import best_start, solve
from cabinwright.physics.network.start import scaled, shortest_ways

from .networks import blundered, invented, measured


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize(("points", "tapes"), [(10, 5), (20, 5), (40, 5)])
def test_names_and_tapes_alone_are_enough(seed: int, points: int, tapes: int) -> None:
    true_m, network = invented(seed, points=points, tapes=tapes)
    found = adjust(network, best_start(network))
    exact = adjust(network, true_m)
    if found.statistic != pytest.approx(
        exact.statistic, rel=1e-6
    ):  # a random network may have an image that fits as well
        same = [image.found for image in images(found) if image.as_good]
        found = min(same, key=lambda other: float(np.abs(other.at_m - exact.at_m).max()))
    assert np.abs(found.at_m - exact.at_m).max() < 1e-6


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("error_m", [0.1, -0.3, 15.0])
def test_a_misread_tape_does_not_lead_astray(seed: int, error_m: float) -> None:
    true_m, network = invented(seed, points=16, tapes=7)
    tape = int(np.argmax(network.tape_m))
    bad = blundered(network, tape, error_m)
    solved = solve(bad, best_start(bad))
    assert tape in solved.left_out
    assert solved.final.v_m[tape] == pytest.approx(error_m, abs=0.05)
    assert np.linalg.norm(solved.final.at_m - true_m, axis=1).max() < 0.06


def test_three_spheres_meet_where_they_do() -> None:
    rng = np.random.default_rng(0)
    centres, true_m = rng.normal(size=(50, 3, 3)), rng.normal(size=(50, 3))
    distance = np.linalg.norm(centres - true_m[:, None], axis=2)
    found = meet(centres, distance)
    assert np.abs(np.linalg.norm(found[:, :, None] - centres[:, None], axis=3) - distance[:, None]).max() < 1e-6
    assert np.linalg.norm(found - true_m[:, None], axis=2).min(axis=1).max() < 1e-6
    on_a_line = np.array([[[0.0, 0, 0], [1, 0, 0], [2, 0, 0]]])
    assert np.isnan(meet(on_a_line, np.ones((1, 3)))).all()


def test_layout_from_all_distances_is_the_body_itself() -> None:
    """Classical scaling is exact where every distance is known (Torgerson 1952)."""
    rng = np.random.default_rng(5)
    true_m = rng.normal(size=(9, 3))
    way = np.linalg.norm(true_m[:, None] - true_m[None], axis=2)
    guess = np.where(np.arange(9)[:, None] < 4, true_m, np.nan)
    layout = scaled(way, guess)
    assert np.abs(layout[:, :3] - true_m).max() < 1e-9
    assert np.abs(layout[:, 3:]).max() < 1e-6
    assert np.abs(scaled(1.01 * way, guess)[:, :3] - true_m).max() > 1e-3


def test_shortest_ways_against_scipy() -> None:
    from scipy.sparse.csgraph import shortest_path

    _, network = invented(2, points=15)
    graph = np.zeros((15, 15))
    for (a, b), length in zip(network.tape_ends, network.tape_m, strict=True):
        graph[a, b] = graph[b, a] = length
    known = network.fixed_m[:4]
    graph[:4, :4] = np.linalg.norm(known[:, None] - known[None], axis=2)
    assert shortest_ways(network) == pytest.approx(shortest_path(graph))


def hanging(out_m: float, fourth: float | None = None) -> tuple[np.ndarray, object]:
    """A point that hangs ``out_m`` off the plane of three known ones; ``fourth``: a tape to a point so far off that plane."""
    true_m = np.array([[0, 0, 0], [2, 0, 0], [0, 2, 0], [1.0, 1.5, fourth or 1.0], [0.6, 0.7, out_m]], dtype=float)
    ends = [[0, 4], [1, 4], [2, 4]] + ([[3, 4]] if fourth else [])
    return true_m, measured(true_m, np.array(ends), np.random.default_rng(3))


def test_a_point_on_three_tapes_has_an_image() -> None:
    true_m, network = hanging(0.5)
    (image,) = images(adjust(network, true_m))  # type: ignore[arg-type]
    assert image.points == (4,)
    assert set(image.hinge) <= {0, 1, 2}
    assert image.as_good
    assert image.found.at_m[4] == pytest.approx([0.6, 0.7, -0.5], abs=0.02)


def test_a_fourth_tape_off_the_plane_leaves_none() -> None:
    true_m, network = hanging(0.5, fourth=0.6)
    assert images(adjust(network, true_m)) == ()  # type: ignore[arg-type]
    flat_m, flat = hanging(0.5, fourth=0.001)  # one in the plane does not help
    assert [image.as_good for image in images(adjust(flat, flat_m))] == [True]  # type: ignore[arg-type]


def test_a_start_on_the_wrong_side_sees_that_the_image_is_better() -> None:
    true_m, network = hanging(0.5, fourth=0.1)
    wrong = adjust(network, true_m * [1, 1, -1])  # type: ignore[arg-type]
    assert wrong.at_m[4, 2] < 0.0
    (image,) = images(wrong)
    assert image.better
    assert image.found.at_m[4, 2] == pytest.approx(0.5, abs=0.02)


@pytest.mark.parametrize("seed", range(6))
def test_a_group_that_hangs_on_three_points_swings_as_one(seed: int) -> None:
    true_m, network = invented(seed, points=16)
    rng = np.random.default_rng(seed)
    hinge, far = [4, 5, 6], [12, 13, 14, 15]
    near = list(range(12))
    inside = [ends for ends in network.tape_ends.tolist() if ends[0] in near and ends[1] in near]
    own = [[a, b] for a in [*hinge, *far] for b in far if a < b]
    network = measured(true_m, np.array(inside + own), rng)
    found = [image for image in images(adjust(network, true_m)) if image.as_good]
    swung = [image for image in found if set(image.points) <= set(far)]  # one of them may lie near the plane
    assert swung
    assert max(len(image.points) for image in swung) >= 2
    assert all(set(image.hinge) >= set(hinge) for image in swung)
    held = measured(true_m, np.array([*inside, *own, *([a, b] for a in range(4) for b in far)]), rng)
    assert not [image for image in images(adjust(held, true_m)) if set(image.points) & set(far)]


def test_guesses_choose_the_side_and_do_not_pull() -> None:
    _, network = hanging(0.5)
    for side in (1.0, -1.0):
        near = network.near_m.copy()  # type: ignore[attr-defined]
        near[4] = [0.8, 0.5, 0.2 * side]
        guessed = replace(network, near_m=near)  # type: ignore[type-var]
        found = adjust(guessed, best_start(guessed))
        assert found.at_m[4, 2] == pytest.approx(0.5 * side, abs=0.02)
        assert found.statistic < 1e-12
