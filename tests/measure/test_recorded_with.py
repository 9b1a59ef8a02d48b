"""A filter that was on while recording: what it took is given back, up to its limit, and the tune is that of the bare car.

The filter that the recordings went through is SciPy's own (two Butterworth halves in series, run in the time domain).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt

from cabinwright.build.codec import parse
from cabinwright.build.document import Build, Recording
from cabinwright.measure import recorded_with
from cabinwright.measure.reader import read_recordings
from cabinwright.measure.recorded_with import undo_filters
from cabinwright.measure.signal import make_sweep
from cabinwright.physics.response import RecordedResponses
from cabinwright.stages import tuning
from cabinwright.stages.tuning.result import TuningResult
from cabinwright.stages.tuning.settings import Settings
from cabinwright.stages.tuning.verify import verify

from .rig import PLACES, RATE, SPEAKERS, Rig, document, make, record

Array = NDArray[np.float64]
HALF = butter(2, 2000.0, "highpass", fs=RATE, output="sos")
LR24 = np.vstack([HALF, HALF])
TOLD = '{ kind = "high-pass", frequency_hz = "2 kHz" }'


def told(timing: str, filters: str = TOLD, channels: tuple[str, ...] = ("left tweeter", "right tweeter")) -> Build:
    """The little car whose build names what was on."""
    text = document(timing)
    for name in channels:
        text = text.replace(f'speakers = ["{name}"]', f'speakers = ["{name}"]\nrecorded_with = {filters}', 1)
    return parse(text)


@pytest.fixture(scope="module")
def bare(tmp_path_factory: pytest.TempPathFactory) -> Rig:
    return make(tmp_path_factory.mktemp("bare") / "car", "loopback")


@pytest.fixture(scope="module")
def filtered(tmp_path_factory: pytest.TempPathFactory) -> Rig:
    processor = {"left tweeter": LR24, "right tweeter": LR24}
    return make(tmp_path_factory.mktemp("filtered") / "car", "loopback", processor=processor)


Tuned = tuple[RecordedResponses, TuningResult]


def tuned(build: Build, rig: Rig) -> Tuned:
    recorded = read_recordings(build, rig.folder)
    return recorded, tuning.run(build, recorded, lambda _what, _share: None)


@pytest.fixture(scope="module")
def plain(bare: Rig) -> Tuned:
    return tuned(bare.build, bare)


@pytest.fixture(scope="module")
def named(filtered: Rig) -> Tuned:
    return tuned(told("loopback"), filtered)


@pytest.fixture(scope="module")
def unnamed(filtered: Rig) -> Tuned:
    return tuned(filtered.build, filtered)


def level_db(responses: RecordedResponses, low_hz: float, high_hz: float) -> Array:
    """Level of both tweeters at every position in one band."""
    spectrum = np.fft.rfft(responses.impulse[:2], 65536)
    frequency = np.fft.rfftfreq(65536, 1.0 / RATE)
    inside = (frequency > low_hz) & (frequency < high_hz)
    return np.asarray(10.0 * np.log10(np.mean(np.abs(spectrum[..., inside]) ** 2, axis=-1)))


@pytest.mark.parametrize("band", [(1000.0, 1250.0), (1250.0, 2000.0), (2000.0, 4000.0), (4000.0, 18000.0)])
def test_the_response_is_that_without_the_filter(
    plain: Tuned, named: Tuned, unnamed: Tuned, band: tuple[float, float]
) -> None:
    true, got, untold = (level_db(recorded, *band) for recorded, _ in (plain, named, unnamed))
    assert np.abs(got - true).max() < 0.1
    if band[1] <= 4000.0:  # what the build did not say stays in, and this measure sees it
        assert np.abs(untold - true).min() > 0.4


def test_the_tune_is_that_without_the_filter(plain: Tuned, named: Tuned, unnamed: Tuned) -> None:
    def corners(result: TuningResult) -> dict[str, list[tuple[str, int | None]]]:
        rows = {item.name: item.filters for item in result.settings.channels}
        return {n: [(f.kind, f.slope_db_per_octave) for f in filters if f.family] for n, filters in rows.items()}

    (_, one), (_, two), (_, untold) = plain, named, unnamed
    assert corners(one) == corners(two) != corners(untold)
    for name, error in one.metrics.error_after_db.items():
        assert two.metrics.error_after_db[name] == pytest.approx(error, abs=0.05)
    for a, b in zip(one.settings.channels, two.settings.channels, strict=True):
        assert a.polarity == b.polarity
        assert b.gain_db == pytest.approx(a.gain_db, abs=1.0)
        assert b.delay_s == pytest.approx(a.delay_s, abs=3e-5)


def test_it_is_said_and_verifying_leaves_it_alone(filtered: Rig, named: Tuned) -> None:
    build = told("loopback")
    left, right = named[0].findings
    assert left.code == right.code == "recording-filter-undone"
    assert "left tweeter: recorded with the high-pass at 2000 Hz (Linkwitz-Riley, 24 dB per octave)" in left.message
    second = build.model_copy(update={"verification_recordings": build.recordings})
    plain = filtered.build.model_copy(update={"verification_recordings": build.recordings})
    got = read_recordings(second, filtered.folder, kind="verification")
    assert np.array_equal(got.impulse, read_recordings(plain, filtered.folder, kind="verification").impulse)


def second_round(rig: Rig, settings: Settings) -> Build:
    """Both sides at two positions, recorded through the settings: filters by SciPy, delays by a turn of phase."""
    rng = np.random.default_rng(9)
    played = make_sweep(rig.build).samples()
    frequency = np.fft.rfftfreq(2 * 14400, 1.0 / RATE)
    rows = []
    for side in ("left", "right"):
        for p, place in enumerate(list(PLACES)[:2]):
            total = np.zeros(14400)
            for c, (name, speaker) in enumerate(SPEAKERS.items()):
                row = settings.channel(name)
                sign = -1.0 if row.polarity == "inverted" else 1.0
                bare = np.pad(rig.truth[c, p], (0, 4800))
                one = sign * 10.0 ** (row.gain_db / 20.0) * sosfilt(row.sections(RATE), bare)
                late = np.fft.rfft(one, 2 * 14400) * np.exp(-2j * np.pi * frequency * row.delay_s)
                total += np.fft.irfft(late)[:14400] * (speaker[1] in (side, "centre"))
            file = f"recordings/again-{side}-{place}.wav"
            soundfile.write(rig.folder / file, record(played, total, rng), RATE, subtype="PCM_24")
            rows.append(Recording(channel=f"{side} side", position=place, kind="sweep", file=file))
    return rig.build.model_copy(update={"verification_recordings": tuple(rows)})


def test_the_hand_over_comes_out_as_predicted_if_the_filter_was_named(filtered: Rig, named: Tuned) -> None:
    assert verified(told("loopback"), filtered, named).startswith("Pass")


def test_it_does_not_if_the_filter_was_not_named(filtered: Rig, unnamed: Tuned) -> None:
    summary = verified(filtered.build, filtered, unnamed)
    assert not summary.startswith("Pass")
    assert "high-pass" in summary


def verified(build: Build, rig: Rig, tune: Tuned) -> str:
    recorded, result = tune
    again = second_round(Rig(rig.folder, build, rig.truth), result.settings)
    second = read_recordings(again, rig.folder, kind="verification")
    return verify(again, recorded, result.settings, second).summary


def click(build: Build, sections: Array, *, late_s: float = 0.003) -> RecordedResponses:
    """Every channel at every position a decaying noise that went through ``sections``."""
    shape = (len(build.channels), len(build.microphone_positions))
    count, zero = 16384, 1024
    rng = np.random.default_rng(5)
    start = zero + round(late_s * RATE)
    true = np.zeros((*shape, count))
    fall = np.exp(-np.arange(6000) / 600.0)
    true[..., start : start + 6000] = rng.normal(size=(*shape, 6000)) * fall
    return RecordedResponses(
        sample_rate_hz=RATE,
        channels=tuple(item.name for item in build.channels),
        positions=tuple(item.name for item in build.microphone_positions),
        impulse=np.asarray(sosfilt(sections, true)) if len(sections) else true,
        zero_sample=zero,
        present=np.ones(shape, dtype=np.bool_),
        band_centres_hz=1000.0 * 10.0 ** (np.arange(-17, 14) / 10.0),
        noise_power=np.ones((*shape, 31)),
        snr_db=np.full((*shape, 31), 40.0),
        clock_drift_ppm=np.zeros(shape),
        absolute_time=True,
    )


FILTERS = [
    ('{ kind = "high-pass", frequency_hz = 2000, family = "Butterworth", slope_db_per_octave = 18 }',
     butter(3, 2000.0, "highpass", fs=RATE, output="sos")),
    ('{ kind = "low-pass", frequency_hz = 9000, family = "Butterworth", slope_db_per_octave = 6 }',
     butter(1, 9000.0, "lowpass", fs=RATE, output="sos")),
    (f'[{TOLD}, {{ kind = "low-pass", frequency_hz = 12000, family = "Butterworth", slope_db_per_octave = 12 }}]',
     np.vstack([LR24, butter(2, 12000.0, "lowpass", fs=RATE, output="sos")])),
]  # fmt: skip


@pytest.mark.parametrize(("filters", "sections"), FILTERS)
def test_every_kind_is_taken_out_in_time_as_well(filters: str, sections: Array) -> None:
    """Sample for sample, as far as the band goes in which the filter leaves enough."""
    build = told("loopback", filters)
    true = click(build, np.zeros((0, 6)))
    got = undo_filters(build, click(build, sections))
    size = got.impulse.shape[-1]
    frequency = np.fft.rfftfreq(size, 1.0 / RATE)
    use = (frequency > 1000.0) & (frequency < 15000.0)
    a, b = (np.fft.irfft(np.where(use, np.fft.rfft(item.impulse[0]), 0.0), size) for item in (true, got))
    assert np.sqrt(np.mean((a - b) ** 2) / np.mean(a**2)) < 1e-3
    assert np.array_equal(got.impulse[2], click(build, sections).impulse[2])  # a channel without filters


def test_the_gain_is_limited_and_the_noise_goes_with_it(monkeypatch: pytest.MonkeyPatch) -> None:
    build = told("loopback")
    got = undo_filters(build, click(build, LR24))
    level = 10.0 * np.log10(got.noise_power[0, 0])
    assert level[:15] == pytest.approx(30.0, abs=0.01)  # up to 500 Hz, where LR24 at 2 kHz takes some 48 dB
    assert level[20] == pytest.approx(2.0 * 10.0 * np.log10(1.0 + (2000.0 / 1995.3) ** 4), abs=0.3)
    assert level[-1] == pytest.approx(0.0, abs=0.01)
    assert got.noise_power[2, 0] == pytest.approx(1.0)
    assert np.array_equal(got.snr_db, click(build, LR24).snr_db)
    monkeypatch.setattr(recorded_with, "MOST_DB", 10.0)
    less = undo_filters(build, click(build, LR24))
    assert 10.0 * np.log10(less.noise_power[0, 0, 0]) == pytest.approx(10.0, abs=0.01)


def test_nothing_wraps_round() -> None:
    """Sound up to the very end of what is kept leaves nothing at its beginning, and silence stays silence."""
    build = told("loopback")
    late = click(build, LR24)
    moved = replace(late, impulse=np.roll(late.impulse, 10000, axis=-1))
    got = undo_filters(build, moved).impulse[0, 0]
    assert np.abs(got[:6000]).max() < 1e-3 * np.abs(got).max()
    silent = replace(late, impulse=np.zeros_like(late.impulse))
    assert not undo_filters(build, silent).impulse.any()


def test_without_filters_nothing_changes() -> None:
    build = parse(document("loopback"))
    responses = click(build, LR24)
    assert undo_filters(build, responses) is responses
