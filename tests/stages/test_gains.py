"""Gains and loads of whole builds against arithmetic done here by hand, and bad input."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinwright.build.codec import parse
from cabinwright.handover.json_text import plain
from cabinwright.handover.signal_documents import signal_documents
from cabinwright.physics.filters import Filter
from cabinwright.stages.signal import gains, loads
from cabinwright.stages.signal.chain import chain_of
from cabinwright.stages.signal.result import SignalResult
from cabinwright.stages.tuning.settings import ChannelSettings, Settings

HEAD = """
schema = 1
title = "invented"
[vehicle]
name = "car"
driving_side = "left"
[[seats]]
name = "driver"
head_m = [1.0, -0.4, 1.0]
[processor]
output_v = 4.0
output_ohm = 100
output_noise_v = 10e-6
"""
SOURCE = """
[[sources]]
name = "player"
kind = "analogue"
output_v = 2.0
output_ohm = 100
noise_v = 10e-6
[[inputs]]
name = "line"
from = ["player"]
input_v = 4.0
input_min_v = 0.5
input_ohm = 9900
noise_v = 20e-6
"""
OUT = """
[[speakers]]
name = "one"
role = "midbass"
side = "left"
position_m = [1.0, -0.4, 0.0]
impedance_ohm = 4
pe_w = 60
sensitivity_db = 90
[[channels]]
name = "low"
speakers = ["one"]
[[amplifiers]]
name = "amp"
ratings = [{load_ohm = 4, power_w = 100}]
input_ohm = 9900
noise_v = 5e-6
minimum_ohm = 4
regulated = true
channels = [{name = "A", from = "low", speakers = ["one"]}]
"""


def worked(text: str, settings: Settings | None = None) -> tuple[dict[str, Any], SignalResult]:
    """``signal`` of the plan without what other parts put there."""
    build = parse(text.encode(), file="build.toml")
    loaded = loads.work_out(build, settings=settings)
    set_up = gains.work_out(build, chain_of(build), loaded)
    found = (*(set_up.findings if set_up else ()), *(loaded.findings if loaded else ()))
    result = SignalResult(gains=set_up, loads=loaded, findings=found)
    return plain(result.to_dict()), result


def codes(told: dict[str, Any]) -> set[str]:
    return {item["code"] for item in told["findings"]}


def test_everything_clips_together() -> None:
    """100 W into 4 ohm are 20 V; 4 V less one part in a hundred arrive: gain 20/3.96, sensitivity 3.96 V."""
    told, _ = worked(HEAD + SOURCE + OUT)
    row = told["gains"]["low"]
    assert row["sensitivity_v"] == pytest.approx(3.96)
    assert row["meter_v"] == pytest.approx(20.0)
    assert row["meter_hz"] == 500.0  # the middle of 50 Hz to 5 kHz
    assert row["gain_db"] == pytest.approx(20.0 * math.log10(20.0 / 3.96), abs=1e-4)
    assert told["inputs"]["line"]["sensitivity_v"] == pytest.approx(1.98)
    assert set(row["sources"]["player"]["margins_db"].values()) == {0.0}
    assert set(row["clips_first"]) == {"player", "line", "processor", "amp"}


def test_noise_adds_in_power() -> None:
    """By hand: source and input come to 20 V with full scale; processor and amplifier through the amplifier's gain."""
    told, _ = worked(HEAD + SOURCE + OUT)
    row = told["gains"]["low"]["sources"]["player"]
    whole = {
        "player": 10e-6 / 2.0 * 20.0,
        "line": 20e-6 / 1.98 * 20.0,
        "processor": 10e-6 / 4.0 * 20.0,
        "amp": 5e-6 * 20.0 / 3.96,
    }
    noise = math.sqrt(sum(value**2 for value in whole.values()))
    assert row["noise_v"] == pytest.approx(noise, rel=1e-5)
    assert row["snr_db"] == pytest.approx(20.0 * math.log10(20.0 / noise), abs=1e-3)
    assert row["noise_from"] == "line"
    assert row["noise_share"]["amp"] == pytest.approx((whole["amp"] / noise) ** 2, rel=1e-4)
    assert row["noise_v"] != pytest.approx(sum(whole.values()), rel=0.1)


def test_chosen_level_lower_sine_and_master() -> None:
    """Clipping at 2 V: the processor 6 dB lower, the amplifier twice as sensitive, the same volts; -6 dB halve them."""
    text = HEAD + SOURCE + OUT + "[chain]\nclip_at_v = 2.0\nmeter_level_db = -6.0206\n"
    row = worked(text)[0]["gains"]["low"]
    assert row["sensitivity_v"] == pytest.approx(1.98)
    assert row["master_db"] == pytest.approx(-6.0206, abs=1e-4)
    assert row["meter_v"] == pytest.approx(10.0, abs=1e-3)
    assert row["snr_db"] < worked(HEAD + SOURCE + OUT)[0]["gains"]["low"]["snr_db"]


def test_supply_moves_an_unregulated_amplifier() -> None:
    text = (HEAD + SOURCE + OUT).replace(
        "regulated = true", "rated_v = 14.4\ninput_max_v = 8"
    ) + "[supply]\nnominal_v = 12.0\n"
    told, _ = worked(text)
    assert told["gains"]["low"]["meter_v"] == pytest.approx(20.0 * 12.0 / 14.4, rel=1e-5)
    assert told["loads"]["amp"]["A"]["power_w"] == pytest.approx(100.0 * (12.0 / 14.4) ** 2, rel=1e-5)


def test_tune_is_accounted_for_and_said() -> None:
    """A channel at -8 dB with a crossover: the meter shows less by what SciPy-like arithmetic makes of it at 500 Hz."""
    filters = (Filter("high-pass", 500.0, family="Linkwitz-Riley", slope_db_per_octave=24),)
    tune = Settings(48_000.0, (ChannelSettings("low", -8.0, "normal", 0.0, filters),))
    told, _ = worked(HEAD + SOURCE + OUT + "[chain]\nmeter_hz = 500\n", tune)
    row = told["gains"]["low"]
    assert row["tune_gain_db"] == -8.0
    assert row["tune_at_meter_db"] == pytest.approx(
        -8.0 - 6.0206, abs=0.01
    )  # a Linkwitz-Riley is 6 dB down at its corner
    assert row["meter_flat_v"] == pytest.approx(20.0)
    assert row["meter_v"] == pytest.approx(20.0 * 10 ** (-14.0206 / 20.0), abs=0.01)
    assert (row["meter_v"], row["sensitivity_v"]) != (row["meter_flat_v"], None)
    assert told["loads"]["amp"]["A"]["band_low_hz"] == 500.0


def test_control_that_ends_lowers_the_sine_not_the_promise() -> None:
    """At 12 V the control would have to stand at 4.75 V and ends at 4: the sine comes down so far, in tenths."""
    text = (HEAD + SOURCE + OUT).replace("regulated = true", "rated_v = 14.4") + "[supply]\nnominal_v = 12.0\n"
    told, _ = worked(text)
    row = told["gains"]["low"]
    assert row["meter_level_db"] == -1.5
    assert row["meter_v"] <= row["amplifier_clip_v"]
    assert {"signal.gain_over", "signal.meter_lowered"} <= codes(told)


def test_spared_loudspeaker() -> None:
    """60 W into 4 ohm are 15.49 V."""
    text = (HEAD + SOURCE + OUT).replace("minimum_ohm = 4", "minimum_ohm = 4\ninput_max_v = 8")
    row = worked(text + "[chain]\nspare_speakers = true\n")[0]["gains"]["low"]
    assert row["meter_v"] == pytest.approx(math.sqrt(240.0), rel=1e-5)
    assert row["held_to"] == "loudspeaker"


def test_a_control_that_ends_spares_nobody() -> None:
    """15.49 V for 60 W want the control at 5.11 V, and it ends at 4: 20 log(5.11 / 4) = 2.1 dB more than it stands."""
    told, _ = worked(HEAD + SOURCE + OUT + "[chain]\nspare_speakers = true\n")
    row = next(item for item in told["findings"] if item["code"] == "signal.spare_missed")
    assert row["value"] == pytest.approx(3.96 * 20.0 / math.sqrt(240.0), abs=1e-3)
    assert "2.1 dB more" in row["message"]
    assert "signal.gain_over" not in codes(told)


@pytest.mark.parametrize(
    ("change", "code"),
    [
        (("input_v = 4.0\ninput_min_v = 0.5", "input_v = 1.5\ninput_min_v = 0.5"), "signal.clips_early"),
        (("input_min_v = 0.5", "input_min_v = 3.9"), "signal.input_weak"),
        (("output_v = 4.0", "output_v = 0.1"), "signal.gain_short"),
        (("output_v = 4.0", "output_v = 9.0"), "signal.gain_over"),
        (("noise_v = 5e-6", "noise_v = 5e-3"), "signal.hiss"),
        (("noise_v = 5e-6\n", ""), "signal.noise_unknown"),
        (("impedance_ohm = 4", "impedance_ohm = 2"), "signal.load_low"),
        (("impedance_ohm = 4", "impedance_ohm = 4\nminimum_ohm = 2.5"), "signal.load_dips"),
        (("impedance_ohm = 4\n", ""), "signal.load_unknown"),
        (('name = "A"', 'bridged = true, name = "A"'), "signal.not_bridgeable"),
        (("pe_w = 60", "pe_w = 10"), "signal.music_burns"),
        (("pe_w = 60", "pe_w = 90"), "signal.sine_burns"),
        (("sensitivity_db = 90", "sensitivity_db = 80"), "signal.headroom_short"),
    ],
)
def test_each_finding_is_found(change: tuple[str, str], code: str) -> None:
    text = HEAD + SOURCE + OUT
    assert change[0] in text
    told, _ = worked(text.replace(*change))
    assert code in codes(told)
    if code != "signal.sine_burns":  # there with 60 W too
        assert code not in codes(worked(text)[0])


def test_two_volume_controls_in_a_row() -> None:
    text = (HEAD + SOURCE + OUT).replace('kind = "analogue"', 'kind = "analogue"\nvolume_controlled = true')
    assert "signal.two_volumes" not in codes(worked(text)[0])
    text = text.replace("input_ohm = 9900\nnoise_v = 20e-6", "input_ohm = 9900\nvolume_controlled = true")
    assert "signal.two_volumes" in codes(worked(text)[0])


def two(extra: str, coils: int = 2) -> str:
    """Two dual-coil loudspeakers of 4 ohm a coil on one channel."""
    row = f'[[speakers]]\nname = "{{}}"\nrole = "subwoofer"\nside = "centre"\nimpedance_ohm = 4\ncoils = {coils}\npe_w = 300\n'
    return (
        HEAD
        + row.format("a")
        + row.format("b")
        + '[[channels]]\nname = "low"\nspeakers = ["a", "b"]\n'
        + '[[amplifiers]]\nname = "amp"\nregulated = true\n'
        + "ratings = [{load_ohm = 4, power_w = 300}, {load_ohm = 1, power_w = 900}]\n"
        + f'{extra}\nchannels = [{{name = "A", from = "low", speakers = ["a", "b"]}}]\n'
    )


def test_every_wiring_of_two_dual_coils() -> None:
    """1 ohm all parallel, 4 ohm either mixed way, 16 ohm all in series; the amplifier stands 2 ohm."""
    told = worked(two("minimum_ohm = 2"))[0]["loads"]["amp"]["A"]
    found = {(row["coils"], row["wiring"]): row for row in told["alternatives"]}
    assert {key: row["nominal_ohm"] for key, row in found.items()} == {
        ("parallel", "series"): 4.0,
        ("parallel", "parallel"): 1.0,
        ("series", "series"): 16.0,
        ("series", "parallel"): 4.0,
    }
    assert not found["parallel", "parallel"]["allowed"]
    assert "below the 2 Ω" in found["parallel", "parallel"]["verdict"]
    assert told["nominal_ohm"] == 4.0
    assert told["each_w"] == {"a": 150.0, "b": 150.0}


def test_stated_wiring_is_kept_and_refused() -> None:
    text = two("minimum_ohm = 2").replace('name = "A"', 'coils = "parallel", wiring = "parallel", name = "A"')
    told, _ = worked(text)
    assert told["loads"]["amp"]["A"]["nominal_ohm"] == 1.0
    stop = next(item for item in told["findings"] if item["code"] == "signal.load_low")
    assert stop["severity"] == "stop"
    assert "coils in parallel, loudspeakers in series" in stop["remedy"]


def test_bridged_counts_two_and_keeps_its_own_floor() -> None:
    text = two("minimum_ohm = 2\nbridged_minimum_ohm = 4\nchannel_count = 1").replace(
        'name = "A"', 'bridged = true, name = "A"'
    )
    told, _ = worked(text)
    assert "signal.channels_short" in codes(told)
    row = told["loads"]["amp"]["A"]
    assert row["amplifier_minimum_ohm"] == 4.0
    assert row["nominal_ohm"] == 4.0
    # each channel of the pair sees 2 ohm; between 4 ohm (300 W) and 1 ohm (900 W) by a source behind a resistance:
    high, low = 1.0 / math.sqrt(1200.0), 1.0 / math.sqrt(900.0)
    one = 1.0 / (high + (low - high) / 0.75 * 0.25)
    assert row["clip_v"] == pytest.approx(2.0 * one, rel=1e-5)


def test_level_at_the_seat() -> None:
    """20 V are 16.99 dB over 2.83 V; 1 m away; a sine's peak is 3.01 dB over its rms value."""
    row = worked(HEAD + SOURCE + OUT)[0]["loads"]["amp"]["A"]
    assert row["seat_peak_db"] == pytest.approx(90.0 + 20.0 * math.log10(20.0 / 2.83) + 3.0103, abs=1e-3)
    assert row["headroom_db"] == pytest.approx(row["seat_peak_db"] - 105.0, abs=1e-3)


def test_page_and_diagram_hold_what_was_worked_out() -> None:
    text = HEAD + SOURCE + OUT.replace("one", "<b>one</b>")
    build = parse(text.encode(), file="build.toml")
    files = signal_documents(build, worked(text)[1])
    assert set(files) == {"signal.html", "signal.svg", "signal.pdf"}
    html, svg = str(files["signal.html"]), str(files["signal.svg"])
    assert "20.0 V" in html and "Unplug every loudspeaker" in html
    assert "<b>one" not in html and "<b>one" not in svg
    for words in ("player", "full scale set to 1.98 V", "set to 3.96 V", "100 W into 4 Ω"):
        assert words in svg
    assert bytes(files["signal.pdf"])[:5] == b"%PDF-"  # type: ignore[arg-type]


@given(
    st.floats(0.05, 20.0), st.floats(0.1, 20.0), st.floats(0.5, 16.0), st.floats(10.0, 2000.0), st.floats(0.02, 0.99)
)
def test_no_stage_is_ever_promised_beyond_its_clipping(
    source_v: float, full_v: float, load_ohm: float, power_w: float, share: float
) -> None:
    """The loudest sine lies below the amplifier's clipping and below what the source brings, whatever the controls allow."""
    text = (
        (HEAD + SOURCE + OUT)
        .replace("output_v = 4.0", f"output_v = {full_v}")
        .replace("output_v = 2.0", f"output_v = {source_v}")
        .replace("impedance_ohm = 4", f"impedance_ohm = {load_ohm}")
        .replace("power_w = 100", f"power_w = {power_w}")
    )
    told, _ = worked(text + f"[chain]\nclip_at_v = {full_v * share}\n")
    row = told["gains"]["low"]
    one = row["sources"]["player"]
    assert one["loudest_v"] <= row["amplifier_clip_v"] * 1.0001
    assert min(one["margins_db"].values()) == pytest.approx(0.0, abs=1e-6)
    amplifier = row["rated_output_v"] / row["sensitivity_v"]
    brought = full_v * share * row["input_share"] * amplifier * min(1.0, 10 ** (one["level_db"] / 20.0))
    assert one["loudest_v"] <= brought * 1.001
    assert 0.2 <= row["sensitivity_v"] <= 4.0
