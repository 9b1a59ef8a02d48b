"""An invented small car for the verifying tests: rays with seeded random directions, plausible loudspeakers, noise.

It shares no code with the package's acoustics: responses are written straight into the frequency domain, the processor
is run in the time domain by SciPy's ``sosfilt``, whole-sample and fractional delays by a phase ramp.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace

import numpy as np
from scipy.signal import sosfilt

from cabinwright.build.document import Build
from cabinwright.physics.filters import Filter
from cabinwright.physics.response import RecordedResponses
from cabinwright.stages.tuning.settings import ChannelSettings, Settings

RATE = 48000.0
COUNT = 8192
ZERO = 1024
SPEED = 343.0
CENTRES = 1000.0 * 10.0 ** (np.arange(-17, 14) / 10.0)
STEP_S = 1.0 / 48000.0

#: name: role, side, place, band-pass of the bare speaker
SPEAKERS = {
    "left tweeter": ("tweeter", "left", (0.9, -0.6, 0.9), (1300.0, 24000.0)),
    "right tweeter": ("tweeter", "right", (0.9, 0.6, 0.9), (1200.0, 24000.0)),
    "left midrange": ("midrange", "left", (0.8, -0.65, 0.6), (180.0, 9000.0)),
    "right midrange": ("midrange", "right", (0.8, 0.65, 0.6), (190.0, 9500.0)),
    "left midbass": ("midbass", "left", (0.9, -0.7, 0.3), (55.0, 3500.0)),
    "right midbass": ("midbass", "right", (0.9, 0.7, 0.3), (52.0, 3800.0)),
    "subwoofer": ("subwoofer", "centre", (3.3, 0.1, 0.4), (24.0, 400.0)),
}
POSITIONS = {f"p{i + 1}": (1.3 + 0.11 * (i % 3 - 1), 0.36 + 0.1 * (i // 3 - 1), 1.0 + 0.05 * (i % 2)) for i in range(7)}


def build(names: tuple[str, ...] = tuple(SPEAKERS)) -> Build:
    """The build document, strict like any other."""
    rows = [{"name": n, "role": SPEAKERS[n][0], "side": SPEAKERS[n][1], "position_m": SPEAKERS[n][2]} for n in names]
    return Build.model_validate_json(
        json.dumps(
            {
                "schema": 1,
                "title": "An invented small car",
                "vehicle": {"name": "invented", "driving_side": "right"},
                "seats": [{"name": "driver", "head_m": [1.3, 0.36, 1.0]}],
                "processor": {"sample_rate_hz": RATE},
                "speakers": rows,
                "channels": [{"name": n, "speakers": [n]} for n in names],
                "microphone_positions": [{"name": n, "at_m": at, "seat": "driver"} for n, at in POSITIONS.items()],
            }
        )
    )


def _lr(kind: str, frequency_hz: float) -> Filter:
    return Filter(kind, frequency_hz, family="Linkwitz-Riley", slope_db_per_octave=24)  # type: ignore[arg-type]


CROSSOVERS = {
    "tweeter": (_lr("high-pass", 3200.0),),
    "midrange": (_lr("high-pass", 350.0), _lr("low-pass", 3200.0)),
    "midbass": (_lr("high-pass", 80.0), _lr("low-pass", 350.0)),
    "subwoofer": (_lr("high-pass", 25.0), _lr("low-pass", 80.0)),
}


def settings(seed: int, names: tuple[str, ...] = tuple(SPEAKERS)) -> Settings:
    """Plausible settings: crossovers by role, three peaking filters in the pass band, gains, delays, a polarity."""
    rng = np.random.default_rng(seed)
    edges = {"tweeter": (3500, 14000), "midrange": (400, 3000), "midbass": (90, 330), "subwoofer": (30, 75)}
    channels = []
    for name in names:
        role = SPEAKERS[name][0]
        low, high = np.log(edges[role])
        peaking = tuple(
            Filter("peaking", round(float(f), 1), gain_db=float(g), q=float(q))
            for f, g, q in zip(
                np.exp(low + (high - low) * (np.arange(3) + rng.uniform(0.2, 0.8, 3)) / 3),
                np.round(rng.choice([-1, 1], 3) * rng.uniform(2.5, 5.0, 3), 1),
                np.round(rng.uniform(1.0, 3.5, 3), 2),
                strict=True,
            )
        )
        delay = STEP_S * int(rng.integers(20, 250))
        polarity = "inverted" if rng.random() < 0.3 else "normal"
        gain = round(float(rng.uniform(-9.0, 0.0)), 1)
        channels.append(ChannelSettings(name, gain, polarity, delay, CROSSOVERS[role] + peaking))
    return Settings(RATE, tuple(channels))


@dataclass(frozen=True)
class Car:
    """Rays of every speaker: time at the head, direction of travel, amplitude."""

    time_s: np.ndarray
    direction: np.ndarray
    amplitude: np.ndarray
    names: tuple[str, ...]

    def spectra(self, places: np.ndarray) -> np.ndarray:
        """(channels, positions, bins)."""
        f = np.fft.rfftfreq(COUNT, 1.0 / RATE)
        rows = []
        for c, name in enumerate(self.names):
            time = self.time_s[c] + (places @ self.direction[c].T) / SPEED
            low, high = SPEAKERS[name][3]
            s = 1j * f
            shape = (s / low) ** 2 / (1 + 1.4 * s / low + (s / low) ** 2) / (1 + 1.4 * s / high + (s / high) ** 2)
            rays = np.exp(-2j * np.pi * f[None, None] * time[:, :, None]) * self.amplitude[c][None, :, None]
            rows.append(rays.sum(axis=1) * shape)
        return np.array(rows)


def car(seed: int, names: tuple[str, ...] = tuple(SPEAKERS), rays: int = 40) -> Car:
    """A direct ray and decaying later ones."""
    rng = np.random.default_rng(seed + 1000)
    count = len(names)
    direction = rng.normal(size=(count, rays, 3))
    direction /= np.linalg.norm(direction, axis=-1, keepdims=True)
    late = np.sort(rng.exponential(0.012, (count, rays)), axis=1)
    late[:, 0] = 0.0
    time = rng.uniform(0.002, 0.008, (count, 1)) + late
    amplitude = (
        0.45 * np.exp(-late / 0.015) * rng.choice([-1.0, 1.0], (count, rays)) * rng.uniform(0.3, 1.0, (count, rays))
    )
    amplitude[:, 0] = rng.uniform(0.7, 1.3, count)
    return Car(time, direction, amplitude, names)


def _responses(
    names: tuple[str, ...], spectra: np.ndarray, rng: np.random.Generator, snr_db: float, absolute: bool
) -> RecordedResponses:
    """To the time domain, with white noise ``snr_db`` below each response's power."""
    turn = np.exp(-2j * np.pi * np.arange(COUNT // 2 + 1) * ZERO / COUNT)
    impulse = np.fft.irfft(spectra * turn, COUNT)
    power = (impulse**2).sum(axis=-1, keepdims=True).mean(axis=(0, 1), keepdims=True)
    sigma = np.sqrt(power / COUNT * 10.0 ** (-snr_db / 10.0)) * np.ones(impulse.shape[:2])[..., None]
    impulse = impulse + sigma * rng.normal(size=impulse.shape)
    shape = (*impulse.shape[:2], len(CENTRES))
    return RecordedResponses(
        sample_rate_hz=RATE,
        channels=names,
        positions=tuple(POSITIONS)[: impulse.shape[1]],
        impulse=impulse,
        zero_sample=ZERO,
        present=np.ones(impulse.shape[:2], dtype=bool),
        band_centres_hz=CENTRES,
        noise_power=np.broadcast_to(COUNT * sigma**2, shape).copy(),
        snr_db=np.full(shape, snr_db),
        clock_drift_ppm=np.zeros(impulse.shape[:2]),
        absolute_time=absolute,
    )


def processed(item: ChannelSettings, spectrum: np.ndarray, drop: tuple[int, ...] = ()) -> np.ndarray:
    """What the processor makes of a response, run in the time domain."""
    kept = replace(item, filters=tuple(f for i, f in enumerate(item.filters) if i not in drop))
    impulse = np.fft.irfft(spectrum, COUNT)
    bank = kept.sections(RATE)
    out = sosfilt(bank, impulse) if len(bank) else impulse
    ramp = np.exp(-2j * np.pi * np.fft.rfftfreq(COUNT, 1.0 / RATE) * item.delay_s)
    sign = -1.0 if item.polarity == "inverted" else 1.0
    return np.fft.rfft(out) * ramp * sign * 10.0 ** (item.gain_db / 20.0)


@dataclass(frozen=True)
class Circumstances:
    """What differs between the two days."""

    latency_s: float = 0.0
    level_db: float = 0.0
    moved_m: float = 0.0
    markers: bool = False
    snr_db: float = 35.0
    positions: int = 7


_SPECTRA: dict[tuple[int, int], np.ndarray] = {}
_KEPT: list[Car] = []  #: so that no other car takes the identity of a key


def _unmoved(the_car: Car, positions: int) -> np.ndarray:
    """Responses at the stated places, kept: they are most of the work."""
    key = (id(the_car), positions)
    if key not in _SPECTRA:
        _SPECTRA[key] = the_car.spectra(np.array(list(POSITIONS.values()))[:positions] - np.array([1.3, 0.36, 1.0]))
        _KEPT.append(the_car)
    return _SPECTRA[key]


def recorded(seed: int, the_car: Car, now: Circumstances) -> RecordedResponses:
    """Single channels without processing."""
    rng = np.random.default_rng(seed + 2000)
    spectra = _unmoved(the_car, now.positions)
    if now.markers:
        spectra = spectra * _offsets(rng, now.positions)
    return _responses(the_car.names, spectra, rng, now.snr_db, not now.markers)


def _offsets(rng: np.random.Generator, positions: int) -> np.ndarray:
    f = np.fft.rfftfreq(COUNT, 1.0 / RATE)
    return np.exp(-2j * np.pi * f * rng.uniform(-0.004, 0.004, positions)[:, None])


def verification(
    seed: int,
    the_car: Car,
    loaded: Settings,
    sounding: dict[str, tuple[str, ...]],
    now: Circumstances,
    outputs: dict[str, str] | None = None,
) -> RecordedResponses:
    """Recordings of sums (or channels) with ``loaded`` in the processor; ``outputs`` says whose speakers are fed."""
    rng = np.random.default_rng(seed + 3000)
    places = np.array(list(POSITIONS.values()))[: now.positions] - np.array([1.3, 0.36, 1.0])
    spectra = _unmoved(the_car, now.positions)
    if now.moved_m:
        spectra = the_car.spectra(places + rng.normal(size=places.shape) * now.moved_m)
    order = {name: index for index, name in enumerate(the_car.names)}
    played = {
        name: processed(loaded.channel(name), spectra[order[(outputs or {}).get(name, name)]]) for name in the_car.names
    }
    sums = np.array([sum(played[c] for c in channels) for channels in sounding.values()])
    f = np.fft.rfftfreq(COUNT, 1.0 / RATE)
    sums = sums * 10.0 ** (now.level_db / 20.0) * np.exp(-2j * np.pi * f * now.latency_s)
    if now.markers:
        sums = sums * _offsets(rng, now.positions)
    return _responses(tuple(sounding), sums, rng, now.snr_db, not now.markers)
