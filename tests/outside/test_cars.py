"""The tune on cars it never saw, from real files, beside the textbook hand method and a brute-force search.

The cars come from pyroomacoustics (an independent room simulator), none is the demo's, and the judge is SciPy on
true responses at places nobody measured. Every timing mode is held to the same claims.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from cabinwright.build.codec import load
from cabinwright.files import write_all
from cabinwright.measure.reader import read_recordings
from cabinwright.measure.signal import sweep_files
from cabinwright.stages import tuning
from cars import Car, make_car, write_recordings
from outside.hand_method import hand_tune
from outside.score import (
    Lost,
    SideScore,
    arrival_differences_s,
    coherent_losses,
    pair_arrivals_s,
    side_scores,
    sides_correlation,
)

SNR_DB = 35.0
CARS = ((31, "two-way+sub"), (32, "three-way+sub"), (33, "two-way+sub"), (34, "three-way+sub"))
SWEEP = "[tuning.sweep]\nlength_s = 4.0"
TIMINGS = ("loopback", "marker", "impulse")


@dataclass(frozen=True)
class Judged:
    """One car, one timing, both methods."""

    name: str
    ours: dict[str, SideScore]
    hand: dict[str, SideScore]
    arrival_s: float  #: left minus right, all that a side plays, without walls
    pairs_s: dict[str, float]  #: left minus right of each pair of like loudspeakers
    in_phase: float
    lost: dict[str, Lost]


def _car(seed: int, layout: str) -> Car:
    return make_car(seed, layout=layout, positions=6 + seed % 3, driving_side="right" if seed % 2 else "left")


def _recorded(car: Car, folder: Path, timing: str) -> None:
    """Everything a person would have in the folder."""
    text = car.build_toml(timing, tuning_extra="" if timing == "impulse" else SWEEP)
    (folder / "build.toml").write_text(text, encoding="utf-8", newline="\n")
    write_all(folder, sweep_files(load(folder)))
    write_recordings(car, folder, timing=timing, snr_db=SNR_DB, drift_ppm={"marker": -63.0}.get(timing, 0.0), text=text)


@cache
def _by_hand(car: Car) -> dict[str, SideScore]:
    return side_scores(car, hand_tune(car, car.responses(snr_db=SNR_DB)))


def _judge(car: Car, folder: Path, timing: str) -> Judged:
    _recorded(car, folder, timing)
    build = load(folder)
    result = tuning.run(build, read_recordings(build, folder, kind="tuning"))
    settings = json.loads(json.dumps(result.settings.to_dict()))  # as the file carries them
    return Judged(
        f"{car.layout} {car.seed} {timing}",
        side_scores(car, settings),
        _by_hand(car),
        arrival_differences_s(car, settings)["direct"],
        pair_arrivals_s(car, settings),
        sides_correlation(car, settings),
        coherent_losses(car, settings),
    )


@pytest.mark.parametrize("timing", TIMINGS)
def test_tune_beats_the_hand_method_and_adds_up(timing: str, tmp_path_factory: pytest.TempPathFactory) -> None:
    cars = CARS if timing == "loopback" else CARS[:2]  # timing decides how time is kept, and not what is tuned
    judged = [_judge(_car(*which), tmp_path_factory.mktemp(timing), timing) for which in cars]
    told = "\n".join(f"{item}" for item in judged)
    for side in ("left", "right"):
        ours = np.array([item.ours[side].excess_db for item in judged])
        hand = np.array([item.hand[side].excess_db for item in judged])
        assert ours.mean() <= 0.5 * hand.mean(), f"{side}: excess over the hand method's\n{told}"
        assert all(item.ours[side].error_db < item.hand[side].error_db for item in judged), f"{side}\n{told}"
    assert np.median([abs(item.arrival_s) for item in judged]) <= 30e-6, told
    assert np.median([abs(gap) for item in judged for gap in item.pairs_s.values()]) <= 30e-6, told
    assert all(item.in_phase > 0.0 for item in judged), told
    assert all(item.lost["sub"].power_db <= 0.3 and item.lost["sub"].level_db <= 0.3 for item in judged), told
    assert np.median([item.lost["all"].power_db for item in judged]) <= 0.3, told
