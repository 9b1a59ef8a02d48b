"""``plan.json``: the whole design as numbers, one key per stage. Every key is explained in ``docs/plan.md``."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Protocol

from cabinwright.build.document import Build
from cabinwright.findings import Finding
from cabinwright.handover.json_text import json_text, plain
from cabinwright.handover.report_words import all_findings
from cabinwright.physics.response import RecordedResponses
from cabinwright.stages.enclosure.result import EnclosureResult
from cabinwright.stages.layout.result import LayoutResult
from cabinwright.stages.power.result import PowerResult
from cabinwright.stages.signal.result import SignalResult
from cabinwright.stages.survey.result import SurveyResult
from cabinwright.stages.tuning.result import TuningResult
from cabinwright.stages.tuning.settings import ChannelSettings
from cabinwright.stages.voice.result import VoiceResult
from cabinwright.stages.workshop.files import mounts_dict, planned_files, solid_of_box
from cabinwright.stages.workshop.result import WorkshopResult

__all__ = ["SCHEMA", "STAGES", "StageResults", "plan_dict", "plan_json"]

SCHEMA = 1  #: version of this format
STAGES = ("survey", "layout", "signal", "enclosure", "power", "workshop", "tuning", "voice")


class StageResults(Protocol):
    """What the pipeline hands over: besides these an attribute per stage, ``None`` or absent where it was skipped."""

    @property
    def layout(self) -> LayoutResult | None: ...
    @property
    def tuning(self) -> TuningResult | None: ...
    @property
    def skipped(self) -> Mapping[str, str]: ...
    @property
    def stopped(self) -> Mapping[str, tuple[Finding, ...]]: ...


def plan_json(build: Build, results: StageResults, recordings: RecordedResponses | None = None) -> str:
    """Text of ``plan.json``."""
    return json_text(plan_dict(build, results, recordings))


def plan_dict(build: Build, results: StageResults, recordings: RecordedResponses | None = None) -> dict[str, Any]:
    """Contents of ``plan.json`` in JSON's own types; NaN and infinity are ``None``."""
    stages: dict[str, Any] = {}
    for stage in STAGES:
        result = getattr(results, stage, None)
        if result is None:
            stopped = results.stopped.get(stage)
            stages[stage] = {"findings": [item.to_dict() for item in stopped]} if stopped else None
        elif isinstance(result, TuningResult):
            stages[stage] = _tuning(result, recordings)
        elif isinstance(result, SurveyResult | LayoutResult | SignalResult | PowerResult | VoiceResult):
            stages[stage] = result.to_dict()
        elif isinstance(result, EnclosureResult):
            stages[stage] = _enclosure(result, results)
        elif isinstance(result, WorkshopResult):
            stages[stage] = {
                **result.to_dict(),
                "mounts": mounts_dict(result),
                "files": [item.name for item in planned_files(result)],
            }
        else:
            stages[stage] = {"findings": [], **plain(result)}
    skipped = {stage: words for stage, words in results.skipped.items() if stages.get(stage) is None}
    whole: dict[str, Any] = plain(
        {
            "schema": SCHEMA,
            "title": build.title,
            "vehicle": {"name": build.vehicle.name, "driving_side": build.vehicle.driving_side},
            "skipped": skipped,
            **stages,
        }
    )
    return whole


def _enclosure(result: EnclosureResult, results: StageResults) -> dict[str, Any]:
    """With the names of each box's solid and of its air, None where they were not written."""
    rows, cut = result.to_dict(), getattr(results, "workshop", None)
    for name, row in rows["boxes"].items():
        if row["shape"] is not None:
            made = cut if isinstance(cut, WorkshopResult) else None
            row["shape"]["solid"] |= {"file": solid_of_box(made, name), "air_file": solid_of_box(made, name, air=True)}
    return rows


def _tuning(result: TuningResult, recordings: RecordedResponses | None) -> dict[str, Any]:
    findings = all_findings(result, recordings) if recordings else list(result.findings)
    return {
        "fingerprint": result.settings.fingerprint,
        "sample_rate_hz": result.settings.sample_rate_hz,
        "positions": result.positions,
        "nearest_position": result.nearest_position,
        "band_centres_hz": result.band_centres_hz,
        "house_curve": {"source": result.house_curve_source, "level_db": result.house_curve_db},
        "sums": {
            name: {
                "channels": item.channels,
                "target_db": item.target_db,
                "before_db": item.before_db,
                "after_db": item.after_db,
                "after_positions_db": item.after_positions_db,
            }
            for name, item in result.sums.items()
        },
        "sides": {
            "level_difference_db": result.side_level_difference_db,
            "level_difference_before_db": result.side_level_difference_before_db,
            "arrival_difference_s": result.side_arrival_difference_s,
        },
        "metrics": plain(result.metrics),
        "channels": [_channel(result, item) for item in result.settings.channels],
        "decisions": plain(result.decisions),
        "recordings": plain(recordings.verdicts) if recordings else [],
        "findings": [item.to_dict() for item in findings],
    }


def _channel(result: TuningResult, item: ChannelSettings) -> dict[str, Any]:
    row: dict[str, Any] = {
        "name": item.name,
        "gain_db": item.gain_db,
        "polarity": item.polarity,
        "delay_s": item.delay_s,
        "filters": [entry.to_dict() for entry in item.filters],
        "headroom_db": result.metrics.headroom_db.get(item.name),
    }
    curves = result.channels.get(item.name)
    if curves is None:
        return row
    return row | {
        "safe_low_hz": curves.low_limit_hz,
        "safe_high_hz": curves.high_limit_hz,
        "limit_source": curves.limit_source,
        "arrival_s": curves.arrival_s,
        "recorded_db": curves.raw_db,
        "recorded_positions_db": curves.raw_positions_db,
        "filters_db": curves.filters_db,
        "after_db": curves.after_db,
    }
