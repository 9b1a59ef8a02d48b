"""What the system draws, what the alternator leaves, how far the voltage sags, and how long the battery lasts."""

from __future__ import annotations

from typing import Any

import numpy as np

from cabinwright.build.document import Build
from cabinwright.physics.supply import hours_left, rest_v
from cabinwright.stages.power.network import Network
from cabinwright.stages.power.solved import AVERAGE, PEAK, Solved
from cabinwright.stages.power.states import States

__all__ = ["USABLE", "budget"]

USABLE = 0.5
"""Part of a lead-acid battery's charge that may go before a start is at risk and the battery ages: common practice."""


def budget(build: Build, net: Network, solved: Solved, states: States) -> dict[str, Any]:
    """Figures for ``plan.json``; a part whose inputs are absent is ``None``."""
    supply, source_a = net.supply, solved.solution.source_a.sum(axis=1)
    worst = int(np.argmax(np.round(source_a[:, PEAK], 9)))
    average = float(source_a[:, AVERAGE].max())
    asleep = sum(load.asleep_a for load in build.loads)
    plus = solved.solution.voltage_v[:, 1, :]
    batteries = [item for item in (supply.battery, supply.second_battery) if item]
    capacity = sum(item.capacity_ah for item in batteries)
    return {
        "peak_a": float(source_a[worst, PEAK]),
        "average_a": average,
        "state": states.assignment(int(solved.first[worst])),
        "alternator": None
        if supply.alternator is None
        else {
            "rated_a": supply.alternator.rated_a,
            "idle_a": supply.alternator.idle_a,
            "spare_at_speed_a": supply.alternator.rated_a - average,
            "spare_at_idle_a": supply.alternator.idle_a - average,
        },
        "sag": {
            "average_v": float(plus[:, AVERAGE].min()),
            "bass_note_v": float(plus[:, PEAK].min()),
            "engine_off_bass_note_v": float(plus[:, PEAK].min()) + supply.engine_off_v - supply.nominal_v,
        },
        "engine_off_hours": None
        if not batteries or average <= 0.0
        else hours_left(capacity_ah=capacity, usable=USABLE, current_a=average),
        "asleep_a": asleep,
        "days_until_flat": None
        if not batteries or asleep <= 0.0
        else hours_left(capacity_ah=capacity, usable=USABLE, current_a=asleep) / 24.0,
        "usable_share": USABLE,
        "charge_a": _charge(net),
    }


def _charge(net: Network) -> float | None:
    """First current into a half-empty second battery when its isolator closes: an upper bound, wires left out."""
    supply = net.supply
    if supply.second_battery is None or supply.battery is None:
        return None
    ohm = supply.battery.resistance_ohm + supply.second_battery.resistance_ohm
    if supply.isolator:
        ohm += supply.isolator.resistance_ohm
    return (supply.nominal_v - rest_v(USABLE)) / ohm
