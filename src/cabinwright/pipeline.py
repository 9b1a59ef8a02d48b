"""The order of the stages. A stage without its inputs is skipped and says what it would need."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from cabinwright.build.document import Build
from cabinwright.errors import CabinwrightError
from cabinwright.findings import Finding, finding
from cabinwright.physics.response import RecordedResponses
from cabinwright.stages import tuning
from cabinwright.stages.tuning.result import TuningResult

__all__ = ["Results", "design"]

Progress = Callable[[str, float], None]

NOT_BUILT = "this stage is not part of this version"


@dataclass(frozen=True)
class Results:
    """One attribute per stage; None where it was skipped."""

    tuning: TuningResult | None = None
    survey: None = None
    layout: None = None
    signal: None = None
    enclosure: None = None
    power: None = None
    workshop: None = None
    skipped: dict[str, str] = field(default_factory=dict)  #: stage: what it would need
    stopped: dict[str, tuple[Finding, ...]] = field(default_factory=dict)  #: stage: why it gave no answer


def design(build: Build, recordings: RecordedResponses | None, progress: Progress) -> Results:
    """Run every stage whose inputs are there.

    Whatever a stage raises becomes a ``stop`` of that stage, so that one cannot silence the others; only an interruption
    passes through.
    """
    skipped = dict.fromkeys(("survey", "layout", "signal", "enclosure", "power", "workshop"), NOT_BUILT)
    if recordings is None:
        skipped["tuning"] = "needs channels, microphone_positions and recordings of every channel"
        return Results(skipped=skipped)
    try:
        return Results(tuning=tuning.run(build, recordings, progress), skipped=skipped)
    except CabinwrightError as error:
        return Results(skipped=skipped, stopped={"tuning": (*recordings.findings, refused("tuning", str(error)))})
    except Exception as error:
        return Results(skipped=skipped, stopped={"tuning": (*recordings.findings, crashed("tuning", error))})


def refused(stage: str, message: str) -> Finding:
    """The finding of a stage that will not guess."""
    return finding("stage.refused", where=stage, reason=message)


def crashed(stage: str, error: Exception) -> Finding:
    """The finding of a stage that failed by our own mistake."""
    return finding("stage.crashed", where=stage, reason=f"{type(error).__name__}: {error}")
