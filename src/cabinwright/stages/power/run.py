"""The order in which the electrical system is worked out."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from cabinwright.build.document import Build
from cabinwright.physics.fuse import NON_FUSING, least_melting_a2s, may_open, opening_times_s
from cabinwright.physics.supply import strip_drop_v
from cabinwright.physics.wire import resistance_ohm, temperature_factor
from cabinwright.stages.power.budget import budget
from cabinwright.stages.power.chafes import Chafe, chafe
from cabinwright.stages.power.contacts import contact_results
from cabinwright.stages.power.faults import single_faults
from cabinwright.stages.power.grounds import returns
from cabinwright.stages.power.hum import signal_cables
from cabinwright.stages.power.inrush import Pulses, pulses
from cabinwright.stages.power.lighting import lighting
from cabinwright.stages.power.network import contacts, network, settle
from cabinwright.stages.power.promises import judge
from cabinwright.stages.power.remarks import remarks
from cabinwright.stages.power.result import FuseResult, LoadResult, PowerResult, WireResult
from cabinwright.stages.power.sizing import CONTINUOUS, Sized, free_current_a, rating_c, size, stands_a
from cabinwright.stages.power.solved import AVERAGE, PEAK, Solved
from cabinwright.stages.power.states import States
from cabinwright.tables import breaking_capacity_a, greatest_resistance_ohm_km

__all__ = ["run"]

ASSUMPTIONS = (
    "Loads draw constant current while on: power over nominal voltage, whatever the voltage at their ends.",
    "An amplifier at full level gives its rated sine output; music on average an eighth of it (crest factor of 12 dB).",
    "Resistances are by nominal area at the stated conductor temperature; joints, terminals and the body add to them.",
    "Ampacities are recalled from 33 CFR 183.425 (single wires in air at 30 °C, bundled and warmed as stated): they size "
    "and caution, and never refuse. A fuse is refused by heat balance and by I²t.",
    "Every fuse opens within the gates quoted for high-current links; its maker's curve outranks them.",
    "A load without an inrush takes none. All that is fed in a state starts at once; the wires' inductance, which lowers "
    "the peak and leaves I²t alone, is left out.",
    "Hum is an estimate by textbook coupling between thin parallel conductors over a sheet that acts as a mirror, within "
    "some 6 dB where the geometry is known and only above the skin depth's frequency (some hundred hertz for steel). The "
    "body is one node: a voltage along it adds to every one given here.",
)
CAUTIONS = (
    "High direct current burns, and arcs do not go out by themselves: battery's minus off while wiring, main fuse in last.",
    "Batteries give off explosive gas: vent them outside, and let none be joined that its maker does not allow for; "
    "lithium ones burn when abused or charged wrongly.",
    "Airbag and belt-tensioner wiring is never probed, tapped or laid beside: only who is licensed works on it.",
    "First power-up: through a small fuse or a current limit, everything unplugged, measuring before each step.",
    "The makers' instructions, local codes and licensed practice outrank every figure here.",
)


def run(build: Build) -> PowerResult | None:
    """The electrical system in every combination of states, or None where the build has no supply.

    Deterministic; loops and nodes that hang in the air are findings, never errors.
    """
    if build.supply is None:
        return None
    with threadpool_limits(1):  # the matrices are small: threads would cost more than they give
        states = States(build.states)
        net = network(build, build.supply)
        closed = contacts(build, net, states)
        settled = settle(net, closed)
        sized = size(build, net, settled)
        shorts = [chafe(build, sized, number) for number in range(len(build.wires))]
        rush = pulses(build, sized, states)
        wires, loads = _wires(build, sized, states), _loads(build, sized, states)
        faults = single_faults(build, sized, states, closed, settled.on)
        result = PowerResult(
            states=states,
            conductor_c=build.supply.conductor_c,
            wires=wires,
            fuses=_fuses(build, sized, states, shorts, rush),
            loads=loads,
            promises=tuple(judge(item, net, states, settled.on) for item in build.promises),
            faults=faults,
            budget=budget(build, sized.net, sized.solved, states),
            contacts=contact_results(build, sized, states, rush),
            inrush=rush.loads,
            lighting=lighting(build, sized, loads, faults),
            grounds=returns(build, sized),
            signal_cables=signal_cables(build, sized, states),
            assumptions=ASSUMPTIONS,
            cautions=CAUTIONS,
        )
        return remarks(build, sized, result, shorts)


def _worst(solved: Solved, edge: int, states: States) -> tuple[int, dict[str, str]]:
    """The setting with the greatest current through an edge, the first of equals, and its states."""
    row = int(np.argmax(np.round(np.abs(solved.solution.current_a[:, edge, PEAK]), 9)))
    return row, states.assignment(int(solved.first[row]))


def _clean(value: float) -> float:
    """What arithmetic leaves of nothing is nothing."""
    return 0.0 if value < 1e-9 else value


def _wires(build: Build, sized: Sized, states: States) -> dict[str, WireResult]:
    net, found = sized.net, {}
    for number, (edge, wire) in enumerate(zip(net.edges("wire"), build.wires, strict=True)):
        gauge, ohm = sized.gauges[number], float(net.circuit.resistance_ohm[edge])
        row, state = _worst(sized.solved, edge, states)
        flow = np.abs(sized.solved.solution.current_a[:, edge])
        peak, average = _clean(float(flow[row, PEAK])), _clean(float(flow[:, AVERAGE].max()))
        allowed = greatest_resistance_ohm_km(gauge.area_mm2) if wire.material == "copper" else None
        most = (
            None
            if allowed is None
            else allowed * 1e-3 * wire.length_m * temperature_factor(conductor_c=net.supply.conductor_c)
        )
        guard, short = sized.guard(edge), sized.shorts.least_a[edge]
        found[wire.name] = WireResult(
            from_=wire.from_,
            to=wire.to,
            gauge=gauge.text,
            area_mm2=gauge.area_mm2,
            material=wire.material,
            length_m=wire.length_m,
            resistance_ohm=ohm,
            resistance_max_ohm=most if most is not None and most > ohm else None,
            resistance_hot_ohm=resistance_ohm(
                length_m=wire.length_m,
                area_mm2=gauge.area_mm2,
                conductor_c=rating_c(wire),
                material=wire.material,
            ),
            current_a=peak,
            drop_v=peak * ohm,
            state=state,
            average_a=average,
            average_drop_v=average * ohm,
            ampacity_a=stands_a(wire, gauge.area_mm2),
            free_air_a=free_current_a(wire, gauge.area_mm2),
            sized=wire.gauge is None,
            decided_by=sized.decided[number].word,
            limits=dict(sized.decided[number].limits),
            assumes=f"{wire.material}, {wire.insulation} °C insulation, {_bundled(wire.bundle)}, "
            f"{wire.ambient_c:g} °C around it; resistance at {net.supply.conductor_c:g} °C, sized for the drop at "
            f"{rating_c(wire):g} °C and {100.0 * net.supply.drop_share:g} % of {net.supply.nominal_v:g} V",
            fuse=None if guard is None else build.fuses[guard].name,
            held_by=None if (held := sized.holds(edge)) is None else build.fuses[held].name,
            short_a=short if net.supply.battery and short > 0.0 else None,
        )
    return found


def _fuses(
    build: Build, sized: Sized, states: States, shorts: list[Chafe | None], rush: Pulses
) -> dict[str, FuseResult]:
    net, found = sized.net, {}
    wires, fuses = net.edges("wire"), net.edges("fuse")
    for number, (edge, fuse) in enumerate(zip(fuses, build.fuses, strict=True)):
        rating = sized.ratings_a[number]
        row, state = _worst(sized.solved, edge, states)
        flow = np.abs(sized.solved.solution.current_a[:, edge])
        mine = [wire for wire, at in enumerate(wires) if sized.guard(at) == number]
        met = [(wire, short) for wire in mine if (short := shorts[wire]) is not None]
        prospective = sized.shorts.most_a[edge]
        slowest = max((short.clears_s for _, short in met), default=float("inf"))
        slow = {wire for wire, short in met if not short.clears}
        held = [wire for wire, at in enumerate(wires) if sized.holds(at) == number]
        hot = {wire for wire in held if rating > free_current_a(build.wires[wire], sized.gauges[wire].area_mm2)}
        spoils = tuple(build.wires[wire].name for wire in sorted(slow | hot))
        pulse = (float(rush.peak_a[edge]), float(rush.i2t_a2s[edge])) if rush.peak_a[edge] > 0.0 else None
        upstream = [fuses.index(other) for other in sized.before.get(edge, [])]
        found[fuse.name] = FuseResult(
            rating_a=rating,
            chosen=fuse.rating_a is None,
            decided_by="" if fuse.rating_a is not None else _asked_by(flow, rating),
            assumes="standard ratings; the peak, and the average at "
            f"{100.0 * CONTINUOUS:g} % of the rating (from memory); gates of high-current links",
            load_a=_clean(float(flow[row, PEAK])),
            average_a=_clean(float(flow[:, AVERAGE].max())),
            state=state,
            prospective_a=prospective if net.supply.battery and prospective > 0.0 else None,
            breaking_a=fuse.breaking_a or breaking_capacity_a(rating),
            clears=not spoils and (bool(met) or prospective > NON_FUSING * rating),
            protects=tuple(build.wires[wire].name for wire in mine),
            spoils=spoils,
            slowest_s=slowest if np.isfinite(slowest) else None,
            after=tuple(build.fuses[other].name for other in upstream),
            selective=_selective(prospective, rating, [sized.ratings_a[other] for other in upstream]),
            inrush_a=pulse[0] if pulse else None,
            inrush_a2s=pulse[1] if pulse else None,
            inrush_by=rush.by[edge],
            melting_a2s=fuse.melting_a2s or least_melting_a2s(rating),
            stands_inrush=not may_open(peak_a=pulse[0], i2t_a2s=pulse[1], rating_a=rating, melting_a2s=fuse.melting_a2s)
            if pulse
            else None,
        )
    return found


def _bundled(count: int) -> str:
    return "alone" if count == 1 else f"in a bundle of {count}"


def _asked_by(flow: NDArray[np.float64], rating_a: float) -> str:
    """The limit that decided a fuse's rating."""
    peak, average = float(flow[:, PEAK].max()), float(flow[:, AVERAGE].max()) / CONTINUOUS
    if max(peak, average) > rating_a + 1e-9:
        return "largest made, and it is not enough"
    if max(peak, average) < 1e-9:
        return "smallest made"
    return "peak" if peak >= average else "average"


def _selective(prospective_a: float, rating_a: float, upstream_a: list[float]) -> bool | None:
    """Whether it is open for certain before any fuse upstream may be, in the hardest short behind it."""
    if not upstream_a or prospective_a <= 0.0:
        return None
    latest = opening_times_s(current_a=prospective_a, rating_a=rating_a)[1]
    return all(latest < opening_times_s(current_a=prospective_a, rating_a=other)[0] for other in upstream_a)


def _loads(build: Build, sized: Sized, states: States) -> dict[str, LoadResult]:
    net, solved, found = sized.net, sized.solved, {}
    for number, load in enumerate(build.loads):
        draw = net.draws[number]
        volts = solved.load_v(net, number)
        on = solved.settled.on[:, number]
        ever = solved.settled.on[solved.first, number]
        row = int(np.argmin(np.where(ever, np.round(volts[:, PEAK], 9), np.inf)))
        v = solved.solution.voltage_v
        found[load.name] = LoadResult(
            voltage_v=float(volts[row, PEAK]) if ever.any() else None,
            current_a=draw.peak_a if ever.any() else 0.0,
            average_v=float(volts[ever, AVERAGE].min()) if ever.any() else None,
            average_a=draw.average_a if ever.any() else 0.0,
            feed_drop_v=float((v[ever, 1] - v[ever, draw.from_])[:, AVERAGE].max()) if ever.any() else None,
            return_drop_v=float(v[ever, draw.to, AVERAGE].max()) if ever.any() else None,
            strip_drop_v=strip_drop_v(
                current_a=draw.peak_a / load.strip.runs,
                resistance_ohm=load.strip.resistance_ohm,
                both_ends=load.strip.fed_at == "both ends",
            )
            if load.strip
            else None,
            state=states.assignment(int(solved.first[row])) if ever.any() else None,
            on=on,
            by_voltage_v=volts[solved.setting, PEAK],
        )
    return found
