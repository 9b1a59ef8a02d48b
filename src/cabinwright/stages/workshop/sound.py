"""Loudspeakers behind a panel: how open it is in front of each, what that takes off the level, and the speed of the air."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from cabinwright.build.document import Build
from cabinwright.build.workshop import Behind, Panel
from cabinwright.findings import Finding, finding
from cabinwright.physics.arcs import Points
from cabinwright.physics.grille import AIR_SPEED_LIMIT_M_S, air_speed_m_s, grille_loss_db, sheet_impedance
from cabinwright.physics.perforation import covered_m2
from cabinwright.stages.enclosure.result import EnclosureResult
from cabinwright.stages.workshop.result import LOSS_HZ, BehindResult, Part

__all__ = ["behind_of"]

LOW_ROLES = ("subwoofer", "woofer", "midbass")
USUAL_HZ = 40.0  #: where a subwoofer's air is judged unless its box says more
HIGHEST_HZ = 120.0  #: above, a subwoofer no longer moves much air
BESIDE = 0.005  #: of the disc, before it is said to reach beyond the panel
GRID = 241  #: points across the disc to find what cut-outs and slots leave open


def behind_of(
    panel: Panel, parts: Sequence[Part], build: Build, boxed: EnclosureResult | None, found: list[Finding]
) -> tuple[BehindResult, ...]:
    """One result for each loudspeaker behind the panel; doubts go to ``found``."""
    return tuple(_one(panel, item, parts, build, boxed, found) for item in panel.behind)


def _one(
    panel: Panel, item: Behind, parts: Sequence[Part], build: Build, boxed: EnclosureResult | None, found: list[Finding]
) -> BehindResult:
    disc = math.pi / 4.0 * item.diameter_m**2
    frequency = np.array(LOSS_HZ)
    impedance = np.zeros(len(LOSS_HZ), dtype=np.complex128)
    least = disc
    for part in parts:
        if part.look == "mesh":
            continue  # a mesh is open enough to be left out
        holes = covered_m2(part.holes, centre=complex(*item.at_m), diameter_m=item.diameter_m)
        wide = disc * _wide_open(part, item)
        least = min(least, float(np.sum(holes)) + wide)
        if wide < 0.5 * disc:  # where half of the disc is cut out, the rest hardly counts
            impedance = impedance + sheet_impedance(
                frequency_hz=frequency,
                diameter_m=part.holes.diameters_m[holes > 0.0],
                area_share=holes[holes > 0.0] / disc,
                thickness_m=part.thickness_m,
            )
    loss = grille_loss_db(impedance)
    speaker = next(row for row in build.speakers if row.name == item.speaker)
    where = f"panel “{panel.name}” before “{item.speaker}”"
    beside = 1.0 - float(np.mean(parts[0].outline.holds(_disc_points(item))))
    if beside > BESIDE:
        found.append(finding("workshop.behind_beside", where=where, value=round(100.0 * beside), limit=0, unit="%"))
    at = 0 if speaker.role in LOW_ROLES else 2
    if loss[at] > item.loss_limit_db:
        value = round(float(loss[at]), 2) if math.isfinite(loss[at]) else "all"
        found.append(
            finding(
                "workshop.grille_loss",
                where=where,
                value=value,
                limit=item.loss_limit_db,
                unit="dB",
                frequency_hz=f"{LOSS_HZ[at]:g}",
                share=f"{100.0 * least / disc:.0f}",
            )
        )
    speed, speed_hz = _air(item, speaker.role, speaker.model, least, build, boxed)
    if speed is not None and speed > AIR_SPEED_LIMIT_M_S:
        found.append(
            finding(
                "workshop.air_noise",
                where=where,
                value=round(speed, 1) if math.isfinite(speed) else "endless",
                limit=AIR_SPEED_LIMIT_M_S,
                unit="m/s",
                frequency_hz=f"{speed_hz:.0f}",
            )
        )
    return BehindResult(
        speaker=item.speaker,
        at_m=item.at_m,
        diameter_m=item.diameter_m,
        open_share=least / disc,
        open_area_m2=least,
        loss_db={hertz: float(value) for hertz, value in zip(LOSS_HZ, loss, strict=True)},
        air_speed_m_s=speed,
        air_speed_limit_m_s=None if speed is None else AIR_SPEED_LIMIT_M_S,
        air_speed_hz=None if speed is None else speed_hz,
    )


def _wide_open(part: Part, item: Behind) -> float:
    """Share of the disc that cut-outs and slots leave open, on a grid."""
    if not part.openings:
        return 0.0
    points = _disc_points(item)
    open_ = np.zeros(len(points), dtype=bool)
    for opening in part.openings:
        open_ |= opening.holds(points)
    return float(np.mean(open_))


def _disc_points(item: Behind) -> Points:
    """A grid over the disc before the cone."""
    across = (np.arange(GRID) + 0.5) / GRID - 0.5
    grid = (across[:, None] + 1j * across[None, :]).ravel()
    return np.asarray(complex(*item.at_m) + item.diameter_m * grid[np.abs(grid) <= 0.5], dtype=np.complex128)


def _air(
    item: Behind, role: str, model: str | None, open_m2: float, build: Build, boxed: EnclosureResult | None
) -> tuple[float | None, float | None]:
    """Peak speed in the holes and its frequency; None where no excursion or area is known, or the role moves little air."""
    unit = next((row for row in build.speaker_models if row.name == model), None)
    area = None if unit is None else unit.sd_m2
    if area is None or role not in LOW_ROLES:
        return None, None
    if item.excursion_m is None and boxed is not None:
        for box in boxed.boxes.values():
            if item.speaker in box.speakers:
                low = box.curves.frequency_hz <= HIGHEST_HZ
                flow = box.curves.frequency_hz[low] * box.curves.excursion_m[low]
                top = int(np.argmax(flow))
                hertz = float(box.curves.frequency_hz[low][top])
                excursion = float(box.curves.excursion_m[low][top])
                speed = air_speed_m_s(area_m2=area, excursion_m=excursion, frequency_hz=hertz, open_m2=open_m2)
                return speed, hertz
    excursion_m = item.excursion_m or (None if unit is None else unit.xmax_m)
    if excursion_m is None:
        return None, None
    hertz = item.frequency_hz or USUAL_HZ
    return air_speed_m_s(area_m2=area, excursion_m=excursion_m, frequency_hz=hertz, open_m2=open_m2), hertz
