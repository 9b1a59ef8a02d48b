"""A sound card tried out before the car is: how late it is, whether the copy comes back, and how loud an rms of 1 is.

Absolute level: a sound calibrator after IEC 60942 gives 94 dB (re 20 µPa) at 1 kHz at the microphone; some give 114 dB. Its
tone is looked for in a narrow band, so that the room's noise does not count, and refused where it does not hold still.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from cabinwright.errors import CardError, RefusedError
from cabinwright.measure.sound_card.card import Block, Card, Source
from cabinwright.measure.sound_card.settings import CardSettings
from cabinwright.physics.sweep import Chirp

__all__ = ["CALIBRATOR_DB", "Tried", "calibrated", "listen", "try_out"]

Samples = NDArray[np.float32]
CALIBRATOR_DB = 94.0
TONE_HZ = 1000.0
WITHIN_HZ = (
    25.0  #: IEC 60942 allows a class 2 calibrator 2 % of its frequency, and a sound card's clock next to nothing
)
TONE_S = 3.0
STEADY_DB = 0.2
PURE = 0.8  #: share of the power above 200 Hz that lies in the tone
LEVEL = 0.1  #: of the test's chirp: 20 dB below full scale
TEST_S = 1.5


@dataclass(frozen=True, slots=True)
class Tried:
    """What a test showed."""

    copy_heard: bool  #: the second output came back at the copy's input
    delay_s: float | None  #: from playing to the copy; None where it was not heard
    copy_peak: float  #: linear full scale
    noise_db: float  #: of the microphone, rms, dB of full scale
    lost: bool  #: samples were lost meanwhile
    remark: str = ""  #: what to do, where something is not as it should be


def try_out(card: Card, settings: CardSettings) -> Tried:
    """Play a quiet chirp from the second output alone and listen for it. Raises ``CardError``."""
    rate = settings.sample_rate_hz
    chirp = Chirp(500.0, 4000.0, 0.2, 0.02)
    wave = (LEVEL * chirp.at(np.arange(round(chirp.length_s * rate)) / rate)).astype(np.float32)
    wide = max(settings.outputs, 1)
    at = settings.second_channel or settings.car_channel

    def source(first: int, count: int) -> Samples:
        part = wave[first : first + count]
        sent = np.zeros((len(part), wide), dtype=np.float32)
        sent[:, at - 1] = part
        return sent

    blocks = listen(card, settings, TEST_S, source if settings.output_name else None)
    heard = np.concatenate([block.samples for block in blocks])
    lost = any(block.lost for block in blocks)
    tail = heard[-round(0.4 * rate) :, settings.microphone_channel - 1].astype(np.float64)
    noise_db = 10.0 * float(np.log10(max(float(np.mean(tail**2)), 1e-14)))
    if not settings.output_name or not settings.copy_channel:
        return Tried(False, None, 0.0, noise_db, lost, _dead(noise_db))
    copy = heard[:, settings.copy_channel - 1]
    from scipy.signal import fftconvolve  # slow to import

    matched = np.abs(fftconvolve(copy, wave[::-1], mode="valid"))
    first = int(np.argmax(matched))
    there = bool(matched[first] > 12.0 * np.median(matched) + 1e-9)
    remark = _dead(noise_db) if there else _silent(heard, wave, settings)
    return Tried(there, first / rate if there else None, float(np.abs(copy).max()), noise_db, lost, remark)


def _dead(noise_db: float) -> str:
    return (
        "The microphone gives nothing at all. Plug it in, switch its supply on, and allow this program the microphone."
        if noise_db < -130.0
        else ""
    )


def _silent(heard: Samples, wave: Samples, settings: CardSettings) -> str:
    """Why the copy may be missing."""
    from scipy.signal import fftconvolve

    other = np.abs(fftconvolve(heard[:, settings.microphone_channel - 1], wave[::-1], mode="valid"))
    if other.max(initial=0.0) > 12.0 * np.median(other) + 1e-9:
        return (
            "The copy comes back at the microphone's input: exchange the two inputs, in the cable or in the settings."
        )
    return (
        f"Nothing came back at input {settings.copy_channel}. Join output {settings.second_channel} to it by a "
        "cable and turn its "
        "level up, or choose marker timing."
    )


def listen(card: Card, settings: CardSettings, length_s: float, source: Source | None) -> list[Block]:
    """Blocks of at least ``length_s`` while ``source`` plays. Raises ``CardError``."""
    blocks, frames = [], 0
    with card.open(settings, play=source) as stream:
        while frames < length_s * settings.sample_rate_hz:
            block = stream.read()
            if block is None:
                raise CardError("the sound card ended in the middle of the test. Plug it in anew and try again.")
            blocks.append(block)
            frames += len(block.samples)
    return blocks


def calibrated(card: Card, settings: CardSettings, *, level_db: float = CALIBRATOR_DB) -> CardSettings:
    """Settings that know how loud an rms of 1 is, with the calibrator on the microphone. Raises ``RefusedError``,
    ``CardError``."""
    rate = settings.sample_rate_hz
    alone = settings.model_copy(update={"output_name": ""})
    blocks = listen(card, alone, TONE_S + 0.5, None)
    if any(block.lost for block in blocks):
        raise RefusedError("samples were lost while the calibrator was heard. Close other programs and try again.")
    heard = np.concatenate([block.samples for block in blocks])[round(0.5 * rate) :, settings.microphone_channel - 1]
    if np.abs(heard).max(initial=0.0) > 0.98:
        raise RefusedError(
            "the calibrator's tone reaches full scale. Turn the microphone's input down; then calibrate again."
        )
    rms = _tone(heard.astype(np.float64), rate)
    unit = level_db - 20.0 * float(np.log10(rms))
    return settings.model_copy(update={"unit_level_db": round(unit, 2), "calibrated_on": date.today().isoformat()})


def _tone(wave: NDArray[np.float64], rate: float) -> float:
    """Rms of the tone near 1 kHz, where there is one that holds still."""
    pieces = wave[: len(wave) // 4 * 4].reshape(4, -1)
    window = np.hanning(pieces.shape[1] + 1)[:-1]
    power = np.abs(np.fft.rfft(pieces * window, axis=1)) ** 2 * 2.0 / (np.sum(window**2) * pieces.shape[1])
    frequency = np.fft.rfftfreq(pieces.shape[1], 1.0 / rate)
    near = np.abs(frequency - TONE_HZ) <= WITHIN_HZ
    tone, whole = power[:, near].sum(axis=1), power[:, frequency > 200.0].sum(axis=1)
    levels = 10.0 * np.log10(np.maximum(tone, 1e-20))
    if np.mean(tone) < PURE * np.mean(whole) or np.mean(tone) < 1e-12:
        raise RefusedError(
            f"no tone at {TONE_HZ:g} Hz is heard. Put the calibrator onto the microphone, switch it on, wait a "
            "moment, and try again."
        )
    if np.ptp(levels) > STEADY_DB:
        raise RefusedError(
            f"the tone's level moves by {np.ptp(levels):.1f} dB. Seat the calibrator firmly, check its battery, and try again."
        )
    return float(np.sqrt(np.mean(tone)))
