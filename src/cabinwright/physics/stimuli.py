"""Sounds to listen with, made here: a voice of vowels, bursts of noise, clicks. The same each time.

The voice is a source and a filter: pulses of the glottis (Rosenberg 1971) at a pitch that falls and trembles a little, through
five resonances in series (Klatt 1980) at the formants of men's vowels (Peterson & Barney 1952). It is speech-like, not speech:
it has no consonants. Noise falls by 3 dB per octave; bursts rise and fall within 10 ms. Clicks go left, middle, right, middle.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["FORMANTS_HZ", "STIMULI", "stimulus", "vowel"]

Real = NDArray[np.float64]
FORMANTS_HZ = {
    "i": (270.0, 2290.0, 3010.0),
    "e": (530.0, 1840.0, 2480.0),
    "a": (730.0, 1090.0, 2440.0),
    "o": (570.0, 840.0, 2410.0),
    "u": (300.0, 870.0, 2240.0),
}  #: Peterson & Barney 1952, averages of men
UPPER_HZ = (3500.0, 4500.0)
WIDTHS_HZ = (60.0, 90.0, 120.0, 175.0, 250.0)  #: common practice after Klatt 1980
PITCH_HZ, VOWEL_S, GAP_S = 118.0, 0.55, 0.18
OPEN, CLOSING = 0.4, 0.16  #: shares of a period
PEAK = 0.5
STIMULI = ("voice", "noise", "clicks")


def stimulus(name: str, *, sample_rate_hz: float) -> Real:
    """(frames, 2) of one of ``STIMULI``. Raises ``KeyError`` for another name."""
    made = {"voice": _voice, "noise": _noise, "clicks": _clicks}[name](sample_rate_hz)
    return made * (PEAK / float(np.abs(made).max()))


def vowel(name: str, *, sample_rate_hz: float, length_s: float = VOWEL_S, pitch_hz: float = PITCH_HZ) -> Real:
    """(frames,) one vowel of steady formants."""
    from scipy.signal import lfilter

    sound = _source(round(length_s * sample_rate_hz), pitch_hz, sample_rate_hz)
    for centre, width in zip((*FORMANTS_HZ[name], *UPPER_HZ), WIDTHS_HZ, strict=True):
        radius = np.exp(-np.pi * width / sample_rate_hz)
        b, c = 2.0 * radius * np.cos(2.0 * np.pi * centre / sample_rate_hz), -(radius**2)
        sound = lfilter([1.0 - b - c], [1.0, -b, -c], sound)
    return np.asarray(sound)


def _source(frames: int, pitch_hz: float, rate: float) -> Real:
    """Slope of Rosenberg's pulse: what the lips send out."""
    time = np.arange(frames) / rate
    pitch = pitch_hz * (1.0 - 0.08 * time) * (1.0 + 0.006 * np.sin(2.0 * np.pi * 5.2 * time))
    phase = np.mod(np.cumsum(pitch) / rate, 1.0)
    rising = 0.5 * (1.0 - np.cos(np.pi * phase / OPEN))
    falling = np.cos(0.5 * np.pi * (phase - OPEN) / CLOSING)
    flow = np.where(phase < OPEN, rising, np.where(phase < OPEN + CLOSING, falling, 0.0))
    return np.diff(flow, prepend=0.0)


def _voice(rate: float) -> Real:
    parts = []
    for number, name in enumerate(("a", "e", "i", "o", "u", "o", "a")):
        sound = vowel(name, sample_rate_hz=rate, pitch_hz=PITCH_HZ * (1.0, 1.12, 1.19, 1.0, 0.94, 1.06, 0.89)[number])
        parts += [_faded(sound / np.sqrt(np.mean(sound**2)), rate, 0.03), np.zeros(round(GAP_S * rate))]
    one = np.concatenate(parts)
    return np.stack([one, one], axis=1)


def _noise(rate: float) -> Real:
    rng = np.random.default_rng(11)
    parts = []
    for _ in range(8):
        frames = round(0.4 * rate)
        spectrum = np.fft.rfft(rng.normal(size=frames))
        frequency = np.fft.rfftfreq(frames, 1.0 / rate)
        spectrum *= np.where(
            (frequency > 40.0) & (frequency < 16_000.0), 1.0 / np.sqrt(np.maximum(frequency, 40.0)), 0.0
        )
        parts += [_faded(np.fft.irfft(spectrum, n=frames), rate, 0.01), np.zeros(round(0.3 * rate))]
    one = np.concatenate(parts)
    return np.stack([one, one], axis=1)


def _clicks(rate: float) -> Real:
    frames, apart = round(6.0 * rate), round(0.5 * rate)
    out = np.zeros((frames, 2))
    shape = np.hanning(round(0.0004 * rate) + 2)
    for number, start in enumerate(range(round(0.1 * rate), frames - len(shape), apart)):
        for side, gain in enumerate(((1.0, 0.0), (1.0, 1.0), (0.0, 1.0), (1.0, 1.0))[number % 4]):
            out[start : start + len(shape), side] += gain * shape
    return out


def _faded(sound: Real, rate: float, fade_s: float) -> Real:
    size = round(fade_s * rate)
    edge = 0.5 - 0.5 * np.cos(np.pi * (np.arange(size) + 0.5) / size)
    out = sound.copy()
    out[:size] *= edge
    out[-size:] *= edge[::-1]
    return out
