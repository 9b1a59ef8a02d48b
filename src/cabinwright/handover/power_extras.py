"""Rows of the electrical page beyond wires and fuses: contacts, inrush, lights, grounds, and what signal cables hear."""

from __future__ import annotations

import math
from typing import Any

from markupsafe import Markup

from cabinwright.build.designations import designations
from cabinwright.build.document import Build
from cabinwright.drawings.bars import Bar, Group, bars_svg, meter_svg
from cabinwright.handover.harness import size_words
from cabinwright.handover.wording import NONE, decibels, join
from cabinwright.stages.power.result import CableResult, HumResult, LightResult, PowerResult

__all__ = ["amperes", "charge_first", "extra_rows", "metered"]

QUIET_DB = -160.0  #: below, a bar says no more than its words
MOSTLY = {
    "grounds": "the voltage between the two grounds",
    "loop": "the field in the loop of shield and body",
    "pair": "the field between the two conductors",
}
TOUCH_S = 1.0  #: nobody holds a resistor to two contacts for less


def amperes(value: float | None) -> str:
    """``0.25 A``, ``31 A``; a dash where there is no value."""
    return NONE if value is None else f"{value:.2f} A" if value < 10.0 else f"{value:.0f} A"


def metered(value: float, limit: float, average: float | None = None) -> Markup:
    """A small bar of a value against its limit."""
    return Markup(meter_svg(value=value, limit=limit, average=average))


def extra_rows(build: Build, result: PowerResult) -> dict[str, Any]:
    """What the template takes; an empty list where the build has nothing of a kind."""
    return {
        "contacts": _contacts(build, result),
        "inrush": _inrush(build, result),
        "lights": [_light(build, result, name, light) for name, light in result.lighting.items()],
        "returns": _returns(build, result),
        "heard": _heard(result),
        "cables": [_cable(name, cable) for name, cable in result.signal_cables.items()],
        "sizes": _sizes(build, result),
        "stands_on": _assumed(build, result),
    }


def _contacts(build: Build, result: PowerResult) -> list[dict[str, Any]]:
    """Contacts through which something flows."""
    numbers = designations(build)
    return [
        {
            "number": numbers.get((item.kind, item.name), ""),
            "name": item.name,
            "rating": amperes(item.rating_a) if item.rating_a is None else f"{item.rating_a:g} A",
            "load": amperes(item.load_a),
            "average": amperes(item.average_a),
            "inrush": amperes(item.inrush_a),
            "bar": metered(item.load_a, item.rating_a, item.average_a) if item.rating_a else "",
            "fits": item.fits,
        }
        for item in result.contacts
        if item.load_a > 0.0 or item.inrush_a is not None
    ]


def _inrush(build: Build, result: PowerResult) -> list[dict[str, Any]]:
    numbers = designations(build)
    return [
        {
            "number": numbers["load", name],
            "name": name,
            "peak": amperes(item.peak_a),
            "lasts": f"{1e3 * item.duration_s:.2g} ms",
            "i2t": f"{item.i2t_a2s:.3g} A²s",
            "gently": NONE
            if item.precharge_ohm is None or item.precharge_s is None
            else f"{item.precharge_ohm:g} Ω for {item.precharge_s:.2g} s",
        }
        for name, item in result.inrush.items()
    ]


def charge_first(result: PowerResult, fuse: str) -> str:
    """The resistor and the time that fill the capacitors behind a fuse before it goes in; empty where there are none.

    Fuses further down are out while it goes in, so that only what lies behind it alone is counted.
    """
    below = {load for item in result.fuses.values() if fuse in item.after for load in item.inrush_by}
    rows = [result.inrush[load] for load in result.fuses[fuse].inrush_by if load not in below]
    pairs = [(row.precharge_ohm, row.precharge_s) for row in rows if row.precharge_ohm and row.precharge_s]
    if not pairs:
        return ""
    ohm = max(each for each, _ in pairs)
    seconds = max(TOUCH_S, sum(time * ohm / each for each, time in pairs))
    return f"{ohm:g} Ω across its holder for {math.ceil(seconds):g} s first: the capacitors behind it are empty"


def _light(build: Build, result: PowerResult, name: str, light: LightResult) -> dict[str, Any]:
    number, rows = designations(build)["load", name], [("fuse", light.fuse or "none before it")]
    rows.append(("put out by", join(light.interlock) or "nothing but its fuse"))
    if light.promises:
        rows.append(("promised", "; ".join(light.promises)))
    each = "" if light.runs == 1 else f", {amperes(light.run_a)} in each of {light.runs} runs"
    dimmed = "" if light.dimmed_share >= 1.0 else f", {amperes(light.average_a)} on average as dimmed"
    rows.append(("draws", f"{amperes(result.loads[name].current_a)}{each}{dimmed}"))
    if light.strip_drop_v is not None:
        rows.append(("lost along the strip", f"{light.strip_drop_v:.2f} V at its dimmest place"))
    if light.least_v is not None and light.most_v is not None:
        rows.append(("gets", f"{light.least_v:.1f} V (engine off) to {light.most_v:.1f} V"))
    if light.driver is not None:
        driver = light.driver
        strings = f"{driver.strings} × {driver.string_a:.3g} A at {driver.string_v:.3g} V"
        heat = f"; {driver.lost_w:.2g} W of heat" + (
            f" in {driver.resistor_ohm:.3g} Ω in each string" if driver.resistor_ohm is not None else ""
        )
        least = f"; needs {driver.needs_v:.3g} V" if driver.needs_v > 0.0 else ""
        rows.append((f"driver, {driver.kind}", strings + heat + least))
    return {"number": number, "name": name, "rows": rows, "law": light.law}


def _returns(build: Build, result: PowerResult) -> list[dict[str, str]]:
    numbers = designations(build)
    return [
        {
            "through": ", ".join(f"{numbers.get(('wire', name), '')} {name}".strip() for name in item.through)
            or "straight to the chassis",
            "loads": ", ".join(item.loads),
            "average": _millivolts(item.average_v),
            "peak": _millivolts(item.peak_v),
        }
        for item in result.grounds
    ]


def _millivolts(value_v: float | None) -> str:
    return NONE if value_v is None else f"{1e3 * value_v:.3g} mV"


def _heard(result: PowerResult) -> Markup:
    """Two bars for each signal cable: what sounds without music, and what a bass note puts in."""
    groups = [
        Group(name, (_bar("hum", cable.hum), _bar("bass", cable.bass))) for name, cable in result.signal_cables.items()
    ]
    if not groups:
        return Markup("")
    says = "What each signal cable hears of the supply, in dB against its signal, with a tick at what is allowed."
    return Markup(bars_svg(groups, low=QUIET_DB, high=0.0, step=20.0, unit="dB", says=says))


def _bar(label: str, told: HumResult) -> Bar:
    return Bar(label, told.level_db, told.target_db, _level(told.level_db))


def _cable(name: str, cable: CableResult) -> dict[str, str]:
    """What it hears most of, and what would help, of the one that is nearer to what is allowed."""
    told = max((cable.hum, cable.bass), key=lambda item: item.level_db - item.target_db)
    cause = f"{told.disturber}, by {MOSTLY[told.mostly]}" if told.disturber and told.mostly else "nothing"
    beside = NONE
    if cable.beside is not None:
        nearest = max(item.separate_m if item.separate_m is not None else math.inf for item in (cable.hum, cable.bass))
        enough = "no distance is enough" if math.isinf(nearest) else f"needs {100.0 * nearest:.3g} cm"
        enough = "far enough" if nearest <= cable.spacing_m else enough
        beside = f"{cable.beside}, {100.0 * cable.spacing_m:.3g} cm away: {enough}"
    return {
        "name": name,
        "beside": beside,
        "loop": f"{1e4 * cable.loop_area_m2:.3g}\u00a0cm²" if cable.loop else "open",
        "mostly": cause,
        "one_point": _level(told.one_point_db),
        "floating": _level(told.floating_db),
    }


def _level(value_db: float) -> str:
    return decibels(value_db, decimals=0) if value_db > QUIET_DB else "nothing"


def _sizes(build: Build, result: PowerResult) -> dict[str, Any] | None:
    """What each limit alone would allow, for wires whose size is proposed."""
    numbers = designations(build)
    chosen = {name: wire for name, wire in result.wires.items() if wire.limits}
    words = list(dict.fromkeys(word for wire in chosen.values() for word in wire.limits))
    rows = [
        {
            "number": numbers["wire", name],
            "name": name,
            "size": size_words(wire),
            "why": wire.decided_by,
            "cells": [(wire.limits.get(word, NONE).replace("mm2", "mm²"), word == wire.decided_by) for word in words],
        }
        for name, wire in chosen.items()
    ]
    return {"limits": words, "rows": rows} if rows else None


def _assumed(build: Build, result: PowerResult) -> list[tuple[str, str]]:
    """What figures of wires and fuses stand on, said once for all that share it."""
    numbers = designations(build)
    found: dict[tuple[str, str], list[str]] = {}
    for kind, items in (("wire", result.wires), ("fuse", result.fuses)):
        for name, item in items.items():
            found.setdefault((kind, item.assumes), []).append(numbers[kind, name])
    everything = {"wire": len(result.wires), "fuse": len(result.fuses)}
    return [
        (f"every {kind}" if len(names) == everything[kind] > 1 else ", ".join(names), text)
        for (kind, text), names in found.items()
        if text
    ]
