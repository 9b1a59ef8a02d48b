"""Findings of the survey."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from cabinwright.build.document import Build
from cabinwright.findings import SEVERITIES, Finding, finding
from cabinwright.physics.network.adjust import CRITICAL, UNCONTROLLED
from cabinwright.physics.network.solve import Solved
from cabinwright.stages.survey.posing import Posed, quoted
from cabinwright.stages.survey.result import NextTape, SuspectTape

__all__ = ["remarks", "slip"]

REJECTED = 0.001  #: chance of the chi-square statistic below which the stated sigmas do not hold
WEAK_M = 0.015  #: largest standard deviation of a point that places and delays still stand
FAR_M = 0.5  #: distance from its guess at which a point is probably not the one that was meant
SLIP_SHARE = 0.03
FACTORS = {100.0: "centimetres for metres", 1000.0: "millimetres for metres", 10.0: "a decimal place"}
INCHES = {
    39.3701: "inches for metres",
    2.54: "inches for centimetres",
    3.28084: "feet for metres",
    12.0: "feet for inches",
}
ROUND_M = (0.1, 1.0, 0.05, 0.0254, 0.3048)
ROUND_WITHIN_M = 0.006


def remarks(
    build: Build, posed: Posed, solved: Solved, suspects: tuple[SuspectTape, ...], following: tuple[NextTape, ...]
) -> tuple[Finding, ...]:
    """Everything worth saying, gravest first."""
    found = [
        *_suspects(suspects),
        *_other_readings(posed, solved),
        *_test(solved),
        *_guesses(posed, solved),
        *_weak(posed, solved, following),
        *_uncontrolled(posed, solved),
        *_frame(build, posed),
    ]
    return tuple(sorted(found, key=lambda item: -SEVERITIES.index(item.severity)))


def slip(distance_m: float, excess_m: float) -> str:
    """What slip of the pen or the eye explains a reading, in words; empty where none does."""
    true_m = distance_m - excess_m
    if true_m > 0.0:
        for factor, words in {**FACTORS, **INCHES}.items():
            for ratio in (factor, 1.0 / factor):
                if abs(distance_m / true_m / ratio - 1.0) < SLIP_SHARE:
                    return f"it looks like {words}"
    for size in ROUND_M:
        if abs(abs(excess_m) - size) < ROUND_WITHIN_M:
            return f"it is just about {_length(size)}, which is easily misread"
    return ""


def _suspects(suspects: tuple[SuspectTape, ...]) -> Iterator[Finding]:
    for tape in suspects:
        where = f"{quoted(tape.from_)} to {quoted(tape.to)}"
        words = slip(tape.distance_m, tape.excess_m)
        yield finding(
            "survey.suspect_tape",
            where=where,
            value=round(1000.0 * tape.excess_m, 1),
            limit=CRITICAL,
            unit="mm",
            read=f"{tape.distance_m:.3f} m",
            size=_length(abs(tape.excess_m)),
            way="long" if tape.excess_m > 0.0 else "short",
            slip=f" ({words})" if words else "",
        )
        if tape.or_else:
            yield finding("survey.suspect_undecided", where=where, others="; ".join(tape.or_else[:5]))


def _other_readings(posed: Posed, solved: Solved) -> Iterator[Finding]:
    for row in solved.left_out:
        if row >= posed.network.tapes:
            yield finding(
                "survey.suspect_reading",
                where=posed.labels[row],
                value=round(1000.0 * float(solved.final.v_m[row]), 1),
                limit=CRITICAL,
                unit="mm",
            )


def _test(solved: Solved) -> Iterator[Finding]:
    final = solved.final
    freedom = final.degrees_of_freedom
    if freedom > 0 and final.p < REJECTED:
        yield finding(
            "survey.global_test",
            where="all tapes",
            value=round(final.statistic, 1),
            limit=freedom,
            times=f"{np.sqrt(final.statistic / freedom):.1f}",
        )
    elif freedom <= 0:
        yield finding("survey.no_check", where="all tapes")


def _guesses(posed: Posed, solved: Solved) -> Iterator[Finding]:
    away_m = np.linalg.norm(solved.final.at_m - posed.network.near_m, axis=1)
    for point in np.flatnonzero(away_m > FAR_M):
        yield finding(
            "survey.far_from_guess",
            where=quoted(posed.names[point]),
            value=round(float(away_m[point]), 2),
            limit=FAR_M,
            unit="m",
        )


def _weak(posed: Posed, solved: Solved, following: tuple[NextTape, ...]) -> Iterator[Finding]:
    sigma_m = np.sqrt(np.diag(solved.final.coordinates_m2)).reshape(-1, 3)
    helps = {tape.point: tape for tape in following}
    for point in np.argsort(-sigma_m.max(axis=1), kind="stable"):
        worst = float(sigma_m[point].max())
        if worst <= WEAK_M:
            return
        axis = ("along the car", "across the car", "in height")[int(np.argmax(sigma_m[point]))]
        tape = helps.get(posed.names[point])
        cure = (
            f"Take a tape {quoted(tape.from_)} to {quoted(tape.to)}: it brings the point's sigma from"
            f" {1000.0 * tape.sigma_before_m:.0f} to {1000.0 * tape.sigma_after_m:.0f} mm."
            if tape
            else "Take another tape to it, from a direction that has none yet."
        )
        yield finding(
            "survey.weak_point",
            where=quoted(posed.names[point]),
            value=round(1000.0 * worst, 1),
            limit=1000.0 * WEAK_M,
            unit="mm",
            axis=axis,
            cure=cure,
        )


def _uncontrolled(posed: Posed, solved: Solved) -> Iterator[Finding]:
    network, final = posed.network, solved.final
    rows = np.flatnonzero(final.used[: network.tapes] & (final.redundancy[: network.tapes] < UNCONTROLLED))
    if len(rows) and final.degrees_of_freedom > 0:
        listed = "; ".join(posed.labels[row] for row in rows[:4]) + (
            f"; and {len(rows) - 4} more" if len(rows) > 4 else ""
        )
        yield finding("survey.uncontrolled", where=listed, value=len(rows), limit=UNCONTROLLED)


def _frame(build: Build, posed: Posed) -> Iterator[Finding]:
    if build.survey is not None and build.survey.frame is not None and not posed.frame_used:
        yield finding("survey.frame_unused", where="survey.frame")


def _length(size_m: float) -> str:
    return f"{size_m:.2f} m" if size_m >= 0.5 else f"{1000.0 * size_m:.0f} mm"
