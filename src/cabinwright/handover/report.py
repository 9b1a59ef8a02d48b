"""``report.html``: what was heard, what is predicted, why each choice was made, and how far to trust it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from cabinwright.build.document import Build
from cabinwright.drawings.chart import Chart
from cabinwright.drawings.svg import render, swatch
from cabinwright.findings import Finding
from cabinwright.handover import report_charts as charts
from cabinwright.handover.labels import label_sheets
from cabinwright.handover.lists import lists, view
from cabinwright.handover.pages import page
from cabinwright.handover.report_words import LIMITS, TOGETHER, all_findings, expectation, sides_first, verdict
from cabinwright.handover.settings_page import CAUTION
from cabinwright.handover.voice import voice_part
from cabinwright.handover.wording import (
    NONE,
    crossover_words,
    decibels,
    figure,
    hertz,
    microseconds,
    milliseconds,
    ratio,
)
from cabinwright.physics.filters import Filter
from cabinwright.physics.response import RecordedResponses
from cabinwright.stages.layout.meets import Met
from cabinwright.stages.power.result import PowerResult
from cabinwright.stages.tuning.result import Decision, TuningResult
from cabinwright.stages.tuning.settings import ChannelSettings
from cabinwright.stages.tuning.sides import EVERYTHING
from cabinwright.stages.voice.result import VoiceResult

if TYPE_CHECKING:  # shown.py takes its words from pages that take theirs from here
    from cabinwright.handover.shown import Piece

__all__ = ["drawn", "filter_words", "finding_groups", "recording_grid", "report_html"]

MET_CHARTS = 4  #: channels whose early levels are drawn
MARKED = ("clock_drift_ppm",)  #: figures that say something only where markers tell the clocks apart
SEVERITY_WORDS = {
    "stop": ("Stop", "settle before loading"),
    "caution": ("Caution", "look at this"),
    "note": ("Note", "for your information"),
}


def report_html(
    build: Build,
    result: TuningResult,
    recordings: RecordedResponses,
    met: tuple[Met, ...] = (),
    power: PowerResult | None = None,
    diagram: str = "",
    chain: str = "",
    pieces: Sequence[Piece] = (),
    voice: VoiceResult | None = None,
) -> str:
    """Text of ``report.html``: one file, nothing fetched from anywhere, no script.

    ``diagram`` is the wiring diagram and ``chain`` the block diagram of the signal chain as SVG, of our own drawing;
    ``pieces`` are the boxes and panels to show; ``voice`` says where a voice in the middle stands.
    """
    from markupsafe import Markup

    return page(
        "report",
        styles=("report", "electrical", "shown"),
        title=build.title,
        fingerprint=result.settings.fingerprint,
        vehicle=build.vehicle.name,
        positions=len(result.positions),
        channel_count=len(result.settings.channels),
        verdict=verdict(result, recordings),
        pieces=pieces,
        findings=finding_groups(all_findings(result, recordings)),
        errors=_errors(result),
        sides=_sides(result),
        house_source="as the build says" if result.house_curve_source == "the build" else result.house_curve_source,
        together_words=TOGETHER,
        sums=_sum_figures(result),
        starts=_starts(result),
        differences=_difference_figures(result),
        voice=voice_part(build, voice),
        nearest=result.nearest_position,
        impulses=drawn(charts.impulse_chart(result), "impulses"),
        steps=drawn(charts.step_chart(result), "steps"),
        coherent_lost=_at_least(result.metrics.coherent_gain_lost_db),
        channels=[_channel(result, item, number) for number, item in enumerate(result.settings.channels, start=1)],
        channel_key=_key(charts.channel_chart(result, next(iter(result.channels.values())))),
        expectation=expectation(result),
        decisions=_grouped(result.decisions),
        recordings=recording_grid(build, recordings),
        met=_met(met),
        electrical=_electrical(build, power, diagram),
        chain=Markup(chain),
        limits=LIMITS,
        caution=CAUTION,
    )


def _electrical(build: Build, power: PowerResult | None, diagram: str) -> dict[str, Any] | None:
    """The electrical system as the report shows it; None where the build has none."""
    from markupsafe import Markup

    if power is None:
        return None
    promises = [item for item in power.promises if not item.holds]
    grave = [item for item in power.findings if item.severity != "note"]
    found = lists(build, power)
    return {
        "combinations": power.states.count,
        "promises": len(power.promises),
        "broken": [item.text for item in promises],
        "findings": finding_groups(grave),
        "diagram": Markup(diagram),
        "sheets": label_sheets(found.labels),
        **view(build, power, found),
    }


def _met(met: tuple[Met, ...]) -> dict[str, Any] | None:
    """Prediction held against measurement; None where the cabin was never described."""
    if not met:
        return None
    return {
        "position": met[0].position,
        "arrivals": drawn(charts.met_arrivals_chart(met), "met"),
        "levels": [
            {"name": item.channel, "chart": drawn(charts.met_levels_chart(item), f"met-{k}")}
            for k, item in enumerate(met[:MET_CHARTS])
        ],
        "rows": [
            {
                "name": item.channel,
                "correlation": f"{item.correlation:.2f}".replace("-", "−"),
                "bands": f"{item.band_correlation:.2f}".replace("-", "−"),
                "apart": decibels(item.apart_db, plus=False),
            }
            for item in met
        ],
    }


def drawn(chart: Chart, name: str) -> dict[str, Any]:
    """A chart as the templates take it: markup and key."""
    from markupsafe import Markup

    return {"svg": Markup(render(chart, name=name)), "key": _key(chart)}


def finding_groups(findings: list[Finding]) -> list[dict[str, Any]]:
    """Findings by severity, gravest first; those with the same remedy together; empty groups left out."""
    groups = []
    for severity, (word, means) in SEVERITY_WORDS.items():
        alike: dict[tuple[str, str], list[Finding]] = {}
        for item in findings:
            if item.severity == severity:
                alike.setdefault((item.code, item.remedy), []).append(item)
        if alike:
            groups.append({"severity": severity, "word": word, "means": means, "alike": list(alike.values())})
    return groups


def _grouped(decisions: tuple[Decision, ...]) -> list[list[Decision]]:
    """Decisions about the same thing together, in order of first mention."""
    groups: dict[str, list[Decision]] = {}
    for item in decisions:
        groups.setdefault(item.about, []).append(item)
    return list(groups.values())


def _key(chart: Chart) -> list[dict[str, Any]]:
    from markupsafe import Markup

    return [{"label": label, "swatch": Markup(swatch(ink, spread=spread))} for label, ink, spread in chart.key]


def _at_least(value_db: float, least_db: float = 0.1) -> str:
    """A shortfall as a bound: nobody can tell less than a tenth of a decibel."""
    return decibels(max(value_db, least_db) if math.isfinite(value_db) else value_db, plus=False)


def _errors(result: TuningResult) -> list[dict[str, str]]:
    metrics = result.metrics
    columns = {
        "before": metrics.error_before_db,
        "after": metrics.error_after_db,
        "expected": metrics.error_expected_db,
        "single": metrics.error_single_place_db,
    }
    return [
        {"name": name, **{key: decibels(errors.get(name, math.nan), plus=False) for key, errors in columns.items()}}
        for name in sides_first(result.sums)
    ]


def _sides(result: TuningResult) -> dict[str, str] | None:
    """Difference of the sides in figures; ``None`` where there are no two sides."""
    metrics = result.metrics
    if not math.isfinite(metrics.arrival_difference_s):
        return None
    return {
        "level_before": decibels(metrics.side_difference_before_db, plus=False),
        "level_after": decibels(metrics.side_difference_db, plus=False),
        "arrival_before": microseconds(abs(metrics.arrival_difference_before_s)),
        "arrival_after": microseconds(abs(metrics.arrival_difference_s)),
    }


def _sum_figures(result: TuningResult) -> list[dict[str, Any]]:
    """The sides beside one another, then everything, all of one size; a system without sides is drawn wide."""
    names = sides_first(result.sums)
    rows = []
    for number, name in enumerate(names):
        curves = result.sums[name]
        wide = len(names) == 1
        chart = drawn(charts.sum_chart(result, curves, wide=wide), f"sum-{number}")
        rows.append({"name": name, "members": curves.channels, "wide": wide, "whole": name == EVERYTHING, **chart})
    return rows


def _starts(result: TuningResult) -> list[dict[str, str]]:
    """Levels and delays by tape alone beside those of the tune."""
    before = {item.name: item for item in result.before.channels} if result.before else {}
    rows = []
    for item in result.settings.channels:
        was = before.get(item.name)
        curves = result.channels.get(item.name)
        rows.append(
            {
                "name": item.name,
                "arrival": milliseconds(curves.arrival_s) if curves else NONE,
                "gain_before": decibels(was.gain_db) if was else NONE,
                "delay_before": milliseconds(was.delay_s) if was else NONE,
                "gain": decibels(item.gain_db),
                "delay": milliseconds(item.delay_s),
                "polarity": item.polarity,
            }
        )
    return rows


def _difference_figures(result: TuningResult) -> list[dict[str, Any]]:
    if not math.isfinite(result.metrics.arrival_difference_s):
        return []
    return [
        {"name": "Level, left minus right", **drawn(charts.level_difference_chart(result), "sides-level")},
        {"name": "Arrival, left minus right", **drawn(charts.arrival_chart(result), "sides-arrival")},
    ]


def _channel(result: TuningResult, item: ChannelSettings, number: int) -> dict[str, Any]:
    curves = result.channels[item.name]
    chart = drawn(charts.channel_chart(result, curves), f"channel-{number}")
    return {
        "name": item.name,
        "svg": chart["svg"],
        "safe": f"{curves.low_limit_hz:.0f} to {curves.high_limit_hz:.0f} Hz ({curves.limit_source})",
        "headroom": decibels(result.metrics.headroom_db.get(item.name, math.nan), plus=False),
        "filters": [filter_words(row) for row in sorted(item.filters, key=_as_read)],
    }


def _as_read(item: Filter) -> tuple[bool, float]:
    """Crossovers first, then upwards in frequency."""
    return item.kind not in ("high-pass", "low-pass"), item.frequency_hz


def filter_words(item: Filter) -> dict[str, str]:
    """One filter as a person reads it."""
    if item.kind in ("high-pass", "low-pass"):
        figures = crossover_words(item)
    elif item.kind == "peaking":
        figures = f"{decibels(item.gain_db or 0.0)}, Q {ratio(item.q or 0.0)}"
    else:
        figures = f"Q {ratio(item.q or 0.0)}"
    return {"kind": item.kind, "frequency": hertz(item.frequency_hz), "figures": figures, "reason": item.reason}


def recording_grid(build: Build, recordings: RecordedResponses) -> dict[str, Any]:
    """A grid of channels against positions, and what was left out."""
    by_pair: dict[tuple[str, str], list[bool]] = {}
    for item in recordings.verdicts:
        by_pair.setdefault((item.channel, item.position), []).append(item.good)
    for c, p in np.argwhere(recordings.present):  # impulses may come without verdicts
        by_pair.setdefault((recordings.channels[c], recordings.positions[p]), [True])
    channels = list(dict.fromkeys([*recordings.channels, *(item.channel for item in recordings.verdicts)]))
    positions = list(dict.fromkeys([*recordings.positions, *(item.position for item in recordings.verdicts)]))
    grid = [
        {"name": channel, "cells": [_cell(by_pair.get((channel, position), [])) for position in positions]}
        for channel in channels
    ]
    marked = bool(build.tuning and build.tuning.timing == "marker")  # else one clock for both, or none to know of
    rows = [
        {
            "channel": item.channel,
            "position": item.position,
            "file": item.file,
            "good": item.good,
            "reason": item.reason,
            "figures": [figure(name, value) for name, value in item.figures.items() if name not in MARKED or marked],
        }
        for item in recordings.verdicts
    ]
    return {"positions": positions, "grid": grid, "left_out": [row for row in rows if not row["good"]], "rows": rows}


def _cell(good: list[bool]) -> dict[str, str]:
    if not good:
        return {"state": "none", "symbol": NONE, "word": "missing"}
    if any(good):
        return {"state": "good", "symbol": "✓", "word": "used"}
    return {"state": "bad", "symbol": "✗", "word": "left out"}
