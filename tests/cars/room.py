"""The cabin as pyroomacoustics (image sources) hears it."""

from __future__ import annotations

import numpy as np
from scipy.signal import butter, sosfilt

from cars.loudspeakers import RATE, Array, Loudspeaker

SAMPLES = 16384
ORDER = 15

#: Absorption per octave band from 125 Hz to 8 kHz: the order of magnitude of glass, headlining, carpet and seats.
#: The bass is absorbed by body panels that give way; hence more than a building would show.
MATERIALS = {
    "glass": (0.30, 0.25, 0.20, 0.17, 0.15, 0.13, 0.12),
    "door": (0.35, 0.34, 0.34, 0.36, 0.38, 0.40, 0.42),
    "headlining": (0.25, 0.30, 0.42, 0.50, 0.55, 0.55, 0.55),
    "carpet": (0.22, 0.25, 0.35, 0.45, 0.55, 0.60, 0.65),
    "seats": (0.35, 0.45, 0.55, 0.62, 0.68, 0.70, 0.70),
}
BANDS = (125, 250, 500, 1000, 2000, 4000, 8000)


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


def _propagate(
    item: Loudspeaker, places: Array, corner: Array, size: Array, seed: int, directive: bool, order: int
) -> Array:
    """Room responses of one loudspeaker at every place, (places, samples), time zero at emission."""
    import pyroomacoustics as pra

    room = _room(order, size, np.random.default_rng(seed + 5))
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


def heard_at(item: Loudspeaker, places: Array, corner: Array, size: Array, seed: int, order: int = ORDER) -> Array:
    """From the electrical signal to the microphone: beaming, loudspeaker, converter, latency. ``order`` 0: no walls."""
    even = _propagate(item, places, corner, size, seed, directive=False, order=order)
    if item.role != "subwoofer":
        beam = _propagate(item, places, corner, size, seed, directive=True, order=order)
        low = butter(1, item.beaming_hz, fs=RATE, output="sos")
        high = butter(1, item.beaming_hz, "highpass", fs=RATE, output="sos")
        even = sosfilt(low, even) + sosfilt(high, beam)
    out = sosfilt(item.sections, even) * item.gain
    out = sosfilt(butter(6, 21500.0, fs=RATE, output="sos"), out)
    f = np.fft.rfftfreq(2 * SAMPLES, 1.0 / RATE)
    turned = np.fft.rfft(out, 2 * SAMPLES) * np.exp(-2j * np.pi * f * item.latency_s)
    return np.fft.irfft(turned)[..., :SAMPLES]
