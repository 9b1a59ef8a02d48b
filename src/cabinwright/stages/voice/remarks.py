"""What there is to say of where the voice stands with the proposed settings."""

from __future__ import annotations

from collections.abc import Iterator

from cabinwright.findings import Finding, finding
from cabinwright.stages.voice.result import SeatVoice

__all__ = ["remarks"]

OFF_DEG, WIDE_DEG = 8.0, 12.0  #: common practice
FEW = 3


def remarks(seats: list[SeatVoice]) -> Iterator[Finding]:
    """Of each seat: off the wanted place, spread over the dashboard, and how little it stands on."""
    for item in seats:
        image = item.image("proposed")
        if image is None or image.at_deg != image.at_deg:
            continue
        carried = item.basis == "carried over"
        gap = image.at_deg - item.wanted_deg
        if abs(gap) > OFF_DEG:
            yield finding(
                "voice.off_place",
                where=item.seat,
                value=round(abs(gap), 1),
                limit=OFF_DEG,
                unit="°",
                severity="note" if carried else "caution",
                side="right" if gap > 0.0 else "left",
            )
        if image.spread_deg > WIDE_DEG:
            yield finding("voice.spread", where=item.seat, value=round(image.spread_deg, 1), limit=WIDE_DEG, unit="°")
        if carried:
            yield finding("voice.carried_over", where=item.seat)
        elif item.basis == "round the head" and len(item.places) < FEW:
            yield finding("voice.few_places", where=item.seat, value=len(item.places), limit=FEW)
