"""The order in which a survey is worked out."""

from __future__ import annotations

import numpy as np
from threadpoolctl import threadpool_limits

from cabinwright.build.document import Build
from cabinwright.errors import RefusedError
from cabinwright.physics.network import improve
from cabinwright.physics.network.adjust import Adjusted
from cabinwright.physics.network.equations import Array
from cabinwright.physics.network.floats import floating
from cabinwright.physics.network.images import Image, images
from cabinwright.physics.network.solve import Solved, best_start, solve
from cabinwright.stages.survey import refusals
from cabinwright.stages.survey.posing import Posed, pose
from cabinwright.stages.survey.remarks import remarks
from cabinwright.stages.survey.result import GlobalTest, LocatedPoint, NextTape, SurveyResult, SuspectTape, TapeCheck

__all__ = ["run"]

TURNS = 6  #: how often another image may be taken up before the survey is refused
FAR_LESS = 0.5  #: share of the other side's error below which a reading that is left out speaks for a side
NEARER = 0.8  #: a guess decides for an image whose distance from it is below this share of the other's


def run(build: Build) -> SurveyResult | None:
    """Coordinates of every surveyed point with their uncertainty, and what is wrong, weak or missing.

    None where the build holds no survey. Deterministic. Raises ``RefusedError`` where the measurements leave a point free,
    leave a mirror image, or contradict one another: the message names the points and the cure.
    """
    survey = build.survey
    if survey is None:
        return None
    refusals.check_axes(survey)
    posed = pose(survey)
    refusals.check_readings(posed)
    with threadpool_limits(1):  # the matrices are small: threads would cost more than they give
        solved = _settled(posed)
        return _outcome(build, posed, solved)


def _settled(posed: Posed) -> Solved:
    """The network solved, on the side of every mirror that its measurements or guesses ask for."""
    start_m = best_start(posed.network)
    for _ in range(TURNS):
        solved = solve(posed.network, start_m, posed.groups)
        loose = floating(solved.final)
        if loose is not None:
            raise RefusedError(refusals.floats(posed, solved, loose))
        other = _other_side(posed, solved)
        if other is None:
            refusals.check_agreement(posed, solved)
            return solved
        start_m = other.found.at_m
    raise RefusedError(refusals.NO_IMAGE_HOLDS)


def _other_side(posed: Posed, solved: Solved) -> Image | None:
    """The mirror image to go over to; None where this one stands. Raises ``RefusedError`` where nothing tells."""
    current = solved.final
    for image in images(current):
        wish = _wish(posed.network.near_m, current, image) or _trace(solved, image)
        if wish > 0.0 or (image.better and wish == 0.0):
            return image
        if image.as_good and wish == 0.0:
            raise RefusedError(refusals.two_places(posed, current, image))
    return None


def _wish(near_m: Array, current: Adjusted, image: Image) -> float:
    """What the guesses ask for: 1 for the image, -1 for where the points are, 0 where no guess tells."""
    points = [point for point in image.points if np.isfinite(near_m[point]).all()]
    if not points:
        return 0.0
    here = float(np.linalg.norm(current.at_m[points] - near_m[points]))
    there = float(np.linalg.norm(image.found.at_m[points] - near_m[points]))
    if there < NEARER * here:
        return 1.0
    return -1.0 if here < NEARER * there else 0.0


def _trace(solved: Solved, image: Image) -> float:
    """What the readings left out say, wrong as they are: 1 for the image, -1 for where the points are, 0 for nothing.

    A reading is likelier to be a little wrong than very wrong, so the side counts on which they are far less so.
    """
    network, rows = solved.final.network, np.array(solved.left_out, dtype=np.intp)
    tapes = rows[rows < network.tapes]
    mine = tapes[np.isin(network.tape_ends[tapes], image.points).any(axis=1)]
    if not len(mine):
        return 0.0
    here, there = (float(np.abs(found.v_m[mine]).sum()) for found in (solved.final, image.found))
    if there < FAR_LESS * here:
        return 1.0
    return -1.0 if here < FAR_LESS * there else 0.0


def _outcome(build: Build, posed: Posed, solved: Solved) -> SurveyResult:
    final = solved.final
    sigma_m = np.sqrt(np.diag(final.coordinates_m2)).reshape(-1, 3)
    fixed = np.asarray(np.isfinite(posed.network.fixed_m).all(axis=1))
    suspects, following = _suspects(posed, solved), _following(posed, final)
    return SurveyResult(
        points={
            name: LocatedPoint(_triple(final.at_m[k]), _triple(sigma_m[k]), bool(fixed[k]))
            for k, name in enumerate(posed.names)
        },
        suspect_tapes=suspects,
        next_tapes=following,
        global_test=_test(final),
        global_test_all=_test(solved.first),
        tapes=tuple(_check(posed, final, row) for row in range(posed.network.tapes)),
        centre_m=final.centre_m,
        covariance_m2=final.coordinates_m2,
        findings=remarks(build, posed, solved, suspects, following),
    )


def _ends(posed: Posed, row: int) -> tuple[str, str]:
    first, second = posed.network.tape_ends[row]
    return posed.names[first], posed.names[second]


def _suspects(posed: Posed, solved: Solved) -> tuple[SuspectTape, ...]:
    return tuple(
        SuspectTape(
            *_ends(posed, row),
            distance_m=float(posed.network.tape_m[row]),
            excess_m=float(solved.final.v_m[row]),
            standardised=float(solved.final.standardised[row]),
            or_else=tuple(posed.labels[twin] for twin in solved.twins[row]),
        )
        for row in solved.left_out
        if row < posed.network.tapes
    )


def _following(posed: Posed, final: Adjusted) -> tuple[NextTape, ...]:
    return tuple(
        NextTape(
            posed.names[tape.ends[0]],
            posed.names[tape.ends[1]],
            point=posed.names[tape.point],
            sigma_before_m=tape.sigma_before_m,
            sigma_after_m=tape.sigma_after_m,
        )
        for tape in improve.next_tapes(final)
    )


def _check(posed: Posed, final: Adjusted, row: int) -> TapeCheck:
    return TapeCheck(
        *_ends(posed, row),
        distance_m=float(posed.network.tape_m[row]),
        residual_m=float(final.v_m[row]),
        redundancy=float(final.redundancy[row]),
        standardised=float(final.standardised[row]),
        detectable_m=float(final.detectable_m[row]),
    )


def _triple(row: Array) -> tuple[float, float, float]:
    x, y, z = (float(value) for value in row)
    return x, y, z


def _test(adjusted: Adjusted) -> GlobalTest:
    return GlobalTest(adjusted.statistic, adjusted.degrees_of_freedom, adjusted.p)
