"""What each contact carries, and whether it is made for it."""

from __future__ import annotations

import numpy as np

from cabinwright.build.document import Build
from cabinwright.build.electrical import Isolator, Relay, Switch
from cabinwright.stages.power.inrush import Pulses
from cabinwright.stages.power.result import ContactResult
from cabinwright.stages.power.sizing import Sized
from cabinwright.stages.power.solved import AVERAGE, PEAK
from cabinwright.stages.power.states import States

__all__ = ["contact_results"]

NOTHING_A = 1e-9


def contact_results(build: Build, sized: Sized, states: States, pulses: Pulses) -> tuple[ContactResult, ...]:
    """Switches, relays and the isolator, in the build's order."""
    net, solved = sized.net, sized.solved
    tables: dict[str, tuple[Switch | Relay | Isolator, ...]] = {
        "switch": build.switches,
        "relay": build.relays,
        "isolator": (net.supply.isolator,) if net.supply.isolator else (),
    }
    found = []
    for kind, items in tables.items():
        for edge, item in zip(net.edges(kind), items, strict=True):
            flow = np.abs(solved.solution.current_a[:, edge])
            row = int(np.argmax(np.round(flow[:, PEAK], 9)))
            peak, average = (max(0.0, float(value)) for value in (flow[row, PEAK], flow[:, AVERAGE].max()))
            inrush = float(pulses.peak_a[edge])
            making = item.making_a or item.rating_a
            found.append(
                ContactResult(
                    kind=kind,
                    name=net.elements[edge].name,
                    rating_a=item.rating_a,
                    making_a=item.making_a,
                    load_a=0.0 if peak < NOTHING_A else peak,
                    average_a=0.0 if average < NOTHING_A else average,
                    state=states.assignment(int(solved.first[row])),
                    inrush_a=inrush if inrush > 0.0 else None,
                    inrush_by=pulses.by[edge],
                    fits=None
                    if item.rating_a is None
                    else peak <= item.rating_a + NOTHING_A and inrush <= (making or 0.0) + NOTHING_A,
                )
            )
    return tuple(found)
