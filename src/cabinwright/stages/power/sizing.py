"""Sizes of wires and ratings of fuses that the build leaves open, each with the limit that decided it."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from cabinwright.build.document import Build
from cabinwright.build.electrical import Wire
from cabinwright.physics.circuit import short_circuit
from cabinwright.physics.fuse import opening_times_s
from cabinwright.physics.wire import (
    CONDUCTORS,
    adiabatic_k,
    adiabatic_s,
    ambient_factor,
    free_air_current_a,
    resistance_ohm,
)
from cabinwright.stages.power.guards import fuses_before, fuses_behind, fuses_of_draws, path_lengths_m
from cabinwright.stages.power.network import Network, Settled
from cabinwright.stages.power.solved import AVERAGE, PEAK, Solved, solve_all
from cabinwright.tables import ampacity_a, bundle_factor, fuse_ratings_a, rows
from cabinwright.units import Gauge, read_gauge

__all__ = ["CONTINUOUS", "Shorts", "Sized", "free_current_a", "rating_c", "size", "stands_a", "stands_s"]

ROUNDS = 4  #: sizes change currents only where wires lie in parallel; they settle at once elsewhere
CONTINUOUS = 0.8  #: part of a fuse's rating that may flow for hours; from memory, so it only proposes


@dataclass(frozen=True)
class Shorts:
    """Least and greatest current [A] into a short to the chassis at the ends of each edge, over all states that feed it."""

    least_a: list[float]
    most_a: list[float]


@dataclass(frozen=True)
class Decision:
    """Why a wire has its size."""

    word: str = ""  #: the limit that decided it; empty where the build states it
    limits: tuple[tuple[str, str], ...] = ()  #: each limit with the smallest size that keeps it


@dataclass(frozen=True)
class Sized:
    """The network with every size and rating, solved."""

    net: Network
    solved: Solved
    gauges: tuple[Gauge, ...]  #: of each wire
    decided: tuple[Decision, ...]  #: of each wire
    ratings_a: tuple[float, ...]  #: of each fuse
    chosen: tuple[bool, ...]  #: of each fuse: whether the rating is ours
    before: dict[int, list[int]]  #: edge: fuses before it
    behind: dict[int, list[int]]  #: edge that no fuse stands before: the first fuses that only it feeds
    shorts: Shorts
    load_fuses: tuple[tuple[int, ...], ...]  #: of each draw: edges of the fuses without which it is dead

    def guard(self, edge: int) -> int | None:
        """The fuse (its number) that has to protect an edge: the smallest before it."""
        edges = self.net.edges("fuse")
        fuses = [edges.index(fuse) for fuse in self.before.get(edge, [])]
        return min(fuses, key=lambda number: self.ratings_a[number], default=None)

    def holds(self, edge: int) -> int | None:
        """The fuse (its number) that keeps an overload from an edge: its guard, or the largest behind where none is before."""
        edges = self.net.edges("fuse")
        behind = [edges.index(fuse) for fuse in self.behind.get(edge, [])]
        largest = max(behind, key=lambda number: self.ratings_a[number], default=None)
        return largest if (guard := self.guard(edge)) is None else guard


def rating_c(wire: Wire) -> float:
    """What its insulation stands."""
    return float(wire.insulation.split()[1])


def stands_a(wire: Wire, area_mm2: float) -> float:
    """Current of the cited table with this wire's bundle, surroundings and material."""
    limit = rating_c(wire)
    worse = CONDUCTORS["copper"].rho20_ohm_mm2_m / CONDUCTORS[wire.material].rho20_ohm_mm2_m
    table = ampacity_a(area_mm2=area_mm2, rating_c=limit)
    cooler = ambient_factor(rating_c=limit, ambient_c=wire.ambient_c)
    return table * bundle_factor(wire.bundle) * cooler * math.sqrt(worse)


def free_current_a(wire: Wire, area_mm2: float) -> float:
    """Current by heat balance, alone in still air: no wire carries more without passing its insulation's limit."""
    return free_air_current_a(
        area_mm2=area_mm2, conductor_c=rating_c(wire), ambient_c=wire.ambient_c, material=wire.material
    )


def stands_s(wire: Wire, area_mm2: float, current_a: float) -> float:
    """How long it stands a short circuit that finds it as hot as its insulation allows."""
    k = adiabatic_k(insulation=wire.insulation, start_c=rating_c(wire), material=wire.material)
    return adiabatic_s(current_a=current_a, area_mm2=area_mm2, k=k)


def size(build: Build, net: Network, settled: Settled) -> Sized:
    """Choose what is open, solve again, and repeat until nothing changes."""
    shields = net.shields(build)
    before, paths = fuses_before(net, shields), path_lengths_m(net, shields)
    load_fuses, ladder = fuses_of_draws(net, shields), _ladder(build)
    behind = fuses_behind(net, before, shields)
    gauges = tuple(wire.gauge or Gauge("6 mm2", 6.0) for wire in build.wires)
    decided = (Decision(),) * len(build.wires)
    for _ in range(ROUNDS):
        net = net.with_areas(build, [gauge.area_mm2 for gauge in gauges])
        solved = solve_all(net, settled)
        ratings = _ratings(build, net, solved)
        made = Sized(
            net,
            solved,
            gauges,
            decided,
            ratings,
            tuple(fuse.rating_a is None for fuse in build.fuses),
            before,
            behind,
            _shorts(net, solved),
            load_fuses,
        )
        wanted = [
            _wire(build, made, number, paths, ladder) if wire.gauge is None else (wire.gauge, Decision())
            for number, wire in enumerate(build.wires)
        ]
        decided = tuple(word for _, word in wanted)
        if all(new == old for (new, _), old in zip(wanted, gauges, strict=True)):
            break
        gauges = tuple(gauge for gauge, _ in wanted)
    return Sized(net, solved, made.gauges, decided, ratings, made.chosen, before, behind, made.shorts, load_fuses)


def _ladder(build: Build) -> list[Gauge]:
    """Sizes to choose from: American where every stated one is, else metric."""
    stated = [wire.gauge.text for wire in build.wires if wire.gauge]
    if stated and all(text.endswith("AWG") for text in stated):
        return [read_gauge(f"{row['awg']} AWG") for row in rows("ampacity")]
    return [read_gauge(f"{row['mm2']} mm2") for row in rows("wire_sizes")]


def _ratings(build: Build, net: Network, solved: Solved) -> tuple[float, ...]:
    standard = fuse_ratings_a()
    found = []
    for edge, fuse in zip(net.edges("fuse"), build.fuses, strict=True):
        flow = np.abs(solved.solution.current_a[:, edge]).max(axis=0)
        wanted = max(float(flow[PEAK]), float(flow[AVERAGE]) / CONTINUOUS)
        fit = next((rating for rating in standard if rating >= wanted - 1e-9), standard[-1])
        found.append(fit if fuse.rating_a is None else fuse.rating_a)
    return tuple(found)


def _shorts(net: Network, solved: Solved) -> Shorts:
    current = short_circuit(net.circuit, solved.settled.closed[solved.first])
    first, second = net.circuit.ends.T
    both = np.minimum(current[:, first], current[:, second])
    both = np.where((both > 0.0) & np.isfinite(both), both, np.nan)
    if not both.size:
        return Shorts([0.0] * len(first), [0.0] * len(first))
    least = np.where(np.isnan(both), np.inf, both).min(axis=0)
    most = np.where(np.isnan(both), 0.0, both).max(axis=0)
    return Shorts([0.0 if np.isinf(x) else float(x) for x in least], [float(x) for x in most])


def _wire(
    build: Build, made: Sized, number: int, paths: Mapping[int, float], ladder: Sequence[Gauge]
) -> tuple[Gauge, Decision]:
    """The smallest size that keeps every limit, and the limit that asks for it."""
    wire, edge = build.wires[number], made.net.edges("wire")[number]
    flow = np.abs(made.solved.solution.current_a[:, edge]).max(axis=0)
    guard, short_a = made.guard(edge), made.shorts.least_a[edge]
    path_m = max(paths.get(edge, 0.0), wire.length_m)
    drop_v = made.net.supply.drop_share * made.net.supply.nominal_v * wire.length_m / path_m

    def hot_drop(area: float) -> float:
        hot = resistance_ohm(length_m=wire.length_m, area_mm2=area, conductor_c=rating_c(wire), material=wire.material)
        return hot * float(flow[AVERAGE])

    limits: list[tuple[str, Callable[[float], bool]]] = [
        ("current", lambda area: stands_a(wire, area) >= float(flow[AVERAGE]))
    ]
    if (held := made.holds(edge)) is not None:
        rating = made.ratings_a[held]
        limits.append(("fuse", lambda area: stands_a(wire, area) >= rating))
    if guard is not None:
        opens_s = opening_times_s(current_a=short_a, rating_a=made.ratings_a[guard])[1]
        if short_a > 0.0 and np.isfinite(opens_s):
            limits.append(("short circuit", lambda area: stands_s(wire, area, short_a) >= opens_s))
    limits.append(("drop", lambda area: hot_drop(area) <= drop_v))
    steps = [
        (next((step for step, gauge in enumerate(ladder) if keeps(gauge.area_mm2)), len(ladder)), -rank, word)
        for rank, (word, keeps) in enumerate(limits)
    ]
    kept = tuple((word, ladder[step].text if step < len(ladder) else "none") for step, _, word in steps)
    step, _, word = max(steps)
    if step == len(ladder):
        return ladder[-1], Decision(f"{word}, and no size is enough", kept)
    return ladder[step], Decision("smallest made" if step == 0 else word, kept)
