"""Polarity and delay of ways: what was hidden in the responses must be found."""

from __future__ import annotations

import numpy as np
import pytest

from cabinwright.stages.tuning.align import scan_way
from cabinwright.stages.tuning.prepare import prepare
from stages.tune_cases import TWO_WAY, make_case

FREQUENCY = np.geomspace(20.0, 20000.0, 300)
CORNER = 100.0


def _two_ways(polarity: float, delay_s: float) -> np.ndarray:
    """Mean cross-spectra of a flat pair of ways; the lower one is turned and late."""
    h = np.stack([np.ones_like(FREQUENCY) + 0j, polarity * np.exp(-2j * np.pi * FREQUENCY * delay_s)])
    return np.einsum("cb,db->bcd", h, h.conj())


def _crossover() -> np.ndarray:
    s = 1j * FREQUENCY / CORNER
    high = s**4 / (1 + np.sqrt(2.0) * s + s**2) ** 2
    return np.stack([high, 1.0 / (1 + np.sqrt(2.0) * s + s**2) ** 2])


def _scan(polarity: float, delay_s: float):  # type: ignore[no-untyped-def]
    return scan_way(
        [(np.array([0, 1]), _two_ways(polarity, delay_s))],
        FREQUENCY,
        _crossover(),
        way=(1,),
        others=(0,),
        centre_hz=CORNER,
        span_hz=(40.0, 500.0),
    )


@pytest.mark.parametrize("polarity", [1.0, -1.0])
@pytest.mark.parametrize("delay_s", [0.0, 0.0012, -0.002])
def test_hidden_polarity_and_delay(polarity: float, delay_s: float) -> None:
    """Linkwitz 1976: both halves of a fourth-order crossover are in phase, so only what was hidden is to be undone."""
    best, *others = _scan(polarity, delay_s)
    assert best.polarity == polarity
    assert best.delay_s == pytest.approx(-delay_s, abs=1.0 / CORNER / 100.0)
    assert best.loss_db < 0.05
    assert min(scan.loss_db for scan in others if scan.polarity != polarity) > best.loss_db + 0.2


def test_best_comes_first() -> None:
    scans = _scan(1.0, 0.001)
    assert len(scans) > 1
    assert {scan.polarity for scan in scans} == {1.0, -1.0}
    assert scans[0].loss_db == min(scan.loss_db for scan in scans)


def test_ways_that_share_no_sum() -> None:
    scans = scan_way(
        [(np.array([0]), _two_ways(1.0, 0.0)[:, :1, :1])],
        FREQUENCY,
        _crossover(),
        way=(1,),
        others=(0,),
        centre_hz=CORNER,
        span_hz=(40.0, 500.0),
    )
    assert [(scan.polarity, scan.delay_s) for scan in scans] == [(1.0, 0.0)]


@pytest.mark.parametrize("turned", [(), ("right tweeter",), ("left midbass",), ("left tweeter", "right midbass")])
def test_pairs_wired_the_wrong_way_round(turned: tuple[str, ...]) -> None:
    case = make_case(*TWO_WAY, gain=dict.fromkeys(turned, -1.0))
    prepared = prepare(case.build, case.responses)
    for way in prepared.problem.ways:
        left, right = way.channels
        opposite = (TWO_WAY[left] in turned) != (TWO_WAY[right] in turned)
        assert prepared.polarity[left] * prepared.polarity[right] == (-1.0 if opposite else 1.0)
        assert prepared.pair_confidence[right] > 0.3
