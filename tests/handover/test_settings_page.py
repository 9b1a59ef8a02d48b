"""``settings.json`` keeps its contract; ``settings.html`` says the same to a person."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Literal

import numpy as np
import pytest
from scipy import signal

from cabinwright.build.document import Build
from cabinwright.handover.settings_page import settings_files, settings_html, settings_json
from cabinwright.physics.filters import Filter
from cabinwright.stages.tuning.result import TuningResult
from cabinwright.stages.tuning.settings import ChannelSettings, Settings
from handover import invented
from handover.html_check import Page

GRID_HZ = np.geomspace(20.0, 20_000.0, 200)


def heard(row: dict[str, object], rate_hz: float) -> np.ndarray:
    """Response of one channel of ``settings.json`` with SciPy's filters, independent of ours."""
    _, bank = signal.sosfreqz(np.asarray(row["sections"], dtype=float).reshape(-1, 6), worN=GRID_HZ, fs=rate_hz)
    sign = {"normal": 1.0, "inverted": -1.0}[str(row["polarity"])]
    gain = 10.0 ** (float(str(row["gain_db"])) / 20.0)
    return np.asarray(sign * gain * bank * np.exp(-2j * np.pi * GRID_HZ * float(str(row["delay_s"]))))


def test_the_shape_is_fixed(tune: TuningResult) -> None:
    data = json.loads(settings_json(tune.settings, title="A car"))
    assert list(data) == ["schema", "title", "fingerprint", "sample_rate_hz", "channels"]
    assert (data.pop("schema"), data.pop("title"), data.pop("fingerprint")) == (1, "A car", tune.settings.fingerprint)
    for row, item in zip(data["channels"], tune.settings.channels, strict=True):
        assert list(row) == ["name", "gain_db", "polarity", "delay_s", "sections", "filters"]
        assert row["name"] == item.name
        assert row["polarity"] in ("normal", "inverted")
        assert all(len(section) == 6 and section[3] == 1.0 for section in row["sections"])
    assert data == tune.settings.to_dict()


def test_a_filter_bank_fed_with_the_sections_alone_reproduces_the_tune(tune: TuningResult) -> None:
    data = json.loads(settings_json(tune.settings))
    for row, item in zip(data["channels"], tune.settings.channels, strict=True):
        wanted = item.response(GRID_HZ, sample_rate_hz=tune.settings.sample_rate_hz)
        np.testing.assert_allclose(heard(row, data["sample_rate_hz"]), wanted, rtol=1e-8, atol=1e-12)
        row["sections"] = row["sections"][:-1]
        missing = heard(row, data["sample_rate_hz"])
        assert not np.allclose(missing, wanted, rtol=1e-3), "a section left out must be noticed"


def test_words_and_sections_agree_with_scipys_butterworth() -> None:
    """A Linkwitz-Riley of 24 dB per octave is a second-order Butterworth twice (Linkwitz 1976)."""
    item = Filter("high-pass", 80.0, family="Linkwitz-Riley", slope_db_per_octave=24)
    settings = Settings(48000.0, (ChannelSettings("sub", 0.0, "normal", 0.0, (item,)),))
    row = json.loads(settings_json(settings))["channels"][0]
    assert row["filters"] == [
        {"kind": "high-pass", "frequency_hz": 80.0, "family": "Linkwitz-Riley", "slope_db_per_octave": 24}
    ]
    half = signal.butter(2, row["filters"][0]["frequency_hz"], "highpass", fs=48000.0, output="sos")
    _, wanted = signal.sosfreqz(np.concatenate([half, half]), worN=GRID_HZ, fs=48000.0)
    np.testing.assert_allclose(heard(row, 48000.0), wanted, rtol=1e-6, atol=1e-10)


def test_settings_read_back(tune: TuningResult) -> None:
    again = Settings.from_dict(json.loads(settings_json(tune.settings)))
    assert again == tune.settings


def test_the_fingerprint_tells_what_is_played_and_nothing_else(car: Build, tune: TuningResult) -> None:
    first, *others = tune.settings.channels
    mark = tune.settings.fingerprint
    assert len(mark) == 8
    assert int(mark, 16) >= 0
    page = settings_html(car, tune)
    assert f"<strong>{mark}</strong>" in page
    assert f"settings {mark}" in page.replace("\\b7 ", "·"), "in the running foot of each printed page"
    turned: Literal["normal", "inverted"] = "normal" if first.polarity == "inverted" else "inverted"
    for other in (
        replace(first, gain_db=first.gain_db + 0.1),
        replace(first, delay_s=first.delay_s + 1e-5),
        replace(first, polarity=turned),
        replace(first, filters=(*first.filters, Filter("peaking", 999.0, gain_db=-1.0, q=1.0))),
    ):
        assert replace(tune.settings, channels=(other, *others)).fingerprint != mark
    said = replace(first, filters=tuple(replace(item, reason="other words") for item in first.filters))
    assert replace(tune.settings, channels=(said, *others)).fingerprint == mark


def test_the_page_is_well_formed_and_in_channel_order(car: Build, tune: TuningResult) -> None:
    page = Page(settings_html(car, tune))
    assert page.faults == []
    places = [page.text.index(f"{number}{item.name}") for number, item in enumerate(tune.settings.channels, start=1)]
    assert places == sorted(places)


def test_every_figure_to_key_in_stands_on_the_page(car: Build, tune: TuningResult) -> None:
    text = Page(settings_html(car, tune)).text
    for item in tune.settings.channels:
        card = text[text.index(f"{tune.settings.channels.index(item) + 1}{item.name}") :]
        assert f"{item.delay_s * 1e3:.3f} ms" in card
        way_cm = item.delay_s * 34320.0
        assert f"{way_cm:.1f} cm · {way_cm / 2.54:.2f} in" in card
        assert f"{abs(item.gain_db):.1f} dB" in card
        assert item.polarity in card
        for row in item.filters:
            assert f"{row.frequency_hz:g}" in card
            if row.kind == "peaking":
                assert f"{abs(row.gain_db or 0.0):.1f}" in card


def test_every_entry_has_a_tick_box(car: Build, tune: TuningResult) -> None:
    page = Page(settings_html(car, tune))
    boxes = [attributes for tag, attributes in page.tags if tag == "input"]
    assert {item["type"] for item in boxes} == {"checkbox"}
    filters = sum(len(item.filters) for item in tune.settings.channels)
    assert len(boxes) >= filters + 5 * len(tune.settings.channels)


def test_cautions_come_before_the_first_channel(car: Build, tune: TuningResult) -> None:
    text = Page(settings_html(car, tune)).text
    first = text.index("1left tweeter")
    for words in ("mute every output", "No tweeter may play before its high-pass", "spare your hearing", "makers"):
        assert text.index(words) < first
    assert text.index("no safe range is stated") < first, "a stop finding stands on top"


def test_long_lists_stand_in_two_columns_and_all_passes_are_named(car: Build, tune: TuningResult) -> None:
    peaks = tuple(Filter("peaking", 50.0 + 100.0 * k, gain_db=-1.25, q=1.5) for k in range(31))
    rows = (*peaks, Filter("all-pass", 333.0, q=0.7))
    channel = ChannelSettings("left tweeter", -0.25, "inverted", 0.0, rows)
    text = settings_html(car, replace(tune, settings=Settings(48000.0, (channel,))))
    page = Page(text)
    assert page.faults == []
    assert text.count("<table>") == 3
    assert all(f'<td class="number">{50 + 100 * k}</td>' in text for k in range(31))
    assert "All-pass filters" in page.text
    assert "−1.25" in page.text
    assert "−0.25 dB" in page.text


def test_names_are_words_and_never_markup() -> None:
    names = invented.HOSTILE_NAMES
    page = Page(settings_html(invented.build(invented.HOSTILE, names), invented.tune(names)))
    assert page.faults == []
    assert invented.HOSTILE in page.text
    assert all(name in page.text for name in names.values())


def test_the_smallest_system() -> None:
    car, result, _ = invented.single()
    files = settings_files(car, result)
    assert json.loads(files["settings.json"])["channels"][0]["sections"] == []
    assert Page(files["settings.html"]).faults == []


@pytest.mark.parametrize(("delay_s", "words"), [(0.0, "0.000 ms"), (0.0020833333, "2.083 ms")])
def test_delay_words(car: Build, tune: TuningResult, delay_s: float, words: str) -> None:
    channel = ChannelSettings("a", 0.0, "normal", delay_s, ())
    assert words in settings_html(car, replace(tune, settings=Settings(48000.0, (channel,))))
