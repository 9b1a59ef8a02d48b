"""What verifying found, as a page for a person and as JSON for machines."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from cabinwright.build.document import Build
from cabinwright.drawings.chart import Axis, Chart, Line, Spread
from cabinwright.handover.json_text import json_text, plain
from cabinwright.handover.pages import page, stopped
from cabinwright.handover.report import drawn, finding_groups
from cabinwright.handover.wording import NONE, decibels, hertz, join, microseconds, milliseconds, signed, third_octave
from cabinwright.stages.tuning.verify.result import Cause, Comparison, VerificationResult

__all__ = ["verification_dict", "verification_files", "verification_html"]

RANGE_DB = 36.0
STEP_DB = 6.0
TOLD = ("verify-cause", "verify-undecided", "verify-not-checked", "verify-pass")  #: the page says these elsewhere


def verification_files(build: Build, result: VerificationResult) -> dict[str, str]:
    """Both files by name."""
    return {
        "verification.json": json_text(verification_dict(build, result)),
        "verification.html": verification_html(build, result),
    }


def verification_dict(build: Build, result: VerificationResult) -> dict[str, Any]:
    """Contents of ``verification.json`` in JSON's own types; NaN is ``None``."""
    whole: dict[str, Any] = plain(
        {
            "schema": 1,
            "title": build.title,
            "verdict": "pass" if result.passed else "differs",
            "summary": result.summary,
            "causes": result.causes,
            "alternatives": result.alternatives,
            "runner_up": result.runner_up,
            "runner_up_behind": result.runner_up_behind,
            "explained_share": result.explained_share,
            "record_next": result.record_next,
            "not_checked": result.not_checked,
            "level_db": result.level_db,
            "latency_s": result.latency_s,
            "position_delay_s": result.position_delay_s,
            "band_centres_hz": result.band_centres_hz,
            "comparisons": [_comparison_dict(item) for item in result.comparisons],
            "findings": result.findings,
        }
    )
    return whole


def verification_html(build: Build, result: VerificationResult) -> str:
    """Text of ``verification.html``."""
    return page(
        "verification",
        styles=("report", "verification"),
        title=build.title,
        vehicle=build.vehicle.name,
        passed=result.passed,
        summary=result.summary,
        causes=[_cause(item) for item in result.causes],
        explained=f"{100.0 * result.explained_share:.0f} %",
        alternatives=[[_cause(item) for item in story] for story in result.alternatives],
        record_next=result.record_next,
        not_checked=join(result.not_checked),
        level=decibels(result.level_db),
        latency=milliseconds(result.latency_s),
        findings=finding_groups([f for f in result.findings if f.severity == "stop" or f.code not in TOLD]),
        figures=[_figure(result, item, number) for number, item in enumerate(result.comparisons)],
    )


def _comparison_dict(item: Comparison) -> dict[str, Any]:
    return {
        "name": item.name,
        "channels": item.channels,
        "positions": item.positions,
        "within": item.within,
        "measured_db": item.measured_db,
        "predicted_db": item.predicted_db,
        "difference_db": item.difference_db,
        "tolerance_db": item.tolerance_db,
        "explained_db": item.explained_db,
        "measured_positions_db": item.measured_positions_db,
        "predicted_positions_db": item.predicted_positions_db,
    }


def _cause(item: Cause) -> dict[str, str]:
    return {
        "channels": join(item.channels),
        "kind": item.kind,
        "amount": _amount(item),
        "text": stopped(item.text[:1].upper() + item.text[1:]),
        "remedy": item.remedy,
        "confidence": item.confidence,
    }


def _amount(item: Cause) -> str:
    if item.amount is None or not math.isfinite(item.amount):
        return ""
    if item.unit == "s":
        return microseconds(item.amount) if abs(item.amount) < 1e-3 else f"{signed(item.amount * 1e3, 3)} ms"
    if item.unit == "dB":
        return decibels(item.amount)
    return hertz(item.amount) if item.unit == "Hz" else f"{item.amount:.3g} {item.unit}".strip()


def _figure(result: VerificationResult, item: Comparison, number: int) -> dict[str, Any]:
    rows = zip(
        result.band_centres_hz, item.measured_db, item.predicted_db, item.difference_db, item.tolerance_db, strict=True
    )
    shift = _reference_db(item)
    return {
        "name": item.name,
        "members": join(item.channels),
        "within": item.within,
        "positions": join(item.positions),
        "bands": [
            {
                "frequency": third_octave(centre),
                "measured": decibels(measured - shift),
                "predicted": decibels(predicted - shift),
                "difference": decibels(difference),
                "tolerance": decibels(tolerance, plus=False),
                "state": _state(difference, tolerance),
            }
            for centre, measured, predicted, difference, tolerance in rows
        ],
        **drawn(_chart(result, item, shift), f"comparison-{number}"),
    }


def _state(difference_db: float, tolerance_db: float) -> str:
    if not math.isfinite(tolerance_db) or not math.isfinite(difference_db):
        return NONE
    return "agrees" if abs(difference_db) <= tolerance_db else "differs"


def _reference_db(item: Comparison) -> float:
    finite = item.predicted_db[np.isfinite(item.predicted_db)]
    return float(finite.max()) if len(finite) else 0.0


def _chart(result: VerificationResult, item: Comparison, shift_db: float) -> Chart:
    x = result.band_centres_hz
    predicted = item.predicted_db - shift_db
    lines = [Line(x, predicted, "predicted", "target")]
    if not result.passed and result.causes:
        lines.append(Line(x, item.explained_db - shift_db, "with the causes found", "right"))
    lines.append(Line(x, item.measured_db - shift_db, "measured", "after"))
    top = 6.0 + STEP_DB * max(0.0, np.ceil(np.nanmax(np.append(item.measured_db - shift_db, 0.0)) / STEP_DB - 0.5))
    return Chart(
        f"Level of {item.name} against frequency: predicted, measured, and what may differ.",
        Axis.frequency(low_hz=min(20.0, float(x[0])), high_hz=max(20_000.0, float(x[-1]))),
        Axis("level, dB", float(top) - RANGE_DB - STEP_DB, float(top), step=STEP_DB),
        lines=tuple(lines),
        spreads=(Spread(x, predicted - item.tolerance_db, predicted + item.tolerance_db, "may differ", "before"),),
        height_mm=64.0,
    )
