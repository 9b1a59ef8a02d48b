"""What can be wrong with one recording by itself. Each test gives a fault with its figures, or nothing.

Limits are common practice. They are set so that a fault which would change the tune is seen, and a healthy recording of a
narrow-band loudspeaker in a lively cabin is not taken for one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from cabinwright.measure.deconvolve import THIRDS

__all__ = [
    "SNR_LIMIT_DB",
    "Fault",
    "clipped",
    "clipped_impulse",
    "core_bands",
    "distorted",
    "elsewhere_in_time",
    "gap",
    "interrupted",
    "quiet",
    "silent",
]

Real = NDArray[np.float64]

PINNED = 12  #: samples at one extreme that make it a clip
PINNED_RATIO = 5.0  #: against samples in the three steps below it
RAIL = 0.999
GAP_S = 0.002
QUIET_OF_PEAK = 0.003  #: sound below this rounds to runs of one value by itself
SNR_LIMIT_DB = 25.0
SNR_SHARE = 1.0 / 3.0  #: share of the core bands that may lie below
ANY_SOUND_DB = 10.0
UNEXPLAINED = 0.6
DISTORTION_LIMIT = {"subwoofer": 0.15, "woofer": 0.15}
DISTORTION_USUAL = 0.07
LOUD_DB = 10.0
HARMONIC_SNR_DB = 35.0  #: below it noise could pass for harmonics
FRAME_S = 0.0025
BURST = 3.0  #: amplitude of a click over the usual unexplained part
BURST_OF_SIGNAL = 0.03  #: and over the sound around it
STRONG_BURST = 0.5
SILENCE = 0.1  #: of the level just before
MAX_SILENCE = 240  #: frames


@dataclass(frozen=True, slots=True)
class Fault:
    """Why a recording is left out: code of its finding, reason in words, figures by name with unit suffix."""

    code: str
    reason: str
    value: float | str | None = None
    limit: float | str | None = None
    unit: str = ""
    figures: Mapping[str, float] = field(default_factory=dict)
    fatal: bool = True  #: False: kept, and remarked on


def clipped(samples: NDArray[np.float32], *, step: float) -> Fault | None:
    """Samples pinned to one extreme, at the rail or below it.

    Near the peak of any natural sound values thin out smoothly, so about as many lie in the top step as in the three
    below it; clipping piles them up in the top one. ``step`` is the format's; a coarser grid is recognised.
    """
    for sign in (1.0, -1.0):
        wave = samples * np.float32(sign)
        top = float(wave.max())
        if top < 1e-3:
            continue
        upper = np.unique(wave[wave > 0.7 * top])
        grid = float(np.diff(upper).min()) if len(upper) > 8 else step
        width = 1.01 * max(step, grid)
        pinned = int(np.count_nonzero(wave >= top - width))
        below = int(np.count_nonzero(wave >= top - 4.0 * width)) - pinned
        rail = top >= RAIL
        if (pinned >= PINNED and pinned > PINNED_RATIO * (below + 1)) or (rail and pinned >= 4 and pinned > 3 * below):
            where = "full scale" if rail else f"{20.0 * np.log10(top):.1f} dB below full scale".replace("-", "")
            return Fault(
                "recording-clipped",
                f"clipped: {pinned} samples are pinned at {where}",
                value=pinned,
                limit=0,
                unit="samples",
                figures={"pinned_samples": float(pinned), "peak_db": float(20.0 * np.log10(top))},
            )
    return None


def clipped_impulse(samples: NDArray[np.float32]) -> Fault | None:
    """An impulse response whose peaks lie flat at full scale; one sample may touch it."""
    top = float(np.abs(samples).max())
    pinned = int(np.count_nonzero(np.abs(samples) >= top * (1.0 - 1e-6)))
    if pinned < 3 or not RAIL <= top <= 1.0 + 1e-6:
        return None
    reason = f"clipped: {pinned} samples are pinned at full scale"
    return Fault("recording-clipped", reason, pinned, 0, "samples", {"pinned_samples": float(pinned)})


def gap(samples: NDArray[np.float32], *, start: int, stop: int, sample_rate_hz: float, step: float) -> Fault | None:
    """A run of one and the same value between ``start`` and ``stop`` while it sounds on both sides."""
    part = samples[start:stop]
    changes = np.flatnonzero(part[1:] != part[:-1])
    runs = np.diff(changes)
    longest = np.flatnonzero(runs >= GAP_S * sample_rate_hz)
    peak = float(np.abs(part).max()) if len(part) else 0.0
    span = round(0.02 * sample_rate_hz)
    for index in longest:
        first, last = int(changes[index]) + 1, int(changes[index + 1])
        before, after = part[max(0, first - span) : first], part[last + 1 : last + 1 + span]
        if min(len(before), len(after)) < span // 2 or abs(float(part[first])) > 0.5 * peak:
            continue
        around = min(float(np.std(before)), float(np.std(after)))
        value = part[first]
        jump = max(abs(float(part[first - 1] - value)), abs(float(part[min(last + 1, len(part) - 1)] - value)))
        if around > max(8.0 * step, QUIET_OF_PEAK * peak) and jump > max(4.0 * step, 0.2 * around):
            return _gap_fault((start + first) / sample_rate_hz, (last - first + 1) / sample_rate_hz)
    return None


def _gap_fault(at_s: float, length_s: float) -> Fault:
    at_s, length_s = float(at_s), float(length_s)
    return Fault(
        "recording-gap",
        f"the sound breaks off for {1e3 * length_s:.1f} ms, {at_s:.2f} s into the recording",
        value=round(1e3 * length_s, 1),
        limit=0,
        unit="ms",
        figures={"gap_s": length_s, "gap_at_s": at_s},
    )


def interrupted(
    recorded: Real, unexplained: NDArray[np.float32], *, sample_rate_hz: float, offset_s: float
) -> Fault | None:
    """Clicks that the response does not explain: one beside sudden silence, or one as loud as the sweep itself.

    ``unexplained`` is ``deconvolve.residual`` of ``recorded``; ``offset_s`` is where ``recorded`` begins in the file.
    """
    rate = sample_rate_hz
    frame = round(FRAME_S * rate)
    count = min(len(recorded), len(unexplained)) // frame
    heard = np.sqrt(np.mean(recorded[: count * frame].reshape(count, frame) ** 2, axis=1))
    rest = np.sqrt(np.mean(unexplained[: count * frame].reshape(count, frame) ** 2, axis=1))
    around = np.sqrt(np.convolve(heard**2, np.full(81, 1.0 / 81.0), mode="same"))
    usual = float(np.median(rest))
    floor = np.maximum(BURST_OF_SIGNAL * around, QUIET_OF_PEAK * float(heard.max()))
    marks = np.flatnonzero((rest > BURST * usual) & (rest > floor))
    for mark in map(int, marks):
        after = _silence(heard[mark:])
        if after:
            return _gap_fault(offset_s + mark * FRAME_S, after * FRAME_S)
        before = _silence(heard[mark::-1])
        if before:
            return _gap_fault(offset_s + (mark - before) * FRAME_S, before * FRAME_S)
    strong = marks[rest[marks] > np.maximum(STRONG_BURST * around[marks], 4.0 * BURST * usual)]
    if len(strong):
        at = offset_s + float(strong[0]) * FRAME_S
        loud = 20.0 * float(np.log10(rest[strong[0]] / max(float(around[strong[0]]), 1e-30)))
        return Fault(
            "recording-gap",
            f"a jump or click, {loud:+.0f} dB against the sweep, {at:.2f} s into the recording",
            value=round(loud, 1),
            limit=round(20.0 * float(np.log10(STRONG_BURST)), 1),
            unit="dB",
            figures={"click_db": loud, "gap_at_s": at},
        )
    return None


def _silence(levels: Real) -> int:
    """Frames of sudden silence after the first of ``levels`` that end again, or 0. No cabin dies away so fast."""
    quiet = levels[1:MAX_SILENCE] < SILENCE * levels[0]
    run = int(np.argmin(quiet)) if len(quiet) and not quiet.all() else 0
    returns = bool((levels[1 + run : 5 + run] > 2.0 * SILENCE * levels[0]).any())
    return run if run >= 2 and returns else 0


def core_bands(core_hz: tuple[float, float]) -> NDArray[np.bool_]:
    """Which third octaves lie in the core band; never none."""
    low, high = core_hz
    inside = (THIRDS.centres_hz >= 0.97 * low) & (THIRDS.centres_hz <= 1.03 * high)
    if not inside.any():
        inside[int(np.argmin(np.abs(np.log(THIRDS.centres_hz / np.sqrt(low * high)))))] = True
    return np.asarray(inside)


def silent(snr_db: Real, core_hz: tuple[float, float], *, unexplained: float, broken: bool) -> Fault | None:
    """Nothing of the sweep anywhere: a different one, none, or a muted channel.

    ``unexplained`` is the share of the recording's energy that does not follow the sweep. Rumble may hold most of the
    energy of a good recording, so it counts only where the loudspeaker's own bands are poor
    as well, or breaks were found (``broken``).
    """
    low = float(np.mean(snr_db[core_bands(core_hz)] < SNR_LIMIT_DB))
    if unexplained > UNEXPLAINED and (low > 0.5 or broken):
        return Fault(
            "recording-no-sweep",
            f"{100.0 * unexplained:.0f} % of what is heard does not follow the sweep",
            value=round(100.0 * unexplained),
            limit=100.0 * UNEXPLAINED,
            unit="%",
            figures={"unexplained_ratio": unexplained},
        )
    octaves = np.convolve(snr_db, np.full(3, 1.0 / 3.0), mode="valid")
    best = float(octaves.max())
    if best >= ANY_SOUND_DB:
        return None
    return Fault(
        "recording-no-sweep",
        f"nothing of the sweep is heard (the best octave stands {best:.0f} dB over the noise)",
        value=round(best, 1),
        limit=ANY_SOUND_DB,
        unit="dB",
        figures={"best_snr_db": best},
    )


def quiet(snr_db: Real, core_hz: tuple[float, float]) -> Fault | None:
    """Too little signal over noise in the bands that this loudspeaker is there for."""
    inside = core_bands(core_hz)
    low = inside & ~(snr_db >= SNR_LIMIT_DB)  # what is no number (a silent microphone) is not enough either
    if np.count_nonzero(low) < 2:
        return None  # one poor band is a notch of the room, not a quiet recording
    centres = THIRDS.centres_hz[low]
    worst = float(np.nan_to_num(snr_db[low], nan=0.0, neginf=0.0).min())
    share = float(np.count_nonzero(low) / np.count_nonzero(inside))
    return Fault(
        "recording-quiet",
        f"too quiet between {_hz(centres[0])} and {_hz(centres[-1])}: {worst:.0f} dB over the noise at worst",
        value=round(worst, 1),
        limit=SNR_LIMIT_DB,
        unit="dB",
        figures={"worst_snr_db": worst, "low_hz": float(centres[0]), "high_hz": float(centres[-1]), "share": share},
        fatal=share > SNR_SHARE,
    )


def distorted(ratio: Real, snr_db: Real, level_db: Real, core_hz: tuple[float, float], roles: set[str]) -> Fault | None:
    """Harmonics 2 to 5 too strong in the worst octave of the core band or wherever it plays about as loud."""
    limit = max(DISTORTION_LIMIT.get(role, DISTORTION_USUAL) for role in roles) if roles else DISTORTION_USUAL
    use = (core_bands(core_hz) | (level_db > level_db.max() - LOUD_DB)) & (snr_db > HARMONIC_SNR_DB)
    if not use.any():
        return None
    power = np.where(use, ratio**2, 0.0)
    octaves = np.convolve(power, np.ones(3), mode="same") / np.maximum(np.convolve(use, np.ones(3), mode="same"), 1.0)
    worst = int(np.argmax(np.where(use, octaves, 0.0)))
    value = float(np.sqrt(octaves[worst]))
    if value < limit:
        return None
    return Fault(
        "recording-distorted",
        f"distorted: harmonics are {100.0 * value:.0f} % around {_hz(THIRDS.centres_hz[worst])}",
        value=round(100.0 * value, 1),
        limit=round(100.0 * limit, 1),
        unit="%",
        figures={"distortion_ratio": value, "distortion_at_hz": float(THIRDS.centres_hz[worst])},
    )


def elsewhere_in_time(late_s: float, *, limit_s: float, against: str = "the channel's other recordings say") -> Fault:
    """A recording that comes ``late_s`` too late (negative: too early)."""
    return Fault(
        "recording-time",
        f"its sound comes {1e3 * abs(late_s):.1f} ms {'later' if late_s > 0.0 else 'earlier'} than {against}",
        value=round(1e3 * late_s, 2),
        limit=round(1e3 * limit_s, 2),
        unit="ms",
        figures={"late_s": late_s},
    )


def _hz(value: float) -> str:
    nominal = float(f"{value:.2g}")
    return f"{nominal / 1000.0:g} kHz" if nominal >= 1000.0 else f"{nominal:g} Hz"
