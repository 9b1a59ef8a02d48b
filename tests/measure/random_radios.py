"""Radios that nobody designed: drawn at random, each kind with what carmakers' processing can do. SciPy's filters alone."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import scipy.signal

from measure.radio import RATE, Output, Radio, all_pass, butter, high_shelf, linkwitz_riley, low_shelf, peaking

__all__ = ["KINDS", "random_radio"]

Rng = np.random.Generator
Bank = np.ndarray


def split(rng: Rng, corner: float, kind: str) -> Callable[[str], Bank]:
    """A crossover's two halves, by family and slope."""
    order = int(rng.choice([1, 2, 3, 4, 6, 8]))
    if kind == "linkwitz":
        return lambda half: linkwitz_riley(2 * -(-order // 2), corner, half)
    if kind == "bessel":
        return lambda half: np.asarray(
            scipy.signal.bessel(min(order, 4), corner, half, fs=RATE, output="sos", norm="mag")
        )
    if kind == "chebyshev":
        return lambda half: np.asarray(scipy.signal.cheby1(max(order, 2), 0.5, corner, half, fs=RATE, output="sos"))
    if kind == "elliptic":
        return lambda half: np.asarray(scipy.signal.ellip(4, 0.5, 40, corner, half, fs=RATE, output="sos"))
    return lambda half: butter(order, corner, half)


FAMILIES = ("linkwitz", "linkwitz", "butter", "butter", "bessel", "chebyshev", "elliptic")


def sound(rng: Rng, low: float = 30.0, high: float = 15_000.0) -> list[Bank]:
    """An equaliser: shelves and bells up to 10 dB."""
    found = []
    if rng.random() < 0.6:
        found.append(low_shelf(float(rng.uniform(60, 250)), float(rng.uniform(-4, 8))))
    if rng.random() < 0.6:
        found.append(high_shelf(float(rng.uniform(2500, 9000)), float(rng.uniform(-8, 5))))
    for _ in range(int(rng.integers(0, 4))):
        corner = float(np.exp(rng.uniform(np.log(2 * low), np.log(0.6 * high))))
        found.append(peaking(corner, float(rng.uniform(-10, 10)), float(rng.uniform(0.7, 3.5))))
    return found


def subsonic(rng: Rng) -> list[Bank]:
    return [butter(int(rng.choice([1, 2])), float(rng.uniform(12, 32)), "high")] if rng.random() < 0.7 else []


def ways(rng: Rng, count: int) -> list[list[Bank]]:
    """Filters of each way, from the lowest up."""
    corners = {1: [], 2: [(150, 4000)], 3: [(150, 500), (1800, 5000)]}[count]
    cuts = [split(rng, float(np.exp(rng.uniform(*np.log(ends)))), str(rng.choice(FAMILIES))) for ends in corners]
    found = []
    for k in range(count):
        banks = [cuts[k]("low")] if k < count - 1 else []
        banks += [cuts[k - 1]("high")] if k else subsonic(rng)
        found.append(banks)
    return found


def pairs(rng: Rng, count: int, *, same: bool = True) -> list[tuple[Output, Output]]:
    """Left and right outputs of each way; each with its own delay, level, polarity; one equaliser for both or not."""
    found = []
    names = {1: ["full"], 2: ["low", "high"], 3: ["low", "mid", "high"]}[count]
    for name, banks in zip(names, ways(rng, count), strict=True):
        eq, share = sound(rng), float(10 ** (rng.uniform(-8, 0) / 20))
        both = []
        for side, other in (("left", eq), ("right", eq if same else sound(rng))):
            delay = float(rng.choice([0.0, rng.uniform(0, 0.004), rng.integers(0, 200) / RATE]))
            sign = -1.0 if rng.random() < 0.3 else 1.0
            both.append(
                Output(
                    f"{side} {name}", share * (side == "left"), share * (side == "right"), [*banks, *other], delay, sign
                )
            )
        found.append((both[0], both[1]))
    return found


def plain(rng: Rng) -> Radio:
    """One to three ways, the same filters on both sides."""
    return flat(rng, pairs(rng, int(rng.integers(1, 4))))


def uneven(rng: Rng) -> Radio:
    """Each side with an equaliser of its own."""
    return flat(rng, pairs(rng, int(rng.integers(1, 4)), same=False))


def with_more(rng: Rng) -> Radio:
    """Also a centre, a surround, a full-range pair for the rear."""
    found = list(pairs(rng, int(rng.integers(2, 4))))
    found.append(pairs(rng, 1)[0])
    found[-1] = tuple(replace(item, name=f"{item.name} rear") for item in found[-1])  # type: ignore[assignment]
    more = [
        Output("centre", 0.5, 0.5, [butter(2, 120, "high")], 0.001),
        Output("surround", 0.5, -0.5, [butter(2, (150.0, 7000.0), "bandpass")], 0.008),
    ]
    return Radio((*flat(rng, found).outputs, *more))


def mono_bass(rng: Rng) -> Radio:
    """Satellites above a common subwoofer."""
    corner = float(rng.uniform(70, 120))
    cut = split(rng, corner, str(rng.choice(["linkwitz", "butter"])))
    found = [
        tuple(replace(item, sos=[*item.sos, cut("high")]) for item in pair)
        for pair in pairs(rng, int(rng.integers(1, 3)))
    ]
    bass = Output(
        "bass", 0.5, 0.5, [cut("low"), *subsonic(rng)], float(rng.uniform(0, 0.004)), float(rng.choice([-1, 1]))
    )
    return Radio((*flat(rng, found).outputs, bass))


def crossfed(rng: Rng) -> Radio:
    """Every output also carries some of the other side: the same at all frequencies."""
    share = float(10 ** (rng.uniform(-18, -4) / 20)) * float(rng.choice([-1, 1]))
    found = [
        (replace(one, right=share * one.left), replace(two, left=share * two.right))
        for one, two in pairs(rng, int(rng.integers(1, 4)), same=bool(rng.random() < 0.5))
    ]
    return flat(rng, found)


def crossfed_low(rng: Rng) -> Radio:
    """The same, late and through a filter, as for headphones."""
    share = float(10 ** (rng.uniform(-16, -5) / 20))
    bank = [butter(1, float(rng.uniform(500, 1500)), "low")]
    late = float(rng.integers(0, 15)) / RATE
    found = [
        (
            replace(one, right=share * one.left, of_right=bank, late_s=(0.0, late)),
            replace(two, left=share * two.right, of_left=bank, late_s=(late, 0.0)),
        )
        for one, two in pairs(rng, int(rng.integers(1, 3)))
    ]
    return flat(rng, found)


def sum_difference(rng: Rng) -> Radio:
    """Only a sum and a difference, in one or two ways."""
    found = [
        (
            replace(one, left=0.5, right=0.5, name="sum " + one.name),
            replace(two, left=0.5, right=-0.5, name="less " + two.name),
        )
        for one, two in pairs(rng, int(rng.integers(1, 3)))
    ]
    return flat(rng, found)


def turned(rng: Rng) -> Radio:
    """One output of the right side through an all-pass."""
    found = pairs(rng, int(rng.integers(1, 3)))
    one, two = found[-1]
    found[-1] = (
        one,
        replace(two, sos=[*two.sos, all_pass(float(rng.uniform(300, 2500)), float(rng.uniform(0.5, 1.2)))]),
    )
    return flat(rng, found)


def flat(rng: Rng, found: list[tuple[Output, ...]]) -> Radio:
    outputs = [item for pair in found for item in pair]
    return Radio(tuple(outputs[k] for k in rng.permutation(len(outputs))))


KINDS: dict[str, Callable[[Rng], Radio]] = {
    item.__name__: item
    for item in (plain, uneven, with_more, mono_bass, crossfed, crossfed_low, sum_difference, turned)
}


def random_radio(kind: str, seed: int) -> Radio:
    """The same radio for the same words."""
    return KINDS[kind](np.random.default_rng([seed, list(KINDS).index(kind)]))
