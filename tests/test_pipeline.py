"""The order of the stages: what is skipped, what stops, and what passes through."""

from __future__ import annotations

from typing import Any

import pytest

from cabinwright.errors import RefusedError
from cabinwright.pipeline import design
from cabinwright.stages import tuning
from stages.tune_cases import TWO_WAY, make_case

STAGES = {"survey", "layout", "signal", "enclosure", "power", "workshop", "voice"}


def _unwatched(what: str, share: float) -> None:
    pass


def test_without_recordings_the_tune_is_skipped() -> None:
    results = design(make_case("fullrange").build, None, _unwatched)
    assert set(results.skipped) == STAGES | {"tuning"}
    assert "recordings of every channel" in results.skipped["tuning"]
    assert results.tuning is None
    assert results.stopped == {}


def test_with_recordings_it_runs() -> None:
    case = make_case("fullrange", positions=2, processor={"peaking_filters": 1})
    results = design(case.build, case.responses, _unwatched)
    assert results.tuning is not None
    assert results.tuning.settings == tuning.run(case.build, case.responses).settings
    assert set(results.skipped) == STAGES


def test_a_refusal_is_a_stop_with_its_reason() -> None:
    case = make_case(*TWO_WAY, positions=2, missing=[("left tweeter", "p1"), ("left midbass", "p2")])
    results = design(case.build, case.responses, _unwatched)
    assert results.tuning is None
    (found,) = results.stopped["tuning"]
    assert (found.code, found.severity) == ("stage.refused", "stop")
    assert "Record them again" in found.message
    with pytest.raises(RefusedError, match="Record them again"):
        tuning.run(case.build, case.responses)


def test_a_crash_is_a_stop_and_never_silence(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: Any) -> None:
        raise ZeroDivisionError("by our own mistake")

    case = make_case("fullrange", positions=2)
    monkeypatch.setattr(tuning, "run", broken)
    (found,) = design(case.build, case.responses, _unwatched).stopped["tuning"]
    assert (found.code, found.severity) == ("stage.crashed", "stop")
    assert "ZeroDivisionError: by our own mistake" in found.message


def test_only_an_interruption_passes_through() -> None:
    case = make_case("fullrange", positions=2)

    def interrupt(what: str, share: float) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        design(case.build, case.responses, interrupt)
