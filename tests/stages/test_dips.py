"""Dips that filters should leave alone, made by hand: combs that move, notches that are or are not minimum phase."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from cabinwright.physics.filters import Filter, filter_sections, sections_response
from cabinwright.stages.tuning.dips import Dip, find_dips, leave_alone
from cabinwright.stages.tuning.fit import add_peaks, improve
from cabinwright.stages.tuning.model import Model
from cabinwright.stages.tuning.prepare import Prepared, prepare
from cabinwright.stages.tuning.start import start_state
from stages.tune_cases import ZERO, make_case

RATE = 48000.0
SAMPLES = 8192
FREQUENCY = np.fft.rfftfreq(SAMPLES, 1.0 / RATE)
PLACES = 5
COMB_S = (0.002907,) * 4 + (0.0024,)


def _found(spectra: NDArray[np.complex128]) -> tuple[list[Dip], Prepared]:
    """Dips of a full-range loudspeaker with these responses (positions, bins)."""
    case = make_case(
        "fullrange", positions=PLACES, samples=SAMPLES, noise=0.0, tuning={"house_curve": [[20.0, 0.0], [20000.0, 0.0]]}
    )
    turn = np.exp(-2j * np.pi * FREQUENCY * (ZERO / RATE + 0.003))
    impulse = np.fft.irfft(spectra * turn, SAMPLES)[None]
    prepared = prepare(case.build, replace(case.responses, impulse=impulse))
    state = start_state(prepared.problem, prepared.crossovers, prepared.polarity)
    return find_dips(prepared.problem, state, prepared.responses), prepared


def _body() -> NDArray[np.complex128]:
    """A loudspeaker's band and nothing else."""
    s = 1j * FREQUENCY
    return (s / 60.0) ** 2 / (1 + 1.4 * s / 60.0 + (s / 60.0) ** 2) / (1 + 1.4 * s / 21000.0 + (s / 21000.0) ** 2)


def _echo(delay_s: float, size: float) -> NDArray[np.complex128]:
    return 1.0 + size * np.exp(-2j * np.pi * FREQUENCY * delay_s)


def _near(dips: list[Dip], frequency_hz: float) -> list[Dip]:
    return [dip for dip in dips if abs(np.log2(dip.frequency_hz / frequency_hz)) < 0.25]


def test_nothing_to_find() -> None:
    dips, _ = _found(np.tile(_body(), (PLACES, 1)))
    assert dips == []


def test_minimum_phase_notch_is_left_to_the_filters() -> None:
    bell = sections_response(
        filter_sections(Filter("peaking", 700.0, gain_db=-12.0, q=3.0), sample_rate_hz=RATE),
        frequency_hz=np.minimum(FREQUENCY, 0.499 * RATE),
        sample_rate_hz=RATE,
    )
    dips, _ = _found(np.tile(_body() * bell, (PLACES, 1)))
    assert dips == []


def test_dip_of_a_reflection_louder_than_the_direct_sound() -> None:
    """With the later sound louder the zeros lie outside the unit circle (Neely & Allen 1979): not minimum phase.

    The same level with the louder sound first is minimum phase, and is not named.
    """
    delay_s = 1.0 / 1400.0  # first dip at 700 Hz
    loud = np.tile(_body() * _echo(delay_s, 1.25), (PLACES, 1))
    dips, _ = _found(loud)
    named = _near(dips, 700.0)
    assert len(named) == 1
    assert not named[0].minimum_phase
    assert not named[0].moves
    quiet = np.tile(_body() * (1.25 + np.exp(-2j * np.pi * FREQUENCY * delay_s)), (PLACES, 1))
    np.testing.assert_allclose(np.abs(quiet), np.abs(loud), atol=1e-9)
    assert _near(_found(quiet)[0], 700.0) == []


def test_dip_that_moves() -> None:
    """A comb that has its second dip at 516 Hz at four microphones, and none there at the fifth."""
    rows = [_body() * _echo(delay_s, 0.93) for delay_s in COMB_S]
    dips, prepared = _found(np.array(rows))
    moving = [dip for dip in _near(dips, 500.0) if dip.moves]
    assert len(moving) == 1
    assert moving[0].spread_db > 4.0
    assert moving[0].depth_db > 4.0
    assert moving[0].low_hz < moving[0].frequency_hz < moving[0].high_hz
    # The same comb everywhere does not move.
    assert not any(dip.moves for dip in _found(np.array([rows[0]] * PLACES))[0])
    # What is left alone counts less, and is filled less.
    problem = leave_alone(prepared.problem, dips)
    name = problem.sum_names[0]
    inside = (problem.spectra.group_hz > moving[0].low_hz) & (problem.spectra.group_hz < moving[0].high_hz)
    assert np.all(problem.leave[name][inside] < 0.5)
    assert np.all(problem.leave[name][problem.spectra.group_hz > 8000.0] == 1.0)


def _notch(frequency_hz: float) -> NDArray[np.complex128]:
    row = filter_sections(Filter("peaking", frequency_hz, gain_db=-18.0, q=9.0), sample_rate_hz=RATE)
    return sections_response(row, frequency_hz=np.minimum(FREQUENCY, 0.499 * RATE), sample_rate_hz=RATE)


def test_moving_dip_is_filled_less() -> None:
    """Nothing but a notch that lies elsewhere at one of five microphones: named as left alone, it is boosted less."""
    _, prepared = _found(np.array([_body() * _notch(f) for f in (516.0, 516.0, 516.0, 516.0, 1200.0)]))
    base = start_state(prepared.problem, prepared.crossovers, prepared.polarity)
    dips = [Dip("everything", 516.0, 490.0, 545.0, 6.0, 6.0, True, True)]

    def boost(left: bool) -> float:
        problem = leave_alone(prepared.problem, dips) if left else prepared.problem
        state = improve(problem, add_peaks(problem, base, 8), iterations=30)
        frequency = problem.spectra.frequency_hz
        _, peaked, _ = Model(state.layout, frequency).evaluate(state.vector, derivatives=False)
        level = 20.0 * np.log10(np.abs(peaked[0]))
        away = np.abs(np.log2(frequency / 516.0))
        return float(level[away < 0.08].mean() - level[(away > 0.5) & (away < 1.0)].mean())

    assert boost(left=True) < boost(left=False) - 1.0
