"""Equal loudness over the whole way: noise in volts, through inputs, trims, routes and crossovers, to an independent meter.

Rendered by SciPy alone (Butterworth sections twice are a Linkwitz-Riley, Linkwitz 1976) and measured by pyloudnorm; of ours are
only the figures that a person sets: sensitivities, trims and routes. Several loudspeakers are as loud as their powers together.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pyloudnorm
import pytest
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt

from cabinwright.handover.json_text import plain
from cabinwright.physics.filters import Filter
from cabinwright.stages import signal
from cabinwright.stages.tuning.result import TuningResult
from cabinwright.stages.tuning.settings import ChannelSettings, Settings
from stages.chains import chained

Real = NDArray[np.float64]

RATE_HZ = 48_000
SUB_HZ, CROSS_HZ = 80.0, 2500.0
GAINS_DB = {"midbass": -3.0, "tweeter": -8.0, "subwoofer": -1.0}
QUIET = """routes = [
  {channel = "left midbass", left_db = -3}, {channel = "right midbass", right_db = -3},
  {channel = "left tweeter", left_db = -9}, {channel = "right tweeter", right_db = -9},
]
"""
ONE_SIDE = """routes = [
  {channel = "left midbass", left_db = -6, right_db = -6}, {channel = "left tweeter", left_db = -6, right_db = -6},
  {channel = "subwoofer", left_db = -3, right_db = -3},
]
"""
LEVELS = {"radio": 0.20, "phone": 0.06, "player": 0.12}  #: rms of each side against the source's full scale


def role(channel: str) -> str:
    return channel.split()[-1]


def tune() -> TuningResult:
    """Crossovers and gains of every channel; only its settings are looked at."""

    def cut(kind: str, hertz: float) -> Filter:
        return Filter(cast(Any, kind), hertz, family="Linkwitz-Riley", slope_db_per_octave=24)

    cuts = {
        "subwoofer": (cut("low-pass", SUB_HZ),),
        "midbass": (cut("high-pass", SUB_HZ), cut("low-pass", CROSS_HZ)),
        "tweeter": (cut("high-pass", CROSS_HZ),),
    }
    names = [f"{side} {kind}" for side in ("left", "right") for kind in ("midbass", "tweeter")] + ["subwoofer"]
    rows = tuple(ChannelSettings(name, GAINS_DB[role(name)], "normal", 0.0, cuts[role(name)]) for name in names)
    return cast(TuningResult, SimpleNamespace(settings=Settings(float(RATE_HZ), rows)))


def pink(*, seed: int, rms: float) -> Real:
    """Two sides that differ, each with as much power in every octave, 20 Hz to 18 kHz, short of full scale."""
    spectrum = np.fft.rfft(np.random.default_rng(seed).standard_normal((8 * RATE_HZ, 2)), axis=0)
    f = np.fft.rfftfreq(8 * RATE_HZ, 1.0 / RATE_HZ)
    shape = np.where((f >= 20.0) & (f <= 18_000.0), np.maximum(f, 1.0) ** -0.5, 0.0)
    data = np.fft.irfft(spectrum * shape[:, None], axis=0)
    return np.asarray(rms * data / np.sqrt(np.mean(data**2)))


def filtered(data: Real, channel: str) -> Real:
    """A channel's crossover and gain."""
    kind, out = role(channel), data
    edges = {
        "subwoofer": [("low", SUB_HZ)],
        "midbass": [("high", SUB_HZ), ("low", CROSS_HZ)],
        "tweeter": [("high", CROSS_HZ)],
    }
    for side, hertz in edges[kind]:
        sections = butter(2, hertz, side, fs=RATE_HZ, output="sos")
        out = sosfilt(sections, sosfilt(sections, out))
    return np.asarray(out * 10.0 ** (GAINS_DB[kind] / 20.0))


def heard_lufs(preset: dict[str, Any], source: Real, into: float, *, trim_db: float) -> float:
    """What pyloudnorm makes of all loudspeakers together. ``into``: volts at the input over its sensitivity."""
    inside = source * into * 10.0 ** (trim_db / 20.0)
    meter, power = pyloudnorm.Meter(RATE_HZ, filter_class="DeMan"), 0.0
    for row in preset["routes"]:
        shares = [0.0 if row[key] is None else 10.0 ** (row[key] / 20.0) for key in ("left_db", "right_db")]
        fed = filtered(inside @ np.array(shares), row["channel"])
        power += 10.0 ** (meter.integrated_loudness(fed) / 10.0)
    return float(10.0 * np.log10(power))


def test_every_preset_is_as_loud_at_the_loudspeakers() -> None:
    played = {name: pink(seed=k, rms=rms) for k, (name, rms) in enumerate(LEVELS.items())}
    meter = pyloudnorm.Meter(RATE_HZ, filter_class="DeMan")
    gone = tuple((f"loudness_lufs = {value}\n", "") for value in (-16, -14, -10))
    routed = (
        ('source = "phone"\nalso', f'source = "phone"\n{QUIET}also'),
        ('source = "player"\nalso', f'source = "player"\n{ONE_SIDE}also'),
    )
    build = chained(replace=(*gone, *routed))
    result = signal.run(
        build,
        tuned=tune(),
        programmes={name: float(meter.integrated_loudness(data)) for name, data in played.items()},
    )
    assert result is not None
    plan = plain(result.to_dict())
    sense = {name: row["sensitivity_v"] for name, row in plan["inputs"].items()}
    # By hand: outputs of 100 ohm into inputs of 10 kilohm; samples need no volts.
    into = {
        "radio": 4.0 * 10_000.0 / 10_100.0 / sense["in 1"],
        "player": 2.0 * 10_000.0 / 10_100.0 / sense["in 3"],
        "phone": 1.0,
    }
    heard, untrimmed = [], []
    for preset in plan["presets"].values():
        source = preset["source"]
        trim = preset["trim_db"]
        heard.append(heard_lufs(preset, played[source], into[source], trim_db=trim) - preset["left_over_db"])
        untrimmed.append(heard_lufs(preset, played[source], into[source], trim_db=0.0))
    assert np.ptp(heard) < 0.25  # third octaves and hard ends of safe ranges against the real thing
    assert np.ptp(untrimmed) > 3.0
    assert plan["presets"]["Phone"]["routes_db"] < -3.0


@pytest.mark.parametrize("off_db", [-1.0, 1.0])
def test_a_trim_that_is_off_is_heard(off_db: float) -> None:
    """The check above can fail: one decibel on one trim is four times what it allows."""
    source = pink(seed=0, rms=0.1)
    preset = {"routes": [{"channel": "left midbass", "left_db": 0.0, "right_db": None}]}
    right, wrong = (heard_lufs(preset, source, 1.0, trim_db=trim) for trim in (0.0, off_db))
    assert wrong - right == pytest.approx(off_db, abs=0.01)
