"""The report: well formed, complete, readable without colour, and safe with any name."""

from __future__ import annotations

import math
import re
import subprocess
import sys
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from cabinwright.build.document import Build
from cabinwright.drawings.chart import INKS, Chart
from cabinwright.handover import report_charts
from cabinwright.handover.pages import stopped
from cabinwright.handover.report import report_html
from cabinwright.handover.report_words import all_findings, verdict
from cabinwright.physics.response import RecordedResponses
from cabinwright.stages.tuning.result import TuningResult
from handover import invented
from handover.html_check import Page


@pytest.fixture(scope="module")
def html(car: Build, tune: TuningResult, recordings: RecordedResponses) -> str:
    return report_html(car, tune, recordings)


def test_well_formed_and_self_contained(html: str) -> None:
    page = Page(html)
    assert page.faults == []
    assert "@import" not in html
    assert re.findall(r"url\((?!#)", html) == []


def test_headings_descend_by_one(html: str) -> None:
    levels = Page(html).headings
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


def test_every_chart_is_named_for_those_who_do_not_see_it(html: str) -> None:
    drawings = [attributes for tag, attributes in Page(html).tags if tag == "svg"]
    assert drawings
    for attributes in drawings:
        assert attributes.get("aria-hidden") == "true" or (attributes.get("role") == "img" and attributes["aria-label"])


def test_the_verdict_stands_first_in_five_lines(html: str, tune: TuningResult, recordings: RecordedResponses) -> None:
    lines = verdict(tune, recordings)
    assert [label for label, _ in lines] == ["Found", "Before", "Predicted", "How sure", "To load"]
    text = Page(html).text
    places = [text.index(words) for _, words in lines]
    assert places == sorted(places)
    assert places[-1] < text.index("Before and predicted")
    assert "48 of 49 recordings" in lines[0][1]
    assert lines[4][1].startswith("Nothing yet"), "a stop finding forbids loading"


def test_a_clean_tune_may_be_loaded(tune: TuningResult, recordings: RecordedResponses) -> None:
    lines = dict(verdict(replace(tune, findings=()), recordings))
    assert "Nothing stands against loading" in lines["Found"]
    assert lines["To load"].startswith("settings.html")


def test_figures_of_the_metrics_are_in_the_verdict(tune: TuningResult, recordings: RecordedResponses) -> None:
    lines = dict(verdict(tune, recordings))
    for name, value in tune.metrics.error_after_db.items():
        assert f"{name}{' together' if name == 'everything' else ''} {value:.1f} dB" in lines["Predicted"]
    assert "11 µs" in lines["Predicted"]
    changed = replace(tune, metrics=replace(tune.metrics, arrival_difference_s=-7.7e-5))
    assert "77 µs" in dict(verdict(changed, recordings))["Predicted"]


def test_findings_by_severity_with_remedy_and_source(html: str, tune: TuningResult) -> None:
    text = Page(html).text
    by_severity = {item.severity: text.index(item.message) for item in tune.findings}
    assert by_severity["stop"] < by_severity["caution"] < by_severity["note"]
    for item in tune.findings:
        assert stopped(item.remedy) in text
        assert item.source in text
        assert item.code in text


def test_findings_are_told_once(tune: TuningResult, recordings: RecordedResponses) -> None:
    twice = replace(recordings, findings=tune.findings)
    assert len(all_findings(tune, twice)) == len(tune.findings)


def test_every_reason_is_told(html: str, tune: TuningResult) -> None:
    text = Page(html).text
    for item in tune.decisions:
        assert item.about in text
        assert item.choice in text
        assert item.reason in text
    for channel in tune.settings.channels:
        assert all(row.reason in text for row in channel.filters)


def test_recordings_have_a_symbol_and_a_word(html: str, recordings: RecordedResponses) -> None:
    text = Page(html).text
    good = sum(item.good for item in recordings.verdicts)
    assert text.count("✓ used") >= 2 * good
    assert text.count("✗ left out") >= 2
    bad = next(item for item in recordings.verdicts if not item.good)
    assert bad.reason in text
    assert bad.file in text


def test_a_pair_never_recorded_shows_as_missing(car: Build, tune: TuningResult, recordings: RecordedResponses) -> None:
    present = recordings.present.copy()
    present[-1, -1] = False
    fewer = replace(recordings, verdicts=recordings.verdicts[:-1], present=present)
    cell = '<td class="state none">– missing</td>'
    assert report_html(car, tune, fewer).count(cell) == 1
    assert report_html(car, tune, recordings).count(cell) == 0


@pytest.mark.parametrize(("timing", "told"), [("marker", True), ("loopback", False), (None, False)])
def test_drift_is_told_only_where_markers_tell_it(
    timing: str | None, told: bool, car: Build, tune: TuningResult, recordings: RecordedResponses
) -> None:
    assert car.tuning is not None
    build = car.model_copy(update={"tuning": car.tuning.model_copy(update={"timing": timing})})
    assert ("clock drift 3.2 ppm" in report_html(build, tune, recordings)) == told


def charts_of(tune: TuningResult) -> list[Chart]:
    return [
        *(report_charts.sum_chart(tune, item, wide=True) for item in tune.sums.values()),
        *(report_charts.channel_chart(tune, item) for item in tune.channels.values()),
        report_charts.level_difference_chart(tune),
        report_charts.arrival_chart(tune),
    ]


def test_lines_of_a_chart_differ_without_colour(tune: TuningResult) -> None:
    for chart in charts_of(tune):
        dashes = [INKS[line.ink].dash for line in chart.lines]
        assert len(set(dashes)) == len(dashes)
        assert all(line.label for line in chart.lines)


def test_the_spread_encloses_every_position(tune: TuningResult) -> None:
    curves = tune.sums["left side"]
    spread = report_charts.sum_chart(tune, curves, wide=True).spreads[0]
    zero = report_charts.reference_db(tune)
    rows = curves.after_positions_db[np.isfinite(curves.after_positions_db).all(axis=1)] - zero
    assert len(rows) == 6, "the position with a recording left out has no sum"
    assert (rows >= spread.low - 1e-9).all()
    assert (rows <= spread.high + 1e-9).all()
    assert (rows.max(axis=0) == spread.high).all()


def test_the_step_is_the_running_sum_of_the_impulse(tune: TuningResult) -> None:
    """Each trace is drawn to its own height, so only the shape is compared."""
    chart = report_charts.step_chart(tune)
    line = chart.lines[-1]
    wanted = np.cumsum(tune.channels["subwoofer"].impulse)
    time_ms = (tune.impulse_start_s + np.arange(len(wanted)) / tune.impulse_rate_hz) * 1e3
    drawn = line.y - 0.0
    np.testing.assert_allclose(np.corrcoef(drawn, np.interp(line.x, time_ms, wanted))[0, 1], 1.0, atol=1e-9)


def test_names_are_words_and_never_markup() -> None:
    names = invented.HOSTILE_NAMES
    car, tune, recordings = invented.build(invented.HOSTILE, names), invented.tune(names), invented.responses(names)
    page = Page(report_html(car, tune, recordings))
    assert page.faults == []
    assert all(name in page.text for name in names.values())
    assert not [tag for tag, attributes in page.tags if tag == "img" or "onerror" in attributes]


def test_the_smallest_system() -> None:
    car, result, recordings = invented.single()
    text = report_html(car, result, recordings)
    page = Page(text)
    assert page.faults == []
    assert "Only one place was recorded" in page.text
    assert "Left against right" not in page.text
    assert not re.search(r"\b(nan|inf|None)\b", page.text)


def test_figures_that_are_missing_are_dashes(car: Build, tune: TuningResult, recordings: RecordedResponses) -> None:
    bare = replace(
        tune.metrics, coherent_gain_lost_db=math.nan, headroom_db={}, error_before_db={}, side_difference_db=math.inf
    )
    page = Page(report_html(car, replace(tune, metrics=bare, before=None), recordings))
    assert page.faults == []
    assert not re.search(r"\b(nan|inf|None)\b", page.text)


def test_drawing_is_loaded_only_when_something_is_drawn() -> None:
    """The command line imports these modules; loading Matplotlib there would cost a second."""
    code = (
        "import sys, cabinwright.handover.report, cabinwright.handover.verification, cabinwright.handover.plan;"
        "sys.exit(any(name.split('.')[0] in ('matplotlib', 'jinja2') for name in sys.modules))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_the_sides_stand_before_the_whole_and_the_page_says_why(html: str) -> None:
    places = [html.index(f"<figcaption>{name}") for name in ("Left side", "Right side", "Everything")]
    assert places == sorted(places)
    assert html.index("add as pressures") > places[-1]
