"""The room that all boxes take, held against what whoever the build is for leaves them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from cabinwright.build.limits import Limits
from cabinwright.findings import Finding, finding
from cabinwright.stages.enclosure.result import BoxResult

__all__ = ["room_findings", "room_taken_m3"]


def room_taken_m3(boxes: Mapping[str, BoxResult]) -> tuple[float | None, bool]:
    """Room that all boxes take, and whether that counts their walls; None without boxes.

    A box with a shape counts from outside; one without counts with its air alone.
    """
    total, exact = 0.0, True
    for box in boxes.values():
        if box.shape is not None:
            total += box.shape.body.outer_volume_m3
        elif box.net_volume_m3 is not None:
            total, exact = total + box.net_volume_m3, False
        elif box.kind != "infinite baffle":
            exact = False
    return (total, exact) if boxes else (None, True)


def room_findings(limits: Limits, boxes: Mapping[str, BoxResult]) -> Iterator[Finding]:
    """Boxes that together take more than they may."""
    taken, exact = room_taken_m3(boxes)
    if limits.boxes_m3 is None or taken is None:
        return
    value, limit = round(1e3 * taken, 1), round(1e3 * limits.boxes_m3, 1)
    if value > limit:
        walls = "" if exact else ", walls not counted"
        yield finding("enclosure.limit_room", where=", ".join(boxes), value=value, limit=limit, unit="L", walls=walls)
