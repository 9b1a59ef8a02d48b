"""Invented cars from seeds, simulated by pyroomacoustics (image sources) and never by the project's own acoustics.

A car is a box of about 2.4 x 1.45 x 1.15 m with glass, trim, carpet and seats; loudspeakers of its own character stand in
it (resonance, roll-off, breakup, beaming, sensitivity, polarity, latency). Responses are known at the measured
positions, at positions nobody measured round the head, and at the head's centre. Everything follows from the seed.
"""

from __future__ import annotations

import hashlib
import tempfile
import uuid
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray
from scipy.signal import butter, fftconvolve, resample_poly, sosfilt

from cabinwright.physics.response import RecordedResponses

RATE = 48000
SAMPLES = 16384
ZERO = 2400
ORDER = 15
UNMEASURED = 14
Array = NDArray[np.float64]
THIRDS = 1000.0 * 10.0 ** (np.arange(-17, 14) / 10.0)

#: Absorption per octave band from 125 Hz to 8 kHz: the order of magnitude of glass, headlining, carpet and seats in cars.
#: The bass is absorbed by body panels that give way; hence more than a building would show.
MATERIALS = {
    "glass": (0.30, 0.25, 0.20, 0.17, 0.15, 0.13, 0.12),
    "door": (0.35, 0.34, 0.34, 0.36, 0.38, 0.40, 0.42),
    "headlining": (0.25, 0.30, 0.42, 0.50, 0.55, 0.55, 0.55),
    "carpet": (0.22, 0.25, 0.35, 0.45, 0.55, 0.60, 0.65),
    "seats": (0.35, 0.45, 0.55, 0.62, 0.68, 0.70, 0.70),
}
BANDS = (125, 250, 500, 1000, 2000, 4000, 8000)

#: role: place on the right-hand side (x, y, z), aim, resonance Hz, upper roll-off Hz, radius m
SPEAKERS = {
    "tweeter": ((0.66, 0.66, 0.96), (0.6, -0.8, 0.0), 1100.0, 24000.0, 0.013),
    "midrange": ((0.56, 0.55, 0.84), (0.8, -0.3, 0.5), 170.0, 9000.0, 0.035),
    "midbass": ((0.80, 0.70, 0.44), (0.1, -1.0, 0.2), 62.0, 5500.0, 0.065),
    "coaxial": ((0.78, 0.70, 0.52), (0.2, -1.0, 0.4), 75.0, 19000.0, 0.030),
    "subwoofer": ((2.60, 0.12, 0.26), (0.0, 0.0, 1.0), 30.0, 600.0, 0.12),
    "rear fill": ((2.05, 0.69, 0.66), (-0.2, -1.0, 0.2), 90.0, 16000.0, 0.035),
    "centre": ((0.50, 0.02, 0.84), (0.8, 0.0, 0.6), 130.0, 17000.0, 0.030),
    "fullrange": ((0.52, 0.20, 0.80), (0.8, 0.1, 0.6), 110.0, 18000.0, 0.030),
}
PAIR, SUB = ("left", "right"), (("subwoofer", "centre"),)


def _pairs(*roles: str) -> tuple[tuple[str, str], ...]:
    return tuple((role, side) for role in roles for side in PAIR)


LAYOUTS: dict[str, tuple[tuple[str, str], ...]] = {
    "two-way": _pairs("midbass", "tweeter"),
    "two-way+sub": _pairs("midbass", "tweeter") + SUB,
    "three-way": _pairs("midbass", "midrange", "tweeter"),
    "three-way+sub": _pairs("midbass", "midrange", "tweeter") + SUB,
    "coaxial": _pairs("coaxial"),
    "coaxial+sub": _pairs("coaxial") + SUB,
    "tweeterless": _pairs("midbass") + SUB,
    "rear fill": _pairs("midbass", "tweeter", "rear fill") + SUB,
    "centre": _pairs("midbass", "tweeter") + SUB + (("centre", "centre"),),
    "one channel": (("fullrange", "centre"),),
}
HOUSE_CURVE = (
    (20.0, 9.0),
    (60.0, 8.5),
    (120.0, 4.0),
    (250.0, 0.5),
    (1000.0, 0.0),
    (3000.0, -1.5),
    (8000.0, -4.0),
    (20000.0, -8.0),
)


@dataclass(frozen=True)
class Loudspeaker:
    """One loudspeaker as built; ``gain`` carries sensitivity and polarity."""

    name: str
    role: str
    side: str
    position_m: Array
    aim: Array
    sections: Array
    gain: float
    latency_s: float
    beaming_hz: float


@dataclass(frozen=True)
class Car:
    """One car and its true responses. ``measured[c, p, n]`` starts when the electrical signal is sent."""

    seed: int
    layout: str
    driving_side: str
    head_m: Array
    loudspeakers: tuple[Loudspeaker, ...]
    places_m: Array  #: (positions, 3) where the microphone stood
    unmeasured_m: Array
    measured: Array  #: (channels, positions, samples)
    unmeasured: Array  #: (channels, places, samples)
    centre: Array  #: (channels, samples) at the head's centre
    house_curve: tuple[tuple[float, float], ...] = HOUSE_CURVE
    peaking_filters: int = 10
    processor_extra: str = ""
    title: str = field(default="An invented car")

    @property
    def channels(self) -> tuple[str, ...]:
        return tuple(item.name for item in self.loudspeakers)

    @property
    def positions(self) -> tuple[str, ...]:
        return tuple(f"p{i + 1}" for i in range(len(self.places_m)))

    def build_toml(self, timing: str | None, *, suffix: str = "wav", tail: str = "") -> str:
        """The build document; ``timing`` is loopback, marker or impulse; None leaves recordings out."""
        rows = [
            "schema = 1",
            f'title = "{self.title} {self.seed}: {self.layout}"',
            f'[vehicle]\nname = "invented {self.seed}"\ndriving_side = "{self.driving_side}"',
            f'[[seats]]\nname = "driver"\nhead_m = {_row(self.head_m)}',
            f"[processor]\nsample_rate_hz = {RATE}\npeaking_filters = {self.peaking_filters}",
            f"delay_step_s = 2.0833333e-5\ndelay_max_s = 0.02\ngain_step_db = 0.1{self.processor_extra}",
        ]
        for item in self.loudspeakers:
            rows.append(f'[[speakers]]\nname = "{item.name}"\nrole = "{item.role}"\nside = "{item.side}"')
            rows.append(f"position_m = {_row(item.position_m)}\naim = {_row(item.aim)}")
        rows += [f'[[channels]]\nname = "{name}"\nspeakers = ["{name}"]' for name in self.channels]
        for name, place in zip(self.positions, self.places_m, strict=True):
            rows.append(f'[[microphone_positions]]\nname = "{name}"\nat_m = {_row(place)}\nseat = "driver"')
        if timing is not None:
            kind = "impulse" if timing == "impulse" else "sweep"
            for channel in self.channels:
                for name in self.positions:
                    file = recording_file(channel, name, suffix)
                    rows.append(f'[[recordings]]\nchannel = "{channel}"\nposition = "{name}"')
                    rows.append(f'kind = "{kind}"\nfile = "{file}"')
        rows.append('[tuning]\nseat = "driver"')
        if timing in ("loopback", "marker"):
            rows.append(f'timing = "{timing}"')
        rows.append("house_curve = [" + ", ".join(f"[{f}, {g}]" for f, g in self.house_curve) + "]")
        return "\n".join(rows) + "\n" + tail

    def responses(self, *, snr_db: float | None = None, length_s: float = 10.0) -> RecordedResponses:
        """What reading perfect recordings gives; with ``snr_db`` as loopback sweeps in white noise would."""
        shape = self.measured.shape
        impulse = np.zeros((*shape[:2], SAMPLES))
        impulse[..., ZERO:] = self.measured[..., : SAMPLES - ZERO]
        f = np.fft.rfftfreq(SAMPLES, 1.0 / RATE)
        noise = np.zeros((*shape[:2], len(THIRDS)))
        signal = _band_means(np.abs(np.fft.rfft(impulse)) ** 2, f)
        if snr_db is not None:
            rng = np.random.default_rng(self.seed + 77)
            span = np.log(22000.0 / 10.0)
            drive = length_s * RATE**2 / (4.0 * np.maximum(f, 10.0) * span)  # |sweep spectrum|²
            sent = np.abs(np.fft.rfft(impulse)) ** 2 * drive
            power = sent.sum(axis=-1) * 2.0 / SAMPLES / (length_s * RATE)  # mean square of the recording
            sigma2 = power * 10.0 ** (-snr_db / 10.0)
            spectrum = np.sqrt(sigma2[..., None] / drive)
            spectrum = np.where((f > 12.0) & (f < 21500.0), spectrum, 0.0)
            impulse = impulse + np.fft.irfft(np.fft.rfft(rng.normal(size=impulse.shape)) * spectrum, SAMPLES)
            noise = _band_means(SAMPLES * spectrum**2, f)
        with np.errstate(divide="ignore"):
            snr = 10.0 * np.log10(signal / np.maximum(noise, 1e-30))
        return RecordedResponses(
            sample_rate_hz=float(RATE),
            channels=self.channels,
            positions=self.positions,
            impulse=impulse,
            zero_sample=ZERO,
            present=np.ones(shape[:2], dtype=bool),
            band_centres_hz=THIRDS,
            noise_power=noise,
            snr_db=snr,
            clock_drift_ppm=np.zeros(shape[:2]),
            absolute_time=True,
        )


def recording_file(channel: str, position: str, suffix: str = "wav") -> str:
    return f"recordings/{channel.replace(' ', '-')}_{position}.{suffix}"


def _row(values: Array) -> str:
    return "[" + ", ".join(f"{float(v):.4f}" for v in values) + "]"


def _band_means(power: Array, f: Array) -> Array:
    means = []
    for centre in THIRDS:
        near = (f >= centre * 10**-0.05) & (f < centre * 10**0.05)
        if not near.any():
            near = np.arange(len(f)) == np.argmin(np.abs(f - centre))
        means.append(power[..., near].mean(axis=-1))
    return np.moveaxis(np.array(means), 0, -1)


def _bell(frequency_hz: float, gain_db: float, q: float) -> Array:
    """A resonance, as an analogue bell taken through the bilinear transform by hand."""
    w = 2.0 * np.pi * frequency_hz / RATE
    a, alpha = 10.0 ** (gain_db / 40.0), np.sin(w) / (2.0 * q)
    row = np.array([1 + alpha * a, -2 * np.cos(w), 1 - alpha * a, 1 + alpha / a, -2 * np.cos(w), 1 - alpha / a])
    return row / row[3]


def _high_pass(frequency_hz: float, q: float) -> Array:
    """A loudspeaker's second-order fall below its resonance."""
    w = 2.0 * np.pi * frequency_hz / RATE
    alpha, cos = np.sin(w) / (2.0 * q), np.cos(w)
    row = np.array([(1 + cos) / 2, -(1 + cos), (1 + cos) / 2, 1 + alpha, -2 * cos, 1 - alpha])
    return row / row[3]


def _loudspeaker(role: str, side: str, rng: np.random.Generator, car: dict[str, float]) -> Loudspeaker:
    place, aim, low, high, radius = SPEAKERS[role]
    mirror = -1.0 if side == "left" else 1.0
    at = np.array(place) * [1.0, mirror, 1.0] + rng.uniform(-0.03, 0.03, 3) * [1.0, 0.5, 1.0]
    low, high = low * rng.uniform(0.88, 1.14), high * rng.uniform(0.85, 1.15)
    bells = [
        _bell(np.exp(rng.uniform(np.log(low * 1.5), np.log(min(high, 18000.0)))), rng.uniform(-4, 4), rng.uniform(2, 6))
        for _ in range(4)
    ]
    roll = butter(2, min(high, 22500.0), fs=RATE, output="sos")
    gain = 10.0 ** ((car[role] + rng.uniform(-0.7, 0.7)) / 20.0) * (-1.0 if rng.random() < 0.25 else 1.0)
    latency = car["latency"] + rng.uniform(0.0, car["spread"])
    name = role if side == "centre" else f"{side} {role}"
    aim_unit = np.array(aim) * [1.0, mirror, 1.0]
    sections = np.vstack([[_high_pass(low, rng.uniform(0.55, 1.1))], bells, roll])
    beaming = 343.0 / (2.0 * np.pi * radius)
    return Loudspeaker(name, role, side, at, aim_unit / np.linalg.norm(aim_unit), sections, gain, latency, beaming)


def _places(count: int, head: Array, rng: np.random.Generator) -> tuple[Array, Array]:
    """Microphone positions round the head, and others between them that nobody measured."""
    corners = np.array([[0, 0, 0], [-0.08, -0.09, 0.03], [-0.08, 0.09, -0.03], [0.07, 0.10, 0.03], [0.06, -0.10, -0.03],
                        [-0.10, 0, 0.0], [0.0, 0.11, 0.05], [0.0, -0.11, 0.05], [0.09, 0.0, -0.05]])  # fmt: skip
    measured = head + corners[:count] + rng.uniform(-0.012, 0.012, (count, 3))
    others: list[Array] = []
    while len(others) < UNMEASURED:
        place = head + rng.uniform(-1.0, 1.0, 3) * [0.10, 0.12, 0.06]
        if np.linalg.norm(measured - place, axis=1).min() > 0.03:
            others.append(place)
    return measured, np.array(others)


def _room(order: int, size: Array, rng: np.random.Generator) -> object:
    import pyroomacoustics as pra

    pra.constants.set("rir_hpf_enable", False)
    pra.constants.set("num_threads", 1)

    def material(*names: str) -> object:
        mean = np.mean([MATERIALS[name] for name in names], axis=0) * rng.uniform(0.85, 1.15)
        return pra.Material({"description": names[0], "coeffs": list(np.clip(mean, 0.02, 0.95)), "center_freqs": BANDS})

    walls = {
        "west": material("glass", "door"),  # windscreen and dashboard
        "east": material("seats", "glass"),  # seat backs and tailgate
        "south": material("glass", "door"),
        "north": material("glass", "door"),
        "floor": material("carpet", "seats"),
        "ceiling": material("headlining"),
    }
    return pra.ShoeBox(size, fs=RATE, materials=walls, max_order=order, air_absorption=True)


def _propagate(item: Loudspeaker, places: Array, corner: Array, size: Array, seed: int, directive: bool) -> Array:
    """Room responses of one loudspeaker at every place, (places, samples), time zero at emission."""
    import pyroomacoustics as pra

    room = _room(ORDER, size, np.random.default_rng(seed + 5))
    at = np.clip(item.position_m - corner, 0.015, size - 0.015)
    pattern = None
    if directive:
        x, y, z = item.aim
        angles = {"azimuth": float(np.arctan2(y, x)), "colatitude": float(np.arccos(z)), "degrees": False}
        pattern = pra.directivities.Cardioid(orientation=pra.directivities.DirectionVector(**angles))
    room.add_source(at, directivity=pattern)  # type: ignore[attr-defined]
    room.add_microphone_array((places - corner).T)  # type: ignore[attr-defined]
    room.compute_rir()  # type: ignore[attr-defined]
    early = pra.constants.get("frac_delay_length") // 2
    out = np.zeros((len(places), SAMPLES))
    for row, rirs in zip(out, room.rir, strict=True):  # type: ignore[attr-defined]
        kept = rirs[0][early:][:SAMPLES]
        row[: len(kept)] = kept
    return out


def _heard(item: Loudspeaker, places: Array, corner: Array, size: Array, seed: int) -> Array:
    """From the electrical signal to the microphone: beaming, loudspeaker, converter, latency."""
    even = _propagate(item, places, corner, size, seed, directive=False)
    if item.role != "subwoofer":
        beam = _propagate(item, places, corner, size, seed, directive=True)
        low = butter(1, item.beaming_hz, fs=RATE, output="sos")
        high = butter(1, item.beaming_hz, "highpass", fs=RATE, output="sos")
        even = sosfilt(low, even) + sosfilt(high, beam)
    out = sosfilt(item.sections, even) * item.gain
    out = sosfilt(butter(6, 21500.0, fs=RATE, output="sos"), out)
    f = np.fft.rfftfreq(2 * SAMPLES, 1.0 / RATE)
    turned = np.fft.rfft(out, 2 * SAMPLES) * np.exp(-2j * np.pi * f * item.latency_s)
    return np.fft.irfft(turned)[..., :SAMPLES]


def _plan(
    seed: int, layout: str, driving_side: str
) -> tuple[np.random.Generator, Array, Array, tuple[Loudspeaker, ...]]:
    """What is decided before any acoustics: generator, size of the cabin, head, loudspeakers."""
    rng = np.random.default_rng([seed, sorted(LAYOUTS).index(layout)])
    size = np.array([2.4, 1.45, 1.15]) * rng.uniform(0.95, 1.05, 3)
    common: dict[str, float] = {role: float(rng.uniform(-8.0, 0.0)) for role in SPEAKERS}
    common["latency"] = float(rng.uniform(0.0, 0.002))
    common["spread"] = float(rng.choice([0.0, 0.0006]))
    mirror = 1.0 if driving_side == "right" else -1.0
    head = np.array([1.28, 0.36 * mirror, 0.98]) + rng.uniform(-0.03, 0.03, 3)
    loudspeakers = tuple(_loudspeaker(role, side, rng, common) for role, side in LAYOUTS[layout])
    return rng, size, head, loudspeakers


def _simulate(seed: int, layout: str, positions: int, driving_side: str) -> tuple[Array, ...]:
    """Measured places, unmeasured places, and the responses at measured, unmeasured and central places."""
    rng, size, head, loudspeakers = _plan(seed, layout, driving_side)
    corner = np.array([0.36, -size[1] / 2.0, 0.16])
    measured, others = _places(positions, head, rng)
    places = np.vstack([measured, others, [head]])
    heard = np.array([_heard(item, places, corner, size, seed) for item in loudspeakers])
    heard /= np.sqrt(np.mean(np.sum(heard**2, axis=-1)))
    cut = len(measured)
    return measured, others, heard[:, :cut], heard[:, cut:-1], heard[:, -1]


@cache
def make_car(seed: int, *, layout: str = "two-way+sub", positions: int = 7, driving_side: str = "right") -> Car:
    """The car of this seed; its room is simulated once and then kept in the temporary folder, keyed by this file's text."""
    key = hashlib.sha256(Path(__file__).read_bytes()).hexdigest()[:12]
    folder = Path(tempfile.gettempdir()) / f"cabinwright-cars-{key}"
    file = folder / f"{seed}-{layout.replace(' ', '-')}-{positions}-{driving_side}.npz"
    if file.is_file():
        with np.load(file) as kept:
            arrays = tuple(kept[name] for name in kept.files)
    else:
        arrays = _simulate(seed, layout, positions, driving_side)
        folder.mkdir(exist_ok=True)
        partial = folder / f"{uuid.uuid4().hex}.npz"  # several test processes may make the same car at once
        np.savez(partial, *arrays)
        partial.replace(file)
    _, _, head, loudspeakers = _plan(seed, layout, driving_side)
    return Car(seed, layout, driving_side, head, loudspeakers, *arrays)


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
) -> None:
    """Make ``build.toml`` and every recording in ``folder`` as a person's laptop would.

    ``folder/sweep.wav`` is played: channel 1 to the loudspeaker, channel 2 (markers only) to ``marker_channel``, by
    default the tweeter (or else the highest loudspeaker) on the far side from the driver. ``drift_ppm`` is how much
    faster the recorder's clock runs. Noise is white, ``snr_db`` below the mean square of each recording's sweep.
    """
    (folder / "recordings").mkdir(parents=True, exist_ok=True)
    (folder / "build.toml").write_text(car.build_toml(timing, suffix=suffix), encoding="utf-8", newline="\n")
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
            heard = fftconvolve(played[:, 0], car.measured[c, p]) * gain
            sigma = np.sqrt(np.mean(heard[: len(played)] ** 2) * 10.0 ** (-snr_db / 10.0))
            if timing == "marker":
                heard = heard + fftconvolve(played[:, 1], car.measured[marker, p]) * gain
            tracks = [heard, np.pad(played[:, 0], (0, len(heard) - len(played)))]
            lead, after = rng.integers(int(0.1 * RATE), int(0.6 * RATE), 2)
            tracks = [_drifted(np.pad(track, (lead, after)), drift_ppm) for track in tracks]
            tracks = [tracks[0] + rng.normal(scale=sigma, size=len(tracks[0])), tracks[1]]
            data = tracks[0] if timing == "marker" else np.stack(tracks, axis=1)
            soundfile.write(folder / recording_file(channel, position, suffix), data, RATE, subtype=subtype)


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
