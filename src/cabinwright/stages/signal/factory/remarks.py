"""What a person must know about the radio and its repair, as findings."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from cabinwright.findings import Finding, finding
from cabinwright.stages.signal.factory.result import FactoryResult

__all__ = ["remarks"]

FLAT_DB = 1.0
CONTOUR_DB = 1.0
LIMITED_DB = 0.7
FREE_DB = -25.0
APART_DEG = 30.0
ORDER = {"stop": 0, "caution": 1, "note": 2}


def remarks(result: FactoryResult, bent: set[str], *, known: set[str], named: list[str]) -> FactoryResult:
    """``result`` with its findings, gravest first."""
    found = [*_missing(known, named), *_outputs(result, bent), *_repair(result)]
    return replace(result, findings=tuple(sorted(found, key=lambda item: ORDER[item.severity])))


def _missing(known: set[str], named: list[str]) -> Iterator[Finding]:
    for name in named:
        if name not in known:
            yield finding("factory.not_captured", where=name)


def _outputs(result: FactoryResult, bent: set[str]) -> Iterator[Finding]:
    for name, facts in result.outputs.items():
        limited = [item for item in facts.changes if abs(item.limited_db) > LIMITED_DB and item.limited_hz]
        if limited:
            first = limited[0]
            at = "" if first.volume is None else f" at volume {first.volume}"
            yield finding(
                "factory.limiter", where=name, value=round(first.limited_db, 1), unit="dB", at=at,
                frequency=round(first.limited_hz or 0.0), always=" It works on all music." if name in bent else "",
            )  # fmt: skip
        shaped = [item for item in facts.changes if item.contour_db is not None and abs(item.contour_db) > CONTOUR_DB]
        if shaped:
            worst = max(shaped, key=lambda item: abs(item.contour_db or 0.0))
            yield finding(
                "factory.contour", where=name, value=round(worst.contour_db or 0.0, 1), unit="dB",
                volume=worst.volume, frequency=round(worst.contour_hz or 0.0), base=result.volume,
            )  # fmt: skip
        if facts.all_pass is not None:
            yield finding("factory.all_pass", where=name, value=round(facts.all_pass.frequency_hz), unit="Hz")


def _repair(result: FactoryResult) -> Iterator[Finding]:
    if result.refused is not None:
        yield finding("factory.refused", where="factory signal", reason=result.refused)
        return
    for side, ripple in result.ripple_sides_db.items():
        if ripple > FLAT_DB:
            yield finding("factory.ripple", where=f"{side} side", value=round(ripple, 2), limit=FLAT_DB, unit="dB")
    for side, below in result.mono_below_hz.items():
        if below is not None:
            yield finding("factory.mono_bass", where=f"{side} side", value=round(below), unit="Hz")
    for side, other in result.other_side_db.items():
        if other > FREE_DB:
            yield finding("factory.other_side", where=f"{side} side", value=round(other, 1), limit=FREE_DB, unit="dB")
    if result.phase_apart_deg is not None and result.phase_apart_deg > APART_DEG:
        yield finding(
            "factory.sides_apart",
            where="left and right",
            value=round(result.phase_apart_deg),
            limit=APART_DEG,
            unit="deg",
        )
    if result.holds_to_db is None or result.holds_to_db < -6.0:
        level = "no level" if result.holds_to_db is None else f"{result.holds_to_db:g} dB below full scale"
        yield finding("factory.holds_to_level", where="factory signal", level=level.replace("-", ""))
    elif result.volume is None:
        yield finding("factory.one_volume", where="factory signal")
