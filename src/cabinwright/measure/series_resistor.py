"""Impedance of a drive unit by a known resistor in series: the sound card plays through the resistor into the coil, one input
hears the whole voltage and one that across the coil.

    Z = R H / (1 - H),   H = U_coil / U_whole

The voltage divider; what the two inputs differ by is divided out with a first take in which both hear the whole voltage. H is the
least-squares transfer function over bands of a 48th octave, its coherence tells noise from truth (Bendat & Piersol 2010, ch. 6).
A coil far above or below R makes H nearly 1 or 0, and errors of H count more; a resistor between the coil's lowest and highest
impedance, 10 to 50 ohm, serves well (common practice).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len, rfft

from cabinwright.errors import PersonError, RefusedError
from cabinwright.measure.sound_card import Card, CardSettings
from cabinwright.measure.sound_card.check import listen
from cabinwright.physics.sweep import Sweep

__all__ = ["CAUTIONS", "Divided", "check_resistor", "impedance_of", "take", "text_of"]

Real = NDArray[np.float64]
Samples = NDArray[np.float32]
LOW_HZ, HIGH_HZ = 10.0, 2000.0
BANDS_PER_OCTAVE = 48
LENGTH_S, AFTER_S = 8.0, 1.0
LEVEL = 0.2  #: peak, linear full scale: small-signal figures are wanted
LEAST_COHERENCE = 0.995
RESISTORS_OHM = (0.5, 1000.0)
CAUTIONS = (
    "Only from the sound card's own output (line or headphones): both terminals of a car amplifier may carry voltage, and one "
    "of them on the input's ground ruins both.",
    "The drive unit lies free, nothing near its cone; never sweep a tweeter without its protective capacitor.",
)


@dataclass(frozen=True, slots=True)
class Divided:
    """One take: transfer function from the whole voltage to the other input, (bands,), and how sure it is."""

    frequency_hz: Real
    ratio: NDArray[np.complex128]
    coherence: Real


def check_resistor(resistor_ohm: float) -> None:
    """Raises ``PersonError`` for a resistor out of range."""
    if not RESISTORS_OHM[0] <= resistor_ohm <= RESISTORS_OHM[1]:
        raise PersonError(
            f"resistor: {RESISTORS_OHM[0]:g} to {RESISTORS_OHM[1]:g} ohm is wanted, got {resistor_ohm:g}."
        )


def take(card: Card, settings: CardSettings) -> Divided:
    """Play the sweep and hear both inputs: the whole voltage at the copy's, the other at the microphone's.

    Raises ``PersonError`` where no second input is chosen, ``RefusedError`` where a take is no good, ``CardError``.
    """
    if not settings.output_name or not settings.copy_channel:
        raise PersonError(
            "Two inputs and an output are wanted. Choose them with `cabinwright record --card`, timing loopback."
        )
    rate = settings.sample_rate_hz
    sweep = Sweep(0.7 * LOW_HZ, 1.4 * HIGH_HZ, LENGTH_S, fade_in_s=0.3, fade_out_s=0.05)
    wave = (LEVEL * sweep.at(np.arange(round(LENGTH_S * rate)) / rate)).astype(np.float32)

    def source(first: int, count: int) -> Samples:
        part = wave[first : first + count]
        sent = np.zeros((len(part), settings.outputs), dtype=np.float32)
        sent[:, settings.car_channel - 1] = part
        return sent

    blocks = listen(card, settings, LENGTH_S + AFTER_S, source)
    if any(block.lost or block.starved for block in blocks):
        raise RefusedError("samples were lost. Close other programs, choose a larger latency, and try again.")
    heard = np.concatenate([block.samples for block in blocks]).astype(np.float64)
    whole, coil = heard[:, settings.copy_channel - 1], heard[:, settings.microphone_channel - 1]
    if max(np.abs(whole).max(), np.abs(coil).max()) > 0.98:
        raise RefusedError(
            "an input reaches full scale. Turn it, or the output, down; then begin anew: both takes need one setting."
        )
    if np.sqrt(np.mean(whole**2)) < 1e-4:
        raise RefusedError(
            f"nothing comes back at input {settings.copy_channel}. Join it to the output, before the resistor."
        )
    return _divided(whole, coil, rate)


def _divided(whole: Real, coil: Real, rate: float) -> Divided:
    size = next_fast_len(len(whole), real=True)
    one, two = rfft(whole, n=size), rfft(coil, n=size)
    frequency = np.arange(len(one)) * rate / size
    count = int(BANDS_PER_OCTAVE * np.log2(HIGH_HZ / LOW_HZ)) + 1
    centres = LOW_HZ * 2.0 ** (np.arange(count) / BANDS_PER_OCTAVE)
    edges = centres * 2.0 ** (0.5 / BANDS_PER_OCTAVE)
    first = np.searchsorted(frequency, edges / 2.0 ** (1.0 / BANDS_PER_OCTAVE))
    last = np.maximum(np.searchsorted(frequency, edges), first + 1)

    def total(values: NDArray[np.complex128]) -> NDArray[np.complex128]:
        sums = np.concatenate([[0.0], np.cumsum(values)])
        return np.asarray(sums[last] - sums[first], dtype=np.complex128)

    cross, power = total(two * one.conj()), total(one * one.conj()).real
    other = total(two * two.conj()).real
    coherence = np.abs(cross) ** 2 / np.maximum(power * other, 1e-30)
    return Divided(centres, cross / np.maximum(power, 1e-30), coherence)


def impedance_of(both: Divided, coil: Divided, *, resistor_ohm: float) -> NDArray[np.complex128]:
    """Complex impedance [ohm] in the bands of ``coil``; ``both``: the take with both inputs on the whole voltage.

    Raises ``PersonError`` for a resistor out of range, ``RefusedError`` where the takes tell of a wrong connection.
    """
    check_resistor(resistor_ohm)
    alike = np.abs(both.ratio)
    if not 0.05 < np.median(alike) < 20.0 or np.ptp(20.0 * np.log10(np.maximum(alike, 1e-9))) > 6.0:
        raise RefusedError(
            "the two inputs do not hear the same in the first take. Join both to the output, before the resistor."
        )
    noisy = coil.coherence < LEAST_COHERENCE
    if np.count_nonzero(noisy) > 0.05 * len(noisy):
        at = coil.frequency_hz[noisy]
        raise RefusedError(
            f"noise hides the coil between {at[0]:.0f} and {at[-1]:.0f} Hz. Turn the output up, mend the contacts, "
            "shield the cables."
        )
    ratio = coil.ratio / both.ratio
    if np.median(np.abs(ratio)) > 0.995:
        raise RefusedError(
            "both inputs still hear the same: the coil is not connected, or the resistor is bridged. Join the microphone's "
            "input to the point between resistor and coil."
        )
    if np.median(np.abs(ratio)) < 0.003:
        raise RefusedError(
            "nothing is heard across the coil: it is bridged, or the cable is open. Mend the connection."
        )
    return np.asarray(resistor_ohm * ratio / (1.0 - ratio), dtype=np.complex128)


def text_of(frequency_hz: Real, impedance_ohm: NDArray[np.complex128], *, resistor_ohm: float) -> str:
    """The curve as plain text: frequency, magnitude and phase on each line."""
    rows = [f"# by a series resistor of {resistor_ohm:g} ohm", "frequency Hz; impedance ohm; phase deg"]
    rows += [
        f"{f:.4f}; {abs(z):.5g}; {np.degrees(np.angle(z)):.3f}"
        for f, z in zip(frequency_hz, impedance_ohm, strict=True)
    ]
    return "\n".join(rows) + "\n"
