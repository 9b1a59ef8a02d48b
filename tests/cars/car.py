"""What is known of an invented car, and what perfect recordings of it would give."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cabinwright.physics.response import RecordedResponses
from cars.loudspeakers import RATE, Array, Loudspeaker
from cars.room import SAMPLES

ZERO = 2400
THIRDS = 1000.0 * 10.0 ** (np.arange(-17, 14) / 10.0)
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


@dataclass(frozen=True, eq=False)
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
    direct: Array  #: (channels, samples) at the head's centre without any walls
    house_curve: tuple[tuple[float, float], ...] = HOUSE_CURVE
    peaking_filters: int = 10
    processor_extra: str = ""
    title: str = "An invented car"
    vehicle: str = "invented"

    @property
    def channels(self) -> tuple[str, ...]:
        return tuple(item.name for item in self.loudspeakers)

    @property
    def positions(self) -> tuple[str, ...]:
        return tuple(f"p{i + 1}" for i in range(len(self.places_m)))

    def build_toml(self, timing: str | None, *, suffix: str = "wav", tuning_extra: str = "") -> str:
        """The build document; ``timing`` is loopback, marker or impulse; None leaves recordings out."""
        rows = [
            "schema = 1",
            f'title = "{self.title}"',
            f'[vehicle]\nname = "{self.vehicle}"\ndriving_side = "{self.driving_side}"',
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
        return "\n".join([*rows, tuning_extra]) + "\n"

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
