"""What is said of a variant: what it does, what it takes from the car, and in what it differs from the first one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Any

from cabinwright.build.document import Build
from cabinwright.history.compare import compared
from cabinwright.office.worked import Worked, stops
from cabinwright.pipeline import Results
from cabinwright.stages.enclosure.result import BoxResult
from cabinwright.stages.enclosure.room import room_taken_m3
from cabinwright.stages.layout.limits import cut_for_good

__all__ = ["about", "boxes_of", "irreversible"]

MOST = 12  #: differences that are told; the comparison itself holds all


def about(item: Worked, first: Worked | None) -> dict[str, Any]:
    """Plain JSON types; ``first``: the variant it is held against, None for that one itself."""
    space, exact = room_taken_m3(boxes_of(item.results))
    mass = item.results.workshop.mass if item.results.workshop is not None else None
    differs: list[str] = []
    if first is not None:
        words = compared(first.build, item.build, first.results, item.results).result
        told = [row.words for row in words if ": new " not in row.words and ": gone: " not in row.words]
        differs = told[:MOST] + ([f"and {len(told) - MOST} figures more"] if len(told) > MOST else [])
    return {
        "does": list(_does(item.build, item.results)),
        "differs": differs,
        "boot_l": None if space is None else round(1000.0 * space, 1),
        "boot_exact": exact,
        "irreversible": irreversible(item.build),
        "mass_kg": None if mass is None else round(mass.added_kg, 1),
        "stops": [f"{row.where}: {row.message}" for row in stops(item.build, item.results)],
    }


def _does(build: Build, results: Results) -> Iterator[str]:
    counts = Counter(speaker.role for speaker in build.speakers)
    if counts:
        roles = ", ".join(f"{count} × {role}" for role, count in counts.items())
        yield f"{roles}, on {len(build.channels)} channels" if build.channels else roles
    if build.tuning is not None and build.tuning.seat:
        yield f"tuned for: {build.tuning.seat}"
    for name, box in boxes_of(results).items():
        reach = f", down to {box.f3_hz:.0f} Hz (−3\u00a0dB)" if box.f3_hz is not None else ""
        yield f"{name}: {box.kind}{reach}"
    watts = sum(load.amplifier.output_w for load in build.loads if load.amplifier)
    if watts:
        yield f"{watts:.0f} W of amplifiers"
    promises = results.power.promises if results.power is not None else ()
    if promises:
        held = sum(item.holds for item in promises)
        yield f"{held} of {len(promises)} promises about the electrical system hold"
    if results.tuning is not None:
        yield f"both sides arrive within {1e6 * abs(results.tuning.metrics.arrival_difference_s):.0f} µs"


def boxes_of(results: Results) -> Mapping[str, BoxResult]:
    """Every box that could be solved."""
    return results.enclosure.boxes if results.enclosure is not None else {}


def irreversible(build: Build) -> list[str]:
    """What cannot be put back as it was, or of which nobody said, for every loudspeaker from the place of its name."""
    places = {place.name: place for place in build.places}
    said = []
    for speaker in build.speakers:
        place = places.get(speaker.name)
        if place is None or cut_for_good(place) is None:
            said.append(f"{speaker.name}: nobody said what is cut")
        elif cut_for_good(place):
            said.append(f"{speaker.name}: {place.cut or 'cannot be put back'}")
    return said
