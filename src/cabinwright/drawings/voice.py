"""Where a voice in the middle stands, seen from above with the car's nose up: heads, the dashboard, and each set of settings.

To scale in the plane. Above the dashboard each version has a row of its own: a dot where the voice stands, a bar over what two
thirds of its bands take up. What marks a version is the dot's filling and the line's dash as well as its colour.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from cabinwright.drawings.picture import Disc, Picture, Shape, Stroke, Words
from cabinwright.stages.voice.dashboard import across
from cabinwright.stages.voice.result import Dashboard, SeatVoice, VoiceImage, VoiceResult

__all__ = ["voice_view"]

LOOKS = {  #: of the line and of the dot
    "before": ("voice before", "voice before dot"),
    "now": ("ray", "bounce"),
    "proposed": ("direct", "place first"),
}
ROW_M, GROUP_M, ABOVE_M = 0.08, 0.13, 0.17
DOT_MM, HEAD_M = 1.3, 0.075
BESIDE_M, REACH_M = 0.46, 0.78  #: room for words, and how far the dashboard is drawn to either side
UNITS = {"metric": (100.0, 20, "cm"), "US": (100.0 / 2.54, 8, "in")}


def voice_view(
    result: VoiceResult, words: Mapping[str, str], told: Sequence[Sequence[str]], *, units: str, width_mm: float = 170.0
) -> Picture:
    """The picture. ``words`` names the versions; ``told`` says where each stands, by seat in the order of its images."""
    line = result.dashboard
    middle, front = line.middle_m, -line.at_m
    shapes: list[Shape] = [*_dashboard(line, units)]
    level = front + ABOVE_M
    spoken: list[str] = []
    for seat, texts in zip(reversed(result.seats), reversed(told), strict=True):
        foot = level - 0.5 * ROW_M
        for image, text in zip(reversed(seat.images), reversed(texts), strict=True):
            shapes += _row(line, image, level, words[image.version], text)
            spoken.insert(0, f"{seat.seat}, {words[image.version]}: {text}")
            level += ROW_M
        shapes += _wanted(seat, line, foot, level - 0.4 * ROW_M)
        shapes.append(Words((middle - REACH_M, level), seat.seat, (-1.5, -0.9), "end", bold=True))
        level += GROUP_M
    for seat in result.seats:
        shapes += _sight(seat, line)
    back = max(float(seat.head_m[0]) for seat in result.seats)
    wide = REACH_M + BESIDE_M
    return Picture(
        says=f"Where a voice in the middle stands, from above, nose up. {'; '.join(spoken)}.",
        shapes=tuple(shapes),
        low=(middle - wide, -back - 0.16),
        high=(middle + wide, level - 0.4 * ROW_M),
        width_mm=width_mm,
        border_mm=1.0,
        scale_bar_m=None,
    )


def _dashboard(line: Dashboard, units: str) -> Iterator[Shape]:
    """The line across the car with its distances from the middle."""
    front, middle = -line.at_m, line.middle_m
    factor, step, unit = UNITS[units]
    yield Stroke(np.array([[middle - REACH_M, front], [middle + REACH_M, front]]), "measure")
    most = int(REACH_M * factor // step) * step
    for mark in range(-most, most + 1, step):
        at = middle + mark / factor
        yield Stroke(np.array([[at, front], [at, front + 0.015]]), "measure")
        yield Words((at, front), f"{abs(mark)}", (0.0, 2.0), size_pt=6.5)
    for at, text, anchor in ((-REACH_M, f"left, {unit}", "end"), (REACH_M, f"right, {unit}", "start")):
        yield Words((middle + at, front), text, (1.5 if at > 0.0 else -1.5, -0.9), anchor, size_pt=7.0)


def _row(line: Dashboard, image: VoiceImage, level: float, name: str, text: str) -> Iterator[Shape]:
    middle, (stroke, dot) = line.middle_m, LOOKS[image.version]
    yield Words((middle - REACH_M, level), name, (-1.5, -0.9), "end", size_pt=7.0)
    yield Words((middle + REACH_M, level), text, (1.5, -0.9), "start", size_pt=7.0)
    yield Stroke(np.array([[middle - REACH_M, level], [middle + REACH_M, level]]), "voice row")
    if not math.isfinite(image.across_m):
        return
    if math.isfinite(image.spread_m):
        ends = np.clip(
            [image.across_m - image.spread_m, image.across_m + image.spread_m], -REACH_M + middle, REACH_M + middle
        )
        yield Stroke(np.array([[ends[0], level], [ends[1], level]]), stroke)
    if abs(image.across_m - middle) <= REACH_M:
        yield Disc((image.across_m, level), 0.0, dot, least_mm=DOT_MM)


def _wanted(seat: SeatVoice, line: Dashboard, foot: float, top: float) -> Iterator[Shape]:
    """Where it should stand, over this seat's rows."""
    at = across(seat.head_m, line, seat.wanted_deg)
    if math.isfinite(at):
        yield Stroke(np.array([[at, foot], [at, top]]), "head box")
        yield Words((at, top), "wanted", (0.0, 0.6), size_pt=6.5)


def _sight(seat: SeatVoice, line: Dashboard) -> Iterator[Shape]:
    """The head, and the direction of each version's voice."""
    x, y, _ = seat.head_m
    for image in seat.images:
        at = image.across_m
        if math.isfinite(at) and abs(at - line.middle_m) <= REACH_M:
            yield Stroke(np.array([[y, -x], [at, -line.at_m]]), LOOKS[image.version][0])
    yield Disc((y, -x), HEAD_M, "head")
    yield Stroke(np.array([[y - 0.02, -x + HEAD_M], [y, -x + HEAD_M + 0.025], [y + 0.02, -x + HEAD_M]]), "head")
    yield Words((y, -x - HEAD_M), seat.seat, (0.0, -3.2), size_pt=7.0)
