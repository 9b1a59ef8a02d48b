"""A radio undone: the repair of plan.json, keyed in with SciPy alone, makes a click on one side flat again."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import scipy.signal
import soundfile

from build.samples import MINIMAL
from cabinwright.build.codec import parse
from cabinwright.build.document import Build
from cabinwright.measure.factory_signal import make_factory_signal
from cabinwright.physics.factory import FactoryCapture, FactoryResponses, factory_grid
from cabinwright.session import Session
from cabinwright.stages import signal as stage
from cabinwright.stages.signal.factory.phase import excess_phase
from measure.radio import (
    RATE,
    Output,
    Radio,
    all_pass,
    butter,
    capture_all,
    high_shelf,
    level_30_to_16k,
    linkwitz_riley,
    low_shelf,
    peaking,
    repaired,
    response,
)
from measure.random_radios import KINDS, random_radio

FREQUENCY = factory_grid(48000.0)
BUILD = parse(MINIMAL.encode())
RUNGS = (-42.0, -32.0, -22.0, -12.0, -2.0)


def planned(folder: Path, radio: Radio, volumes: tuple[int | None, ...] = (None,)) -> dict[str, Any]:
    """``signal.factory`` of plan.json from captures in files."""
    file = make_factory_signal(BUILD).samples()
    (folder / "build.toml").write_text(MINIMAL + capture_all(folder, radio, file, volumes, seed=7), encoding="utf-8")
    Session.open(folder).plan()
    return json.loads((folder / "out" / "plan.json").read_text(encoding="utf-8"))["signal"]["factory"]  # type: ignore[no-any-return]


def worked_out(radio: Radio, build: Build = BUILD) -> dict[str, Any]:
    """The same from responses as SciPy gives them, with noise of -75 dB."""
    rng = np.random.default_rng(11)

    def noise(scale: float = 1.0) -> np.ndarray:
        return scale * 1e-4 * (rng.standard_normal(len(FREQUENCY)) + 1j * rng.standard_normal(len(FREQUENCY)))

    captures = []
    for item in radio.outputs:
        left, right = (0.5 * response(item, side, FREQUENCY) for side in ("left", "right"))
        both = left + right
        ladder = np.stack([both + noise(4.0), both + noise(), both, both, both])
        quiet = np.full(len(FREQUENCY), -75.0)
        noises = np.stack([quiet + 12.0 - 10.0 * k for k in range(5)])
        captures.append(
            FactoryCapture(
                item.name, None, left + noise(), right + noise(), both + noise(2.0), ladder, quiet, noises,
                np.zeros(5), 0.0, 0.5,
            )
        )  # fmt: skip
    found = stage.run(build, FactoryResponses(48000.0, FREQUENCY, RUNGS, tuple(captures))).factory
    assert found is not None
    return found.to_dict()


def ripple(radio: Radio, factory: dict[str, Any], side: str) -> float:
    level = level_30_to_16k(repaired(radio, factory["repair"][side], side))
    return float(0.5 * (level.max() - level.min()))


@dataclass(frozen=True)
class Heard:
    """Both sums of a repair, from 30 Hz to 16 kHz, after SciPy."""

    off_flat_db: float  #: from the median of each side
    apart_db: float  #: between the sides
    apart_deg: float  #: median, 100 Hz to 4 kHz
    opposed: bool
    other_db: float  #: the other side above 200 Hz, largest


def heard(radio: Radio, repair: dict[str, Any]) -> Heard:
    frequency = np.geomspace(30.0, 16_000.0, 1500)
    outputs = {item.name: item for item in radio.outputs}
    sums: dict[tuple[str, str], np.ndarray] = {}
    for side in ("left", "right"):
        for source in ("left", "right"):
            whole = np.zeros(len(frequency), dtype=complex)
            for row in repair[side]:
                part = 10 ** (row["gain_db"] / 20) * np.exp(-2j * np.pi * frequency * row["delay_s"])
                part = part * response(outputs[row["output"]], source, frequency)
                if row["sections"]:
                    part = part * scipy.signal.sosfreqz(np.array(row["sections"]), frequency, fs=RATE)[1]
                whole += -part if row["polarity"] == "inverted" else part
            sums[side, source] = 20 * np.log10(np.abs(whole) + 1e-9) + 1j * np.angle(whole)
    left, right = sums["left", "left"], sums["right", "right"]
    angle = np.degrees(np.abs(np.angle(np.exp(1j * (left.imag - right.imag)))))
    middle = np.median(angle[(frequency > 100.0) & (frequency < 4000.0)])
    other = [
        (sums[one, two].real - sums[one, one].real)[frequency > 200.0].max()
        for one, two in (("left", "right"), ("right", "left"))
    ]
    return Heard(
        off_flat_db=float(max(np.abs(item.real - np.median(item.real)).max() for item in (left, right))),
        apart_db=float(abs(np.median(left.real) - np.median(right.real))),
        apart_deg=float(middle),
        opposed=bool(np.median(angle) > 90.0),
        other_db=float(max(other)),
    )


@pytest.mark.parametrize(
    ("kind", "seed", "other_db"),
    [
        ("plain", 3, -60.0), ("uneven", 2, -60.0), ("with_more", 11, -60.0),
        ("mono_bass", 0, -30.0), ("crossfed", 10, -38.0), ("crossfed_low", 11, -38.0),
        ("crossfed", 4, -22.0),  # its sides are a part of a sample apart, which steps of delay cannot follow
        ("sum_difference", 10, -60.0), ("turned", 8, -60.0),
    ],
)  # fmt: skip
def test_radios_drawn_at_random_are_flat_in_time_and_free_of_the_other_side(
    kind: str, seed: int, other_db: float
) -> None:
    radio = random_radio(kind, seed)
    factory = worked_out(radio)
    assert factory["refused"] is None
    got = heard(radio, factory["repair"])
    assert got.off_flat_db < 0.6
    assert got.apart_db < 0.2
    assert got.apart_deg < 10.0
    assert not got.opposed
    assert got.other_db < other_db
    # It can fail: one side keyed in a tenth of a millisecond late, or without its filters.
    late = [{**row, "delay_s": row["delay_s"] + 1e-4} for row in factory["repair"]["left"]]
    assert heard(radio, {**factory["repair"], "left": late}).apart_deg > 14.0
    bare = [{**row, "sections": []} for row in factory["repair"]["left"]]
    assert heard(radio, {**factory["repair"], "left": bare}).off_flat_db > 0.8


@pytest.mark.parametrize("seed", [4, 9, 10, 13])
def test_a_stop_band_that_comes_back_up_turns_no_polarity(seed: int) -> None:
    """Elliptic and Chebyshev splits: the slope at the first notch says nothing of what lies beyond."""
    noise = np.random.default_rng(seed).standard_normal((2, len(FREQUENCY)))
    for item in random_radio("plain", seed).outputs:
        transfer = 0.5 * response(item, "left" if item.left else "right", FREQUENCY) + 1e-4 * (noise[0] + 1j * noise[1])
        trusted = (FREQUENCY > 15.0) & (FREQUENCY < 20_000.0) & (np.abs(transfer) > 10 ** (-63 / 20))
        found = excess_phase(transfer, trusted, FREQUENCY, sample_rate_hz=48000.0)
        assert found.polarity == ("inverted" if item.polarity < 0 else "normal")
        assert found.delay_s == pytest.approx(item.delay_s, abs=0.25e-3)


def test_a_band_ends_where_a_filter_begins_not_at_a_shelf() -> None:
    bank = [linkwitz_riley(8, 900, "high"), high_shelf(5000, 4), low_shelf(120, 8)]
    radio = Radio((Output("left", 1, 0, bank), Output("right", 0, 1, [low_shelf(100, 8), high_shelf(6000, -6)])))
    outputs = worked_out(radio)["outputs"]
    three_down_hz = 900.0 * (10.0 ** (3.0 / 20.0) - 1.0) ** (-1.0 / 8.0)  # |H| = 1 / (1 + (fc/f)^8)
    assert outputs["left"].low_hz == pytest.approx(three_down_hz, rel=0.08)
    assert outputs["right"].low_hz < 20.0
    assert outputs["right"].high_hz > 17_000.0


def test_a_dip_inside_a_band_is_no_end_of_it() -> None:
    """A bell of -10 dB amid 300 Hz to 3 kHz: what rises again outside is no shelf."""
    bank = [butter(3, (300.0, 3000.0), "bandpass"), peaking(900, -10, 1)]
    outputs = worked_out(Radio((Output("left", 1, 0, bank), Output("right", 0, 1, []))))["outputs"]
    assert outputs["left"].low_hz == pytest.approx(300.0, rel=0.2)
    assert outputs["left"].high_hz == pytest.approx(3000.0, rel=0.2)


def test_every_kind_is_drawn() -> None:
    assert all(len(random_radio(kind, 1).outputs) >= 2 for kind in KINDS)


def test_an_all_pass_of_the_processor_follows_one_in_the_radio() -> None:
    radio = random_radio("turned", 7)
    without = worked_out(radio)
    build = parse((MINIMAL + "\n[processor]\nall_pass_filters = 1\n").encode())
    having = worked_out(radio, build)
    assert heard(radio, without["repair"]).apart_deg > 12.0
    assert heard(radio, having["repair"]).apart_deg < 5.0
    assert having["phase_apart_deg"] < 0.3 * without["phase_apart_deg"]
    assert heard(radio, having["repair"]).off_flat_db < 0.6
    kinds = [item["kind"] for rows in having["repair"].values() for row in rows for item in row["filters"]]
    assert "all-pass" in kinds
    assert "all-pass" not in [
        item["kind"] for rows in without["repair"].values() for row in rows for item in row["filters"]
    ]


def test_a_limiter_on_the_difference_shows_while_left_plays_alone(tmp_path: Path) -> None:
    """Both sides together leave that output silent; the sum without it is mono, and so refused."""
    radio = Radio((Output("less", 0.5, -0.5, limit=0.02), Output("sum", 0.5, 0.5)))
    factory = planned(tmp_path, radio)
    assert factory["outputs"]["less"]["changes"][0]["limited_db"] < -6.0
    assert abs(factory["outputs"]["sum"]["changes"][0]["limited_db"]) < 0.3
    assert re.search("cannot be freed of the other, .* limiter is always at work on “less”", factory["refused"])


def test_a_limiter_that_only_right_wakes_shows_on_the_difference(tmp_path: Path) -> None:
    """Left is never held, so neither left alone nor the silence while both play could tell."""
    radio = Radio((Output("less", 0.5, -0.5, limit_right=0.02), Output("sum", 0.5, 0.5)))
    factory = planned(tmp_path, radio)
    assert factory["outputs"]["less"]["changes"][0]["limited_db"] < -6.0
    assert "limiter is always at work on “less”" in factory["refused"]


def three_way() -> Radio:
    low = [butter(3, 300, "low"), butter(2, 35, "high"), low_shelf(120, 4)]
    mid = [butter(3, (300.0, 3000.0), "bandpass"), peaking(900, 4, 2)]
    high = [butter(3, 3000, "high"), peaking(8000, -5, 1.5)]
    return Radio(
        (
            Output("left mid", 1, 0, mid, 0.0004),
            Output("left low", 0.7, 0, low),
            Output("left high", 0.9, 0, high, 0.0021, -1.0),
            Output("right low", 0, 0.7, low, 0.005),
            Output("right mid", 0, 1, [*mid, all_pass(900, 0.7)], 0.0014),
            Output("right high", 0, 0.9, high, 0.0031),
            Output("centre", 0.5, 0.5, [], 0.001),
        )
    )


def two_way() -> Radio:
    low = [linkwitz_riley(4, 2500, "low"), butter(2, 40, "high"), peaking(90, 5, 1.2)]
    high = [linkwitz_riley(4, 2500, "high"), peaking(6000, -4, 2)]
    return Radio(
        (
            Output("left low", 1, 0, low),
            Output("left high", 1, 0, high, 0.00123, -1.0),
            Output("right low", 0, 1, low, 0.0031),
            Output("right high", 0, 1, high, 0.0052),
        )
    )


def test_captures_of_a_two_way_radio_are_flat_again(tmp_path: Path) -> None:
    radio = two_way()
    factory = planned(tmp_path, radio)
    assert factory["refused"] is None
    for side, other in (("left", "right"), ("right", "left")):
        assert ripple(radio, factory, side) < 1.0
        assert ripple(radio, factory, side) == pytest.approx(factory["ripple_sides_db"][side], abs=0.3)
        own = repaired(radio, factory["repair"][side], side)
        leak = repaired(radio, factory["repair"][side], other)
        assert np.sum(leak**2) < 1e-4 * np.sum(own**2)
    # It can fail: a polarity keyed in wrongly, or a filter left out.
    rows = [dict(row) for row in factory["repair"]["left"]]
    rows[1]["polarity"] = "normal" if rows[1]["polarity"] == "inverted" else "inverted"
    assert ripple(radio, {"repair": {"left": rows}}, "left") > 3.0
    bare = [{**row, "sections": []} for row in factory["repair"]["left"]]
    assert ripple(radio, {"repair": {"left": bare}}, "left") > 2.0
    outputs = factory["outputs"]
    for item in radio.outputs:
        assert outputs[item.name]["delay_s"] == pytest.approx(item.delay_s, abs=50e-6)
        assert outputs[item.name]["polarity"] == ("inverted" if item.polarity < 0 else "normal")
    assert outputs["left low"]["high_hz"] == pytest.approx(1983.0, rel=0.03)
    assert outputs["left low"]["left_db"] > outputs["left low"]["right_db"] + 60.0


def test_a_limiter_sets_the_volume_up_to_which_it_holds(tmp_path: Path) -> None:
    bank = [low_shelf(100, 6), butter(2, 25, "high")]
    radio = Radio((Output("left", 1, 0, bank, limit=0.4), Output("right", 0, 1, bank, 0.001, limit=0.4)), top=30)
    factory = planned(tmp_path, radio, (10, 30))
    assert factory["refused"] is None
    assert factory["holds_to_volume"] == 10
    changes = {item["volume"]: item for item in factory["outputs"]["left"]["changes"]}
    assert abs(changes[10]["limited_db"]) < 0.3
    assert changes[30]["limited_db"] < -6.0
    free = Radio(tuple(Output(item.name, item.left, item.right, bank) for item in radio.outputs))
    assert ripple(free, factory, "left") < 1.0


def test_a_limiter_always_at_work_is_refused(tmp_path: Path) -> None:
    radio = Radio((Output("left", 1, 0, [], limit=0.004), Output("right", 0, 1, [], limit=0.004)))
    factory = planned(tmp_path, radio)
    assert "limiter is always at work" in factory["refused"]
    assert factory["repair"] == {"left": [], "right": []}


def test_three_ways_of_butterworth_slopes_with_a_turned_phase() -> None:
    radio = three_way()
    factory = worked_out(radio)
    assert factory["refused"] is None
    for side in ("left", "right"):
        assert ripple(radio, factory, side) < 1.0
        assert "centre" not in {row["output"] for row in factory["repair"][side]}
    turned = factory["outputs"]["right mid"].all_pass
    assert turned is not None
    assert turned.frequency_hz == pytest.approx(900.0, rel=0.1)
    assert factory["outputs"]["left mid"].all_pass is None


def test_mono_bass_serves_both_sides_and_is_named() -> None:
    bank = [linkwitz_riley(4, 90, "high"), peaking(3000, -5, 1)]
    radio = Radio(
        (
            Output("bass", 0.5, 0.5, [linkwitz_riley(4, 90, "low"), butter(2, 22, "high")], 0.002),
            Output("left", 1, 0, bank),
            Output("right", 0, 1, bank, 0.0007, -1.0),
        )
    )
    factory = worked_out(radio)
    for side in ("left", "right"):
        assert ripple(radio, factory, side) < 1.0
        assert 70.0 < factory["mono_below_hz"][side] < 200.0
        assert factory["other_side_db"][side] < -25.0


@pytest.mark.parametrize(
    ("radio", "words"),
    [
        (
            Radio((Output("a", 1, 0, [linkwitz_riley(4, 120, "high")]), Output("b", 0, 1, [linkwitz_riley(4, 120, "high")]))),
            "no output carries 29 Hz to .* of the left side",
        ),
        (Radio((Output("a", 1, 0, []), Output("b", 1, 0, []))), "no output carries the right side"),
        (Radio((Output("a", 0.5, 0.5), Output("b", 0.4, 0.4, [butter(1, 2000, "low")]))), "cannot be freed of the other"),
    ],
)  # fmt: skip
def test_what_no_output_carries_is_refused(radio: Radio, words: str) -> None:
    assert re.search(words, worked_out(radio)["refused"])


@pytest.mark.skipif(shutil.which("sox") is None, reason="sox is not installed")
def test_filters_of_sox_are_undone(tmp_path: Path) -> None:
    """sox's own equaliser, bass and treble shelves, on a click: its response goes in, and comes out flat."""
    click = np.zeros((1 << 16, 1))
    click[100] = 0.5
    soundfile.write(tmp_path / "in.wav", click, 48000, subtype="FLOAT")
    words = ["equalizer", "700", "1.2q", "-6", "equalizer", "5000", "2q", "5", "bass", "+5", "110", "highpass", "30"]
    subprocess.run(["sox", "-D", "in.wav", "-e", "float", "-b", "32", "out.wav", *words], cwd=tmp_path, check=True)
    heard = soundfile.read(tmp_path / "out.wav")[0][100:]
    whole = np.exp(-2j * np.pi * FREQUENCY[:, None] * np.arange(30_000)[None, :] / 48000.0) @ heard[:30_000]
    noise = np.full(len(FREQUENCY), -90.0)
    nothing = np.full(len(FREQUENCY), 1e-6 + 0j)
    captures = tuple(
        FactoryCapture(
            name, None, left, right, whole, np.stack([whole] * 5), noise, np.stack([noise] * 5), np.zeros(5), 0.0, 0.5
        )
        for name, left, right in (("a", whole, nothing), ("b", nothing, whole))
    )
    found = stage.run(BUILD, FactoryResponses(48000.0, FREQUENCY, RUNGS, captures)).factory
    assert found is not None
    (branch,) = found.repair["left"]
    level = level_30_to_16k(scipy.signal.sosfilt(branch.sections(48000.0), np.pad(heard, (0, 1 << 16))))
    assert 0.5 * (level.max() - level.min()) < 1.0
