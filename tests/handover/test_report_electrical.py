"""The electrical system in the report: promises, grave findings, diagram, fuse chart and every list, safe with any name."""

from __future__ import annotations

import pytest

from build.test_connectors import TEXT
from cabinwright.build.codec import parse
from cabinwright.build.document import Build
from cabinwright.handover.documents import plan_documents, tune_documents
from cabinwright.handover.lists import lists
from cabinwright.handover.report import report_html
from cabinwright.physics.response import RecordedResponses
from cabinwright.pipeline import Results, wiring
from cabinwright.stages import signal
from cabinwright.stages.tuning.result import TuningResult
from handover.html_check import Page
from stages import chains

TABLES = ("supply", "wires", "fuses", "switches", "relays", "loads", "states", "promises", "connectors")


@pytest.fixture
def reported(car: Build, tune: TuningResult, recordings: RecordedResponses):  # type: ignore[no-untyped-def]
    def made(text: str) -> str:
        wired = parse(text)
        build = car.model_copy(update={table: getattr(wired, table) for table in TABLES})
        return tune_documents(build, tune, recordings, wiring(build))["report.html"]

    return made


def test_it_is_all_there_and_well_formed(reported) -> None:  # type: ignore[no-untyped-def]
    page = Page(reported(TEXT))
    assert page.faults == []
    for words in ("The promise holds in every one", "Wiring diagram", "Fuse chart", "Harness: 4 wires", "Cut list", "Parts list",
                  "Connectors, pin by pin", "Commissioning", "amplifier feed"):  # fmt: skip
        assert words in page.text, words
    assert any(attributes.get("href") == "power.html" for _, attributes in page.tags)


def test_every_drawing_and_list_is_in_the_report_that_a_plan_writes(
    car: Build, tune: TuningResult, recordings: RecordedResponses
) -> None:
    """Wiring diagram, block diagram with levels, fuse chart, harness, cut list, parts, labels, pins, commissioning."""
    wired, chained = parse(TEXT), parse(chains.HEAD + chains.SPEAKERS + chains.SOURCES + chains.INPUTS)
    tables = {table: getattr(wired, table) for table in TABLES}
    tables |= {table: getattr(chained, table) for table in ("factory_outputs", "sources", "converters", "inputs")}
    build = car.model_copy(update=tables)
    power, chain = wiring(build), signal.run(build, tuned=tune)
    html = plan_documents(build, Results(tuning=tune, power=power, signal=chain), recordings)["report.html"]
    assert isinstance(html, str)
    page = Page(html)
    assert page.faults == []
    for words in ("Wiring diagram", "Fuse chart", "Harness: 4 wires", "Cut list", "Parts list", "Connectors, pin by pin",
                  "Labels: print", "Commissioning", "Signal chain"):  # fmt: skip
        assert words in page.text, words
    assert html.count('class="label"') == len(lists(build, power).labels) > 8  # type: ignore[arg-type]
    assert "receiver" in html.partition('class="chain"')[2], "the converter stands in the block diagram"


def test_a_broken_promise_and_a_grave_finding_stand_out(reported) -> None:  # type: ignore[no-untyped-def]
    broken = reported(TEXT.replace('closed_when = {boot = "open"}', 'closed_when = {boot = "closed"}'))
    assert 'class="bad">Broken: boot lights burn only while the boot is open' in broken
    text = reported(TEXT.replace("rating_a = 100", "rating_a = 300"))
    assert "is too large" in text and "does not protect: see findings" in text


def test_names_are_escaped(reported) -> None:  # type: ignore[no-untyped-def]
    html = reported(TEXT.replace('"amplifier feed"', "'<b>x</b> & \"y\"'"))
    assert Page(html).faults == [] and "<b>x</b>" not in html and "&lt;b&gt;x&lt;/b&gt;" in html


def test_a_build_that_is_not_wired_has_no_such_section(
    car: Build, tune: TuningResult, recordings: RecordedResponses
) -> None:
    assert wiring(car) is None and "Electrical system" not in report_html(car, tune, recordings)
