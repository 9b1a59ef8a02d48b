"""Findings on wires and fuses: what is unprotected, overloaded, too large to protect, too slow, or too weak to break."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from cabinwright.build.document import Build
from cabinwright.findings import Finding, Severity, finding
from cabinwright.stages.power.chafes import Chafe
from cabinwright.stages.power.extras import short
from cabinwright.stages.power.guards import fed_edges
from cabinwright.stages.power.result import FuseResult, PowerResult, WireResult
from cabinwright.stages.power.sizing import CONTINUOUS, Sized

__all__ = ["NEAR_M", "protection"]

NEAR_M = 0.45  #: wire before the first fuse: 18 in, common practice without a clause
TOLERANCE = 1e-9
WITHOUT_END_A = 1e6


def protection(build: Build, sized: Sized, result: PowerResult, shorts: list[Chafe | None]) -> Iterator[Finding]:
    """Every finding on wires and fuses."""
    yield from _unfused(build, sized)
    for (name, wire), met in zip(result.wires.items(), shorts, strict=True):
        yield from _wire(name, wire, result, met)
    for number, (name, fuse) in enumerate(result.fuses.items()):
        yield from _fuse(name, fuse)
        yield from _place(name, build.fuses[number].from_battery_m, fuse)
        if fuse.prospective_a is not None and fuse.breaking_a and fuse.prospective_a > fuse.breaking_a:
            stated = build.fuses[number].breaking_a is not None
            yield finding(
                "power.fuse_breaking" if stated else "power.fuse_breaking_unknown",
                where=name,
                value=round(fuse.prospective_a),
                limit=round(fuse.breaking_a),
                unit="A",
            )


def _unfused(build: Build, sized: Sized) -> Iterator[Finding]:
    """Wires and loads that are fed with every fuse out."""
    net = sized.net
    fed = fed_edges(net, net.edges("fuse"))
    live = {int(node) for edge in fed for node in net.circuit.ends[edge]} | set(net.sources)
    bare = [draw for draw in net.draws if draw.from_ in live and draw.from_ != 0]
    for draw in bare:
        yield finding("power.unfused", where=draw.name)
    if bare:
        return
    for edge, wire in zip(net.edges("wire"), build.wires, strict=True):
        if edge in fed and wire.length_m > NEAR_M and not wire.shield:
            yield finding("power.long_before_fuse", where=wire.name, value=wire.length_m, limit=NEAR_M, unit="m")


def _wire(name: str, wire: WireResult, result: PowerResult, met: Chafe | None) -> Iterator[Finding]:
    if wire.average_a > WITHOUT_END_A:
        return
    if wire.average_a > wire.free_air_a + TOLERANCE:
        yield finding(
            "power.wire_burns", where=name, value=short(wire.average_a), limit=short(wire.free_air_a), unit="A"
        )
    elif wire.average_a > wire.ampacity_a + TOLERANCE:
        yield finding("power.wire_hot", where=name, value=short(wire.average_a), limit=short(wire.ampacity_a), unit="A")
    if wire.decided_by.endswith("no size is enough"):
        yield finding("power.no_size", where=name, reason=wire.decided_by.split(",")[0])
    fuse = None if wire.held_by is None else result.fuses[wire.held_by]
    if fuse is None:
        return
    # Figures of copper-clad aluminium are recalled, and what is recalled never refuses.
    severity: Severity | None = None if wire.material == "copper" else "caution"
    if fuse.rating_a > wire.free_air_a + TOLERANCE:
        yield finding(
            "power.fuse_burns_wire",
            where=str(wire.held_by),
            wire=name,
            gauge=wire.gauge,
            value=short(fuse.rating_a),
            limit=short(wire.free_air_a),
            unit="A",
            severity=severity,
        )
    elif fuse.rating_a > wire.ampacity_a + TOLERANCE:
        yield finding(
            "power.fuse_over_table",
            where=str(wire.held_by),
            wire=name,
            gauge=wire.gauge,
            value=short(fuse.rating_a),
            limit=short(wire.ampacity_a),
            unit="A",
        )
    if met is not None and met.fuse is not None and not met.clears:
        yield finding(
            "power.fuse_slow",
            where=str(wire.fuse),
            wire=name,
            value=f"after {short(met.clears_s)} s" if np.isfinite(met.clears_s) else "never",
            limit=short(met.stands_s),
            unit="s",
            current=short(met.current_a),
            severity=severity,
        )


def _fuse(name: str, fuse: FuseResult) -> Iterator[Finding]:
    if fuse.average_a > WITHOUT_END_A:  # a short across a source without resistance is spoken of as one
        return
    if fuse.average_a > fuse.rating_a + TOLERANCE:
        yield finding("power.fuse_blows", where=name, value=short(fuse.average_a), limit=short(fuse.rating_a), unit="A")
    elif fuse.load_a > fuse.rating_a + TOLERANCE:
        yield finding("power.fuse_peak", where=name, value=short(fuse.load_a), limit=short(fuse.rating_a), unit="A")
    elif fuse.average_a > CONTINUOUS * fuse.rating_a + TOLERANCE:
        limit = short(CONTINUOUS * fuse.rating_a)
        yield finding("power.fuse_warm", where=name, value=short(fuse.average_a), limit=limit, unit="A")
    if fuse.selective is False:
        yield finding("power.not_selective", where=name, after=", ".join(f"“{other}”" for other in fuse.after))


def _place(name: str, from_battery_m: float | None, fuse: FuseResult) -> Iterator[Finding]:
    """Only the first fuse behind a battery has to be near it."""
    if from_battery_m is not None and from_battery_m > NEAR_M and not fuse.after:
        yield finding("power.fuse_far", where=name, value=from_battery_m, limit=NEAR_M, unit="m")
