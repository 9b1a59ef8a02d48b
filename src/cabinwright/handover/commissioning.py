"""What to measure before power, at first power and under load, with the figures that the power stage expects."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from cabinwright.build.designations import designations
from cabinwright.build.document import Build
from cabinwright.build.electrical import BATTERY_PLUS, CHASSIS
from cabinwright.handover.harness import joined
from cabinwright.handover.power_extras import charge_first
from cabinwright.stages.power.result import PowerResult, WireResult
from cabinwright.stages.power.states import words

__all__ = ["Check", "Phase", "commissioning"]

METER_OHM = 0.2
"""What a plain meter and two terminals may add to a wire; its leads are taken off first. Common practice."""
INSULATION_OHM = 10_000.0
"""Least resistance to the chassis with everything unplugged. Common practice."""
JOINTS_V = 0.02
"""What the two terminals of a wire may add under load. Common practice."""
BATTERY_V = 0.3
"""Spread of a healthy battery about the stated voltage. Common practice."""
DROP_SHARE = 0.3
"""Joints, the body and real sizes of wire add to a computed drop; a third more is passed. Common practice."""
LEAST_DROP_V = 0.1
CURRENT_SHARE = 0.25
"""Music is no steady load: a clamp meter may show a quarter more or less. Common practice."""
WORTH_A = 1.0
"""Below this current a drop is too small to tell anything."""


CONTACT_V = 0.1
"""What a healthy contact may lose under load. Common practice."""
GROUNDS_SHARE = 0.6
"""What warm returns and their joints may add to the voltage between two grounds. Common practice."""


@dataclass(frozen=True)
class Check:
    """One line: what to do, in which state of the car, and the figures between which it passes; None is no bound."""

    what: str
    state: str
    unit: str  #: empty where there is nothing to read but what is seen
    expected: float | None = None
    low: float | None = None
    high: float | None = None
    seen: str = ""  #: what has to be seen instead of a figure
    hint: str = ""


@dataclass(frozen=True)
class Phase:
    """One part of the sheet."""

    title: str
    first: str  #: what has to be so before it begins
    checks: tuple[Check, ...]


def commissioning(build: Build, result: PowerResult) -> tuple[Phase, ...]:
    """The three phases of a build that the power stage has worked out."""
    return (
        Phase(
            "Before power",
            "Battery minus off, every fuse out, loads unplugged, relays out of their sockets.",
            tuple(_before(build, result)),
        ),
        Phase(
            "First power",
            "Engine off, level right down. Battery minus on; then one fuse at a time, in the order below.",
            tuple(_first(build, result)),
        ),
        Phase(
            "Under load",
            "Engine running, everything on, music as loud as it will be used. A warm smell, a hot fuse or a hot terminal: "
            "switch off and look.",
            tuple(_loaded(build, result)),
        ),
    )


def _before(build: Build, result: PowerResult) -> Iterator[Check]:
    numbers = designations(build)
    for name, fuse in result.fuses.items():
        yield Check(
            f"{numbers['fuse', name]} {name}: rating on the fuse", "", "A", fuse.rating_a, fuse.rating_a, fuse.rating_a
        )
    for name, wire in result.wires.items():
        ohm = wire.resistance_max_ohm or wire.resistance_ohm
        yield Check(
            f"{numbers['wire', name]} {name}: {wire.from_} to {wire.to}",
            "",
            "Ω",
            wire.resistance_ohm,
            0.0,
            ohm + METER_OHM,
        )
    for name, side in load_sides(build).items():
        if side is not None:
            yield Check(f"{numbers['fuse', name]} {name}: load side ({side}) to chassis", "", "Ω", None, INSULATION_OHM)
    for cable in build.signal_cables:
        if cable.shield_grounded == "one end":
            what = f"signal cable {cable.name}: unplugged at one end, shield of that end to its device"
            yield Check(what, "", "Ω", None, INSULATION_OHM, hint="grounded at the other end alone")


def _first(build: Build, result: PowerResult) -> Iterator[Check]:
    assert build.supply is not None
    numbers, rest = designations(build), build.supply.engine_off_v
    yield Check("battery plus to chassis", "", "V", rest, rest - BATTERY_V, rest + BATTERY_V)
    sides, live = load_sides(build), joined(build, BATTERY_PLUS, contacts=False)
    for name, wires in _inward(result):
        what, side = f"{numbers['fuse', name]} {name}: put it in", sides[name]
        behind = ", ".join(numbers["wire", wire] for wire in wires) or "nothing of its own"
        first = charge_first(result, name)
        hint = f"makes live: {behind}; nothing comes on that should not" + (f"; {first}" if first else "")
        if side in live:
            what = f"{what}; load side ({side}) to chassis"
            yield Check(what, "", "V", rest, rest - BATTERY_V - LEAST_DROP_V, rest + BATTERY_V, hint=hint)
        else:
            yield Check(what, "", "", seen="nothing comes on that should not", hint=f"makes live: {behind}")
    for item in build.promises:
        is_ = "on" if item.is_ == "on" else "off"
        where = words(item.when) if item.when else "any state"
        yield Check(f"promise: {item.text}", where, "", seen=f"{item.load} {is_}")
    asleep = result.budget["asleep_a"]
    yield Check(
        "current in the battery's minus, the car locked and asleep",
        "",
        "mA",
        1e3 * asleep,
        0.0,
        1e3 * asleep * (1.0 + CURRENT_SHARE) + 1.0,
        hint="what the car itself draws asleep comes on top: measure it before the wiring begins",
    )


def load_sides(build: Build) -> dict[str, str | None]:
    """By fuse, the end that is dead with it out; None where there is none, or where that end is joined to the chassis."""
    ground = joined(build, CHASSIS, without=tuple(fuse.name for fuse in build.fuses))
    found: dict[str, str | None] = {}
    for fuse in build.fuses:
        fed = joined(build, BATTERY_PLUS, without=(fuse.name,))
        dead = [node for node in (fuse.to, fuse.from_) if node not in fed]
        found[fuse.name] = dead[0] if len(dead) == 1 and dead[0] not in ground else None
    return found


def _inward(result: PowerResult) -> list[tuple[str, tuple[str, ...]]]:
    """Fuses from the battery inwards, the smallest rating first among equals, with the wires they make live."""
    order = sorted(result.fuses.items(), key=lambda item: (len(item[1].after), item[1].rating_a))
    return [(name, fuse.protects) for name, fuse in order]


def _loaded(build: Build, result: PowerResult) -> Iterator[Check]:
    assert build.supply is not None
    numbers, running = designations(build), build.supply.nominal_v
    yield Check("battery plus to chassis", "", "V", running, running - 2 * BATTERY_V, running + 2 * BATTERY_V)
    for name, load in result.loads.items():
        if load.state is None or load.average_v is None:
            continue
        spare = max(LEAST_DROP_V, DROP_SHARE * (running - load.average_v))
        yield Check(
            f"{numbers['load', name]} {name}: across its own terminals",
            words(load.state),
            "V",
            load.average_v,
            load.average_v - spare - 2 * BATTERY_V,
            running + 2 * BATTERY_V,
            hint=f"at full level {load.voltage_v:.2f} V" if load.voltage_v is not None else "",
        )
    for name, fuse in result.fuses.items():
        if fuse.average_a > 0.0:
            yield Check(
                f"{numbers['fuse', name]} {name}: current, clamp meter",
                words(fuse.state),
                "A",
                fuse.average_a,
                fuse.average_a * (1.0 - CURRENT_SHARE),
                min(fuse.average_a * (1.0 + CURRENT_SHARE), fuse.rating_a),
                hint=f"at full level {fuse.load_a:.3g} A",
            )
    for name, wire in result.wires.items():
        if wire.average_a >= WORTH_A:
            yield _drop(f"{numbers['wire', name]} {name}: {wire.from_} to {wire.to}", wire)
    for contact in result.contacts:
        if contact.average_a >= WORTH_A:
            what = (
                f"{numbers.get((contact.kind, contact.name), contact.kind)} {contact.name}: across its closed contact"
            )
            hint = f"at {contact.average_a:.3g} A"
            yield Check(what, words(contact.state), "mV", None, 0.0, 1e3 * CONTACT_V, hint=hint)
    yield from _signals(build, result)


def _signals(build: Build, result: PowerResult) -> Iterator[Check]:
    """The voltage between the two grounds of each signal cable, and what is heard with the music paused."""
    for cable in build.signal_cables:
        told = result.signal_cables[cable.name]
        if cable.from_ != cable.to:
            most = told.grounds_average_v * (1.0 + GROUNDS_SHARE) + JOINTS_V
            what = f"signal cable {cable.name}: {cable.from_} to {cable.to}"
            expected = 1e3 * told.grounds_average_v
            hint = "direct voltage while music plays; in the state with most"
            yield Check(what, "", "mV", expected, 0.0, 1e3 * most, hint=hint)
    if build.signal_cables:
        what = "music paused, engine from idle to 3000 1/min, lamps dimmed and not"
        yield Check(what, "", "", seen="no whine and no buzz follows", hint="a rising whine is the alternator")


def _drop(what: str, wire: WireResult) -> Check:
    """Drop along a wire: it may be as hot as its insulation stands, and as thin as the standard lets it be."""
    most = wire.resistance_hot_ohm * max(1.0, (wire.resistance_max_ohm or 0.0) / wire.resistance_ohm)
    return Check(
        what,
        words(wire.state),
        "mV",
        1e3 * wire.average_drop_v,
        0.0,
        1e3 * (wire.average_a * most + JOINTS_V),
        hint=f"at {wire.average_a:.3g} A; {1e3 * wire.resistance_ohm:.2g} mV for each ampere",
    )
