"""Strips of lights: where they lie, how evenly they light what is seen, which drive gives the wanted hue, what they draw."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from cabinwright.build.document import Build
from cabinwright.build.lights import Light
from cabinwright.findings import Finding, finding
from cabinwright.physics.arcs import Segment
from cabinwright.physics.colour import VISIBLE_DELTA_E, Match, Primary, match, screen_hex, srgb_to_xy
from cabinwright.physics.light import EVEN, edge_light, evenness, hard_bends, pitch_for, strip_length_m
from cabinwright.stages.workshop.outlines import Shapes
from cabinwright.stages.workshop.result import LightResult

__all__ = ["light_of"]

NEUTRAL = "#fff1dc"  #: in pictures, where no hue is asked for
LOAD_SHARE = 0.1  #: a load that differs by more from its strip is remarked upon


def light_of(light: Light, shapes: Mapping[str, Shapes], build: Build, found: list[Finding]) -> LightResult | None:
    """One strip; None where its panel has no outline or its slot could not be drawn. Doubts go to ``found``."""
    drawn = shapes.get(light.panel)
    if drawn is None or (light.along != "outline" and light.along not in drawn.slots):
        return None
    edge: tuple[Segment, ...]
    if light.along == "outline":
        edge = drawn.outline.segments
        inner = drawn.outline.offset(-light.distance_m)
        path = max(inner, key=lambda item: item.area_m2).segments if inner else edge
    else:
        edge = drawn.slots[light.along][0]
        path = edge
    where = f"light “{light.name}”"
    bends = hard_bends(path, least_radius_m=light.least_bend_m)
    for at, radius in bends[:1]:
        place = f"{1e3 * at.real:.0f}, {1e3 * at.imag:.0f} mm"
        found.append(
            finding(
                "workshop.strip_bend",
                where=where,
                value=round(1e3 * radius, 1),
                limit=1e3 * light.least_bend_m,
                unit="mm",
                at=place,
                count=len(bends),
            )
        )
    even = evenness(pitch_m=light.pitch_m, distance_m=light.distance_m, medium=light.medium)
    widest = pitch_for(distance_m=light.distance_m, medium=light.medium)
    if even < EVEN:
        found.append(
            finding("workshop.uneven", where=where, value=round(even, 2), limit=EVEN, widest=f"{1e3 * widest:.1f}")
        )
    length = strip_length_m(path)
    target, hue = _hue(light, where, found)
    along = np.linspace(-light.pitch_m, light.pitch_m, 121)
    power = light.watts_per_metre * length
    return LightResult(
        panel=light.panel,
        along=light.along,
        path=path,
        edge=edge,
        length_m=length,
        emitters=int(length / light.pitch_m),
        bends=tuple((at.real, at.imag, radius) for at, radius in bends),
        evenness=even,
        widest_pitch_m=widest,
        along_m=along,
        light=edge_light(pitch_m=light.pitch_m, distance_m=light.distance_m, along_m=along, medium=light.medium),
        power_w=power,
        match=hue,
        primaries=tuple(item.name for item in light.primaries),
        target_xy=target,
        colour=NEUTRAL if hue is None else screen_hex(hue.xy),
        load=_load(light, power, build, found),
    )


def _hue(light: Light, where: str, found: list[Finding]) -> tuple[tuple[float, float] | None, Match | None]:
    target = light.target_xy
    if light.target_rgb is not None:
        if not any(light.target_rgb) or (light.white_rgb is not None and not all(light.white_rgb)):
            found.append(finding("workshop.no_hue", where=where))
            return None, None
        target = srgb_to_xy(light.target_rgb, white=light.white_rgb)
    if target is None or not light.primaries:
        return None, None
    primaries = [Primary(item.name, item.xy, item.lumens_per_metre) for item in light.primaries]
    hue = match(primaries, target, steps=light.steps)
    if not hue.in_gamut:
        found.append(
            finding(
                "workshop.out_of_gamut",
                where=where,
                value=round(hue.delta_e, 1),
                limit=VISIBLE_DELTA_E,
                target=f"{target[0]:.3f}, {target[1]:.3f}",
                got=f"{hue.xy[0]:.3f}, {hue.xy[1]:.3f}",
            )
        )
    elif hue.delta_e > VISIBLE_DELTA_E:
        found.append(
            finding(
                "workshop.hue_steps", where=where, value=round(hue.delta_e, 1), limit=VISIBLE_DELTA_E, steps=light.steps
            )
        )
    return target, hue


def _load(light: Light, power_w: float, build: Build, found: list[Finding]) -> dict[str, object]:
    """What the wiring has to feed: a proposal, or how it agrees with the load that stands for it."""
    row: dict[str, object] = {"name": light.load or light.name, "power_w": round(power_w, 2), "written": False}
    written = next((item for item in build.loads if item.name == light.load), None)
    if written is None:
        row["from"] = f"{light.name} plus"
        row["to"] = "chassis"
        return row
    row |= {"written": True, "from": written.from_, "to": written.to}
    nominal = build.supply.nominal_v if build.supply is not None else 13.8
    drawn = written.power_w if written.power_w is not None else (written.current_a or 0.0) * nominal
    if drawn and abs(drawn - power_w) > LOAD_SHARE * power_w:
        found.append(
            finding(
                "workshop.load_differs",
                where=f"light “{light.name}”",
                value=round(drawn, 1),
                limit=round(power_w, 1),
                unit="W",
                load=written.name,
            )
        )
    return row
