"""``plan.json``: every stage has its key, every key is documented, and nothing in it is no number."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from cabinwright.build.document import Build
from cabinwright.findings import Finding
from cabinwright.handover.json_text import json_text, plain
from cabinwright.handover.plan import STAGES, plan_dict, plan_json
from cabinwright.physics.response import RecordedResponses
from cabinwright.stages.tuning.result import TuningResult
from handover import invented

ROOT = Path(__file__).parents[2]


@dataclass(frozen=True)
class Given:
    """Results of a pipeline in which only some stages ran."""

    tuning: TuningResult | None = None
    survey: object = None
    skipped: Mapping[str, str] = field(default_factory=dict)
    stopped: Mapping[str, tuple[Finding, ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class Surveyed:
    delay_s: np.ndarray
    findings: tuple[Finding, ...]


def refuse(text: str) -> float:
    raise AssertionError(f"{text} is not JSON")


def keys(data: Any) -> Iterator[str]:
    if isinstance(data, dict):
        yield from data
        for item in data.values():
            yield from keys(item)
    elif isinstance(data, list):
        for item in data:
            yield from keys(item)


def test_one_key_per_stage_and_null_where_skipped(car: Build) -> None:
    data = plan_dict(car, Given(skipped={"tuning": "needs [[recordings]]"}))
    assert set(STAGES) <= set(data)
    assert all(data[stage] is None for stage in STAGES)
    assert data["skipped"] == {"tuning": "needs [[recordings]]"}
    assert data["schema"] == 1
    assert data["vehicle"] == {"name": car.vehicle.name, "driving_side": "right"}


def test_the_tune_in_full(car: Build, tune: TuningResult, recordings: RecordedResponses) -> None:
    text = plan_json(car, Given(tuning=tune), recordings)
    data = json.loads(text, parse_constant=refuse)["tuning"]
    bands = len(data["band_centres_hz"])
    assert len(data["house_curve"]["level_db"]) == bands
    for name, curves in data["sums"].items():
        np.testing.assert_allclose(curves["after_db"], tune.sums[name].after_db, rtol=1e-5)
        assert [len(row) for row in curves["after_positions_db"]] == [bands] * len(tune.positions)
    assert [row["name"] for row in data["channels"]] == [item.name for item in tune.settings.channels]
    assert len(data["recordings"]) == 49
    assert len(data["findings"]) == len(tune.findings)
    assert len(data["decisions"]) == len(tune.decisions)
    assert data["metrics"]["error_after_db"].keys() == tune.metrics.error_after_db.keys()


def test_what_is_no_number_is_null(car: Build, tune: TuningResult, recordings: RecordedResponses) -> None:
    assert np.isnan(tune.side_arrival_difference_s).any(), "otherwise this proves nothing"
    data = json.loads(plan_json(car, Given(tuning=tune), recordings), parse_constant=refuse)["tuning"]
    lost = [value is None for value in data["sides"]["arrival_difference_s"]]
    assert lost == np.isnan(tune.side_arrival_difference_s).tolist()
    assert next(item for item in data["findings"] if item["severity"] == "stop")["limit"] is None


def test_a_stage_without_its_own_writer_is_written_from_its_fields(car: Build, tune: TuningResult) -> None:
    survey = Surveyed(np.array([0.001, math.nan]), tune.findings[:1])
    data = plan_dict(car, Given(survey=survey, skipped={"survey": "not so"}))
    assert data["survey"]["delay_s"] == [0.001, None]
    assert data["survey"]["findings"][0]["code"] == tune.findings[0].code
    assert data["skipped"] == {}, "a stage that ran was not skipped"


def test_a_stage_that_was_stopped_says_why(car: Build, tune: TuningResult) -> None:
    data = plan_dict(car, Given(stopped={"tuning": tune.findings[2:]}))
    assert [item["severity"] for item in data["tuning"]["findings"]] == ["stop"]
    assert list(data["tuning"]) == ["findings"]


def test_every_key_is_documented(car: Build, tune: TuningResult, recordings: RecordedResponses) -> None:
    documented = (ROOT / "docs" / "plan.md").read_text(encoding="utf-8")
    data = plan_dict(car, Given(tuning=tune), recordings)
    free = {*tune.sums, *tune.metrics.headroom_db}  # names that the person or the car gave
    free |= {name for item in recordings.verdicts for name in item.figures}
    missing = {key for key in keys(data) if f"`{key}`" not in documented} - free
    assert missing == set()


def test_the_smallest_system() -> None:
    car, result, recordings = invented.single()
    data = json.loads(plan_json(car, Given(tuning=result), recordings), parse_constant=refuse)
    assert data["tuning"]["metrics"]["arrival_difference_s"] is None


def test_numbers_keep_six_digits() -> None:
    assert plain(np.array([1.23456789e-5, 48000.0])) == [1.23457e-05, 48000.0]


def test_strict_json_refuses_what_is_no_number() -> None:
    with pytest.raises(ValueError, match="JSON compliant"):
        json_text({"a": [math.nan]})


@pytest.mark.parametrize("data", [{}, [], {"a": []}, {"a": [[1.5, 2], []], "ä\n": {"b": None}}, [{"x": [1]}], "ß"])
def test_layout_changes_nothing(data: Any) -> None:
    assert json.loads(json_text(data)) == data
    assert json_text(data).endswith("\n")
