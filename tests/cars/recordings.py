"""Recordings as a person's laptop would make them in an invented car."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import soundfile
from scipy.signal import fftconvolve, resample_poly

from cars.car import Car, recording_file
from cars.loudspeakers import RATE, Array
from cars.room import SAMPLES


def write_recordings(
    car: Car,
    folder: Path,
    *,
    timing: str,
    snr_db: float = 35.0,
    drift_ppm: float = 0.0,
    seed: int = 0,
    suffix: str = "wav",
    subtype: str = "PCM_24",
    marker_channel: str | None = None,
    level: float = 0.5,
    text: str | None = None,
) -> None:
    """Make ``build.toml`` (``text``, or what the car says) and every recording in ``folder`` as a laptop would.

    ``folder/sweep.wav`` is played: channel 1 to the loudspeaker, channel 2 (markers only) to ``marker_channel``, by
    default the tweeter (or else the highest loudspeaker) on the far side from the driver. ``drift_ppm`` is how much
    faster the recorder's clock runs. Noise is white, ``snr_db`` below the mean square of each recording's sweep.
    """
    (folder / "recordings").mkdir(parents=True, exist_ok=True)
    text = text or car.build_toml(timing, suffix=suffix)
    (folder / "build.toml").write_text(text, encoding="utf-8", newline="\n")
    rng = np.random.default_rng([car.seed, seed, 11])
    if timing == "impulse":
        _write_impulses(car, folder, rng, snr_db, suffix, level)
        return
    played, rate = soundfile.read(folder / "sweep.wav", always_2d=True)
    assert rate == RATE
    marker = car.channels.index(marker_channel or far_tweeter(car))
    gain = level / max(np.abs(fftconvolve(played[:, 0], h[0])).max() for h in car.measured)
    for c, channel in enumerate(car.channels):
        for p, position in enumerate(car.positions):
            other = car.measured[marker, p] if timing == "marker" else None
            data = record(
                played, car.measured[c, p], gain=gain, marker=other, rng=rng, snr_db=snr_db, drift_ppm=drift_ppm
            )
            soundfile.write(folder / recording_file(channel, position, suffix), data, RATE, subtype=subtype)


def record(
    played: Array,
    impulse: Array,
    *,
    gain: float,
    rng: np.random.Generator,
    marker: Array | None = None,
    snr_db: float = 35.0,
    noise: float | None = None,
    drift_ppm: float = 0.0,
    spare_s: tuple[float, float] = (0.1, 0.6),
) -> Array:
    """One recording, with silence of random length about it: mono with ``marker`` (the response of the loudspeaker
    that plays the markers), otherwise microphone and electrical copy. ``noise`` is its rms; absent: by ``snr_db``.
    """
    heard = fftconvolve(played[:, 0], impulse) * gain
    sigma = noise if noise is not None else np.sqrt(np.mean(heard[: len(played)] ** 2) * 10.0 ** (-snr_db / 10.0))
    if marker is not None:
        heard = heard + fftconvolve(played[:, 1], marker) * gain
    lead, after = rng.integers(int(spare_s[0] * RATE), int(spare_s[1] * RATE), 2)
    heard = _drifted(np.pad(heard, (lead, after)), drift_ppm)
    heard = heard + rng.normal(scale=sigma, size=len(heard))
    if marker is not None:
        return heard
    copy = _drifted(np.pad(played[:, 0], (lead, after + len(impulse) - 1)), drift_ppm)
    return np.stack([heard, copy], axis=1)


def far_tweeter(car: Car) -> str:
    """The tweeter on the far side from the driver, or the highest loudspeaker there."""
    far = "left" if car.driving_side == "right" else "right"
    order = ("subwoofer", "midbass", "midrange", "fullrange", "coaxial", "tweeter")
    ranked = sorted(car.loudspeakers, key=lambda s: (s.side == far, order.index(s.role) if s.role in order else -1))
    return ranked[-1].name


def _write_impulses(car: Car, folder: Path, rng: np.random.Generator, snr_db: float, suffix: str, level: float) -> None:
    gain = level / np.abs(car.measured).max()
    for c, channel in enumerate(car.channels):
        for p, position in enumerate(car.positions):
            h = car.measured[c, p, : SAMPLES // 2] * gain
            h = h + rng.normal(scale=np.sqrt(np.mean(h**2) * 10.0 ** (-snr_db / 10.0)), size=h.shape)
            soundfile.write(folder / recording_file(channel, position, suffix), h, RATE, subtype="FLOAT")


def _drifted(track: Array, drift_ppm: float) -> Array:
    """``track`` as a clock running ``drift_ppm`` fast records it: band-limited interpolation at stretched times."""
    if not drift_ppm:
        return track
    over, half = 4, 32
    fine = resample_poly(np.pad(track, half), over, 1)  # then a cubic through points four times as dense
    at = (np.arange(len(track)) / (1.0 + drift_ppm * 1e-6) + half) * over
    i = at.astype(np.int64)
    x = at - i
    a, b, c, d = (fine[np.clip(i + k, 0, len(fine) - 1)] for k in (-1, 0, 1, 2))
    return b + 0.5 * x * (c - a + x * (2 * a - 5 * b + 4 * c - d + x * (3 * (b - c) + d - a)))
