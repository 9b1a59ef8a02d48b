"""The order of waking and sleeping: when each device passes sound, when its output jumps, and whether that is heard.

A device is woken when the one before it in `by` is awake; its trigger ends together with that one's. A jump is a thump
where everything behind the device on a way to a loudspeaker already passes sound, or still does. Intervals are exact;
one that only touches another does not count. Jumps whose time is left open are taken at their worst, and a converter or
processor without times as always awake; a way to an amplifier without times is not judged, and told.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Literal

from cabinwright.build.chain import TurnOn
from cabinwright.build.document import Build
from cabinwright.findings import Finding, finding
from cabinwright.stages.signal.chain import PROCESSOR, ChainGraph

__all__ = ["Clock", "Thump", "TurnOnResult", "turn_on"]

When = Literal["on", "off"]


@dataclass(frozen=True, slots=True)
class Clock:
    """One device in time, in seconds after the car wakes it and after the car lets go."""

    device: str
    woken_s: Fraction  #: its trigger comes
    awake_s: Fraction  #: it passes sound
    let_go_s: Fraction  #: its trigger ends
    asleep_s: Fraction  #: it passes nothing
    jump_on_s: tuple[Fraction, Fraction] | None  #: when its output may jump as it wakes
    jump_off_s: tuple[Fraction, Fraction | None] | None  #: as it sleeps; open towards the end where None


@dataclass(frozen=True, slots=True)
class Thump:
    """A jump that is heard."""

    device: str
    when: When
    from_s: float
    to_s: float
    path: tuple[str, ...]  #: from the device to the amplifier that passes it
    delay: str | None  #: the device whose waking, or sleeping, to delay; None where that cannot help
    delay_s: float  #: by how much at least


@dataclass(frozen=True)
class TurnOnResult:
    """Every device that the build has times for, and every thump."""

    clocks: dict[str, Clock]
    thumps: tuple[Thump, ...]
    unstated: tuple[str, ...]  #: devices on a way to a loudspeaker without times
    findings: tuple[Finding, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """``signal.turn_on`` of ``plan.json``."""
        return {
            "order": [_clock(item) for item in sorted(self.clocks.values(), key=lambda row: row.awake_s)],
            "thumps": [{name: getattr(item, name) for name in Thump.__slots__} for item in self.thumps],
            "unstated": list(self.unstated),
        }


def _clock(item: Clock) -> dict[str, Any]:
    on, off = item.jump_on_s, item.jump_off_s
    return {
        "device": item.device,
        "woken_s": float(item.woken_s),
        "awake_s": float(item.awake_s),
        "let_go_s": float(item.let_go_s),
        "asleep_s": float(item.asleep_s),
        "jump_on_s": None if on is None else [float(value) for value in on],
        "jump_off_s": None if off is None else [None if value is None else float(value) for value in off],
    }


def turn_on(build: Build, graph: ChainGraph) -> TurnOnResult | None:
    """The order of waking and sleeping; None where the build says nothing of it."""
    if not build.turn_on:
        return None
    clocks = _clocks(build)
    thumps, unstated = list[Thump](), dict[str, None]()
    for way in _ways(graph):
        for number, device in enumerate(way):
            if device not in clocks:
                unstated[device] = None
                continue
            behind = [clocks[name] for name in way[number + 1 :] if name in clocks]
            if behind and way[-1] in clocks:  # what an amplifier without times lets through cannot be told
                thumps += _heard(build, clocks[device], behind, way[number:])
    worst = _worst(thumps)
    return TurnOnResult(clocks, worst, tuple(unstated), tuple(_remarks(graph, clocks, worst, tuple(unstated))))


def _clocks(build: Build) -> dict[str, Clock]:
    rows = {row.device: row for row in build.turn_on}
    found: dict[str, Clock] = {}

    def clock(name: str) -> Clock:
        if name not in found:
            row = rows[name]
            before = clock(row.by) if row.by in rows else None
            found[name] = _one(
                row, before.awake_s if before else Fraction(0), before.let_go_s if before else Fraction(0)
            )
        return found[name]

    for name in rows:
        clock(name)
    return found


def _one(row: TurnOn, woken: Fraction, let_go: Fraction) -> Clock:
    wakes, sleeps = _exact(row.wakes_s), _exact(row.sleeps_s)
    on: tuple[Fraction, Fraction] | None = (woken, woken + wakes)
    off: tuple[Fraction, Fraction | None] | None = (let_go, None)
    if row.jumps_on_s is not None:
        on = (woken + _exact(row.jumps_on_s),) * 2
    if row.jumps_off_s is not None:
        off = (let_go + _exact(row.jumps_off_s),) * 2
    jumps = row.thump
    return Clock(
        row.device, woken, woken + wakes, let_go, let_go + sleeps, on if jumps else None, off if jumps else None
    )


def _exact(seconds: float) -> Fraction:
    """The decimal number that a person wrote."""
    return Fraction(repr(seconds))


def _ways(graph: ChainGraph) -> list[tuple[str, ...]]:
    """Devices from each source over converters, the processor and each amplifier, without repeats."""
    amplifiers = dict.fromkeys(
        way[1].amplifier
        for channel in graph.channels
        for way in graph.ways_out(channel)
        if way[1].kind == "amplifier channel"
    )
    ins = dict.fromkeys(
        tuple(node.name for node in way if node.kind in ("source", "converter"))
        for goal in graph.inputs
        for way in graph.way_to(goal)
    )
    return [(*way, PROCESSOR.name, amplifier) for way in ins or {(): None} for amplifier in amplifiers]


def _heard(build: Build, device: Clock, behind: list[Clock], way: tuple[str, ...]) -> Iterator[Thump]:
    """Jumps of a device that everything behind it passes on."""
    passes = max(item.awake_s for item in behind)
    if device.jump_on_s is not None and device.jump_on_s[1] > passes:
        start, end = max(device.jump_on_s[0], passes), device.jump_on_s[1]
        late = _latest(build, device.device, [item for item in behind if item.awake_s == passes])
        yield Thump(device.device, "on", float(start), float(end), way, late, float(end - passes))
    silent = min(item.asleep_s for item in behind)
    if device.jump_off_s is not None and device.jump_off_s[0] < silent:
        start, last = device.jump_off_s
        end = silent if last is None else min(last, silent)
        tied = any(device.device in _above(build, item.device) for item in behind if item.asleep_s == silent)
        delay = None if tied else device.device  # what it wakes lets go with it, however long it is held
        yield Thump(device.device, "off", float(start), float(end), way, delay, float(silent - start))


def _latest(build: Build, device: str, last: list[Clock]) -> str | None:
    """The device to wake later: one of the last that pass, unless this one is itself woken by it."""
    above = _above(build, device)
    return next((item.device for item in reversed(last) if item.device not in above), None)


def _above(build: Build, device: str) -> set[str]:
    """Whatever wakes this device, over others or not."""
    before = {row.device: row.by for row in build.turn_on}
    above: set[str] = set()
    here = before.get(device)
    while here is not None and here not in above:
        above.add(here)
        here = before.get(here)
    return above


def _worst(thumps: list[Thump]) -> tuple[Thump, ...]:
    """One for each device, edge and amplifier: the longest delay."""
    found: dict[tuple[str, When, str], Thump] = {}
    for item in thumps:
        key = (item.device, item.when, item.path[-1])
        if key not in found or item.delay_s > found[key].delay_s:
            found[key] = item
    return tuple(found.values())


def _remarks(
    graph: ChainGraph, clocks: dict[str, Clock], thumps: tuple[Thump, ...], unstated: tuple[str, ...]
) -> Iterator[Finding]:
    for item in thumps:
        yield finding(
            "signal.thump", where=item.device, value=item.delay_s, unit="s",
            when="wakes it" if item.when == "on" else "lets go",
            from_s=item.from_s, to_s=item.to_s, path=" → ".join(item.path[1:]), cure=_cure(item),
        )  # fmt: skip
    if unstated:
        yield finding("signal.turn_on_unstated", where=", ".join(f"“{name}”" for name in unstated))
    for name in graph.amplifiers:
        if name in clocks and (clocks[name].jump_on_s or clocks[name].jump_off_s):
            yield finding("signal.thump_amplifier", where=name)


def _cure(item: Thump) -> str:
    late = f"by {item.delay_s:g} s or more"
    if item.delay is None and item.when == "on":
        return "Delays do not help: what passes it also wakes it. Let the car itself or a source wake that one."
    if item.delay is None:
        return f"Let what stands behind it sleep {late} sooner, or take its trigger from elsewhere and hold this one longer."
    if item.when == "on":
        return f"Wake “{item.delay}” later, {late}."
    return f"Let “{item.delay}” sleep later than what stands behind it, {late}, or let that sleep sooner."
