"""Words so large that they are read from the driver's seat, and a picture of a take in one line of a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from cabinwright.measure.guide.round import Picture

__all__ = ["bars", "large"]

HALVES = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}
BARS = " ▁▂▃▄▅▆▇█"
STEP_DB = 10.0  #: of one bar


def large(words: str, *, wide: int = 78) -> str:
    """``words`` in letters five lines high, broken where they would be wider than ``wide``."""
    from PIL import Image, ImageDraw, ImageFont

    font = ImageFont.load_default_imagefont()
    rows: list[str] = []
    line = ""
    for word in [*words.split(), ""]:
        longer = f"{line} {word}".strip()
        if word and font.getlength(longer) <= wide:
            line = longer
            continue
        if line:
            drawn = Image.new("1", (int(font.getlength(line)) + 1, 12))
            ImageDraw.Draw(drawn).text((0, 0), line.encode("latin-1", "replace").decode("latin-1"), fill=1, font=font)
            dots = np.asarray(drawn)
            rows += ["".join(HALVES[bool(a), bool(b)] for a, b in zip(*pair, strict=True)) for pair in _pairs(dots)]
        line = word
    return "\n".join(row.rstrip() for row in rows)


def _pairs(dots: np.ndarray) -> list[tuple[np.ndarray, np.ndarray]]:
    used = np.flatnonzero(dots.any(axis=1))
    dots = dots[used[0] : used[-1] + 1] if len(used) else dots
    dots = np.concatenate([dots, np.zeros((len(dots) % 2, dots.shape[1]), dtype=bool)])
    return [(dots[row], dots[row + 1]) for row in range(0, len(dots), 2)]


def bars(picture: Picture) -> tuple[str, str, str]:
    """How far each third octave stands over its noise, which of them must, and what they are."""
    over = picture.level_db - picture.noise_db
    signs = "".join(BARS[int(np.clip(value / STEP_DB, 0, len(BARS) - 1))] for value in over)
    short = picture.needed & (over < picture.limit_db)
    marks = "".join("!" if bad else "-" if need else " " for need, bad in zip(picture.needed, short, strict=True))
    return signs, marks, f"{'20 Hz':<15}{'630':<10}20 kHz"
