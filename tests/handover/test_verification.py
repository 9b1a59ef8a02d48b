"""The verification's page and JSON."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from cabinwright.build.document import Build
from cabinwright.findings import Finding
from cabinwright.handover.verification import verification_dict, verification_files, verification_html
from handover import invented
from handover.html_check import Page


@pytest.mark.parametrize("passed", [True, False])
def test_both_outcomes_are_well_formed(car: Build, passed: bool) -> None:
    result = invented.verification(passed=passed)
    files = verification_files(car, result)
    page = Page(files["verification.html"])
    assert page.faults == []
    assert result.summary in page.text
    assert ("✓ Pass" in page.text) is passed
    assert ("Likeliest cause" in page.text) is not passed
    assert json.loads(files["verification.json"])["verdict"] == ("pass" if passed else "differs")


def test_causes_say_what_to_do(car: Build) -> None:
    result = invented.verification()
    text = Page(verification_html(car, result)).text
    cause, rival = result.causes[0], result.alternatives[0][0]
    assert cause.remedy in text
    assert "−3.1 dB" in text
    assert "likely" in text
    assert text.index(cause.remedy) < text.index("It may also be") < text.index(rival.remedy)
    assert "record “left midbass”" in text


def test_bands_are_judged_against_their_tolerance(car: Build) -> None:
    result = invented.verification()
    text = verification_html(car, result)
    outside = sum(
        int((np.abs(item.difference_db) > item.tolerance_db).sum()) for item in result.comparisons
    )  # NaN compares as False: hidden by noise
    assert outside > 0
    assert text.count('class="gap state differs"') == outside
    wider = tuple(replace(item, tolerance_db=item.tolerance_db + 9.0) for item in result.comparisons)
    assert verification_html(car, replace(result, comparisons=wider)).count('class="gap state differs"') == 0


def test_bands_carry_their_nominal_names(car: Build) -> None:
    """IEC 61260-1:2014, annex E."""
    text = Page(verification_html(car, invented.verification())).text
    assert all(f"\n{name} Hz" in f"\n{text}" for name in ("20", "31.5", "63", "125", "160", "315", "3150", "20000"))


def test_what_the_page_says_elsewhere_is_not_repeated_unless_it_is_a_stop(car: Build) -> None:
    told = Finding("verify-cause", "caution", "left midbass", "told twice")
    held = replace(told, severity="stop", message="a stop is never left out")
    other = Finding("verify-unexplained", "caution", "left side", "something else")
    text = Page(verification_html(car, replace(invented.verification(), findings=(told, held, other)))).text
    assert "told twice" not in text
    assert "a stop is never left out" in text
    assert "something else" in text


def test_json_carries_every_band(car: Build) -> None:
    result = invented.verification()
    data = verification_dict(car, result)
    left = data["comparisons"][0]
    np.testing.assert_allclose(
        left["difference_db"], result.comparisons[0].measured_db - result.comparisons[0].predicted_db, atol=1e-4
    )
    assert left["tolerance_db"][0] is None
    assert data["position_delay_s"]["p5"] is None
    assert data["causes"][0]["channels"] == ["left midbass"]


def test_nothing_to_compare(car: Build) -> None:
    page = Page(verification_html(car, replace(invented.verification(), comparisons=())))
    assert page.faults == []
    assert "No recording could be compared" in page.text


def test_names_are_words_and_never_markup() -> None:
    result = invented.verification()
    first = replace(result.comparisons[0], name=invented.HOSTILE, channels=(invented.HOSTILE,))
    cause = replace(result.causes[0], text=invented.HOSTILE, channels=(invented.HOSTILE,))
    hostile = replace(result, comparisons=(first,), causes=(cause,), summary=invented.HOSTILE)
    page = Page(verification_html(invented.build(invented.HOSTILE), hostile))
    assert page.faults == []
    assert page.text.count("alert(1)") > 4


def test_noise_of_equal_density_is_a_level_line_at_0_db(car: Build) -> None:
    """Third octaves of white noise rise by 10 dB per decade (IEC 61260-1: widths in proportion to the centres)."""
    result = invented.verification()
    white = 40.0 + 10.0 * np.log10(result.band_centres_hz)
    item = replace(result.comparisons[0], predicted_db=white, measured_db=white, tolerance_db=white * 0.0 + 1.0)
    text = verification_html(car, replace(result, comparisons=(item,)))
    assert text.count('<td class="number">0.0 dB</td>') == 3 * len(white)
    steep = replace(item, predicted_db=2.0 * white, measured_db=2.0 * white)
    other = verification_html(car, replace(result, comparisons=(steep,)))
    assert other.count('<td class="number">0.0 dB</td>') < 2 * len(white), "only the tilt of the bands is taken out"
