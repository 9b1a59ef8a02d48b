"""An invented little car for the measuring tests: rays with seeded echoes, loudspeakers as band-passes, one recorder.

It shares nothing with the package but the signal that ``sweep.wav`` holds: recordings are made by fast convolution, drift by
the SoX resampler, noise by NumPy.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray
from scipy.signal import butter, fftconvolve, sosfilt

from cabinwright.build.codec import parse
from cabinwright.build.document import Build
from cabinwright.measure.evidence import Evidence, collect
from cabinwright.measure.signal import make_sweep

RATE = 48000
SPEED = 343.8
Array = NDArray[np.float64]
#: name: role, side, place, band in Hz, gain
SPEAKERS = {
    "left tweeter": ("tweeter", "left", (0.70, -0.62, 0.95), (1500.0, 21000.0), 0.30),
    "right tweeter": ("tweeter", "right", (0.72, 0.60, 0.93), (1400.0, 21000.0), -0.28),
    "left midbass": ("midbass", "left", (0.85, -0.70, 0.45), (60.0, 4500.0), 0.5),
    "right midbass": ("midbass", "right", (0.83, 0.71, 0.44), (58.0, 4200.0), 0.5),
    "subwoofer": ("subwoofer", "centre", (2.50, 0.10, 0.30), (28.0, 300.0), 0.9),
}
PLACES = {
    "p1": (1.30, 0.36, 0.98),
    "p2": (1.22, 0.27, 1.02),
    "p3": (1.21, 0.46, 0.95),
    "p4": (1.38, 0.47, 1.01),
    "p5": (1.37, 0.26, 0.94),
}
SWEEP_S = 2.5


@dataclass(frozen=True)
class Rig:
    """A folder with recordings, its build, and the true responses (channels, positions, samples)."""

    folder: Path
    build: Build
    truth: Array

    def index(self, channel: str, position: str) -> int:
        return list(SPEAKERS).index(channel) * len(PLACES) + list(PLACES).index(position)

    def path(self, index: int) -> Path:
        return self.folder / self.build.recordings[index].file

    def change(self, index: int, alter: Callable[[Array], Array]) -> None:
        """Replace one recording by what ``alter`` makes of it, (samples, channels)."""
        samples, rate = soundfile.read(self.path(index), always_2d=True)
        subtype = soundfile.info(self.path(index)).subtype
        soundfile.write(self.path(index), alter(samples.copy()), rate, subtype=subtype)


def document(timing: str, *, suffix: str = "wav", tail: str = "", sweep_s: float = SWEEP_S) -> str:
    rows = [
        'schema = 1\ntitle = "An invented little car"\n[vehicle]\nname = "invented"\ndriving_side = "right"',
        '[[seats]]\nname = "driver"\nhead_m = [1.3, 0.36, 0.98]\n[processor]\nsample_rate_hz = 48000',
    ]
    for name, (role, side, place, _, _) in SPEAKERS.items():
        rows.append(f'[[speakers]]\nname = "{name}"\nrole = "{role}"\nside = "{side}"\nposition_m = {list(place)}')
        rows.append(f'[[channels]]\nname = "{name}"\nspeakers = ["{name}"]')
    for name, at in PLACES.items():
        rows.append(f'[[microphone_positions]]\nname = "{name}"\nat_m = {list(at)}\nseat = "driver"')
    kind = "impulse" if timing == "impulse" else "sweep"
    for channel in SPEAKERS:
        for place in PLACES:
            file = f"recordings/{channel.replace(' ', '-')}_{place}.{suffix}"
            rows.append(
                f'[[recordings]]\nchannel = "{channel}"\nposition = "{place}"\nkind = "{kind}"\nfile = "{file}"'
            )
    rows.append('[tuning]\nseat = "driver"' + ("" if timing == "impulse" else f'\ntiming = "{timing}"'))
    rows.append(tail)
    rows.append(f"[tuning.sweep]\nlength_s = {sweep_s}")
    return "\n".join(rows)


def responses(seed: int) -> Array:
    """(channels, positions, samples): direct sound and some forty echoes that fall by 60 dB in 80 ms."""
    rng = np.random.default_rng(seed)
    out = np.zeros((len(SPEAKERS), len(PLACES), 9600))
    frequency = np.fft.rfftfreq(9600, 1.0 / RATE)
    for c, (_, _, place, band, gain) in enumerate(SPEAKERS.values()):
        latency = rng.uniform(0.0, 0.003)
        mirrors = rng.normal(size=(40, 3)) * [1.2, 0.9, 0.8]
        signs = rng.choice([-1.0, 1.0], 40)
        sections = butter(2, band, "bandpass", fs=RATE, output="sos")
        for p, at in enumerate(PLACES.values()):
            direct = float(np.linalg.norm(np.subtract(at, place)))
            spectrum = np.exp(-2j * np.pi * frequency * (direct / SPEED + latency)) / direct
            for mirror, sign in zip(mirrors, signs, strict=True):
                length = direct + 0.25 + float(np.linalg.norm(np.asarray(at) - place - mirror))
                decay = 10.0 ** (-3.0 * (length - direct) / SPEED / 0.08)
                spectrum += 0.6 * sign * decay / length * np.exp(-2j * np.pi * frequency * (length / SPEED + latency))
            out[c, p] = gain * sosfilt(sections, np.fft.irfft(spectrum))
    return out


def make(
    folder: Path,
    timing: str,
    *,
    seed: int = 1,
    drift_ppm: float = 0.0,
    snr_db: float = 35.0,
    suffix: str = "wav",
    processor: Mapping[str, Array] | None = None,
) -> Rig:
    """Record everything into ``folder``; ``processor`` holds sections that were on in some channels."""
    (folder / "recordings").mkdir(parents=True)
    text = document(timing, suffix=suffix)
    (folder / "build.toml").write_text(text, encoding="utf-8", newline="\n")
    build = parse(text)
    truth = responses(seed)
    heard = truth.copy()
    for name, sections in (processor or {}).items():
        heard[list(SPEAKERS).index(name)] = sosfilt(sections, truth[list(SPEAKERS).index(name)])
    rng = np.random.default_rng(seed + 100)
    played = make_sweep(build).samples()
    rows = iter(build.recordings)
    for c in range(len(SPEAKERS)):
        for p in range(len(PLACES)):
            file = folder / next(rows).file
            if timing == "impulse":
                noise = np.sqrt(np.mean(heard[c, p] ** 2) * 10.0 ** (-snr_db / 10.0))
                soundfile.write(file, heard[c, p] + rng.normal(scale=noise, size=9600), RATE, subtype="FLOAT")
                continue
            marker = heard[0, p] if timing == "marker" else None
            data = record(played, heard[c, p], rng, marker=marker, drift_ppm=drift_ppm, snr_db=snr_db)
            soundfile.write(file, data, RATE, subtype="PCM_24")
    return Rig(folder, build, truth)


def record(
    played: Array,
    impulse: Array,
    rng: np.random.Generator,
    *,
    marker: Array | None = None,
    drift_ppm: float = 0.0,
    snr_db: float = 35.0,
) -> Array:
    """One recording, (samples, 2) with the copy or (samples,) with markers."""
    heard = 0.3 * fftconvolve(played[:, 0], impulse)
    noise = np.sqrt(np.mean(heard**2) * 10.0 ** (-snr_db / 10.0))
    if marker is not None:
        heard = heard + 0.3 * fftconvolve(played[:, 1], marker)
    lead, after = rng.integers(2000, 20000, 2)
    heard = np.pad(heard, (lead, after))
    if drift_ppm:
        heard = soxr.resample(heard, RATE, RATE * (1.0 + 1e-6 * drift_ppm), quality="VHQ")
    heard = heard + rng.normal(scale=noise, size=len(heard))
    if marker is not None:
        return np.asarray(heard)
    copy = np.pad(played[:, 0], (lead, len(heard) - lead - len(played)))
    return np.stack([heard, 0.7 * copy], axis=1)


def little_car() -> Build:
    """The build alone."""
    return parse(document("loopback"))


@cache
def evidence() -> Evidence:
    """What perfect recordings of the rig say, without any file."""
    zero, noise = 960, np.full((len(SPEAKERS), len(PLACES), 31), 1e-9)
    impulse = np.pad(responses(1), ((0, 0), (0, 0), (zero, 0)))
    return collect(
        little_car(), tuple(SPEAKERS), tuple(PLACES), impulse, noise, np.ones(impulse.shape[:2], dtype=np.bool_),
        zero_sample=zero, sample_rate_hz=float(RATE),
    )  # fmt: skip
