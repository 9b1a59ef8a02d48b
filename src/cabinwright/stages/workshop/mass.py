"""What the build weighs and where: boards, loudspeakers, wire, and what is written as [[masses]]; payload and axles.

Boxes count their boards, loudspeakers their models, passive radiators as they are stated, panels, rings and pods what is left of
their sheets, wires their copper.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from math import isfinite
from typing import TypeAlias

from cabinwright.build.document import Build
from cabinwright.build.fixings import Payload
from cabinwright.findings import Finding, finding
from cabinwright.stages.enclosure.result import EnclosureResult
from cabinwright.stages.workshop.mount_result import MountResult
from cabinwright.stages.workshop.result import PanelResult, Part
from cabinwright.stages.workshop.service_result import MassResult, MassRow
from cabinwright.tables import rows

__all__ = ["mass_of", "mass_rows", "radiators_of"]

WIRE_KG_M3 = {"copper": 8890.0, "copper-clad aluminium": 3600.0}  #: IEC 60028; with 15 % copper by volume
Point: TypeAlias = tuple[float, float, float]


def mass_of(build: Build, listed: tuple[MassRow, ...], found: list[Finding]) -> MassResult:
    """Sum, centre and axles; what is too much, or not known, goes to ``found``."""
    unknown = tuple(row.name for row in listed if row.mass_kg is None)
    added = sum(row.mass_kg or 0.0 for row in listed)
    located = [(row.mass_kg or 0.0, row.at_m) for row in listed if row.at_m is not None]
    there = sum(mass for mass, _ in located)
    centre = _centre(located, there)
    payload = build.payload
    front = rear = left = None
    if payload is not None:
        left = payload.limit_kg - payload.people_kg - payload.luggage_kg - added
        if payload.wheelbase_m is not None and payload.front_axle_x_m is not None:
            # each mass by its lever: one behind the rear axle takes load off the front
            rear = sum(mass * (at[0] - payload.front_axle_x_m) for mass, at in located) / payload.wheelbase_m
            front = there - rear
        _judge(payload, added, left, front, rear, found)
    if unknown:
        names = ", ".join(unknown)
        found.append(finding("workshop.mass_unknown", where="[[masses]]", value=len(unknown), names=names))
    limit = payload.limit_kg if payload else None
    return MassResult(listed, added, there, centre, unknown, limit, left, front, rear)


def _centre(located: list[tuple[float, Point]], there: float) -> Point | None:
    if abs(there) < 1e-9:
        return None
    x, y, z = (sum(mass * at[axis] for mass, at in located) / there for axis in range(3))
    return x, y, z


def _judge(
    payload: Payload, added: float, left: float, front: float | None, rear: float | None, found: list[Finding]
) -> None:
    if left < 0.0:
        found.append(
            finding(
                "workshop.payload",
                where="[payload]",
                value=round(added, 1),
                limit=round(added + left, 1),
                unit="kg",
                over=round(-left, 1),
            )
        )
    for name, share, spare in (("front", front, payload.front_spare_kg), ("rear", rear, payload.rear_spare_kg)):
        if share is not None and spare is not None and share > spare:
            found.append(
                finding(
                    "workshop.axle",
                    where=f"[payload], {name} axle",
                    value=round(share, 1),
                    limit=round(spare, 1),
                    unit="kg",
                )
            )


def mass_rows(
    build: Build,
    boxed: EnclosureResult | None,
    panels: Mapping[str, PanelResult],
    mounts: Mapping[str, MountResult],
) -> tuple[MassRow, ...]:
    """Everything that is added or removed, one row each; [[masses]] of the same name go before what is worked out."""
    stated = {known.name: known for known in build.masses}
    listed, met = [], set()
    for row in (*_speakers(build), *_boxes(build, boxed), *_boards(build, panels, mounts), *_electrics(build)):
        known = stated.get(row.name)
        if known is not None:
            mass = None if known.mass_kg is None else 0.0 if row.name in met else known.mass_kg  # of two, once
            met.add(row.name)
            row = replace(row, mass_kg=row.mass_kg if mass is None else mass, at_m=_known(known.at_m) or row.at_m)
            if known.removed and row.mass_kg is not None:
                row = replace(row, mass_kg=-row.mass_kg)
        listed.append(row)
    for known in build.masses:
        if known.name not in met:
            mass = None if known.mass_kg is None else (-known.mass_kg if known.removed else known.mass_kg)
            kind = "taken out" if known.removed else "other"
            listed.append(MassRow(known.name, kind, mass, _known(known.at_m)))
    return tuple(listed)


def _speakers(build: Build) -> Iterator[MassRow]:
    models = {model.name: model for model in build.speaker_models}
    used = {name: box.model for box in build.boxes if box.model is not None for name in box.speakers}
    for mount in (*build.rings, *build.pods):
        used.setdefault(mount.speaker or mount.place or "", mount.model)
    for speaker in build.speakers:
        model = models.get(speaker.model or used.get(speaker.name) or "")
        yield MassRow(speaker.name, "loudspeaker", None if model is None else model.mass_kg, _known(speaker.position_m))


def _boxes(build: Build, boxed: EnclosureResult | None) -> Iterator[MassRow]:
    places = {speaker.name: _known(speaker.position_m) for speaker in build.speakers}
    for box in build.boxes:
        result = None if boxed is None else boxed.boxes.get(box.name)
        mass = None if result is None or result.shape is None else result.shape.mass_kg
        inside = [at for name in box.speakers if (at := places.get(name)) is not None]
        if box.kind != "infinite baffle":
            yield MassRow(box.name, "box, boards alone", mass, _middle(inside))
        part = box.radiator
        if part is not None:
            each = part.mass_kg
            mass = None if each is None else part.count * each
            yield MassRow(radiators_of(box.name), "passive radiators", mass, _middle(inside))


def radiators_of(box: str) -> str:
    """What the list of masses calls the passive radiators of a box."""
    return f"{box}, passive radiators"


def _boards(build: Build, panels: Mapping[str, PanelResult], mounts: Mapping[str, MountResult]) -> Iterator[MassRow]:
    for panel in build.panels:
        if panel.name in panels:
            yield MassRow(panel.name, "panel", _sum(panels[panel.name].parts), None)
    for name, mount in mounts.items():
        flat = [part for item in mount.parts if item in panels for part in panels[item].parts]
        yield MassRow(name, mount.kind, _sum(flat) if flat else None, mount.centre_m)


def _sum(parts: Iterable[Part]) -> float:
    heavy = {row["material"]: float(row["density_kg_m3"]) for row in rows("sheet_goods")}
    return sum(part.count * part.area_m2 * part.thickness_m * heavy[part.material] for part in parts)


def _electrics(build: Build) -> Iterator[MassRow]:
    """Amplifiers have no mass of their own in a build; wires have copper as far as their size is written."""
    for amplifier in build.amplifiers:
        yield MassRow(amplifier.name, "amplifier", None, None)
    metal = [
        1e-6 * wire.gauge.area_mm2 * wire.length_m * WIRE_KG_M3[wire.material]
        for wire in build.wires
        if wire.gauge is not None
    ]
    if metal:
        yield MassRow("metal of wires", "wires", sum(metal), None)


def _known(at: Point | None) -> Point | None:
    return at if at is not None and all(isfinite(part) for part in at) else None


def _middle(spots: list[Point]) -> Point | None:
    if not spots:
        return None
    x, y, z = (sum(spot[axis] for spot in spots) / len(spots) for axis in range(3))
    return x, y, z
