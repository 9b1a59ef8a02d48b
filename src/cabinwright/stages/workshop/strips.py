"""Where a strip of lights lies: the channel that its panel's layers leave for it, and whether it fits there."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from cabinwright.build.lights import Light
from cabinwright.build.workshop import Panel
from cabinwright.findings import Finding, finding
from cabinwright.stages.workshop.result import Part

__all__ = ["Channel", "channel_of", "lies_in", "strip_doubts"]

PLAY_M = 0.0005  #: between a strip and its channel, in all. Common practice, no source
REST_M = 0.0015  #: of a strip that lies over its channel, on either side. Common practice, no source


@dataclass(frozen=True)
class Channel:
    """Room for a strip: on edge in the hollow of a frame, or behind a slot."""

    wide_m: float  #: across the strip's way: of the hollow, or of the narrowest opening behind the slot
    deep_m: float | None  #: from the sheet in front to what stands behind; None: nothing limits it
    on_edge: bool


def channel_of(light: Light, panel: Panel, parts: Sequence[Part]) -> Channel | None:
    """The channel of one strip; None where no layer says where it lies."""
    if light.along == "outline":
        return _hollow(parts)
    slot = next((item for item in panel.slots if item.name == light.along), None)
    wide = [
        slot.width_m + 2.0 * layer.opening_offset_m
        for layer in panel.layers[1:]
        if slot is not None and layer.slots and layer.look not in ("clear", "mesh")
    ]
    return Channel(min(wide), None, False) if wide else None


def _hollow(parts: Sequence[Part]) -> Channel | None:
    """Between a clear frame and what fills it, as deep as the layers that leave it open."""
    frame = next((k for k, part in enumerate(parts) if part.look == "clear" and part.openings), None)
    if frame is None:
        return None
    hollow = parts[frame].openings[0]
    inside = [part.outline.points(1e-4) for part in parts[frame + 1 :] if part.sheet == parts[frame].sheet]
    filler = next((points for points in inside if bool(np.all(hollow.holds(points)))), None)
    if filler is None:
        return None
    wide = float(hollow.distance_m(filler).min())
    middle = hollow.offset(-wide / 2.0)
    deep = parts[frame].thickness_m
    for part in parts[frame + 2 :]:
        if middle and bool(np.any(part.outline.holds(middle[0].points(1e-3)))):
            return Channel(wide, deep, True)
        deep += part.thickness_m
    return Channel(wide, None, True)


def strip_doubts(light: Light, channel: Channel | None) -> Iterator[Finding]:
    """What stands against laying a strip of the stated size there."""
    if light.strip_m is None or channel is None:
        return
    where, (width, thick) = f"light “{light.name}”", light.strip_m
    if channel.on_edge:
        if thick + PLAY_M > channel.wide_m:
            yield _doubt(where, "thick", thick + PLAY_M, channel.wide_m)
        if channel.deep_m is not None and width > channel.deep_m:
            yield _doubt(where, "wide, on edge", width, channel.deep_m)
    elif not lies_in(width, channel) and width < channel.wide_m + 2.0 * REST_M:
        yield _doubt(where, "wide, neither falls in nor rests on both sides", width, channel.wide_m)


def lies_in(width_m: float, channel: Channel) -> bool:
    """Whether a strip goes into its channel behind a slot rather than over it."""
    return width_m + PLAY_M <= channel.wide_m + 1e-9


def _doubt(where: str, how: str, value_m: float, limit_m: float) -> Finding:
    value, limit = round(1e3 * value_m, 1), round(1e3 * limit_m, 1)
    return finding("workshop.strip_channel", where=where, value=value, limit=limit, unit="mm", how=how)
