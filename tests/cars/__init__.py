"""Invented cars from seeds, simulated by pyroomacoustics (image sources) and never by the project's own acoustics.

A car is a box of about 2.4 x 1.45 x 1.15 m with glass, trim, carpet and seats; loudspeakers of its own character stand
in it (resonance, roll-off, breakup, beaming, sensitivity, polarity, latency). Responses are known at the measured
positions, at positions nobody measured round the head, and at the head's centre. Everything follows from the seed.
"""

from __future__ import annotations

import hashlib
import tempfile
import uuid
from functools import cache
from pathlib import Path

import numpy as np

from cars.car import HOUSE_CURVE, THIRDS, ZERO, Car
from cars.loudspeakers import LAYOUTS, RATE, SPEAKERS, Array, Loudspeaker, make_loudspeaker
from cars.recordings import far_tweeter, record, recording_file, write_recordings
from cars.room import SAMPLES, heard_at

__all__ = [
    "HOUSE_CURVE",
    "LAYOUTS",
    "RATE",
    "SAMPLES",
    "THIRDS",
    "ZERO",
    "Car",
    "Loudspeaker",
    "far_tweeter",
    "heard_at",
    "make_car",
    "record",
    "recording_file",
    "write_recordings",
]
UNMEASURED = 14


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
    loudspeakers = tuple(make_loudspeaker(role, side, rng, common) for role, side in LAYOUTS[layout])
    return rng, size, head, loudspeakers


def _simulate(seed: int, layout: str, positions: int, driving_side: str) -> tuple[Array, ...]:
    """Measured places, unmeasured places, then the responses there, at the head and without walls."""
    rng, size, head, loudspeakers = _plan(seed, layout, driving_side)
    corner = np.array([0.36, -size[1] / 2.0, 0.16])
    measured, others = _places(positions, head, rng)
    places = np.vstack([measured, others, [head]])
    heard = np.array([heard_at(item, places, corner, size, seed) for item in loudspeakers])
    direct = np.array([heard_at(item, head[None], corner, size, seed, order=0)[0] for item in loudspeakers])
    scale = 1.0 / np.sqrt(np.mean(np.sum(heard**2, axis=-1)))
    heard, direct, cut = heard * scale, direct * scale, len(measured)
    return measured, others, heard[:, :cut], heard[:, cut:-1], heard[:, -1], direct


def _own_text() -> bytes:
    return b"".join(file.read_bytes() for file in sorted(Path(__file__).parent.glob("*.py")))


@cache
def make_car(seed: int, *, layout: str = "two-way+sub", positions: int = 7, driving_side: str = "right") -> Car:
    """The car of this seed; its room is simulated once and kept in the temporary folder until these files change."""
    key = hashlib.sha256(_own_text()).hexdigest()[:12]
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
