"""What holds boxes and amplifiers in a crash: forces by multiples of g, the bolts that would bear them, and a caution always.

A figure of statics, not a test: the car's maker and local rules go before it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import isfinite

from cabinwright.build.document import Build
from cabinwright.build.fixings import Fixing
from cabinwright.findings import Finding, finding
from cabinwright.physics.fixings import Bolt, across_of, pulls, two_rows, used
from cabinwright.physics.plate_bending import GRAVITY_M_S2
from cabinwright.stages.workshop.mass import radiators_of
from cabinwright.stages.workshop.service_result import FixingResult, MassRow
from cabinwright.tables import rows

__all__ = ["COUNTS", "fixings_of"]

COUNTS = (4, 6, 8, 10, 12)  #: tried where the build leaves it open
PATTERN = 0.8  #: part of the body that the bolts stand on unless said
WASHER = 3.0  #: diameters of the thread, ISO 7093
Ways = Mapping[str, tuple[float, float, float]]
Spots = tuple[tuple[float, float], ...]


def fixings_of(build: Build, listed: tuple[MassRow, ...], found: list[Finding]) -> dict[str, FixingResult]:
    """Every fixing whose mass is known; what is too weak, and the caution that always stands, go to ``found``."""
    made = {}
    for fixing in build.fixings:
        where = f"fixing “{fixing.name}”"
        mass, unknown = _mass(build, fixing, listed)
        if unknown:
            found.append(finding("workshop.fixing_mass", where=where, names=", ".join(unknown)))
        if mass <= 0.0:
            continue
        result = _fixing(fixing, mass)
        made[fixing.name] = result
        found += _judged(fixing, result, where)
    return made


def _mass(build: Build, fixing: Fixing, listed: tuple[MassRow, ...]) -> tuple[float, list[str]]:
    """What it holds, and what of that has no known mass."""
    names = list(fixing.holds)
    boxes = [box for box in build.boxes if box.name in fixing.holds]
    names += [name for box in boxes for name in (*box.speakers, radiators_of(box.name))]
    held = [row for row in listed if row.name in names]
    if fixing.mass_kg is not None:
        return fixing.mass_kg, []
    return sum(row.mass_kg or 0.0 for row in held), [row.name for row in held if row.mass_kg is None]


def _fixing(fixing: Fixing, mass_kg: float) -> FixingResult:
    ways = {
        way: tuple(step * mass_kg * gravities * GRAVITY_M_S2 for step in steps)
        for way, steps, gravities in (
            ("forwards", (-1.0, 0.0, 0.0), fixing.along_g),
            ("rearwards", (1.0, 0.0, 0.0), fixing.along_g),
            ("left", (0.0, -1.0, 0.0), fixing.across_g),
            ("right", (0.0, 1.0, 0.0), fixing.across_g),
            ("up", (0.0, 0.0, 1.0), fixing.up_g),
        )
    }
    axes = across_of(fixing.normal)
    local = {
        way: tuple(sum(a * b for a, b in zip(axis, force, strict=True)) for axis in axes) for way, force in ways.items()
    }
    forces = {way: sum(part**2 for part in force) ** 0.5 for way, force in ways.items()}
    if fixing.kind != "bolt":
        return FixingResult(
            fixing.holds,
            fixing.kind,
            mass_kg,
            forces,
            None,
            fixing.property_class,
            (),
            None,
            None,
            None,
            None,
            None,
            {},
        )
    choices = {thread: _least(fixing, thread, local) for thread in _threads()}
    size, spots = _chosen(fixing, choices)
    way, share, check, shear, tension = _worst(fixing, size or fixing.size or "M12", spots, local)
    return FixingResult(
        holds=fixing.holds,
        kind=fixing.kind,
        mass_kg=mass_kg,
        forces_n=forces,
        size=size,
        property_class=fixing.property_class,
        spots=spots,
        worst=way,
        shear_n=shear,
        tension_n=tension,
        used_share=share,
        check=check,
        choices=choices,
    )


def _threads() -> tuple[str, ...]:
    return tuple(row["thread"] for row in rows("threads"))


def _bolt(fixing: Fixing, size: str) -> Bolt:
    thread = next(row for row in rows("threads") if row["thread"] == size)
    grade = next(row for row in rows("property_classes") if row["property_class"] == fixing.property_class)
    across = float(thread["diameter_m"])
    return Bolt(
        diameter_m=across,
        stress_area_m2=float(thread["stress_area_m2"]),
        tensile_pa=float(grade["tensile_pa"]),
        shear_share=float(grade["shear_share"]),
        sheet_m=fixing.sheet_m,
        sheet_pa=fixing.sheet_pa,
        washer_m=fixing.washer_m or WASHER * across,
    )


def _spots(fixing: Fixing, count: int) -> Spots:
    if fixing.at_m is not None:
        return fixing.at_m
    long, wide = fixing.pattern_m or (PATTERN * fixing.body_m[0], PATTERN * fixing.body_m[1])
    return tuple(two_rows(count, long, wide))


def _worst(
    fixing: Fixing, size: str, spots: Spots, local: Mapping[str, tuple[float, ...]]
) -> tuple[str, float, str, float, float]:
    """Way, share used, check, and the shear and tension of the bolt that is asked most."""
    bolt = _bolt(fixing, size)
    height = fixing.centre_height_m or fixing.body_m[2] / 2.0
    asked: list[tuple[str, float, str, float, float]] = []
    for way, (along, across, out) in local.items():
        group = pulls(spots, body_m=fixing.body_m[:2], height_m=height, force_n=(along, across, out))
        asked += [(way, *used(bolt, pull), pull.shear_n, pull.tension_n) for pull in group]
    return max(asked, key=lambda row: (row[1], row[4]))  # of equals, the one that is pulled most


def _least(fixing: Fixing, size: str, local: Mapping[str, tuple[float, ...]]) -> int | None:
    """The least count of this thread that bears it."""
    for count in COUNTS if fixing.at_m is None else (len(fixing.at_m),):
        if _worst(fixing, size, _spots(fixing, count), local)[1] <= 1.0:
            return count
    return None


def _chosen(fixing: Fixing, choices: Mapping[str, int | None]) -> tuple[str | None, Spots]:
    """As the build says; what it leaves open, as few bolts as will do and then as thin as will do."""
    given = None if fixing.at_m is None else len(fixing.at_m)
    count = given or fixing.count
    if fixing.size is not None:
        return fixing.size, _spots(fixing, count or choices[fixing.size] or COUNTS[-1])
    bearing = {thread: least for thread, least in choices.items() if least is not None and least <= (count or least)}
    if not bearing:
        return None, _spots(fixing, count or COUNTS[-1])
    if count is not None:
        return next(iter(bearing)), _spots(fixing, count)
    size = min(bearing, key=lambda thread: bearing[thread])
    return size, _spots(fixing, bearing[size])


def _judged(fixing: Fixing, result: FixingResult, where: str) -> Iterator[Finding]:
    most = max(result.forces_n, key=lambda way: result.forces_n[way])
    yield finding(
        "workshop.fixing_defer",
        where=where,
        value=round(1e-3 * result.forces_n[most], 1),
        unit="kN",
        mass=f"{result.mass_kg:.1f}",
        gravities=f"{result.forces_n[most] / result.mass_kg / GRAVITY_M_S2:.3g}",
        way=most,
    )
    if result.kind != "bolt":
        yield finding("workshop.fixing_kind", where=where, kind=result.kind)
        return
    share = result.used_share
    if share is not None and share > 1.0:
        told = round(share, 2) if isfinite(share) else "without limit"
        listed = [f"{count} × {thread}" for thread, count in result.choices.items() if count is not None]
        cure = f"These would bear it: {', '.join(listed)}" if listed else "Nothing up to 12 × M12 would bear it here"
        size = result.size or "M12"
        yield finding(
            "workshop.fixing_weak",
            where=where,
            value=told,
            limit=1.0,
            fixed=f"{len(result.spots)} × {size}",
            way=result.worst,
            check=result.check,
            cure=cure,
        )
