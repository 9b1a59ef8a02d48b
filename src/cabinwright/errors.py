"""The exception tree. Misuse raises; a doubtful design does not (see ``findings``).

    CabinwrightError
    ├── PersonError              what a person can put right; exit code 2
    │   ├── BuildError           build.toml cannot be read or breaks a rule (carries every Problem at once)
    │   ├── RecordingError       one recording cannot be read at all
    │   ├── RefusedError         too little good material is left to give an answer
    │   ├── MeanwhileError       somebody else changed the same row of the shop first (carries both versions)
    │   ├── CardError            the sound card is not there, busy, or cannot do what is wanted
    │   └── OutputError          the result cannot be written (read-only folder, full disk)
    └── InternalError            our own mistake; exit code 1

Every message says what was wrong, the rule, what was got, and the cure.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

__all__ = [
    "BuildError",
    "CabinwrightError",
    "CardError",
    "InternalError",
    "MeanwhileError",
    "OutputError",
    "PersonError",
    "Problem",
    "RecordingError",
    "RefusedError",
]


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong in a file that a person wrote."""

    file: str
    line: int | None
    place: str  #: dotted place, for example ``channels[2].speakers[0]``
    rule: str  #: the rule that was broken
    got: str  #: what stood there, shortened
    cure: str  #: what to do next

    def __str__(self) -> str:
        at = f"{self.file}:{self.line}" if self.line is not None else self.file
        got = f", got {self.got}" if self.got else ""
        place = f" {self.place}:" if self.place else ""
        return f"{at}:{place} {self.rule}{got}. {self.cure}"


class CabinwrightError(Exception):
    """Root of everything this package raises on purpose."""

    exit_code = 1


class PersonError(CabinwrightError):
    """Something the person at the bench can put right."""

    exit_code = 2


class BuildError(PersonError):
    """The build document breaks one or more rules; ``problems`` holds them all."""

    def __init__(self, problems: list[Problem] | tuple[Problem, ...]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


class RecordingError(PersonError):
    """A recording or calibration file cannot be used; the message names the file and the cure."""


class CardError(PersonError):
    """The sound card cannot be used; the message names the device and the cure."""


class RefusedError(PersonError):
    """An answer would be a guess; the message says what is missing and what to record.

    ``findings`` holds what was found on the way (``Finding`` objects), for a plan that reports rather than raises.
    """

    def __init__(self, message: str, *, findings: tuple[Any, ...] = ()) -> None:
        self.findings = findings
        super().__init__(message)


class MeanwhileError(PersonError):
    """Somebody else changed the same row first; nothing of this change was written."""

    def __init__(self, message: str, *, theirs: dict[str, Any], mine: dict[str, Any]) -> None:
        self.theirs, self.mine = theirs, mine
        super().__init__(message)


class OutputError(PersonError):
    """The result could not be written; whatever stood there before is still whole."""


class InternalError(CabinwrightError):
    """Our own mistake."""
