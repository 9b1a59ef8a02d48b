"""Small invented systems for the tests of the tune: rays, plausible loudspeakers, noise. They share no code with the package.

A system is named by its loudspeakers: ``make_case("left tweeter", "right tweeter", "subwoofer")``. The first word says the
side, the rest the role; a number at the end only tells two of a kind apart.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from cabinwright.build.document import Build
from cabinwright.physics.response import RecordedResponses

HEAD = np.array([1.3, 0.36, 1.0])
ZERO = 256
SPEED = 343.0
CENTRES = 1000.0 * 10.0 ** (np.arange(-17, 14) / 10.0)
TWO_WAY = ("left midbass", "right midbass", "left tweeter", "right tweeter")

#: role: place on the right, band of the bare loudspeaker in Hz
ROLES = {
    "tweeter": ((0.7, 0.65, 0.95), (1200.0, 26000.0)),
    "midrange": ((0.6, 0.55, 0.85), (180.0, 9000.0)),
    "midbass": ((0.8, 0.7, 0.45), (60.0, 5000.0)),
    "woofer": ((0.9, 0.7, 0.4), (45.0, 2500.0)),
    "coaxial": ((0.8, 0.7, 0.5), (75.0, 20000.0)),
    "fullrange": ((0.5, 0.3, 0.8), (110.0, 19000.0)),
    "subwoofer": ((2.6, 0.15, 0.3), (28.0, 500.0)),
    "rear fill": ((2.05, 0.69, 0.66), (90.0, 16000.0)),
    "centre": ((0.5, 0.02, 0.84), (130.0, 17000.0)),
}


@dataclass(frozen=True)
class Case:
    """A build and what its recordings gave."""

    build: Build
    responses: RecordedResponses


def role_and_side(name: str) -> tuple[str, str]:
    """``"left tweeter"`` is a tweeter on the left; a name without a side stands in the centre."""
    words = name.rstrip(" 0123456789").split(" ")
    side = words.pop(0) if words[0] in ("left", "right") else "centre"
    return " ".join(words), side


def place_of(name: str) -> np.ndarray:
    role, side = role_and_side(name)
    x, y, z = ROLES[role][0]
    last = int(name[-1]) if name[-1].isdigit() else 0
    return np.array([x + 0.05 * last, -y if side == "left" else y, z])


def make_build(
    names: Sequence[str],
    *,
    positions: int = 4,
    processor: Mapping[str, Any] | None = None,
    tuning: Mapping[str, Any] | None = None,
    speaker: Mapping[str, Mapping[str, Any]] | None = None,
    channels: Mapping[str, Sequence[str]] | None = None,
    placed: bool = True,
) -> Build:
    """The document; ``speaker`` adds fields to one loudspeaker, ``channels`` says what hangs on each output."""
    rows = []
    for name in names:
        role, side = role_and_side(name)
        row: dict[str, Any] = {"name": name, "role": role, "side": side}
        if placed:
            row["position_m"] = place_of(name).tolist()
        rows.append({**row, **(speaker or {}).get(name, {})})
    return Build.model_validate_json(
        json.dumps(
            {
                "schema": 1,
                "title": "An invented system",
                "vehicle": {"name": "invented", "driving_side": "right"},
                "seats": [{"name": "driver", "head_m": HEAD.tolist()}, {"name": "rear", "head_m": [2.2, 0.36, 1.0]}],
                "processor": {"peaking_filters": 2, "crossover_slopes_db_per_octave": [24], **(processor or {})},
                "speakers": rows,
                "channels": [
                    {"name": name, "speakers": list(members)}
                    for name, members in (channels or {name: [name] for name in names}).items()
                ],
                "microphone_positions": [
                    {"name": f"p{k + 1}", "at_m": place.tolist(), "seat": "driver"}
                    for k, place in enumerate(places(positions))
                ],
                "tuning": {"seat": "driver", **(tuning or {})},
            }
        )
    )


def places(count: int) -> np.ndarray:
    """Where the microphone stood."""
    return HEAD + np.random.default_rng(5).uniform(-0.1, 0.1, (count, 3)) * [1.0, 1.0, 0.5]


def spectra_of(name: str, at: np.ndarray, frequency_hz: np.ndarray, *, seed: int, rays: int = 10) -> np.ndarray:
    """(places, bins): a direct ray with the distance's own delay and loss, and decaying ones from everywhere."""
    rng = np.random.default_rng([seed, *name.encode()])
    distance = np.linalg.norm(at - place_of(name), axis=1)
    total = np.exp(-2j * np.pi * np.outer(distance / SPEED, frequency_hz)) / distance[:, None]
    for late in np.sort(rng.exponential(0.008, rays)) + 0.0006:
        way = rng.normal(size=3)
        time = np.linalg.norm(HEAD - place_of(name)) / SPEED + late + (at - HEAD) @ way / np.linalg.norm(way) / SPEED
        size = rng.choice([-1.0, 1.0]) * rng.uniform(0.2, 0.6) * np.exp(-late / 0.01)
        total += size * np.exp(-2j * np.pi * np.outer(time, frequency_hz))
    low, high = ROLES[role_and_side(name)[0]][1]
    s = 1j * frequency_hz
    return total * (s / low) ** 2 / (1 + 1.4 * s / low + (s / low) ** 2) / (1 + 1.4 * s / high + (s / high) ** 2)


def make_responses(
    build: Build,
    *,
    seed: int = 1,
    rate_hz: float = 48000.0,
    samples: int = 4096,
    gain: Mapping[str, float] | None = None,
    missing: Sequence[tuple[str, str]] = (),
    noise: float = 1e-4,
) -> RecordedResponses:
    """Responses of every channel; ``gain`` scales a channel (negative: wired the wrong way round)."""
    names = tuple(item.name for item in build.channels)
    positions = tuple(item.name for item in build.microphone_positions)
    at = np.array([item.at_m for item in build.microphone_positions])
    frequency = np.fft.rfftfreq(samples, 1.0 / rate_hz)
    rng = np.random.default_rng(seed)
    turn = np.exp(-2j * np.pi * frequency * ZERO / rate_hz)
    spectra = np.array(
        [
            sum(spectra_of(s, at, frequency, seed=seed) for s in item.speakers) * (gain or {}).get(item.name, 1.0)
            for item in build.channels
        ]
    )
    impulse = np.fft.irfft(spectra * turn, samples) + noise * rng.normal(size=(len(names), len(positions), samples))
    present = np.ones(impulse.shape[:2], dtype=bool)
    for channel, position in missing:
        present[names.index(channel), positions.index(position)] = False
    impulse[~present] = 0.0
    shape = (*present.shape, len(CENTRES))
    return RecordedResponses(
        sample_rate_hz=rate_hz,
        channels=names,
        positions=positions,
        impulse=impulse,
        zero_sample=ZERO,
        present=present,
        band_centres_hz=CENTRES,
        noise_power=np.full(shape, samples * noise**2),
        snr_db=np.full(shape, 60.0),
        clock_drift_ppm=np.zeros(present.shape),
        absolute_time=True,
    )


def make_case(*names: str, **options: Any) -> Case:
    """Build and responses; options of ``make_build`` and ``make_responses``."""
    own = {
        key: options.pop(key) for key in ("seed", "rate_hz", "samples", "gain", "missing", "noise") if key in options
    }
    if "rate_hz" in own:
        options["processor"] = {"sample_rate_hz": own["rate_hz"], **options.get("processor", {})}
    build = make_build(names, **options)
    return Case(build, make_responses(build, **own))
