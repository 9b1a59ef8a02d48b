"""Data snooping: how often it finds a misread tape and how often it accuses a good one, over many invented networks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from cabinwright.physics.network.adjust import CRITICAL, adjust
from cabinwright.physics.network.floats import floating
from cabinwright.physics.network.improve import next_tapes, point_sigma_m
from cabinwright.physics.network.solve import solve

from .networks import blundered, invented, measured

NETWORKS = 240


def found_share(times_detectable: float) -> tuple[float, float, list[float]]:
    """A tape misread by so much: share of networks in which it stands out, in which it is left out, errors of the estimate."""
    seen, named, off = [], [], []
    for seed in range(NETWORKS):
        true_m, network = invented(seed, points=9)
        good = adjust(network, true_m)
        rng = np.random.default_rng(seed)
        tape = int(rng.choice(np.flatnonzero(good.redundancy > 0.2)))
        error_m = float(rng.choice([-1.0, 1.0])) * times_detectable * good.detectable_m[tape]
        bad = blundered(network, tape, error_m)
        seen.append(abs(adjust(bad, true_m).standardised[tape]) > CRITICAL)
        solved = solve(bad, true_m)
        named.append(tape in solved.left_out)
        if named[-1]:
            estimate = solved.final.v_m[tape]
            off.append((estimate - error_m) / (network.sigma_m[tape] * np.sqrt(1.0 + solved.final.predicted[tape])))
    return float(np.mean(seen)), float(np.mean(named)), off


def test_an_error_of_the_stated_size_is_found_as_often_as_stated() -> None:
    # 80 % by definition; three standard deviations of a share of 240 draws are 8 %.
    seen, named, _ = found_share(1.0)
    assert seen == pytest.approx(0.80, abs=0.08)
    assert named > 0.65  # a neighbour that correlates may stand out even more
    half, _, _ = found_share(0.5)
    assert half < 0.30


def test_a_larger_error_is_found_and_its_size_told() -> None:
    seen, named, off = found_share(2.0)
    assert seen > 0.995
    assert named > 0.90  # in a few, a neighbour that is hardly checked itself takes the blame
    # The estimate is unbiased and scatters as stated.
    assert np.mean(off) == pytest.approx(0.0, abs=0.2)
    assert np.std(off) == pytest.approx(1.0, abs=0.2)


def test_false_alarms_are_one_in_a_thousand() -> None:
    def alarms(sigma_times: float) -> tuple[int, int]:
        count = tested = 0
        for seed in range(500, 500 + NETWORKS):
            true_m, network = invented(seed, points=16)
            network = replace(network, tape_sigma_m=network.tape_sigma_m * sigma_times)
            found = adjust(network, true_m)
            tested += int(np.sum(found.redundancy > 0.05))
            count += int(np.sum(np.abs(found.standardised) > CRITICAL))
        return count, tested

    count, tested = alarms(1.0)
    expected = 0.001 * tested
    assert tested > 15_000
    assert abs(count - expected) < 4.0 * np.sqrt(expected)
    too_many, _ = alarms(0.8)  # a stated sigma that is a fifth too small would not pass
    assert abs(too_many - expected) > 4.0 * np.sqrt(expected)


@pytest.mark.parametrize("seed", range(20))
def test_coordinates_leave_suspects_out_and_good_tapes_come_back(seed: int) -> None:
    """Three wild tapes at once, one of them of another order: all are named, and no good one is lost for good."""
    true_m, network = invented(seed, points=14, tapes=8)
    rng = np.random.default_rng(seed)
    tapes = rng.choice(np.flatnonzero(adjust(network, true_m).redundancy > 0.5), 3, replace=False)
    bad = network
    for tape, error_m in zip(tapes, (0.05, -0.12, 11.0), strict=True):
        bad = blundered(bad, int(tape), error_m)
    solved = solve(bad, true_m)
    assert set(tapes.tolist()) <= set(solved.left_out)
    assert len(solved.left_out) <= 4
    for tape, error_m in zip(tapes, (0.05, -0.12, 11.0), strict=True):
        assert solved.final.v_m[tape] == pytest.approx(error_m, abs=0.03)
    alone = adjust(network, true_m, used=solved.final.used)
    assert np.abs(alone.at_m - solved.final.at_m).max() < 1e-6


def test_two_tapes_that_nothing_tells_apart_are_both_named() -> None:
    """One tape more than a point needs: an error shows, but not in which of the four."""
    true_m, network = invented(3, points=5, tapes=5)
    keep = np.array([0, 1, 2, 3])
    network = measured(true_m, network.tape_ends[keep], np.random.default_rng(1))
    solved = solve(blundered(network, 1, 0.2), true_m)
    assert len(solved.left_out) == 1
    (row,) = solved.left_out
    assert set(solved.twins[row]) == {0, 1, 2, 3} - {row}


def test_the_next_tape_does_what_it_promises() -> None:
    """Brute force: every tape that is missing is added and the network adjusted anew."""
    true_m, network = invented(21, points=8, tapes=4)
    found = adjust(network, true_m)
    weak = next_tapes(found)[0]
    assert weak.point == int(np.argmax(point_sigma_m(found)))
    assert weak.sigma_before_m == pytest.approx(float(point_sigma_m(found).max()))
    after = {}
    joined = {tuple(ends) for ends in network.tape_ends.tolist()}
    for a in range(8):
        for b in range(max(a + 1, 4), 8):
            if (a, b) not in joined:
                more = replace(
                    network,
                    tape_ends=np.vstack([network.tape_ends, [a, b]]),
                    tape_m=np.append(network.tape_m, np.linalg.norm(found.at_m[a] - found.at_m[b])),
                    tape_sigma_m=np.append(network.tape_sigma_m, 0.003),
                )
                after[a, b] = float(point_sigma_m(adjust(more, found.at_m))[weak.point])
    best = min(after, key=lambda ends: after[ends])
    assert weak.ends == best
    assert weak.sigma_after_m == pytest.approx(after[best], rel=1e-6)
    assert sorted(after.values())[1] > weak.sigma_after_m * 1.001


@pytest.mark.parametrize("seed", range(10))
def test_what_floats_is_named_with_tapes_that_hold_it(seed: int) -> None:
    true_m, network = invented(seed, points=9)
    assert floating(adjust(network, true_m)) is None
    rng = np.random.default_rng(seed)
    point = int(rng.integers(4, 9))
    mine = np.flatnonzero((network.tape_ends == point).any(axis=1))
    keep = np.setdiff1d(np.arange(network.tapes), mine[2:])  # two tapes are left
    loose = floating(adjust(measured(true_m, network.tape_ends[keep], rng), true_m))
    assert loose is not None
    assert point in loose.points
    assert len(loose.cures) == loose.directions
    assert all(set(loose.points) & set(ends) for ends in loose.cures)
    ends = network.tape_ends[keep]
    for _ in range(2):  # a second round where a direction was held, but only by a thread
        assert floating(adjust(measured(true_m, ends, rng), true_m)) is not None
        ends = np.vstack([ends, loose.cures])
        loose = floating(adjust(measured(true_m, ends, rng), true_m))
        if loose is None:
            return
    pytest.fail(f"{point} still floats with the tapes that were to hold it")
