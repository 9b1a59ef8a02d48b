"""Numbers as words."""

from __future__ import annotations

import math

import pytest

from cabinwright.handover import wording


@pytest.mark.parametrize(
    ("value", "words"),
    [(-3.04, "−3.0 dB"), (2.0, "+2.0 dB"), (0.0, "0.0 dB"), (-0.04, "0.0 dB"), (math.nan, "–"), (math.inf, "–")],
)
def test_decibels(value: float, words: str) -> None:
    assert wording.decibels(value) == words


@pytest.mark.parametrize(
    ("value", "words"),
    [(80.0, "80 Hz"), (12699.0, "12699 Hz"), (62.5, "62.5 Hz"), (31.25, "31.25 Hz"), (1e5, "100000 Hz"),
     (33.333333, "33.33 Hz")],
)  # fmt: skip
def test_hertz(value: float, words: str) -> None:
    assert wording.hertz(value) == words


@pytest.mark.parametrize(("value", "words"), [(1.2e-5, "12 µs"), (-3.1e-4, "−310 µs"), (0.0021, "+2.10 ms")])
def test_microseconds(value: float, words: str) -> None:
    assert wording.microseconds(value) == words


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("snr_low_db", 41.24, "snr low 41.2 dB"),
        ("arrival_error_s", -2.1e-5, "arrival error −0.02 ms"),
        ("clock_drift_ppm", 3.2, "clock drift 3.2 ppm"),
        ("snr_a_db", 41.23, "A-weighted snr 41.2 dB"),
        ("clipped_samples", 12, "clipped samples 12"),
        ("snr_db", math.nan, "snr –"),
        ("note", "odd", "note odd"),
    ],
)
def test_figures(name: str, value: object, words: str) -> None:
    assert wording.figure(name, value) == words


def test_delay_words_use_exact_inches() -> None:
    """1 in is 0.0254 m exactly (NIST SP 811, B.8): 25.4 cm are 10 in."""
    words = wording.delay_words(0.254 / 343.2, sound_speed_m_s=343.2)
    assert (words["cm"], words["inches"], words["ms"]) == ("25.4", "10.00", "0.740")


def test_join() -> None:
    assert wording.join(("a", "b", "c")) == "a, b and c"
    assert wording.join(("a",)) == "a"
    assert wording.join(()) == ""


@pytest.mark.parametrize(
    ("value_m", "units", "fine", "words"),
    [
        (0.0254, "US", False, "1.00 in"),
        (1.2, "metric", False, "1.200 m"),
        (-0.00127, "US", True, "−0.050 in"),
        (0.00044, "metric", True, "0.4 mm"),
    ],
)
def test_length_in_the_units_that_were_chosen(value_m: float, units: str, fine: bool, words: str) -> None:
    """One inch is 25.4 mm exactly (NIST SP 811, appendix B)."""
    assert wording.length(value_m, units=units, fine=fine) == words
