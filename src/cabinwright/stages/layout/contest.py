"""The contest of one role: who is out of it, who is beaten in everything known, how often each comes first, and why."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.cabin import AIRBAGS
from cabinwright.build.document import Build
from cabinwright.physics.convex import clearance_m
from cabinwright.stages.layout.keep_outs import SURE, Clearance
from cabinwright.stages.layout.limits import refused
from cabinwright.stages.layout.ranking import Choice, beaten, choices_of, criteria_of, dominates, score_all
from cabinwright.stages.layout.reasons import reasons_for
from cabinwright.stages.layout.result import Pair, PlaceResult, Ranked
from cabinwright.stages.layout.view import ViewResult

__all__ = ["ranked"]

Real = NDArray[np.float64]
BESIDE_M = 0.08  #: a place this near a pillar has its pod on it (a pod is about 5 cm in radius)


def ranked(
    build: Build,
    places: Mapping[str, PlaceResult],
    pairs: Sequence[Pair],
    draws: Mapping[str, Real],
    *,
    seat: str,
    view: ViewResult | None,
    gaps: Sequence[Clearance],
) -> tuple[Ranked, ...]:
    """Every choice of every role, best first within its role. ``draws``: (1 + draws,) sound of each place, as stated first."""
    wishes = {item.name: item for item in build.places}
    added: dict[str, float | None] = {pod.place: pod.added_deg for pod in view.pods} if view else {}
    added |= {name: None for name in _beside_pillars(build) if name not in added}
    forbidden = _forbidden(gaps)
    every = choices_of(places, pairs)
    out: list[Ranked] = []
    for role in dict.fromkeys(choice.role for choice in every):
        mine = [choice for choice in every if choice.role == role]
        sound = np.stack([np.mean([draws[name] for name in choice.places], axis=0) for choice in mine], axis=1)
        rows = [criteria_of(choice, float(sound[0, k]), wishes, added) for k, choice in enumerate(mine)]
        barred = [_barred(build, choice, mine, places, forbidden) for choice in mine]
        out += _one_role(build, mine, rows, sound, barred, places, pairs, seat)
    return tuple(out)


def _one_role(
    build: Build,
    mine: list[Choice],
    rows: list[dict[str, float | None]],
    sound: Real,
    barred: list[str | None],
    places: Mapping[str, PlaceResult],
    pairs: Sequence[Pair],
    seat: str,
) -> Iterator[Ranked]:
    fit = np.asarray([why is None for why in barred])
    score = score_all(rows, build.layout.weights, sound)
    lost = beaten(rows, sound, fit=fit)
    share = _first_share(np.where(lost, -1.0, score), fit)
    order = sorted(range(len(mine)), key=lambda k: (not fit[k], bool(lost[0, k]), -float(score[0, k])))
    by_pair = {(pair.left, pair.right): pair for pair in pairs}
    for place, k in enumerate(order):
        names = mine[k].places
        masters = [j for j in order if fit[j] and fit[k] and lost[0, k] and dominates(rows[j], rows[k])]
        yield Ranked(
            role=mine[k].role,
            places=names,
            first_share=float(share[k]),
            barred=barred[k],
            better_than=tuple(
                " and ".join(mine[j].places) for j in range(len(mine)) if fit[k] and dominates(rows[k], rows[j])
            ),
            criteria=rows[k],
            score=float(score[0, k]),
            reasons=reasons_for(
                mine[k],
                places,
                by_pair.get((names[0], names[-1])),
                seat,
                rows[k],
                None if place == 0 else rows[order[0]],
                float(share[k]),
                barred[k],
                master=" and ".join(mine[masters[0]].places) if masters else None,
            ),
        )


def _first_share(contest: Real, fit: NDArray[np.bool_]) -> Real:
    """(choices,) share of the draws in which each is first; of (1 + draws, choices). Without draws the stated figures decide."""
    share = np.zeros(contest.shape[1])
    if not fit.any():
        return share
    drawn = contest[1:] if len(contest) > 1 else contest
    here = np.flatnonzero(fit)
    firsts = np.bincount(drawn[:, here].argmax(axis=1), minlength=len(here))
    share[here] = firsts / len(drawn)
    return share


def _barred(
    build: Build,
    choice: Choice,
    rivals: list[Choice],
    places: Mapping[str, PlaceResult],
    forbidden: Mapping[str, str],
) -> str | None:
    """Why a choice is out of the contest; None where it is in it."""
    for name in choice.places:
        if name in forbidden:
            return f"{name} stands where nothing may: {forbidden[name]}"
    unwanted = [refused(build, item) for item in build.places if item.name in choice.places]
    if any(unwanted):
        return "; ".join(filter(None, unwanted))
    first = choice.places[0]
    alone = len(choice.places) == 1 and places[first].side != "centre" and choice.role != "subwoofer"
    if alone and any(len(other.places) == 2 for other in rivals):
        return f"{first} has no partner on the other side"
    return None


def _beside_pillars(build: Build) -> Iterator[str]:
    """Places so near a pillar that they will widen it, though nobody said which (``pillar``): their view is unknown."""
    hulls = [np.asarray(item.corners_m, dtype=np.float64) for item in build.cabin.pillars] if build.cabin else []
    for place in build.places:
        at = np.asarray([place.position_m], dtype=np.float64)
        if place.pillar is None and any(clearance_m(hull, at) < BESIDE_M for hull in hulls):
            yield place.name


def _forbidden(gaps: Sequence[Clearance]) -> dict[str, str]:
    """Places that a stop keeps anything out of."""
    return {gap.place: gap.keep_out for gap in gaps if gap.kind in AIRBAGS and gap.gap_m < SURE * gap.sigma_m}
