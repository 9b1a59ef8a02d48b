"""What loads take for a moment when their feed comes on, and what of it goes through each fuse and contact.

A load is fed where its two ends reach a plus and the chassis, whatever its turn-on line says: capacitors do not wait for
it. Everything that is fed in one state is taken to start at once, as when the main fuse is put in; peaks are added, and
I²t by Minkowski's inequality, ``√(∫(i1 + i2)²) ≤ √∫i1² + √∫i2²``, so that both are upper bounds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build
from cabinwright.build.electrical import Inrush
from cabinwright.physics.circuit import reaches_each, solve
from cabinwright.physics.inrush import charging, precharge_s
from cabinwright.stages.power.network import Draw, Network
from cabinwright.stages.power.result import InrushResult
from cabinwright.stages.power.sizing import Sized
from cabinwright.stages.power.solved import AVERAGE
from cabinwright.stages.power.states import States

__all__ = ["Pulses", "pulses"]

Real = NDArray[np.float64]
Flags = NDArray[np.bool_]

LEAST_OHM = 1e-6  #: where neither battery nor wires have a resistance


@dataclass(frozen=True)
class Pulses:
    """Per edge in its own worst state, and per load."""

    peak_a: Real  #: (edges,) with what flows there anyway
    i2t_a2s: Real  #: (edges,) of the pulses alone
    by: tuple[tuple[str, ...], ...]  #: (edges,) loads whose pulse goes through it
    loads: dict[str, InrushResult]


def pulses(build: Build, sized: Sized, states: States) -> Pulses:
    """Every load's inrush and what of it each edge carries; nothing is solved where no load has one."""
    net, solved = sized.net, sized.solved
    numbers = [number for number, load in enumerate(build.loads) if load.inrush]
    edges = len(net.elements)
    if not numbers:
        return Pulses(np.zeros(edges), np.zeros(edges), ((),) * edges, {})
    closed = solved.settled.closed[solved.first]
    fed, open_v, seen_ohm, share = _thevenin(net, closed, [net.draws[number] for number in numbers])
    peaks, squares = np.zeros_like(fed, dtype=np.float64), np.zeros_like(fed, dtype=np.float64)
    for column, number in enumerate(numbers):
        inrush = build.loads[number].inrush
        assert inrush is not None
        for row in np.flatnonzero(fed[:, column]):
            peaks[row, column], squares[row, column] = _pulse(
                inrush, net.draws[number], float(open_v[row, column]), float(seen_ohm[row, column])
            )
    through = (share * peaks[:, None, :]).sum(axis=2)
    i2t = np.square((share * np.sqrt(squares)[:, None, :]).sum(axis=2))
    steady = np.abs(solved.solution.current_a[:, :, AVERAGE])
    peak = np.where(through > 0.0, through + steady, 0.0)
    names = [build.loads[number].name for number in numbers]
    worst = np.argmax(np.round(i2t, 9), axis=0)
    by = tuple(
        tuple(
            name for column, name in enumerate(names) if share[worst[edge], edge, column] * peaks[worst[edge], column]
        )
        for edge in range(edges)
    )
    loads = {
        name: _load(
            build, sized, states, numbers[column], fed[:, column], peaks[:, column], squares[:, column], seen_ohm
        )
        for column, name in enumerate(names)
    }
    return Pulses(peak.max(axis=0), i2t.max(axis=0), by, loads)


def _thevenin(net: Network, closed: Flags, draws: list[Draw]) -> tuple[Flags, Real, Real, Real]:
    """(settings, loads) whether fed, open voltage and resistance seen; (settings, edges, loads) part of its current."""
    plus, back = reaches_each(net.circuit, closed, net.sources, [0])
    fed = plus[:, [draw.from_ for draw in draws]] & back[:, [draw.to for draw in draws]]
    unit = np.zeros((len(closed), net.circuit.nodes, len(draws) + 1))
    for column, draw in enumerate(draws):
        unit[:, draw.from_, column] += fed[:, column]
        unit[:, draw.to, column] -= fed[:, column]
    solution = solve(net.circuit, closed, unit)
    v = np.nan_to_num(solution.voltage_v)
    across = np.stack([v[:, draw.from_] - v[:, draw.to] for draw in draws], axis=1)  # (settings, loads, draws)
    open_v = across[:, :, -1]
    own = np.stack([across[:, column, column] for column in range(len(draws))], axis=1)
    share = np.abs(solution.current_a[:, :, :-1] - solution.current_a[:, :, -1:])
    share[share < 1e-9] = 0.0
    return fed, open_v, open_v - own, share * fed[:, None, :]


def _pulse(inrush: Inrush, draw: Draw, open_v: float, seen_ohm: float) -> tuple[float, float]:
    """Peak [A] and I²t [A²s]; never more than the supply can give."""
    if inrush.capacitance_f is not None:
        ohm = max(seen_ohm + inrush.esr_ohm, LEAST_OHM)
        return charging(voltage_v=open_v, resistance_ohm=ohm, capacitance_f=inrush.capacitance_f)
    assert inrush.duration_s is not None
    wanted = inrush.peak_a if inrush.peak_a is not None else (inrush.times or 1.0) * draw.peak_a
    peak = min(wanted, open_v / max(seen_ohm, LEAST_OHM))
    return peak, peak**2 * inrush.duration_s


def _load(
    build: Build, sized: Sized, states: States, number: int, fed: Flags, peaks: Real, squares: Real, seen_ohm: Real
) -> InrushResult:
    net, inrush = sized.net, build.loads[number].inrush
    assert inrush is not None
    row = int(np.argmax(np.round(squares, 9)))
    peak, i2t = float(peaks[row]), float(squares[row])
    capacitance = inrush.capacitance_f
    ohm = None if capacitance is None else float(math.ceil(net.supply.nominal_v / _smallest_a(sized, number)))
    return InrushResult(
        peak_a=peak,
        i2t_a2s=i2t,
        duration_s=i2t / peak**2 if peak > 0.0 else 0.0,
        energy_j=None if capacitance is None else 0.5 * capacitance * net.supply.nominal_v**2,
        precharge_ohm=ohm,
        precharge_s=None
        if ohm is None or capacitance is None
        else precharge_s(resistance_ohm=ohm, capacitance_f=capacitance),
        state=states.assignment(int(sized.solved.first[row])) if fed.any() else None,
    )


def _smallest_a(sized: Sized, number: int) -> float:
    """A current that no fuse before a load minds."""
    edges = sized.net.edges("fuse")
    return min((sized.ratings_a[edges.index(fuse)] for fuse in sized.load_fuses[number]), default=1.0)
