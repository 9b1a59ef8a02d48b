"""The order of the stages. A stage without its inputs is skipped and says what it would need.

Each is worked out when its answer is asked for, after those whose answers it takes. A ``Memory`` that goes from one build to
the next gives back the answers of stages that would read nothing new.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, TypeVar

from cabinwright.build.document import Build
from cabinwright.errors import CabinwrightError, PersonError
from cabinwright.findings import Finding, finding
from cabinwright.physics.directivity import Polar
from cabinwright.physics.factory import FactoryResponses
from cabinwright.physics.impedance import Sweep
from cabinwright.physics.outline import Drawn
from cabinwright.physics.response import RecordedResponses
from cabinwright.physics.solid import Mesh
from cabinwright.stages import enclosure, layout, power, signal, survey, tuning, voice, workshop
from cabinwright.stages.enclosure.result import EnclosureResult
from cabinwright.stages.layout.result import LayoutResult, PlaceResult
from cabinwright.stages.memory import Keeper, afresh
from cabinwright.stages.power.result import PowerResult
from cabinwright.stages.signal.result import SignalResult
from cabinwright.stages.survey.result import SurveyResult
from cabinwright.stages.tuning.result import TuningResult
from cabinwright.stages.tuning.settings import Settings
from cabinwright.stages.voice.result import VoiceResult
from cabinwright.stages.workshop.result import WorkshopResult

__all__ = ["STAGES", "Files", "Line", "Results", "compare_places", "design", "wiring"]

Progress = Callable[[str, float], None]
Answer = TypeVar("Answer")
STAGES = ("survey", "layout", "enclosure", "workshop", "power", "tuning", "voice", "signal")
UNHEARD = ("survey", "layout", "enclosure", "workshop", "power")
NOT_YET = {
    "survey": "needs [[survey.points]] and [[survey.tapes]] between them",
    "layout": "needs [[places]] and [[seats]], and [[cabin.surfaces]] for reflections",
    "enclosure": enclosure.NOT_YET,
    "workshop": workshop.NOT_YET,
    "power": "needs [supply], and [[wires]], [[fuses]] and [[loads]] on it",
    "tuning": "needs channels, microphone_positions and recordings of every channel",
    "voice": voice.NOT_YET,
    "signal": "needs [[sources]] and [[amplifiers]], or [[factory_outputs]] and [[factory_recordings]]",
}


@dataclass(frozen=True)
class Results:
    """One attribute per stage; None where it was skipped."""

    tuning: TuningResult | None = None
    voice: VoiceResult | None = None
    survey: SurveyResult | None = None
    layout: LayoutResult | None = None
    signal: SignalResult | None = None
    enclosure: EnclosureResult | None = None
    power: PowerResult | None = None
    workshop: WorkshopResult | None = None
    skipped: dict[str, str] = field(default_factory=dict)  #: stage: what it would need
    stopped: dict[str, tuple[Finding, ...]] = field(default_factory=dict)  #: stage: why it gave no answer


@dataclass(frozen=True)
class Files:
    """What the files of a build folder hold, read when a stage asks. Here nothing is there; ``session`` reads folders."""

    def recordings(self) -> RecordedResponses | None:
        """Responses of every channel; None where none are listed. Raises ``RefusedError`` where too few are good."""
        return None

    def loaded(self) -> Settings | None:
        """The settings that an earlier tune wrote and somebody keyed in; None where none can be read."""
        return None

    def polars(self) -> Mapping[str, Polar] | None:
        """Measured polars by the name of the place."""
        return None

    def captured(self) -> tuple[FactoryResponses | None, tuple[Finding, ...]]:
        """The car's own radio as it was captured, and why not."""
        return None, ()

    def programmes(self) -> tuple[Mapping[str, float], tuple[Finding, ...]]:
        """Loudness of sources, and what was wrong with the others."""
        return {}, ()

    def sweeps(self) -> tuple[Mapping[str, Sequence[Sweep]], tuple[Finding, ...]]:
        """Impedance sweeps by the name of the model, and what was wrong with the others."""
        return {}, ()

    def drawn(self) -> Mapping[str, Drawn | str] | None:
        """Drawings that panels name."""
        return None

    def hollows(self) -> Mapping[str, Drawn | Mesh | str] | None:
        """Drawings and bodies that shapes of boxes name."""
        return None


class Line:
    """The stages of one build. Whatever one raises becomes its ``stop``, so that none can silence the others."""

    def __init__(
        self, build: Build, files: Files, progress: Progress, *, keep: Keeper = afresh, executor: Executor | None = None
    ) -> None:
        self.build = build
        self.files = files
        self.skipped: dict[str, str] = {}
        self.stopped: dict[str, tuple[Finding, ...]] = {}
        self._progress = progress
        self._keep = keep
        self._executor = executor

    @cached_property
    def survey(self) -> SurveyResult | None:
        """Points from tapes."""
        return self._answer("survey", survey.run, self.build)

    @cached_property
    def located(self) -> Build:
        """The build with coordinates in place of names; raises ``RefusedError`` where the survey gives none."""
        return survey.located(self.build, self.survey)

    @cached_property
    def there(self) -> Build:
        """The same, or the build as it is where there is no survey: for stages that may not need the points."""
        return self.located if self.survey is not None else self.build

    @cached_property
    def layout(self) -> LayoutResult | None:
        """Places compared."""
        return self._attempt("layout", self._compared)

    def _compared(self) -> LayoutResult | None:
        if not self.build.places or not self.build.seats:
            return None
        polars = self.files.polars()
        return compare_places(
            self.build, self.survey, self._progress, polars=polars, executor=self._executor, keep=self._keep
        )

    @cached_property
    def enclosure(self) -> EnclosureResult | None:
        """Drive units and boxes."""
        sweeps, found = self.files.sweeps()
        boxed = {name for box in self.build.boxes for name in box.speakers}
        places = self.layout.places if self.layout is not None else {}
        lows = {name: item for name, item in places.items() if name in boxed}

        def work(build: Build, seat: str, lows: dict[str, PlaceResult], *read: Any) -> EnclosureResult | None:
            placed = None if self.layout is None else _for_boxes(self.layout, lows)
            return enclosure.run(build, placed, sweeps=read[0], found=read[1], drawn=read[2], keep=self._keep)

        seat = "" if self.layout is None else self.layout.listening_seat
        return self._answer("enclosure", work, self.build, seat, lows, sweeps, found, self.files.hollows(), found=found)

    @cached_property
    def workshop(self) -> WorkshopResult | None:
        """Panels, boxes and mounts as parts to cut."""

        def work(build: Build, boxed: Any, placed: Any, drawn: Any) -> WorkshopResult | None:
            return workshop.run(build, boxed, placed=placed, drawn=drawn)

        return self._answer("workshop", work, self.there, self.enclosure, self.layout, self.files.drawn())

    @cached_property
    def power(self) -> PowerResult | None:
        """The electrical system."""
        return self._answer("power", power.run, self.there)

    @cached_property
    def tuning(self) -> TuningResult | None:
        """Settings from recordings."""
        found: list[Finding] = []

        def tune() -> TuningResult | None:
            try:
                read = self.files.recordings()
            except PersonError as error:
                found.extend(getattr(error, "findings", ()))
                raise
            if read is None:
                return None
            found.extend(read.findings)
            located = survey.located(self.build, self.survey)
            answer: TuningResult | None = self._keep(
                "tuning", lambda build, given: tuning.run(build, given, self._progress), located, read
            )
            return answer

        answer = self._attempt("tuning", tune)
        if "tuning" in self.stopped:
            self.stopped["tuning"] = (*found, *self.stopped["tuning"])
        return answer

    @cached_property
    def voice(self) -> VoiceResult | None:
        """Where a centred voice stands."""

        def work() -> VoiceResult | None:
            tuned = self.tuning
            if tuned is None:
                return None
            given = (self.files.recordings(), tuned, self.files.loaded())
            answer: VoiceResult | None = self._keep("voice", voice.run, self.located, *given)
            return answer

        return self._attempt("voice", work)

    @cached_property
    def signal(self) -> SignalResult | None:
        """The chain from sources to amplifiers."""
        captured, refusals = self.files.captured()
        loud, doubts = self.files.programmes()
        doubts = (*doubts, *refusals)

        def work(build: Build, captured: Any, tuned: Any, wired: Any, boxed: Any, *read: Any) -> SignalResult | None:
            return signal.run(
                build, captured, tuned=tuned, power=wired, boxed=boxed, programmes=read[0], doubts=read[1]
            )

        given = (captured, self.tuning, self.power, self.enclosure, loud, doubts)
        found = (*(captured.findings if captured else ()), *doubts)
        return self._answer("signal", work, self.there, *given, found=found)

    def unheard(self) -> Unheard:
        """The stages that ask for no recording."""
        return Unheard({stage: getattr(self, stage) for stage in UNHEARD}, self.skipped, self.stopped)

    def take(self, found: Unheard) -> None:
        """What another line of the same build found, in place of working it out here."""
        self.__dict__.update(found.answers)
        self.skipped.update(found.skipped)
        self.stopped.update(found.stopped)

    def results(self) -> Results:
        """Every stage, in their order."""
        answers: dict[str, Any] = {stage: getattr(self, stage) for stage in STAGES}
        skipped = {stage: self.skipped[stage] for stage in STAGES if stage in self.skipped}
        stopped = {stage: self.stopped[stage] for stage in STAGES if stage in self.stopped}
        return Results(**answers, skipped=skipped, stopped=stopped)

    def _answer(
        self, stage: str, work: Callable[..., Answer], build: Build, *given: Any, found: tuple[Finding, ...] = ()
    ) -> Answer | None:
        return self._attempt(stage, lambda: self._keep(stage, work, build, *given), found)

    def _attempt(self, stage: str, work: Callable[[], Answer], found: tuple[Finding, ...] = ()) -> Answer | None:
        """What ``work`` gives; where it raises, None, and ``stopped`` says why, after what was ``found`` before."""
        answer = _attempt(stage, work, self.stopped, found)
        if answer is None and stage not in self.stopped:
            self.skipped[stage] = NOT_YET[stage]
        return answer


@dataclass(frozen=True)
class Unheard:
    """What stages gave that ask for no recording; it goes from one process to another."""

    answers: dict[str, Any]
    skipped: dict[str, str]
    stopped: dict[str, tuple[Finding, ...]]


def design(build: Build, recordings: RecordedResponses | None, progress: Progress) -> Results:
    """Run every stage whose inputs are there, without any file but the recordings."""
    return Line(build, _Given(recordings), progress).results()


@dataclass(frozen=True)
class _Given(Files):
    """Recordings alone."""

    read: RecordedResponses | None

    def recordings(self) -> RecordedResponses | None:
        """Those that were given."""
        return self.read


def _for_boxes(placed: LayoutResult, places: dict[str, PlaceResult]) -> LayoutResult:
    """As much of a comparison as boxes may read: so an enclosure stands as long as these places do."""
    return replace(
        placed,
        places=places,
        pairs=(),
        low_frequency=None,
        ranking=(),
        clearances=(),
        view=None,
        findings=(),
        speed_of_sound_m_s=0.0,
        draws=0,
    )


def compare_places(
    build: Build,
    surveyed: SurveyResult | None,
    progress: Progress,
    *,
    polars: Mapping[str, Polar] | None = None,
    executor: Executor | None = None,
    keep: Keeper = afresh,
) -> LayoutResult | None:
    """The layout stage with what the survey knows: coordinates for names, and how exact they are."""
    named = survey.named_places(build) if surveyed is not None else {}
    located = survey.located(build, surveyed)  # the places' own doubt is in it
    heard = layout.listening_seat(located) if build.seats else ""
    seats = {seat.name: number for number, seat in enumerate(build.seats)}
    head = named.get(f"seats[{seats.get(heard, -1)}].head_m")
    doubt = surveyed.points[head].sigma_m if surveyed is not None and head is not None else (0.0, 0.0, 0.0)
    sigmas = {place.name: doubt for place in build.places}

    def work(build: Build, sigmas_m: Any, polars: Any) -> LayoutResult | None:
        return layout.run(build, sigmas_m=sigmas_m, polars=polars, executor=executor, progress=progress, keep=keep)

    answer: LayoutResult | None = keep("layout", work, located, sigmas, polars)
    return answer


def wiring(build: Build, *, keep: Keeper = afresh) -> PowerResult | None:
    """The electrical system alone; None where there is none, or where ``design`` would say why it gave no answer."""
    return _attempt("power", lambda: keep("power", power.run, build), {})


def heard_at(
    build: Build, recorded: RecordedResponses, tuned: TuningResult, loaded: Settings | None, *, keep: Keeper = afresh
) -> VoiceResult | None:
    """Where a voice stands, alone; None where there is no telling, or where ``design`` would say why not."""
    return _attempt("voice", lambda: keep("voice", voice.run, build, recorded, tuned, loaded), {})


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
