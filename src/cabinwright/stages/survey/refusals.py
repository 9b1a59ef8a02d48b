"""Where a survey gives no answer: what is missing, in words, with the cure."""

from __future__ import annotations

import numpy as np

from cabinwright.build.survey import Survey
from cabinwright.errors import RefusedError
from cabinwright.physics.network.adjust import Adjusted
from cabinwright.physics.network.floats import Floating
from cabinwright.physics.network.images import Image
from cabinwright.physics.network.solve import Solved
from cabinwright.stages.survey.posing import LEAST_KNOWN, Posed, quoted

__all__ = ["NO_IMAGE_HOLDS", "check_agreement", "check_axes", "check_readings", "floats", "two_places"]

NO_IMAGE_HOLDS = (
    "the guesses (near_m) and the tapes ask for different mirror images. Check the signs of the guesses (x rearward, y right,"
    " z up), or take them out where enough tapes are taken."
)
MOST_WRONG = 0.15  #: share of the readings that may be wrong before none is believed
FEW_WRONG = 3


def check_axes(survey: Survey) -> None:
    """Raise ``RefusedError`` where nothing says where the axes are, or there is nothing to work out."""
    if not survey.points:
        raise RefusedError(
            "the survey has no points. Name each point in a [[survey.points]] and each distance in a [[survey.tapes]]."
        )
    known = [point.name for point in survey.points if point.at_m is not None]
    if survey.frame is None and len(known) < LEAST_KNOWN - 1:
        have = f"only {quoted(known[0])} is known" if known else "no point is known"
        raise RefusedError(
            f"nothing says where the car's axes are: {have}, and there is no [survey.frame]. Give three points or more their"
            " place (at_m), or add a [survey.frame] that names an origin, a point to its right at the same height, and a point"
            " behind it."
        )


def check_readings(posed: Posed) -> None:
    """Raise ``RefusedError`` where a point that is to be found hangs on nothing at all."""
    network = posed.network
    touched = network.linked.any(axis=1) | network.ground
    touched |= np.any(network.linear[:, :-1].reshape(-1, network.points, 3) != 0.0, axis=(0, 2))
    bare = [int(point) for point in np.flatnonzero(~touched)]
    if bare:
        anchors = [int(point) for point in np.flatnonzero(touched)][:4]
        raise RefusedError(
            f"{posed.listed(bare)}: no tape leads there. Take four to points that are not in one plane, for example"
            f" {posed.listed(anchors)}, or take the point out."
        )


def floats(posed: Posed, solved: Solved, loose: Floating) -> str:
    """What moves, and the tapes that would hold it."""
    if loose.still_flat:
        return (
            "a flat surface or the centre line is not held by its points: the points of a flat surface must not lie on one"
            " line. Add a point beside it, or take the table out."
        )
    names = posed.names
    tapes = [f"{quoted(names[a])} to {quoted(names[b])}" for a, b in loose.cures]
    everything = set(loose.points) >= {p for p in range(len(names)) if np.isnan(posed.network.fixed_m[p]).any()}
    if not tapes:
        cure = (
            "No tape holds that, because the axes themselves can turn: give one more point its place (at_m), away from the"
            " line through the others, or a height ([[survey.heights]]), or add a [survey.frame]."
        )
    else:
        cure = f"Take {_and(tapes)}" + ("." if len(tapes) == loose.directions else " and more.")
    whole = not tapes or (everything and len(loose.points) > 1)
    what = "the whole network" if whole else posed.listed(loose.points)
    left_out = [posed.labels[row] for row in solved.left_out[:4]]
    because = f" (left out because the rest contradicts it: {'; '.join(left_out)})" if left_out else ""
    return f"{what} can still move while every reading stays as it is: too few tapes hold it{because}. {cure}"


def two_places(posed: Posed, current: Adjusted, image: Image) -> str:
    """Both places and what would tell them apart."""
    names = posed.names
    main = image.points[0]
    here, there = (_place(found.at_m[main]) for found in (current, image.found))
    others = f" (and with it {posed.listed(image.points[1:], 3)})" if len(image.points) > 1 else ""
    off_m = current.at_m - current.at_m[image.hinge[0]]
    # The hinge may hold more than three points, all in the mirror's plane: its normal is their least direction.
    normal = np.linalg.svd(off_m[list(image.hinge)])[2][-1]
    out = np.abs(off_m @ normal)
    out[list(image.points)] = 0.0
    best = int(np.argmax(out))
    plane = posed.listed(list(image.hinge))
    tape = (
        f"one more tape from {quoted(names[best])}, which is"
        if out[best] > 0.1
        else "one more tape from a point that is"
    )
    return (
        f"{quoted(names[main])}{others} could be in two places, {here} or {there}: its tapes fit both, mirrored in the plane of"
        f" {plane}. Give {quoted(names[main])} a rough guess (near_m), or take {tape} not in that plane."
    )


def check_agreement(posed: Posed, solved: Solved) -> None:
    """Raise ``RefusedError`` where so many readings would have to be wrong that none can be believed."""
    readings = len(set(posed.groups.tolist()))
    if len(solved.left_out) <= max(FEW_WRONG, MOST_WRONG * readings):
        return
    worst = "; ".join(
        f"{posed.labels[row]} off by {1000.0 * solved.final.v_m[row]:+.0f} mm" for row in solved.left_out[:5]
    )
    raise RefusedError(
        f"the readings contradict one another: {len(solved.left_out)} of {readings} would have to be wrong ({worst}). Check"
        " that names were not exchanged and that all are in one unit, measure these again, or give the points rough guesses"
        " (near_m) so that they cannot end on the wrong side."
    )


def _place(at_m: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> str:
    return "[" + ", ".join(f"{value:.2f}" for value in at_m) + "]"


def _and(words: list[str]) -> str:
    return words[0] if len(words) == 1 else "; ".join(words[:-1]) + "; and " + words[-1]
