"""Presets of the factory radio through its repair: which outputs come in on which side, and how loud their sum is."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from cabinwright.physics.filters import Filter
from cabinwright.session import Session
from cabinwright.stages.signal.arrivals import arrivals
from cabinwright.stages.signal.chain import chain_of
from cabinwright.stages.signal.factory.result import Branch, FactoryResult, OutputFacts
from cabinwright.stages.signal.presets import PresetsResult, presets
from stages.chains import CHAIN, HEAD, chained


def facts(left_db: float, right_db: float, *, high_hz: float = 18_000.0) -> OutputFacts:
    return OutputFacts(40.0, high_hz, 0.0, "normal", left_db, right_db, -80.0, (0.0, 0.0), None, 0.0, 0.0, ())


def undone(*, gain_db: float = 0.0, filters: tuple[Filter, ...] = (), refused: str | None = None) -> FactoryResult:
    repair = {
        "left": (Branch("front left", gain_db, "normal", 0.0, filters),),
        "right": (Branch("front right", gain_db, "inverted", 1e-3, filters),),
    }
    return FactoryResult(
        sample_rate_hz=48_000.0,
        outputs={"front left": facts(-6.0, -60.0), "front right": facts(-60.0, -6.0)},
        repair=repair if refused is None else {"left": (), "right": ()},
        volume=None, ripple_db=0.5, ripple_sides_db={}, other_side_db={}, mono_below_hz={}, phase_apart_deg=1.0,
        holds_to_volume=None, holds_from_volume=None, holds_to_db=None, refused=refused,
    )  # fmt: skip


def set_up(factory: FactoryResult | None, change: tuple[tuple[str, str], ...] = ()) -> PresetsResult:
    build = chained(replace=change)
    found = presets(build, chain_of(build), factory)
    assert found is not None
    return found


def test_the_radio_comes_in_by_the_rows_of_its_repair() -> None:
    # The inputs are swapped on purpose: what side an input is said to have means nothing where the repair knows.
    swapped = (
        ('name = "in 1"\nfrom = ["front left"]\nside = "left"', 'name = "in 1"\nfrom = ["front left"]\nside = "right"'),
    )
    build = chained(replace=swapped)
    ways = arrivals(chain_of(build), undone())["radio"]
    assert [(item.input.name, item.side, item.branch.output if item.branch else None) for item in ways] == [
        ("in 1", "left", "front left"),
        ("in 2", "right", "front right"),
    ]
    row = set_up(undone(), swapped).to_dict()["Radio"]["inputs"][1]
    assert row["repair"] == {
        "output": "front right", "gain_db": 0.0, "polarity": "inverted", "delay_s": 1e-3, "filters": []
    }  # fmt: skip


def test_refused_or_absent_the_radio_plays_as_it_is() -> None:
    for factory in (None, undone(refused="a limiter always at work")):
        row = set_up(factory).to_dict()["Radio"]
        assert [item["repair"] for item in row["inputs"]] == [None, None]


@pytest.mark.parametrize("gain_db", [-9.0, -3.0, 0.0])
def test_the_repair_s_level_is_in_the_trims(gain_db: float) -> None:
    """A sum that is so much lower makes the radio's preset so much quieter, and the others come down to it."""
    before, after = set_up(undone()).presets, set_up(undone(gain_db=gain_db)).presets
    assert after["Radio"].path_db == pytest.approx((before["Radio"].path_db or 0.0) + gain_db, abs=1e-9)
    assert after["Phone"].trim.loudness_lufs == pytest.approx(after["Radio"].trim.loudness_lufs, abs=0.26)


def test_a_filter_of_the_repair_counts_in_the_middle_of_the_band() -> None:
    wide = Filter("peaking", 1000.0, gain_db=-6.0, q=0.02)  # so wide that it is a gain over most of the band
    assert set_up(undone(filters=(wide,))).presets["Radio"].path_db == pytest.approx(-6.0, abs=0.3)


def test_two_ways_make_one_level_and_what_only_cancels_none() -> None:
    """Low and high outputs at one level are as loud as one that plays all; a third with none of a side adds nothing."""
    one = undone()
    rows = {side: (*mine, Branch("front " + other, -6.0, "inverted", 0.0, ())) for side, mine, other in (
        ("left", one.repair["left"], "right"), ("right", one.repair["right"], "left"))}  # fmt: skip
    both = replace(one, repair=rows)
    assert set_up(both).presets["Radio"].path_db == pytest.approx(set_up(one).presets["Radio"].path_db, abs=0.05)
    low, high = replace(facts(-6.0, -60.0), high_hz=900.0), replace(facts(-6.0, -60.0), low_hz=900.0)
    ways = replace(
        one,
        outputs={"front left": low, "front right": high},
        repair={
            "left": (Branch("front left", 0.0, "normal", 0.0, ()), Branch("front right", 0.0, "normal", 0.0, ())),
            "right": (),
        },
    )
    assert set_up(ways).presets["Radio"].path_db == pytest.approx(0.0, abs=0.05)


def test_an_output_that_nobody_takes_is_a_stop() -> None:
    found = set_up(undone(), (('from = ["front right"]', 'from = ["player"]'),))
    told = [item for item in found.findings if item.code == "signal.repair_not_joined"]
    assert [(item.where, item.severity) for item in told] == [("front right", "stop")]


def test_the_radio_s_own_band_is_told() -> None:
    factory = undone()
    factory.outputs["front left"] = facts(-6.0, -60.0, high_hz=15_000.0)
    factory.outputs["front right"] = facts(-60.0, -6.0, high_hz=15_000.0)
    path = set_up(factory).to_dict()["Radio"]["path"]
    assert path["bandwidth_hz"] == 15_000.0
    assert any("15 kHz" in words for words in path["lost"])
    bare = set_up(None).to_dict()["Radio"]["path"]["lost"]
    assert any("nothing undoes it" in words for words in bare) and not any("undoes" in words for words in path["lost"])


def test_a_whole_plan_with_a_measured_programme(tmp_path: Path) -> None:
    """Through the session, as a person runs it: the file is measured, and a missing one is a finding, not the end."""
    data = 0.2 * np.random.default_rng(8).standard_normal((48_000 * 11, 2))
    soundfile.write(tmp_path / "phone.wav", data, 48_000, subtype="PCM_24")
    text = HEAD + CHAIN.replace("loudness_lufs = -14", 'programme = "phone.wav"')
    text = text.replace("loudness_lufs = -10", 'programme = "gone.wav"')
    (tmp_path / "build.toml").write_text(text, encoding="utf-8")
    Session.open(tmp_path).plan()
    plan = json.loads((tmp_path / "out" / "plan.json").read_text(encoding="utf-8"))
    stage = plan["signal"]
    assert stage["presets"]["Phone"]["programme_by"] == "measured"
    assert stage["presets"]["Player"]["programme_by"] == "common practice"
    assert [row["where"] for row in stage["findings"] if row["code"] == "signal.programme_unusable"] == ["player"]
    assert stage["factory"] is None and stage["turn_on"] is None and stage["service_bypasses"] is None
    assert "signal" not in plan["skipped"]
    (tmp_path / "build.toml").write_text(HEAD, encoding="utf-8")
    Session.open(tmp_path).plan()
    bare = json.loads((tmp_path / "out" / "plan.json").read_text(encoding="utf-8"))
    assert bare["signal"] is None and "[[sources]]" in bare["skipped"]["signal"]
