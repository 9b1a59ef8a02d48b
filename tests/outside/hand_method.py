"""The textbook hand method, to compare with: a careful person with a tape, noise and a third-octave equaliser.

Fourth-order Linkwitz-Riley crossovers at fixed frequencies by role (80, 350 and 3000 Hz), delays from tape distances,
levels from band noise, then 31 third-octave bells of Q 4.318 with at most 6 dB of cut or boost on every channel until
the averaged levels follow the house curve. Filters are written out here; none of the project's functions are used.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt, sosfreqz

from cabinwright.physics.response import RecordedResponses
from cars import RATE, Car

Array = NDArray[np.float64]
COUNT = 65536
CENTRES = 1000.0 * 10.0 ** (np.arange(-17, 14) / 10.0)
Q, LIMIT_DB, SPEED = 4.318, 6.0, 343.0
ORDER = ("subwoofer", "woofer", "midbass", "midrange", "coaxial", "fullrange", "tweeter")
SPLITS = {"subwoofer": 80.0, "woofer": 80.0, "midbass": 350.0, "midrange": 3000.0}


def hand_tune(
    car: Car, responses: RecordedResponses, *, rounds: int = 1, alone: bool = False, polarity: bool = False
) -> dict[str, Any]:
    """Settings in the form of ``settings.json``.

    The textbook equalises once (``rounds = 1``) from the levels of a side; ``alone`` takes each loudspeaker by itself
    instead, and a patient person listens again and corrects once more (``rounds = 2``). ``polarity`` adds a check of
    each crossover by ear, both ways round.
    """
    edges = [_edges(car, index) for index in range(len(car.loudspeakers))]
    banks = [_crossover(low, high) for low, high in edges]
    distance = np.array([np.linalg.norm(item.position_m - car.head_m) for item in car.loudspeakers])
    delays = np.round((distance.max() - distance) / SPEED * RATE) / RATE
    signs = np.ones(len(banks))
    gains = _levels_from_noise(car, responses, edges, banks)
    if polarity:
        signs = _by_ear(car, responses, banks, gains, delays)
    bells = np.zeros((len(banks), len(CENTRES)))
    for _ in range(rounds):
        spectra = _spectra(responses, banks, gains, delays, signs, bells)
        wishes = _wishes_alone(car, edges, spectra) if alone else _wishes_of_sides(car, spectra)
        inside = np.array([_inside(*edge) for edge in edges])
        bells = np.clip(np.round(np.where(inside, bells + wishes, 0.0), 1), -LIMIT_DB, LIMIT_DB)
    gains = gains - gains.max()
    rows = []
    for index, item in enumerate(car.loudspeakers):
        sections = np.vstack([banks[index], _bells(bells[index])])
        rows.append(
            {
                "name": item.name,
                "gain_db": round(float(gains[index]), 1),
                "polarity": "normal" if signs[index] > 0 else "inverted",
                "delay_s": float(delays[index]),
                "sections": sections.tolist(),
                "filters": [],
            }
        )
    return {"sample_rate_hz": float(RATE), "channels": rows}


def untouched(car: Car) -> dict[str, Any]:
    """No tune at all."""
    row = {"gain_db": 0.0, "polarity": "normal", "delay_s": 0.0, "sections": [], "filters": []}
    return {"sample_rate_hz": float(RATE), "channels": [{"name": name, **row} for name in car.channels]}


def _edges(car: Car, index: int) -> tuple[float, float]:
    """High-pass and low-pass corner of a channel; 0 and infinity where it has none."""
    stage = sorted({item.role for item in car.loudspeakers if item.role in ORDER}, key=ORDER.index)
    role = car.loudspeakers[index].role
    if role == "rear fill":
        return 300.0, 4000.0
    if role == "centre":
        return 300.0, np.inf
    at = stage.index(role)

    def split(lower: str, upper: str) -> float:
        return 3000.0 if (lower, upper) == ("midbass", "tweeter") else SPLITS[lower]

    low = split(stage[at - 1], role) if at else 0.0
    high = split(role, stage[at + 1]) if at + 1 < len(stage) else np.inf
    return low, high


def _crossover(low: float, high: float) -> Array:
    """Linkwitz-Riley of fourth order: a second-order Butterworth twice (Linkwitz 1976)."""
    sections = [butter(2, low, "highpass", fs=RATE, output="sos")] * 2 if low else []
    sections += [butter(2, high, fs=RATE, output="sos")] * 2 if np.isfinite(high) else []
    return np.vstack(sections) if sections else np.empty((0, 6))


def _bells(gains_db: Array) -> Array:
    """Third-octave bells by the published cookbook; bands left alone are left out."""
    rows = [np.empty((0, 6))]
    for centre, gain in zip(CENTRES, gains_db, strict=True):
        if abs(gain) >= 0.05:
            w, a = 2.0 * np.pi * centre / RATE, 10.0 ** (gain / 40.0)
            alpha, cos = np.sin(w) / (2.0 * Q), np.cos(w)
            row = np.array([1 + alpha * a, -2 * cos, 1 - alpha * a, 1 + alpha / a, -2 * cos, 1 - alpha / a])
            rows.append(row[None] / row[3])
    return np.vstack(rows)


def _thirds_db(power: Array) -> Array:
    """(31,) levels of a power spectrum in third octaves."""
    f = np.fft.rfftfreq(COUNT, 1.0 / RATE)
    return 10.0 * np.log10([power[(f >= c * 10**-0.05) & (f < c * 10**0.05)].mean() for c in CENTRES])


def _house_db(car: Car) -> Array:
    points = np.asarray(car.house_curve)
    return np.interp(np.log(CENTRES), np.log(points[:, 0]), points[:, 1])


def _inside(low: float, high: float) -> NDArray[np.bool_]:
    least, most = max(low, 31.0), min(high, 14000.0)
    return (least <= CENTRES) & (most >= CENTRES)


def _levels_from_noise(
    car: Car, responses: RecordedResponses, edges: list[tuple[float, float]], banks: list[Array]
) -> Array:
    """Gain of each channel so that noise in its own band is as loud as the house curve asks."""
    gains = []
    for impulse, (low, high), bank, item in zip(responses.impulse, edges, banks, car.loudspeakers, strict=True):
        heard = sosfilt(bank, impulse) if len(bank) else impulse
        levels = _thirds_db((np.abs(np.fft.rfft(heard, COUNT)) ** 2).mean(axis=0))
        use = _inside(low, high)
        if item.role == "subwoofer":
            use &= CENTRES >= 35.0
        wish = _house_db(car)[use] - (10.0 if item.role in ("rear fill", "centre") else 0.0)
        gains.append(float(np.mean(wish) - 10.0 * np.log10(np.mean(10.0 ** (levels[use] / 10.0)))))
    return np.array(gains)


def _spectra(
    responses: RecordedResponses, banks: list[Array], gains: Array, delays: Array, signs: Array, bells: Array
) -> NDArray[np.complex128]:
    """Processed spectra, (channels, positions, bins)."""
    f = np.fft.rfftfreq(COUNT, 1.0 / RATE)
    spectra = np.fft.rfft(responses.impulse, COUNT)
    for index, bank in enumerate(banks):
        sections = np.vstack([bank, _bells(bells[index])])
        shape = sosfreqz(sections, worN=f, fs=RATE)[1] if len(sections) else 1.0
        turn = np.exp(-2j * np.pi * f * delays[index])
        spectra[index] *= signs[index] * 10.0 ** (gains[index] / 20.0) * turn * shape
    return spectra


def _sides(car: Car) -> Mapping[str, list[int]]:
    return {s: [i for i, x in enumerate(car.loudspeakers) if x.side in (s, "centre")] for s in ("left", "right")}


def _wishes_of_sides(car: Car, spectra: NDArray[np.complex128]) -> Array:
    """(channels, 31) what each side lacks, dB; a channel of both sides takes the mean."""
    lacking = {}
    for side, chosen in _sides(car).items():
        error = _house_db(car) - _thirds_db((np.abs(spectra[chosen].sum(axis=0)) ** 2).mean(axis=0))
        lacking[side] = error - error[_inside(40.0, 12500.0)].mean()
    sides = [[s for s in ("left", "right") if item.side in (s, "centre")] for item in car.loudspeakers]
    return np.array([np.mean([lacking[s] for s in mine], axis=0) for mine in sides])


def _wishes_alone(car: Car, edges: list[tuple[float, float]], spectra: NDArray[np.complex128]) -> Array:
    """(channels, 31) what each loudspeaker lacks in its own band, dB."""
    wishes = []
    for own, edge in zip(spectra, edges, strict=True):
        error = _house_db(car) - _thirds_db((np.abs(own) ** 2).mean(axis=0))
        wishes.append(error - error[_inside(*edge)].mean())
    return np.array(wishes)


def _by_ear(car: Car, responses: RecordedResponses, banks: list[Array], gains: Array, delays: Array) -> Array:
    """Each channel from the bottom up: the way round that is louder in the octave about its lower crossover."""
    f = np.fft.rfftfreq(COUNT, 1.0 / RATE)
    signs = np.ones(len(banks))
    spectra = _spectra(responses, banks, gains, delays, signs, np.zeros((len(banks), len(CENTRES))))
    settled: list[int] = []
    for index in sorted(range(len(banks)), key=lambda i: _edges(car, i)[0]):
        low = _edges(car, index)[0]
        partners = [i for i in settled if car.loudspeakers[i].side in (car.loudspeakers[index].side, "centre")]
        if low and partners:
            near = (f > low / 1.41) & (f < low * 1.41)
            rest = (signs[partners, None, None] * spectra[partners][..., near]).sum(axis=0)
            own = spectra[index][..., near]
            if (np.abs(rest - own) ** 2).sum() > (np.abs(rest + own) ** 2).sum():
                signs[index] = -1.0
        settled.append(index)
    return signs
