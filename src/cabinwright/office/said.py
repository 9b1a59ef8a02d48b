"""What is said of a variant: what it does, what it takes from the car, and in what it differs from the first one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Any

from cabinwright.build.document import Build
from cabinwright.history.compare import compared
from cabinwright.office.worked import Worked, stops
from cabinwright.pipeline import Results

__all__ = ["about", "boot_m3", "irreversible"]

MOST = 12  #: differences that are told; the comparison itself holds all


def about(item: Worked, first: Worked | None) -> dict[str, Any]:
    """Plain JSON types; ``first``: the variant it is held against, None for that one itself."""
    space, exact = boot_m3(item.build, item.results)
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
    for name, box in (results.enclosure.boxes if results.enclosure is not None else {}).items():
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


def boot_m3(build: Build, results: Results) -> tuple[float | None, bool]:
    """Room that all boxes take, and whether that counts their walls; None without boxes.

    A box with a shape counts from outside; one without counts with its air alone.
    """
    boxes = results.enclosure.boxes if results.enclosure is not None else {}
    total, exact = 0.0, True
    for box in boxes.values():
        if box.shape is not None:
            total += box.shape.body.outer_volume_m3
        elif box.net_volume_m3 is not None:
            total, exact = total + box.net_volume_m3, False
        elif box.kind != "infinite baffle":
            exact = False
    return (total, exact) if boxes else (None, True)


def irreversible(build: Build) -> list[str]:
    """What cannot be put back as it was, or of which nobody said, for every loudspeaker from the place of its name."""
    places = {place.name: place for place in build.places}
    said = []
    for speaker in build.speakers:
        place = places.get(speaker.name)
        if place is None or (place.cut is None and place.reversible is None):
            said.append(f"{speaker.name}: nobody said what is cut")
        elif place.reversible is not True and (place.cut or place.reversible is False):
            said.append(f"{speaker.name}: {place.cut or 'cannot be put back'}")
    return said
