"""The tune as a whole on small invented systems: every layout, every finding, what is missing, what is extreme."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from cabinwright.build.document import Build
from cabinwright.errors import RefusedError
from cabinwright.findings import catalogue
from cabinwright.physics.response import RecordedResponses
from cabinwright.stages import tuning
from cabinwright.stages.tuning.prepare import tuned_seat
from cabinwright.stages.tuning.result import TuningResult
from cabinwright.stages.tuning.ways import find_ways
from stages.tune_cases import TWO_WAY, ZERO, Case, make_case

SIMPLE = {"peaking_filters": 1, "crossover_families": ["Linkwitz-Riley"], "crossover_slopes_db_per_octave": [24]}
DOORS = {"left door": TWO_WAY[::2], "right door": TWO_WAY[1::2]}
CASES: dict[str, Callable[[], Case]] = {
    "one channel at one position": lambda: make_case("fullrange", positions=1),
    "a pair of coaxials": lambda: make_case("left coaxial", "right coaxial", positions=2, processor=SIMPLE),
    "tweeterless": lambda: make_case("left midbass", "right midbass", "subwoofer", positions=2, processor=SIMPLE),
    "two-way": lambda: make_case(*TWO_WAY, positions=3),
    "two on one output": lambda: make_case(
        *TWO_WAY, "subwoofer", channels={**DOORS, "subwoofer": ("subwoofer",)}, positions=2
    ),
    "two subwoofers": lambda: make_case(
        "left coaxial", "right coaxial", "subwoofer 1", "subwoofer 2", positions=2, processor=SIMPLE
    ),
    "rear fill": lambda: make_case(*TWO_WAY, "left rear fill", "right rear fill", positions=2, processor=SIMPLE),
    "one output for both rear fills": lambda: make_case(
        *TWO_WAY,
        "left rear fill",
        "right rear fill",
        channels={**{n: (n,) for n in TWO_WAY}, "rear": ("left rear fill", "right rear fill")},
        positions=2,
        processor=SIMPLE,
    ),
    "centre": lambda: make_case(*TWO_WAY, "centre", positions=2, processor=SIMPLE),
    "only the left": lambda: make_case("left midbass", "left tweeter", positions=2, processor=SIMPLE),
    "centre tweeter beside rear fill": lambda: make_case("tweeter", "rear fill", positions=2, processor=SIMPLE),
    "no places stated": lambda: make_case(*TWO_WAY, positions=2, processor=SIMPLE, placed=False),
    "no peaking filters": lambda: make_case(*TWO_WAY, positions=2, processor={"peaking_filters": 0}),
    "only first-order slopes": lambda: make_case(
        *TWO_WAY,
        positions=2,
        processor={**SIMPLE, "crossover_families": ["Butterworth"], "crossover_slopes_db_per_octave": [6]},
    ),
    "first-order slopes, Linkwitz-Riley named first": lambda: make_case(
        *TWO_WAY, positions=2, processor={"peaking_filters": 1, "crossover_slopes_db_per_octave": [6]}
    ),
    "safe ranges that contradict each other": lambda: make_case(
        *TWO_WAY,
        positions=2,
        processor=SIMPLE,
        speaker={"left tweeter": {"safe_low_hz": 9000.0}, "right tweeter": {"safe_high_hz": 8000.0}},
    ),
    "a safe range next to nothing wide": lambda: make_case(
        *TWO_WAY, positions=2, processor=SIMPLE, speaker={"left midbass": {"safe_low_hz": 100.0, "safe_high_hz": 101.0}}
    ),
    "44.1 kHz": lambda: make_case(*TWO_WAY, positions=2, rate_hz=44100.0, processor=SIMPLE),
    "96 kHz": lambda: make_case(*TWO_WAY, positions=2, rate_hz=96000.0, samples=8192, processor=SIMPLE),
    "16 kHz": lambda: make_case(*TWO_WAY, positions=2, rate_hz=16000.0, processor=SIMPLE),
    "a silent channel": lambda: make_case(
        *TWO_WAY, "subwoofer", positions=2, gain={"left tweeter": 0.0}, noise=0.0, processor=SIMPLE
    ),
    "everything silent": lambda: make_case(
        *TWO_WAY, positions=2, gain=dict.fromkeys(TWO_WAY, 0.0), noise=0.0, processor=SIMPLE
    ),
    "loud and faint": lambda: make_case(
        *TWO_WAY, positions=2, gain={"left tweeter": 1e4, "right midbass": 1e-5}, processor=SIMPLE
    ),
    "a house curve of one point": lambda: make_case(
        *TWO_WAY, positions=2, tuning={"house_curve": [[1000.0, 0.0]]}, processor=SIMPLE
    ),
    "a steep house curve": lambda: make_case(
        *TWO_WAY, positions=2, tuning={"house_curve": [[20.0, 60.0], [20000.0, -60.0]]}, processor=SIMPLE
    ),
}


def _run(case: Case) -> TuningResult:
    return tuning.run(case.build, case.responses)


def _whole(build: Build, result: TuningResult) -> None:
    """What must hold of every tune."""
    assert [row.name for row in result.settings.channels] == [item.name for item in build.channels]
    json.dumps(result.settings.to_dict(), allow_nan=False)
    ways = find_ways(build, tuple(item.name for item in build.channels))
    for k, row in enumerate(result.settings.channels):
        way = next(way for way in ways if k in way.channels)
        high = [item for item in row.filters if item.kind == "high-pass"]
        low = [item for item in row.filters if item.kind == "low-pass"]
        assert len(high) == 1
        assert high[0].frequency_hz >= way.low_hz - 1e-9
        # Where safe ranges leave a gap, the loudspeaker above is spared: only then may the one below play beyond its own.
        above = [other.low_hz for other in ways[ways.index(way) + 1 :] if not other.fill]
        assert all(item.frequency_hz <= max(way.high_hz, way.low_hz, *above) + 1.0 for item in low)
        assert all(item.reason for item in row.filters)
        curves = result.channels[row.name]
        assert np.isfinite(curves.impulse).all()
        assert np.isfinite(curves.filters_db).all()
    for name, curve in result.sums.items():
        assert np.isfinite(curve.after_db).all()
        assert np.isfinite(curve.before_db).all()
        assert np.isfinite(result.metrics.error_after_db[name])
    assert {decision.about for decision in result.decisions} >= {row.name for row in result.settings.channels}
    assert all(decision.reason and "nan" not in decision.reason for decision in result.decisions)
    assert all(item.code in catalogue() for item in result.findings)


@pytest.mark.parametrize("name", CASES)
def test_every_system(name: str) -> None:
    case = CASES[name]()
    _whole(case.build, _run(case))


@pytest.fixture(scope="module")
def three() -> tuple[Case, TuningResult]:
    case = make_case(*TWO_WAY, "subwoofer", positions=4, gain={"right tweeter": -0.7, "subwoofer": -1.0})
    return case, _run(case)


def test_better_than_tape(three: tuple[Case, TuningResult]) -> None:
    _, result = three
    metrics = result.metrics
    for name in ("left side", "right side"):
        assert metrics.error_after_db[name] < 0.6 * metrics.error_before_db[name]
        assert np.isfinite(metrics.error_expected_db[name])
    assert abs(metrics.arrival_difference_s) < 50e-6
    assert metrics.side_difference_db < metrics.side_difference_before_db


def test_wrong_wiring_is_put_right(three: tuple[Case, TuningResult]) -> None:
    _, result = three
    settings = result.settings
    assert settings.channel("left tweeter").polarity != settings.channel("right tweeter").polarity
    assert settings.channel("left midbass").polarity == settings.channel("right midbass").polarity
    better = next(row for row in result.decisions if row.about == "right tweeter" and "polarity" in row.choice)
    assert better.figures["better_db"] > 0.0 or "must agree" in better.reason


def test_no_channel_can_clip(three: tuple[Case, TuningResult]) -> None:
    """Gain and filters of every channel together stay at or below 0 dB at any frequency, and one comes near it."""
    _, result = three
    frequency = np.geomspace(20.0, 20000.0, 2000)
    peaks = [
        20.0 * np.log10(np.abs(row.response(frequency, sample_rate_hz=48000.0)).max())
        for row in result.settings.channels
    ]
    assert max(peaks) <= 1e-6
    assert max(peaks) > -3.0
    for row, peak in zip(result.settings.channels, peaks, strict=True):
        assert result.metrics.headroom_db[row.name] == pytest.approx(-peak, abs=0.1)


@pytest.mark.parametrize("gain_step_db", [1.0, 3.0])
def test_coarse_gain_steps_clip_no_channel_either(gain_step_db: float) -> None:
    settings = _run(make_case(*TWO_WAY, positions=2, processor={**SIMPLE, "gain_step_db": gain_step_db})).settings
    frequency = np.geomspace(10.0, 23000.0, 3000)
    for row in settings.channels:
        assert np.abs(row.response(frequency, sample_rate_hz=48000.0)).max() <= 1.0 + 1e-6


def test_deterministic(three: tuple[Case, TuningResult]) -> None:
    case, first = three
    second = _run(case)
    assert json.dumps(second.settings.to_dict()) == json.dumps(first.settings.to_dict())
    assert second.decisions == first.decisions
    assert second.findings == first.findings
    assert second.metrics.error_expected_db == first.metrics.error_expected_db


def test_recordings_are_left_as_they_were(three: tuple[Case, TuningResult]) -> None:
    case = make_case("left coaxial", "right coaxial", positions=2, processor=SIMPLE)
    before = case.responses.impulse.copy()
    _run(case)
    np.testing.assert_array_equal(case.responses.impulse, before)


def test_order_of_channels_does_not_matter(three: tuple[Case, TuningResult]) -> None:
    """The same car listed backwards: the same polarities up to a turn of everything, delays and gains nearly the same."""
    case, first = three
    order = list(range(len(case.responses.channels)))[::-1]
    build = case.build.model_copy(update={"channels": case.build.channels[::-1]})
    r = case.responses
    turned = replace(
        r,
        channels=r.channels[::-1],
        impulse=r.impulse[order],
        present=r.present[order],
        noise_power=r.noise_power[order],
        snr_db=r.snr_db[order],
        clock_drift_ppm=r.clock_drift_ppm[order],
    )
    second = tuning.run(build, turned)
    for name in ("left side", "right side"):
        assert second.metrics.error_after_db[name] == pytest.approx(first.metrics.error_after_db[name], abs=0.4)


def test_missing_recordings() -> None:
    """A pair's half missing at one position: that position counts for the other side only, and all is answered."""
    case = make_case(*TWO_WAY, positions=4, missing=[("left tweeter", "p2"), ("right midbass", "p3")], processor=SIMPLE)
    result = _run(case)
    _whole(case.build, result)
    left = result.sums["left side"].after_positions_db
    assert np.isnan(left[1]).all()
    assert np.isfinite(left[[0, 2, 3]]).all()
    assert np.isnan(result.sums["everything"].after_positions_db[[1, 2]]).all()


def test_too_little_is_refused() -> None:
    case = make_case(*TWO_WAY, positions=2, missing=[("left tweeter", "p1"), ("left midbass", "p2")])
    with pytest.raises(RefusedError, match=r"left side: there is no position .* missing: left .*Record them again"):
        _run(case)


def test_wrong_seat_is_refused() -> None:
    case = make_case("fullrange", tuning={"seat": "rear"})
    with pytest.raises(RefusedError, match=r'no recording was made at the seat "rear"'):
        _run(case)


def test_seat_follows_the_driving_side() -> None:
    build = make_case("fullrange").build
    seats = [replace_seat(build, name, y) for name, y in (("one", -0.4), ("two", 0.4))]
    plain = build.model_copy(update={"tuning": None, "seats": tuple(seats)})
    assert tuned_seat(plain) == "two"
    left = plain.model_copy(update={"vehicle": plain.vehicle.model_copy(update={"driving_side": "left"})})
    assert tuned_seat(left) == "one"
    assert tuned_seat(plain.model_copy(update={"seats": ()})) is None


def replace_seat(build: Build, name: str, y: float) -> Any:
    return build.seats[0].model_copy(update={"name": name, "head_m": (1.3, y, 1.0)})


def test_crossover_wishes_are_kept() -> None:
    wishes = [
        {
            "lower": "midbass",
            "upper": "tweeter",
            "frequency_hz": 3100.0,
            "family": "Butterworth",
            "slope_db_per_octave": 12,
        },
        {"lower": "subwoofer", "upper": "midbass", "frequency_hz": 75.0},
    ]
    case = make_case(
        *TWO_WAY,
        "subwoofer",
        positions=2,
        tuning={"crossovers": wishes},
        processor={**SIMPLE, "crossover_slopes_db_per_octave": [12, 24]},
    )
    settings = _run(case).settings
    for name in TWO_WAY[2:]:
        corner = next(item for item in settings.channel(name).filters if item.kind == "high-pass")
        assert (corner.frequency_hz, corner.family, corner.slope_db_per_octave) == (3100.0, "Butterworth", 12)
    for name in TWO_WAY[:2]:
        high, low = (next(i for i in settings.channel(name).filters if i.kind == k) for k in ("high-pass", "low-pass"))
        assert (low.frequency_hz, low.family) == (3100.0, "Butterworth")
        assert high.frequency_hz == 75.0


def test_wish_that_no_processor_can_keep() -> None:
    """Half the sample rate is no corner; the nearest there is stands in for it, and the tweeter is as safe as ever."""
    wish = {"lower": "midbass", "upper": "tweeter", "frequency_hz": 23999.9}
    settings = _run(make_case(*TWO_WAY, positions=2, processor=SIMPLE, tuning={"crossovers": [wish]})).settings
    json.dumps(settings.to_dict(), allow_nan=False)
    corners = [f.frequency_hz for row in settings.channels for f in row.filters if f.kind == "high-pass"]
    assert sorted(corners) == [50.0, 50.0, 21600.0, 21600.0]
    wish["frequency_hz"] = 300.0
    result = _run(make_case(*TWO_WAY, positions=2, processor=SIMPLE, tuning={"crossovers": [wish]}))
    high = next(f for f in result.settings.channel("left tweeter").filters if f.kind == "high-pass")
    low = next(f for f in result.settings.channel("left midbass").filters if f.kind == "low-pass")
    assert (high.frequency_hz, low.frequency_hz) == (2000.0, 2000.0), "both corners go together"
    assert "tuning.wish_raised" in {item.code for item in result.findings}
    reason = next(item.reason for item in result.decisions if "left tweeter" in item.about)
    assert "wishes 300 Hz" in reason


def test_all_pass_filters_only_where_they_help() -> None:
    """Two subwoofers that cancel over part of their band, whatever delay they share: an all-pass filter earns its place.

    In a system of one full-range loudspeaker nothing can cancel, so none is used.
    """
    case = make_case(
        "left coaxial", "right coaxial", "subwoofer", positions=2, processor={**SIMPLE, "all_pass_filters": 2}
    )
    frequency = np.fft.rfftfreq(case.responses.impulse.shape[-1], 1.0 / 48000.0)
    s = 1j * frequency / 55.0
    turned = case.responses.impulse.copy()
    turned[2] = np.fft.irfft(np.fft.rfft(turned[2]) * ((1 - s / 0.8 + s * s) / (1 + s / 0.8 + s * s)) ** 2)
    hard = Case(case.build, replace(case.responses, impulse=turned))
    bare = _run(Case(_without_all_pass(case.build), hard.responses))
    helped = _run(hard)
    used = [item for row in helped.settings.channels for item in row.filters if item.kind == "all-pass"]
    assert used
    assert all(item.frequency_hz <= 500.0 for item in used)
    lost = {n: float(np.mean((bare.sums[n].target_db - bare.sums[n].after_db) ** 2)) for n in bare.sums}
    now = {n: float(np.mean((helped.sums[n].target_db - helped.sums[n].after_db) ** 2)) for n in bare.sums}
    assert now["left side"] + now["right side"] < lost["left side"] + lost["right side"]
    alone = _run(make_case("fullrange", processor={**SIMPLE, "all_pass_filters": 2}))
    assert not any(item.kind == "all-pass" for item in alone.settings.channels[0].filters)


def _without_all_pass(build: Build) -> Build:
    assert build.processor is not None
    return build.model_copy(update={"processor": build.processor.model_copy(update={"all_pass_filters": 0})})


def test_interruption_passes_through() -> None:
    case = make_case(*TWO_WAY, positions=2, processor=SIMPLE)
    steps: list[str] = []

    def watch(what: str, share: float) -> None:
        assert 0.0 <= share <= 1.0
        steps.append(what)

    tuning.run(case.build, case.responses, watch)
    assert len(set(steps)) >= 5
    for stop in sorted(set(steps), key=steps.index):

        def interrupt(what: str, share: float, stop: str = stop) -> None:
            if what == stop:
                raise KeyboardInterrupt

        with pytest.raises(KeyboardInterrupt):
            tuning.run(case.build, case.responses, interrupt)


# Findings: each code of the catalogue that this stage makes, from a system that deserves it.


def _noise_tweeter() -> Case:
    """The right tweeter's first sound has nothing in common with the left one's."""
    case = make_case(*TWO_WAY, positions=4, processor=SIMPLE)
    rng = np.random.default_rng(0)
    impulse = case.responses.impulse.copy()
    fade = np.exp(-np.arange(impulse.shape[-1] - ZERO) / 400.0)
    impulse[3, :, ZERO:] = 0.2 * rng.normal(size=(4, len(fade))) * fade
    return Case(case.build, replace(case.responses, impulse=impulse))


def _comb() -> Case:
    """A reflection louder than the direct sound, the same everywhere."""
    case = make_case("fullrange", positions=2, processor=SIMPLE)
    impulse = np.zeros_like(case.responses.impulse)
    impulse[..., ZERO + 150] = 1.0
    impulse[..., ZERO + 150 + 34] = 1.25
    return Case(case.build, replace(case.responses, impulse=impulse))


def _two_seats() -> Case:
    case = make_case("fullrange", positions=3, processor=SIMPLE)
    places = case.build.microphone_positions
    moved = (*places[:2], places[2].model_copy(update={"seat": "rear"}))
    return Case(case.build.model_copy(update={"microphone_positions": moved}), case.responses)


def _late_bass() -> Case:
    """Two subwoofers half a period apart at 60 Hz: no delay of the way as a whole suits both sides."""
    case = make_case(
        *TWO_WAY, "left subwoofer", "right subwoofer", positions=2, processor={**SIMPLE, "delay_max_s": 0.0}
    )
    impulse = case.responses.impulse.copy()
    impulse[4:] = np.roll(impulse[4:], 420, axis=-1)
    return Case(case.build, replace(case.responses, impulse=impulse))


def _far_head() -> Case:
    """The head written down on the other side of the car from where the microphones stood."""
    case = make_case(*TWO_WAY, positions=2, processor=SIMPLE)
    x, y, z = case.build.seats[0].head_m
    seat = case.build.seats[0].model_copy(update={"head_m": (x, -y, z)})
    return Case(case.build.model_copy(update={"seats": (seat,)}), case.responses)


COARSE = {**SIMPLE, "peaking_gain_step_db": 6.0, "frequency_step_hz": 100.0, "gain_step_db": 3.0}


def _narrow() -> Case:
    """A midbass that may only play low beside a tweeter that would hand over lower still: no room between them."""
    speaker = {f"{side} midbass": {"safe_low_hz": 60.0, "safe_high_hz": 1500.0} for side in ("left", "right")}
    return make_case(*TWO_WAY, positions=2, processor=SIMPLE, speaker=speaker)


def _wish(lower: str, upper: str, frequency_hz: float) -> Case:
    wish = {"lower": lower, "upper": upper, "frequency_hz": frequency_hz}
    return make_case(*TWO_WAY, positions=2, processor=SIMPLE, tuning={"crossovers": [wish]})


FINDINGS: dict[str, Callable[[], Case]] = {
    "tuning.bass_compromise": _late_bass,
    "tuning.coarse_steps": lambda: make_case(*TWO_WAY, positions=2, processor=COARSE),
    "tuning.crossover_at_limit": _narrow,
    "tuning.delay_out_of_reach": lambda: make_case(*TWO_WAY, positions=2, processor={**SIMPLE, "delay_max_s": 0.0005}),
    "tuning.dip_left_alone": _comb,
    "tuning.few_positions": lambda: make_case("fullrange", positions=2, processor=SIMPLE),
    "tuning.gain_out_of_reach": lambda: make_case(
        *TWO_WAY, positions=2, gain={"left tweeter": 300.0}, processor={**SIMPLE, "gain_min_db": -12.0}
    ),
    "tuning.head_far": _far_head,
    "tuning.no_gain": lambda: make_case("fullrange", positions=2, processor={**SIMPLE, "peaking_filters": 0}),
    "tuning.no_place": lambda: make_case("fullrange", positions=2, processor=SIMPLE, placed=False),
    "tuning.other_seats": _two_seats,
    "tuning.out_of_reach_high": lambda: make_case("left midbass", "right midbass", positions=2, processor=SIMPLE),
    "tuning.out_of_reach_low": lambda: make_case(*TWO_WAY, positions=2, processor=SIMPLE),
    "tuning.pair_opposite": lambda: make_case(*TWO_WAY, positions=2, processor=SIMPLE, gain={"left tweeter": -1.0}),
    "tuning.polarity_unsure": _noise_tweeter,
    "tuning.safe_range_by_role": lambda: make_case("fullrange", positions=2, processor=SIMPLE),
    "tuning.sides_apart": lambda: make_case(*TWO_WAY, positions=2, processor={**SIMPLE, "delay_step_s": 0.001}),
    "tuning.wish_raised": lambda: _wish("midbass", "tweeter", 1500.0),
    "tuning.wish_unused": lambda: _wish("midrange", "tweeter", 3000.0),
}


def test_every_finding_of_the_catalogue_is_listed() -> None:
    assert {code for code in catalogue() if code.startswith("tuning.")} == set(FINDINGS)


@pytest.mark.parametrize("code", FINDINGS)
def test_finding(code: str) -> None:
    case = FINDINGS[code]()
    found = {item.code: item for item in _run(case).findings}
    assert code in found
    assert "{" not in found[code].message + found[code].remedy
    assert found[code].where


def test_a_sound_system_has_few_findings() -> None:
    """Maker's ranges, places, and six positions: nothing but what the loudspeakers' own reach deserves."""
    roles = {"midbass": (60.0, 5000.0), "tweeter": (1800.0, 20000.0), "subwoofer": (28.0, 200.0)}
    names = (*TWO_WAY, "subwoofer")
    speaker = {n: dict(zip(("safe_low_hz", "safe_high_hz"), roles[n.split()[-1]], strict=True)) for n in names}
    result = _run(make_case(*names, positions=6, speaker=speaker))
    cautions = {item.code for item in result.findings if item.severity != "note"}
    assert cautions == set()


def test_responses_type() -> None:
    assert isinstance(make_case("fullrange").responses, RecordedResponses)
