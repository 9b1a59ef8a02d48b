"""Which choice comes first for each role: what is better in everything that is known, then the person's weights."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.cabin import Place, Weights
from cabinwright.stages.layout.result import Pair, PlaceResult

__all__ = ["CRITERIA", "Choice", "beaten", "choices_of", "criteria_of", "dominates", "score_all"]

Real = NDArray[np.float64]
CRITERIA = ("sound", "room", "irreversible", "looks", "view", "cost")
LOWER_IS_BETTER = ("irreversible", "view", "cost")
ALIKE = {"sound": 0.3, "room": 0.0, "irreversible": 0.0, "looks": 0.0, "view": 0.1, "cost": 0.0}
"""Differences up to this are none: dB, and degrees of view."""
LITRES_PER_CM = 1.0  #: room counts depth in centimetres and volume in litres alike (common practice, no source)


@dataclass(frozen=True)
class Choice:
    """A pair or a single place of one role."""

    role: str
    places: tuple[str, ...]


def choices_of(places: Mapping[str, PlaceResult], pairs: Sequence[Pair]) -> list[Choice]:
    """Pairs, then whatever has no partner, in order of the file."""
    paired = {name for pair in pairs for name in (pair.left, pair.right)}
    found = {pair.left: Choice(pair.role, (pair.left, pair.right)) for pair in pairs}
    out = []
    for name, item in places.items():
        if name in found:
            out.append(found[name])
        elif name not in paired:
            out.append(Choice(item.role, (name,)))
    return out


def criteria_of(
    choice: Choice, sound_db: float, places: Mapping[str, Place], view_deg: Mapping[str, float | None]
) -> dict[str, float | None]:
    """The six sides of a choice; None where nobody said. A pair is as good as its worse half, and costs both."""
    mine = [places[name] for name in choice.places]
    room = [_room(item) for item in mine]
    cut = [_irreversible(item) for item in mine]
    looks = [item.looks for item in mine]
    cost = [item.cost for item in mine]
    view = [view_deg.get(item.name, 0.0) for item in mine]
    return {
        "sound": sound_db,
        "room": None if None in room else min(value for value in room if value is not None),
        "irreversible": None if None in cut else max(value for value in cut if value is not None),
        "looks": None if None in looks else float(min(value for value in looks if value is not None)),
        "view": None if None in view else max(value for value in view if value is not None),
        "cost": None if None in cost else sum(value for value in cost if value is not None),
    }


def _room(place: Place) -> float | None:
    if place.depth_m is None and place.volume_m3 is None:
        return None
    return 100.0 * (place.depth_m or 0.0) + 1000.0 * LITRES_PER_CM * (place.volume_m3 or 0.0)


def _irreversible(place: Place) -> float | None:
    """0: nothing is cut; 1: cut, and can be put back; 2: cut for good. A cut of which nobody says counts as for good."""
    if place.cut is None and place.reversible is None:
        return None
    if place.reversible:
        return 1.0 if place.cut else 0.0
    return 2.0 if place.cut or place.reversible is False else 0.0


def dominates(one: Mapping[str, float | None], other: Mapping[str, float | None]) -> bool:
    """Whether ``one`` is nowhere worse and somewhere better, in what is known of both."""
    better = False
    for name in CRITERIA:
        a, b = one[name], other[name]
        if a is None or b is None:
            continue
        gain = (b - a) if name in LOWER_IS_BETTER else (a - b)
        if gain < -ALIKE[name]:
            return False
        better |= gain > ALIKE[name]
    return better


def beaten(rows: Sequence[Mapping[str, float | None]], sound_db: Real, *, fit: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """(draws, choices): whether some other choice is nowhere worse and somewhere better, sound being that of the draw.

    Only choices that are ``fit`` (choices,) beat or are beaten. What is unknown decides nothing, so that choices can beat
    one another in a circle; where that leaves none, those stay that are beaten by nobody from outside their circle.
    """
    no_worse, better = _apart_from_sound(rows)
    no_worse &= fit[:, None] & fit[None]
    out = np.zeros(sound_db.shape, dtype=bool)
    for draw, sound in enumerate(sound_db):
        gain = sound[:, None] - sound[None]
        wins = no_worse & (gain >= -ALIKE["sound"]) & (better | (gain > ALIKE["sound"]))
        out[draw] = wins.any(axis=0)
        if out[draw][fit].all():
            out[draw] = _from_outside(wins)
    return out


def _apart_from_sound(rows: Sequence[Mapping[str, float | None]]) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """(choices, choices) each: whether a choice is nowhere worse than another, and whether it is somewhere better."""
    no_worse, better = np.ones((len(rows), len(rows)), dtype=bool), np.zeros((len(rows), len(rows)), dtype=bool)
    for name in CRITERIA:
        if name == "sound":
            continue
        values = np.asarray([np.nan if row[name] is None else row[name] for row in rows], dtype=np.float64)
        gain = values[:, None] - values[None]
        gain = -gain if name in LOWER_IS_BETTER else gain
        no_worse &= ~(gain < -ALIKE[name])  # NaN is neither
        better |= gain > ALIKE[name]
    return no_worse, better


def _from_outside(wins: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """(choices,) beaten, directly or through others, by one that it does not beat in turn (Warshall's closure)."""
    reach = wins.copy()
    for k in range(len(reach)):
        reach |= np.outer(reach[:, k], reach[k])
    return np.asarray((reach & ~reach.T).any(axis=0))


def score_all(rows: Sequence[Mapping[str, float | None]], weights: Weights, sound_db: Real) -> Real:
    """(draws, choices): weighted scores from 0 to 1. Each side runs from the worst to the best of these choices; unknown
    counts as the middle. ``sound_db`` (draws, choices) stands for the sound of ``rows``.
    """
    total = np.zeros(sound_db.shape)
    sums = 0.0
    for name in CRITERIA:
        weight = float(getattr(weights, name))
        if name == "sound":
            values = sound_db
            low, high = values.min(axis=1, keepdims=True), values.max(axis=1, keepdims=True)
            # Differences below three decibels count for what they are, not for the whole range.
            part = (values - low) / np.maximum(high - low, 3.0)
        else:
            known = [row[name] for row in rows if row[name] is not None]
            low_v, high_v = (min(known), max(known)) if known else (0.0, 0.0)  # type: ignore[type-var]
            span = float(high_v) - float(low_v)  # type: ignore[arg-type]
            if span <= 0.0:
                continue
            line = [0.5 if row[name] is None else (float(row[name]) - float(low_v)) / span for row in rows]  # type: ignore[arg-type]
            part = np.asarray(line)[None]
            if name in LOWER_IS_BETTER:
                part = np.where([row[name] is None for row in rows], 0.5, 1.0 - part)
        total = total + weight * part
        sums += weight
    return np.asarray(total / sums if sums else total)
