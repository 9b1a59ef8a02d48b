"""What there is to say of a box: where linear theory ends, what is too small, too fast or too long."""

from __future__ import annotations

from collections.abc import Iterator
from math import pi, sqrt

import numpy as np

from cabinwright.build.loudspeaker import Box, SpeakerModel
from cabinwright.findings import Finding, finding
from cabinwright.stages.enclosure.ports import LONGEST_EDGES, PLAYS_FROM_HZ, shaped
from cabinwright.stages.enclosure.result import BoxResult, PortResult

__all__ = ["doubts"]

BOOMY_Q = 1.1
LARGEST_BOX_M3 = 1.5  #: the load bay of an estate; a box that is larger was meant in litres
TUNING_SENSE_HZ = (10.0, 250.0)  #: of ports and radiators; outside, a unit was slipped
MISTUNED = 0.03
MILLIMETRES = 1e3


def doubts(box: Box, model: SpeakerModel, result: BoxResult, *, cone_m2: float) -> Iterator[Finding]:
    """Every finding about one solved box; ``cone_m2`` is the area of one cone."""
    yield from _speaker(box, model, result)
    yield from _volume(box, model, result, cone_m2)
    if result.q_tc is not None and result.q_tc > BOOMY_Q:
        yield finding("enclosure.high_q", where=box.name, value=round(result.q_tc, 2), limit=BOOMY_Q)
    if result.tuning_hz is not None and not TUNING_SENSE_HZ[0] <= result.tuning_hz <= TUNING_SENSE_HZ[1]:
        limit = f"{TUNING_SENSE_HZ[0]:g} to {TUNING_SENSE_HZ[1]:g}"
        value = float(f"{result.tuning_hz:.4g}")
        yield finding("enclosure.tuning_sense", where=box.name, value=value, limit=limit, unit="Hz")
    if result.port is not None:
        yield from _port(box, result, result.port)
    elif box.kind == "vented" and result.tuning_hz is not None:
        yield finding("enclosure.port_impossible", where=box.name, value=round(result.tuning_hz, 1), unit="Hz")
    unused = [key for key in ("volume_m3", "gross_volume_m3", "ql", "qa") if getattr(box, key) is not None]
    if box.kind == "infinite baffle" and unused:
        yield finding("enclosure.unused", where=box.name, value=", ".join(unused))
    if len(box.speakers) > 1 and box.wiring is None:
        yield finding("enclosure.wiring_assumed", where=box.name, value=len(box.speakers))


def _speaker(box: Box, model: SpeakerModel, result: BoxResult) -> Iterator[Finding]:
    frequency, excursion = result.curves.frequency_hz, result.curves.excursion_m
    plays = frequency >= PLAYS_FROM_HZ
    peak = float(excursion[plays].max())
    at = float(frequency[plays][int(np.argmax(excursion[plays]))])
    value = round(peak * MILLIMETRES, 1)
    if model.xmech_m is not None and peak > model.xmech_m:
        limit = round(model.xmech_m * MILLIMETRES, 1)
        yield finding("enclosure.touches", where=box.name, value=value, limit=limit, unit="mm", at=f"{at:.0f}")
    elif model.xmax_m is not None and peak > model.xmax_m:
        above = frequency[plays & (excursion > model.xmax_m)]
        power = f"{result.linear_power_w:.0f}"
        band = f"{above[0]:.0f} to {above[-1]:.0f}"
        yield finding(
            "enclosure.beyond_xmax",
            where=box.name,
            value=value,
            limit=round(model.xmax_m * MILLIMETRES, 1),
            unit="mm",
            band=band,
            power=power,
        )
    if model.pe_w is not None and float(np.min(result.limits_db["thermal"] - result.curves.level_db)) < -0.05:
        yield finding("enclosure.too_much_power", where=box.name, value=result.power_w, limit=model.pe_w, unit="W")
    part = box.radiator
    if part is not None and part.xmax_m is None and box.kind == "passive radiator":
        yield finding("enclosure.radiator_travel", where=box.name)
    if part is not None and part.xmax_m is not None and result.curves.radiator_excursion_m is not None:
        moves = float(result.curves.radiator_excursion_m[plays].max())
        if moves > part.xmax_m:
            value, limit = round(moves * MILLIMETRES, 1), round(part.xmax_m * MILLIMETRES, 1)
            yield finding("enclosure.radiator_far", where=box.name, value=value, limit=limit, unit="mm")


def _volume(box: Box, model: SpeakerModel, result: BoxResult, cone_m2: float) -> Iterator[Finding]:
    volume = result.net_volume_m3
    if volume is None:
        return
    taken, how = _takes_up_m3(model, cone_m2)
    units = max(1, len(box.speakers))
    # the room that a cone moves through is air while it rests: less than that there cannot be, however the box is made
    swept = units * cone_m2 * (model.xmax_m or 0.0)
    if volume <= swept:
        value, limit = float(f"{volume * 1e3:.3g}"), float(f"{swept * 1e3:.3g}")
        yield finding("enclosure.no_room_to_move", where=box.name, value=value, limit=limit, unit="L")
    elif volume < units * taken:
        value, limit = float(f"{volume * 1e3:.3g}"), round(units * taken * 1e3, 1)
        yield finding("enclosure.small_box", where=box.name, value=value, limit=limit, unit="L", how=how)
    elif volume > LARGEST_BOX_M3:
        yield finding(
            "enclosure.large_box", where=box.name, value=float(f"{volume:.3g}"), limit=LARGEST_BOX_M3, unit="m³"
        )


def _takes_up_m3(model: SpeakerModel, cone_m2: float) -> tuple[float, str]:
    """What a drive unit takes of the air, and how that is known: stated, by its dimensions, or at least by its cone."""
    if model.displacement_m3 is not None:
        return model.displacement_m3, ""
    if model.depth_m and model.cut_out_m:
        return 0.5 * model.depth_m * pi / 4.0 * model.cut_out_m**2, ", half a cylinder of its cut-out and depth"
    return 0.5 * cone_m2 * sqrt(cone_m2 / pi), ", at least, for a cone of its size"


def _port(box: Box, result: BoxResult, port: PortResult) -> Iterator[Finding]:
    if port.peak_velocity_m_s > port.limit_m_s:
        yield finding(
            "enclosure.port_fast",
            where=box.name,
            value=round(port.peak_velocity_m_s, 1),
            limit=port.limit_m_s,
            unit="m/s",
            at=f"{port.peak_velocity_hz:.0f}",
        )
    bends = LONGEST_EDGES - 1.0 if port.chosen else port.bends
    if result.shape is None and result.net_volume_m3 is not None and port.bends_wanted > bends:
        longest = (bends + 1.0) * result.net_volume_m3 ** (1.0 / 3.0)
        yield finding(
            "enclosure.port_long",
            where=box.name,
            value=round(port.length_m * 100.0, 1),
            limit=round(longest * 100.0, 1),
            unit="cm",
            bends=port.bends_wanted,
        )
    if result.net_volume_m3 is not None and port.volume_m3 > 0.25 * result.net_volume_m3:
        share = round(100.0 * port.volume_m3 / result.net_volume_m3)
        yield finding("enclosure.port_bulky", where=box.name, value=share, limit=25, unit="%")
    if port.pipe_resonance_hz < 500.0:
        yield finding("enclosure.port_pipe", where=box.name, value=round(port.pipe_resonance_hz), unit="Hz")
    stated = box.port
    if stated is None or stated.length_m is None or box.tuning_hz is None or result.net_volume_m3 is None:
        return
    volume = result.net_volume_m3 * box.filling_factor
    gives = shaped(stated).tuning_hz(length_m=stated.length_m, volume_m3=volume)
    if abs(gives / box.tuning_hz - 1.0) > MISTUNED:
        value, limit = round(gives, 1), round(box.tuning_hz, 1)
        wanted = f"{100.0 * port.length_m:.1f}"
        yield finding("enclosure.port_mistuned", where=box.name, value=value, limit=limit, unit="Hz", wanted=wanted)
