"""Whether a data bus of the car is handed back to a scan tool when it should be, and what talks on it meanwhile."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.chain import ServiceBypass
from cabinwright.build.document import Build
from cabinwright.build.electrical import CHASSIS
from cabinwright.findings import Finding, finding
from cabinwright.physics.circuit import reaches
from cabinwright.stages.power.network import Network, contacts, network, settle
from cabinwright.stages.power.states import States, words

__all__ = ["BypassResult", "BypassesResult", "bypasses"]

Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class BypassResult:
    """One bypass over every combination of states."""

    row: ServiceBypass
    holds: bool | None  #: joined and silent whenever it should be, and never both bypassed and on; None: not to be seen
    combinations: int  #: in which it should be handed back
    counterexample: dict[str, str] | None
    open_in: dict[str, str] | None  #: a combination in which it should be joined and is not
    not_silent: dict[str, dict[str, str]]  #: by load: a combination in which it should be off and is on
    while_on: dict[str, dict[str, str]]  #: by load: bypassed where it should not be, with this load on
    shorted: tuple[str, dict[str, str]] | None  #: the node of the supply that the bus is joined to, and when

    def to_dict(self) -> dict[str, Any]:
        """One entry of ``signal.service_bypasses``."""
        row = self.row
        return {
            "name": row.name,
            "bus": row.bus,
            "from": row.from_,
            "to": row.to,
            "when": dict(row.when),
            "silent": list(row.silent),
            "steps": list(row.steps),
            "holds": self.holds,
            "combinations": self.combinations,
            "counterexample": self.counterexample,
            "open_in": self.open_in,
            "not_silent": self.not_silent,
            "while_on": self.while_on,
            "shorted_to": self.shorted[0] if self.shorted else None,
        }


@dataclass(frozen=True)
class BypassesResult:
    """All bypasses, in the build's order."""

    bypasses: tuple[BypassResult, ...]
    findings: tuple[Finding, ...] = ()

    def to_dict(self) -> list[dict[str, Any]]:
        """``signal.service_bypasses`` of ``plan.json``."""
        return [item.to_dict() for item in self.bypasses]


def bypasses(build: Build) -> BypassesResult | None:
    """Every service bypass of a build, proved or refuted; None where it has none."""
    if not build.service_bypasses:
        return None
    if build.supply is None:
        blank = tuple(BypassResult(row, None, 0, None, None, {}, {}, None) for row in build.service_bypasses)
        return BypassesResult(
            blank, tuple(finding("signal.bypass_unproved", where=row.name) for row in build.service_bypasses)
        )
    states, net = States(build.states), network(build, build.supply)
    settled = settle(net, contacts(build, net, states))
    found = tuple(_judge(row, net, states, settled.closed, settled.on) for row in build.service_bypasses)
    return BypassesResult(found, tuple(remark for item in found for remark in _remarks(item)))


def _judge(row: ServiceBypass, net: Network, states: States, closed: Flags, on: Flags) -> BypassResult:
    numbers = {name: number for number, name in enumerate(net.nodes)}
    wanted = states.where(row.when)
    reached = reaches(net.circuit, closed, [numbers[row.from_]])
    joined = reached[:, numbers[row.to]]
    loads = {draw.name: on[:, number] for number, draw in enumerate(net.draws) if draw.kind == "load"}
    shorted = None
    for node in (0, *net.sources):
        either = reached[:, node] | reaches(net.circuit, closed, [numbers[row.to]])[:, node]
        if shorted is None and (either & wanted).any():
            shorted = (net.nodes[node], states.assignment(int(np.argmax(either & wanted))))
    open_in = _first(wanted & ~joined, states)
    not_silent = {name: at for name in row.silent if (at := _first(wanted & loads[name], states)) is not None}
    while_on = {name: at for name in row.silent if (at := _first(~wanted & joined & loads[name], states)) is not None}
    short_at = shorted[1] if shorted else None
    against = next((at for at in (open_in, *not_silent.values(), *while_on.values(), short_at) if at is not None), None)
    return BypassResult(
        row=row,
        holds=open_in is None and not not_silent and not while_on and shorted is None,
        combinations=int(wanted.sum()),
        counterexample=against,
        open_in=open_in,
        not_silent=not_silent,
        while_on=while_on,
        shorted=shorted,
    )


def _first(rows: Flags, states: States) -> dict[str, str] | None:
    """The first combination of these."""
    return states.assignment(int(np.argmax(rows))) if rows.any() else None


def _remarks(item: BypassResult) -> Iterator[Finding]:
    row = item.row
    if item.shorted is not None:
        node, at = item.shorted
        name = "the chassis" if node == CHASSIS else f"“{node}”"
        yield finding("signal.bypass_shorted", where=row.name, node=name, state=words(at))
    if item.open_in is not None:
        yield finding(
            "signal.bypass_open", where=row.name, start=f"“{row.from_}”", end=f"“{row.to}”", state=words(item.open_in)
        )
    for load, at in item.not_silent.items():
        yield finding("signal.bypass_not_silent", where=row.name, load=f"“{load}”", state=words(at))
    for load, at in item.while_on.items():
        yield finding("signal.bypass_while_on", where=row.name, load=f"“{load}”", state=words(at))
