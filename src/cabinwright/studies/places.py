"""What a study of places comes to: the best spot and aim for each role and side, and what a better survey would be worth."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.cabin import Place
from cabinwright.errors import PersonError
from cabinwright.stages.layout.wide import SCALES, Spot
from cabinwright.studies.keep import StudyFolder

__all__ = ["Choice", "Outcome", "batches", "outcome", "table"]

Real = NDArray[np.float64]


@dataclass(frozen=True)
class Choice:
    """One role on one side."""

    role: str
    side: str
    tried: int  #: spots, times aims, times points of the head
    barred: int  #: spots where nothing may be
    place: str  #: the stated place that the best spot lies round
    position_m: tuple[float, float, float]
    aim: tuple[float, float, float]
    mean_db: float  #: over draws and points of the head
    low_db: float  #: a tenth of the draws lies below, mean over the points of the head
    stated_db: float | None  #: mean of the stated place with its stated aim, the best of them
    regret_db: tuple[float, ...]  #: for each of ``SCALES``: what the best as stated falls short of what turns out best


@dataclass(frozen=True)
class Outcome:
    """All of it."""

    choices: tuple[Choice, ...]
    maps: dict[
        str, dict[tuple[int, int], float | None]
    ]  #: place: cell: mean of its best aim; None: nothing may be there


def batches(spots: Sequence[Spot], size: int) -> list[tuple[Spot, ...]]:
    """Spots in batches. Those that are barred are left out: nothing may be there."""
    free = [spot for spot in spots if not spot.barred]
    return [tuple(free[at : at + size]) for at in range(0, len(free), size)]


def _parts(folder: StudyFolder, items: Sequence[Sequence[Spot]]) -> Iterator[tuple[Sequence[Spot], dict[str, Real]]]:
    """Batch by batch, so that memory holds one of them."""
    for number, spots in enumerate(items):
        arrays = folder.get(number)
        if arrays is None:
            raise PersonError(f"{folder.path(number)}: missing or torn. Run the same command again to work it out.")
        yield spots, arrays


def outcome(
    folder: StudyFolder, spots: Sequence[Spot], items: Sequence[Sequence[Spot]], places: Mapping[str, Place]
) -> Outcome:
    """``places``: by name, those of the located build."""
    roles = {name: (place.role, place.side) for name, place in places.items()}
    groups = dict.fromkeys(roles[spot.place] for spot in spots)
    best: dict[tuple[str, str], tuple[float, Spot, Real, float]] = {}
    nominal: dict[tuple[str, str], tuple[float, Real]] = {}
    stated: dict[tuple[str, str], float] = {}
    tops: dict[tuple[str, str], Real] = {}
    tried = dict.fromkeys(groups, 0)
    maps: dict[str, dict[tuple[int, int], float | None]] = {}
    for part, arrays in _parts(folder, items):
        mean = arrays["mean_db"].mean(axis=2)  # (n, A)
        low = arrays["low_db"].mean(axis=2)
        as_drawn = arrays["stated_db"].mean(axis=2)
        drawn = arrays["drawn_db"].astype(np.float64)  # (n, A, S, D)
        for k, spot in enumerate(part):
            group = roles[spot.place]
            tried[group] += int(np.isfinite(arrays["stated_db"][k]).sum())
            aim = int(np.nanargmax(mean[k]))
            maps.setdefault(spot.place, {})[spot.cell] = float(mean[k, aim])
            if group not in best or mean[k, aim] > best[group][0]:
                best[group] = (float(mean[k, aim]), spot, arrays["aims"][k, aim], float(low[k, aim]))
            first = int(np.nanargmax(as_drawn[k]))
            if group not in nominal or as_drawn[k, first] > nominal[group][0]:
                nominal[group] = (float(as_drawn[k, first]), drawn[k, first])
            if spot.position_m == tuple(places[spot.place].position_m):
                stated[group] = max(stated.get(group, -np.inf), float(mean[k, 0]))
            top = np.nanmax(drawn[k], axis=0)
            tops[group] = top if group not in tops else np.maximum(tops[group], top)
    barred = {group: sum(spot.barred for spot in spots if roles[spot.place] == group) for group in groups}
    for spot in spots:
        if spot.barred:
            maps.setdefault(spot.place, {})[spot.cell] = None
    choices = tuple(
        Choice(
            role=group[0],
            side=group[1],
            tried=tried[group],
            barred=barred[group],
            place=best[group][1].place,
            position_m=best[group][1].position_m,
            aim=(float(best[group][2][0]), float(best[group][2][1]), float(best[group][2][2])),
            mean_db=best[group][0],
            low_db=best[group][3],
            stated_db=stated.get(group),
            regret_db=tuple(float(np.mean(tops[group][s] - nominal[group][1][s])) for s in range(len(SCALES))),
        )
        for group in groups
        if group in best
    )
    return Outcome(choices, maps)


def table(folder: StudyFolder, items: Sequence[Sequence[Spot]]) -> Iterator[str]:
    """Every row of the study as lines of CSV: place, position, aim, point of the head, figures. Memory holds one batch."""
    yield "place,x_m,y_m,z_m,aim_x,aim_y,aim_z,head_point,stated_db,mean_db,low_db\r\n"
    for part, arrays in _parts(folder, items):
        text = io.StringIO(newline="")
        writer = csv.writer(text)
        for k, spot in enumerate(part):
            for aim in range(arrays["aims"].shape[1]):
                for head in range(arrays["stated_db"].shape[2]):
                    figures = [arrays[name][k, aim, head] for name in ("stated_db", "mean_db", "low_db")]
                    if np.isfinite(figures[0]):
                        way = [f"{value:.4f}" for value in arrays["aims"][k, aim]]
                        at = [f"{value:.4f}" for value in spot.position_m]
                        name = f"'{spot.place}" if spot.place.startswith(("=", "+", "-", "@")) else spot.place
                        writer.writerow([name, *at, *way, head, *(f"{value:.3f}" for value in figures)])
        yield text.getvalue()
