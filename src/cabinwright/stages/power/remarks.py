"""What is wrong, doubtful or worth knowing about the electrical system, gravest first."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from cabinwright.build.document import Build
from cabinwright.findings import Finding, finding
from cabinwright.physics.circuit import reaches
from cabinwright.stages.power.chafes import Chafe
from cabinwright.stages.power.extras import extras
from cabinwright.stages.power.guards import turn_on_edges
from cabinwright.stages.power.network import Network
from cabinwright.stages.power.protection import protection
from cabinwright.stages.power.result import PowerResult
from cabinwright.stages.power.routes import routes
from cabinwright.stages.power.sizing import Sized
from cabinwright.stages.power.solved import AVERAGE
from cabinwright.stages.power.states import States, words
from cabinwright.stages.power.suspects import Suspects, suspects
from cabinwright.stages.power.topology import loops, loose_ends, unsettled_nodes

__all__ = ["remarks"]

SAG_SHARE = 0.8  #: part of the nominal voltage below which amplifiers and relays begin to drop out: common practice
NOTHING_A = 1e-9
MOST_NAMED = 6
_GRAVITY = {"stop": 0, "caution": 1, "note": 2}


def remarks(build: Build, sized: Sized, result: PowerResult, shorts: list[Chafe | None]) -> PowerResult:
    """The result with its findings."""
    sources = list(_sources(sized, result.states))
    shorted = any(item.code == "power.short" for item in sources)  # what the supply then gives says nothing about loads
    found = [
        *_promises(build, sized, result),
        *_relays(build, sized, result.states),
        *sources,
        *_idle(build, sized, result),
        *_shape(build, sized, result.states),
        *protection(build, sized, result, shorts),
        *extras(build, result),
        *routes(build),
        *([] if shorted else [*_voltages(build, sized, result), *_supply(sized, result)]),
        *_faults(result),
        finding("power.care", where="supply"),
    ]
    return replace(result, findings=tuple(sorted(found, key=lambda item: _GRAVITY[item.severity])))


def _promises(build: Build, sized: Sized, result: PowerResult) -> Iterator[Finding]:
    blamed = suspects(build, sized.net, result.states, result.promises)
    for number, (promise, judged) in enumerate(zip(build.promises, result.promises, strict=True)):
        if judged.counterexample is not None:
            opposite = "off" if promise.is_ == "on" else "on"
            yield finding(
                "power.promise_broken",
                where=promise.text,
                load=promise.load,
                got=opposite,
                state=words(judged.counterexample),
                decides=_deciding(blamed[number]),
                turned=_turned(blamed[number]),
            )


def _deciding(found: Suspects) -> str:
    """``; it hangs on switch “boot switch”, which is closed there``."""
    named = [f"{name}, which is {'closed' if closed else 'open'} there" for name, closed in found.decides[:MOST_NAMED]]
    return f"; it hangs on {', and on '.join(named)}" if named else ""


def _turned(found: Suspects) -> str:
    if not found.turned:
        return ""
    return f" It would hold with {' or '.join(found.turned[:MOST_NAMED])} the other way round, open for closed."


def _relays(build: Build, sized: Sized, states: States) -> Iterator[Finding]:
    unsteady = sized.solved.settled.unsteady
    for number, relay in enumerate(build.relays):
        rows = np.flatnonzero(unsteady[:, number])
        if len(rows):
            yield finding("power.oscillates", where=relay.name, state=words(states.assignment(int(rows[0]))))


def _sources(sized: Sized, states: States) -> Iterator[Finding]:
    """A short in normal use, and batteries of different voltage on one line."""
    net, solved = sized.net, sized.solved
    closed = solved.settled.closed[solved.first]
    joined = reaches(net.circuit, closed, net.sources)[:, 0]
    source = solved.solution.source_a[:, :, AVERAGE]
    wanted = (solved.settled.on[solved.first] * np.array([d.average_a for d in net.draws])).sum(axis=1)
    excess = source.sum(axis=1) - wanted
    rows = np.flatnonzero(joined)
    if len(rows):
        row = int(rows[0])
        through = [
            str(net.elements[edge])
            for edge in np.flatnonzero(np.abs(solved.solution.current_a[row, :, AVERAGE]) > 0.5 * excess[row])
        ]
        yield finding(
            "power.short",
            where=", ".join(through[:6]) or "the network",
            value=round(float(excess[row]), 1) if net.supply.battery else None,
            unit="A",
            state=words(states.assignment(int(solved.first[row]))),
        )
    if source.shape[1] > 1:
        worst = np.unravel_index(int(np.argmin(source)), source.shape)
        if source[worst] < -0.01:
            row = int(worst[0])
            yield finding(
                "power.sources_fight",
                where=net.nodes[net.sources[int(worst[1])]],
                value=round(float(-source[worst]), 1),
                unit="A",
                state=words(states.assignment(int(solved.first[row]))),
            )


def _idle(build: Build, sized: Sized, result: PowerResult) -> Iterator[Finding]:
    net, told = sized.net, turn_on_edges(sized.net)
    for edge, (name, wire) in zip(net.edges("wire"), result.wires.items(), strict=True):
        signal = name in _signal(build) or net.nodes[net.circuit.ends[edge, 0]] in _bus(build, net)
        if wire.current_a <= NOTHING_A and edge not in told and not signal:
            yield finding("power.idle_wire", where=name)
    for edge, (name, fuse) in zip(net.edges("fuse"), result.fuses.items(), strict=True):
        if fuse.load_a <= NOTHING_A and edge not in told:
            yield finding("power.idle_fuse", where=name)
    for name, load in result.loads.items():
        if not load.on.any():
            yield finding("power.never_on", where=name)


def _signal(build: Build) -> set[str]:
    return {wire.name for wire in build.wires if wire.shield}


def _bus(build: Build, net: Network) -> set[str]:
    """Nodes of the data buses that service bypasses hand back: they carry no supply current, and are judged there."""
    numbers = {name: number for number, name in enumerate(net.nodes)}
    ends = [numbers[node] for row in build.service_bypasses for node in (row.from_, row.to)]
    joined = reaches(net.circuit, np.ones((1, len(net.elements)), dtype=np.bool_), ends)[0] if ends else None
    if joined is None or joined[[0, *net.sources]].any():  # a bus that can touch the supply is no bus any more
        return set()
    return {net.nodes[number] for number in np.flatnonzero(joined)}


def _shape(build: Build, sized: Sized, states: States) -> Iterator[Finding]:
    net, bus = sized.net, _bus(build, sized.net)
    for names in loops(net):
        yield finding("power.loop", where=", ".join(names))
    for node, element, near in loose_ends(net):
        if node in bus:
            continue
        hint = f" Did you mean “{near}”?" if near else ""
        yield finding("power.loose_end", where=element, node=node, hint=hint)
    dead, floating = unsettled_nodes(sized)
    dead = [node for node in dead if node not in bus]
    if dead:
        yield finding("power.dead_node", where=", ".join(f"“{node}”" for node in dead[:12]))
    if floating:
        named, row = ", ".join(f"“{node}”" for node, _ in floating[:12]), floating[0][1]
        yield finding("power.floating", where=named, state=words(states.assignment(row)), node=floating[0][0])


def _voltages(build: Build, sized: Sized, result: PowerResult) -> Iterator[Finding]:
    supply = sized.net.supply
    floor, allowed = SAG_SHARE * supply.nominal_v, supply.drop_share * supply.nominal_v
    for name, load in result.loads.items():
        if load.strip_drop_v is not None and load.strip_drop_v > allowed + 1e-9:
            dim, limit = round(load.strip_drop_v, 3), round(allowed, 3)
            yield finding("power.strip_dims", where=name, value=dim, limit=limit, unit="V")
        if load.voltage_v is None or load.state is None:
            continue
        if load.voltage_v <= 0.0:
            yield finding("power.collapse", where=name, state=words(load.state))
        elif load.voltage_v < floor:
            yield finding(
                "power.sag",
                where=name,
                value=round(load.voltage_v, 2),
                limit=round(floor, 2),
                unit="V",
                state=words(load.state),
            )
        drop = (load.feed_drop_v or 0.0) + (load.return_drop_v or 0.0)
        if drop > allowed + 1e-9:
            yield finding("power.drop", where=name, value=round(drop, 3), limit=round(allowed, 3), unit="V")


def _supply(sized: Sized, result: PowerResult) -> Iterator[Finding]:
    if sized.net.supply.battery is None:
        yield finding("power.battery_unknown", where="supply")
    alternator = result.budget["alternator"]
    average = round(float(result.budget["average_a"]), 1)
    if alternator is None:
        return
    if alternator["spare_at_speed_a"] < 0.0:
        yield finding(
            "power.alternator_small", where="alternator", value=average, limit=alternator["rated_a"], unit="A"
        )
    elif alternator["spare_at_idle_a"] < 0.0:
        yield finding("power.alternator_idle", where="alternator", value=average, limit=alternator["idle_a"], unit="A")


def _faults(result: PowerResult) -> Iterator[Finding]:
    breaking: dict[str, list[str]] = {}
    for fault in result.faults:
        for broken in fault.breaks:
            breaking.setdefault(broken.text, []).append(f"{fault.element} {fault.kind}")
        if fault.stays_live:
            yield finding("power.fed_from_behind", where=fault.element, kind=fault.kind, node=fault.stays_live[1])
        if fault.through_shield:
            yield finding("power.shield_return", where=fault.element, loads=", ".join(fault.through_shield))
    for promise, faults in breaking.items():
        more = "" if len(faults) <= MOST_NAMED else f" and {len(faults) - MOST_NAMED} more"
        yield finding("power.fault_breaks", where=promise, faults=", ".join(faults[:MOST_NAMED]) + more)
