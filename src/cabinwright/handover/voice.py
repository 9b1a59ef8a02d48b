"""Where a voice in the middle stands: the figure and the words that report, book and screen share."""

from __future__ import annotations

import math
from typing import Any

from cabinwright.build.document import Build
from cabinwright.drawings.picture import Picture
from cabinwright.drawings.picture_svg import draw
from cabinwright.drawings.voice import voice_view
from cabinwright.handover.wording import NONE, signed, small_unit
from cabinwright.stages.voice.result import BASES, SeatVoice, VoiceImage, VoiceResult
from cabinwright.units import from_si

__all__ = ["ABOUT", "HEAD", "LIMITS", "VERSION_WORDS", "basis_words", "voice_part", "voice_picture", "voice_rows"]

VERSION_WORDS = {"before": "by tape alone", "now": "loaded now", "proposed": "proposed"}
HEAD = ("seat", "settings", "stands", "spread", "on the dashboard", "from its place")
ABOUT = (
    "What is sung alike from left and right, as the first sound at both ears tells it: the dot is where it stands, the bar what "
    "two thirds of its bands take up. Angles from straight ahead, distances on the dashboard from the car’s middle."
)
LIMITS = (
    "Differences between settings mean more than the degrees themselves: heads differ by a tenth, ears by more.",
    "Nothing is known of height, and of front from back: the ears are a rigid sphere’s.",
    "Long notes hang on modes and late reflections, which are not counted; people hear a voice where they expect it.",
)


def voice_picture(build: Build, result: VoiceResult, *, width_mm: float = 170.0) -> Picture:
    """Seats, dashboard and every version, to scale from above."""
    told = [[_stands(image) for image in seat.images] for seat in result.seats]
    return voice_view(result, VERSION_WORDS, told, units=build.workshop.units, width_mm=width_mm)


def voice_rows(build: Build, result: VoiceResult) -> list[tuple[str, ...]]:
    """One row for each seat and version, under ``HEAD``."""
    return [
        (
            seat.seat if number == 0 else "",
            VERSION_WORDS[image.version],
            _stands(image),
            NONE if not math.isfinite(image.spread_deg) else f"± {image.spread_deg:.0f}°",
            _across(build, result, image),
            _off(seat, image),
        )
        for seat in result.seats
        for number, image in enumerate(seat.images)
    ]


def basis_words(result: VoiceResult) -> list[str]:
    """What each seat's figures rest on, as sentences."""
    return [f"{seat.seat}: {BASES[seat.basis]}." for seat in result.seats]


def voice_part(build: Build, result: VoiceResult | None) -> dict[str, Any] | None:
    """The same as a page takes it; None where nothing is known."""
    from markupsafe import Markup

    if result is None:
        return None
    picture = Markup(draw(voice_picture(build, result)))
    limits = [*basis_words(result), *LIMITS]
    return {"about": ABOUT, "picture": picture, "head": HEAD, "rows": voice_rows(build, result), "limits": limits}


def _side(value: float, words: str) -> str:
    return words if float(words.split("°")[0].split()[0]) == 0.0 else f"{words} {'right' if value > 0.0 else 'left'}"


def _stands(image: VoiceImage) -> str:
    """``3° right``."""
    return NONE if not math.isfinite(image.at_deg) else _side(image.at_deg, f"{abs(image.at_deg):.0f}°")


def _across(build: Build, result: VoiceResult, image: VoiceImage) -> str:
    if not math.isfinite(image.across_m):
        return NONE if not math.isfinite(image.at_deg) else "beside the car"
    off = image.across_m - result.dashboard.middle_m
    symbol = small_unit(build)
    return _side(off, f"{from_si(abs(off), symbol=symbol):.0f} {symbol}")


def _off(seat: SeatVoice, image: VoiceImage) -> str:
    gap = image.at_deg - seat.wanted_deg
    return NONE if not math.isfinite(gap) else f"{signed(gap, 0)}°"
