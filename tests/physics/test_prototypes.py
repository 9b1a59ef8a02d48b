"""The solver's filters against ``physics.filters`` (which other tests hold to SciPy and the published cookbook).

Derivatives are held to differences of what the coefficients do, so no formula is typed twice.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from cabinwright.physics.filters import Filter, crossover_qs, filter_sections, sections_response
from cabinwright.physics.prototypes import all_pass, high_pass, low_pass, peaking, warp

RATE = 48000.0
FREQUENCY = np.geomspace(15.0, 0.48 * RATE, 300)
SLOPES = [("Butterworth", 6 * order) for order in range(1, 9)] + [
    ("Linkwitz-Riley", 12 * order) for order in range(1, 5)
]


def _written(item: Filter) -> Any:
    """What the coefficients that go into the processor do."""
    return sections_response(filter_sections(item, sample_rate_hz=RATE), frequency_hz=FREQUENCY, sample_rate_hz=RATE)


def _warp(corner_hz: float) -> tuple[Any, Any]:
    return warp(frequency_hz=FREQUENCY, corner_hz=np.asarray(corner_hz), sample_rate_hz=RATE)


def _slope(of: Callable[[float], Filter]) -> Any:
    """Derivative of the logarithm of what is written, at 0: central differences at two widths, extrapolated."""

    def centred(step: float) -> Any:
        return np.log(_written(of(step)) / _written(of(-step))) / (2.0 * step)

    return (4.0 * centred(5e-4) - centred(1e-3)) / 3.0


def _same(got: Any, expected: Any, tolerance: float) -> bool:
    return bool(np.abs(got - expected).max() <= tolerance * max(1.0, np.abs(expected).max()))


@pytest.mark.parametrize("corner_hz", [40.0, 180.0, 3300.0, 15000.0])
@pytest.mark.parametrize("q", [0.3, 1.0, 8.0])
@pytest.mark.parametrize("gain_db", [-12.0, 0.0, 5.5])
def test_peaking(corner_hz: float, q: float, gain_db: float) -> None:
    got, by_f, by_gain, by_q = peaking(*_warp(corner_hz), gain_db=np.asarray(gain_db), q=np.asarray(q))
    assert _same(got, _written(Filter("peaking", corner_hz, gain_db=gain_db, q=q)), 1e-9)
    assert not _same(got, _written(Filter("peaking", corner_hz, gain_db=gain_db + 1e-4, q=q)), 1e-9)
    assert _same(by_f, _slope(lambda h: Filter("peaking", corner_hz * np.exp(h), gain_db=gain_db, q=q)), 2e-6)
    assert _same(by_gain, _slope(lambda h: Filter("peaking", corner_hz, gain_db=gain_db + h, q=q)), 2e-6)
    assert _same(by_q, _slope(lambda h: Filter("peaking", corner_hz, gain_db=gain_db, q=q * np.exp(h))), 2e-6)
    if gain_db:
        assert not _same(
            1.0001 * by_q, _slope(lambda h: Filter("peaking", corner_hz, gain_db=gain_db, q=q * np.exp(h))), 2e-6
        )


@pytest.mark.parametrize("corner_hz", [30.0, 400.0, 9000.0])
@pytest.mark.parametrize("q", [0.4, 0.7, 3.0])
def test_all_pass(corner_hz: float, q: float) -> None:
    got, by_f, by_q = all_pass(*_warp(corner_hz), q=np.asarray(q))
    assert _same(got, _written(Filter("all-pass", corner_hz, q=q)), 1e-9)
    assert np.abs(np.abs(got) - 1.0).max() < 1e-12
    assert _same(by_f, _slope(lambda h: Filter("all-pass", corner_hz * np.exp(h), q=q)), 2e-6)
    assert _same(by_q, _slope(lambda h: Filter("all-pass", corner_hz, q=q * np.exp(h))), 2e-6)
    assert not _same(-by_q, _slope(lambda h: Filter("all-pass", corner_hz, q=q * np.exp(h))), 2e-6)


@pytest.mark.parametrize("kind", ["low-pass", "high-pass"])
@pytest.mark.parametrize(("family", "slope"), SLOPES)
@pytest.mark.parametrize("corner_hz", [25.0, 320.0, 4500.0])
def test_crossovers(kind: Any, family: Any, slope: int, corner_hz: float) -> None:
    made = high_pass if kind == "high-pass" else low_pass
    got, by_f = made(*_warp(corner_hz), qs=crossover_qs(family, slope))
    written = _written(Filter(kind, corner_hz, family=family, slope_db_per_octave=slope))
    # Far below its corner a steep high-pass is a small difference of large coefficients: only there they may part.
    heard = np.abs(written) > 1e-6
    assert _same(got[heard], written[heard], 1e-9)
    turned = _slope(lambda h: Filter(kind, corner_hz * np.exp(h), family=family, slope_db_per_octave=slope))
    assert _same(by_f[heard], turned[heard], 1e-6)
    assert not _same(1.0001 * by_f[heard], turned[heard], 1e-6)


def test_many_at_once() -> None:
    """Banks broadcast: the second of three filters is what it would be alone."""
    corners = np.array([50.0, 700.0, 8000.0])[:, None]
    x, lean = warp(frequency_hz=FREQUENCY, corner_hz=corners, sample_rate_hz=RATE)
    together = peaking(x, lean, gain_db=np.array([[3.0], [-4.0], [1.0]]), q=np.array([[1.0], [2.0], [3.0]]))
    alone = peaking(*_warp(700.0), gain_db=np.asarray(-4.0), q=np.asarray(2.0))
    for bank, single in zip(together, alone, strict=True):
        np.testing.assert_allclose(bank[1], single, rtol=1e-12, atol=0.0)
