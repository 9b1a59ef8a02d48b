"""How systems divide the spectrum: every layout, protective corners everywhere, wishes kept."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinwright.build.document import Build, Processor
from cabinwright.stages.tuning.ways import Crossover, Way, edges_for, find_crossovers, find_ways, safe_range
from stages.tune_cases import TWO_WAY, make_build

SUB = ("subwoofer",)
THREE_WAY = ("left midbass", "right midbass", "left midrange", "right midrange", "left tweeter", "right tweeter")
#: loudspeakers: (role, how many channels, fill) of each way from low to high
LAYOUTS: dict[tuple[str, ...], list[tuple[str, int, bool]]] = {
    ("fullrange",): [("fullrange", 1, False)],
    ("left coaxial", "right coaxial"): [("coaxial", 2, False)],
    TWO_WAY: [("midbass", 2, False), ("tweeter", 2, False)],
    (*TWO_WAY, "subwoofer"): [("subwoofer", 1, False), ("midbass", 2, False), ("tweeter", 2, False)],
    (*TWO_WAY, "subwoofer 1", "subwoofer 2"): [("subwoofer", 2, False), ("midbass", 2, False), ("tweeter", 2, False)],
    ("left midbass", "right midbass", "subwoofer"): [("subwoofer", 1, False), ("midbass", 2, False)],
    (*TWO_WAY, "left rear fill", "right rear fill"): [
        ("midbass", 2, False),
        ("tweeter", 2, False),
        ("rear fill", 2, True),
    ],
    (*TWO_WAY, "centre"): [("midbass", 2, False), ("tweeter", 2, False), ("centre", 1, True)],
    THREE_WAY: [("midbass", 2, False), ("midrange", 2, False), ("tweeter", 2, False)],
    ("left woofer", "right woofer", *THREE_WAY): [
        ("woofer", 2, False),
        ("midbass", 2, False),
        ("midrange", 2, False),
        ("tweeter", 2, False),
    ],
}


def _names(build: Build) -> tuple[str, ...]:
    return tuple(item.name for item in build.channels)


def _divided(build: Build) -> tuple[list[Way], list[Crossover]]:
    ways = find_ways(build, _names(build))
    return ways, find_crossovers(build, ways, _names(build))


@pytest.mark.parametrize("names", LAYOUTS)
def test_layouts(names: tuple[str, ...]) -> None:
    build = make_build(names)
    ways, crossovers = _divided(build)
    assert [(way.role, len(way.channels), way.fill) for way in ways] == LAYOUTS[names]
    assert sorted(channel for way in ways for channel in way.channels) == list(range(len(names)))
    stage = [k for k, way in enumerate(ways) if not way.fill]
    assert [(item.lower, item.upper) for item in crossovers] == list(pairwise(stage))


@pytest.mark.parametrize("names", LAYOUTS)
def test_every_channel_is_protected(names: tuple[str, ...]) -> None:
    """Each has one high-pass that can never go below its safe range, and no low-pass beyond it."""
    build = make_build(names)
    ways, crossovers = _divided(build)
    edges = edges_for(Processor(), ways, crossovers)
    for way in ways:
        for channel in way.channels:
            high = [edge for edge in edges if edge.kind == "high-pass" and channel in edge.channels]
            low = [edge for edge in edges if edge.kind == "low-pass" and channel in edge.channels]
            assert len(high) == 1
            assert high[0].low_hz >= way.low_hz
            assert high[0].slope_db_per_octave >= 12
            assert len(low) <= 1
            assert all(edge.high_hz <= way.high_hz for edge in low)
            assert low or way.high_hz >= 15000.0
    assert all(edge.low_hz <= edge.frequency_hz <= edge.high_hz for edge in edges)


def test_safe_range_is_the_makers_or_by_role() -> None:
    build = make_build(TWO_WAY, speaker={"left tweeter": {"safe_low_hz": 3100.0}})
    low, high, source = safe_range(build, "left tweeter")
    assert (low, high, source) == (3100.0, 20000.0, "the build")
    assert "common practice" in safe_range(build, "right tweeter")[2]
    ways, crossovers = _divided(build)
    # The pair shares its corners, so the stricter of the two counts for both.
    tweeters = next(way for way in ways if way.role == "tweeter")
    assert tweeters.low_hz == 3100.0
    assert crossovers[0].low_hz >= 3100.0


def test_several_loudspeakers_on_one_output() -> None:
    """A passive network: the largest loudspeaker sets the lower limit, the highest the upper one."""
    names = ("left midbass", "left tweeter", "right midbass", "right tweeter")
    build = make_build(names, channels={"left door": names[:2], "right door": names[2:]})
    ways, crossovers = _divided(build)
    assert [(way.role, way.channels, way.low_hz, way.high_hz) for way in ways] == [("midbass", (0, 1), 50.0, 20000.0)]
    assert crossovers == []


def test_gap_between_safe_ranges_spares_the_tweeter() -> None:
    build = make_build(TWO_WAY, speaker={name: {"safe_low_hz": 7000.0} for name in ("left tweeter", "right tweeter")})
    ways, crossovers = _divided(build)
    high = [edge for edge in edges_for(Processor(), ways, crossovers) if edge.kind == "high-pass" and edge.pair == 0]
    assert [edge.low_hz for edge in high] == [7000.0]


def test_gentle_slope_stays_further_from_a_tweeters_limit() -> None:
    build = make_build(
        TWO_WAY, tuning={"crossovers": [{"lower": "midbass", "upper": "tweeter", "slope_db_per_octave": 12}]}
    )
    ways, crossovers = _divided(build)
    high = next(e for e in edges_for(Processor(), ways, crossovers) if e.kind == "high-pass" and e.pair == 0)
    assert high.low_hz > 1.3 * 2000.0


@pytest.mark.parametrize(
    ("wish", "kept"),
    [
        ({"frequency_hz": 2600.0}, (2600.0, "Linkwitz-Riley", 24, False)),
        ({"slope_db_per_octave": 18}, (2800.0, "Butterworth", 18, True)),
        ({"family": "Butterworth", "slope_db_per_octave": 12}, (2800.0, "Butterworth", 12, True)),
        ({"family": "Butterworth", "frequency_hz": 3000.0}, (3000.0, "Butterworth", 24, True)),
    ],
)
@pytest.mark.parametrize("by", ["role", "channel"])
def test_wishes(wish: dict[str, Any], kept: tuple[float, str, int, bool], by: str) -> None:
    between = ("midbass", "tweeter") if by == "role" else ("left midbass", "right tweeter")
    row = {"lower": between[0], "upper": between[1], **wish}
    _, crossovers = _divided(make_build((*TWO_WAY, "subwoofer"), tuning={"crossovers": [row]}))
    item = crossovers[1]
    assert (item.usual_hz, item.family, item.slope_db_per_octave, item.kind_kept) == kept
    if "frequency_hz" in wish:
        assert item.low_hz == item.high_hz == wish["frequency_hz"]
    assert crossovers[0] == _divided(make_build((*TWO_WAY, "subwoofer")))[1][0]


@given(
    st.sets(
        st.sampled_from(
            ("subwoofer", "woofer", "midbass", "midrange", "coaxial", "fullrange", "tweeter", "rear fill", "centre")
        ),
        min_size=1,
    ),
    st.sampled_from(("left", "right", "both", "centre")),
)
def test_any_system_is_divided(roles: set[str], side: str) -> None:
    """Whatever somebody builds: every channel in one way, one protective corner each, corners in order."""
    sides = {"both": ("left ", "right "), "centre": ("",)}.get(side, (f"{side} ",))
    names = [f"{where}{role}" for role in sorted(roles) for where in sides]
    build = make_build(names)
    ways, crossovers = _divided(build)
    edges = edges_for(Processor(), ways, crossovers)
    for channel in range(len(names)):
        way = next(way for way in ways if channel in way.channels)
        protective = [edge for edge in edges if edge.kind == "high-pass" and channel in edge.channels]
        assert len(protective) == 1
        assert protective[0].low_hz >= way.low_hz
    assert all(edge.low_hz <= edge.frequency_hz <= edge.high_hz for edge in edges)


@pytest.mark.parametrize(
    ("families", "slopes", "wish", "kind"),
    [
        (["Linkwitz-Riley", "Butterworth"], [12, 24], {"family": "Butterworth"}, ("Butterworth", 24)),
        (["Linkwitz-Riley", "Butterworth"], [12, 18], {"family": "Linkwitz-Riley"}, ("Linkwitz-Riley", 12)),
        (["Butterworth"], [12, 24], {"slope_db_per_octave": 12}, ("Butterworth", 12)),
        (["Linkwitz-Riley", "Butterworth"], [6, 24], {"slope_db_per_octave": 6}, ("Butterworth", 6)),
    ],
)
def test_half_a_wish_is_filled_from_what_the_processor_has(
    families: list[str], slopes: list[int], wish: dict[str, Any], kind: tuple[str, int]
) -> None:
    processor = {"crossover_families": families, "crossover_slopes_db_per_octave": slopes}
    row = {"lower": "midbass", "upper": "tweeter", **wish}
    _, crossovers = _divided(make_build(TWO_WAY, processor=processor, tuning={"crossovers": [row]}))
    assert (crossovers[0].family, crossovers[0].slope_db_per_octave) == kind


def test_a_tweeter_alone_keeps_its_distance_behind_a_gentle_slope() -> None:
    """12 dB per octave lets more through than 24: the protective corner stands 1.4 times higher, as crossovers' do."""
    ways = [Way("tweeter", (0,), 2000.0, 20000.0, fill=False)]
    gentle = edges_for(Processor(crossover_slopes_db_per_octave=(12, 24)), ways, [])
    steep = edges_for(Processor(crossover_slopes_db_per_octave=(24,)), ways, [])
    assert [edge.frequency_hz for edge in (*gentle, *steep)] == [2800.0, 2000.0]
