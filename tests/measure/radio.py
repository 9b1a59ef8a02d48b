"""A car radio that does not exist: what it does to left and right, and captures of it with clocks that disagree.

Filters are SciPy's (and sox's where it is installed), never the project's own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import scipy.fft
import scipy.signal
import soundfile
import soxr

RATE = 48000


def peaking(frequency: float, gain: float, q: float) -> np.ndarray:
    """R. Bristow-Johnson's cookbook, typed from the published page."""
    a, w = 10 ** (gain / 40), 2 * np.pi * frequency / RATE
    alpha = np.sin(w) / (2 * q)
    b0, b1, b2 = 1 + alpha * a, -2 * np.cos(w), 1 - alpha * a
    a0, a2 = 1 + alpha / a, 1 - alpha / a
    return np.array([[b0, b1, b2, a0, b1, a2]]) / a0


def low_shelf(frequency: float, gain: float) -> np.ndarray:
    """The same page, slope 1."""
    a, w = 10 ** (gain / 40), 2 * np.pi * frequency / RATE
    alpha, cos = np.sin(w) / np.sqrt(2), np.cos(w)
    root = 2 * np.sqrt(a) * alpha
    b = [a * ((a + 1) - (a - 1) * cos + root), 2 * a * ((a - 1) - (a + 1) * cos), a * ((a + 1) - (a - 1) * cos - root)]
    d = [(a + 1) + (a - 1) * cos + root, -2 * ((a - 1) + (a + 1) * cos), (a + 1) + (a - 1) * cos - root]
    return np.array([[*b, *d]]) / d[0]


def high_shelf(frequency: float, gain: float) -> np.ndarray:
    """The same page, slope 1."""
    a, w = 10 ** (gain / 40), 2 * np.pi * frequency / RATE
    alpha, cos = np.sin(w) / np.sqrt(2), np.cos(w)
    root = 2 * np.sqrt(a) * alpha
    b = [a * ((a + 1) + (a - 1) * cos + root), -2 * a * ((a - 1) + (a + 1) * cos), a * ((a + 1) + (a - 1) * cos - root)]
    d = [(a + 1) - (a - 1) * cos + root, 2 * ((a - 1) - (a + 1) * cos), (a + 1) - (a - 1) * cos - root]
    return np.array([[*b, *d]]) / d[0]


def all_pass(frequency: float, q: float) -> np.ndarray:
    """The same page."""
    w = 2 * np.pi * frequency / RATE
    alpha = np.sin(w) / (2 * q)
    b = [1 - alpha, -2 * np.cos(w), 1 + alpha]
    return np.array([[*b, *b[::-1]]]) / b[2]


def butter(order: int, corner: float | tuple[float, float], kind: str) -> np.ndarray:
    return np.asarray(scipy.signal.butter(order, corner, kind, fs=RATE, output="sos"))


def linkwitz_riley(order: int, corner: float, kind: str) -> np.ndarray:
    """A Butterworth of half the order, twice."""
    half = butter(order // 2, corner, kind)
    return np.concatenate([half, half])


@dataclass(frozen=True)
class Output:
    """One output: what it takes of left and right, then its filters."""

    name: str
    left: float = 0.0
    right: float = 0.0
    sos: Sequence[np.ndarray] = ()
    delay_s: float = 0.0
    polarity: float = 1.0
    limit: float = 0.0  #: peak that the limiter of its bass allows; 0: none
    limit_right: float = 0.0  #: the same, of its right part alone
    of_left: Sequence[np.ndarray] = ()  #: filters that only its left part passes, as a crossfeed may have
    of_right: Sequence[np.ndarray] = ()
    late_s: tuple[float, float] = (0.0, 0.0)  #: delays of its left and right part


@dataclass(frozen=True)
class Radio:
    outputs: tuple[Output, ...]
    noise: float = 10 ** (-85 / 20)  #: rms of full scale
    step_db: float = 1.0
    top: int = 30  #: the volume at which nothing is taken away
    contour: dict[int, np.ndarray] = field(default_factory=dict)  #: loudness filter by volume

    def play(self, file: np.ndarray, output: Output, volume: int | None) -> np.ndarray:
        """What one output gives for a file (samples, 2)."""
        wave = np.zeros(len(file))
        for k, (share, banks) in enumerate(((output.left, output.of_left), (output.right, output.of_right))):
            if share:
                part = share * file[:, k]
                for bank in banks:
                    part = scipy.signal.sosfilt(bank, part)
                if k == 1 and output.limit_right:
                    part = limited(part, output.limit_right)
                wave = wave + delayed(part, output.late_s[k])
        if volume is not None:
            wave = wave * 10 ** ((volume - self.top) * self.step_db / 20)
            if volume in self.contour:
                wave = scipy.signal.sosfilt(self.contour[volume], wave)
        for bank in output.sos:
            wave = scipy.signal.sosfilt(bank, wave)
        if output.limit:
            wave = limited(wave, output.limit)
        return output.polarity * delayed(wave, output.delay_s)


def delayed(wave: np.ndarray, delay_s: float) -> np.ndarray:
    if not delay_s:
        return wave
    size = scipy.fft.next_fast_len(len(wave) + RATE, real=True)
    turn = np.exp(-2j * np.pi * np.fft.rfftfreq(size, 1 / RATE) * delay_s)
    return scipy.fft.irfft(scipy.fft.rfft(wave, size) * turn, size)[: len(wave)]


def limited(wave: np.ndarray, limit: float) -> np.ndarray:
    """Bass below 150 Hz held under a peak, by an envelope that lets go slowly; the rest passes."""
    low = scipy.signal.sosfilt(linkwitz_riley(4, 150.0, "low"), wave)
    rest = scipy.signal.sosfilt(linkwitz_riley(4, 150.0, "high"), wave)
    block = RATE // 100
    count = -(-len(low) // block)
    peaks = np.abs(np.pad(low, (0, count * block - len(low)))).reshape(count, block).max(axis=1)
    held = np.copy(peaks)
    for n in range(1, count):
        held[n] = max(peaks[n], 0.9 * held[n - 1])
    ahead = np.maximum(held, np.append(held[1:], 0.0))
    gain = np.minimum(1.0, limit / np.maximum(ahead, 1e-9))
    smooth = np.interp(np.arange(len(low)), (np.arange(count) + 0.5) * block, gain)
    return low * smooth + rest


def capture(
    path: Path,
    radio: Radio,
    file: np.ndarray,
    output: Output,
    *,
    volume: int | None,
    start_s: float,
    drift: float,
    seed: int,
    rate: int = 48000,
) -> None:
    """Both channels of one capture on a recorder whose clock runs fast by ``drift``."""
    rng = np.random.default_rng(seed)
    both = np.stack([radio.play(file, item, volume) for item in (output, radio.outputs[0])], axis=1)
    both = np.pad(both, ((round(start_s * RATE), RATE), (0, 0)))
    both = delayed2(both, rng.uniform(0, 1) / RATE)
    both = soxr.resample(both, RATE, rate * (1 + drift), quality="VHQ")
    both = 0.5 * both + radio.noise * rng.standard_normal(both.shape)
    path.parent.mkdir(parents=True, exist_ok=True)
    soundfile.write(path, both, rate, subtype="PCM_24")


def delayed2(both: np.ndarray, delay_s: float) -> np.ndarray:
    return np.stack([delayed(both[:, k], delay_s) for k in (0, 1)], axis=1)


def capture_all(
    folder: Path, radio: Radio, file: np.ndarray, volumes: Sequence[int | None] = (None,), *, seed: int = 1
) -> str:
    """Captures of every output at every volume, and the tables of build.toml that list them."""
    rng = np.random.default_rng(seed)
    rows = [f'[[factory_outputs]]\nname = "{item.name}"\n' for item in radio.outputs]
    for number, output in enumerate(radio.outputs):
        for volume in volumes:
            name = f"captures/{number}_{volume}.wav"
            capture(
                folder / name, radio, file, output, volume=volume, start_s=float(rng.uniform(0.2, 3.0)),
                drift=float(rng.uniform(-200e-6, 200e-6)), seed=int(rng.integers(1 << 30)),
                rate=int(rng.choice([44100, 48000, 96000])),
            )  # fmt: skip
            at = "" if volume is None else f"volume = {volume}\n"
            rows.append(f'[[factory_recordings]]\noutput = "{output.name}"\n{at}file = "{name}"\n')
    return "\n".join(rows)


def response(output: Output, side: str, frequency: np.ndarray) -> np.ndarray:
    """Complex response of an output without its limiter, after SciPy."""
    whole = (output.left if side == "left" else output.right) * output.polarity
    late = output.delay_s + output.late_s[0 if side == "left" else 1]
    whole = whole * np.exp(-2j * np.pi * frequency * late)
    for bank in (*output.sos, *(output.of_left if side == "left" else output.of_right)):
        whole = whole * scipy.signal.sosfreqz(bank, frequency, fs=RATE)[1]
    return np.asarray(whole)


def repaired(radio: Radio, rows: Sequence[dict], side: str, *, size: int = 1 << 17) -> np.ndarray:
    """A click on one side only, through the radio and through the repair as plan.json states it, by SciPy alone."""
    click = np.zeros((size, 2))
    click[100, 0 if side == "left" else 1] = 1.0
    whole = np.zeros(size)
    for row in rows:
        output = next(item for item in radio.outputs if item.name == row["output"])
        wave = radio.play(click, output, None)
        if row["sections"]:
            wave = scipy.signal.sosfilt(np.array(row["sections"]), wave)
        sign = -1.0 if row["polarity"] == "inverted" else 1.0
        whole += sign * 10 ** (row["gain_db"] / 20) * delayed(wave, row["delay_s"])
    return whole


def level_30_to_16k(wave: np.ndarray) -> np.ndarray:
    """Level of a response [dB] at every bin from 30 Hz to 16 kHz."""
    frequency = np.fft.rfftfreq(len(wave), 1 / RATE)
    level = 20 * np.log10(np.maximum(np.abs(np.fft.rfft(wave)), 1e-9))
    return np.asarray(level[(frequency >= 30.0) & (frequency <= 16_000.0)])
