"""What the book is written from: the build, what every stage gave, and what was recorded. Nothing is worked out here."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Self

from cabinwright.build.document import Build
from cabinwright.findings import Finding
from cabinwright.handover.lists import Lists, lists, view
from cabinwright.handover.plan import STAGES, StageResults
from cabinwright.physics.factory import FactoryResponses
from cabinwright.physics.response import RecordedResponses
from cabinwright.stages.enclosure.result import EnclosureResult
from cabinwright.stages.layout.result import LayoutResult
from cabinwright.stages.power.result import PowerResult
from cabinwright.stages.signal.result import SignalResult
from cabinwright.stages.tuning.result import TuningResult
from cabinwright.stages.tuning.verify.result import VerificationResult
from cabinwright.stages.voice.result import VoiceResult
from cabinwright.stages.workshop.result import WorkshopResult

__all__ = ["Given", "Logged"]


@dataclass(frozen=True, slots=True)
class Logged:
    """Something that was kept while the car was built: a note, or a photograph with what is to be seen."""

    on: str  #: the day, as it is read
    pinned: str  #: stage or part that it belongs to; empty: none
    words: str
    picture: bytes = b""  #: JPEG; empty: a note
    size_px: tuple[int, int] = (0, 0)


@dataclass(frozen=True)
class Given:
    """One build with its results; a stage that was skipped or stopped is None."""

    build: Build
    located: Build  #: coordinates in place of surveyed points' names
    results: StageResults
    recordings: RecordedResponses | None = None
    captured: FactoryResponses | None = None
    verification: VerificationResult | None = None
    unverified: str = ""  #: why there is no verification
    loaded: str = ""  #: fingerprint of the settings that the verification was held against
    log: tuple[Logged, ...] = ()  #: the oldest first
    layout: LayoutResult | None = field(init=False, default=None)
    signal: SignalResult | None = field(init=False, default=None)
    enclosure: EnclosureResult | None = field(init=False, default=None)
    power: PowerResult | None = field(init=False, default=None)
    workshop: WorkshopResult | None = field(init=False, default=None)
    tuning: TuningResult | None = field(init=False, default=None)
    voice: VoiceResult | None = field(init=False, default=None)

    def __post_init__(self) -> None:
        for stage in ("layout", "signal", "enclosure", "power", "workshop", "tuning", "voice"):
            object.__setattr__(self, stage, getattr(self.results, stage, None))

    @classmethod
    def of(cls, build: Build, results: StageResults, **more: Any) -> Self:
        """With the build itself in place of a located one where none is given."""
        return cls(build, more.pop("located", build), results, **more)

    def why_not(self, stage: str) -> str:
        """What a stage would need, or why it gave no answer, as one sentence."""
        stopped = self.results.stopped.get(stage)
        if stopped:
            return f"Not worked out: {stopped[-1].message}"
        return f"Not in this book: it {self.results.skipped.get(stage, 'was not worked out')}."

    @cached_property
    def lists(self) -> Lists | None:
        """The installer's lists; None without an electrical system."""
        return lists(self.build, self.power) if self.power else None

    @cached_property
    def shown(self) -> dict[str, Any]:
        """The same lists as rows that are ready to read; empty without an electrical system."""
        return view(self.build, self.power, self.lists) if self.power and self.lists else {}

    @cached_property
    def findings(self) -> dict[str, tuple[Finding, ...]]:
        """By stage: everything that was found, in the order of the stages."""
        found: dict[str, tuple[Finding, ...]] = {}
        for stage in STAGES:
            result = getattr(self.results, stage, None)
            found[stage] = (*getattr(result, "findings", ()), *self.results.stopped.get(stage, ()))
        if self.recordings is not None and self.tuning is not None:
            found["tuning"] = (*self.recordings.findings, *found["tuning"])
        if self.verification is not None:
            found["verification"] = self.verification.findings
        return {stage: _once(items) for stage, items in found.items() if items}


def _once(items: Iterable[Finding]) -> tuple[Finding, ...]:
    """Each finding once."""
    seen: dict[tuple[str, str, str], Finding] = {}
    for item in items:
        seen.setdefault((item.code, item.where, item.message), item)
    return tuple(seen.values())
