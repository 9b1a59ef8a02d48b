"""The one place that converts units. Inside the program everything is SI; a person writes what he thinks in.

A stored field carries its unit as a suffix (``length_m``, ``frequency_hz``), and that suffix alone decides which units
its text may use. Factors are exact (NIST SP 811:2008, appendix B.8; SI prefixes, table 5), and text is added up in
exact fractions, so ``"14 in"`` is the float nearest to 0.3556 and nothing else.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction

__all__ = [
    "UNITS",
    "Gauge",
    "Unit",
    "UnitError",
    "awg_area_mm2",
    "from_si",
    "read_gauge",
    "suffix_of",
    "to_si",
    "unit_names",
]


class UnitError(ValueError):
    """Text that is not a quantity of the wanted kind; the message says what would be."""


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit a person may write: its symbol, other spellings, and how many SI units it is."""

    symbol: str
    factor: Fraction
    spellings: tuple[str, ...] = ()


UNITS: dict[str, tuple[Unit, ...]] = {
    "m": (
        Unit("m", Fraction(1), ("metre", "metres", "meter", "meters")),
        Unit("cm", Fraction(1, 100)),
        Unit("mm", Fraction(1, 1000)),
        Unit("in", Fraction(254, 10_000), ("inch", "inches", '"', "″", "”")),
        Unit("ft", Fraction(3048, 10_000), ("foot", "feet", "'", "′", "’")),
    ),
    "m3": (
        Unit("m³", Fraction(1), ("m^3", "m3")),
        Unit("L", Fraction(1, 1000), ("litre", "litres", "liter", "liters", "dm³", "dm^3")),
        Unit("ft³", Fraction(254 * 12, 10_000) ** 3, ("ft^3", "ft3", "cu ft", "cubic foot", "cubic feet")),
        Unit("in³", Fraction(254, 10_000) ** 3, ("in^3", "in3", "cu in", "cubic inch", "cubic inches")),
        Unit("cm³", Fraction(1, 1_000_000), ("cm^3", "cm3", "cc", "mL")),
    ),
    "m2": (
        Unit("m²", Fraction(1), ("m^2", "m2")),
        Unit("cm²", Fraction(1, 10_000), ("cm^2", "cm2", "sq cm")),
        Unit("mm²", Fraction(1, 1_000_000), ("mm^2", "mm2", "sq mm")),
        Unit("in²", Fraction(254, 10_000) ** 2, ("in^2", "in2", "sq in", "square inch", "square inches")),
        Unit("ft²", Fraction(254 * 12, 10_000) ** 2, ("ft^2", "ft2", "sq ft", "square foot", "square feet")),
    ),
    "kg": (
        Unit("kg", Fraction(1)),
        Unit("g", Fraction(1, 1000), ("gram", "grams")),
        Unit("lb", Fraction(45_359_237, 100_000_000), ("lbs", "pound", "pounds")),
        Unit("oz", Fraction(45_359_237, 1_600_000_000), ("ounce", "ounces")),
    ),
    "deg": (Unit("°", Fraction(1), ("deg", "degree", "degrees")),),
    "s": (
        Unit("s", Fraction(1), ("sec", "second", "seconds")),
        Unit("ms", Fraction(1, 1000)),
        Unit("µs", Fraction(1, 1_000_000), ("us", "μs")),
    ),
    "hz": (Unit("Hz", Fraction(1)), Unit("kHz", Fraction(1000))),
    "v": (Unit("V", Fraction(1), ("volt", "volts")), Unit("mV", Fraction(1, 1000))),
    "a": (Unit("A", Fraction(1), ("amp", "amps", "ampere", "amperes")), Unit("mA", Fraction(1, 1000))),
    "f": (
        Unit("F", Fraction(1), ("farad", "farads")),
        Unit("mF", Fraction(1, 1000)),
        Unit("µF", Fraction(1, 1_000_000), ("uF",)),
    ),
    "ah": (Unit("Ah", Fraction(1), ("A·h",)),),
    "ohm": (Unit("Ω", Fraction(1), ("ohm", "ohms")), Unit("mΩ", Fraction(1, 1000), ("mohm", "milliohm"))),
    "w": (Unit("W", Fraction(1), ("watt", "watts")), Unit("kW", Fraction(1000)), Unit("mW", Fraction(1, 1000))),
    "h": (Unit("H", Fraction(1)), Unit("mH", Fraction(1, 1000)), Unit("µH", Fraction(1, 1_000_000), ("uH",))),
    "t_m": (Unit("T·m", Fraction(1), ("Tm", "T*m", "N/A")),),
    "m_per_n": (
        Unit("m/N", Fraction(1)),
        Unit("mm/N", Fraction(1, 1000)),
        Unit("µm/N", Fraction(1, 1_000_000), ("um/N",)),
    ),
    "m_s": (Unit("m/s", Fraction(1)),),
    "db": (Unit("dB", Fraction(1)),),
    "db_per_octave": (Unit("dB/octave", Fraction(1), ("dB/oct",)),),
}
"""Field suffix -> its units, the SI unit first. Decibel and ampere-hour are no SI units but are accepted for use with it."""

_MEGA = frozenset({"ohm", "w", "v", "a", "h", "f"})
"""Where a large M is a prefix somebody may mean (SI, table 7), and not the capitals of a whole word ("MM")."""

_NUMBER = re.compile(
    r"""(?P<sign>[+\-−])?\s*
        (?: (?:(?P<whole>\d{1,9})\s+)? (?P<over>\d{1,6})\s*/\s*(?P<under>\d{1,6})
          | (?P<decimal>(?:\d{1,30}(?:\.\d{0,30})?|\.\d{1,30})(?:[eE][+\-]?\d{1,2})?) )
        \s*(?P<unit>(?:(?i:cu|cubic|sq|square)(?:\.\s*|\s+))?[^\d\s.+\-−]*(?:\^?[23](?=\s*\Z))?)\s*""",
    re.VERBOSE | re.ASCII,
)


def suffix_of(name: str) -> str | None:
    """The unit suffix of a field name, or ``None``: ``delay_max_s`` -> ``s``, ``title`` -> ``None``."""
    return next((suffix for suffix in sorted(UNITS, key=len, reverse=True) if name.endswith(f"_{suffix}")), None)


def unit_names(suffix: str) -> str:
    """The symbols a field of this suffix accepts, for messages: ``m, cm, mm, in or ft``."""
    symbols = [unit.symbol for unit in UNITS[suffix]]
    return " or ".join([", ".join(symbols[:-1]), symbols[-1]]) if len(symbols) > 1 else symbols[0]


def to_si(text: str, *, suffix: str) -> float:
    """Read a quantity such as ``"35 cm"``, ``"14 3/8 in"``, ``"1 ft 2 in"`` or ``"-3 dB"``.

    Args:
        text: one or more numbers, each with its unit; further ones add to the first and take its sign.
        suffix: field suffix, a key of ``UNITS``; the result is in that unit.

    Raises:
        UnitError: the text is no such quantity. Its message names the units that would do.
    """
    if "," in text:
        raise UnitError(f'{_short(text)} has a comma; write the decimal point as ".", without thousands marks')
    total, sign, at = Fraction(0), 1, 0
    stripped = text.strip()
    if not stripped:
        raise UnitError(f"the text is empty; write a number with its unit ({unit_names(suffix)})")
    while at < len(stripped):
        term = _NUMBER.match(stripped, at)
        if term is None or (at and term["sign"]):
            raise UnitError(f"{_short(text)} is not a number with its unit ({unit_names(suffix)})")
        if at == 0 and term["sign"] not in (None, "+"):
            sign = -1
        total += _value(term) * _unit(term["unit"], text=text, suffix=suffix).factor
        at = term.end()
    return sign * float(total)


def from_si(value: float, *, symbol: str) -> float:
    """The same quantity counted in the unit of this symbol: ``from_si(0.0254, symbol="in")`` -> 1.0.

    Raises ``KeyError`` for an unknown symbol (our own mistake).
    """
    for units in UNITS.values():
        for unit in units:
            if unit.symbol == symbol:
                return value * unit.factor.denominator / unit.factor.numerator
    raise KeyError(symbol)


@dataclass(frozen=True, slots=True)
class Gauge:
    """Size of a wire as it is written on its reel, with its nominal area."""

    text: str  #: ``4 AWG`` or ``25 mm2``
    area_mm2: float


_AWG = re.compile(r"(?:AWG\s*)?(?P<size>[1-4]/0|0{1,4}|[1-9]\d?)(?:\s*(?:AWG|ga|gauge))?", re.IGNORECASE)
_MM2 = re.compile(r"(?P<area>\d{1,3}(?:\.\d{1,4})?|\.\d{1,4})\s*(?:mm2|mm²|mm\^2|sq\s?mm)", re.IGNORECASE)
AREA_RANGE_MM2 = (0.05, 500.0)


def awg_area_mm2(number: int) -> float:
    """Area [mm²] of a solid round wire of this American gauge; 0 is 1/0, -3 is 4/0.

    Diameter 0.127 mm · 92^((36 − n)/39): ASTM B258.
    """
    diameter_mm = 0.127 * math.pow(92.0, (36 - number) / 39.0)
    return math.pi / 4.0 * diameter_mm**2


def read_gauge(text: str) -> Gauge:
    """Read the size of a wire: ``"4 AWG"``, ``"1/0 AWG"``, ``"25 mm2"``.

    Raises ``UnitError`` for anything else; the message says what would do.
    """
    stripped = text.strip()
    metric = _MM2.fullmatch(stripped)
    if metric:
        area = float(metric["area"])
        if not AREA_RANGE_MM2[0] <= area <= AREA_RANGE_MM2[1]:
            raise UnitError(f"{_short(text)}: a wire has {AREA_RANGE_MM2[0]:g} to {AREA_RANGE_MM2[1]:g} mm2")
        return Gauge(f"{area:g} mm2", area)
    american = _AWG.fullmatch(stripped)
    if american is None or stripped.isdigit():
        raise UnitError(f'{_short(text)} is no size of a wire; write for example "4 AWG", "1/0 AWG" or "25 mm2"')
    size = american["size"]
    zeros = int(size[0]) if size.endswith("/0") else len(size) if size[0] == "0" else 0
    number = 1 - zeros if zeros else int(size)
    if number > 40:
        raise UnitError(f"{_short(text)}: American gauges of wires run from 4/0 to 40 AWG")
    return Gauge(f"{zeros}/0 AWG" if zeros else f"{number} AWG", awg_area_mm2(number))


def _value(term: re.Match[str]) -> Fraction:
    if term["decimal"] is not None:
        return Fraction(term["decimal"])
    if int(term["under"]) == 0:
        raise UnitError(f"{_short(term[0])} divides by zero")
    return Fraction(int(term["whole"] or 0)) + Fraction(int(term["over"]), int(term["under"]))


def _unit(written: str, *, text: str, suffix: str) -> Unit:
    """Symbols are matched with their case first, and without it second, save that ``M`` (mega) is never ``m`` (milli)."""
    written = " ".join(written.replace(".", " ").split())  # "cu. ft" is "cu ft"
    for fold in (str, str.casefold):
        for unit in UNITS[suffix]:
            if fold(written) in {fold(spelling) for spelling in (unit.symbol, *unit.spellings)}:
                if written.startswith("M") and unit.factor == Fraction(1, 1000) and suffix in _MEGA:
                    raise UnitError(
                        f"{_short(text)}: {written[:20]} with a large M would be a million of them, and with a small m a"
                        f" thousandth; use {unit_names(suffix)}"
                    )
                return unit
    if not written:
        raise UnitError(
            f"{_short(text)} has no unit; add one ({unit_names(suffix)}), or write a bare number without quotes,"
            f" which counts in {UNITS[suffix][0].symbol}"
        )
    raise UnitError(f"{_short(written)} is not a unit this field knows; use {unit_names(suffix)}")


def _short(text: str, limit: int = 40) -> str:
    """The text in quotes, cut so that a message stays readable."""
    return repr(text if len(text) <= limit else f"{text[:limit]}…")
