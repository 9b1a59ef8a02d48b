"""Up to which volume, and up to which level of the music, the repaired sums stay as they are."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cabinwright.stages.signal.factory.facts import level_db
from cabinwright.stages.signal.factory.sides import Side

__all__ = ["Held", "holds"]

Complex = NDArray[np.complex128]
KEPT_DB = 1.0  #: a sum may change its shape by so much


@dataclass(frozen=True)
class Held:
    """Volumes between which the sums keep their shape with music up to full scale; and how far up music may go at the base."""

    to_volume: int | None
    from_volume: int | None
    to_db: float | None


def holds(
    sides: Mapping[str, Side],
    captures: Mapping[str, Mapping[int | None, tuple[Complex, Complex]]],
    ladders: Mapping[str, Mapping[int | None, Complex]],
    base: int | None,
    ladder_db: tuple[float, ...],
) -> Held:
    """Play every volume and every rung through the repair. ``captures``: (left, right) by output and volume."""

    def kept(volume: int | None, rung: int) -> bool:
        return all(_kept(name, side, captures, ladders, volume, rung) for name, side in sides.items())

    rungs = [number for number in range(len(ladder_db)) if all(kept(base, lower) for lower in range(number + 1))]
    to_db = ladder_db[rungs[-1]] if rungs else None
    used = {name for side in sides.values() for item in side.group for name in item.names}
    shared = set.intersection(*(set(captures[name]) for name in used))
    volumes = sorted(volume for volume in shared if volume is not None)
    if base is None or base not in volumes or to_db != ladder_db[-1]:
        return Held(None, None, to_db)
    fine = {volume: all(kept(volume, rung) for rung in range(len(ladder_db))) for volume in volumes}
    top = bottom = volumes.index(base)
    while top + 1 < len(volumes) and fine[volumes[top + 1]]:
        top += 1
    while bottom > 0 and fine[volumes[bottom - 1]]:
        bottom -= 1
    return Held(volumes[top], volumes[bottom], to_db)


def _kept(
    name: str,
    side: Side,
    captures: Mapping[str, Mapping[int | None, tuple[Complex, Complex]]],
    ladders: Mapping[str, Mapping[int | None, Complex]],
    volume: int | None,
    rung: int,
) -> bool:
    """Whether one side's sum at this volume and rung has the shape it was made for, whatever its level."""
    if any(volume not in captures[output] for item in side.group for output in item.names):
        return False
    which = 0 if name == "left" else 1

    def given(output: str) -> Complex:
        return np.asarray(captures[output][volume][which] * ladders[output][volume][rung])

    carried = np.stack([item.carry(given) for item in side.group])
    apart = level_db(side.total(carried)) - level_db(side.total())
    smooth = np.convolve(np.pad(apart, 2, mode="edge"), np.ones(5) / 5.0, mode="valid")
    return bool(np.max(np.abs(smooth - np.median(smooth))) <= KEPT_DB)
