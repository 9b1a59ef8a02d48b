"""An invented car, its recordings and a tune, for the documents. Nothing in it was measured.

The responses are made up but physically plausible: a direct sound from each loudspeaker's place, a decaying cluster of
reflections, and the loudspeaker's own band. The curves follow from them and from real filters by the sums that a
listener hears. It is a plain tune by rule, no better than its few filters, and only the documents look at it.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build
from cabinwright.findings import Finding
from cabinwright.physics.filters import Filter, filter_sections, sections_response
from cabinwright.physics.response import RecordedResponses, Verdict
from cabinwright.stages.tuning.result import ChannelCurves, Decision, Metrics, SumCurves, TuningResult
from cabinwright.stages.tuning.settings import ChannelSettings, Settings
from cabinwright.stages.tuning.sides import SUM_NAMES, sounding_channels
from cabinwright.stages.tuning.verify.result import Cause, Comparison, VerificationResult

RATE_HZ = 48000.0
SOUND_M_S = 343.2
SAMPLES = 4096
HEAD_M = (1.28, 0.36, 0.98)
Array = NDArray[np.float64]

PARTS: dict[str, tuple[str, str, tuple[float, float, float], float, float]] = {
    # channel: role, side, place, low and high edge of the loudspeaker
    "left tweeter": ("tweeter", "left", (0.55, -0.62, 0.95), 1500.0, 22000.0),
    "right tweeter": ("tweeter", "right", (0.55, 0.62, 0.95), 1500.0, 22000.0),
    "left midrange": ("midrange", "left", (0.62, -0.60, 0.80), 180.0, 9000.0),
    "right midrange": ("midrange", "right", (0.62, 0.60, 0.80), 180.0, 9000.0),
    "left midbass": ("midbass", "left", (0.60, -0.72, 0.32), 55.0, 3000.0),
    "right midbass": ("midbass", "right", (0.60, 0.72, 0.32), 55.0, 3000.0),
    "subwoofer": ("subwoofer", "centre", (3.35, 0.05, 0.30), 25.0, 240.0),
}
CORNERS = {
    "tweeter": (3150.0, None),
    "midrange": (380.0, 3150.0),
    "midbass": (72.0, 380.0),
    "subwoofer": (24.0, 72.0),
}
SAFE_HZ = {
    "tweeter": (2000.0, 20000.0),
    "midrange": (200.0, 8000.0),
    "midbass": (50.0, 5000.0),
    "subwoofer": (20.0, 200.0),
}
BY_TAPE_DB = {"tweeter": -7.4, "midrange": -3.1, "midbass": -1.2, "subwoofer": -0.6}


def build(title: str = "Estate with hidden speakers (invented)", names: dict[str, str] | None = None) -> Build:
    """Seven channels at seven positions; ``names`` renames channels."""
    names = names or {}
    positions = positions_m()
    return Build.model_validate(
        {
            "schema": 1,
            "title": title,
            "vehicle": {"name": "Invented five-door estate", "driving_side": "right"},
            "seats": [{"name": "driver", "head_m": HEAD_M}],
            "processor": {},
            "speakers": [
                {"name": names.get(name, name), "role": role, "side": side, "position_m": place}
                for name, (role, side, place, _, _) in PARTS.items()
            ],
            "channels": [{"name": names.get(name, name), "speakers": [names.get(name, name)]} for name in PARTS],
            "microphone_positions": [{"name": name, "at_m": at, "seat": "driver"} for name, at in positions.items()],
            "tuning": {"timing": "loopback"},
        }
    )


def positions_m() -> dict[str, tuple[float, float, float]]:
    offsets = [(0, 0, 0), (0, -0.09, 0), (0, 0.09, 0), (0.1, 0, 0), (-0.1, 0, 0), (0, 0, 0.07), (0.06, 0.06, -0.06)]
    return {f"p{k + 1}": (HEAD_M[0] + dx, HEAD_M[1] + dy, HEAD_M[2] + dz) for k, (dx, dy, dz) in enumerate(offsets)}


def impulses() -> NDArray[np.float64]:
    """(channels, positions, samples), time zero at the first sample."""
    rng = np.random.default_rng(7)
    spots = np.array(list(positions_m().values()))
    frequency = np.fft.rfftfreq(SAMPLES, 1.0 / RATE_HZ)
    out = np.zeros((len(PARTS), len(spots), SAMPLES))
    for c, (_, _, place, low, high) in enumerate(PARTS.values()):
        mirrors = np.array(place) + rng.normal(scale=1.1, size=(24, 3))
        strengths = 0.3 * rng.normal(size=24)
        band = 1.0 / (1.0 + (low / np.maximum(frequency, 1.0)) ** 4) ** 0.5 / (1.0 + (frequency / high) ** 4) ** 0.5
        phase = -np.arctan2((low / np.maximum(frequency, 1.0)) * -1.41, 1.0) - np.arctan(frequency / high)
        direct = np.linalg.norm(np.array(place) - spots, axis=1)
        bounced = np.linalg.norm(mirrors[:, None] - spots[None], axis=2)
        bounced += np.maximum(0.0, 0.2 - (bounced - direct).min(axis=1))[:, None]  # no reflection is there first
        for p in range(len(spots)):
            away = np.concatenate([direct[p : p + 1], bounced[:, p]])
            level = np.concatenate([[1.0], strengths]) / away * np.exp(-0.25 * away)
            turn = np.exp(-2j * np.pi * frequency[:, None] * away / SOUND_M_S)
            out[c, p] = np.fft.irfft((turn @ level) * band * np.exp(1j * phase), n=SAMPLES)
    out[list(PARTS).index("left midbass")] *= -1.0  # wired the wrong way round
    return out


def bands_hz() -> Array:
    return np.asarray(1000.0 * 2.0 ** (np.arange(-67, 52) / 12.0))


def house_db(frequency_hz: Array) -> Array:
    return np.asarray(np.interp(np.log2(frequency_hz), np.log2([20, 60, 160, 1000, 4000, 20000]), [8, 8, 1, 0, 0, -6]))


def averaged(spectrum: NDArray[np.complex128], frequency: Array, centres: Array) -> Array:
    """Level in bands of the last axis."""
    power = np.abs(spectrum) ** 2
    octaves = np.log2(np.maximum(frequency, 1.0))
    rows = [power[..., np.abs(octaves - np.log2(f)) < max(1 / 24, 3.5 / f)].mean(-1) for f in centres]
    return np.asarray(10.0 * np.log10(np.maximum(np.stack(rows, axis=-1), 1e-30)))


def _lack_db(name: str, level: Array, wanted: Array, centres: Array) -> float:
    """How far a channel lies below what is wanted in its own band."""
    low, high = CORNERS[PARTS[name][0]]
    inside = (centres > low) & (centres < (high or 16000.0))
    return float(np.mean((wanted - level)[inside]))


def _filters(name: str, level: Array, wanted: Array, centres: Array) -> tuple[Filter, ...]:
    role, _, _, _, _ = PARTS[name]
    low, high = CORNERS[role]
    rows = []
    if low:
        rows.append(Filter("high-pass", low, family="Linkwitz-Riley", slope_db_per_octave=24,
                           reason="protects the loudspeaker and hands over to the one below"))  # fmt: skip
    if high:
        rows.append(Filter("low-pass", high, family="Linkwitz-Riley", slope_db_per_octave=24,
                           reason="hands over to the one above"))  # fmt: skip
    inside = (centres > (low or 20.0) * 0.8) & (centres < (high or 16000.0) * 1.2)
    rest = np.where(inside, level - wanted, 0.0)
    rest[inside] -= rest[inside].mean()
    smooth = np.convolve(np.pad(rest, 2, mode="edge"), np.ones(5) / 5, mode="valid")
    for _ in range(6):
        k = int(np.argmax(np.abs(smooth)))
        gain = float(np.clip(round(-smooth[k], 1), -12.0, 5.0))
        if abs(gain) < 0.8:
            break
        row = Filter("peaking", float(round(centres[k])), gain_db=gain, q=2.4,
                     reason=f"a {'peak' if gain < 0 else 'trough'} at every position")  # fmt: skip
        rows.append(row)
        bank = filter_sections(row, sample_rate_hz=RATE_HZ)
        shape = sections_response(bank, frequency_hz=centres, sample_rate_hz=RATE_HZ)
        smooth = np.where(inside, smooth + 20.0 * np.log10(np.abs(shape)), 0.0)
    return tuple(rows)


def responses(names: dict[str, str] | None = None) -> RecordedResponses:
    """The recordings of the invented car, one of them left out."""
    names = names or {}
    data = impulses()
    channels = tuple(names.get(name, name) for name in PARTS)
    positions = tuple(positions_m())
    verdicts = []
    for c, channel in enumerate(channels):
        for p, position in enumerate(positions):
            bad = (c, p) == (2, 3)
            snr = 34.0 + 3.0 * math.sin(c * 2.0 + p)
            verdicts.append(
                Verdict(
                    channel,
                    position,
                    f"recordings/channel-{c + 1}_{position}.flac",
                    not bad,
                    "0.8 % of its samples are clipped; lower the microphone's gain and record it again"
                    if bad
                    else "clean",
                    {"snr_low_db": snr, "clock_drift_ppm": 3.2, "arrival_error_s": 2.1e-5 * math.sin(c + p)},
                )
            )
    shape = data.shape[:2]
    present = np.ones(shape, dtype=bool)
    present[2, 3] = False
    data[2, 3] = 0.0
    third = np.asarray(1000.0 * 10.0 ** (np.arange(-17, 14) / 10.0))
    return RecordedResponses(
        RATE_HZ, channels, positions, data, 0, present, third, np.full((*shape, len(third)), 1e-8),
        np.full((*shape, len(third)), 35.0), np.full(shape, 3.2), True, tuple(verdicts), (),
    )  # fmt: skip


def tune(names: dict[str, str] | None = None) -> TuningResult:
    """A tune of the invented car: real filters, sums as a listener hears them."""
    names = names or {}
    car = build(names=names)
    recorded = responses(names)
    centres = bands_hz()
    frequency = np.fft.rfftfreq(4 * SAMPLES, 1.0 / RATE_HZ)
    spectra = np.fft.rfft(recorded.impulse, n=4 * SAMPLES, axis=-1)
    raw = averaged(spectra, frequency, centres)
    raw[~recorded.present] = np.nan
    arrival = np.array([np.linalg.norm(np.array(place) - HEAD_M) / SOUND_M_S for _, _, place, _, _ in PARTS.values()])
    wanted = house_db(centres)
    lack = [_lack_db(name, np.nanmean(raw[c], axis=0), wanted, centres) for c, name in enumerate(PARTS)]
    rows, plain = [], []
    for c, (name, (role, _, _, _, _)) in enumerate(PARTS.items()):
        delay = round((arrival.max() - arrival[c]) * RATE_HZ) / RATE_HZ
        filters = _filters(name, np.nanmean(raw[c], axis=0), wanted, centres)
        polarity = "inverted" if name == "left midbass" else "normal"
        label = names.get(name, name)
        rows.append(ChannelSettings(label, round(lack[c] - max(lack), 1), polarity, delay, filters))  # type: ignore[arg-type]
        plain.append(
            ChannelSettings(label, BY_TAPE_DB[role], "normal", delay, filters[: 2 if role != "tweeter" else 1])
        )
    after, before = Settings(RATE_HZ, tuple(rows)), Settings(RATE_HZ, tuple(plain))
    inside = np.minimum(frequency, 23990.0)
    bank = {
        which: np.stack([row.response(inside, sample_rate_hz=RATE_HZ) for row in which_settings.channels])
        for which, which_settings in (("after", after), ("before", before))
    }
    whole = recorded.present.all(axis=0)
    sums = {}
    for sum_name in SUM_NAMES:
        members = sounding_channels(car, sum_name)
        at = [recorded.channels.index(item) for item in members]
        heard = {k: averaged((h[at][:, None] * spectra[at]).sum(0), frequency, centres) for k, h in bank.items()}
        heard["after"][~whole] = np.nan
        mean = {k: 10.0 * np.log10(np.mean(10.0 ** (v[whole] / 10.0), axis=0)) for k, v in heard.items()}
        if sum_name != SUM_NAMES[1]:  # both sides share one level
            shift = float(np.mean((mean["after"] - wanted)[30:100]))
        shown = mean["before"] - float(np.mean((mean["before"] - mean["after"])[30:100]))
        sums[sum_name] = SumCurves(sum_name, members, wanted + shift, shown, mean["after"], heard["after"])
    curves = {}
    start = -0.004
    for c, label in enumerate(recorded.channels):
        gain = 20.0 * np.log10(np.abs(after.channels[c].response(centres, sample_rate_hz=RATE_HZ)))
        mean_raw = np.nanmean(raw[c], axis=0)
        processed = np.fft.irfft(np.fft.rfft(recorded.impulse[c, 0], n=2 * SAMPLES) * after.channels[c].response(
            np.minimum(np.fft.rfftfreq(2 * SAMPLES, 1.0 / RATE_HZ), 23990.0), sample_rate_hz=RATE_HZ))  # fmt: skip
        first = round((arrival.max() + start) * RATE_HZ)
        curves[label] = ChannelCurves(
            label, mean_raw, raw[c], gain, mean_raw + gain, *_safe(c), "common practice for its role, no source",
            float(arrival[c]), processed[first : first + 1440],
        )  # fmt: skip
    difference = sums["left side"].after_db - sums["right side"].after_db
    lag = np.where(centres < 150.0, np.nan, 2e-5 * np.sin(np.log2(centres) * 3.0) + 8e-6)
    rms = {k: float(np.sqrt(np.mean((s.after_db - s.target_db)[12:110] ** 2))) for k, s in sums.items()}
    was = {k: float(np.sqrt(np.mean((s.before_db - s.target_db)[12:110] ** 2))) for k, s in sums.items()}
    metrics = Metrics(
        error_before_db=was,
        error_after_db=rms,
        error_expected_db={k: v + 0.6 for k, v in rms.items()},
        side_difference_db=float(np.sqrt(np.mean(difference[44:104] ** 2))),
        arrival_difference_s=1.1e-5,
        coherent_gain_lost_db=0.2,
        headroom_db={row.name: 0.8 + 0.7 * k for k, row in enumerate(after.channels)},
        error_single_place_db={k: 1.4 * v + 0.6 for k, v in rms.items()},
        side_difference_before_db=3.4,
        arrival_difference_before_s=2.6e-4,
    )
    return TuningResult(
        after, recorded.positions, "p1", centres, wanted, "our own default curve", sums, curves, RATE_HZ, start,
        difference, lag, metrics, decisions(names), findings(names), before,
        sums["left side"].before_db - sums["right side"].before_db, SOUND_M_S,
    )  # fmt: skip


def _safe(c: int) -> tuple[float, float]:
    role = list(PARTS.values())[c][0]
    return SAFE_HZ[role]


def decisions(names: dict[str, str]) -> tuple[Decision, ...]:
    def of(name: str) -> str:
        return names.get(name, name)

    rows = [
        (
            f"{of('left midrange')} and {of('left tweeter')}",
            "crossover at 3150 Hz, Linkwitz-Riley 24 dB per octave",
            "both play safely there, and over the positions they add within 0.4 dB of the best they could",
        ),
        (
            of("left midbass"),
            "polarity inverted",
            f"between 180 and 420 Hz it and the {of('left midrange')} add 3.1 dB better",
        ),
        (of("subwoofer"), "no delay", "it is the last to arrive; every other channel waits for it"),
        (
            of("right midbass"),
            "the dip at 163 Hz is left alone",
            "it moves by a third of an octave from position to position; a filter would mend one and harm the others",
        ),
        (
            "all channels",
            "6 peaking filters at most",
            "with more, the error at positions left out of the fit grew from 1.9 to 2.2 dB",
        ),
    ]
    return tuple(Decision(about, choice, reason) for about, choice, reason in rows)


def findings(names: dict[str, str]) -> tuple[Finding, ...]:
    """One of each severity."""
    tweeter, midrange, bass = (names.get(k, k) for k in ("left tweeter", "left midrange", "right midbass"))
    return (
        Finding(
            "invented-note",
            "note",
            bass,
            f"{bass}: a dip at 163 Hz moves from place to place and was left alone",
            remedy="Nothing to do",
            source="common practice, no source",
        ),
        Finding(
            "invented-caution",
            "caution",
            midrange,
            f"{midrange} at p4: the recording is clipped and was left out",
            value=0.8,
            limit=0.0,
            unit="%",
            remedy="Lower the microphone's gain and record that pair again",
            source="common practice, no source",
        ),
        Finding(
            "invented-stop",
            "stop",
            tweeter,
            f"{tweeter}: no safe range is stated and its crossover sits at the edge of common practice",
            value=3150.0,
            limit=math.inf,
            unit="Hz",
            remedy="Ask its maker for the lowest frequency at full level before any loud listening",
            source="common practice, no source",
        ),
    )


def verification(*, passed: bool = False) -> VerificationResult:
    """A verification of the invented car: one channel 3 dB too low, or all as it should be."""
    third = np.asarray(1000.0 * 10.0 ** (np.arange(-17, 14) / 10.0))
    predicted = house_db(third) - 20.0
    bump = 0.0 if passed else -4.2 * np.exp(-((np.log2(third / 160.0)) ** 2))
    ripple = 0.25 * np.sin(np.arange(len(third)))
    tolerance = np.full(len(third), 0.9)
    tolerance[:2] = np.nan
    comparisons = tuple(
        Comparison(
            name,
            members,
            ("p1", "p2", "p5"),
            predicted + ripple + (bump if name != "right side" else 0.0),
            predicted,
            predicted + (bump if name != "right side" else 0.0),
            tolerance,
            np.tile(predicted + bump, (3, 1)),
            np.tile(predicted, (3, 1)),
        )
        for name, members in (("left side", ("left midbass", "subwoofer")), ("right side", ("right midbass",)))
    )
    cause = Cause(
        "gain",
        ("left midbass",),
        -3.1,
        "dB",
        "the gain of left midbass is -3.1 dB off",
        "Set it to -9.7 dB, and check its amplifier's level.",
        "likely",
    )
    rival = Cause(
        "polarity",
        ("left midbass",),
        None,
        "",
        "the polarity of left midbass is the opposite of the settings",
        "Set it to inverted, and check the speaker's plus and minus.",
        "one of several",
    )
    return VerificationResult(
        passed=passed,
        summary="Pass: the recordings agree with the prediction within what noise and repeatability allow."
        if passed
        else "Likeliest cause: the gain of left midbass is -3.1 dB off.",
        level_db=-2.4,
        latency_s=0.00213,
        position_delay_s={"p1": 0.00213, "p2": 0.00215, "p5": math.nan},
        band_centres_hz=third,
        comparisons=comparisons,
        causes=() if passed else (cause,),
        alternatives=() if passed else ((rival,),),
        runner_up=() if passed else (rival,),
        runner_up_behind=math.inf if passed else 2.1,
        explained_share=1.0 if passed else 0.93,
        record_next=None if passed else "left midbass",
        not_checked=("right tweeter",),
    )


def single() -> tuple[Build, TuningResult, RecordedResponses]:
    """The smallest system: one channel, one position, no filters, hence no sides and nothing left out in turn."""
    name, position = "left midrange", "p1"
    whole_car, whole, recorded = build(), tune(), responses()
    car = whole_car.model_copy(
        update={
            "channels": whole_car.channels[2:3],
            "speakers": whole_car.speakers[2:3],
            "microphone_positions": whole_car.microphone_positions[:1],
        }
    )
    channel = ChannelSettings(name, 0.0, "normal", 0.0, ())
    curves = replace(whole.channels[name], raw_positions_db=whole.channels[name].raw_positions_db[:1])
    one = replace(
        whole.sums["everything"],
        channels=(name,),
        after_positions_db=whole.sums["everything"].after_positions_db[:1],
    )
    nothing = np.full(len(whole.band_centres_hz), np.nan)
    result = replace(
        whole,
        settings=Settings(RATE_HZ, (channel,)),
        positions=(position,),
        sums={"everything": one},
        channels={name: curves},
        side_level_difference_db=nothing,
        side_arrival_difference_s=nothing,
        metrics=Metrics(
            error_before_db={"everything": 4.0},
            error_after_db={"everything": 1.5},
            error_expected_db={"everything": math.nan},
            side_difference_db=math.nan,
            arrival_difference_s=math.nan,
            coherent_gain_lost_db=math.nan,
            headroom_db={},
        ),
        decisions=(),
        findings=(),
        before=None,
        side_level_difference_before_db=None,
    )
    small = replace(
        recorded,
        channels=(name,),
        positions=(position,),
        impulse=recorded.impulse[2:3, :1],
        present=recorded.present[2:3, :1],
        noise_power=recorded.noise_power[2:3, :1],
        snr_db=recorded.snr_db[2:3, :1],
        clock_drift_ppm=recorded.clock_drift_ppm[2:3, :1],
        verdicts=(),
    )
    return car, result, small


HOSTILE = "<script>alert(1)</script>\"'&amp; <b>"
HOSTILE_NAMES = {
    "left tweeter": '"><img src=x onerror=alert(1)>',
    "right tweeter": r"$\frac{1}{0}$ {{ 7 * 7 }} {% raw %}",
    "left midrange": "左中音 ⟨&⟩ v2.123456 id=\"a\" href='#a'",
    "right midrange": "]]></svg></style><!-- x",
}
"""Names that a build may hold and that must come out as words."""
