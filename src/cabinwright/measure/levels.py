"""Levels that stand apart: somebody turned a knob between two recordings.

At places round one head a loudspeaker is heard about equally loud on average over its band: within 2.5 dB in simulated
cabins, and a few dB more in beaming ones. ``LEVEL_DB`` lies well above both and well below what a turned knob
does to a tune.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from cabinwright.measure.evidence import Evidence
from cabinwright.measure.faults import Fault, core_bands
from cabinwright.measure.take import Take

__all__ = ["LEVEL_DB", "majority", "odd_levels", "odd_markers"]

Real = NDArray[np.float64]
LEVEL_DB = 8.0
SHAPE_DB = 4.0  #: mean difference that a mere change of gain leaves between spectra


def majority(values: Real, *, width: float) -> tuple[float, bool]:
    """Median of the largest group of ``values`` that lies within ``width``, and whether more than half belong to it."""
    ordered = np.sort(values[np.isfinite(values)])
    if not len(ordered):
        return float("nan"), False
    counts = np.searchsorted(ordered, ordered + width, side="right") - np.arange(len(ordered))
    first = int(np.argmax(counts))
    group = ordered[first : first + int(counts[first])]
    return float(np.median(group)), 2 * len(group) > len(ordered)


def odd_levels(evidence: Evidence, positions: Sequence[str]) -> dict[tuple[int, int], Fault]:
    """Recordings whose level is not that of the channel's other ones though the loudspeaker is the same.

    Where no more than half of a channel's recordings agree, none of them can be trusted.
    """
    found: dict[tuple[int, int], Fault] = {}
    for row, core in enumerate(evidence.core_hz):
        spectra = evidence.level_db[row]
        level = spectra[:, core_bands(core)].mean(axis=-1)
        heard = np.flatnonzero(np.isfinite(level))
        usual, agreed = majority(level, width=LEVEL_DB)
        if len(heard) < 2 or (agreed and np.nanmax(np.abs(level - usual)) <= LEVEL_DB):
            continue
        good = [column for column in heard if abs(level[column] - usual) <= LEVEL_DB] if agreed else list(heard)
        shape = np.median(spectra[good] - level[good, None], axis=0)
        for column in map(int, heard):
            if not agreed:
                found[row, column] = _undecided(level, heard, positions)
            elif column not in good and _difference(spectra[column] - level[column], shape) < SHAPE_DB:
                found[row, column] = _odd(float(level[column] - usual), "the channel's recordings at other positions")
    return found


def _difference(one: Real, two: Real) -> float:
    """Mean absolute difference [dB] where either is within 30 dB of its loudest band."""
    use = (one > one.max() - 30.0) | (two > two.max() - 30.0)
    return float(np.mean(np.abs(one - two)[use]))


def _odd(apart_db: float, others: str, *, whose: str = "its level") -> Fault:
    return Fault(
        "recording-level",
        f"{whose} stands {apart_db:+.0f} dB from that of {others}: a volume or an input was turned",
        value=round(apart_db, 1),
        limit=LEVEL_DB,
        unit="dB",
        figures={"level_apart_db": apart_db},
    )


def _undecided(level: Real, heard: NDArray[np.intp], positions: Sequence[str]) -> Fault:
    listed = ", ".join(f"{positions[column]} {level[column]:.0f} dB" for column in heard)
    apart = float(np.nanmax(level) - np.nanmin(level))
    return Fault(
        "recording-level",
        f"the channel's levels differ by {apart:.0f} dB ({listed}), and nothing tells which of them is right",
        value=round(apart, 1),
        limit=LEVEL_DB,
        unit="dB",
        figures={"level_apart_db": apart},
    )


def odd_markers(takes: Sequence[Take]) -> dict[int, Fault]:
    """Takes, by entry, whose markers are not as loud as those of the other takes at their position."""
    found: dict[int, Fault] = {}
    marked = [take for take in takes if take.marker is not None]
    for place in dict.fromkeys(take.recording.position for take in marked):
        here = [take for take in marked if take.recording.position == place]
        pool = here if len(here) > 2 else marked
        usual, agreed = majority(np.asarray([_marker_db(take) for take in pool]), width=LEVEL_DB)
        for take in here:
            apart = _marker_db(take) - usual
            if agreed and abs(apart) > LEVEL_DB:
                others = f"the other recordings at {place}" if pool is here else "the other recordings"
                found[take.index] = _odd(apart, others, whose="the level of its markers")
    return found


def _marker_db(take: Take) -> float:
    assert take.marker is not None
    return float(10.0 * np.log10(np.mean(np.abs(take.marker.spectrum) ** 2) + 1e-30))
