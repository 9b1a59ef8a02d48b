"""What verifying found, as a page for a person and as JSON for machines."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build
from cabinwright.drawings.chart import Axis, Chart, Line, Spread
from cabinwright.handover.json_text import json_text, plain
from cabinwright.handover.pages import page, stopped
from cabinwright.handover.report import drawn, finding_groups
from cabinwright.handover.wording import NONE, decibels, hertz, join, microseconds, milliseconds, signed, third_octave
from cabinwright.stages.tuning.verify.result import Cause, Comparison, VerificationResult

__all__ = [
    "cause_words",
    "comparison_chart",
    "shown_shift_db",
    "verification_dict",
    "verification_files",
    "verification_html",
]

MOST_DB, LEAST_DB, STEP_DB = 36.0, 24.0, 6.0  #: reach of the axis and its steps
AROUND_HZ = (500.0, 2000.0)  #: the prediction here is 0 dB, as in the report
SOUNDS_DB = 20.0  #: what is weaker there than this below its loudest band does not play there
TOLD = ("verify-cause", "verify-undecided", "verify-not-checked", "verify-pass")  #: the page says these elsewhere


def verification_files(build: Build, result: VerificationResult, fingerprint: str = "") -> dict[str, str]:
    """Both files by name."""
    return {
        "verification.json": json_text(verification_dict(build, result, fingerprint)),
        "verification.html": verification_html(build, result, fingerprint),
    }


def verification_dict(build: Build, result: VerificationResult, fingerprint: str = "") -> dict[str, Any]:
    """Contents of ``verification.json`` in JSON's own types; NaN is ``None``."""
    whole: dict[str, Any] = plain(
        {
            "schema": 1,
            "title": build.title,
            "fingerprint": fingerprint or None,
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


def verification_html(build: Build, result: VerificationResult, fingerprint: str = "") -> str:
    """Text of ``verification.html``."""
    return page(
        "verification",
        styles=("report", "verification"),
        title=build.title,
        vehicle=build.vehicle.name,
        fingerprint=fingerprint,
        passed=result.passed,
        summary=result.summary,
        causes=[cause_words(item) for item in result.causes],
        explained=f"{100.0 * result.explained_share:.0f} %",
        alternatives=[[cause_words(item) for item in story] for story in result.alternatives],
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


def cause_words(item: Cause) -> dict[str, str]:
    """One cause in words."""
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
    shifts = shown_shift_db(result, item)
    rows = zip(
        result.band_centres_hz,
        item.measured_db,
        item.predicted_db,
        item.difference_db,
        item.tolerance_db,
        shifts,
        strict=True,
    )
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
            for centre, measured, predicted, difference, tolerance, shift in rows
        ],
        **drawn(comparison_chart(result, item, shifts), f"comparison-{number}"),
    }


def _state(difference_db: float, tolerance_db: float) -> str:
    if not math.isfinite(tolerance_db) or not math.isfinite(difference_db):
        return NONE
    return "agrees" if abs(difference_db) <= tolerance_db else "differs"


def shown_shift_db(result: VerificationResult, item: Comparison) -> NDArray[np.float64]:
    """What to take off every band to show it as the report does: third octaves hold power in proportion to their
    width, which is taken out, and the prediction around 1 kHz (else its loudest band) is 0 dB."""
    x = result.band_centres_hz
    width: NDArray[np.float64] = 10.0 * np.log10(x / 1000.0)
    level = item.predicted_db - width
    if not np.isfinite(level).any():
        return width
    near = level[(x > AROUND_HZ[0]) & (x < AROUND_HZ[1]) & np.isfinite(level)]
    top = float(np.nanmax(level))
    plays = len(near) > 0 and float(near.mean()) > top - SOUNDS_DB
    return width + (float(near.mean()) if plays else top)


def comparison_chart(result: VerificationResult, item: Comparison, shift_db: NDArray[np.float64]) -> Chart:
    """Predicted, measured, and what may differ, of one recording."""
    x = result.band_centres_hz
    predicted, measured = item.predicted_db - shift_db, item.measured_db - shift_db
    lines = [Line(x, predicted, "predicted", "target")]
    if not result.passed and result.causes:
        lines.append(Line(x, item.explained_db - shift_db, "with the causes found", "right"))
    lines.append(Line(x, measured, "measured", "after"))
    return Chart(
        f"Level of {item.name} against frequency: predicted, measured, and what may differ.",
        Axis.frequency(low_hz=min(20.0, float(x[0])), high_hz=max(20_000.0, float(x[-1]))),
        _level_axis(np.append(predicted, measured)),
        lines=tuple(lines),
        spreads=(Spread(x, predicted - item.tolerance_db, predicted + item.tolerance_db, "may differ", "before"),),
        height_mm=64.0,
    )


def _level_axis(level_db: NDArray[np.float64]) -> Axis:
    """From somewhat above the highest to just below the lowest value, within reason."""
    heard = level_db[np.isfinite(level_db)]
    top = STEP_DB * float(np.ceil((heard.max(initial=0.0) + 2.0) / STEP_DB))
    low = STEP_DB * float(np.floor((heard.min(initial=0.0) - 1.0) / STEP_DB))
    return Axis("level, dB", min(max(low, top - MOST_DB), top - LEAST_DB), top, step=STEP_DB)
