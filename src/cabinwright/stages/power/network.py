"""The build as a network: nodes by number, elements that join them, loads that draw, and what is on in which setting."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build
from cabinwright.build.electrical import BATTERY_PLUS, CHASSIS, Amplifier, Driver, Load, SignalCable, Supply
from cabinwright.physics.circuit import Circuit, reaches_each
from cabinwright.physics.wire import resistance_ohm
from cabinwright.stages.power.states import States
from cabinwright.tables import amplifier_efficiency

__all__ = ["Draw", "Element", "Network", "Settled", "contacts", "drawn_a", "network", "settle", "shield_ohm"]

Real = NDArray[np.float64]
Flags = NDArray[np.bool_]
Index = NDArray[np.intp]

SHIELD_OHM_M = 0.02  #: braid of a thin coaxial cable, typical; from memory
PROVISIONAL_MM2 = 6.0  #: a wire without a size has this one until its current is known


@dataclass(frozen=True)
class Element:
    """Something that joins two nodes."""

    kind: (
        str  #: ``wire`` ``fuse`` ``switch`` ``relay`` ``isolator`` ``shield`` (of a signal cable grounded at both ends)
    )
    name: str
    number: int  #: in its table of the build

    def __str__(self) -> str:
        return f"{self.kind} “{self.name}”"


@dataclass(frozen=True)
class Draw:
    """A load, or the coil of a relay."""

    kind: str  #: ``load`` or ``relay``
    name: str
    from_: int
    to: int
    peak_a: float
    average_a: float
    remote: int | None = None  #: node that turns it on


@dataclass(frozen=True)
class Network:
    """Node 0 is the chassis, node 1 the battery's plus."""

    supply: Supply
    nodes: tuple[str, ...]
    elements: tuple[Element, ...]
    draws: tuple[Draw, ...]  #: loads first, then coils, each in the build's order
    circuit: Circuit
    relay_edges: Index  #: edge of each relay's contact
    relay_closed: Flags  #: whether it is closed at rest
    coils: Index  #: number of each relay's coil in ``draws``
    lengths_m: Real  #: (edges,) 0 where no wire

    @property
    def sources(self) -> list[int]:
        return [int(node) for node in self.circuit.source_node]

    def edges(self, kind: str) -> list[int]:
        """Edges of this kind, in the build's order."""
        return list(self._by_kind.get(kind, ()))

    @cached_property
    def _by_kind(self) -> dict[str, list[int]]:
        found: dict[str, list[int]] = {}
        for number, element in enumerate(self.elements):
            found.setdefault(element.kind, []).append(number)
        return found

    def shields(self, build: Build) -> list[int]:
        """Edges that are shields of signal cables, whether cables of their own or wires marked so."""
        marked = [edge for edge in self.edges("wire") if build.wires[self.elements[edge].number].shield]
        return [*marked, *self.edges("shield")]

    def with_areas(self, build: Build, areas_mm2: Sequence[float]) -> Network:
        """The same with other sizes of wires."""
        ohm = self.circuit.resistance_ohm.copy()
        for edge, wire, area in zip(self.edges("wire"), build.wires, areas_mm2, strict=True):
            ohm[edge] = resistance_ohm(
                length_m=wire.length_m,
                area_mm2=area,
                conductor_c=self.supply.conductor_c,
                material=wire.material,
            )
        return replace(self, circuit=replace(self.circuit, resistance_ohm=ohm))


@dataclass(frozen=True)
class Settled:
    """Contacts and loads in each setting, after the relays have come to rest."""

    closed: Flags  #: (settings, edges)
    on: Flags  #: (settings, draws)
    unsteady: Flags  #: (settings, relays) contacts that never come to rest


def network(build: Build, supply: Supply) -> Network:
    """The network of a build. Wires without a size have a provisional one."""
    numbers: dict[str, int] = {CHASSIS: 0, BATTERY_PLUS: 1}

    def node(name: str) -> int:
        return numbers.setdefault(name, len(numbers))

    ends, ohms, elements = list[tuple[int, int]](), list[float](), list[Element]()

    def add(kind: str, name: str, number: int, first: str, second: str, ohm: float) -> int:
        ends.append((node(first), node(second)))
        ohms.append(ohm)
        elements.append(Element(kind, name, number))
        return len(ends) - 1

    for number, wire in enumerate(build.wires):
        add("wire", wire.name, number, wire.from_, wire.to, 1.0)
    for number, fuse in enumerate(build.fuses):
        add("fuse", fuse.name, number, fuse.from_, fuse.to, fuse.resistance_ohm)
    for number, switch in enumerate(build.switches):
        add("switch", switch.name, number, switch.from_, switch.to, switch.resistance_ohm)
    contacts = [
        add("relay", row.name, number, row.from_, row.to, row.resistance_ohm) for number, row in enumerate(build.relays)
    ]
    second = supply.second_battery
    if second and supply.isolator:
        add("isolator", "isolator", 0, BATTERY_PLUS, second.plus, supply.isolator.resistance_ohm)
    for number, cable in enumerate(build.signal_cables):
        if cable.shield_grounded == "both ends" and cable.from_ != cable.to:
            add("shield", cable.name, number, cable.from_, cable.to, shield_ohm(cable))
    draws = [
        Draw(
            "load",
            row.name,
            node(row.from_),
            node(row.to),
            *drawn_a(row, supply.nominal_v),
            remote=None if row.remote is None else node(row.remote),
        )
        for row in build.loads
    ]
    draws += [
        Draw("relay", row.name, node(row.coil_from), node(row.coil_to), row.coil_a, row.coil_a) for row in build.relays
    ]
    sources = [(1, supply.nominal_v, supply.battery.resistance_ohm if supply.battery else 0.0)]
    if second:
        sources.append((node(second.plus), second.open_v or supply.nominal_v, second.resistance_ohm))
    circuit = Circuit(
        nodes=len(numbers),
        ends=np.array(ends, dtype=np.intp).reshape(-1, 2),
        resistance_ohm=np.array(ohms, dtype=np.float64),
        source_node=np.array([row[0] for row in sources], dtype=np.intp),
        source_v=np.array([row[1] for row in sources]),
        source_ohm=np.array([row[2] for row in sources]),
    )
    lengths = np.zeros(len(ends))
    lengths[: len(build.wires)] = [wire.length_m for wire in build.wires]
    made = Network(
        supply=supply,
        nodes=tuple(numbers),
        elements=tuple(elements),
        draws=tuple(draws),
        circuit=circuit,
        relay_edges=np.array(contacts, dtype=np.intp),
        relay_closed=np.array([row.at_rest == "closed" for row in build.relays], dtype=np.bool_),
        coils=np.arange(len(build.loads), len(draws), dtype=np.intp),
        lengths_m=lengths,
    )
    return made.with_areas(build, [w.gauge.area_mm2 if w.gauge else PROVISIONAL_MM2 for w in build.wires])


def drawn_a(load: Load, nominal_v: float) -> tuple[float, float]:
    """Current at full level and for music on average."""
    if load.amplifier:
        return amplifier_a(load.amplifier, nominal_v)
    if load.driver:
        current = driver_a(load.driver, nominal_v)
        return current, current * load.dimmed_share
    current = load.current_a if load.current_a is not None else (load.power_w or 0.0) / nominal_v
    return current, current * load.dimmed_share


def shield_ohm(cable: SignalCable) -> float:
    """Resistance of a signal cable's shield from end to end."""
    return SHIELD_OHM_M * cable.length_m if cable.shield_ohm is None else cable.shield_ohm


def driver_a(driver: Driver, nominal_v: float) -> float:
    """Current from the supply; a resistor in each string passes what the string draws."""
    strings_a = driver.strings * driver.current_a
    if driver.kind == "resistor":
        return strings_a
    return strings_a * driver.output_v / driver.efficiency / nominal_v


def amplifier_a(amplifier: Amplifier, nominal_v: float) -> tuple[float, float]:
    """Full sine output, and an eighth of it: music whose peaks just clip has about that power."""
    full, music = amplifier_efficiency(amplifier.class_)
    return amplifier.output_w / full / nominal_v, amplifier.output_w / 8.0 / music / nominal_v


def contacts(build: Build, net: Network, states: States) -> Flags:
    """(combinations, edges) what the states close; relays as at rest."""
    closed = np.ones((states.count, len(net.elements)), dtype=np.bool_)
    for edge, row in zip(net.edges("switch"), build.switches, strict=True):
        closed[:, edge] = states.where_any(row.closed_when)
    isolator = net.supply.isolator
    for edge in net.edges("isolator"):
        assert isolator is not None
        closed[:, edge] = states.where_any(isolator.closed_when)
    closed[:, net.relay_edges] = net.relay_closed
    return closed


def settle(net: Network, closed: Flags, forced: Flags | None = None) -> Settled:
    """Let the relays pull in and drop out from rest until nothing changes.

    Args:
        closed: (settings, edges) contacts with relays at rest.
        forced: (settings, edges) contacts that stay as ``closed`` has them, whatever their coil says.
    """
    closed = closed.copy()
    relays = net.relay_edges
    held = np.zeros((len(closed), len(relays)), dtype=np.bool_) if forced is None else forced[:, relays]
    moved = np.zeros((len(closed), len(relays)), dtype=np.bool_)
    on = _on(net, closed)
    for _ in range(2 * len(relays) + 2):
        if not len(relays):
            break
        wanted = np.where(held, closed[:, relays], on[:, net.coils] ^ net.relay_closed)
        moved = wanted != closed[:, relays]
        if not moved.any():
            break
        closed[:, relays] = wanted
        on = _on(net, closed)
    return Settled(closed, on, moved)


def _on(net: Network, closed: Flags) -> Flags:
    """(settings, draws): the one end reaches a plus and the other the chassis, and the turn-on line a plus."""
    plus, back = reaches_each(net.circuit, closed, net.sources, [0])
    first = [draw.from_ for draw in net.draws]
    second = [draw.to for draw in net.draws]
    found: Flags = plus[:, first] & back[:, second]
    for number, draw in enumerate(net.draws):
        if draw.remote is not None:
            found[:, number] &= plus[:, draw.remote]
    return found
