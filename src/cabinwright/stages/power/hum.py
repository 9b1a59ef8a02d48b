"""What each signal cable is predicted to hear of the supply: by induction, and by the voltage between two grounds.

Disturbers are sines: the alternator's ripple in whatever every load draws, an amplifier's swing on a bass note (its supply
current goes from nothing to twice its mean and back, twice a period), and the fundamental of each dimmer. Contributions of
one disturber are added as if in phase, those of several as power. Textbook coupling (Ott 2009, Paul 2008).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import compress

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build
from cabinwright.build.electrical import CHASSIS, SignalCable
from cabinwright.physics.circuit import solve
from cabinwright.physics.coupling import (
    induced_v,
    mutual_over_body_h,
    pulse_fundamental,
    self_over_body_h,
    shield_share,
)
from cabinwright.stages.power.network import Network, shield_ohm
from cabinwright.stages.power.result import CableResult, HeardResult, HumResult
from cabinwright.stages.power.sizing import Sized
from cabinwright.stages.power.solved import AVERAGE, PEAK
from cabinwright.stages.power.states import States

__all__ = ["signal_cables"]

Real = NDArray[np.float64]

BASS = "bass note"
MOST_APART_M = 1.0  #: no harness lies farther apart in a car
SHIELD_RADIUS_M = 0.0025  #: of the braid of a thin cable; it only sets the loop's own inductance, through a logarithm
QUIET_DB = -200.0  #: stands for nothing heard


@dataclass(frozen=True)
class Disturber:
    """A sine in the supply."""

    name: str
    frequency_hz: float
    drawn_a: Real  #: (draws,) its amplitude in each load while on


@dataclass(frozen=True)
class Heard:
    """Amplitudes at one cable by one disturber, per distinct setting."""

    frequency_hz: float
    wire_a: Real  #: in the wire beside it
    ground_v: Real  #: between the grounds, or along the shield where that joins them


@dataclass(frozen=True)
class Way:
    """How a cable turns what happens to it into noise: parts of the loop's voltages that reach the input."""

    ground: float
    loop: Callable[[float], Real]  #: frequency -> part of the voltage induced in the loop of the grounds, per setting
    pair: float


def signal_cables(build: Build, sized: Sized, states: States) -> dict[str, CableResult]:
    """The figures of each cable; nothing is solved where the build has none."""
    if not build.signal_cables:
        return {}
    net, solved = sized.net, sized.solved
    disturbers = _disturbers(build, net)
    closed, on = solved.settled.closed[solved.first], solved.settled.on[solved.first]
    drawn = np.zeros((len(closed), net.circuit.nodes, len(disturbers) + len(build.signal_cables)))
    for number, draw in enumerate(net.draws):
        amperes = on[:, number, None] * np.array([item.drawn_a[number] for item in disturbers])
        drawn[:, draw.from_, : len(disturbers)] += amperes
        drawn[:, draw.to, : len(disturbers)] -= amperes
    at = {name: number for number, name in enumerate(net.nodes)}
    for number, cable in enumerate(
        build.signal_cables
    ):  # one ampere from ground to ground: the resistance between them
        drawn[:, at[cable.to], len(disturbers) + number] += 1.0
        drawn[:, at[cable.from_], len(disturbers) + number] -= 1.0
    quiet = replace(net.circuit, source_v=np.zeros_like(net.circuit.source_v))
    solution = solve(quiet, closed, drawn)
    wires = dict(zip((wire.name for wire in build.wires), net.edges("wire"), strict=True))
    found = {}
    for number, cable in enumerate(build.signal_cables):
        a, b = at[cable.from_], at[cable.to]
        apart = np.abs(solution.voltage_v[:, a] - solution.voltage_v[:, b])
        heard = [
            Heard(
                item.frequency_hz,
                np.zeros(len(closed))
                if cable.beside is None
                else np.abs(solution.current_a[:, wires[cable.beside], k]),
                np.nan_to_num(apart[:, k]),
            )
            for k, item in enumerate(disturbers)
        ]
        direct = np.nan_to_num(np.abs(solved.solution.voltage_v[:, a] - solved.solution.voltage_v[:, b]))
        ohm = _ground_ohm(cable, apart[:, len(disturbers) + number])
        found[cable.name] = _cable(build, cable, disturbers, heard, ohm, direct, states, solved.first)
    return found


def _disturbers(build: Build, net: Network) -> list[Disturber]:
    supply, loads = net.supply, len(build.loads)
    found = []

    def add(name: str, frequency_hz: float, per_load: list[float]) -> None:
        if any(per_load):
            found.append(Disturber(name, frequency_hz, np.array(per_load + [0.0] * (len(net.draws) - loads))))

    mine = net.draws[:loads]
    if supply.alternator:
        share = supply.alternator.ripple_share
        add("alternator ripple", supply.alternator.ripple_hz, [share * draw.average_a for draw in mine])
    bass = [draw.peak_a if load.amplifier else 0.0 for load, draw in zip(build.loads, mine, strict=True)]
    add(BASS, 2.0 * supply.bass_hz, bass)
    for number, load in enumerate(build.loads):
        if load.dimmer_hz and load.dimmed_share < 1.0:
            swing = pulse_fundamental(current_a=mine[number].peak_a, on_share=load.dimmed_share)
            add(f"dimmer of {load.name}", load.dimmer_hz, [swing if k == number else 0.0 for k in range(loads)])
    return found


def _ground_ohm(cable: SignalCable, seen_ohm: Real) -> Real:
    """(settings,) resistance between the two grounds without the shield, which is in what is seen."""
    if cable.shield_grounded == "one end" or cable.from_ == cable.to:
        return np.where(np.isnan(seen_ohm), np.inf, seen_ohm)
    with np.errstate(divide="ignore"):  # joined by ideal contacts
        without = 1.0 / seen_ohm - 1.0 / shield_ohm(cable)
    return np.where(np.isnan(without) | (without <= 1e-9), np.inf, 1.0 / np.maximum(without, 1e-9))


def _together_m(build: Build, cable: SignalCable) -> float:
    """How far cable and wire run side by side."""
    wire = next((item for item in build.wires if item.name == cable.beside), None)
    if wire is None:
        return 0.0
    least = min(cable.length_m, wire.length_m)
    return least if cable.beside_m is None else min(cable.beside_m, least)


def _mutuals_h(cable: SignalCable, together_m: float, spacing_m: float) -> tuple[float, float]:
    """Of the wire with the loop of shield and body, and with the signal's own two conductors."""
    if together_m <= 0.0:
        return 0.0, 0.0

    def over(spacing: float) -> float:
        return mutual_over_body_h(length_m=together_m, spacing_m=spacing, height_m=cable.height_m)

    back = cable.return_spacing_m
    loop = over(spacing_m) - (over(spacing_m + back) if back else 0.0)
    other = spacing_m + cable.pair_spacing_m
    pair = over(spacing_m) - over(other)
    if back:
        pair -= over(spacing_m + back) - over(other + back)
    return loop, abs(pair)


def _loops(cable: SignalCable) -> bool:
    """Whether shield and grounds close a loop: not where both devices stand on one point that is not the body itself."""
    return cable.shield_grounded == "both ends" and (cable.from_ != cable.to or cable.from_ == CHASSIS)


def _way(cable: SignalCable, ground_ohm: Real, *, floating: bool) -> Way:
    part = cable.input_ohm / (cable.input_ohm + cable.source_ohm)
    if floating:
        rejected = part * math.pow(10.0, -cable.rejection_db / 20.0)
        return Way(rejected, lambda _: np.full_like(ground_ohm, rejected), part)
    if not _loops(cable):
        return Way(part, lambda _: np.zeros_like(ground_ohm), part)
    shield, own_h = (
        shield_ohm(cable),
        self_over_body_h(length_m=cable.length_m, height_m=cable.height_m, radius_m=SHIELD_RADIUS_M),
    )

    def loop(frequency_hz: float) -> Real:
        return part * shield_share(frequency_hz=frequency_hz, shield_ohm=shield, ground_ohm=ground_ohm, loop_h=own_h)

    return Way(part, loop, part)


def _parts(heard: Heard, way: Way, mutual: tuple[float, float]) -> Real:
    """(3, settings) amplitudes at the input: from the grounds, induced in their loop, induced in the signal's own pair."""
    f = heard.frequency_hz
    in_loop, in_pair = (induced_v(frequency_hz=f, inductance_h=henry, current_a=heard.wire_a) for henry in mutual)
    return np.array([way.ground * heard.ground_v, way.loop(f) * in_loop, way.pair * in_pair])


def _db(volts: float, level_v: float) -> float:
    """Level of an amplitude against an effective value."""
    return max(QUIET_DB, 20.0 * math.log10(volts / math.sqrt(2.0) / level_v)) if volts > 0.0 else QUIET_DB


def _cable(
    build: Build,
    cable: SignalCable,
    disturbers: list[Disturber],
    heard: list[Heard],
    ground_ohm: Real,
    direct_v: Real,
    states: States,
    first: NDArray[np.intp],
) -> CableResult:
    floats = cable.balanced or cable.shield_grounded == "one end"
    together = _together_m(build, cable)
    way, mutual = _way(cable, ground_ohm, floating=floats), _mutuals_h(cable, together, cable.spacing_m)
    told = []
    for disturber, item in zip(disturbers, heard, strict=True):
        parts = _parts(item, way, mutual)
        row = int(np.argmax(parts.sum(axis=0)))
        in_loop = induced_v(frequency_hz=item.frequency_hz, inductance_h=mutual[0], current_a=item.wire_a)
        told.append(
            HeardResult(
                disturber=disturber.name,
                frequency_hz=item.frequency_hz,
                wire_a=float(item.wire_a[row]),
                grounds_v=float(item.ground_v[row]),
                induced_v=float(in_loop[row]),
                by_grounds_db=_db(float(parts[0, row]), cable.level_v),
                by_loop_db=_db(float(parts[1, row]), cable.level_v),
                by_pair_db=_db(float(parts[2, row]), cable.level_v),
                level_db=_db(float(parts[:, row].sum()), cable.level_v),
                state=states.assignment(int(first[row])),
            )
        )
    bass = [item.name == BASS for item in disturbers]
    loops = _loops(cable) and bool(np.isfinite(ground_ohm).any())
    return CableResult(
        from_=cable.from_,
        to=cable.to,
        beside=cable.beside,
        together_m=together,
        spacing_m=cable.spacing_m,
        loop=loops,
        loop_area_m2=cable.length_m * cable.height_m if loops else 0.0,
        mutual_h=mutual[0],
        shield_ohm=shield_ohm(cable),
        grounds_ohm=float(ground_ohm.max()) if np.isfinite(ground_ohm).all() else None,
        grounds_average_v=float(direct_v[:, AVERAGE].max()),
        grounds_peak_v=float(direct_v[:, PEAK].max()),
        heard=tuple(told),
        hum=_together(cable, together, heard, told, ground_ohm, [not is_ for is_ in bass], cable.target_db),
        bass=_together(cable, together, heard, told, ground_ohm, bass, cable.bass_target_db),
    )


def _together(
    cable: SignalCable,
    together_m: float,
    heard: list[Heard],
    told: list[HeardResult],
    ground_ohm: Real,
    which: list[bool],
    target_db: float,
) -> HumResult:
    """Several disturbers as power, in the worst setting, as it is and as it could be."""
    floats = cable.balanced or cable.shield_grounded == "one end"
    chosen, mine = list(compress(heard, which)), list(compress(told, which))
    ways = {flag: _way(cable, ground_ohm, floating=flag) for flag in (False, True)}

    def level_db(spacing_m: float, *, floating: bool = floats, grounds: float = 1.0) -> float:
        here = _mutuals_h(cable, together_m, spacing_m)
        scale = np.array([[grounds], [grounds], [1.0]])
        sums = [(scale * _parts(item, ways[floating], here)).sum(axis=0) for item in chosen]
        return _db(math.sqrt(float(np.square(sums).sum(axis=0).max())) if sums else 0.0, cable.level_v)

    worst = max(mine, key=lambda item: item.level_db, default=None)
    return HumResult(
        level_db=level_db(cable.spacing_m),
        target_db=target_db,
        disturber=None if worst is None else worst.disturber,
        mostly=None if worst is None else _mostly(worst),
        separate_m=_separate_m(level_db, cable.spacing_m, target_db),
        one_point_db=level_db(cable.spacing_m, grounds=0.0),
        floating_db=level_db(cable.spacing_m, floating=True),
    )


def _mostly(worst: HeardResult) -> str | None:
    """What a disturber comes by."""
    if worst.level_db <= QUIET_DB:
        return None
    parts = {"grounds": worst.by_grounds_db, "loop": worst.by_loop_db, "pair": worst.by_pair_db}
    return max(parts, key=lambda part: parts[part])


def _separate_m(level_db: Callable[[float], float], spacing_m: float, target_db: float) -> float | None:
    """Distance from the wire that is enough, up to a metre; None where none is. The present one where it is enough."""
    if level_db(spacing_m) <= target_db:
        return spacing_m
    low, high = spacing_m, max(MOST_APART_M, spacing_m)
    if level_db(high) > target_db:
        return None
    while high - low > 1e-3:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if level_db(middle) <= target_db else (middle, high)
    return high
