"""A take as a chart: what was heard, what is left of the noise in it, and what it has to stand over."""

from __future__ import annotations

import numpy as np

from cabinwright.drawings.chart import Axis, Chart, Line
from cabinwright.measure.guide.round import Picture

__all__ = ["take_chart"]

SPAN_DB = (60.0, 140.0)  #: of the axis, at least and at most


def take_chart(picture: Picture, name: str) -> Chart:
    """By third octave. The line to be cleared is drawn where this kind of loudspeaker plays alone."""
    level, noise = picture.level_db, picture.noise_db
    needed = np.where(picture.needed, noise + picture.limit_db, np.nan)
    heard = level[np.isfinite(level) & picture.needed]
    top = 10.0 * np.ceil((float(heard.max() if len(heard) else 0.0) + 8.0) / 10.0)
    quiet = noise[np.isfinite(noise) & picture.needed]
    low = 10.0 * np.floor((float(np.median(quiet) if len(quiet) else top) - 15.0) / 10.0)
    low = float(np.clip(low, top - SPAN_DB[1], top - SPAN_DB[0]))
    short = picture.needed & (level < needed)
    says = f"{name}: level and noise in third octaves; " + (
        f"{int(short.sum())} of {int(picture.needed.sum())} bands are short of {picture.limit_db:.0f} dB over the noise."
        if short.any()
        else f"every band that counts stands {picture.limit_db:.0f} dB or more over the noise."
    )
    lines = (
        Line(picture.frequency_hz, level, "heard", "after"),
        Line(picture.frequency_hz, needed, f"has to be over this ({picture.limit_db:.0f} dB over the noise)", "target"),
        Line(picture.frequency_hz, noise, "noise", "before"),
    )
    return Chart(says, Axis.frequency(), Axis("dB", low, top, step=20.0), lines=lines)
