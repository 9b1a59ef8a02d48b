"""Findings on contacts, inrush, lamps and signal cables."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from cabinwright.build.document import Build
from cabinwright.findings import Finding, finding
from cabinwright.stages.power.result import CableResult, HumResult, LightResult, PowerResult
from cabinwright.stages.power.states import words

__all__ = ["extras", "short"]

SEEN_HZ = 1250.0  #: light switched wholly off and on is taken for harmless above this; IEEE 1789, from memory
TOLERANCE = 1e-9


def extras(build: Build, result: PowerResult) -> Iterator[Finding]:
    """Every such finding."""
    yield from _contacts(result)
    yield from _fuses(build, result)
    for name, light in result.lighting.items():
        yield from _light(name, light, result)
    for name, cable in result.signal_cables.items():
        yield from _cable(name, cable)


def _contacts(result: PowerResult) -> Iterator[Finding]:
    for item in result.contacts:
        if item.rating_a is not None and item.load_a > item.rating_a + TOLERANCE:
            lasting = item.average_a > item.rating_a + TOLERANCE
            yield finding(
                "power.contact_over",
                where=f"{item.kind} “{item.name}”",
                value=short(item.average_a if lasting else item.load_a),
                limit=short(item.rating_a),
                unit="A",
                how="on average" if lasting else "at full level",
                state=words(item.state),
                severity=None if lasting else "caution",
            )
        limit = item.making_a or item.rating_a
        if limit is not None and item.inrush_a is not None and item.inrush_a > limit + TOLERANCE:
            yield finding(
                "power.inrush_contact",
                where=f"{item.kind} “{item.name}”",
                loads=", ".join(item.inrush_by),
                value=short(item.inrush_a),
                limit=short(limit),
                unit="A",
            )


def _fuses(build: Build, result: PowerResult) -> Iterator[Finding]:
    for name, fuse in result.fuses.items():
        if fuse.stands_inrush is not False:
            continue
        charged = [
            f"{item.precharge_ohm:g} Ω for {short(item.precharge_s)} s"
            for load in fuse.inrush_by
            if (item := result.inrush[load]).precharge_ohm is not None and item.precharge_s is not None
        ]
        yield finding(
            "power.inrush_fuse",
            where=name,
            loads=", ".join(fuse.inrush_by),
            amperes=short(fuse.inrush_a or 0.0),
            value=short(fuse.inrush_a2s or 0.0),
            limit=short(fuse.melting_a2s),
            unit="A²s",
            precharge=", ".join(charged) or "where there are any",
        )


def _light(name: str, light: LightResult, result: PowerResult) -> Iterator[Finding]:
    yield finding("power.glare", where=name)
    driver = light.driver
    if driver is not None and driver.starves and light.least_v is not None:
        yield finding(
            "power.driver_starved", where=name, value=short(light.least_v), limit=short(driver.needs_v), unit="V"
        )
    if driver is not None and driver.overruns and light.most_v is not None:
        yield finding(
            "power.driver_overrun", where=name, value=short(light.most_v), limit=short(driver.string_v), unit="V"
        )
    if light.dimmer_hz is not None and light.dimmed_share < 1.0 and light.dimmer_hz < SEEN_HZ:
        yield finding("power.flicker", where=name, value=short(light.dimmer_hz), limit=short(SEEN_HZ), unit="Hz")
    if result.loads[name].on.all():
        yield finding("power.no_interlock", where=name)


def _cable(name: str, cable: CableResult) -> Iterator[Finding]:
    if cable.loop:
        yield finding("power.ground_loop", where=name, value=short(cable.loop_area_m2), unit="m²")
    for told in (cable.hum, cable.bass):
        if told.level_db > told.target_db + TOLERANCE:
            yield _hum(name, cable, told)


def _hum(name: str, cable: CableResult, told: HumResult) -> Finding:
    loudest = next(item for item in cable.heard if item.disturber == told.disturber)
    shared: dict[str, Any] = {
        "where": name,
        "cause": loudest.disturber,
        "frequency": f"{loudest.frequency_hz:g}",
        "value": round(told.level_db, 1),
        "limit": round(told.target_db, 1),
        "unit": "dB",
        "one_point": f"{told.one_point_db:.0f}",
        "floating": f"{told.floating_db:.0f}",
    }
    if told.mostly == "grounds":
        return finding("power.hum_ground", volts=short(1e3 * loudest.grounds_v), **shared)
    separate = (
        "No distance up to 1 m is enough."
        if told.separate_m is None
        else f"From {told.separate_m:.2f} m away it is enough."
    )
    return finding("power.hum_induced", wire=cable.beside, separate=separate, **shared)


def short(value: float) -> float:
    """Three significant digits, and no point where it is whole."""
    rounded = float(f"{value:.3g}")
    return int(rounded) if rounded.is_integer() else rounded
