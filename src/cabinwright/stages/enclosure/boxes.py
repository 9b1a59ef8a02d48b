"""One box solved: its circuit, its curves, and how loud it plays before something gives in."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build
from cabinwright.build.loudspeaker import Box, SpeakerModel
from cabinwright.physics import alignment
from cabinwright.physics.box import Answer, Load, level_db, passband_db, solve
from cabinwright.physics.driver import Driver
from cabinwright.physics.port import Port
from cabinwright.stages.enclosure.ports import PLAYS_FROM_HZ, SPEED_LIMIT_M_S, chosen_port, finished, shaped
from cabinwright.stages.enclosure.result import BoxResult, Curves

__all__ = ["Feed", "Unsolved", "feed_of", "net_volume_m3", "solved"]

Real = NDArray[np.float64]
POINTS = 341  #: 60 to the octave, each at the six digits it is written with: a notch is steep
LOW_HZ, HIGH_HZ = 10.0, 500.0
VENTED_QL = 10.0
PEAK = sqrt(2.0)


class Unsolved(Exception):
    """A box that cannot be solved: the code of the finding that says why, and its details."""

    def __init__(self, code: str, **details: Any) -> None:
        super().__init__(code)
        self.code, self.details = code, details


@dataclass(frozen=True)
class Feed:
    """How the like speakers of a box are fed."""

    units: int
    in_series: int
    in_parallel: int
    source_v: float
    source_ohm: float
    power_w: float

    def circuit(self) -> dict[str, Any]:
        """As ``physics.box.solve`` takes it."""
        return {
            "source_v": self.source_v,
            "in_series": self.in_series,
            "in_parallel": self.in_parallel,
            "source_ohm": self.source_ohm,
        }


def feed_of(box: Box, model: SpeakerModel, driver: Driver) -> Feed:
    """sqrt(power × re_ohm) volts, whatever hangs on them; several speakers share as they are wired."""
    units = max(1, len(box.speakers))
    wiring = box.wiring or "parallel"
    side = round(sqrt(units))
    series, parallel = {"parallel": (1, units), "series": (units, 1), "series-parallel": (side, side)}[wiring]
    power = box.power_w or model.pe_w or 1.0
    resistance = box.wire_resistance_ohm + box.amplifier_resistance_ohm
    return Feed(units, series, parallel, sqrt(power * float(driver.re_ohm)), resistance, power)


def net_volume_m3(build: Build, box: Box) -> float | None:
    """What the box says, else the room behind the place of its only speaker."""
    if box.volume_m3 is not None or len(box.speakers) != 1:
        return box.volume_m3
    return next((place.volume_m3 for place in build.places if place.name == box.speakers[0]), None)


def _load(box: Box, volume: float, tuning: float | None, resonance: float) -> Load:
    seeming = volume * box.filling_factor
    if box.kind == "vented":
        assert tuning is not None
        ql = VENTED_QL if box.ql is None else box.ql
        return alignment.vented_load(volume_m3=seeming, tuning_hz=tuning, ql=ql, qa=box.qa, qp=box.qp)
    if box.kind == "passive radiator":
        part = box.radiator
        assert part is not None
        figures = {"mms_kg": part.mms_kg, "cms_m_per_n": part.cms_m_per_n, "sd_m2": part.sd_m2}
        return alignment.radiator_load(
            volume_m3=seeming, **figures, qms=part.qms, count=part.count, ql=box.ql, qa=box.qa
        )
    return alignment.closed_load(volume_m3=seeming, resonance_hz=resonance, ql=box.ql, qa=box.qa)


def _tuning(box: Box, volume: float) -> float | None:
    seeming = volume * box.filling_factor
    if box.kind == "passive radiator" and box.radiator is not None:
        part = box.radiator
        figures = {"mms_kg": part.mms_kg, "cms_m_per_n": part.cms_m_per_n, "sd_m2": part.sd_m2}
        return float(alignment.radiator_tuning_hz(volume_m3=seeming, **figures, count=part.count))
    if box.kind == "vented" and box.tuning_hz is None:
        assert box.port is not None and box.port.length_m is not None
        return shaped(box.port).tuning_hz(length_m=box.port.length_m, volume_m3=seeming)
    return box.tuning_hz


def solved(box: Box, model: SpeakerModel, driver: Driver, *, volume_m3: float | None) -> BoxResult:
    """Everything about one box but its search and its cabin. Raises ``Unsolved``."""
    feed = feed_of(box, model, driver)
    each_ohm = feed.source_ohm * feed.in_parallel / feed.in_series
    if box.kind == "infinite baffle":
        volume, tuning, load = None, None, Load()
        resonance, q = alignment.closed_box(driver, volume_m3=np.inf, source_ohm=each_ohm)
    else:
        volume = volume_m3
        if volume is None:
            raise Unsolved("enclosure.no_volume")
        resonance, q = alignment.closed_box(
            driver, volume_m3=volume * box.filling_factor, units=feed.units, source_ohm=each_ohm
        )
        tuning = _tuning(box, volume)
        load = _load(box, volume, tuning, float(resonance))
        q = _with_losses(box, float(q), air_share=1.0 - float(driver.fs_hz / resonance) ** 2)
    frequency = np.asarray([float(f"{value:.6g}") for value in np.geomspace(LOW_HZ, HIGH_HZ, POINTS)])
    answer = solve(driver, load, frequency_hz=frequency, **feed.circuit())
    area, port, length = _branch(box, feed, answer, volume, tuning)
    curves = _curves(driver, load, feed, answer, area, box)
    limits = _limits(box, model, driver, feed, answer, curves)
    held = [limits[key] for key in ("thermal", "excursion", "radiator") if key in limits]
    inside = curves.excursion_m[frequency >= PLAYS_FROM_HZ].max()
    beyond = box.kind in ("vented", "passive radiator")
    return BoxResult(
        kind=box.kind,
        model=model.name,
        speakers=box.speakers,
        wiring=(box.wiring or "parallel") if feed.units > 1 else "single",
        net_volume_m3=volume,
        system_resonance_hz=float(tuning if beyond and tuning is not None else resonance),
        q_tc=None if beyond else float(q),
        f3_hz=alignment.half_power_hz(driver, load, **feed.circuit()),
        tuning_hz=tuning,
        power_w=feed.power_w,
        voltage_v=feed.source_v,
        curves=curves,
        max_level_db=np.min(held, axis=0) if held else curves.level_db,
        limits_db=limits,
        passband_db=float(passband_db(driver, load, **feed.circuit())),
        linear_power_w=None if model.xmax_m is None else feed.power_w * float(model.xmax_m / inside) ** 2,
        minimum_impedance_ohm=float(curves.impedance_ohm.min()),
        port=None
        if port is None or volume is None
        else finished(
            box,
            port,
            length_m=length,
            volume_m3=volume,
            frequency_hz=frequency,
            velocity_m_s=curves.port_velocity_m_s,
        ),
    )


def _with_losses(box: Box, q: float, *, air_share: float) -> float:
    """Total Q with the losses of a closed box, quoted at its resonance; they act on the air's part of the stiffness."""
    lost = sum(1.0 / value for value in (box.ql, box.qa) if value is not None)
    return 1.0 / (1.0 / q + air_share * lost)


def _branch(
    box: Box, feed: Feed, answer: Answer, volume: float | None, tuning: float | None
) -> tuple[float | None, Port | None, float]:
    """Area that the branch's flow goes through, the port (None: none so wide tunes so high), and its length."""
    if box.kind == "passive radiator" and box.radiator is not None:
        return box.radiator.sd_m2 * box.radiator.count, None, 0.0
    if box.kind != "vented" or volume is None or tuning is None:
        return None, None, 0.0
    seeming = volume * box.filling_factor
    if box.port is None:
        plays = answer.frequency_hz >= PLAYS_FROM_HZ
        peak = PEAK * float(np.abs(answer.branch_flow_m3_s[plays]).max())
        port = chosen_port(flow_m3_s=peak, tuning_hz=tuning, volume_m3=seeming)
        return port.total_area_m2, port, port.length_for_m(tuning_hz=tuning, volume_m3=seeming)
    port = shaped(box.port)
    length = port.length_for_m(tuning_hz=tuning, volume_m3=seeming)
    return port.total_area_m2, port if length > 2.0 * port.flare_radius_m else None, length


def _curves(driver: Driver, load: Load, feed: Feed, answer: Answer, area: float | None, box: Box) -> Curves:
    flow = PEAK * np.abs(answer.branch_flow_m3_s)
    velocity = np.zeros_like(answer.frequency_hz) if area is None else flow / area
    radiator = box.kind == "passive radiator"
    return Curves(
        frequency_hz=answer.frequency_hz,
        level_db=level_db(answer.pressure_pa),
        excursion_m=np.asarray(PEAK * np.abs(answer.displacement_m)),
        port_velocity_m_s=np.asarray(velocity),
        impedance_ohm=np.asarray(np.abs(answer.impedance_ohm)),
        impedance_phase_deg=np.asarray(np.degrees(np.angle(answer.impedance_ohm))),
        group_delay_s=alignment.group_delay_s(driver, load, frequency_hz=answer.frequency_hz, **feed.circuit()),
        radiator_excursion_m=velocity / (2.0 * np.pi * answer.frequency_hz) if radiator else None,
    )


def _limits(
    box: Box, model: SpeakerModel, driver: Driver, feed: Feed, answer: Answer, curves: Curves
) -> dict[str, Real]:
    """Level at which each limit is reached, were the circuit linear up to there."""
    rooms: dict[str, Real] = {}
    if model.pe_w is not None:
        rooms["thermal"] = sqrt(model.pe_w * float(driver.re_ohm)) / np.abs(answer.coil_v)
    if model.xmax_m is not None:
        rooms["excursion"] = model.xmax_m / curves.excursion_m
    if curves.radiator_excursion_m is not None and box.radiator is not None and box.radiator.xmax_m is not None:
        rooms["radiator"] = box.radiator.xmax_m / curves.radiator_excursion_m
    if box.kind == "vented":
        limit = box.port.speed_limit_m_s if box.port is not None else None
        rooms["port"] = (limit or SPEED_LIMIT_M_S) / curves.port_velocity_m_s
    return {key: np.asarray(curves.level_db + 20.0 * np.log10(room)) for key, room in rooms.items()}
