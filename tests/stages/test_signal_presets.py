"""Presets: equally loud by an independent meter, complete routings, the car's own sounds never lost without a stop."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from typing import Any

import numpy as np
import pyloudnorm
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinwright.build.document import Build, Processor
from cabinwright.handover.json_text import plain
from cabinwright.physics.loudness import loudness
from cabinwright.stages import power, signal
from cabinwright.stages.signal.chain import Node, chain_of
from cabinwright.stages.signal.trims import trims
from stages.chains import chained
from stages.wired import SUPPLY

OWN_RADIO = 'name = "Radio"\nsource = "radio"'
ALSO = 'also = {source = "radio"}'


def planned(build: Build, **given: Any) -> dict[str, Any]:
    result = signal.run(build, power=power.run(build), **given)
    assert result is not None
    return dict(plain(result.to_dict()))


def codes(plan: dict[str, Any], severity: str | None = None) -> list[str]:
    return [row["code"] for row in plan["findings"] if severity in (None, row["severity"])]


def test_every_preset_is_a_whole_routing() -> None:
    plan = planned(chained())
    assert list(plan["presets"]) == ["Radio", "Phone", "Player"]
    for preset in plan["presets"].values():
        assert preset["inputs"]
        assert [row["channel"] for row in preset["routes"]] == [
            "left midbass", "right midbass", "left tweeter", "right tweeter", "subwoofer"
        ]  # fmt: skip
        by_channel = {row["channel"]: row for row in preset["routes"]}
        assert (by_channel["left tweeter"]["left_db"], by_channel["left tweeter"]["right_db"]) == (0.0, None)
        assert (by_channel["right midbass"]["left_db"], by_channel["right midbass"]["right_db"]) == (None, 0.0)
        assert (by_channel["subwoofer"]["left_db"], by_channel["subwoofer"]["right_db"]) == (-6.0, -6.0)
        assert by_channel["subwoofer"]["to"] == [
            {"amplifier": "bass amplifier", "amplifier_channel": "1", "speakers": ["subwoofer"]}
        ]
        assert all(item["reaches"] for item in preset["sounds"].values())
    assert not codes(plan, "stop")


def test_music_sources_without_a_preset_get_one() -> None:
    build = chained()
    bare = build.model_copy(update={"presets": ()})
    plan = planned(bare)
    assert list(plan["presets"]) == ["radio", "phone", "player"]
    assert all(
        row["proposed"] and all(s["reaches"] for s in row["sounds"].values()) for row in plan["presets"].values()
    )
    assert plan["presets"]["phone"]["also"][0]["source"] == "radio"
    assert plan["presets"]["radio"]["also"] == []


def music(*, seed: int, rate_hz: int, level: float, tilt: float) -> np.ndarray:
    """Invented programme: coloured noise that swells, two channels."""
    rng = np.random.default_rng(seed)
    spectrum = np.fft.rfft(rng.standard_normal((12 * rate_hz, 2)), axis=0)
    shape = (np.arange(1, len(spectrum) + 1) / 200.0) ** -tilt
    data = np.fft.irfft(spectrum * shape[:, None], axis=0)
    data *= (1.2 + np.sin(np.arange(len(data)) / rate_hz))[:, None]
    return np.asarray(level * data / np.abs(data).max())


def test_what_leaves_each_preset_is_equally_loud() -> None:
    """Three programmes through gains in volts and the trims of the plan, then measured by pyloudnorm."""
    rate = 48_000
    played = {
        "radio": music(seed=1, rate_hz=rate, level=0.9, tilt=0.5),
        "phone": music(seed=2, rate_hz=rate, level=0.5, tilt=0.2),
        "player": music(seed=3, rate_hz=rate, level=0.99, tilt=0.8),
    }
    gone = tuple((f"loudness_lufs = {value}\n", "") for value in (-16, -14, -10))
    measured = {name: loudness(data, sample_rate_hz=rate).integrated_lufs for name, data in played.items()}
    plan = planned(chained(replace=gone), programmes=measured)
    # By hand: the radio's inputs follow what arrives; the phone is digital; the player brings 2 V of source, loaded by
    # 10 kΩ behind 100 Ω, into inputs that take 4 V.
    path = {"radio": 1.0, "phone": 1.0, "player": 2.0 * 10_000.0 / 10_100.0 / 4.0}
    meter = pyloudnorm.Meter(rate, filter_class="DeMan")
    heard = []
    for preset in plan["presets"].values():
        assert preset["programme_by"] == "measured"
        trim = preset["trim_db"]
        assert trim <= 0.0
        assert trim / 0.5 == pytest.approx(round(trim / 0.5), abs=1e-9)
        level = meter.integrated_loudness(path[preset["source"]] * 10.0 ** (trim / 20.0) * played[preset["source"]])
        assert level == pytest.approx(preset["loudness_lufs"], abs=0.02)
        heard.append(level - preset["left_over_db"])
    assert np.ptp(heard) < 0.02  # what the grid leaves over is told
    assert np.ptp([preset["loudness_lufs"] for preset in plan["presets"].values()]) <= 0.5
    assert max(preset["trim_db"] for preset in plan["presets"].values()) == 0.0
    untrimmed = [meter.integrated_loudness(path[name] * played[name]) for name in played]
    assert np.ptp(untrimmed) > 1.0  # so the trims do something


@settings(max_examples=200, deadline=None)
@given(
    loud=st.dictionaries(st.sampled_from("abcdef"), st.floats(-60.0, 0.0), min_size=1),
    stated=st.dictionaries(st.sampled_from("abcdef"), st.floats(-20.0, 0.0)),
    step=st.sampled_from([0.1, 0.25, 0.5, 1.0]),
)
def test_trims_on_any_grid(loud: dict[str, float], stated: dict[str, float], step: float) -> None:
    offered = Processor(gain_step_db=step, gain_min_db=-80.0)
    given_ = {name: stated.get(name) for name in loud}
    found = trims(loud, given_, offered)
    target = min(level + (given_[name] or 0.0) for name, level in loud.items())
    for name, item in found.items():
        assert item.loudness_lufs == pytest.approx(loud[name] + item.trim_db)
        assert item.left_over_db == pytest.approx(item.loudness_lufs - target, abs=1e-6)
        if item.given:
            assert item.trim_db == given_[name]
            continue
        assert item.trim_db <= 0.0
        assert item.trim_db / step == pytest.approx(round(item.trim_db / step), abs=1e-6)
        assert abs(item.left_over_db or 0.0) <= 0.5 * step + 1e-6


def test_a_stated_trim_is_kept_and_its_difference_told() -> None:
    plan = planned(chained(replace=(('source = "phone"\nalso', 'source = "phone"\ntrim_db = 0\nalso'),)))
    assert plan["presets"]["Phone"]["trim_db"] == 0.0
    assert plan["presets"]["Phone"]["trim_by"] == "the build"
    assert plan["presets"]["Phone"]["left_over_db"] == pytest.approx(2.107, abs=0.001)
    assert "signal.unequal" in codes(plan)
    assert "signal.unequal" not in codes(planned(chained()))


def test_half_the_speakers_are_made_up_for() -> None:
    """A preset whose routes are 6 dB down is 6 dB quieter, and the others come down to it."""
    lower = ", ".join(
        f'{{channel = "{name}", left_db = {left}, right_db = {right}}}'
        for name, left, right in (
            ("left midbass", -6, -120), ("right midbass", -120, -6), ("left tweeter", -6, -120),
            ("right tweeter", -120, -6), ("subwoofer", -12, -12),
        )
    )  # fmt: skip
    plan = planned(chained(replace=((OWN_RADIO, f"{OWN_RADIO}\nroutes = [{lower}]"),)))
    radio, phone = plan["presets"]["Radio"], plan["presets"]["Phone"]
    assert radio["routes_db"] == pytest.approx(-6.0, abs=1e-6)
    assert radio["trim_db"] == 0.0
    assert phone["trim_db"] == -8.0  # 2 dB of programme and 6 of routes


SOUNDS: list[tuple[str, Callable[[str], str], str, str]] = [
    ("left out", lambda _: "", "Phone", "leaves out"),
    ("too low", lambda a: a.replace('"}', '", level_db = -12.5}'), "Phone", "-12.5 dB"),
    ("muted", lambda a: a.replace('"}', '", level_db = -120}'), "Phone", "-120 dB"),
    ("bass only", lambda a: f'{a}\nroutes = [{{channel = "subwoofer", left_db = 0, right_db = 0}}]', "Phone", "500 Hz"),
    (
        "one side only",
        lambda a: (
            f'{a}\nroutes = [{{channel = "left midbass", left_db = 0}}, {{channel = "left tweeter", left_db = 0}}]'
        ),
        "Phone",
        "every side",
    ),
    (
        "muted routes",
        lambda a: (
            f'{a}\nroutes = [{{channel = "left midbass", left_db = -120}}, {{channel = "right midbass", right_db = 0}}]'
        ),
        "Phone",
        "every side",
    ),
    (
        "tweeters only",
        lambda a: (
            f'{a}\nroutes = [{{channel = "left tweeter", left_db = 0}}, {{channel = "right tweeter", right_db = 0}}]'
        ),
        "Phone",
        "500 Hz",
    ),
]


@pytest.mark.parametrize(("what", "change", "preset", "words"), SOUNDS)
def test_a_preset_that_loses_a_sound_is_stopped(
    what: str, change: Callable[[str], str], preset: str, words: str
) -> None:
    plan = planned(chained(replace=((ALSO, change(ALSO)),)))
    for sound in ("warnings", "navigation", "parking"):
        assert plan["presets"][preset]["sounds"][sound]["reaches"] is False, what
    told = [row for row in plan["findings"] if row["code"] == "signal.sound_lost" and row["where"] == preset]
    assert {row["severity"] for row in told} == {"stop"}
    assert len(told) == 3
    assert all(words in row["message"] for row in told), told[0]["message"]
    assert plan["presets"]["Player"]["sounds"]["warnings"]["reaches"] is True


def test_no_person_may_answer_for_a_lost_warning() -> None:
    result = signal.run(chained(replace=((ALSO, ""),)))
    assert result is not None
    lost = [item for item in result.findings if item.code == "signal.sound_lost"]
    assert lost and not any(item.waivable for item in lost)


def test_midbass_alone_carries_them() -> None:
    routes = '[{channel = "left midbass", left_db = 0}, {channel = "right midbass", right_db = -3}]'
    heard = planned(chained(replace=((ALSO, f"{ALSO}\nroutes = {routes}"),)))["presets"]["Phone"]["sounds"]["warnings"]
    assert heard["reaches"]
    # The right side at 2 kHz and above comes from midbass and tweeter else: half the power, and 3 dB less of it.
    assert heard["level_db"] == pytest.approx(10.0 * np.log10(0.5 * 10.0**-0.3), abs=0.01)
    assert heard["speakers"] == ["left midbass", "right midbass"]


def test_a_sound_that_nobody_carries_is_asked_for() -> None:
    plan = planned(chained(replace=((', "navigation"', ""),)))
    assert plan["presets"]["Radio"]["sounds"]["navigation"]["reaches"] is False
    assert [row["where"] for row in plan["findings"] if row["code"] == "signal.sound_undeclared"] == ["navigation"]
    assert "signal.sound_lost" not in codes(plan)
    quiet = planned(chained(replace=((', "navigation"', ""),), extra='[chain]\nmust_hear = ["warnings"]\n'))
    assert "signal.sound_undeclared" not in codes(quiet)


POWERED = SUPPLY + "".join(
    f'[[wires]]\nname = "{name}"\nfrom = "battery plus"\nto = "{name} in"\nlength_m = 1\ngauge = "8 AWG"\n'
    f'[[switches]]\nname = "{name}"\nfrom = "{name} in"\nto = "{name} plus"\nclosed_when = {when}\n'
    f'[[loads]]\nname = "{name}"\nfrom = "{name} plus"\nto = "chassis"\ncurrent_a = 5\n'
    for name, when in (("front amplifier", '{key = "on", mode = "all"}'), ("bass amplifier", '{key = "on"}'))
) + '[[states]]\nname = "key"\nvalues = ["off", "on"]\n[[states]]\nname = "mode"\nvalues = ["all", "bass"]\n'  # fmt: skip


def test_an_amplifier_that_is_off_while_another_plays() -> None:
    plan = planned(chained(extra=POWERED))
    heard = plan["presets"]["Radio"]["sounds"]["warnings"]
    assert heard["reaches"] is False
    assert heard["state"] == {"key": "on", "mode": "bass"}
    always = POWERED.replace('{key = "on", mode = "all"}', '{key = "on"}')
    assert planned(chained(extra=always))["presets"]["Radio"]["sounds"]["warnings"]["reaches"] is True
    # The car is stated to warn with the key off too: there everything is off.
    stated = planned(chained(extra=always + '[chain]\nwarns_when = [{key = "on"}, {key = "off"}]\n'))
    assert stated["presets"]["Radio"]["sounds"]["warnings"]["state"] == {"key": "off", "mode": "all"}
    assert "signal.sound_lost" in codes(stated, "stop")
    only = planned(chained(extra=POWERED + '[chain]\nwarns_when = {key = "on", mode = "all"}\n'))
    assert only["presets"]["Radio"]["sounds"]["warnings"]["reaches"] is True


def test_steps_are_told_honestly() -> None:
    plan = planned(chained(replace=(("bits = 16", "bits = 12"),)))
    phone, radio = plan["presets"]["Phone"], plan["presets"]["Radio"]
    assert [row["node"] for row in phone["steps"]] == ["phone", "receiver", "stream", "processor"]
    assert phone["path"]["bandwidth_hz"] == 22_050.0
    assert phone["path"]["narrowest"] == "phone"
    assert phone["path"]["resampled"] == 1
    assert phone["path"]["lossy"] == ["phone"]
    assert any("12 bits" in words for words in phone["path"]["lost"])
    assert "signal.lossy" in codes(plan)
    assert radio["path"]["bandwidth_hz"] == 24_000.0
    assert radio["path"]["volume_controls"] == ["radio"]
    narrow = planned(chained(replace=(("sample_rate_hz = 44100", "sample_rate_hz = 32000"),)))
    assert any("16 kHz" in words for words in narrow["presets"]["Phone"]["path"]["lost"])
    detour = '[[converters]]\nname = "box"\nfrom = "receiver"\nsample_rate_hz = 48000\noutput_v = 2.0\nlossy = true\n'
    again = planned(
        chained(
            replace=(('from = ["receiver"]\nsample_rate_hz = 48000\nbits = 24', 'from = ["box"]\ninput_v = 2.0'),),
            extra=detour,
        )
    )
    path = again["presets"]["Phone"]["path"]
    assert path["conversions"] == 3  # out of the box, into the processor, out of it
    assert any("to analogue and back once" in words for words in path["lost"])
    assert "signal.lossy_twice" in codes(again)


LINE_3 = '{name = "3", from = "left tweeter", speakers = ["left tweeter"]},'
TWICE = '{name = "5", from = "left midbass", speakers = ["left midbass"]},'
IN_4 = '[[inputs]]\nname = "in 4"\n'
EXTRA = '[[speakers]]\nname = "extra"\nrole = "midrange"\nside = "left"\n'
CROSSED = 'routes = [{channel = "left midbass", right_db = 0}, {channel = "right midbass", left_db = 0}]'
BOTH = 'routes = [{channel = "left midbass", left_db = 0, right_db = 0}, {channel = "right midbass", right_db = 0}]'
DOUBTFUL = [
    ("signal.channel_unused", "left tweeter", (LINE_3, ""), ""),
    (
        "signal.speaker_unused",
        "extra",
        ('["left midbass"]\n[[speakers]]', '["left midbass", "extra"]\n[[speakers]]'),
        EXTRA,
    ),
    ("signal.speaker_twice", "left midbass", (LINE_3, LINE_3 + TWICE), ""),
    ("signal.input_shared", "in 3", ('from = ["player"]', 'from = ["player", "front left"]'), ""),
    ("signal.one_side", "player", (f'{IN_4}from = ["player"]', f'{IN_4}from = ["front right"]'), ""),
    ("signal.domains", "in 3", (f"input_v = 4.0\n{IN_4}", f"sample_rate_hz = 48000\n{IN_4}"), ""),
    ("signal.level_unknown", "player", ("output_v = 2.0\n", ""), ""),
    ("signal.loudness_assumed", "Player", ("loudness_lufs = -10\n", ""), ""),
    ("signal.quiet_source", "Player", ("loudness_lufs = -10\n", "loudness_lufs = -40\n"), ""),
    ("signal.source_unheard", "deck", (ALSO, ALSO), '[[sources]]\nname = "deck"\nkind = "analogue"\n'),
    ("signal.preset_silent", "Phone", (ALSO, f'{ALSO}\nroutes = [{{channel = "subwoofer"}}]'), ""),
    ("signal.sides_swapped", "Phone", (ALSO, f"{ALSO}\n{CROSSED}"), ""),
    ("signal.route_clips", "Phone", (ALSO, f"{ALSO}\n{BOTH}\ntrim_db = 0"), ""),
]


@pytest.mark.parametrize(("code", "where", "replace", "extra"), DOUBTFUL)
def test_doubtful_chains_are_named(code: str, where: str, replace: tuple[str, str], extra: str) -> None:
    plan = planned(chained(replace=(replace,), extra=extra))
    assert where in [row["where"] for row in plan["findings"] if row["code"] == code], codes(plan)
    assert code not in codes(planned(chained()))


@pytest.mark.parametrize(("centre_db", "over_db"), [(-6.0, None), (-3.0, 3.0), (0.0, 6.0)])
def test_both_sides_together_may_clip(centre_db: float, over_db: float | None) -> None:
    """The same bass on both sides adds up: two of -3 dB are 3 dB over full scale, two of -6 dB are full scale."""
    plan = planned(chained(extra=f"[chain]\ncentre_db = {centre_db}\n"))
    assert plan["presets"]["Radio"]["path_db"] + plan["presets"]["Radio"]["trim_db"] == pytest.approx(0.0, abs=1e-6)
    found = {row["where"]: row for row in plan["findings"] if row["code"] == "signal.route_clips"}
    if over_db is None:
        assert found == {}
    else:
        assert found["Radio"]["value"] == pytest.approx(over_db, abs=0.1)
        assert "“subwoofer”" in found["Radio"]["message"]


def test_without_inputs_or_channels_there_are_no_presets() -> None:
    build = chained()
    assert signal.run(build.model_copy(update={"presets": (), "inputs": ()})).presets is None  # type: ignore[union-attr]
    bare = build.model_copy(update={"sources": (), "inputs": (), "converters": (), "amplifiers": (), "presets": ()})
    assert signal.run(bare) is None


@st.composite
def random_chains(draw: st.DrawFn) -> tuple[Build, dict[str, str], dict[str, list[str]]]:
    """A chain of converters at random: the build, what feeds each converter, what feeds each input."""
    outputs = [f"out {i}" for i in range(draw(st.integers(0, 3)))]
    sources = ["radio", *(f"source {i}" for i in range(draw(st.integers(0, 3))))]
    feeds = [*sources[1:], *outputs] or ["radio"]
    before = dict[str, str]()
    for number in range(draw(st.integers(0, 6))):
        before[f"box {number}"] = draw(st.sampled_from([*feeds, *before]))
    into = {
        f"in {i}": draw(st.lists(st.sampled_from([*feeds, *before]), min_size=1, max_size=2, unique=True))
        for i in range(draw(st.integers(1, 4)))
    }
    build = chained().model_copy(update={"presets": ()})
    radio, other = build.sources[0], build.sources[2]
    box, entry = build.converters[0], build.inputs[0]
    made = build.model_copy(
        update={
            "sources": (radio, *(other.model_copy(update={"name": name}) for name in sources[1:])),
            "factory_outputs": tuple(build.factory_outputs[0].model_copy(update={"name": name}) for name in outputs),
            "converters": tuple(box.model_copy(update={"name": name, "from_": feed}) for name, feed in before.items()),
            "inputs": tuple(entry.model_copy(update={"name": name, "from_": tuple(f)}) for name, f in into.items()),
        }
    )
    return made, before, into


@settings(max_examples=100, deadline=None)
@given(random_chains())
def test_ways_by_walking_back_one_step_at_a_time(case: tuple[Build, dict[str, str], dict[str, list[str]]]) -> None:
    build, before, into = case
    outputs = {row.name for row in build.factory_outputs}
    expected = set[tuple[str, ...]]()
    for name, feeds in into.items():
        for feed in feeds:
            way = [name, feed]
            while way[-1] in before:
                way.append(before[way[-1]])
            if way[-1] in outputs:
                way.append("radio")
            expected.add(tuple(reversed(way)))
    graph = chain_of(build)
    got = [tuple(node.name for node in way) for source in graph.sources for way in graph.ways_in(source)]
    assert len(got) == len(set(got))
    assert set(got) == expected
    for source, goal in itertools.product(graph.sources, graph.inputs):
        some = [way for way in graph.ways_in(source) if way[-1] == goal]
        assert some == [way for way in graph.way_to(goal) if way[0] == source]
    assert signal.run(build) is not None  # no chain of these breaks the stage


def test_ways_out() -> None:
    graph = chain_of(chained())
    assert graph.ways_out(Node("channel", "subwoofer")) == (
        (
            Node("channel", "subwoofer"),
            Node("amplifier channel", "1", "bass amplifier"),
            Node("speaker", "subwoofer"),
        ),
    )
    assert graph.amplifier(Node("amplifier channel", "1", "bass amplifier")).minimum_ohm == 2.0
    bare = chain_of(chained().model_copy(update={"amplifiers": ()}))
    assert bare.ways_out(Node("channel", "subwoofer")) == (
        (Node("channel", "subwoofer"), Node("speaker", "subwoofer")),
    )
