"""A box heard in this car: its own level plus what the cabin's modes add, where places were compared."""

from __future__ import annotations

import numpy as np

from cabinwright.stages.enclosure.result import BoxResult, InCar
from cabinwright.stages.layout.result import LayoutResult

__all__ = ["heard_in_car"]


def heard_in_car(result: BoxResult, layout: LayoutResult | None) -> InCar | None:
    """At the listening seat, from the place called like one of the box's speakers; None where none was compared.

    The cabin's gain holds over the same speaker in half space at 1 m, in the mean power over the points of the head box.
    """
    if layout is None:
        return None
    for name in result.speakers:
        place = layout.places.get(name)
        low = place.low if place is not None else None
        if low is None or layout.listening_seat not in low.level_db:
            continue
        points = np.atleast_2d(low.level_db[layout.listening_seat])
        gain = 10.0 * np.log10(np.mean(10.0 ** (points / 10.0), axis=0))
        curves = result.curves
        inside = (curves.frequency_hz >= low.frequency_hz[0]) & (curves.frequency_hz <= low.frequency_hz[-1])
        frequency = curves.frequency_hz[inside]
        added = np.interp(np.log(frequency), np.log(low.frequency_hz), gain)
        return InCar(name, layout.listening_seat, frequency, curves.level_db[inside] + added, added)
    return None
