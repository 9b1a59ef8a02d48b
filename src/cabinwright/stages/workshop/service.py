"""What must come out before what, and how far away fuses, batteries and controls are: the service steps as a graph.

The book and ``service.html`` read ``WorkshopResult.service``, a ``ServiceResult``: ``parts`` by name in an order in which
everything can come out (``order``), each with ``first`` (all that comes out before it, in order), the tools and minutes of the
whole way, and ``direct`` (what it waits for itself, without what that already implies: the joins of a drawing).
"""

from __future__ import annotations

from dataclasses import dataclass
from graphlib import TopologicalSorter
from typing import Any

from cabinwright.build.document import Build
from cabinwright.build.service import ServiceStep
from cabinwright.findings import Finding, finding

__all__ = ["MOST_STEPS", "ServicePart", "ServiceResult", "service_of"]

MOST_STEPS = 2  #: what a fuse, a battery or a control may take to be reached


@dataclass(frozen=True)
class ServicePart:
    """One part and the way to it."""

    name: str
    kind: str  #: part, fuse, battery or control
    of: tuple[str, ...]  #: what the build calls it elsewhere; empty: nothing
    how: str
    first: tuple[str, ...]  #: all that must come out before it, in order
    direct: tuple[str, ...]  #: those of them that nothing else in ``first`` waits for
    tools: tuple[str, ...]  #: of this part alone
    way_tools: tuple[str, ...]  #: of the whole way and of this part, each once, in the order in which they are needed
    minutes: float  #: to take it out, once it is reached
    minutes_back: float
    reach_minutes: float  #: until it is reached
    whole_minutes: float  #: the way, the part itself, and all of it back

    @property
    def steps(self) -> int:
        """How many parts come out before it can be reached."""
        return len(self.first)

    @property
    def deep(self) -> bool:
        """Whether it is a fuse, battery or control that is farther away than it should be."""
        return self.kind != "part" and self.steps > MOST_STEPS

    def to_dict(self) -> dict[str, Any]:
        """The keys of ``plan.json``."""
        return {
            "kind": self.kind,
            "of": list(self.of),
            "how": self.how,
            "steps": self.steps,
            "first": list(self.first),
            "direct": list(self.direct),
            "tools": list(self.tools),
            "way_tools": list(self.way_tools),
            "minutes": self.minutes,
            "minutes_back": self.minutes_back,
            "reach_minutes": self.reach_minutes,
            "whole_minutes": self.whole_minutes,
            "deep": self.deep,
        }


@dataclass(frozen=True)
class ServiceResult:
    """Every part, in an order in which all of them can come out."""

    parts: dict[str, ServicePart]
    unlisted: tuple[str, ...]  #: fuses of the build that no step tells how to reach

    @property
    def order(self) -> tuple[str, ...]:
        """Names in an order in which everything can come out; the reverse puts it back."""
        return tuple(self.parts)

    @property
    def out_minutes(self) -> float:
        """To take everything out."""
        return sum(part.minutes for part in self.parts.values())

    @property
    def back_minutes(self) -> float:
        """To put everything back."""
        return sum(part.minutes_back for part in self.parts.values())

    def to_dict(self) -> dict[str, Any]:
        """The keys of ``plan.json``."""
        return {
            "order": list(self.order),
            "parts": {name: part.to_dict() for name, part in self.parts.items()},
            "out_minutes": self.out_minutes,
            "back_minutes": self.back_minutes,
            "total_minutes": self.out_minutes + self.back_minutes,
            "unlisted_fuses": list(self.unlisted),
        }


def service_of(build: Build, found: list[Finding]) -> ServiceResult | None:
    """The graph of ``build.service_steps``; None where there are none. What takes too long goes to ``found``.

    The build's own checks have refused circles and unknown names.
    """
    steps = {step.name: step for step in build.service_steps}
    if not steps:
        return None
    order = tuple(TopologicalSorter({name: step.after for name, step in steps.items()}).static_order())
    before: dict[str, frozenset[str]] = {}
    for name in order:
        waits = steps[name].after
        before[name] = frozenset(waits).union(*(before[other] for other in waits))
    known = _elsewhere(build)
    parts = {name: _part(steps, order, before, name, known) for name in order}
    for part in parts.values():
        if part.deep:
            found.append(
                finding(
                    "workshop.service_deep",
                    where=f"{part.kind} “{part.name}”",
                    value=part.steps,
                    limit=MOST_STEPS,
                    unit="steps",
                    way=", ".join(part.first),
                    minutes=f"{part.reach_minutes:g}",
                )
            )
    told = {name for part in parts.values() for name in (part.name, *part.of)}
    unlisted = tuple(fuse.name for fuse in build.fuses if fuse.name not in told)
    if unlisted:
        names = ", ".join(unlisted)
        found.append(finding("workshop.service_unlisted", where="[[service_steps]]", value=len(unlisted), names=names))
    return ServiceResult(parts, unlisted)


def _part(
    steps: dict[str, ServiceStep],
    order: tuple[str, ...],
    before: dict[str, frozenset[str]],
    name: str,
    known: frozenset[str],
) -> ServicePart:
    step = steps[name]
    first = tuple(other for other in order if other in before[name])
    way = [*(steps[other] for other in first), step]
    reach = sum(item.minutes for item in way[:-1])
    implied = frozenset[str]().union(*(before[other] for other in first))
    return ServicePart(
        name=name,
        kind=step.kind,
        of=step.of or ((name,) if name in known else ()),
        how=step.how,
        first=first,
        direct=tuple(other for other in first if other not in implied),
        tools=step.tools,
        way_tools=tuple(dict.fromkeys(tool for item in way for tool in item.tools)),
        minutes=step.minutes,
        minutes_back=step.back,
        reach_minutes=reach,
        whole_minutes=reach + step.minutes + sum(item.back for item in way),
    )


def _elsewhere(build: Build) -> frozenset[str]:
    """Every name that a step may stand for."""
    tables = (
        build.fuses, build.relays, build.switches, build.loads, build.connectors, build.wires, build.amplifiers,
        build.converters, build.sources, build.speakers, build.boxes, build.panels, build.rings, build.pods, build.lights,
    )  # fmt: skip
    return frozenset(item.name for table in tables for item in table) | {"processor", "battery"}
