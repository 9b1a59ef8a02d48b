"""The judge and its cars are themselves held to account: each figure must move when what it measures is spoiled."""

from __future__ import annotations

import copy
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import chirp, hilbert

from cabinwright.build.codec import parse
from cars import RATE, make_car, write_recordings
from cars.recordings import _drifted
from outside.hand_method import hand_tune, untouched
from outside.score import (
    arrival_differences_s,
    coherent_losses,
    pair_arrivals_s,
    played,
    side_scores,
    sides_correlation,
)

CAR = make_car(31, layout="two-way+sub", positions=7)


def _changed(settings: dict, names: tuple[str, ...], **changes: object) -> dict:
    new = copy.deepcopy(settings)
    for row in new["channels"]:
        if row["name"] in names:
            row.update(changes)
    return new


@pytest.fixture(scope="module")
def hand() -> dict:
    return hand_tune(CAR, CAR.responses(snr_db=35.0), rounds=2, polarity=True)


def test_no_tune_leaves_responses_as_they_are() -> None:
    assert np.allclose(played(CAR.centre, CAR.channels, untouched(CAR)), CAR.centre, atol=1e-12)


def test_direct_sound_arrives_when_geometry_says() -> None:
    for item, impulse in zip(CAR.loudspeakers, CAR.direct, strict=True):
        if item.role != "tweeter":
            continue  # the others' own low-pass delays their peak
        expected = np.linalg.norm(item.position_m - CAR.head_m) / 343.0 + item.latency_s
        found = np.argmax(np.abs(hilbert(impulse))) / RATE
        assert found == pytest.approx(expected, abs=60e-6)


def test_a_later_side_is_seen_as_later(hand: dict) -> None:
    left = tuple(name for name in CAR.channels if name.startswith("left"))
    before = arrival_differences_s(CAR, hand)
    later = copy.deepcopy(hand)
    for row in later["channels"]:
        row["delay_s"] += 3.0 / RATE * (row["name"] in left)
    after = arrival_differences_s(CAR, later)
    for name in ("direct", "onset"):
        assert after[name] - before[name] == pytest.approx(3.0 / RATE, abs=1e-6), name
    for role, gap in pair_arrivals_s(CAR, later).items():
        assert gap - pair_arrivals_s(CAR, hand)[role] == pytest.approx(3.0 / RATE, abs=1e-9)


def test_a_side_turned_round_is_seen(hand: dict) -> None:
    signs = {row["name"]: row["polarity"] for row in hand["channels"]}
    turned = copy.deepcopy(hand)
    for row in turned["channels"]:
        if row["name"].startswith("left"):
            row["polarity"] = "normal" if signs[row["name"]] == "inverted" else "inverted"
    assert sides_correlation(CAR, hand) * sides_correlation(CAR, turned) < 0.0


def test_a_subwoofer_turned_round_loses_what_arithmetic_says() -> None:
    clicks = np.zeros_like(CAR.unmeasured)
    clicks[..., 200] = 1.0
    car = replace(CAR, unmeasured=clicks)  # five loudspeakers that add perfectly
    assert coherent_losses(car, untouched(car))["sub"].power_db == pytest.approx(0.0, abs=1e-6)
    turned = coherent_losses(car, _changed(untouched(car), ("subwoofer",), polarity="inverted"))
    assert turned["sub"].power_db == pytest.approx(20.0 * np.log10(5.0 / 3.0), abs=1e-6)
    assert turned["left"].level_db == pytest.approx(20.0 * np.log10(3.0 / 1.0), abs=1e-6)
    late = coherent_losses(car, _changed(untouched(car), ("left midbass",), delay_s=0.002))
    assert late["all"].level_db > late["sub"].level_db + 0.1


def test_a_bell_in_the_wrong_place_is_an_error(hand: dict) -> None:
    bell = [1.1, -1.9, 0.82, 1.0, -1.9, 0.92]  # about 4 dB near 1.3 kHz, written by hand
    spoiled = copy.deepcopy(hand)
    for row in spoiled["channels"]:
        row["sections"] = [*row["sections"], bell]
    before, after = side_scores(CAR, hand), side_scores(CAR, spoiled)
    for side in ("left", "right"):
        assert after[side].error_db > before[side].error_db + 0.3
        assert 0.0 < before[side].unavoidable_db < before[side].error_db


def test_the_hand_method_is_worth_beating(hand: dict) -> None:
    raw = side_scores(CAR, untouched(CAR))
    once = side_scores(CAR, hand_tune(CAR, CAR.responses(snr_db=35.0)))
    for side in ("left", "right"):
        assert once[side].error_db < 0.5 * raw[side].error_db


@pytest.mark.parametrize("ppm", [-150.0, 80.0])
def test_drift_is_what_it_says(ppm: float) -> None:
    t = np.arange(RATE) / RATE
    fast = _drifted(chirp(t, 50.0, 1.0, 9000.0, method="logarithmic"), ppm)
    expected = chirp(t / (1.0 + ppm * 1e-6), 50.0, 1.0, 9000.0, method="logarithmic")
    assert np.abs(fast - expected)[200:-200].max() < 3e-3
    assert np.abs(fast - chirp(t, 50.0, 1.0, 9000.0, method="logarithmic")).max() > 0.1


def test_noise_is_as_far_down_as_it_says(tmp_path: Path) -> None:
    write_recordings(CAR, tmp_path, timing="impulse", snr_db=35.0)
    heard, _ = soundfile.read(tmp_path / "recordings" / "left-tweeter_p1.wav")
    row = CAR.channels.index("left tweeter")
    true = CAR.measured[row, 0, : len(heard)]
    gain = (heard * true).sum() / (true**2).sum()
    noise = heard - gain * true
    assert 10.0 * np.log10((gain * true**2).sum() * gain / (noise**2).sum()) == pytest.approx(35.0, abs=0.3)
    assert parse((tmp_path / "build.toml").read_text(encoding="utf-8")).recordings
