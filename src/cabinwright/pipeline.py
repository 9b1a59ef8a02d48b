"""The order of the stages. A stage without its inputs is skipped and says what it would need."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field
from typing import TypeVar

from cabinwright.build.document import Build
from cabinwright.errors import CabinwrightError
from cabinwright.findings import Finding, finding
from cabinwright.physics.directivity import Polar
from cabinwright.physics.factory import FactoryResponses
from cabinwright.physics.impedance import Sweep
from cabinwright.physics.outline import Drawn
from cabinwright.physics.response import RecordedResponses
from cabinwright.physics.solid import Mesh
from cabinwright.stages import enclosure, layout, power, signal, survey, tuning, workshop
from cabinwright.stages.enclosure.result import EnclosureResult
from cabinwright.stages.layout.result import LayoutResult
from cabinwright.stages.power.result import PowerResult
from cabinwright.stages.signal.result import SignalResult
from cabinwright.stages.survey.result import SurveyResult
from cabinwright.stages.tuning.result import TuningResult
from cabinwright.stages.workshop.result import WorkshopResult

__all__ = ["Results", "compare_places", "design", "wiring"]

Progress = Callable[[str, float], None]
Answer = TypeVar("Answer")


@dataclass(frozen=True)
class Results:
    """One attribute per stage; None where it was skipped."""

    tuning: TuningResult | None = None
    survey: SurveyResult | None = None
    layout: LayoutResult | None = None
    signal: SignalResult | None = None
    enclosure: EnclosureResult | None = None
    power: PowerResult | None = None
    workshop: WorkshopResult | None = None
    skipped: dict[str, str] = field(default_factory=dict)  #: stage: what it would need
    stopped: dict[str, tuple[Finding, ...]] = field(default_factory=dict)  #: stage: why it gave no answer


def design(
    build: Build,
    recordings: RecordedResponses | None,
    progress: Progress,
    *,
    polars: Mapping[str, Polar] | None = None,
    captured: FactoryResponses | None = None,
    programmes: tuple[Mapping[str, float], tuple[Finding, ...]] = ({}, ()),
    sweeps: tuple[Mapping[str, Sequence[Sweep]], tuple[Finding, ...]] = ({}, ()),
    drawn: Mapping[str, Drawn | str] | None = None,
    hollows: Mapping[str, Drawn | Mesh | str] | None = None,
) -> Results:
    """Run every stage whose inputs are there.

    Whatever a stage raises becomes a ``stop`` of that stage, so that one cannot silence the others; only an interruption
    passes through.
    """
    skipped: dict[str, str] = {}
    stopped: dict[str, tuple[Finding, ...]] = {}
    surveyed = _attempt("survey", lambda: survey.run(build), stopped)
    if surveyed is None and "survey" not in stopped:
        skipped["survey"] = "needs [[survey.points]] and [[survey.tapes]] between them"
    placed = None
    if not build.places or not build.seats:
        skipped["layout"] = "needs [[places]] and [[seats]], and [[cabin.surfaces]] for reflections"
    else:
        placed = _attempt("layout", lambda: compare_places(build, surveyed, progress, polars=polars), stopped)
    boxed = _attempt(
        "enclosure",
        lambda: enclosure.run(build, placed, sweeps=sweeps[0], found=sweeps[1], drawn=hollows),
        stopped,
        sweeps[1],
    )
    if boxed is None and "enclosure" not in stopped:
        skipped["enclosure"] = enclosure.NOT_YET
    there = survey.located(build, surveyed) if surveyed else build
    cut = _attempt("workshop", lambda: workshop.run(there, boxed, placed=placed, drawn=drawn), stopped)
    if cut is None and "workshop" not in stopped:
        skipped["workshop"] = workshop.NOT_YET
    wired = _attempt("power", lambda: power.run(build), stopped)
    if wired is None and "power" not in stopped:
        skipped["power"] = "needs [supply], and [[wires]], [[fuses]] and [[loads]] on it"
    tuned = None
    if recordings is None:
        skipped["tuning"] = "needs channels, microphone_positions and recordings of every channel"
    else:
        tuned = _attempt(
            "tuning",
            lambda: tuning.run(survey.located(build, surveyed), recordings, progress),
            stopped,
            recordings.findings,
        )
    loud, doubts = programmes
    read = (*(captured.findings if captured else ()), *doubts)
    chain = _attempt(
        "signal",
        lambda: signal.run(
            survey.located(build, surveyed) if surveyed else build,
            captured,
            tuned=tuned,
            power=wired,
            boxed=boxed,
            programmes=loud,
            doubts=doubts,
        ),
        stopped,
        read,
    )
    if chain is None and "signal" not in stopped:
        skipped["signal"] = "needs [[sources]] and [[amplifiers]], or [[factory_outputs]] and [[factory_recordings]]"
    return Results(
        survey=surveyed,
        layout=placed,
        signal=chain,
        enclosure=boxed,
        power=wired,
        workshop=cut,
        tuning=tuned,
        skipped=skipped,
        stopped=stopped,
    )


def compare_places(
    build: Build,
    surveyed: SurveyResult | None,
    progress: Progress,
    *,
    polars: Mapping[str, Polar] | None = None,
    executor: Executor | None = None,
) -> LayoutResult | None:
    """The layout stage with what the survey knows: coordinates for names, and how exact they are."""
    named = survey.named_places(build) if surveyed is not None else {}
    located = survey.located(build, surveyed)  # the places' own doubt is in it
    heard = layout.listening_seat(located) if build.seats else ""
    seats = {seat.name: number for number, seat in enumerate(build.seats)}
    head = named.get(f"seats[{seats.get(heard, -1)}].head_m")
    doubt = surveyed.points[head].sigma_m if surveyed is not None and head is not None else (0.0, 0.0, 0.0)
    sigmas = {place.name: doubt for place in build.places}
    return layout.run(located, sigmas_m=sigmas, polars=polars, executor=executor, progress=progress)


def wiring(build: Build) -> PowerResult | None:
    """The electrical system alone; None where there is none, or where ``design`` would say why it gave no answer."""
    return _attempt("power", lambda: power.run(build), {})


def _attempt(
    stage: str,
    work: Callable[[], Answer],
    stopped: dict[str, tuple[Finding, ...]],
    found: tuple[Finding, ...] = (),
) -> Answer | None:
    """What ``work`` gives; where it raises, None, and ``stopped`` says why, after what was ``found`` before."""
    try:
        return work()
    except CabinwrightError as error:
        stopped[stage] = (*found, refused(stage, str(error)))
    except Exception as error:
        stopped[stage] = (*found, crashed(stage, error))
    return None


def refused(stage: str, message: str) -> Finding:
    """The finding of a stage that will not guess."""
    return finding("stage.refused", where=stage, reason=message)


def crashed(stage: str, error: Exception) -> Finding:
    """The finding of a stage that failed by our own mistake."""
    return finding("stage.crashed", where=stage, reason=f"{type(error).__name__}: {error}")
