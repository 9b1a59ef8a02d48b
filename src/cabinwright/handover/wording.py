"""Numbers as a person reads them. Every document takes its words from here, so that all say the same."""

from __future__ import annotations

import math
from typing import Any, Literal

from cabinwright.build.document import Build
from cabinwright.physics.filters import Filter
from cabinwright.units import from_si

__all__ = [
    "MINUS",
    "NONE",
    "crossover_words",
    "decibels",
    "delay_words",
    "figure",
    "hertz",
    "join",
    "length",
    "microseconds",
    "milliseconds",
    "ratio",
    "signed",
    "small_unit",
    "third_octave",
    "volume",
    "wire_length",
]

MINUS = "\u2212"
NONE = "\u2013"

FIGURE_UNITS: tuple[tuple[str, str, float, int], ...] = (
    ("_db_per_octave", "dB per octave", 1.0, 0),
    ("_db", "dB", 1.0, 1),
    ("_hz", "Hz", 1.0, 0),
    ("_ppm", "ppm", 1.0, 1),
    ("_us", "µs", 1.0, 0),
    ("_ms", "ms", 1.0, 2),
    ("_s", "ms", 1000.0, 2),
    ("_m", "cm", 100.0, 1),
    ("_percent", "%", 1.0, 1),
    ("_ratio", "%", 100.0, 1),
)
"""Suffix of a stored figure -> unit shown, factor, decimals."""
FIGURE_NAMES = {"snr_a": "A-weighted snr"}
"""Figures whose name without its suffix does not speak for itself."""


def signed(value: float, decimals: int, *, plus: bool = True) -> str:
    """``-3.0`` -> ``−3.0``; with ``plus`` a positive value carries its sign; zero never does."""
    if not math.isfinite(value):
        return NONE
    text = f"{abs(value):.{decimals}f}"
    if float(text) == 0.0:
        return text
    return (MINUS if value < 0 else "+" if plus else "") + text


def decibels(value: float, *, decimals: int = 1, plus: bool = True) -> str:
    """``−3.2 dB``; a dash where there is no value."""
    text = signed(value, decimals, plus=plus)
    return text if text == NONE else f"{text} dB"


def hertz(value: float) -> str:
    """``80 Hz``, ``2500 Hz``, ``62.5 Hz``: what a keypad takes, without thousands marks."""
    return f"{value:.10g} Hz" if value == round(value, 3) else f"{value:.2f} Hz"


NOMINAL = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0, 10.0)
"""Nominal mid-band frequencies of third octaves in one decade (IEC 61260-1:2014, annex E)."""


def third_octave(exact_hz: float) -> str:
    """The name of a third-octave band: ``31.5 Hz`` for the exact 31.62 Hz."""
    decade = 10.0 ** math.floor(math.log10(exact_hz))
    return hertz(round(min(NOMINAL, key=lambda step: abs(math.log(exact_hz / decade / step))) * decade, 3))


def ratio(value: float) -> str:
    """A Q: ``1.40``."""
    return f"{value:.2f}" if math.isclose(value, round(value, 2), abs_tol=1e-9) else f"{value:.3f}"


def microseconds(value_s: float) -> str:
    """``12 µs``; larger times in ms; a dash where there is no value."""
    if not math.isfinite(value_s):
        return NONE
    return f"{signed(value_s * 1e6, 0, plus=False)} µs" if abs(value_s) < 1e-3 else f"{signed(value_s * 1e3, 2)} ms"


def milliseconds(value_s: float) -> str:
    """``2.854 ms``; a dash where there is no value."""
    text = signed(value_s * 1e3, 3, plus=False)
    return text if text == NONE else f"{text} ms"


def delay_words(delay_s: float, *, sound_speed_m_s: float) -> dict[str, str]:
    """A delay as bare numbers: ``ms``, and ``cm`` and ``inches`` of air."""
    path_m = delay_s * sound_speed_m_s
    return {
        "ms": f"{from_si(delay_s, symbol='ms'):.3f}",
        "cm": f"{from_si(path_m, symbol='cm'):.1f}",
        "inches": f"{from_si(path_m, symbol='in'):.2f}",
    }


def length(value_m: float, *, units: str, fine: bool = False, plus: bool = False) -> str:
    """``1.234 m`` or ``48.58 in``; ``fine``, for what is left over: ``0.4 mm`` or ``0.016 in``. ``units``: metric or US."""
    symbol, decimals = {
        ("metric", False): ("m", 3),
        ("metric", True): ("mm", 1),
        ("US", False): ("in", 2),
        ("US", True): ("in", 3),
    }[units, fine]
    return f"{signed(from_si(value_m, symbol=symbol), decimals, plus=plus)} {symbol}"


def wire_length(value_m: float, *, units: str) -> str:
    """``5.80 m`` or ``19.03 ft``, as wire is cut and sold. ``units``: metric or US."""
    symbol = "ft" if units == "US" else "m"
    return f"{from_si(value_m, symbol=symbol):.2f} {symbol}"


def volume(value_m3: float, *, units: str) -> str:
    """``33.3 L`` or ``1.18 ft³``. ``units``: metric or US."""
    symbol, digits = ("ft³", 2) if units == "US" else ("L", 1)
    return f"{from_si(value_m3, symbol=symbol):.{digits}f} {symbol}"


def small_unit(build: Build) -> Literal["cm", "in"]:
    """The unit of places in the cabin, as the build's drawings count."""
    return "in" if build.workshop.units == "US" else "cm"


def crossover_words(item: Filter) -> str:
    """``Linkwitz-Riley 24 dB/octave``."""
    return f"{item.family} {item.slope_db_per_octave} dB/octave"


def figure(name: str, value: Any) -> str:
    """A stored figure in words: ``snr_low_db: 41.2`` -> ``snr low 41.2 dB``."""
    if not isinstance(value, int | float) or isinstance(value, bool):
        return f"{name.replace('_', ' ')} {value}"
    for suffix, unit, factor, decimals in FIGURE_UNITS:
        if name.endswith(suffix):
            shown = signed(value * factor, decimals, plus=False)
            stem = name.removesuffix(suffix)
            return f"{FIGURE_NAMES.get(stem, stem.replace('_', ' '))} {shown}" + ("" if shown == NONE else f" {unit}")
    return f"{name.replace('_', ' ')} {value:.4g}" if math.isfinite(value) else f"{name.replace('_', ' ')} {NONE}"


def join(words: list[str] | tuple[str, ...]) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)
