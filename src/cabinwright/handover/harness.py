"""The harness as rows: every wire with both its ends, what to cut, which pin it sits in, and where ends meet.

Numbers only, no markup: pages, lists, labels and the printed sheets all take theirs from here.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from dataclasses import dataclass

from cabinwright.build.connectors import Pin
from cabinwright.build.designations import designations
from cabinwright.build.document import Build
from cabinwright.build.electrical import BATTERY_PLUS, CHASSIS
from cabinwright.stages.power.result import PowerResult, WireResult

__all__ = ["Cut", "End", "Harness", "HarnessWire", "Joint", "PinRow", "allowed_m", "harness", "joined", "size_words"]

ALLOWANCE_SHARE, ALLOWANCE_M = 0.10, 0.30
"""What a wire is cut longer than it lies: a tenth for bends, and a hand's breadth at each end. Common practice."""


@dataclass(frozen=True)
class End:
    """One end of a wire."""

    node: str
    terminal: str | None  #: None where the build does not say
    pin: str | None  #: ``X1 pin 2``; None where it sits in no connector, or nobody knows which end does


@dataclass(frozen=True)
class HarnessWire:
    """One wire as it is cut and crimped."""

    number: str
    name: str
    ends: tuple[End, End]
    size: str  #: gauge, and the material where that is not copper
    colour: str | None
    insulation: str
    length_m: float
    allowance_m: float
    fuse: str | None  #: ``F1, 125 A, main``
    either: tuple[str, ...] = ()  #: pins of this wire of which nobody says which end they take

    @property
    def cut_m(self) -> float:
        return self.length_m + self.allowance_m


@dataclass(frozen=True)
class Cut:
    """All wire of one kind."""

    size: str
    colour: str | None
    insulation: str
    pieces: tuple[tuple[str, float], ...]  #: number of the wire and its length, longest first

    @property
    def total_m(self) -> float:
        return math.fsum(length for _, length in self.pieces)


@dataclass(frozen=True)
class PinRow:
    """One pin of a connector; an empty one has nothing but its number."""

    pin: int
    wire: HarnessWire | None = None
    end: int | None = None  #: which of its ends; None where nobody says
    use: str | None = None


@dataclass(frozen=True)
class Joint:
    """A node where more than two ends meet."""

    node: str
    ends: int
    wires: tuple[str, ...]  #: their numbers


@dataclass(frozen=True)
class Harness:
    """The whole of it."""

    wires: tuple[HarnessWire, ...]
    cuts: tuple[Cut, ...]  #: thickest first
    pins: tuple[tuple[PinRow, ...], ...]  #: per connector, in the build's order
    joints: tuple[Joint, ...]


def harness(build: Build, result: PowerResult) -> Harness:
    """The harness of a build that the power stage has worked out, in the build's order."""
    places, either = _places(build)
    numbers = designations(build)
    wires = []
    for stated in build.wires:
        found = result.wires[stated.name]
        allowance = allowed_m(stated.length_m, stated.allowance_m)
        ends = (
            End(stated.from_, stated.from_terminal, places.get((stated.name, 0))),
            End(stated.to, stated.to_terminal, places.get((stated.name, 1))),
        )
        fuse = found.fuse
        wires.append(
            HarnessWire(
                number=numbers["wire", stated.name],
                name=stated.name,
                ends=ends,
                size=size_words(found),
                colour=stated.colour,
                insulation=stated.insulation,
                length_m=stated.length_m,
                allowance_m=allowance,
                fuse=f"{numbers['fuse', fuse]}, {result.fuses[fuse].rating_a:g} A, {fuse}" if fuse else None,
                either=tuple(either.get(stated.name, ())),
            )
        )
    rows = tuple(wires)
    return Harness(rows, _cuts(rows, result), _pins(build, rows), _joints(build))


def allowed_m(length_m: float, stated_m: float | None) -> float:
    """What a wire is cut longer than it lies [m]: as stated, else so that the whole is full 5 cm."""
    if stated_m is not None:
        return stated_m
    wanted = length_m * (1.0 + ALLOWANCE_SHARE) + ALLOWANCE_M
    return math.ceil(wanted / 0.05 - 1e-9) * 0.05 - length_m


def size_words(wire: WireResult) -> str:
    """``4 AWG``, or ``4 AWG copper-clad aluminium``."""
    gauge = wire.gauge.replace("mm2", "mm²")
    return gauge if wire.material == "copper" else f"{gauge} {wire.material}"


def sides(build: Build) -> dict[tuple[str, int], int]:
    """(connector, index of the pin) -> 0 at the wire's ``from`` end, 1 at ``to``; left out where nobody says.

    A wire with one end stated in one pin has its other end in the other.
    """
    by_wire: dict[str, list[tuple[str, int, Pin]]] = defaultdict(list)
    for connector in build.connectors:
        for index, pin in enumerate(connector.pins):
            if pin.wire is not None:
                by_wire[pin.wire].append((connector.name, index, pin))
    found = {}
    for pins in by_wire.values():
        stated = {pin.end for _, _, pin in pins} - {None}
        for name, index, pin in pins:
            if pin.end is not None:
                found[name, index] = int(pin.end == "to")
            elif len(stated) == 1:
                found[name, index] = int("from" in stated)
    return found


def _places(build: Build) -> tuple[dict[tuple[str, int], str], dict[str, list[str]]]:
    """(wire, end) -> its pin; and by wire those pins of which nobody says which end they take."""
    numbers, known = designations(build), sides(build)
    places: dict[tuple[str, int], str] = {}
    either: dict[str, list[str]] = defaultdict(list)
    for connector in build.connectors:
        for index, pin in enumerate(connector.pins):
            if pin.wire is None:
                continue
            words, side = f"{numbers['connector', connector.name]} pin {pin.pin}", known.get((connector.name, index))
            if side is None:
                either[pin.wire].append(words)
            else:
                places[pin.wire, side] = words
    return places, either


def _cuts(wires: tuple[HarnessWire, ...], result: PowerResult) -> tuple[Cut, ...]:
    groups: dict[tuple[float, str, str, str], list[tuple[str, float]]] = defaultdict(list)
    for wire in wires:
        area = result.wires[wire.name].area_mm2
        groups[-area, wire.size, wire.colour or "", wire.insulation].append((wire.number, wire.cut_m))
    return tuple(
        Cut(size, colour or None, insulation, tuple(sorted(pieces, key=lambda piece: -piece[1])))
        for (_, size, colour, insulation), pieces in sorted(groups.items())
    )


def _pins(build: Build, wires: tuple[HarnessWire, ...]) -> tuple[tuple[PinRow, ...], ...]:
    by_name, known = {wire.name: wire for wire in wires}, sides(build)
    tables = []
    for connector in build.connectors:
        last = connector.ways or max(pin.pin for pin in connector.pins)
        rows = {number: PinRow(number) for number in range(1, last + 1)}
        for index, pin in enumerate(connector.pins):
            wire = by_name[pin.wire] if pin.wire else None
            rows[pin.pin] = PinRow(pin.pin, wire, known.get((connector.name, index)), pin.use)
        tables.append(tuple(rows.values()))
    return tuple(tables)


def _joints(build: Build) -> tuple[Joint, ...]:
    """Where three ends or more meet, the battery and the chassis among them; a turn-on line's end counts."""
    meets: Counter[str] = Counter()
    for wire in build.wires:
        meets.update((wire.from_, wire.to))
    for fuse in build.fuses:
        meets.update((fuse.from_, fuse.to))
    for switch in build.switches:
        meets.update((switch.from_, switch.to))
    for relay in build.relays:
        meets.update((relay.from_, relay.to, relay.coil_from, relay.coil_to))
    for load in build.loads:
        meets.update((load.from_, load.to))
    meets.update(load.remote for load in build.loads if load.remote)
    numbers = designations(build)
    first = [node for node in (BATTERY_PLUS, CHASSIS) if node in meets]
    return tuple(
        Joint(
            node,
            meets[node],
            tuple(numbers["wire", wire.name] for wire in build.wires if node in (wire.from_, wire.to)),
        )
        for node in dict.fromkeys([*first, *meets])
        if meets[node] > 2
    )


def joined(build: Build, start: str, *, without: tuple[str, ...] = (), contacts: bool = True) -> set[str]:
    """Nodes that ``start`` reaches through wires and fuses, and with ``contacts`` through switches and relays as if closed.

    Fuses named in ``without`` are out.
    """
    pairs = [(wire.from_, wire.to) for wire in build.wires]
    pairs += [(fuse.from_, fuse.to) for fuse in build.fuses if fuse.name not in without]
    if contacts:
        pairs += [(switch.from_, switch.to) for switch in build.switches]
        pairs += [(relay.from_, relay.to) for relay in build.relays]
    beside: dict[str, list[str]] = defaultdict(list)
    for first, second in pairs:
        beside[first].append(second)
        beside[second].append(first)
    found, open_ = {start}, [start]
    while open_:
        for node in beside[open_.pop()]:
            if node not in found:
                found.add(node)
                open_.append(node)
    return found
