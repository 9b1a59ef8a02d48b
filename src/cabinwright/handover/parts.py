"""The parts list: what to buy or fetch, counted from the harness so that both always agree."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from cabinwright.build.designations import Designations, designations
from cabinwright.build.document import Build
from cabinwright.build.electrical import CHASSIS, Load
from cabinwright.handover.harness import Harness, allowed_m
from cabinwright.stages.power.result import PowerResult

__all__ = ["Part", "parts"]

SLEEVE_M = 0.04
"""Length of heat-shrink over a crimp: the barrel and as much again of the wire. Common practice."""


@dataclass(frozen=True)
class Part:
    """One line of the list."""

    group: str
    what: str
    quantity: float
    unit: str  #: ``m`` or ``pieces``
    used_for: str


def parts(build: Build, result: PowerResult, rows: Harness) -> tuple[Part, ...]:
    """Every part, grouped: wire, terminals, heat-shrink, connectors, fuses, contacts, devices, joints."""
    numbers = designations(build)
    return (
        *_wire(rows),
        *_terminals(rows),
        *_connectors(build, rows, numbers),
        *_fuses(result, numbers),
        *_contacts(build, numbers),
        *_devices(build, numbers),
        *_joints(rows),
        *_signal(build),
    )


def _wire(rows: Harness) -> Iterator[Part]:
    for cut in rows.cuts:
        words = [cut.size, *([cut.colour] if cut.colour else []), f"insulation {cut.insulation}"]
        yield Part("wire", ", ".join(words), cut.total_m, "m", _listed([number for number, _ in cut.pieces]))


def _terminals(rows: Harness) -> Iterator[Part]:
    """One terminal on each end, and heat-shrink wherever that end is not inside a connector."""
    crimps: dict[tuple[str, str], list[str]] = {}
    sleeves: dict[str, list[str]] = {}
    for wire in rows.wires:
        for end in wire.ends:
            crimps.setdefault((end.terminal or "terminal to be chosen", wire.size), []).append(wire.number)
            if end.pin is None:
                sleeves.setdefault(wire.size, []).append(wire.number)
    for (terminal, size), where in crimps.items():
        yield Part("terminals", f"{terminal}, for {size}", len(where), "pieces", _listed(where))
    for size, where in sleeves.items():
        what = f"heat-shrink with adhesive, for {size}, {1000 * SLEEVE_M:.0f} mm each"
        yield Part("heat-shrink", what, len(where), "pieces", _listed(where))


def _connectors(build: Build, rows: Harness, numbers: Designations) -> Iterator[Part]:
    for connector, pins in zip(build.connectors, rows.pins, strict=True):
        filled = sum(row.wire is not None for row in pins)
        what = f"{connector.housing or 'connector'}, {len(pins)} ways, {filled} with a wire"
        yield Part("connectors", what, 1, "pieces", f"{numbers['connector', connector.name]} {connector.name}")


def _fuses(result: PowerResult, numbers: Designations) -> Iterator[Part]:
    ratings: dict[float, list[str]] = {}
    for name, fuse in result.fuses.items():
        ratings.setdefault(fuse.rating_a, []).append(numbers["fuse", name])
    for kind in ("fuse", "fuse holder for"):
        for rating, where in sorted(ratings.items(), reverse=True):
            yield Part("fuses", f"{kind} {rating:g} A", len(where), "pieces", _listed(where))


def _contacts(build: Build, numbers: Designations) -> Iterator[Part]:
    for relay in build.relays:
        rest = "closes" if relay.at_rest == "open" else "opens"
        contact = f"contact {relay.rating_a:g} A" if relay.rating_a else "contact"
        what = f"relay with socket, {contact} {rest} with the coil, coil {relay.coil_a:g} A"
        yield Part("relays", what, 1, "pieces", f"{numbers['relay', relay.name]} {relay.name}")
    for switch in build.switches:
        what = "switch or contact" + (f", {switch.rating_a:g} A" if switch.rating_a else "")
        yield Part("switches", what, 1, "pieces", f"{numbers['switch', switch.name]} {switch.name}")


def _devices(build: Build, numbers: Designations) -> Iterator[Part]:
    for load in build.loads:
        kind = "amplifiers" if load.amplifier else "loads"
        yield Part(kind, _draw(load), 1, "pieces", f"{numbers['load', load.name]} {load.name}")
    second = build.supply.second_battery if build.supply else None
    if second:
        yield Part("loads", f"second battery, {second.capacity_ah:g} Ah", 1, "pieces", second.plus)


def _draw(load: Load) -> str:
    if load.amplifier:
        return f"amplifier, {load.amplifier.output_w:g} W, class {load.amplifier.class_}"
    if load.driver:
        return f"light driver, {load.driver.kind}, {load.driver.output_v:g} V, {load.driver.current_a:g} A"
    draw = f"{load.power_w:g} W" if load.power_w is not None else f"{load.current_a:g} A"
    return f"strip of lights, {draw}" if load.strip else f"load, {draw}"


def _joints(rows: Harness) -> Iterator[Part]:
    for joint in rows.joints:
        what = "ground points" if joint.node == CHASSIS else "block, stud or splice"
        yield Part("joints", f"{what}, {joint.ends} ends", 1, "pieces", f"{joint.node}: {_listed(list(joint.wires))}")


def _signal(build: Build) -> Iterator[Part]:
    """Signal cables, each as long as it lies plus the same allowance as a wire's."""
    for cable in build.signal_cables:
        shield = "grounded at both ends" if cable.shield_grounded == "both ends" else "grounded at one end"
        kind = "signal cable, balanced" if cable.balanced else "signal cable"
        length = cable.length_m + allowed_m(cable.length_m, None)
        yield Part("signal cables", f"{kind}, shield {shield}", round(length, 2), "m", cable.name)


def _listed(where: list[str]) -> str:
    """``W1, W2 twice``: each once, with how often."""
    return ", ".join(name if count == 1 else f"{name} ×{count}" for name, count in Counter(where).items())
