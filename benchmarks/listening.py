"""How much faster than it plays a track goes through two versions of a car, and how much memory a longer one takes.

    python benchmarks/listening.py

Aim: 20 times as fast as it plays on one core, with the same memory for one minute and for ten.
"""

from __future__ import annotations

import tempfile
import time
import tracemalloc
from pathlib import Path

import numpy as np
import soundfile
from scipy.signal import oaconvolve

from cabinwright.measure.listening import open_track, render
from cabinwright.physics.partitioned import BLOCK, Convolver
from common import load

RATE = 48_000
RESPONSE_S = 0.7  #: twice what the command uses
VERSIONS = ("before", "after")


def _track(folder: Path, seconds: int) -> Path:
    rng = np.random.default_rng(1)
    file = folder / f"{seconds}.flac"
    with soundfile.SoundFile(file, "w", 44_100, 2, "PCM_16") as out:
        for _ in range(seconds):
            out.write(0.1 * rng.normal(size=(44_100, 2)))
    return file


def _run(folder: Path, seconds: int) -> float:
    rng = np.random.default_rng(2)
    decay = np.exp(-np.arange(round(RESPONSE_S * RATE)) / (0.05 * RATE))
    responses = {name: 0.05 * rng.normal(size=(2, 2, len(decay))) * decay for name in VERSIONS}
    files = {name: folder / f"{name}.flac" for name in VERSIONS}
    track = open_track(str(_track(folder, seconds)))
    began = time.perf_counter()
    render(track, responses, files, sample_rate_hz=RATE, form="flac", progress=lambda what, share: None)
    return time.perf_counter() - began


def _convolution() -> tuple[float, float]:
    """Seconds for a minute of two sides to two ears: ours block by block, and SciPy's with all of it in memory."""
    rng = np.random.default_rng(3)
    kernel, signal = rng.normal(size=(2, 2, round(RESPONSE_S * RATE))), rng.normal(size=(60 * RATE // BLOCK * BLOCK, 2))
    began = time.perf_counter()
    through = Convolver(kernel)
    for start in range(0, len(signal), BLOCK):
        through(signal[start : start + BLOCK])
    ours = time.perf_counter() - began
    began = time.perf_counter()
    for side in range(2):
        oaconvolve(signal[:, side, None], kernel[side].T, axes=0)
    return ours, time.perf_counter() - began


def main() -> None:
    print(load())
    ours, theirs = _convolution()
    print(
        f"convolution alone, 60 s: {ours:.2f} s; SciPy's oaconvolve: {theirs:.2f} s, {theirs / ours:.1f} times as long"
    )
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        _run(folder, 2)
        took = _run(folder, 120)
        print(
            f"two versions of 120 s at 44.1 kHz, resampled, measured and written: {120.0 / took:.0f} times as fast as it plays"
        )
        for seconds in (60, 600):
            tracemalloc.start()
            _run(folder, seconds)
            print(
                f"memory of Python and NumPy at most, {seconds} s: {tracemalloc.get_traced_memory()[1] / 2**20:.0f} MB"
            )
            tracemalloc.stop()


if __name__ == "__main__":
    main()
