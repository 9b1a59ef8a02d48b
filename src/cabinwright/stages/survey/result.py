"""What the survey gives: coordinates with their uncertainty, and what the measurements say about one another."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cabinwright.findings import Finding

__all__ = ["GlobalTest", "LocatedPoint", "NextTape", "SurveyResult", "SuspectTape", "TapeCheck"]

Triple = tuple[float, float, float]
Array = NDArray[np.float64]


@dataclass(frozen=True)
class LocatedPoint:
    """One point in the car's axes."""

    at_m: Triple
    sigma_m: Triple  #: standard deviation of x, y and z; 0 where the frame fixes it
    fixed: bool  #: known beforehand, or the origin


@dataclass(frozen=True)
class SuspectTape:
    """A tape that the others contradict. Coordinates are worked out without it."""

    from_: str
    to: str
    distance_m: float
    excess_m: float  #: estimated error, positive where it reads long
    standardised: float  #: that error over the standard deviation of its estimate
    or_else: tuple[str, ...] = ()  #: readings that may be the wrong one just as well


@dataclass(frozen=True)
class NextTape:
    """A tape that is not there yet and what it would do for a weak point."""

    from_: str
    to: str
    point: str
    sigma_before_m: float  #: root of the sum of squares of the point's three standard deviations
    sigma_after_m: float


@dataclass(frozen=True)
class TapeCheck:
    """How one tape stands among the others."""

    from_: str
    to: str
    distance_m: float
    residual_m: float  #: measured minus computed
    redundancy: float  #: share of an error that shows, 0 (nothing checks it) to 1; NaN where it is left out
    standardised: float  #: residual over its standard deviation; beyond 3.29 a tape is suspect
    detectable_m: float  #: smallest error that is found in four cases of five; infinite where nothing checks it


@dataclass(frozen=True)
class GlobalTest:
    """Chi-square test of all measurements together."""

    statistic: float
    degrees_of_freedom: int
    p: float  #: chance of a larger statistic where the stated sigmas hold; NaN without redundancy


@dataclass(frozen=True)
class SurveyResult:
    """Every point of the survey, and what was found about its measurements."""

    points: dict[str, LocatedPoint]
    suspect_tapes: tuple[SuspectTape, ...]
    next_tapes: tuple[NextTape, ...]
    global_test: GlobalTest  #: without the suspect tapes
    global_test_all: GlobalTest  #: with every measurement
    tapes: tuple[TapeCheck, ...]  #: in the build's order
    centre_m: float  #: y of the car's centre line
    covariance_m2: Array  #: (3 points, 3 points) of all coordinates, in the order of ``points``
    findings: tuple[Finding, ...]

    def covariance_of(self, *names: str) -> Array:
        """(3 names, 3 names) covariance [m²] of the coordinates of these points. Raises ``KeyError`` for another name."""
        number = {name: index for index, name in enumerate(self.points)}
        rows = np.concatenate([3 * number[name] + np.arange(3) for name in names])
        return np.asarray(self.covariance_m2[np.ix_(rows, rows)])

    def to_dict(self) -> dict[str, Any]:
        """The keys of ``plan.json``; see ``docs/plan.md``."""
        return {
            "points": {
                name: {"at_m": list(point.at_m), "sigma_m": list(point.sigma_m), "fixed": point.fixed}
                for name, point in self.points.items()
            },
            "suspect_tapes": [
                {
                    "from": tape.from_,
                    "to": tape.to,
                    "distance_m": tape.distance_m,
                    "excess_m": tape.excess_m,
                    "standardised": tape.standardised,
                    "or_else": list(tape.or_else),
                }
                for tape in self.suspect_tapes
            ],
            "next_tapes": [
                {
                    "from": tape.from_,
                    "to": tape.to,
                    "point": tape.point,
                    "sigma_before_m": tape.sigma_before_m,
                    "sigma_after_m": tape.sigma_after_m,
                }
                for tape in self.next_tapes
            ],
            "global_test": _test(self.global_test),
            "global_test_all": _test(self.global_test_all),
            "centre_line_m": self.centre_m,
            "tapes": [
                {
                    "from": tape.from_,
                    "to": tape.to,
                    "distance_m": tape.distance_m,
                    "residual_m": tape.residual_m,
                    "redundancy": tape.redundancy,
                    "standardised": tape.standardised,
                    "detectable_m": tape.detectable_m,
                }
                for tape in self.tapes
            ],
            "findings": [item.to_dict() for item in self.findings],
        }


def _test(test: GlobalTest) -> dict[str, float | int]:
    return {"statistic": test.statistic, "degrees_of_freedom": test.degrees_of_freedom, "p": test.p}
