"""Units against NIST SP 811 and SciPy's constants, and whatever a person may write."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from cabinwright.units import UNITS, UnitError, from_si, suffix_of, to_si, unit_names

REFERENCE = tomllib.loads((Path(__file__).parent / "references" / "units.toml").read_text(encoding="utf-8"))


@pytest.mark.parametrize(
    ("suffix", "symbol", "factor"),
    [(table.rsplit("_", 1)[1], unit, value) for table, rows in REFERENCE.items() for unit, value in rows.items()],
)
def test_factors_are_those_of_nist_sp_811(suffix: str, symbol: str, factor: float) -> None:
    assert to_si(f"1 {symbol}", suffix=suffix) == factor
    assert to_si(f"-1 {symbol}", suffix=suffix) == -factor


def test_lengths_agree_with_scipy_constants() -> None:
    for symbol, factor in (("in", constants.inch), ("ft", constants.foot)):
        assert math.isclose(to_si(f"1 {symbol}", suffix="m"), factor, rel_tol=1e-15)
        assert not math.isclose(to_si(f"1.00001 {symbol}", suffix="m"), factor, rel_tol=1e-15)


@pytest.mark.parametrize(
    ("text", "suffix", "value"),
    [
        ("14 in", "m", 0.3556),
        ("14 3/8 in", "m", 0.365125),
        ("3/8 in", "m", 0.009525),
        ("1 ft 2 in", "m", 0.3556),
        ("-1 ft 2 in", "m", -0.3556),
        ("5' 3\"", "m", 1.6002),
        ("35cm", "m", 0.35),
        (" .35 metres ", "m", 0.35),
        ("−62 cm", "m", -0.62),
        ("1.2 ms", "s", 0.0012),
        ("20.8 us", "s", 2.08e-05),
        ("48 kHz", "hz", 48000.0),
        ("1e3 hz", "hz", 1000.0),
        ("-3 dB", "db", -3.0),
        ("1.5 cu ft", "m3", 1.5 * 0.028316846592),
        ("1 Cubic Foot", "m3", 0.028316846592),
        ("2 cu.in", "m3", 2 * 1.6387064e-05),
        ("750 cc", "m3", 0.00075),
        ("18 ft3", "m3", 18 * 0.028316846592),
        ("20 litre", "m3", 0.02),
        ("480 mm2", "m2", 0.00048),
        ("480 mm²", "m2", 0.00048),
        ("10 sq in", "m2", 0.0064516),
        ("10 in2", "m2", 0.0064516),
        ("1 sq ft", "m2", 0.09290304),
        ("24 dB/oct", "db_per_octave", 24.0),
    ],
)
def test_what_people_write(text: str, suffix: str, value: float) -> None:
    assert to_si(text, suffix=suffix) == value


@pytest.mark.parametrize(
    ("text", "suffix", "words"),
    [
        ("", "m", "is empty"),
        ("14", "m", "no unit; add one"),
        ("1,5 m", "m", "comma"),
        ("5 furlong", "m", "'furlong' is not a unit"),
        ("5 kHz", "m", "use m, cm, mm, in or ft"),
        ("nan m", "m", "not a number"),
        ("1 m -2 cm", "m", "not a number"),
        ("1/0 in", "m", "divides by zero"),
        ("1e999999999 m", "m", "no unit"),
        ("9" * 5000 + " m", "m", "…"),
        ("12 in 3", "m", "no unit"),
    ],
)
def test_what_is_refused_says_why(text: str, suffix: str, words: str) -> None:
    with pytest.raises(UnitError, match=words) as caught:
        to_si(text, suffix=suffix)
    assert len(str(caught.value)) < 200


@given(st.text(max_size=60), st.sampled_from(sorted(UNITS)))
def test_any_text_is_a_finite_number_or_a_unit_error(text: str, suffix: str) -> None:
    try:
        value = to_si(text, suffix=suffix)
    except UnitError:
        return
    assert math.isfinite(value)


@given(
    st.floats(min_value=-1e6, max_value=1e6, allow_nan=False).filter(lambda x: x == 0 or abs(x) > 1e-6),
    st.sampled_from([(suffix, unit.symbol) for suffix, units in UNITS.items() for unit in units]),
)
def test_there_and_back(value: float, unit: tuple[str, str]) -> None:
    suffix, symbol = unit
    written = f"{from_si(value, symbol=symbol):.17g} {symbol}"
    assert math.isclose(to_si(written, suffix=suffix), value, rel_tol=1e-14)


def test_every_spelling_reads_as_its_unit_and_no_two_units_share_one() -> None:
    for suffix, units in UNITS.items():
        spellings = [spelling for unit in units for spelling in (unit.symbol, *unit.spellings)]
        assert len({spelling.casefold() for spelling in spellings if spelling != "μs"}) == len(spellings) - (
            "μs" in spellings
        )
        for unit in units:
            for spelling in unit.spellings:
                assert to_si(f"2 {spelling}", suffix=suffix) == to_si(f"2 {unit.symbol}", suffix=suffix)


@pytest.mark.parametrize(("text", "suffix"), [("1 MΩ", "ohm"), ("1 MOhm", "ohm"), ("2 MW", "w"), ("3 MV", "v")])
def test_a_million_is_never_a_thousandth(text: str, suffix: str) -> None:  # SI Brochure, table 7: M mega, m milli
    with pytest.raises(UnitError, match="large M"):
        to_si(text, suffix=suffix)
    assert to_si("20 MM", suffix="m") == 0.02


def test_suffix_and_names() -> None:
    assert suffix_of("delay_max_s") == "s"
    assert suffix_of("crossover_slopes_db_per_octave") == "db_per_octave"
    assert suffix_of("title") is None
    assert unit_names("hz") == "Hz or kHz"
    with pytest.raises(KeyError, match="furlong"):
        from_si(1.0, symbol="furlong")
